"""The review before the result: what is still doubtful, worst first, one key from mending it."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.problems import FitError
from fitcore.words import say
from tui.review import mend_words, review_heading, review_lines
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import PickList

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual.widget import Widget

    from tui.desk import Desk


class ReviewScreen(WorkScreen):
    """Every doubt, worst first."""

    KEYMAP = "review"
    CSS_PATH = "review.tcss"

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
        self._lines = review_lines(desk)

    def compose_body(self) -> Iterable[Widget]:
        """Return the heading, the list and the marked doubt in full."""
        yield Static(Content.styled(review_heading(self.desk), "bold"), id="heading")
        yield PickList(id="doubts")
        yield Static(id="whole")
        yield Static(id="mend")

    def on_mount(self) -> None:
        """Show the worst first."""
        self.query_one(TopBar).show(
            say("Review"), self.desk.client, say("by {who}", who=self.desk.measurer)
        )
        self.query_one(PickList).show([line.text for line in self._lines], 0)
        self._show_marked()

    def _show_marked(self) -> None:
        line = self._lines[self.query_one(PickList).index]
        self.query_one("#whole", Static).update(Content(line.text))
        self.query_one("#mend", Static).update(Content(mend_words(line)))

    async def do_accept(self) -> None:
        """Go where the marked doubt is mended."""
        line = self._lines[self.query_one(PickList).index]
        if line.step is None:
            await self.desk_app.show_setup(self.desk)
            return
        self.desk.go_to(line.step)
        await self.desk_app.show_measure(self.desk)

    async def do_up(self) -> None:
        """Mark the doubt above."""
        self.query_one(PickList).move(-1)
        self._show_marked()

    async def do_down(self) -> None:
        """Mark the doubt below."""
        self.query_one(PickList).move(1)
        self._show_marked()

    async def do_result(self) -> None:
        """Show the result all the same."""
        await self.desk_app.show_result(self.desk)

    async def do_measure(self) -> None:
        """Go back to the readings."""
        await self.desk_app.show_measure(self.desk)

    async def do_leave(self) -> None:
        """Pause here and go to the start."""
        if await self.pause():
            await self.desk_app.show_start()

    async def pause(self) -> bool:
        """Note where the session is left; whether that could be written."""
        try:
            await asyncio.to_thread(self.desk.pause)
        except FitError as error:
            told = f"! {error.problem.text} {error.problem.mend}"
            self.query_one("#mend", Static).update(Content.styled(told, "bold $warning"))
            return False
        return True
