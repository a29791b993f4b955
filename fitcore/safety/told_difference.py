"""A difference between the calves that is only told of: answers without a reading. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.points import LEGS
from fitcore.safety.fired_rules import built_in
from fitcore.safety.screening_answers import NO, YES, told_as
from fitcore.safety.side_difference import EXPLAINED, NEW, change_questions

if TYPE_CHECKING:
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening_answers import Answers
    from fitcore.safety.screening_book import ScreeningBook


def told_difference(answers: Answers, book: ScreeningBook) -> tuple[FiredRule, ...]:
    """Return the stop that answers about a difference ask for; empty where nobody told of one.

    Only who found a difference answers these questions, so an answer stands for one, and anything
    but *not new* and *explained* counts as careful. With readings `fitcore.safety.calves` judges.

    Args:
        answers: of screening, from a file without readings.
        book: holds the rule.
    """
    rule = book.rules.side_difference
    pairs = ((NEW, EXPLAINED), *(change_questions(side) for side in LEGS))
    basis = [
        told_as(name, answer)
        for new, explained in pairs
        if not _is_settled(answers, new, explained)
        for name in (new, explained)
        for answer in answers.of(name)
    ]
    return (
        () if rule is None or not basis else (built_in("side_difference", rule, LEGS, book, basis),)
    )


def _is_settled(answers: Answers, new: str, explained: str) -> bool:
    return set(answers.of(new)) == {NO} and set(answers.of(explained)) == {YES}
