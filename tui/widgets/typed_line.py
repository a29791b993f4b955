"""One line of typed text, edited by the screen it stands on.

The application hands keys to screens one at a time; nothing here listens for keys of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.widgets import Input

from fitcore.clean_text import clean
from fitcore.words import say

if TYPE_CHECKING:
    from textual import events


class TypedLine(Input):
    """A text line whose editing is a plain call, so that no key can overtake another."""

    def __init__(self, *, id: str, max_length: int = 60) -> None:  # noqa: A002 - the framework's word
        super().__init__(id=id, max_length=max_length, select_on_focus=False, compact=True)
        self.cursor_blink = False

    @property
    def text(self) -> str:
        """What is typed, cleaned and composed: two ways to type one letter are one text."""
        return clean(self.value).text

    def edit(self, event: events.Key) -> bool:
        """Type a character or carry out an editing key; whether it was one."""
        moves = {
            "backspace": self.action_delete_left,
            "delete": self.action_delete_right,
            "left": self.action_cursor_left,
            "right": self.action_cursor_right,
            "home": self.action_home,
            "end": self.action_end,
        }
        if event.key in moves:
            moves[event.key]()
            return True
        if event.is_printable and event.character is not None:
            self.insert_text_at_cursor(clean_typed(event.character))
            return True
        return False

    def paste(self, text: str) -> tuple[str, ...]:
        """Insert the first line of pasted text, cleaned; what was left out is returned."""
        lines = text.splitlines()
        cleaned = clean(lines[0] if lines else "")
        if len(self.value) + len(cleaned.text) > (self.max_length or 0):
            return (say("all of it: it is too long for this line"),)
        self.insert_text_at_cursor(cleaned.text)
        more = (say("the lines after the first"),) if len(lines) > 1 else ()
        return (*cleaned.dropped, *more)


def clean_typed(character: str) -> str:
    """Return a typed character, or nothing where it may not be stored; a blank stays a blank."""
    return character if character == " " else clean(character).text
