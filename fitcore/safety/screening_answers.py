"""Answers and blood pressures of screening, from a file and from a session.

A question may have several answers at once: two laptops differ, or an earlier answer was changed
without an assessment. All are kept here, and screening lets the more careful one rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.problems import Problem, ReadingError
from fitcore.safety.abpi import Missing, MmHg
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitcore.safety.screening_model import PressureField, Question, Questions

YES, NO, UNKNOWN = "yes", "no", "unknown"

Answer = str | Decimal
"""`yes`, `no`, `unknown`, a choice, a text, or a number."""

ANSWER_PREFIX = "screen."
PRESSURE_PREFIX = "pressure."
ONE_ARM_WHY = "one_arm_why"
TAKEN_ON = "taken_on"
RESTS_ON = "rests_on"
"""What an entry carries that holds only while something else is unchanged: answers, readings."""

FROM_FIELDS = {"purpose": "purpose", "garment_form": "forms"}
"""Questions a session answers in a field of its own."""


@dataclass(frozen=True, slots=True)
class Garment:
    """What screening asks of one garment."""

    form: str
    upper_mmhg: Decimal | None
    """Upper printed limit in mmHg; None where none is printed."""


@dataclass(frozen=True, slots=True)
class Answers:
    """What was answered: for each question id the answers that stand side by side."""

    given: Mapping[str, tuple[Answer, ...]] = field(default_factory=dict)

    def of(self, name: str) -> tuple[Answer, ...]:
        """Return the answers to one question, empty where it was not answered."""
        return self.given.get(name, ())

    def for_garment(self, garment: Garment) -> Answers:
        """Return the same for one garment; layers the session tells of still count.

        Where somebody does not know what they come to, that stands beside the most that is known.
        """
        told = self.of("garment_high_mmhg")
        figures = [answer for answer in told if isinstance(answer, Decimal)]
        figures += [garment.upper_mmhg] if garment.upper_mmhg is not None else []
        most: tuple[Answer, ...] = (max(figures),) if figures else ()
        others = tuple(answer for answer in told if not isinstance(answer, Decimal))
        high = {"garment_high_mmhg": (*most, *others)} if most or others else {}
        return Answers({**self.given, **high, "garment_form": (garment.form,)})

    def worn_mmhg(self, printed: Decimal | None) -> Decimal | None:
        """Return what a garment comes to in mmHg, layers the session tells of added.

        None where the garment prints nothing, or nobody knows what the layers come to.
        """
        told = self.of("garment_high_mmhg")
        figures = [answer for answer in told if isinstance(answer, Decimal)]
        if printed is None or len(figures) < len(told):
            return None
        return max([printed, *figures])

    def with_absent_unknown(self, questions: Questions) -> Answers:
        """Return the same with every unanswered line of the first page as not known."""
        absent = {q.id: (UNKNOWN,) for q in questions.first_page if not self.of(q.id)}
        return Answers({**self.given, **absent})


@dataclass(frozen=True, slots=True)
class Pressures:
    """Systolic pressures in mmHg by id (`arm_left`, `left_dp`, ...), and what was said of them."""

    given: Mapping[str, tuple[MmHg | None, ...]] = field(default_factory=dict)
    """None beside a value: somebody else says that it is not known."""
    one_arm_why: str = ""
    """Why only one arm was taken."""
    taken_on: date | None = None
    """The day they were taken; None where at this visit."""

    def of(self, name: str) -> tuple[MmHg | None, ...]:
        """Return the values of one pressure; one None where nobody tried."""
        return self.given.get(name) or (None,)


def told_as(name: str, answer: Answer) -> str:
    """Write one answer as what a rule or a decision rests on, such as `screen.skin=yes`."""
    return f"{FROM_FIELDS.get(name, ANSWER_PREFIX + name)}={value_words(answer)}"


def value_words(value: Answer) -> str:
    """Write a value alike however it was typed: 24 and 24.0 are one."""
    return plain(value) if isinstance(value, Decimal) else str(value)


def parse_answer(question: Question, value: object) -> Answer:
    """Read one answer.

    Args:
        question: what was asked.
        value: text, or a number for a question that asks one; a text is cleaned.

    Raises:
        ReadingError: it is none of its answers.
    """
    answer = answer_or_none(question, clean(value).text if isinstance(value, str) else value)
    if answer is not None:
        return answer
    shown = _as_typed(value)
    raise ReadingError(
        Problem(
            code="bad_answer",
            text=say("'{answer}' is no answer to: {asked}", answer=shown, asked=question.text),
            mend=say("Answer with: {allowed}.", allowed=allowed_words(question)),
            key=question.id,
        )
    )


def allowed_words(question: Question) -> str:
    """Return what may be answered, as it is typed."""
    if question.low is not None and question.high is not None:
        low, high = plain(question.low), plain(question.high)
        return say("a number from {low} to {high}, or unknown", low=low, high=high)
    if question.kind == "text":
        return say("a few words, or unknown")
    answers = question.choices or (YES, NO)
    return ", ".join((*answers, UNKNOWN))


def parse_pressure(pressure: PressureField, value: object) -> MmHg | None:
    """Read one blood pressure.

    Args:
        pressure: which one, with the limits a figure lies between.
        value: a number, or `could_not_obtain`, `would_not_compress`, `unknown`.

    Returns:
        None where it is not known.

    Raises:
        ReadingError: no such pressure; the figure is surely a slip of typing.
    """
    text = clean(value).text.casefold() if isinstance(value, str) else ""
    if text == UNKNOWN:
        return None
    if text in tuple(Missing):
        return Missing(text)
    number = _number(value)
    if number is not None and pressure.low <= number <= pressure.high:
        return number
    raise ReadingError(
        Problem(
            code="bad_pressure",
            text=say(
                "{what}: '{value}' is no blood pressure.",
                what=pressure.text,
                value=_as_typed(value),
            ),
            mend=say(
                "Give {low} to {high} mmHg, could_not_obtain, would_not_compress or unknown.",
                low=plain(pressure.low),
                high=plain(pressure.high),
            ),
            key=pressure.id,
        )
    )


def answers_from_table(
    table: Mapping[str, object], questions: Questions
) -> tuple[Answers, Pressures, tuple[Problem, ...]]:
    """Read the answers of a TOML file: `[answers]` and `[pressures]`.

    Returns:
        What could be read, and a problem for everything that could not: an id that is no
        question's, a wrong answer, a table of another name.
    """
    problems = [
        _unknown_key(name, say("Only [answers] and [pressures] stand here."))
        for name in table
        if name not in ("answers", "pressures")
    ]
    given: dict[str, tuple[Answer, ...]] = {}
    for name, value in _items(table, "answers", problems):
        question = questions.find(name)
        if question is None or name not in question.ids:
            mend = say("screen --questions prints all ids; an id of one leg ends in its side.")
            problems.append(_unknown_key(name, mend))
            continue
        try:
            given[name] = (parse_answer(question, value),)
        except ReadingError as error:
            problems.append(error.problem)
    taken = dict(_items(table, "pressures", problems))
    pressures = _pressures_from_table(taken, questions, problems)
    return Answers(given), pressures, tuple(problems)


def answer_or_none(question: Question, value: object) -> Answer | None:
    """Read one answer; None where it is none of the question's."""
    if isinstance(value, str) and question.kind == "text":
        return value or None
    if isinstance(value, str) and value.casefold() == UNKNOWN:
        return UNKNOWN
    if question.kind == "number":
        number = _number(value)
        if number is None or question.low is None or question.high is None:
            return None
        return number if question.low <= number <= question.high else None
    allowed = question.choices or (YES, NO)
    return value.casefold() if isinstance(value, str) and value.casefold() in allowed else None


def _as_typed(value: object) -> str:
    """Return the beginning of what was typed, for a message."""
    try:
        return clean(str(value)).text[:40]
    except ValueError:  # a whole number of thousands of digits cannot be written
        return say("a number of thousands of digits")


def _number(value: object) -> Decimal | None:
    """Read a number; a text is taken as people type it, with a point or a comma."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int | Decimal):
        number = Decimal(value)
    elif isinstance(value, str) and value.replace(",", ".", 1).replace(".", "", 1).isdecimal():
        number = Decimal(value.replace(",", ".", 1))
    else:
        return None
    return number if number.is_finite() else None


def _items(
    table: Mapping[str, object], name: str, problems: list[Problem]
) -> Iterator[tuple[str, object]]:
    part = table.get(name, {})
    if isinstance(part, Mapping):
        yield from part.items()
    else:
        problems.append(_unknown_key(name, say("Write it as a table: [{name}].", name=name)))


def _pressures_from_table(
    table: dict[str, object], questions: Questions, problems: list[Problem]
) -> Pressures:
    why, taken_on = table.pop(ONE_ARM_WHY, ""), table.pop(TAKEN_ON, None)
    if isinstance(taken_on, datetime) or not isinstance(taken_on, date | None):
        problems.append(_unknown_key(TAKEN_ON, say("Write the day as 2026-03-04.")))
        taken_on = date.min
    if not isinstance(why, str):
        problems.append(_unknown_key(ONE_ARM_WHY, say("Say why in a few words, in quotes.")))
        why = ""
    known = {pressure.id: pressure for pressure in questions.pressures}
    given: dict[str, tuple[MmHg | None, ...]] = {}
    for name, value in table.items():
        if name not in known:
            allowed = ", ".join((*known, ONE_ARM_WHY, TAKEN_ON))
            problems.append(_unknown_key(name, say("Pressures: {allowed}.", allowed=allowed)))
            continue
        try:
            read = parse_pressure(known[name], value)
        except ReadingError as error:
            problems.append(error.problem)
            continue
        if read is not None:
            given[name] = (read,)
    return Pressures(given, clean(why).text, taken_on)


def _unknown_key(name: str, mend: str) -> Problem:
    return Problem(
        code="unknown_answer",
        text=say("'{name}' is nothing screening knows.", name=clean(name).text[:60]),
        mend=mend,
        key=clean(name).text[:60] or None,
    )
