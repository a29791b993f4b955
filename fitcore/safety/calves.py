"""What the tape says of the two calves of a session, and of a calf since last time. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from itertools import product
from typing import TYPE_CHECKING

from fitcore.doubts.repeats import skip_reason
from fitcore.flags import Flag, Level
from fitcore.points import LEGS, Kind, Place, Point, Side
from fitcore.safety.screening_questions import Asked
from fitcore.safety.side_difference import (
    SideDifference,
    change_since_last,
    follow_up,
    side_difference,
)

if TYPE_CHECKING:
    from fitcore.record.last_time import LastTime
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening import SessionAnswers
    from fitcore.safety.screening_book import ScreeningBook

_LEVELS = {
    "one_leg": Level.NOTE,
    "note": Level.NOTE,
    "repeat": Level.WARN,
    "ask": Level.WARN,
    "stop": Level.BLOCK,
}


@dataclass(frozen=True, slots=True)
class Calves:
    """All that was found, the difference between the calves first."""

    findings: tuple[SideDifference, ...] = ()

    @property
    def rule(self) -> FiredRule | None:
        """The stop for screening to count; None where nothing is open."""
        return next((found.rule for found in self.findings if found.rule is not None), None)

    @property
    def asks(self) -> SideDifference | None:
        """The finding whose question is to be asked next, or None."""
        return next((found for found in self.findings if found.step == "ask"), None)

    @property
    def repeats(self) -> frozenset[Place]:
        """The readings that must be taken once more before anything is asked."""
        wanted = any(found.step == "repeat" for found in self.findings)
        return frozenset((side, Point.C, Kind.GIRTH) for side in LEGS) if wanted else frozenset()

    def flags(self) -> tuple[Flag, ...]:
        """Return the findings as flags; a small difference is none."""
        return tuple(
            Flag(
                "one_leg" if found.step == "one_leg" else "calves_differ",
                _LEVELS[found.step],
                "screening",
                found.text,
                found.larger,
                Point.C,
            )
            for found in self.findings
            if found.step in _LEVELS
        )


def judge_calves(
    session: Session,
    told: SessionAnswers,
    readings: Readings,
    book: ScreeningBook,
    last: LastTime | None = None,
) -> Calves:
    """Compare the calves of a session with each other and with last time's.

    Both are read at the widest of the calf (C), which is said beside the figure: the published
    threshold is for 10 cm below the tibial tuberosity.

    Args:
        session: for repeats left out.
        told: for the legs to be measured, and the answers about a difference.
        readings: its readings.
        book: holds the thresholds with their source.
        last: the client's sessions before, or None.
    """
    answers, _ = told.present
    there = Asked(answers, book.questions, told.sides).sides
    girths = {side: found for side in there if (found := _girths(readings, side))}
    if not girths:
        return Calves()
    asked = follow_up(answers, repeated=_repeated(session, readings, tuple(girths)))
    findings = []
    if len(girths) == len(LEGS) or len(there) < len(LEGS):
        pairs = product(*(girths.get(side, (None,)) for side in LEGS))
        left, right = max(pairs, key=_apart)
        findings.append(side_difference(left, right, book, "C", asked))
    for side, now_mm in girths.items():
        then = last.of_place(side, Point.C, Kind.GIRTH) if last is not None else None
        before = _girths(then[1], side) if then is not None else ()
        if before:
            grown = change_since_last(side, max(now_mm), min(before), book, asked)
            findings += [grown] if grown is not None else []
    return Calves(tuple(findings))


def _girths(readings: Readings, side: Side) -> tuple[Decimal, ...]:
    """Return a calf's girth in mm; all of them where different corrections stand side by side."""
    place = (side, Point.C, Kind.GIRTH)
    if readings.disputed(place):
        return tuple(reading.mm for reading in readings.taken(place) if reading.mm is not None)
    value = readings.adopted(*place)
    return () if value is None else (value.mm,)


def _apart(pair: tuple[Decimal | None, ...]) -> Decimal:
    left, right = pair
    return Decimal(0) if left is None or right is None else abs(left - right)


def _repeated(session: Session, readings: Readings, sides: tuple[Side, ...]) -> bool:
    """Whether each calf was read twice, or somebody said why it was not."""
    if skip_reason(session):
        return True
    places = [(side, Point.C, Kind.GIRTH) for side in sides]
    return all(len(readings.current(place)) > 1 for place in places)
