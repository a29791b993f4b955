"""The questions before measuring: what for, garment, legs, readings, up since, conditions."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
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
    from tui.setup_form import SetupForm
    from tui.setup_line import Line


_COLUMNS = 78
_LABEL_COLUMNS = 20
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
        if fault or not self.form.complete:
            self._draw(fault)
        else:
            await self._measure()

    async def do_measure(self) -> None:
        """Go back to measuring with the lines as they stand."""
        if self.desk.in_setup:  # nobody has answered them yet: a default is no answer
            self._draw(say("Enter accepts line by line; F8 is for once measuring has begun."))
        elif fault := self.form.accept_all():
            self._draw(fault)
        else:
            await self._measure()

    async def _measure(self) -> None:
        try:
            await asyncio.to_thread(self.desk.start_measuring, self.form.answers())
        except FitError as error:
            self.form.move(-1)
            self._draw(f"{error.problem.text} {error.problem.mend}")
        else:
            await self.desk_app.go_on(self.desk)

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

    async def do_clearance(self) -> None:
        """Show whether compression may be fitted; lines accepted so far are kept."""
        if await self.pause():
            await self.desk_app.show_clearance(self.desk)

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
        lines = self.form.lines
        parts: list[str | tuple[str, str]] = []
        for line in lines:
            if not line.has_default and line.what != "compression_off_at":
                parts += [self._cell(line, _COLUMNS), "\n", *self._choice_parts(line)]
        told = say("Counts as answered when you start; go there with ↓ to change it")
        parts += ["\n", (f"  {told}", "dim"), "\n"]
        lower = [line for line in lines if line.has_default or line.what == "compression_off_at"]
        rows = -(-len(lower) // 2)
        for row in range(rows):
            parts += [self._cell(lower[row], _COLUMNS // 2)]
            parts += [
                self._cell(line, _COLUMNS // 2) for line in lower[row + rows : row + rows + 1]
            ]
            parts += ["\n"]
        if self.form.line in lower:
            parts += ["\n", *self._choice_parts(self.form.line)]
        self.query_one("#form", Static).update(Content.assemble(*parts))
        self.query_one("#message", Static).update(
            Content.styled(f"! {fault}" if fault else "", "bold $warning")
        )

    def _cell(self, line: Line, columns: int) -> str | tuple[str, str]:
        """Return a question and its answer; what is cut off stands whole where it is chosen."""
        here = line is self.form.line
        cursor = "_" if line.is_time and here else ""
        label = set_cell_size(line.label, _LABEL_COLUMNS)
        text = f"{'>' if here else ' '} {label}{self.form.words(line)}{cursor}"
        if cell_len(text) > columns - 1:
            text = set_cell_size(text, columns - 2) + "…"
        text = set_cell_size(text, columns)
        return (text, "bold reverse") if here else text

    def _choice_parts(self, line: Line) -> list[str | tuple[str, str]]:
        """Return the answers to choose from, numbered, below the line the cursor is on."""
        if line is not self.form.line:
            return []
        numbered = [
            f"{number} {self.form.choice_words(line, choice)}"
            + (say(" (ticked)") if line.several and choice in line.chosen else "")
            for number, choice in enumerate(line.choices, 1)
        ]
        told = _in_rows(numbered, _CHOICE_COLUMNS)
        if line.is_time:
            told += [say("such as 6:30, 7 pm or 10 min ago; ? if nobody knows")]
        elif line.several:
            told += [say("a number ticks one, or takes it away")]
        indent = " " * (_LABEL_COLUMNS + 2)
        return [part for row in told for part in (f"{indent}{row}", "\n")]


def _in_rows(words: list[str], columns: int) -> list[str]:
    """Lay words out in rows of at most so many columns, none of them broken."""
    rows: list[str] = []
    for word in words:
        if rows and cell_len(rows[-1]) + 2 + cell_len(word) <= columns:
            rows[-1] += f"  {word}"
        else:
            rows.append(word)
    return rows
