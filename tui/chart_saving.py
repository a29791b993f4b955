"""Saving a typed chart: what will be written where, and what must be confirmed first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.charts.chart import Chart
from fitcore.disk.atomic import read_bytes
from fitcore.disk.chart_files import (
    chart_files,
    digest_of,
    drop_draft,
    is_file_name,
    own_chart_path,
    write_own_chart,
)
from fitcore.disk.profile_reading import read_profile
from fitcore.problems import FileFault, Problem, ProblemLevel, ProfileError
from fitcore.tables.chart_text import write_chart
from fitcore.words import say
from tui.chart_grid_reading import chart_values
from tui.chart_grid_view import remark_lines
from tui.chart_head_form import head_values

if TYPE_CHECKING:
    from pathlib import Path

    from tui.chart_grid import ChartGrid
    from tui.chart_grid_reading import GridReading
    from tui.chart_grid_remarks import GridRemark


@dataclass(frozen=True, slots=True)
class ChartSave:
    """One chart file about to be written."""

    path: Path
    text: str
    before: bytes | None
    """What lies there now; None where nothing does."""
    told: tuple[str, ...]
    """What must be confirmed before it is written; empty where nothing must."""
    wrong: tuple[GridRemark, ...] = ()
    """Its errors: with any, only a key of its own saves it."""

    @property
    def question(self) -> str:
        """What to ask where something must be confirmed."""
        if self.wrong:
            return say("This chart has errors. Go back and mend them?")
        return say("Write over this chart?")

    def write(self, own: Path, draft: str) -> str:
        """Write it, then take its draft away.

        Returns:
            What to do where the draft could not be taken away: the chart is saved all the same.

        Raises:
            FileFault: it could not be written, or something else lies there by now.
        """
        write_own_chart(self.path, self.text, expected=self.before)
        try:
            drop_draft(own, draft)
        except FileFault as error:
            return f"{error.problem.text} {error.problem.mend}"
        return ""


def plan_save(grid: ChartGrid, reading: GridReading, own: Path, edits: str = "") -> ChartSave:
    """Return what saving a whole, readable table comes to; nothing is written yet.

    Args:
        grid: the table and its head, nothing missing.
        reading: what it comes to.
        own: the data folder.
        edits: id of the own chart that was opened; empty for a new one.

    Raises:
        FitError: it is no chart, or its id is a shipped chart's; nothing can be saved so.
    """
    chart_id = str(grid.head["id"])
    text = write_chart(chart_values(grid, head_values(grid.head)))
    judged = read_profile(text.encode(), Chart, f"{chart_id}.toml")
    if isinstance(judged, tuple):
        raise ProfileError(judged[0])
    files = chart_files(own)
    there = files.get(chart_id)
    if there is None and not is_file_name(edits):
        there = files.get(edits)  # opened to mend an id that nothing can be called by
    if there is not None and there.path is None:
        raise ProfileError(_shipped(chart_id))
    path = (there.path if there is not None else None) or own_chart_path(own, chart_id)
    before = read_bytes(path)
    wrong = [remark for remark in reading.remarks if remark.level is ProblemLevel.ERROR]
    told = []
    if wrong:
        told = [
            say("Enter goes back to the first. Shift+S saves the chart with its errors:"),
            say("a leg may then get a wrong size."),
            "",
        ]
    if before is not None:
        told += [
            say("charts/{name} is there already.", name=path.name),
            say("Saving writes over it; remarks that stand in the file are not kept.")
            if wrong
            else say("Enter writes over it; remarks that stand in the file are not kept."),
        ]
    if edits and grid.opened and edits in (chart_id, there.id if there is not None else ""):
        told += _changed_outside(path.name, before, grid.opened)
    told += remark_lines(wrong, grid)
    return ChartSave(path, text, before, tuple(told), tuple(wrong))


def _changed_outside(name: str, before: bytes | None, opened: str) -> list[str]:
    """Tell of a file that is another than the one that was opened, or is gone."""
    if before is None:
        return [say("charts/{name} was taken away since you opened it.", name=name)]
    if digest_of(before) == opened:
        return []
    return [say("It was changed since you opened it: what somebody else wrote would be lost.")]


def _shipped(chart_id: str) -> Problem:
    return Problem(
        code="id_of_shipped_chart",
        text=say("A chart that comes with the program is called {name}.", name=chart_id),
        mend=say("F2: give this one another short name."),
    )
