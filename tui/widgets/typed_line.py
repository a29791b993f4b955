"""One line of typed text whose keys are handled strictly in order.

Every key, editing keys and commands alike, is handled in this widget's own message queue. While a
command waits for the disk, later keys wait behind it and then reach the next field: none is lost,
none overtakes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, cast

from textual.widgets import Input

from fitcore.clean_text import clean
from tui.keymap import Action, find_action

if TYPE_CHECKING:
    from textual import events


class Performs(Protocol):
    """A screen that carries out actions of the register."""

    KEYMAP: str

    async def perform(self, action: Action) -> None:
        """Carry out one action."""


class TypedLine(Input):
    """A text line that leaves commands to its screen, in the order they were pressed."""

    def __init__(self, *, id: str, max_length: int = 60, value: str = "") -> None:  # noqa: A002 - the framework's word
        super().__init__(value, id=id, max_length=max_length, select_on_focus=False, compact=True)
        self.cursor_blink = False

    async def _on_key(self, event: events.Key) -> None:
        screen = cast("Performs", self.screen)
        action = find_action(screen.KEYMAP, event.key)
        if action is not None and not (event.is_printable and self.value):
            event.stop()
            event.prevent_default()
            await screen.perform(action)
            return
        edit = {
            "backspace": self.action_delete_left,
            "delete": self.action_delete_right,
            "left": self.action_cursor_left,
            "right": self.action_cursor_right,
            "home": self.action_home,
            "end": self.action_end,
        }.get(event.key)
        if edit is not None:
            event.stop()
            event.prevent_default()
            edit()

    def _on_paste(self, event: events.Paste) -> None:
        event.stop()
        event.prevent_default()
        lines = event.text.splitlines()
        self.insert_text_at_cursor(clean(lines[0] if lines else "").text)
