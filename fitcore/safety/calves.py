"""What the tape says of the two calves of a session, and of a calf since last time. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import product
from typing import TYPE_CHECKING

from fitcore.doubts.repeats import MOST_ROUNDS, skip_reason
from fitcore.flags import Flag, Level
from fitcore.points import LEGS, Kind, Place, Point, Side
from fitcore.safety.screening_answers import ANSWER_PREFIX, NO, RESTS_ON, UNKNOWN, YES
from fitcore.safety.screening_questions import Asked
from fitcore.safety.side_difference import (
    EXPLAINED,
    NEW,
    FollowUp,
    SideDifference,
    change_questions,
    change_since_last,
    one_calf,
    side_difference,
)

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from fitcore.record.last_time import LastTime
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening import SessionAnswers
    from fitcore.safety.screening_answers import Answer
    from fitcore.safety.screening_book import ScreeningBook

_LEVELS = {
    "one_leg": Level.NOTE,
    "note": Level.NOTE,
    "repeat": Level.WARN,
    "ask": Level.WARN,
    "stop": Level.BLOCK,
}
"""A calf not read yet is no doubt about a reading: the rule it fires says it."""


@dataclass(frozen=True, slots=True)
class Calves:
    """All that was found, the difference between the calves first."""

    findings: tuple[SideDifference, ...] = ()

    @property
    def rules(self) -> tuple[FiredRule, ...]:
        """What screening has to count; none where nothing is open."""
        return tuple(found.rule for found in self.findings if found.rule is not None)

    @property
    def asks(self) -> SideDifference | None:
        """The finding whose question is to be asked next, or None."""
        return next((found for found in self.findings if found.step == "ask"), None)

    @property
    def answers_rest_on(self) -> Mapping[str, Sequence[str]]:
        """For each question asked, under the name its answer is stored by, the readings it is of.

        An answer holds for these readings only, and must be stored with them.
        """
        return {
            ANSWER_PREFIX + name: found.readings
            for found in self.findings
            for name in found.questions
        }

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
    *,
    differ: Collection[Place] = (),
) -> Calves:
    """Compare the calves of a session with each other and with last time's.

    Both are read at the widest of the calf (C), which is said beside the figure: the published
    threshold is for 10 cm below the tibial tuberosity.

    Args:
        session: for repeats left out, and the answers about a difference.
        told: for the legs to be measured.
        readings: its readings.
        book: holds the thresholds with their source.
        last: the client's sessions before, or None.
        differ: places whose readings do not agree: a third is read before anything is asked.
    """
    answers, _ = told.present
    girths = {side: found for side in LEGS if (found := _girths(readings, side))}
    if not girths:
        return Calves()
    repeated = _repeated(session, readings, tuple(girths), differ)
    findings = []
    # Both girths are compared whatever was said of the legs: what was read was there to be read.
    there = Asked(answers, book.questions, told.sides).sides
    unread = [side for side in there if side not in girths]
    if unread:
        missing = one_calf(unread[0], book)
        # Nobody screened: that says more, and nothing is offered anyway.
        screened = all(answers.of(question.id) for question in book.questions.first_page)
        findings.append(missing if screened else replace(missing, rule=None))
    else:
        pairs = product(*(girths.get(side, (None,)) for side in LEGS))
        left, right = max(pairs, key=_apart)
        asked = _asked(session, (NEW, EXPLAINED), _names(readings, girths), repeated=repeated)
        findings.append(side_difference(left, right, book, "C", asked))
    for side, now_mm in girths.items():
        then = last.of_place(side, Point.C, Kind.GIRTH) if last is not None else None
        before = _girths(then[1], side) if then is not None else ()
        if then is not None and before:
            names = (*_names(readings, (side,)), *_names(then[1], (side,)))
            asked = _asked(session, change_questions(side), names, repeated=repeated)
            grown = change_since_last(side, max(now_mm), min(before), book, asked)
            findings += [grown] if grown is not None else []
    return Calves(tuple(findings))


def is_about(session: Session, what: str, readings: Iterable[str]) -> bool:
    """Whether an answer about a difference is about these very readings.

    Args:
        session: the session.
        what: the name the answer is stored by.
        readings: names of the readings that differ.
    """
    wanted = set(readings)
    return any(set(head.names(RESTS_ON)) == wanted for head in session.answer(what).heads)


def _asked(
    session: Session, questions: tuple[str, str], readings: tuple[str, ...], *, repeated: bool
) -> FollowUp:
    new, explained = (_answered(session, ANSWER_PREFIX + name, readings) for name in questions)
    return FollowUp(repeated, new, explained, readings)


def _answered(session: Session, what: str, readings: tuple[str, ...]) -> tuple[Answer, ...]:
    """Return the answers to one question about these readings; none where all are about others.

    Where laptops differ, one that is about other readings counts beside one that is about these.
    """
    if not is_about(session, what, readings):
        return ()
    told = (str(value) for value in session.answer(what).values)
    return tuple(answer if answer in (YES, NO) else UNKNOWN for answer in told)


def _names(readings: Readings, sides: Iterable[Side]) -> tuple[str, ...]:
    return tuple(r.name for side in sides for r in readings.taken((side, Point.C, Kind.GIRTH)))


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


def _repeated(
    session: Session, readings: Readings, sides: tuple[Side, ...], differ: Collection[Place]
) -> bool:
    """Whether each calf was read often enough, or somebody said why it was not."""
    if skip_reason(session):
        return True
    places = [(side, Point.C, Kind.GIRTH) for side in sides]
    return all(
        len(readings.current(place)) >= (MOST_ROUNDS if place in differ else 2) for place in places
    )
