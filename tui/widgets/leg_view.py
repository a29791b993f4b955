"""The drawn leg: where the tape goes, in the client's own proportions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

if TYPE_CHECKING:
    from tui.leg_drawing import LegRow


class LegView(Static):
    """Shows the rows of a drawn leg."""

    def show(self, rows: list[LegRow]) -> None:
        """Show another drawing."""
        parts: list[str | tuple[str, str]] = []
        for row in rows:
            parts += [(text, _STYLES.get(style, "")) for text, style in row.spans]
            parts.append("\n")
        self.update(Content.assemble(*parts[:-1]))


_STYLES = {
    "leg": "",
    "unmeasured": "dim",
    "tape": "bold $accent",
    "label": "bold",
    "done": "",
    "frame": "dim",
}
