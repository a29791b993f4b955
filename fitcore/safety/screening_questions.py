"""Which questions of screening are asked, and what stands as answered. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.points import LEGS, Side
from fitcore.safety.screening_answers import NO, UNKNOWN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.safety.screening_answers import Answer, Answers
    from fitcore.safety.screening_model import Opens, Question, Questions

ABSENT = "absent"
OUT = {ABSENT, "cannot_be_measured"}
"""Answers of a leg that is not to be fitted."""


class Asked:
    """The questions as opened by one set of answers."""

    def __init__(self, answers: Answers, questions: Questions, sides: Sequence[Side]) -> None:
        """Take what was answered.

        Args:
            answers: what was answered.
            questions: all there are.
            sides: the legs to be fitted.
        """
        self._answers = answers
        self._questions = {question.id: question for question in questions.questions}
        self.there = tuple(side for side in LEGS if self._states(side) != {ABSENT})
        """The legs that are there, fitted or not; where answers differ, a leg counts as there."""
        self.sides = tuple(side for side in LEGS if side in sides and not self._is_out(side))
        """The legs asked about in full: to be fitted, there, and to be measured."""
        self.to_fit = tuple(side for side in self.sides if not self._states(side) & OUT)
        """Of those the ones nobody calls missing: where answers differ, a leg is not fitted."""

    def answers(self, question: Question, side: Side | None) -> tuple[Answer, ...]:
        """Return the answers that count: given ones, else not known where the question is open.

        An answer that is there counts even where its question was never opened; only a harmless
        *no* to such a question says nothing.
        """
        given = self._answers.of(question.id_of(side))
        if not self.is_open(question, side):
            return tuple(answer for answer in given if answer != NO or question.no_tells)
        counts_as_unknown = bool(question.opens) and not question.may_stay_open
        return given or ((UNKNOWN,) if counts_as_unknown else ())

    def is_open(self, question: Question, side: Side | None) -> bool:
        """Whether a question is asked: on its page, or opened by an answer to another."""
        if question.per_leg and side not in self._sides_of(question):
            return False
        return not question.opens or any(self._opened(opens, side) for opens in question.opens)

    def opened(self) -> tuple[tuple[Question, Side | None], ...]:
        """Return all opened questions with the leg each is asked for, in their order."""
        return tuple(
            (question, side)
            for question in self._questions.values()
            if question.opens
            for side in question.sides
            if self.is_open(question, side)
        )

    def _opened(self, opens: Opens, side: Side | None) -> bool:
        parent = self._questions[opens.question]
        sides = parent.sides if side is None or not parent.per_leg else (side,)
        wanted = {*opens.answers, UNKNOWN}
        return any(wanted.intersection(self._texts(parent, one)) for one in sides)

    def _texts(self, question: Question, side: Side | None) -> set[str]:
        return {answer for answer in self.answers(question, side) if isinstance(answer, str)}

    def _sides_of(self, question: Question) -> tuple[Side, ...]:
        # Why a leg is missing is asked of the leg that is missing; what threatens a leg, of every
        # leg that is there: a clot in the leg not fitted is still a clot.
        if question.page == "legs":
            return LEGS
        return self.there if question.every_leg else self.sides

    def _is_out(self, side: Side) -> bool:
        states = self._states(side)
        return bool(states) and states <= OUT

    def _states(self, side: Side) -> set[Answer]:
        state = self._questions.get("leg_state")
        return set() if state is None else set(self._answers.of(state.id_of(side)))
