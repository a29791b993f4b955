"""Which questions of screening are asked, and what stands as answered. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.points import LEGS, Side
from fitcore.safety.screening_answers import NO, UNKNOWN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.safety.screening_answers import Answer, Answers
    from fitcore.safety.screening_model import Opens, Question, Questions


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
        self._wanted = tuple(side for side in LEGS if side in sides)
        self.sides = tuple(side for side in self._wanted if not self._is_out(side))
        """The legs that are there and can be measured."""

    def answers(self, question: Question, side: Side | None) -> tuple[Answer, ...]:
        """Return the answers that count: given ones, else not known where the question is open.

        An answer that is there counts even where its question was never opened; only a *no* to
        such a question says nothing.
        """
        given = self._answers.of(question.id_of(side))
        if not self.is_open(question, side):
            return tuple(answer for answer in given if answer != NO)
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
        # Why a leg is missing is asked of the leg that is missing.
        return LEGS if question.page == "legs" else self.sides

    def _is_out(self, side: Side) -> bool:
        state = self._questions.get("leg_state")
        answers = set() if state is None else set(self._answers.of(state.id_of(side)))
        return bool(answers & {"absent", "cannot_be_measured"})
