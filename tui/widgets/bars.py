"""The line above every screen and the line of keys below it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.words import say
from tui.keymap import footer_parts

if TYPE_CHECKING:
    from textual.events import Resize

_WIDEST = 300
"""Blanks behind a bar's words, so that reverse colours reach the edge of any window (ours)."""


class TopBar(Static):
    """Who, what and where, in one line."""

    _parts: tuple[str, ...] = ()

    def show(self, *parts: str) -> None:
        """Show the program's name and what this screen is about."""
        self._parts = parts
        told = "  ".join(part for part in parts if part)
        self.update(Content.assemble((f" {say('anklefirst')} ", "bold"), f" {told}", " " * _WIDEST))

    def tell(self, text: str) -> None:
        """Add something to the line until it is shown anew."""
        self.show(text, *self._parts)


class KeyBar(Static):
    """The keys of a screen, drawn from the register of actions."""

    def __init__(self, screen_name: str) -> None:
        super().__init__(id="keys")
        self._screen_name = screen_name

    def on_mount(self) -> None:
        """Draw the keys."""
        self._draw(self.app.size.width)

    def on_resize(self, event: Resize) -> None:
        """Draw as many keys as there is room for now."""
        self._draw(event.size.width)

    def _draw(self, columns: int) -> None:
        parts: list[str | tuple[str, str]] = [" "]
        for key, word in footer_parts(self._screen_name, columns):
            parts += [(key, "bold"), f" {word}  "]
        self.update(Content.assemble(*parts, " " * _WIDEST))
