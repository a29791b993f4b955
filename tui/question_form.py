"""A page of questions: lines answered by one key or typed, some opened by the answers to others.

Enter never answers a question: it goes on when every line is answered, and says where one is not.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.problems import FitError
from fitcore.safety.screening_answers import NO, UNKNOWN, YES
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fitcore.points import Side
    from fitcore.record.entries import Value

_KEYS = {"y": YES, "n": NO, "?": UNKNOWN}
_LONGEST = 120
"""Characters of a typed answer; ours."""


@dataclass(frozen=True, slots=True)
class Ask:
    """One line of a page."""

    what: str
    """Where the answer is stored, such as `screen.heart`."""
    text: str
    side: Side | None = None
    choices: tuple[tuple[str, str], ...] = ()
    """Answers as stored and as shown, chosen by number."""
    parse: Callable[[str], Value] | None = None
    """Reads a typed answer; None where a key answers. Raises FitError for what is no answer."""
    hint: str = ""
    shown: tuple[tuple[str, str], ...] = ()
    """Typed answers that are stored in other words than they are shown in."""
    proposed: str = ""
    """Stands in a typed line that nobody answered yet; Enter takes it as if it were typed."""
    may_stay_open: bool = False
    """Whether the page is complete without it."""
    knows_unknown: bool = True
    """Whether `?` is an answer."""

    @property
    def is_yes_no(self) -> bool:
        """Whether y, n and ? answer it."""
        return self.parse is None and not self.choices


class QuestionForm:
    """The answers to one page, and the line the cursor is on."""

    def __init__(
        self,
        asks: Callable[[Mapping[str, Value]], Sequence[Ask]],
        given: Mapping[str, Value],
        *,
        all_none: bool = False,
    ) -> None:
        """Lay out a page.

        Args:
            asks: the lines that belong to a set of answers, in order.
            given: what was answered before.
            all_none: whether one key may say that every line was asked and none holds.
        """
        self._asks = asks
        self._answers = dict(given)
        self._typed: dict[str, str] = {}
        self._by_hand: set[str] = set()
        self._refused = ""
        """The line whose typing was refused: what is typed next begins anew."""
        self._just_came = False
        """Whether a key's answer has just led here: an Enter out of habit answers nothing."""
        self.all_none = all_none
        self.at = 0
        self.at = self._first_open() or 0

    @property
    def lines(self) -> tuple[Ask, ...]:
        """The lines that apply to the answers as they stand."""
        return tuple(self._asks(self._answers))

    @property
    def line(self) -> Ask:
        """The line the cursor is on."""
        lines = self.lines
        return lines[min(self.at, len(lines) - 1)]

    @property
    def open_count(self) -> int:
        """How many lines want an answer still."""
        return sum(not self._is_answered(line) for line in self.lines)

    def answer(self, line: Ask) -> Value | None:
        """Return the answer to a line, or None."""
        return self._answers.get(line.what)

    def move(self, by: int) -> str:
        """Go to another line; a typed answer is taken along.

        Returns:
            What is wrong with what was typed; the cursor then stays.
        """
        fault = self._take_typed()
        self._just_came = False
        if not fault:
            self.at = max(0, min(len(self.lines) - 1, self.at + by))
        return fault

    def type(self, sign: str) -> str:
        """Take a typed character: an answer, or part of one.

        Returns:
            What is wrong with it, in words; empty where it was taken.
        """
        line = self.line
        self._just_came = False
        if line.parse is not None:
            kept = "" if self._refused == line.what else self._typed.get(line.what, "")
            self._refused = ""
            typed = kept + sign  # a new answer begins anew
            if len(typed) > _LONGEST:
                return say("That is longer than this line.")
            self._typed[line.what] = typed
            return ""
        answer = self._key_answer(line, sign)
        if answer is None:
            return self._allowed(line)
        self._answer(line, answer)
        self._go_on()
        return ""

    def erase(self) -> None:
        """Take back the last typed character, or the line's answer."""
        line = self.line
        self._refused = ""
        if line.parse is not None:
            self._typed[line.what] = self.typed(line)[:-1]
        else:
            self._answers.pop(line.what, None)

    def answer_rest_no(self) -> None:
        """Answer every line that is open with no: each was asked."""
        for line in self.lines:
            if not self._is_answered(line) and line.is_yes_no:
                self._answers[line.what] = NO
        self.at = len(self.lines) - 1

    def accept(self) -> tuple[bool, str]:
        """Go on: to the next open line, or on from the page.

        Returns:
            Whether the page is complete, and what is wrong or still open.
        """
        line = self.line
        came, self._just_came = self._just_came, False
        if came and line.parse is not None and line.what not in {*self._typed, *self._answers}:
            return False, line.hint or say("Type the answer, or Enter once more where none is.")
        if line.proposed and line.what not in {*self._typed, *self._answers}:
            self._typed[line.what] = line.proposed
        fault = self._take_typed()
        if fault:
            return False, fault
        if line.parse is not None and self.at < len(self.lines) - 1:
            if not self._is_answered(line):
                return False, line.hint or say("Type the answer, or ? where nobody knows.")
            self.at += 1
            return False, ""
        following = self._first_open()
        if following is None:
            return True, ""
        self.at = following
        count = self.open_count
        if count == 1:
            return False, say("One line is not answered yet. Enter never means no.")
        return False, say("{count} lines are not answered yet. Enter never means no.", count=count)

    def answers(self) -> dict[str, Value]:
        """Return the answers of the lines that apply."""
        return {
            line.what: self._answers[line.what] for line in self.lines if line.what in self._answers
        }

    def answers_by_hand(self) -> dict[str, Value]:
        """Return the answers given line by line: what to keep where the page is left open."""
        self._take_typed()
        return {what: value for what, value in self.answers().items() if what in self._by_hand}

    def typed(self, line: Ask) -> str:
        """Return what stands in a typed line."""
        if line.what in self._typed:
            return self._typed[line.what]
        value = self.answer(line)
        if value is None:
            return line.proposed
        shown = {UNKNOWN: "?", **dict(line.shown)}
        return plain(value) if isinstance(value, Decimal) else shown.get(str(value), str(value))

    def words(self, line: Ask) -> str:
        """Return a line's answer as it is shown."""
        if line.parse is not None:
            return self.typed(line)
        value = self.answer(line)
        if value is None:
            return ""
        shown = {YES: say("YES"), NO: say("no"), UNKNOWN: say("not known"), **dict(line.choices)}
        return shown.get(str(value), str(value))

    # -----------------------------------------------------------------------------------------

    def _key_answer(self, line: Ask, sign: str) -> str | None:
        if sign == "?" and not line.knows_unknown:
            return None
        if line.is_yes_no:
            return _KEYS.get(sign.casefold())
        if sign == "?":
            return UNKNOWN
        if sign.isascii() and sign.isdigit() and 1 <= int(sign) <= len(line.choices):
            return line.choices[int(sign) - 1][0]
        return None

    def _allowed(self, line: Ask) -> str:
        if line.is_yes_no and not line.knows_unknown:
            return say("Answer with y or n: not known is no answer here.")
        if line.is_yes_no:
            return say("Answer with y, n, or ? where nobody knows.")
        return say("Choose by number, 1 to {most}.", most=len(line.choices))

    def _answer(self, line: Ask, value: Value) -> None:
        self._answers[line.what] = value
        self._by_hand.add(line.what)

    def _take_typed(self) -> str:
        """Read what is typed in the present line.

        Returns:
            What is wrong with it; empty where there is nothing, or it is an answer.
        """
        line = self.line
        if line.parse is None or line.what not in self._typed:
            return ""
        typed = self._typed[line.what].strip()
        if not typed:
            self._answers.pop(line.what, None)
            del self._typed[line.what]
            return ""
        try:
            value = UNKNOWN if typed == "?" and line.knows_unknown else line.parse(typed)
        except FitError as error:
            self._refused = line.what
            return f"{error.problem.text} {error.problem.mend}"
        self._answer(line, value)
        del self._typed[line.what]
        return ""

    def _is_answered(self, line: Ask) -> bool:
        return line.may_stay_open or line.what in self._answers

    def _first_open(self) -> int | None:
        lines = self.lines
        return next((n for n, line in enumerate(lines) if not self._is_answered(line)), None)

    def _go_on(self) -> None:
        """Go to the line below; on the last, stay."""
        before, self.at = self.at, min(self.at + 1, len(self.lines) - 1)
        self._just_came = self.at != before
