"""Whom a chart would fit: counts and picture against the made-up set and the own archive."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.content import Content

from fitcore.disk.leg_sets import archive_set, synthetic_set
from fitcore.problems import FitError
from fitcore.words import say
from tui.chart_grid_view import coverage_lines
from tui.screens.text import TextScreen

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.charts.chart import Chart
    from tui.app import AnklefirstApp

_MARGIN = 4
"""Cells a page of text leaves at its sides."""
_PICTURE_ROWS = 20


async def show_preview(app: AnklefirstApp, chart: Chart, title: str) -> None:
    """Show the page; Esc comes back."""
    width = app.size.width - _MARGIN
    rows = max(_PICTURE_ROWS, app.size.height - 6)
    lines = await asyncio.to_thread(_lines, chart, app.data, width, rows)
    name = title or say("a new chart")
    page = TextScreen(say("Whom it fits: {name}", name=name), Content("\n".join(lines)))
    await app.push_screen(page)


def _lines(chart: Chart, data: Path, width: int, rows: int) -> list[str]:
    try:
        lines = coverage_lines(chart, synthetic_set(data), width, rows)
    except FitError as error:
        lines = [f"{error.problem.text} {error.problem.mend}"]
    own = archive_set(data)
    if own.legs:
        lines += ["", "", *coverage_lines(chart, own, width, rows)]
    return lines
