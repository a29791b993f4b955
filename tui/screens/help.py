"""Help: what the keys of a screen do, how numbers are typed, and the cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from fitcore.clearance import cautions, wearer_cautions
from fitcore.words import say
from tui.keymap import help_rows
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual.widget import Widget


class HelpScreen(WorkScreen):
    """Help for one screen."""

    KEYMAP = "help"

    def __init__(self, about: str) -> None:
        super().__init__()
        self._about = about

    def compose_body(self) -> Iterable[Widget]:
        """Return the text, which can be scrolled."""
        scroll = VerticalScroll(Static(self._content(), id="help-text"), id="help-scroll")
        scroll.can_focus = False
        yield scroll

    def on_mount(self) -> None:
        """Name the screen the help is about."""
        self.query_one(TopBar).show(say("Help"))

    async def do_leave(self) -> None:
        """Go back."""
        await self.app.pop_screen()

    async def do_down(self) -> None:
        """Show what is below."""
        self.query_one(VerticalScroll).scroll_page_down(animate=False)

    async def do_up(self) -> None:
        """Show what is above."""
        self.query_one(VerticalScroll).scroll_page_up(animate=False)

    def _content(self) -> Content:
        parts: list[str | tuple[str, str]] = [(say("Keys"), "bold"), "\n"]
        for keys, words in help_rows(self._about):
            parts += [(f"  {keys:<12}", "bold"), f"{words}\n"]
        parts += [
            "\n",
            (say("Numbers"), "bold"),
            "\n",
            say('  As you say them: 38.5  38,5  38.5 cm  385mm  15 1/8 in  15 1/8"  1 ft 3 in'),
            "\n",
            say("  Shoe sizes: EU 39, UK 6.5, US W 8, US M 9"),
            "\n\n",
            (say("Cautions"), "bold"),
            "\n",
            cautions(),
            "\n\n",
            wearer_cautions(),
        ]
        return Content.assemble(*parts)
