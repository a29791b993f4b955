"""One session against all charts: legs, values used, verdicts, flags. Pure; prints nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from fitcore.doubts.plausibility import judge_readings
from fitcore.doubts.repeats import (
    differing,
    doubted_places,
    explained_sides,
    is_settled,
    judge_repeats,
    near_edges,
    swollen_sides,
)
from fitcore.file_flags import file_flags
from fitcore.flags import Flag, Level, worst_first
from fitcore.leg_fit import LegFit, fit_one_leg
from fitcore.moment.conditions import Earlier, judge_conditions
from fitcore.pair_fit import PairFit, fit_pairs
from fitcore.points import LEGS, Kind, Place, Side
from fitcore.record.last_time import LastTime
from fitcore.record.readings import Readings
from fitcore.safety.clearance import SessionClearance, judge_clearance
from fitcore.safety.screening_age import asked_long_ago
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from fitcore.certainty.certainty_errors import RepeatErrorOf
    from fitcore.charts.chart import Chart
    from fitcore.leg_fit import ChartFit
    from fitcore.record.session import Session
    from fitcore.rules import Rules


@dataclass(frozen=True, slots=True)
class SessionFit:
    """One session against all charts."""

    session: Session
    client: str
    flags: tuple[Flag, ...]
    legs: tuple[LegFit, ...]
    clearance: SessionClearance
    doubtful: frozenset[Place]
    """Places whose reading is in doubt or so near a size edge that a repeat may change it."""
    pairs: tuple[PairFit, ...]
    """What each chart says of both legs together; empty where one leg was measured."""

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints."""
        return {
            "session": self.session.id,
            "client": self.client,
            "screening": self.clearance.as_json(),
            "pair": [pair.as_json() for pair in self.pairs],
            "flags": [flag.as_json() for flag in self.flags],
            "legs": [leg.as_json() for leg in self.legs],
        }


def fit_session(
    session: Session,
    charts: Sequence[Chart],
    rules: Rules,
    earlier: Sequence[Session] = (),
    *,
    on: date,
    own_error: RepeatErrorOf | None = None,
    linked: Sequence[Session] = (),
) -> SessionFit:
    """Judge a session: every leg against every chart.

    Args:
        session: the session; nothing in it is changed.
        charts: in the order the answers shall have.
        rules: ranges, thresholds, protocols and the swelling model.
        earlier: the client's sessions before this one, newest first, to compare with.
        on: the day something would be fitted.
        own_error: the measurer's own repeat error in mm, where enough is known of it.
        linked: all other sessions of the person, for screening alone.

    Returns:
        Legs left first; a leg counts where it was to be measured or has a reading.
    """
    readings = Readings(session)
    sides = legs_of(session, readings)
    last = LastTime(earlier)
    cleared = judge_clearance(session, readings, rules, on=on, last=last, linked=linked)
    doubts = _reading_flags(session, readings, rules, last)
    repeat = rules.repeat_of(session)
    impossible = frozenset(
        place for flag in doubts if flag.level is Level.BLOCK for place in _places_of(flag)
    )
    unlike = differing(readings, repeat)
    legs = tuple(
        fit_one_leg(
            cleared,
            readings,
            side,
            charts,
            own_error=own_error,
            impossible=impossible,
            differing=unlike,
        )
        for side in sides
    )
    doubtful = doubted_places(doubts) | cleared.calves.repeats
    for leg in legs:
        asking = [fit for fit in leg.charts if _asks_for_repeats(fit, rules)]
        doubtful |= near_edges(
            leg.side,
            [(fit.chart, fit.answer) for fit in asking],
            repeat,
            partial(readings.adopted, leg.side),
        )
        # What the result would call *measure again* is asked for while the tape is at hand.
        again = (fit.places_named(leg.side) for fit in asking if fit.asks_again)
        doubtful |= {place for places in again for place in places}
    flags = [
        *file_flags(session, readings),
        *cleared.calves.flags(),
        *asked_long_ago(session, readings, rules.screening),
        *judge_conditions(
            session,
            readings,
            sides,
            rules.time,
            earlier=partial(_earlier, last, rules),
            tape_rule=_tape_rule(session, rules),
        ),
        *doubts,
        *judge_repeats(session, readings, repeat, sides, doubtful),
    ]
    return SessionFit(
        session,
        session.text("client"),
        worst_first(dict.fromkeys(flags)),
        legs,
        cleared,
        doubtful,
        fit_pairs(legs, rules.certainty),
    )


def legs_of(session: Session, readings: Readings) -> tuple[Side, ...]:
    """Return the legs a session is about: those answered for and those with a reading."""
    answered = session.value("sides")
    asked = {str(side) for side in answered} if isinstance(answered, list) else set()
    read = {place[0] for place in readings.places()}
    # A shoe size is one for both feet: it makes no leg one that was to be measured.
    everybody = not asked and Side.BOTH in read
    return tuple(side for side in LEGS if side.value in asked or side in read or everybody)


def _reading_flags(
    session: Session, readings: Readings, rules: Rules, last: LastTime
) -> tuple[Flag, ...]:
    """Judge every recorded reading, whether it was typed here, imported or merged."""
    repeat = rules.repeat_of(session)
    flags = judge_readings(
        rules.ranges,
        readings,
        last.value_mm,
        swollen_sides(session),
        explained_sides(session),
        differing=differing(readings, repeat),
    )
    return tuple(_settled(f) if is_settled(readings, repeat, f) else f for f in flags)


def _places_of(flag: Flag) -> tuple[Place, ...]:
    """Return the places a doubt is about; one that names no leg is of both."""
    if flag.point is None:
        return ()
    kind = flag.kind or Kind.GIRTH
    if flag.side is not None:
        return ((flag.side, flag.point, kind),)
    # A shoe size asked once for both feet says nothing of one that was asked of a foot alone.
    sides = (Side.BOTH,) if kind is Kind.SHOE else LEGS
    return tuple((side, flag.point, kind) for side in sides)


def _asks_for_repeats(fit: ChartFit, rules: Rules) -> bool:
    """Whether an edge of a chart is worth a repeat: of many charts, only the favourites' are."""
    return not rules.favourites or fit.chart.id in rules.favourites


def _settled(flag: Flag) -> Flag:
    """Lower a doubt that a second reading has met; what cannot be right stays as it is."""
    if flag.level is not Level.WARN:
        return flag
    text = say("{doubt} A second reading says the same.", doubt=flag.text)
    return replace(flag, level=Level.NOTE, text=text)


def _earlier(last: LastTime, rules: Rules, side: Side) -> Earlier | None:
    found = last.of_leg(side)
    return None if found is None else Earlier(*found, _tape_rule(found[0], rules))


def _tape_rule(session: Session, rules: Rules) -> str:
    protocol = rules.protocol_of(session)
    return protocol.tape_rule if protocol is not None else ""
