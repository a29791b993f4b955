"""What the review and the result share: an open session, a list to mark in, a pause."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.problems import FitError
from tui.screens.work_screen import WorkScreen
from tui.widgets.pick_list import PickList

if TYPE_CHECKING:
    from collections.abc import Callable

    from tui.desk import Desk


class EndingScreen(WorkScreen):
    """One of the screens after measuring."""

    FAULT_PLACE = "#fault"
    """Where it is told that something could not be saved."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk

    def show_marked(self) -> None:
        """Show what belongs to the marked line."""

    async def do_up(self) -> None:
        """Mark the line above."""
        self.query_one(PickList).move(-1)
        self.show_marked()

    async def do_down(self) -> None:
        """Mark the line below."""
        self.query_one(PickList).move(1)
        self.show_marked()

    async def do_measure(self) -> None:
        """Go back to the readings."""
        await self.desk_app.show_measure(self.desk)

    async def do_shape(self) -> None:
        """Say what the legs' shape is; Esc comes back to the review."""
        await self.desk_app.show_shape(self.desk, lambda: self.desk_app.show_review(self.desk))

    async def do_leave(self) -> None:
        """Go to the start; the session is not finished yet."""
        if await self.pause():
            await self.desk_app.show_start()

    async def pause(self) -> bool:
        """Note where the session is left; whether that could be written."""
        return await self.write(self.desk.pause)

    async def write(self, move: Callable[[], None]) -> bool:
        """Run a move that writes, in a thread; whether it is on disk, else it is told."""
        try:
            await asyncio.to_thread(move)
        except FitError as error:
            told = f"! {error.problem.text} {error.problem.mend}"
            self.query_one(self.FAULT_PLACE, Static).update(Content.styled(told, "bold $warning"))
            return False
        return True
