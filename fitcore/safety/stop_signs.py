"""A first look for a stop: what must stand in a session before any rule can stop or hold a leg.

Judging a session costs milliseconds, and an archive has thousands. Nothing is judged here: a
session without a sign cannot be stopped, one with a sign has to be judged. Pure.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.points import LEGS, Kind, Point, Side
from fitcore.safety.outcomes import Action
from fitcore.safety.screening_answers import (
    ANSWER_PREFIX,
    FROM_FIELDS,
    NO,
    PRESSURE_PREFIX,
    UNKNOWN,
    answer_or_none,
)

if TYPE_CHECKING:
    from fitcore.record.entries import Entry, Value
    from fitcore.record.session import Session
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_model import Rule

_SWOLLEN = ("swollen", "dent")
"""Fields that say a leg is swollen: with a no beside them they stop by themselves."""
_STOPPING = (Action.STOP, Action.HOLD)


class StopSigns:
    """What of a session's lines a stop or a hold needs, by one book of rules."""

    def __init__(self, book: ScreeningBook) -> None:
        stopping = [rule for rule in book.rules.rules if _stops(rule)]
        named = {name for rule in stopping for name in rule.questions}
        on_no = {name for rule in stopping if _fires_on_no(rule) for name in rule.questions}
        questions = book.questions.questions
        opened = [
            (opens.question, answer)
            for question in questions
            for opens in question.opens
            if book.branch(question) & named  # left unanswered it counts as not known
            for answer in opens.answers
        ]
        on_no |= {name for name, answer in opened if answer == NO}
        self._no = frozenset(
            ANSWER_PREFIX + each for q in questions if q.id in on_no for each in q.ids
        )
        self._fields = {
            field: (
                question,
                frozenset([UNKNOWN, *(answer for name, answer in opened if name == question.id)])
                | _purposes(book, question.id, named),
            )
            for question in questions
            if (field := FROM_FIELDS.get(question.id))
        }
        difference = book.rules.side_difference
        self._apart_mm = None if difference is None else Decimal(str(difference.cm)) * 10

    def may_stop(self, session: Session) -> bool:
        """Whether a session has to be judged; False only where no rule can stop or hold a leg.

        Every line counts, replaced and struck out ones too: a hold outlives them.
        """
        calves: dict[Side, list[Decimal]] = {side: [] for side in LEGS}
        for entry in session.entries:
            if entry.array == "readings":
                _take_calf(entry, calves)
            elif self._is_sign(entry.text("what"), entry.fields.get("is")):
                return True
        left, right = (calves[side] for side in LEGS)
        if self._apart_mm is None or not left or not right:
            return False
        return max(max(left) - min(right), max(right) - min(left)) >= self._apart_mm

    def _is_sign(self, what: str, value: Value | None) -> bool:
        if what.startswith(PRESSURE_PREFIX):
            return True
        if what.startswith(ANSWER_PREFIX):
            return value != NO or what in self._no
        if what in _SWOLLEN:
            return value in (*(side.value for side in LEGS), Side.BOTH.value)
        if what not in self._fields:
            return False
        question, signs = self._fields[what]
        values = value if isinstance(value, list | tuple) else (value,)
        # What is none of the question's answers counts as not known.
        return any((answer_or_none(question, each) or UNKNOWN) in signs for each in values)


def _stops(rule: Rule) -> bool:
    return rule.action in _STOPPING


def _fires_on_no(rule: Rule) -> bool:
    return rule.when == NO or NO in rule.one_of


def _purposes(book: ScreeningBook, question: str, named: set[str]) -> frozenset[str]:
    """Return the answers of a question that some rule stops at by themselves."""
    found: set[str] = set()
    if FROM_FIELDS.get(question) == "purpose":
        advice = book.purposes.purposes
        found |= {each.purpose for each in advice if any(_stops(rule) for rule in each.rules)}
    if question in named:
        found |= {
            answer
            for rule in book.rules.rules
            if _stops(rule) and question in rule.questions
            for answer in rule.one_of
        }
    return frozenset(found)


def _take_calf(entry: Entry, calves: dict[Side, list[Decimal]]) -> None:
    is_calf = entry.fields.get("point") == Point.C.value
    if not is_calf or entry.fields.get("kind") != Kind.GIRTH.value:
        return
    mm, side = entry.fields.get("mm"), entry.text("side")
    if isinstance(mm, int | Decimal) and side in LEGS:
        calves[Side(side)].append(Decimal(mm))
