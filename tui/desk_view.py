"""What follows from the open session as it stands: readings, fields, flags, clearance. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.doubts.repeats import repeat_way, rounds_wanted
from fitcore.protocol import Step, plan
from fitcore.record.readings import Readings

if TYPE_CHECKING:
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


def look(session: Session, sides: tuple[Side, ...], protocol: Protocol, fit: SessionFit) -> View:
    """Work out what follows from a session.

    Args:
        session: the session as it stands.
        sides: the legs to be measured, left first.
        protocol: the protocol it follows.
        fit: all judgements on it.
    """
    readings = Readings(session)
    rule = protocol.repeat

    def wanted(place: Place) -> int:
        return rounds_wanted(session, readings, rule, place, fit.doubtful)

    def at_once(side: Side) -> bool:
        return repeat_way(session, rule, side) == "each_point"

    calves_first = fit.clearance.prescription is not None
    steps = plan(protocol, sides, wanted=wanted, at_once=at_once, calves_first=calves_first)
    return View(session, readings, steps, fit.flags, fit.clearance)
