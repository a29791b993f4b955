"""What follows from the open session as it stands: readings, fields, flags, clearance. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.doubts.repeats import doubted_places, repeat_way, rounds_wanted
from fitcore.protocol import Step, done_reading, next_open, plan
from fitcore.record.readings import Readings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.fit import SessionFit
    from fitcore.flags import Flag
    from fitcore.points import Place, Side
    from fitcore.profile_models import Protocol
    from fitcore.record.session import Session
    from fitcore.safety.clearance import SessionClearance


@dataclass(frozen=True, slots=True)
class View:
    """What follows from a session as it stands; computed once for each state of it."""

    session: Session
    readings: Readings
    steps: tuple[Step, ...]
    flags: tuple[Flag, ...]
    clearance: SessionClearance


def look(
    session: Session,
    sides: tuple[Side, ...],
    protocol: Protocol,
    fit: SessionFit,
    again: Mapping[Place, int] | None = None,
) -> View:
    """Work out what follows from a session.

    Args:
        session: the session as it stands.
        sides: the legs to be measured, left first.
        protocol: the protocol it follows.
        fit: all judgements on it.
        again: how many times round a place is to be read because somebody wants to see it again.
    """
    readings = Readings(session)
    rule = protocol.repeat

    def wanted(place: Place) -> int:
        rounds = rounds_wanted(session, readings, rule, place, fit.doubtful)
        return max(rounds, (again or {}).get(place, 0))

    def at_once(side: Side) -> bool:
        return repeat_way(session, rule, side) == "each_point"

    calves_first = fit.clearance.prescription is not None
    steps = plan(
        protocol,
        sides,
        wanted=wanted,
        at_once=at_once,
        calves_first=calves_first,
        calves_again=bool(fit.clearance.calves.repeats),
    )
    return View(session, readings, steps, fit.flags, fit.clearance)


def following_field(view: View, index: int, *, corrected: bool) -> int | None:
    """Return the index of the field to go to from a field that was just filled.

    The next open one; after a correction first the other one of two that were told as swapped: they
    are two corrections. None where nothing is left.
    """
    following = next_open(view.steps, view.readings, index)
    if not corrected:
        return following
    doubtful = doubted_places(view.flags)

    def was_swapped(step: Step) -> bool:
        reading = done_reading(step, view.readings)
        told = reading is not None and "neighbours_swapped" in reading.doubts
        return told and step.place in doubtful

    passed = range(index + 1, len(view.steps) if following is None else following)
    return next((at for at in passed if was_swapped(view.steps[at])), following)
