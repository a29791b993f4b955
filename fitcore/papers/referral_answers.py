"""What a referral note says of the answers and blood pressures of screening. Pure.

Told is what anybody would ask about: yes, not known, and what deviates; never a list of *no*. An
answer changed since without a new assessment still holds a leg, so it is told, and marked.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import chain
from typing import TYPE_CHECKING

from fitcore.points import LEGS, side_words
from fitcore.problems import ReadingError
from fitcore.safety.outcomes import Action
from fitcore.safety.screening_answers import (
    ANSWER_PREFIX,
    NO,
    ONE_ARM_WHY,
    PRESSURE_PREFIX,
    TAKEN_ON,
    UNKNOWN,
    YES,
    parse_pressure,
)
from fitcore.safety.screening_edits import screening_words
from fitcore.safety.screening_questions import Asked
from fitcore.safety.side_difference import EXPLAINED, NEW, change_questions
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fitcore.points import Side
    from fitcore.record.entries import Value
    from fitcore.safety.clearance import SessionClearance
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening_answers import Answer
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_model import PressureField, Question, Rule

_THERE = "present"
"""Answer of a leg that is there and can be measured: nothing to tell."""
_PARTS = {"ankle_mmhg": ("dp", "pt"), "toe_mmhg": ("toe",), "abpi": ()}
"""Of what a rule measures, the pressures it looks at, by the end of their ids."""
_BUILT_IN_ANSWERS = {
    "side_difference": (NEW, EXPLAINED, *chain.from_iterable(map(change_questions, LEGS))),
    "without_abpi": ("garment_high_mmhg", "prescribed_high_mmhg"),
}
"""The answers that rules without questions of their own look at, whatever was answered."""


class AnswersTold:
    """Tells each answer once: below the first rule it made fire, or among the others."""

    def __init__(self, clearance: SessionClearance) -> None:
        """Take what was judged.

        Args:
            clearance: of the session, with its answers as they stand and as they ever stood.
        """
        book, told = clearance.rules.screening, clearance.told
        self._clearance, self._book = clearance, book
        self._answers, self._ever_answers = told.present[0], told.ever[0]
        self._asked = Asked(told.present[0], book.questions, told.sides)
        self._ever = Asked(told.ever[0], book.questions, told.sides)
        advised = chain.from_iterable(advice.rules for advice in book.purposes.purposes)
        self._rules = {rule.id: rule for rule in (*advised, *book.rules.rules)}
        self._told: set[tuple[str, Answer]] = set()

    def because(self, fired: FiredRule) -> Iterator[str]:
        """Tell what made a rule fire."""
        rule = self._rules.get(fired.id)
        if fired.found_in:
            yield from _because_linked(fired, self._book)
        elif rule is None:
            yield from self._because_built_in(fired)
        elif rule.measure is not None:
            yield from self._because_measured(rule.measure, fired.sides)
        else:
            yield from self._because_answered(rule, fired)

    def others(self) -> Iterator[str]:
        """Tell what else was answered and is no plain *no*, in the order it is asked."""
        for question in self._book.questions.questions:
            for side in question.sides:
                now = self._asked.answers(question, side)
                open_ = [a for a in now if self._is_to_tell(question, side, a)]
                if question.kind == "choice" and len(open_) > 1 and UNKNOWN not in open_:
                    yield f"- {self._words_of_all(question, side, open_)}"
                else:
                    yield from (f"- {self._words(question, side, a)}" for a in open_)
                for earlier in self._ever_answers.of(question.id_of(side)):
                    if earlier not in now and self._is_to_tell(question, side, earlier):
                        yield f"- {self._words(question, side, earlier)}"

    def _is_to_tell(self, question: Question, side: Side | None, answer: Answer) -> bool:
        told = (question.id_of(side), answer) in self._told
        return not told and not self._is_harmless(question, answer)

    def _words_of_all(self, question: Question, side: Side | None, found: Sequence[Answer]) -> str:
        """Write several answers to one question in one line, such as the garments looked at."""
        name = question.id_of(side)
        self._told |= {(name, answer) for answer in found}
        words = ", ".join(question.choice_words(str(answer)) for answer in found)
        return screening_words(self._book, ANSWER_PREFIX + name, words)

    def _because_answered(self, rule: Rule, fired: FiredRule) -> Iterator[str]:
        for question in (q for q in self._book.questions.questions if q.id in rule.questions):
            for side in question.sides:
                found = list(self._asked.answers(question, side))
                if fired.action is Action.HOLD:  # rests on what was ever said
                    found += [a for a in self._ever.answers(question, side) if a not in found]
                for answer in found:
                    if _counts(rule, answer):
                        yield self._words(question, side, answer)

    def _because_measured(self, measure: str, sides: Sequence[Side]) -> Iterator[str]:
        for side in sides:
            shown = self._clearance.result.leg(side).abpi.shown
            if measure == "abpi" and shown is not None:
                yield say("{side}: ABPI {abpi}.", side=side_words(side), abpi=shown)
            for part in _PARTS[measure]:
                yield from _one_pressure(self._clearance, f"{side}_{part}")

    def _because_built_in(self, fired: FiredRule) -> Iterator[str]:
        if fired.id == "abpi_not_obtained":
            yield from self._because_measured("ankle_mmhg", fired.sides)
            yield from self._because_measured("toe_mmhg", fired.sides)
        if fired.id == "side_difference":
            findings = self._clearance.calves.findings
            yield from (found.text for found in findings if found.rule is not None)
        for name in _BUILT_IN_ANSWERS.get(fired.id, ()):
            question = self._book.questions.find(name)
            if question is not None:
                side = next((side for side in question.sides if name == question.id_of(side)), None)
                for answer in self._answers.of(name):
                    yield self._words(question, side, answer)

    def _words(self, question: Question, side: Side | None, answer: Answer) -> str:
        """Write one answer with its question, and how it came to count."""
        name = question.id_of(side)
        self._told.add((name, answer))
        words = screening_words(self._book, ANSWER_PREFIX + name, answer)
        if answer in self._answers.of(name):
            written = self._clearance.session.answer(ANSWER_PREFIX + name).values
            if answer != UNKNOWN or not written or UNKNOWN in written:
                return words
            raw = ", ".join(str(value) for value in written)
            return say("{words} What the file says cannot be used: {raw}.", words=words, raw=raw)
        if answer in self._ever_answers.of(name):
            return say("{words} Changed or struck out since, without an assessment.", words=words)
        return say("{words} Nobody answered this.", words=words)

    def _is_harmless(self, question: Question, answer: Answer) -> bool:
        if question.kind == "yes_no_unknown":
            asks_for_yes = any(
                rule.when == NO and question.id in rule.questions for rule in self._rules.values()
            )
            return answer == (YES if asks_for_yes else NO)
        return question.page == "legs" and answer == _THERE


def pressure_lines(clearance: SessionClearance) -> Iterator[str]:
    """Tell every blood pressure taken, and the ABPI of each leg."""
    pressures = clearance.rules.screening.questions.pressures
    taken = [line for pressure in pressures for line in _one_pressure(clearance, pressure.id)]
    if not taken:
        yield say("None taken.")
    else:
        for name in (ONE_ARM_WHY, TAKEN_ON):
            what = PRESSURE_PREFIX + name
            values = clearance.session.answer(what).values
            taken += [screening_words(clearance.rules.screening, what, value) for value in values]
    yield from (f"- {line}" for line in taken)
    for side in LEGS:
        leg = clearance.result.leg(side)
        if leg.abpi.shown is not None:
            told = say("{side}: ABPI {abpi}.", side=side_words(side), abpi=leg.abpi.shown)
            yield f"- {told} {leg.abpi.why_not}".rstrip()


def _one_pressure(clearance: SessionClearance, name: str) -> Iterator[str]:
    """Tell a pressure as it was given, all values where they differ, and one changed since."""
    book, what = clearance.rules.screening, PRESSURE_PREFIX + name
    field = next(pressure for pressure in book.questions.pressures if pressure.id == name)
    (_, present), (_, ever) = clearance.told.present, clearance.told.ever
    for value in clearance.session.answer(what).values:
        words = screening_words(book, what, value)
        if not _is_pressure(field, value):
            yield say("{words} This cannot be right: counts as not obtained.", words=words)
        elif value != UNKNOWN:
            yield words
    for earlier in ever.of(name):
        if earlier is not None and earlier not in present.of(name):
            words = screening_words(book, what, earlier)
            yield say("{words} Changed or struck out since, without an assessment.", words=words)


def _is_pressure(field: PressureField, value: Value) -> bool:
    try:
        parse_pressure(field, value)
    except ReadingError:
        return False
    return True


def _because_linked(fired: FiredRule, book: ScreeningBook) -> Iterator[str]:
    """Tell the answers and pressures of another session that made a rule fire there."""
    for told in dict.fromkeys(what.partition("/")[2] for _, what in fired.basis):
        name, _, value = told.partition("=")
        if name.startswith(PRESSURE_PREFIX):
            figure = value.replace(".", "", 1).isdecimal()
            yield screening_words(book, name, Decimal(value) if figure else value)
        elif name.startswith(ANSWER_PREFIX):
            yield screening_words(book, name, value)


def _counts(rule: Rule, answer: Answer) -> bool:
    """Whether an answer is one a rule fires on."""
    if isinstance(answer, str):
        return answer in (UNKNOWN, rule.when, *rule.one_of)
    return rule.compares(answer)
