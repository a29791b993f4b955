"""What two calves, or one calf and last time's, ask for: the only red flag a tape can see. Pure.

It never says that there is no clot: legs of one girth prove nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitcore.points import LEGS, Side, side_words
from fitcore.safety.fired_rules import built_in
from fitcore.safety.outcomes import Action, FiredRule, Urgency
from fitcore.safety.screening_answers import NO, YES, told_as
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from decimal import Decimal

    from fitcore.safety.screening_answers import Answer
    from fitcore.safety.screening_book import ScreeningBook

Where = Literal["tuberosity", "C"]
"""10 cm below the tibial tuberosity, as the source has it, or at the widest of the calf."""

NEW, EXPLAINED = "larger_leg_new", "larger_leg_explained"
"""Ids of the two questions a difference between the calves asks."""
_GROWN = ("grown_leg_new", "grown_leg_explained")
ONE_CALF = "one_calf"
"""Id of the rule on a calf that was not read beside one that was."""
READING = "reading"
"""What a rule rests on where it rests on a reading: `reading=tern-k7qd:92`."""


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What was done and answered about one difference, and of the readings it is of."""

    repeated: bool = False
    """Whether what differs was read a second time."""
    new: tuple[Answer, ...] = ()
    """Answers to whether the larger leg is newly larger; empty where not asked yet."""
    explained: tuple[Answer, ...] = ()
    """Answers to whether it is long so, explained, recorded before, without symptoms."""
    readings: tuple[str, ...] = ()
    """Names of the readings that differ: answers about others do not count."""


@dataclass(frozen=True, slots=True)
class SideDifference:
    """What to do about a difference."""

    step: Literal["one_leg", "one_calf", "small", "repeat", "ask", "stop", "note"]
    text: str
    difference_mm: Decimal | None = None
    larger: Side | None = None
    question: str = ""
    """Id of the question to ask next, where the step is `ask`."""
    rule: FiredRule | None = None
    """The stop, for screening to count; there until the difference is settled."""
    questions: tuple[str, ...] = ()
    """Ids of both questions it asks, one after the other; none where it asks nothing."""
    readings: tuple[str, ...] = ()
    """Names of the readings it is of."""


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
    return _follow_up(found, difference, larger, book, asked, questions=(NEW, EXPLAINED))


def one_calf(missing: Side, book: ScreeningBook) -> SideDifference:
    """Ask where both legs are there to be measured and only one calf was read.

    Nobody compared them, and a leg larger by far would be let through.

    Args:
        missing: the leg whose calf has no girth.
        book: holds whose decision lifts it.

    Source: ours, a judgement: that the calves are compared is the rule file's own source.
    """
    text = say(
        "{side} calf not read, so the two cannot be compared: no reassurance. Read it, or ask the "
        "prescriber.",
        side=side_words(missing),
    )
    roles = book.rules.lifted_by
    rule = FiredRule(
        ONE_CALF,
        Action.ASK,
        Urgency.ROUTINE,
        text,
        say("Ours."),
        "judgement",
        LEGS,
        () if roles is None else roles.ask,
    )
    return SideDifference("one_calf", text, rule=rule)


def change_questions(side: Side) -> tuple[str, str]:
    """Return the ids of the two questions a leg grown since last time asks."""
    new, explained = _GROWN
    return f"{new}_{side}", f"{explained}_{side}"


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
    return _follow_up(found, grown, side, book, asked, questions=change_questions(side))


def _follow_up(
    found: str,
    difference: Decimal,
    larger: Side,
    book: ScreeningBook,
    asked: FollowUp,
    *,
    questions: tuple[str, str],
) -> SideDifference:
    new, explained = questions
    grown = new != NEW
    step, text = _step(found, asked, grown=grown)
    rule = book.rules.side_difference
    basis = [
        *(f"{READING}={name}" for name in asked.readings),
        *(told_as(new, answer) for answer in asked.new),
        *(told_as(explained, answer) for answer in asked.explained),
    ]
    fired = None
    if rule is not None and step != "note":
        fired = built_in("side_difference", rule, LEGS, book, basis)
        if step == "stop":
            text = f"{found} {fired.text}"
    question = (explained if asked.new else new) if step == "ask" else ""
    return SideDifference(
        step, text, difference, larger, question, fired, questions, asked.readings
    )


def _step(
    found: str, asked: FollowUp, *, grown: bool
) -> tuple[Literal["repeat", "ask", "stop", "note"], str]:
    """Say how far a difference was followed up, and what is said of it."""
    if not asked.repeated:
        return "repeat", say("{found} Read it once more.", found=found)
    if not asked.new and grown:
        return "ask", say("{found} Suddenly, or within the last weeks?", found=found)
    if not asked.new:
        return "ask", say("{found} Is it new, or has it grown?", found=found)
    if set(asked.new) == {NO} and not asked.explained and grown:
        return "ask", say("{found} Slowly, explained, and without pain or heat?", found=found)
    if set(asked.new) == {NO} and not asked.explained:
        return "ask", say(
            "{found} Long so, explained, recorded before, and without pain or heat?", found=found
        )
    if set(asked.new) == {NO} and set(asked.explained) == {YES}:
        return "note", say("{found} Said to be long-standing and explained: noted.", found=found)
    return "stop", found


def _where_words(where: Where) -> str:
    if where == "C":
        return say(" at the widest of the calf, not 10 cm below the knee bump")
    return say(" 10 cm below the knee bump")
