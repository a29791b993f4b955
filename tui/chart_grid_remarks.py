"""Remarks on a typed size table: what lint says of the chart it comes to, cell by cell."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.charts.chart import Chart
from fitcore.disk.profile_reading import read_profile
from fitcore.lint.chart_lint import lint_chart
from fitcore.lint.lint_codes import IN_OTHER_UNIT, LINT_CODES
from fitcore.lint.lint_limits import lint_limits
from fitcore.problems import Problem, ProblemLevel
from fitcore.tables.chart_text import write_chart
from tui.chart_table_state import FIRST, HEADINGS, SIZE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from fitcore.lint.chart_remark import ChartRemark
    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.profile_models import Ranges
    from fitcore.record.entries import Value
    from fitcore.tables.table_cells import PrintedRange
    from fitcore.tables.table_columns import TableColumn
    from fitcore.tables.table_rows import TableRow
    from fitcore.units import Unit
    from tui.chart_grid import ChartGrid
    from tui.chart_table_state import GridColumn

_WORST_FIRST = tuple(ProblemLevel)
_PLAIN = re.compile(r"[0-9]+(?:\.[0-9]+)?")
STAND_IN: dict[str, object] = {
    "id": "x",
    "maker": "x",
    "line": "x",
    "invented": True,
    "form": "below_knee",
    "toe": "open",
    "purposes": ["other"],
    "posture": "standing",
    "overlap": "ask",
    "source": {"status": "invented", "text": "x"},
}
"""Stands for a head that is not filled in yet, so that the table can be judged meanwhile."""


@dataclass(frozen=True, slots=True)
class GridRemark:
    """One thing to know of the table as it stands."""

    level: ProblemLevel
    code: str
    text: str
    mend: str
    row: int | None = None
    """Row of the grid, -1 for the headings; None where it is about no place."""
    place: int | None = None
    unread: bool = False
    """Whether the cell cannot be read at all."""


@dataclass(frozen=True, slots=True)
class Known:
    """What a table is judged by."""

    ranges: Ranges
    """What legs can be."""
    standards: tuple[PressureStandard, ...] = ()
    """The pressure standards known here; none judges no class."""
    on: date | None = None
    """The day the chart would be used; None judges no date."""


def linted(
    chart: Chart, known: Known, grid: ChartGrid, good: Sequence[int], *, whole: bool
) -> list[GridRemark]:
    """Return what lint says of the chart a grid comes to, each remark at its cell.

    Args:
        chart: the chart made of the rows that are whole.
        known: what it is judged by.
        grid: the grid.
        good: those rows' places in the grid.
        whole: whether the head is the leaflet's, or stands in.
    """
    places = {
        column.id: FIRST + at for at, column in enumerate(grid.table.columns) if column.is_measure
    }
    dimensions = [places[dimension.id] for dimension in chart.dimensions]
    found = []
    for remark in lint_chart(chart, known.ranges, on=known.on, standards=known.standards):
        if LINT_CODES[remark.code].needs_head and not whole:
            continue
        group, index, column = remark.place
        row, place = None, None
        if group == "sizes" and index is not None:
            row, place = good[index], places.get(column, SIZE)
        elif group == "dimensions" and index is not None:
            row, place = HEADINGS, dimensions[index]
        found.append(_at(remark, row, place))
    return found


def linted_cells(
    grid: ChartGrid,
    rows: Sequence[tuple[int, TableRow]],
    columns: Mapping[int, TableColumn],
    ranges: Ranges,
) -> list[GridRemark]:
    """Judge the cells of rows that are not whole yet, each for itself.

    Args:
        grid: the grid.
        rows: every row that holds anything, with its place in the grid.
        columns: the columns of measures by their place across.
        ranges: what legs can be.

    Returns:
        Remarks on cells of such rows alone; the other rows are judged as a chart.
    """
    found = []
    for place, column in columns.items():
        held = [(number, row) for number, row in rows if column.id in row.ranges]
        if not any(row.problems for _, row in held):
            continue
        own = grid.table.columns[place - FIRST]
        names: set[str] = set()
        values: dict[str, object] = {
            "format": 1,
            **STAND_IN,
            "unit": grid.unit,
            "step_mm": Decimal(0),
            "dimensions": [dimension_values(own, {})],
            "sizes": [
                {
                    **_stand_in_name(number, row, names),
                    own.id: written(row.ranges[column.id], column.unit, grid.unit),
                }
                for number, row in held
            ],
        }
        chart = read_profile(write_chart(values).encode(), Chart, "")
        if isinstance(chart, tuple):
            continue  # told already: it is the same for the whole table
        for remark in lint_limits(chart, ranges):
            group, index, _ = remark.place
            if group == "sizes" and index is not None and held[index][1].problems:
                found.append(_at(remark, held[index][0], place))
            elif remark.code in IN_OTHER_UNIT:
                found.append(_at(remark, HEADINGS, place))
    return found


def of_problem(
    problem: Problem, row: int | None = None, place: int | None = None, *, unread: bool = False
) -> GridRemark:
    """Return a reader's problem as a remark."""
    return GridRemark(problem.level, problem.code, problem.text, problem.mend, row, place, unread)


def remark_order(remark: GridRemark) -> tuple[object, ...]:
    """Sort key of remarks: the worst first, then by place."""
    far = 1 << 30
    return (
        _WORST_FIRST.index(remark.level),
        not remark.unread,
        far if remark.row is None else remark.row,
        far if remark.place is None else remark.place,
        remark.text,
    )


def dimension_values(column: GridColumn, head: Mapping[str, Value]) -> dict[str, object]:
    """Return a column as a chart file has it."""
    meaning = column.meaning
    values: dict[str, object] = {"id": column.id, **column.kept}
    gap = head.get(f"gap_{column.id}")
    if gap:
        values["gap"] = gap
    if meaning is None:
        return values
    values |= {"point": str(meaning.point), "kind": str(meaning.kind)}
    if meaning.system is not None:
        values["system"] = meaning.system
        step = head.get("shoe_step")
        if step is not None and step:
            values["step"] = step
    return values


def written(printed: PrintedRange, own: Unit | None, unit: Unit | None) -> list[Decimal | str]:
    """Return a range as a chart file has it: its unit where the table has another."""
    own = printed.unit or own
    ends = (printed.low, printed.high)
    if own is not None and own != unit:
        return [f"{end} {own}" for end in ends]
    return [Decimal(end) if _PLAIN.fullmatch(end) else end for end in ends]


def _at(remark: ChartRemark, row: int | None, place: int | None) -> GridRemark:
    return GridRemark(remark.level, remark.code, remark.text, remark.mend_in_form, row, place)


def _stand_in_name(number: int, row: TableRow, names: set[str]) -> dict[str, str]:
    """Return a row's own size, or a name nobody else has where that is missing or stands twice."""
    size = {"size": row.size, "variant": row.variant}
    if not row.size or row.name in names or any(p.code == "size_too_long" for p in row.problems):
        size = {"size": f"row {number + 1}", "variant": ""}
    names.add(row.name)
    return size
