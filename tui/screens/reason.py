"""Small questions over a screen: why, and are you sure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.words import say
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import NO_MARK, PickList
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable, Sequence

    from textual.widget import Widget


MOST_LINES = 16
"""Lines of a question that fit at 80 x 24; more are counted (ours)."""

if TYPE_CHECKING:
    Then = Callable[[str], Awaitable[str]]


class ReasonScreen(WorkScreen):
    """Asks for a reason: one of the usual ones, or a few words."""

    KEYMAP = "reason"
    CSS_PATH = "reason.tcss"

    def __init__(
        self,
        question: str,
        choices: Sequence[str],
        then: Then,
        *,
        rescue: Then | None = None,
        typed: str = "",
        fault: str = "",
    ) -> None:
        """Ask for a reason.

        Args:
            question: what is asked.
            choices: the usual answers, perhaps none.
            then: what to do with the answer, not called where the question is left; returns what
                went wrong, and the question is asked again with the same words.
            rescue: what to do with words half written when the program is ended.
            typed: what was typed before it went wrong.
            fault: what went wrong.
        """
        super().__init__()
        self._typed = typed
        self._rescue = rescue
        self._fault = fault
        self._question = question
        self._choices = list(choices)
        self._then = then

    def compose_body(self) -> Iterable[Widget]:
        """Return the question, the usual reasons and a line to type."""
        yield Static(Content.styled(self._question, "bold"), id="question")
        if self._choices:
            yield PickList(id="choices")
            yield Static(Content(say("or type your own words:")), id="or")
        yield TypedLine(id="words", max_length=200)
        fault = f"! {self._fault}" if self._fault else ""
        yield Static(Content.styled(fault, "bold $warning"), id="fault")

    def on_mount(self) -> None:
        """Show the usual reasons, none of them marked: a reason is chosen, never handed out."""
        self.query_one(TopBar).show(say("Question"))
        if self._choices:
            self.query_one(PickList).show(self._choices, NO_MARK)
        line = self.query_one(TypedLine)
        line.value = self._typed
        line.action_end()
        self.set_focus(line)

    async def do_up(self) -> None:
        """Mark the reason above."""
        self._move(-1)

    async def do_down(self) -> None:
        """Mark the reason below."""
        self._move(1)

    async def do_accept(self) -> None:
        """Accept what was typed, else the marked reason."""
        typed = self.query_one(TypedLine).text
        index = self.query_one(PickList).index if self._choices else NO_MARK
        answer = typed or (self._choices[index] if index != NO_MARK else "")
        if not answer:
            told = say("Mark a reason with ↓, or type one.") if self._choices else ""
            self.query_one("#fault", Static).update(Content(told))
            return
        await self.app.pop_screen()
        fault = await self._then(answer)
        if fault:
            again = ReasonScreen(
                self._question,
                self._choices,
                self._then,
                rescue=self._rescue,
                typed=answer,
                fault=fault,
            )
            await self.app.push_screen(again)

    async def do_leave(self) -> None:
        """Leave without an answer."""
        await self.app.pop_screen()

    async def pause(self) -> bool:
        """Keep words half written, where there is a place for them."""
        words = self.query_one(TypedLine).text
        return not (words and self._rescue is not None and await self._rescue(words))

    def _move(self, by: int) -> None:
        if self._choices:
            self.query_one(PickList).move(by)


class ConfirmScreen(WorkScreen):
    """Shows what will be done and asks for Enter."""

    KEYMAP = "confirm"
    CSS_PATH = "reason.tcss"

    def __init__(
        self, question: str, lines: Sequence[str], then: Callable[[], Awaitable[None]]
    ) -> None:
        """Ask for a yes.

        Args:
            question: what is asked.
            lines: what will be done.
            then: what to do after a yes.
        """
        super().__init__()
        self._question = question
        self._lines = list(lines)
        self._then = then

    def compose_body(self) -> Iterable[Widget]:
        """Return the question and what it is about."""
        yield Static(Content.styled(self._question, "bold"), id="question")
        shown = self._lines
        if len(shown) > MOST_LINES:
            shown = shown[: MOST_LINES - 1]
            shown.append(say("... and {count} more", count=len(self._lines) - len(shown)))
        yield Static(Content("\n".join(shown)), id="about")

    def on_mount(self) -> None:
        """Say that this is a question."""
        self.query_one(TopBar).show(say("Question"))

    async def do_accept(self) -> None:
        """Say yes."""
        await self.app.pop_screen()
        await self._then()

    async def do_leave(self) -> None:
        """Say no."""
        await self.app.pop_screen()
