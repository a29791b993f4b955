"""What the chart editor draws: the grid in its styles, the present cell, the remarks that fit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.content import Content

from fitcore.words import say
from tui.chart_grid_view import (
    cell_words,
    count_words,
    grid_rows,
    question_words,
    remark_lines,
)

if TYPE_CHECKING:
    from textual.geometry import Size

    from tui.chart_grid import ChartGrid
    from tui.chart_grid_reading import GridReading

_STYLES = {
    "marked": "reverse bold",
    "heading": "bold",
    "proposed": "dim",
    "wrong": "bold $warning",
}


def about_content(shown: GridReading, missing: int) -> Content:
    """Say how many remarks there are, and what the leaflet still has to say."""
    told = (
        say("F2: the leaflet, {count} still to say.", count=missing)
        if missing
        else say("The leaflet is filled in. F6 saves.")
    )
    return Content.assemble((count_words(shown), "bold"), "  ", told)


def grid_content(grid: ChartGrid, shown: GridReading, area: Size) -> Content:
    """Draw the part of the table round the cursor."""
    rows = grid_rows(grid, shown, max(area.width, 40), max(area.height, 2), _cut)
    parts: list[str | tuple[str, str]] = []
    for row in rows:
        parts += [(text, _STYLES.get(style, "")) for text, style in row]
        parts.append("\n")
    return Content.assemble(*parts[:-1])


def cell_content(grid: ChartGrid) -> Content:
    """Say what the present cell is, or what is asked."""
    asked, answers = question_words(grid)
    if asked and (grid.typed is None or grid.asks_unit):
        later = "" if grid.asks_unit else say("Esc later")
        return Content.assemble((f"? {asked}", "bold"), "\n", f"{answers}   {later}")
    return Content(cell_words(grid))


def remarks_content(grid: ChartGrid, shown: GridReading, area: Size) -> Content:
    """Show the remarks that fit, those on the present cell first, and count the rest."""
    width, height = max(area.width, 40), max(area.height, 3)
    asked = grid.question
    remarks = [
        remark
        for remark in shown.first(grid.row, grid.place)
        if asked is None or remark.text != asked.problem.text
    ]
    lines = remark_lines(remarks, grid)
    lines += [say("  note: {text}", text=text) for text in grid.remarks]
    told: list[str] = []
    rows = 0
    for line in lines:
        rows += -(-cell_len(line) // (width - 8))
        last = len(told) == len(lines) - 1
        if rows > height - (0 if last else 1):
            told.append(say("... and {count} more: F9", count=len(lines) - len(told)))
            break
        told.append(line)
    return Content("\n".join(told))


def _cut(text: str, columns: int) -> str:
    if cell_len(text) > columns:
        return set_cell_size(text, columns - 1) + "…"
    return set_cell_size(text, columns)
