"""What a session says of screening: answers side by side, and those a hold rests on still. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.problems import ReadingError
from fitcore.safety.abpi import Missing, MmHg, is_reason
from fitcore.safety.screening_answers import (
    ANSWER_PREFIX,
    FROM_FIELDS,
    NO,
    ONE_ARM_WHY,
    PRESSURE_PREFIX,
    TAKEN_ON,
    UNKNOWN,
    YES,
    Answer,
    Answers,
    Pressures,
    answer_or_none,
    parse_pressure,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from fitcore.record.entries import Entry, Value
    from fitcore.record.session import Session
    from fitcore.safety.screening_model import PressureField, Question, Questions


ASSESSMENT_KEYS = ("finding", "assessed_by", "assessed_on")
"""What an entry carries that may replace an answer on which a hold rests."""


def answers_from_session(
    session: Session, questions: Questions, *, earlier_too: bool = False
) -> tuple[Answers, Pressures]:
    """Return what a session says of screening, disputed answers side by side.

    What cannot be understood (a file changed by hand, a newer program) counts as not known.

    Args:
        session: the session.
        questions: what is asked.
        earlier_too: also the answers that were changed or struck out without an assessment: what
            a hold rests on is replaced by nothing else.
    """
    earlier = _unassessed(session, questions) if earlier_too else {}
    given: dict[str, tuple[Answer, ...]] = {}
    for question in questions.questions:
        for name in question.ids:
            values = [*_values(session, name), *_found(earlier, ANSWER_PREFIX + name)]
            answers = dict.fromkeys(_careful_answer(question, value) for value in values)
            if answers:
                given[name] = tuple(answers)
    taken = [_careful_date(value) for value in session.answer(PRESSURE_PREFIX + TAKEN_ON).values]
    reasons = session.answer(PRESSURE_PREFIX + ONE_ARM_WHY).values
    explained = bool(reasons) and all(is_reason(reason) for reason in reasons)
    pressures: dict[str, tuple[MmHg | None, ...]] = {}
    for pressure in questions.pressures:
        what = PRESSURE_PREFIX + pressure.id
        values = [*session.answer(what).values, *_found(earlier, what)]
        read = tuple(dict.fromkeys(_careful_pressure(pressure, value) for value in values))
        if any(value is not None for value in read):
            pressures[pressure.id] = read
    return Answers(given), Pressures(
        pressures, str(reasons[0]) if explained else "", min(taken, default=None)
    )


def is_assessment(entry: Entry) -> bool:
    """Whether an entry carries a finding, who found it and when."""
    return all(entry.fields.get(key) for key in ASSESSMENT_KEYS)


def _values(session: Session, name: str) -> list[Value]:
    """Return the values of one question that stand side by side in a session."""
    field_name = FROM_FIELDS.get(name)
    if field_name is None:
        return list(session.answer(ANSWER_PREFIX + name).values)
    found: list[Value] = []
    for value in session.answer(field_name).values:
        several = isinstance(value, Sequence) and not isinstance(value, str)
        found += list(value) if isinstance(value, Sequence) and several else [value]
    return found


def _careful_answer(question: Question, value: Value) -> Answer:
    if isinstance(value, bool):
        value = YES if value else NO
    answer = answer_or_none(question, value)
    return UNKNOWN if answer is None else answer


def _careful_pressure(pressure: PressureField, value: Value) -> MmHg | None:
    try:
        return parse_pressure(pressure, value)
    except ReadingError:
        return Missing.NOT_OBTAINED


def _careful_date(value: Value) -> date:
    """Return the day pressures were taken; one that cannot be read is long ago."""
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        return date.min


def _unassessed(session: Session, questions: Questions) -> dict[str, list[Entry]]:
    """Return entries of screening that no longer hold, and that no assessment replaced.

    Struck-out ones count too: striking out is no assessment. Nor is one that found nothing out.
    """
    assessed = {
        name
        for entry in session.heads.live
        if is_assessment(entry) and _found_out(entry, questions)
        for name in entry.replaces
        if name != str(entry.by)
    }
    found: dict[str, list[Entry]] = {}
    for entry in sorted(session.entries, key=lambda entry: entry.line):
        what = entry.text("what")
        ours = what.startswith((ANSWER_PREFIX, PRESSURE_PREFIX))
        if ours and entry.array in ("answers", "decisions") and str(entry.by) not in assessed:
            found.setdefault(what, []).append(entry)
    return found


def _found_out(entry: Entry, questions: Questions) -> bool:
    """Whether an assessment of a pressure gives a figure: that there is none lifts nothing.

    An answer that is not known needs no word here: it holds the leg like a yes.
    """
    what, value = entry.text("what"), entry.fields.get("is", UNKNOWN)
    taken = (p for p in questions.pressures if PRESSURE_PREFIX + p.id == what)
    return all(isinstance(_careful_pressure(p, value), Decimal) for p in taken)


def _found(earlier: Mapping[str, Iterable[Entry]], what: str) -> list[Value]:
    values = (entry.fields.get("is") for entry in earlier.get(what, ()))
    return [value for value in values if value is not None]
