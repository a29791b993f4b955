"""The review before the result: what is still doubtful, worst first, one key from mending it."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.flags import Level
from fitcore.moment.spacing import SET_TOOK_LONG
from fitcore.problems import FitError
from fitcore.words import say
from tui.desk_conditions import keep_set
from tui.review import mend_words, review_heading, review_lines
from tui.screens.ending_screen import EndingScreen
from tui.usual_reasons import why_set_is_kept
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import PickList

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual.widget import Widget

    from fitcore.flags import Flag
    from tui.desk import Desk
    from tui.review import ReviewLine


class ReviewScreen(EndingScreen):
    """Every doubt, worst first."""

    KEYMAP = "review"
    CSS_PATH = "review.tcss"
    FAULT_PLACE = "#mend"

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
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
        self.show_marked()

    def show_marked(self) -> None:
        """Show the marked doubt in full, and where it is mended."""
        line = self._lines[self.query_one(PickList).index]
        self.query_one("#whole", Static).update(Content(line.text))
        told = (
            say("Enter asks why these readings are kept.")
            if _is_kept_by_reason(line)
            else mend_words(line)
        )
        self.query_one("#mend", Static).update(Content(told))

    async def do_accept(self) -> None:
        """Go where the marked doubt is mended."""
        line = self._lines[self.query_one(PickList).index]
        if _is_kept_by_reason(line):
            await self._ask_why_kept(line.flag)
            return
        if line.step is None:
            await self.desk_app.show_setup(self.desk)
            return
        self.desk.go_to(line.step)
        await self.desk_app.show_measure(self.desk)

    async def do_result(self) -> None:
        """Show the result all the same."""
        await self.desk_app.show_result(self.desk)

    async def _ask_why_kept(self, flag: Flag) -> None:
        """Ask why a leg's readings are kept though they took too long, and store it."""
        from tui.screens.reason import ReasonScreen

        side = flag.side
        if side is None:
            return

        async def then(why: str) -> str:
            try:
                await asyncio.to_thread(keep_set, self.desk, side, why)
            except FitError as error:
                return f"{error.problem.text} {error.problem.mend}"
            if review_lines(self.desk):
                await self.desk_app.show_review(self.desk)
            else:
                await self.desk_app.show_result(self.desk)
            return ""

        ask = why_set_is_kept(flag)
        await self.app.push_screen(ReasonScreen(ask.question, ask.choices, then))


def _is_kept_by_reason(line: ReviewLine) -> bool:
    """Whether a doubt is answered by a reason: nothing measured or answered now would mend it."""
    return line.flag.code == SET_TOOK_LONG and line.flag.level is Level.BLOCK
