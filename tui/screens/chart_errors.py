"""Before a chart with errors is saved: Enter goes back to them, a key of its own saves it so."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tui.screens.reason import ConfirmScreen

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Sequence


class ChartErrorsScreen(ConfirmScreen):
    """Shows a chart's errors; an Enter pressed out of habit saves nothing."""

    KEYMAP = "chart_errors"

    def __init__(
        self,
        question: str,
        lines: Sequence[str],
        *,
        back: Callable[[], Awaitable[None]],
        save: Callable[[], Awaitable[None]],
    ) -> None:
        """Ask what to do.

        Args:
            question: what is asked.
            lines: the errors.
            back: goes to the first of them.
            save: writes the chart as it is.
        """
        super().__init__(question, lines, back)
        self._save = save

    async def do_save(self) -> None:
        """Save it with its errors."""
        await self.app.pop_screen()
        await self._save()

    async def do_leave(self) -> None:
        """Go back to the first error."""
        await self.do_accept()
