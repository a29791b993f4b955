"""What all screens share: bars, actions from the register, a notice when it is too small."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from fitcore.words import say
from tui.keymap import find_action
from tui.widgets.bars import KeyBar, TopBar
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual import events
    from textual.app import ComposeResult
    from textual.widget import Widget

    from tui.app import AnklefirstApp

SMALLEST = (80, 24)
"""Columns and rows below which a screen would hide something."""


class WorkScreen(Screen[None]):
    """A screen whose keys are the register's actions."""

    KEYMAP = ""

    @property
    def desk_app(self) -> AnklefirstApp:
        """The application, by its own type."""
        return cast("AnklefirstApp", self.app)

    def compose(self) -> ComposeResult:
        """Lay out the bars around the screen's own parts."""
        yield TopBar(id="top")
        yield from self.compose_body()
        yield KeyBar(self.KEYMAP)
        yield Static(id="too-small")

    def compose_body(self) -> Iterable[Widget]:
        """Return the parts between the bars."""
        raise NotImplementedError

    def on_resize(self, event: events.Resize) -> None:
        """Ask for a larger window where something would be hidden."""
        small = event.size.width < SMALLEST[0] or event.size.height < SMALLEST[1]
        self.set_class(small, "-too-small")
        if small:
            told = say(
                "Please enlarge the window to 80 x 24 (now {width} x {height}). Nothing is lost.",
                width=event.size.width,
                height=event.size.height,
            )
            self.query_one("#too-small", Static).update(Content(told))

    @property
    def active_line(self) -> TypedLine | None:
        """The line that takes what is typed, or None."""
        if isinstance(self.focused, TypedLine):
            return self.focused
        return next(iter(self.query(TypedLine)), None)

    @property
    def too_small(self) -> bool:
        """Whether the notice hides the screen: nothing is taken that could not be seen."""
        return self.has_class("-too-small")

    async def take_key(self, event: events.Key) -> None:
        """Carry out a key to its end: an action of the register, or editing of the line."""
        if self.too_small:
            return
        line = self.active_line
        typing = line is not None and event.is_printable and bool(line.value)
        action = None if typing else find_action(self.KEYMAP, event.key)
        if action is not None:
            await getattr(self, f"do_{action.name}")()
        elif line is not None and line.edit(event):
            self.text_changed()

    def take_paste(self, text: str) -> None:
        """Take pasted text into the line."""
        if self.too_small:
            return
        line = self.active_line
        if line is not None:
            dropped = line.paste(text)
            if dropped:
                left_out = say("! left out of the paste: {what}", what=", ".join(dropped))
                self.query_one(TopBar).tell(left_out)
            self.text_changed()

    def text_changed(self) -> None:
        """React to other text in the line."""

    async def pause(self) -> bool:
        """Write down where the work stands before the program ends; whether that worked."""
        return True

    async def do_help(self) -> None:
        """Show the help screen."""
        from tui.screens.text import TextScreen, help_content

        await self.app.push_screen(TextScreen(say("Help"), help_content(self.KEYMAP)))

    async def do_quit(self) -> None:
        """Close the program; whatever was accepted is on disk already."""
        await self.desk_app.close_safely()
