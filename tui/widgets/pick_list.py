"""A list to pick from: a mark and reverse colours on one line, and a window that follows it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.content import Content
from textual.widgets import Static

from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence


NO_MARK = -1
"""No line is marked: Enter alone must not choose for anybody."""


class PickList(Static):
    """Lines of plain text, one of them marked; as high as its screen makes it."""

    def __init__(self, *, id: str, tells_more: bool = False) -> None:  # noqa: A002 - the framework's word
        """Lay out a list.

        Args:
            id: the widget's.
            tells_more: whether its last row says how many lines are below it.
        """
        super().__init__(id=id)
        self._tells_more = tells_more
        self.lines: list[str] = []
        self.index = 0

    def show(self, lines: Sequence[str], index: int | None = None) -> None:
        """Show other lines; the mark stays where it is unless told, `NO_MARK` takes it away."""
        self.lines = list(lines)
        wanted = self.index if index is None else index
        self.index = NO_MARK if wanted < 0 else min(len(self.lines) - 1, wanted)
        self._draw()

    def move(self, by: int) -> None:
        """Move the mark; where there is none it appears at the first line."""
        self.show(self.lines, max(0, self.index + by))

    def on_resize(self) -> None:
        """Draw again: the window has another height."""
        self._draw()

    def _draw(self) -> None:
        width = max(self.content_size.width, 10)
        height = max(self.content_size.height, 1)
        first = max(0, min(self.index - height // 2, len(self.lines) - height))
        rows: list[Content | tuple[str, str] | str] = []
        below = len(self.lines) - first - height
        if self._tells_more and below > 0 and height > 1:
            height -= 1
            below += 1
        for number, line in enumerate(self.lines[first : first + height], first):
            marked = number == self.index
            text = f"{'>' if marked else ' '} {line}"
            if cell_len(text) > width:
                text = set_cell_size(text, width - 1) + "…"
            text = set_cell_size(text, width)
            rows.append((text, "reverse bold") if marked else text)
            rows.append("\n")
        if self._tells_more and below > 0:
            rows += [(f"  {say('{count} more below ↓', count=below)}", "bold"), "\n"]
        # What it shows never changes its size: so a key need not lay out the whole screen anew.
        self.update(Content.assemble(*rows[:-1]), layout=False)
