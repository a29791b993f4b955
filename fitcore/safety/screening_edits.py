"""Answers of screening as drafts of entries: pure, and the same for screen and commands."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.points import LEGS, side_words
from fitcore.problems import Problem, ReadingError
from fitcore.record.edits import draft_answer
from fitcore.record.entries import Draft
from fitcore.record.fields import choice_words
from fitcore.safety.abpi import Missing
from fitcore.safety.screening_answers import (
    ANSWER_PREFIX,
    FROM_FIELDS,
    ONE_ARM_WHY,
    PRESSURE_PREFIX,
    RESTS_ON,
    TAKEN_ON,
    UNKNOWN,
    parse_answer,
    parse_pressure,
)
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from fitcore.record.entries import Value
    from fitcore.record.session import Session
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_model import PressureField, Question

RULES_USED = "screening_rules"
"""Field of a session: the rules its answers were judged by when they were given."""


def parse_screening(book: ScreeningBook, what: str, text: str) -> Value:
    """Read an answer of screening as somebody typed it.

    Args:
        book: the questions.
        what: `screen.<id>`, `pressure.<id>`, `pressure.one_arm_why` or `pressure.taken_on`.
        text: as typed.

    Returns:
        The answer as a session stores it: a number as a number, a day as text such as
        `2026-03-04`, anything else as its word.

    Raises:
        ReadingError: no such question or pressure, or none of its answers; a question that a
            field of the session answers.
    """
    if what == PRESSURE_PREFIX + ONE_ARM_WHY:
        return _words(what, text)
    if what == PRESSURE_PREFIX + TAKEN_ON:
        return _day(what, text)
    question = _question(book, what)
    if question is not None and question.id in FROM_FIELDS:
        raise _in_a_field(what, FROM_FIELDS[question.id])
    if question is not None:
        return parse_answer(question, text)
    pressure = _pressure(book, what)
    if pressure is None:
        raise _unknown(what)
    value = parse_pressure(pressure, text)
    return UNKNOWN if value is None else value


def screening_words(book: ScreeningBook, what: str, value: Value) -> str:
    """Write an answer of screening for people, with what was asked.

    Args:
        book: the questions.
        what: as `parse_screening` takes it; an unknown one is shown as it is.
        value: the answer as stored.
    """
    question = _question(book, what)
    if question is not None:
        side = next((side for side in LEGS if what.endswith(f"_{side}")), None)
        asked = question.text
        if question.per_leg and side is not None:
            asked = say("{side}: {asked}", side=side_words(side), asked=asked)
        told = str(value) if question.kind == "text" else _value_words(value)
        if question.kind == "choice":
            told = _value_words(question.choice_words(told))
        return say("{asked} Answer: {answer}.", asked=asked, answer=told)
    pressure = _pressure(book, what)
    if pressure is None:
        names = {
            PRESSURE_PREFIX + ONE_ARM_WHY: say("One arm only, because"),
            PRESSURE_PREFIX + TAKEN_ON: say("Blood pressures taken on"),
        }
        told = say("not known") if value == UNKNOWN else str(value)
        return say("{asked}: {answer}.", asked=names.get(what, what), answer=told)
    told = _value_words(value)
    if isinstance(value, int | Decimal):
        told = say("{mmhg} mmHg", mmhg=told)
    return say("{asked}: {answer}.", asked=pressure.text, answer=told)


def draft_screening(
    session: Session,
    book: ScreeningBook,
    answers: Mapping[str, Value],
    at: datetime,
    *,
    rest_on: Mapping[str, Sequence[str]] | None = None,
) -> tuple[Draft, ...]:
    """Answer questions of screening, and note the rules in use beside the first of them.

    Args:
        session: the session.
        book: the rules in use.
        answers: what was asked to the answer, as `parse_screening` takes and returns them.
        at: the instant, from the caller's clock.
        rest_on: what was asked to the readings the answer is about, where it is about readings: it
            holds for them only, so the same answer about others is an answer anew.

    Returns:
        One draft for each answer that does not stand already, then the rules where the session
        does not name them yet; none where all answers stand.
    """
    about = rest_on or {}
    drafts = [
        _draft_about(session, what, value, at, about[what])
        if about.get(what)
        else draft_answer(session, what, value, at)
        for what, value in answers.items()
    ]
    new = [draft for draft in drafts if draft is not None]
    stamp = draft_answer(session, RULES_USED, book.used.stamp, at) if new else None
    return (*new, *([stamp] if stamp is not None else []))


def _draft_about(
    session: Session, what: str, value: Value, at: datetime, readings: Sequence[str]
) -> Draft | None:
    register = session.answer(what)
    same = all(set(head.names(RESTS_ON)) == set(readings) for head in register.heads)
    if register.value == value and same:
        return None
    fields: dict[str, Value | None] = {"what": what, "is": value, RESTS_ON: list(readings)}
    return Draft("answers", at, {**fields, "instead_of": list(register.seen) or None})


def _question(book: ScreeningBook, what: str) -> Question | None:
    if not what.startswith(ANSWER_PREFIX):
        return None
    name = what.removeprefix(ANSWER_PREFIX)
    question = book.questions.find(name)
    return question if question is not None and name in question.ids else None


def _pressure(book: ScreeningBook, what: str) -> PressureField | None:
    return next((p for p in book.questions.pressures if PRESSURE_PREFIX + p.id == what), None)


def _value_words(value: Value) -> str:
    if isinstance(value, int | Decimal):
        return plain(Decimal(value))
    words = {
        UNKNOWN: say("not known"),
        Missing.NOT_OBTAINED: say("could not be obtained"),
        Missing.NOT_COMPRESSIBLE: say("would not compress"),
    }
    return words.get(str(value)) or choice_words(str(value))


def _words(what: str, text: str) -> Value:
    words = clean(text).text
    if words:
        return words
    raise ReadingError(
        Problem(
            code="bad_answer",
            text=say("Nothing was said."),
            mend=say("Say why in a few words."),
            key=what,
        )
    )


def _day(what: str, text: str) -> Value:
    typed = clean(text).text
    if typed.casefold() == UNKNOWN:
        return UNKNOWN
    try:
        return date.fromisoformat(typed).isoformat()
    except ValueError as error:
        raise ReadingError(
            Problem(
                code="bad_answer",
                text=say("'{text}' is no day.", text=typed[:40]),
                mend=say("Write the day as 2026-03-04, or unknown."),
                key=what,
            )
        ) from error


def _in_a_field(what: str, field: str) -> ReadingError:
    """Return the refusal of an answer that nobody would ever read."""
    return ReadingError(
        Problem(
            code="answered_elsewhere",
            text=say("'{name}' is answered by a field of the session.", name=what),
            mend=say("Answer {field} instead.", field=field),
            key=what,
        )
    )


def _unknown(what: str) -> ReadingError:
    return ReadingError(
        Problem(
            code="unknown_answer",
            text=say("'{name}' is nothing screening knows.", name=clean(what).text[:60]),
            mend=say("screen --questions prints all ids; an id of one leg ends in its side."),
            key=clean(what).text[:60] or None,
        )
    )
