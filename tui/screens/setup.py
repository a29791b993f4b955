"""The questions before measuring: what for, garment, legs, readings, up since, conditions."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from rich.cells import cell_len
from textual.content import Content
from textual.widgets import Static

from fitcore.problems import FitError
from fitcore.words import say
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual import events
    from textual.widget import Widget

    from tui.desk import Desk
    from tui.setup_form import Line, SetupForm


_CHOICE_COLUMNS = 56
"""What is left of 80 beside the labels."""


class SetupScreen(WorkScreen):
    """One line at a time; what is shown below counts as answered when measuring starts."""

    KEYMAP = "setup"
    CSS_PATH = "setup.tcss"

    def __init__(self, desk: Desk, form: SetupForm) -> None:
        super().__init__()
        self.desk = desk
        self.form = form

    def compose_body(self) -> Iterable[Widget]:
        """Return the form."""
        yield Static(id="form")
        yield Static(id="message")

    def on_mount(self) -> None:
        """Show the form."""
        self.query_one(TopBar).show(
            say("Before measuring"),
            self.desk.client,
            say("by {who}", who=self.desk.measurer),
        )
        self._draw()

    async def take_key(self, event: events.Key) -> None:
        """Take what is typed for the line, everything else as an action."""
        if self.too_small:
            return
        sign = event.character or ""
        fault = ""
        if event.key == "backspace":
            self.form.erase()
        elif event.is_printable and sign and (sign != "?" or self.form.line.is_time):
            fault = self.form.type(sign)
        else:
            await super().take_key(event)
            return
        self._draw(fault)

    async def do_accept(self) -> None:
        """Accept the line; after the last open one, save the answers and measure."""
        fault = self.form.accept()
        if not fault and self.form.complete:
            try:
                await asyncio.to_thread(self.desk.start_measuring, self.form.answers())
            except FitError as error:
                fault = f"{error.problem.text} {error.problem.mend}"
                self.form.move(-1)
            else:
                await self.desk_app.show_measure(self.desk)
                return
        self._draw(fault)

    async def do_next_choice(self) -> None:
        """Take the next answer."""
        self.form.change(1)
        self._draw()

    async def do_last_choice(self) -> None:
        """Take the answer before."""
        self.form.change(-1)
        self._draw()

    async def do_up(self) -> None:
        """Go to the line above."""
        self.form.move(-1)
        self._draw()

    async def do_down(self) -> None:
        """Go to the line below."""
        self.form.move(1)
        self._draw()

    async def do_leave(self) -> None:
        """Keep the lines accepted so far and go to the start."""
        if await self.pause():
            await self.desk_app.show_start()

    async def pause(self) -> bool:
        """Keep what was accepted or changed so far; whether that could be written.

        A client opened by mistake leaves no session behind.
        """
        answers = self.form.accepted_answers()
        if not answers and not self.desk.session.entries:
            return True
        try:
            await asyncio.to_thread(self.desk.pause_setup, answers)
        except FitError as error:
            self._draw(f"{error.problem.text} {error.problem.mend}")
            return False
        return True

    # -----------------------------------------------------------------------------------------

    def _draw(self, fault: str = "") -> None:
        parts: list[str | tuple[str, str]] = []
        defaults_told = False
        for line in self.form.lines:
            if line.has_default and not defaults_told:
                told = say("Counts as answered when you start; go there with ↓ to change it")
                parts += ["\n", (f"  {told}", "dim"), "\n"]
                defaults_told = True
            parts += self._line_parts(line)
        self.query_one("#form", Static).update(Content.assemble(*parts))
        self.query_one("#message", Static).update(
            Content.styled(f"! {fault}" if fault else "", "bold $warning")
        )

    def _line_parts(self, line: Line) -> list[str | tuple[str, str]]:
        here = line is self.form.line
        shown = self.form.words(line)
        text = f"{'>' if here else ' '} {line.label:<19}{shown}"
        if not here:
            return [text, "\n"]
        cursor = "_" if line.is_time else ""
        parts: list[str | tuple[str, str]] = [(f"{text}{cursor}", "bold reverse"), "\n"]
        numbered = [
            f"{number} {self.form.choice_words(line, choice)}"
            for number, choice in enumerate(line.choices, 1)
        ]
        for row in _in_rows(numbered, _CHOICE_COLUMNS):
            parts += [f"  {'':<19}{row}", "\n"]
        if line.is_time:
            told = say("such as 6:30, 7 pm or 10 min ago; ? if nobody knows")
            parts += [f"  {'':<19}{told}", "\n"]
        elif line.several:
            parts += [f"  {'':<19}" + say("a number ticks a garment, or takes it away"), "\n"]
        return parts


def _in_rows(words: list[str], columns: int) -> list[str]:
    """Lay words out in rows of at most so many columns, none of them broken."""
    rows: list[str] = []
    for word in words:
        if rows and cell_len(rows[-1]) + 2 + cell_len(word) <= columns:
            rows[-1] += f"  {word}"
        else:
            rows.append(word)
    return rows
