"""Answers of screening as drafts of entries: pure, and the same for screen and commands."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.edits import draft_answer
from fitcore.problems import Problem, ReadingError
from fitcore.screening_answers import (
    ANSWER_PREFIX,
    ONE_ARM_WHY,
    PRESSURE_PREFIX,
    TAKEN_ON,
    UNKNOWN,
    parse_answer,
    parse_pressure,
)
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from fitcore.entries import Draft, Value
    from fitcore.screening_book import ScreeningBook
    from fitcore.session import Session

RULES_USED = "screening_rules"
"""Field of a session: the rules its answers were judged by when they were given."""


def parse_screening(book: ScreeningBook, what: str, text: str) -> Value:
    """Read an answer of screening as somebody typed it.

    Args:
        book: the questions.
        what: `screen.<id>` or `pressure.<id>`.
        text: as typed.

    Raises:
        ReadingError: no such question or pressure, or none of its answers.
    """
    if what.startswith(ANSWER_PREFIX):
        name = what.removeprefix(ANSWER_PREFIX)
        question = book.questions.find(name)
        if question is None or name not in question.ids:
            raise _unknown(what)
        return parse_answer(question, text)
    name = what.removeprefix(PRESSURE_PREFIX)
    if name == ONE_ARM_WHY:
        return _words(what, text)
    if name == TAKEN_ON:
        return _day(what, text)
    pressure = next((p for p in book.questions.pressures if p.id == name), None)
    if pressure is None:
        raise _unknown(what)
    value = parse_pressure(pressure, text)
    return UNKNOWN if value is None else value


def draft_screening(
    session: Session, book: ScreeningBook, answers: Mapping[str, Value], at: datetime
) -> tuple[Draft, ...]:
    """Answer questions of screening, and note the rules in use beside the first of them.

    Args:
        session: the session.
        book: the rules in use.
        answers: `screen.<id>` or `pressure.<id>` to the answer.
        at: the present instant.

    Returns:
        One draft for each answer that does not stand already; none where all do.
    """
    drafts = [draft_answer(session, what, value, at) for what, value in answers.items()]
    new = [draft for draft in drafts if draft is not None]
    stamp = draft_answer(session, RULES_USED, book.used.stamp, at) if new else None
    return (*new, *([stamp] if stamp is not None else []))


def _words(what: str, text: str) -> Value:
    words = clean(text).text
    if words:
        return words
    raise ReadingError(
        Problem(
            code="bad_answer",
            text=say("{what}: nothing was said.", what=what),
            mend=say("Say why in a few words."),
            key=what,
        )
    )


def _day(what: str, text: str) -> Value:
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError as error:
        raise ReadingError(
            Problem(
                code="bad_answer",
                text=say("{what}: '{text}' is no day.", what=what, text=clean(text).text[:40]),
                mend=say("Write the day as 2026-03-04."),
                key=what,
            )
        ) from error


def _unknown(what: str) -> ReadingError:
    return ReadingError(
        Problem(
            code="unknown_answer",
            text=say("'{name}' is nothing screening knows.", name=clean(what).text[:60]),
            mend=say("screen --questions prints all ids; an id of one leg ends in its side."),
            key=clean(what).text[:60] or None,
        )
    )
