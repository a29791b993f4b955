"""A screen that only shows text: help, and the notes behind a result."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from fitcore.safety.clearance import cautions, wearer_cautions
from fitcore.words import say
from tui.keymap import help_rows
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual import events
    from textual.widget import Widget


class TextScreen(WorkScreen):
    """Text that can be scrolled."""

    KEYMAP = "text"

    def __init__(self, title: str, content: Content) -> None:
        super().__init__()
        self._title = title
        self._content = content

    def compose_body(self) -> Iterable[Widget]:
        """Return the text."""
        scroll = VerticalScroll(Static(self._content), id="text")
        scroll.can_focus = False
        yield scroll
        yield Static(id="more")

    def on_mount(self) -> None:
        """Say what the text is, and whether there is more of it than is seen."""
        self.query_one(TopBar).show(self._title)
        scroll = self.query_one(VerticalScroll)
        for what in ("scroll_y", "virtual_size"):
            self.watch(scroll, what, self._tell_more)
        self.call_after_refresh(self._tell_more)

    def on_resize(self, event: events.Resize) -> None:
        """Tell again: more or less of it is seen now."""
        super().on_resize(event)
        self.call_after_refresh(self._tell_more)

    async def do_leave(self) -> None:
        """Go back."""
        await self.app.pop_screen()

    async def do_down(self) -> None:
        """Show what is below."""
        self.query_one(VerticalScroll).scroll_page_down(animate=False)

    async def do_up(self) -> None:
        """Show what is above."""
        self.query_one(VerticalScroll).scroll_page_up(animate=False)

    def _tell_more(self) -> None:
        """Say in words what a scrollbar would say in glyphs that not every console has."""
        scroll = self.query_one(VerticalScroll)
        above, below = scroll.scroll_y > 0, scroll.scroll_y < scroll.max_scroll_y
        told = [say("↓ more below")] if below else []
        told += [say("↑ more above")] if above else []
        self.query_one("#more", Static).update(Content.styled("   ".join(told), "bold"))


def help_content(about: str) -> Content:
    """Return what the keys of a screen do, how numbers are typed, and the cautions."""
    parts: list[str | tuple[str, str]] = [(say("Keys"), "bold"), "\n"]
    for keys, words in help_rows(about):
        parts += [(f"  {keys:<12}", "bold"), f"{words}\n"]
    parts += [
        ("\n" + say("Numbers"), "bold"),
        "\n",
        say('  As you say them: 38.5  38,5  385mm  15 1/8 in  15 1/8"  1 ft 3 in'),
        "\n",
        say("  Shoe sizes: EU 39, UK 6.5, US W 8, US M 9"),
        "\n\n",
        (say("Cautions"), "bold"),
        f"\n{cautions()}\n\n{wearer_cautions()}",
    ]
    return Content.assemble(*parts)
