"""What two calves, or one calf and last time's, ask for: the only red flag a tape can see. Pure.

It never says that there is no clot: legs of one girth prove nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitcore.points import LEGS, Side, side_words
from fitcore.safety.screening import built_in
from fitcore.safety.screening_answers import NO, YES
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from decimal import Decimal

    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening_answers import Answer, Answers
    from fitcore.safety.screening_book import ScreeningBook

Where = Literal["tuberosity", "C"]
"""10 cm below the tibial tuberosity, as the source has it, or at the widest of the calf."""

NEW, EXPLAINED = "larger_leg_new", "larger_leg_explained"
"""Ids of the two questions a difference asks."""


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What was done and answered about a difference."""

    repeated: bool = False
    """Whether what differs was read a second time."""
    new: tuple[Answer, ...] = ()
    """Answers to whether the larger leg is newly larger; empty where not asked yet."""
    explained: tuple[Answer, ...] = ()
    """Answers to whether it is long so, explained, recorded before, without symptoms."""


@dataclass(frozen=True, slots=True)
class SideDifference:
    """What to do about a difference."""

    step: Literal["one_leg", "small", "repeat", "ask", "stop", "note"]
    text: str
    difference_mm: Decimal | None = None
    larger: Side | None = None
    question: str = ""
    """Id of the question to ask next, where the step is `ask`."""
    rule: FiredRule | None = None
    """The stop, for screening to count; there until the difference is settled."""


def side_difference(
    left_mm: Decimal | None,
    right_mm: Decimal | None,
    book: ScreeningBook,
    where: Where,
    asked: FollowUp,
) -> SideDifference:
    """Judge the girths of both calves, taken in the same posture.

    Args:
        left_mm: left calf in mm; None where there is none.
        right_mm: right calf in mm.
        book: holds the threshold with its source.
        where: at which height both were taken.
        asked: what was done and answered about a difference so far.

    Source: the rule file's own, for the threshold.
    """
    if left_mm is None or right_mm is None:
        return SideDifference("one_leg", say("No leg to compare: no reassurance."))
    difference = abs(left_mm - right_mm)
    larger = Side.LEFT if left_mm > right_mm else Side.RIGHT if right_mm > left_mm else None
    rule = book.rules.side_difference
    if rule is None or difference < rule.cm * 10 or larger is None:
        text = say(
            "Calves differ by {cm} cm{where}. That alone rules nothing out.",
            cm=show_cm(difference),
            where=_where_words(where),
        )
        return SideDifference("small", text, difference, larger)
    found = say(
        "{side} calf larger by {cm} cm{where}.",
        side=side_words(larger),
        cm=show_cm(difference),
        where=_where_words(where),
    )
    return _follow_up(found, difference, larger, book, asked)


def change_since_last(
    side: Side,
    now_mm: Decimal,
    before_mm: Decimal,
    book: ScreeningBook,
    asked: FollowUp,
) -> SideDifference | None:
    """Judge one calf against last time's; None where it has not grown that much.

    Args:
        side: the leg.
        now_mm: calf now, in mm.
        before_mm: the same calf last time, in mm.
        book: holds the threshold with its source.
        asked: what was done and answered about it so far.
    """
    rule = book.rules.side_difference
    grown = now_mm - before_mm
    if rule is None or grown < rule.grown_cm * 10:
        return None
    found = say(
        "{side} calf {cm} cm larger than last time.", side=side_words(side), cm=show_cm(grown)
    )
    return _follow_up(found, grown, side, book, asked)


def follow_up(answers: Answers, *, repeated: bool) -> FollowUp:
    """Return what was answered about a difference.

    Args:
        answers: the answers of screening.
        repeated: whether what differs was read a second time.
    """
    return FollowUp(repeated, answers.of(NEW), answers.of(EXPLAINED))


def _follow_up(
    found: str, difference: Decimal, larger: Side, book: ScreeningBook, asked: FollowUp
) -> SideDifference:
    rule = book.rules.side_difference
    fired = None if rule is None else built_in("side_difference", rule, LEGS, book)
    if not asked.repeated:
        text = say("{found} Read it once more.", found=found)
        return SideDifference("repeat", text, difference, larger, rule=fired)
    if not asked.new:
        text = say("{found} Is it new, or has it grown?", found=found)
        return SideDifference("ask", text, difference, larger, NEW, fired)
    if set(asked.new) == {NO} and not asked.explained:
        text = say(
            "{found} Long so, explained, recorded before, and without pain or heat?", found=found
        )
        return SideDifference("ask", text, difference, larger, EXPLAINED, fired)
    if set(asked.new) == {NO} and set(asked.explained) == {YES}:
        text = say("{found} Said to be long-standing and explained: noted.", found=found)
        return SideDifference("note", text, difference, larger)
    text = say("{found} {advice}", found=found, advice=fired.text if fired else "")
    return SideDifference("stop", text, difference, larger, rule=fired)


def _where_words(where: Where) -> str:
    if where == "C":
        return say(" at the widest of the calf, not 10 cm below the knee bump")
    return say(" 10 cm below the knee bump")
