"""What a typed size table comes to: cells that cannot be read, remarks, and the chart's values.

The same readers and the same lint as `chart import` and `chart lint`: nothing is judged twice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING

from fitcore.charts.chart import Chart
from fitcore.disk.profile_reading import read_profile
from fitcore.problems import Problem, ProblemLevel, UnitError
from fitcore.tables.chart_table import ChartTable
from fitcore.tables.chart_text import write_chart
from fitcore.tables.table_columns import TableColumn, key_of
from fitcore.tables.table_grid import GridCell
from fitcore.tables.table_headings import Heading
from fitcore.tables.table_meanings import Meaning
from fitcore.tables.table_rows import TableRow, read_row
from fitcore.tables.table_values import printed_gaps
from fitcore.words import say
from tui.chart_grid_remarks import (
    STAND_IN,
    GridRemark,
    Known,
    dimension_values,
    linted,
    linted_cells,
    of_problem,
    remark_order,
    written,
)
from tui.chart_head_form import head_values, missing_keys
from tui.chart_proposals import table_column
from tui.chart_table_state import FIRST, HEADINGS, SIZE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.profile_models import Ranges
    from fitcore.tables.table_values import PrintedGap
    from fitcore.units import Unit
    from tui.chart_grid import ChartGrid
    from tui.chart_table_state import GridTable


@dataclass(frozen=True, slots=True)
class GridReading:
    """What a grid comes to."""

    remarks: tuple[GridRemark, ...] = ()
    """Worst first, then by place."""
    chart: Chart | None = None
    """The rows that could be read as a chart, perhaps with a stand-in for its head."""
    gaps: tuple[PrintedGap, ...] = ()

    @property
    def unread(self) -> tuple[GridRemark, ...]:
        """What keeps this from being a chart."""
        return tuple(remark for remark in self.remarks if remark.unread)

    def marked(self, row: int, place: int) -> str:
        """Return the sign beside a cell: `!` where it cannot be read or is surely wrong, `?`."""
        here = [r.level for r in self.remarks if (r.row, r.place) == (row, place)]
        if ProblemLevel.ERROR in here:
            return "!"
        return "?" if ProblemLevel.WARNING in here else ""

    def while_typing(self, row: int, place: int) -> GridReading:
        """Return it without what only says that the rest of the present row is still to come."""

        def to_come(remark: GridRemark) -> bool:
            return (
                remark.code == "empty_cell" and remark.row == row and (remark.place or 0) >= place
            )

        return replace(self, remarks=tuple(r for r in self.remarks if not to_come(r)))

    def next_place(self, here: tuple[int, int], *, led: bool) -> tuple[int, int] | None:
        """Return the cell of the remark shown on top, or of the one after it.

        Args:
            here: row and place of the present cell, whose own remark is shown on top.
            led: whether somebody was led here already, and so wants the next.
        """
        places = [(r.row, r.place) for r in self.remarks]
        told = [
            (row, at) for row, at in dict.fromkeys(places) if row is not None and at is not None
        ]
        if not told:
            return None
        if here not in told:
            return told[0]
        return told[(told.index(here) + led) % len(told)]

    def first(self, row: int, place: int) -> tuple[GridRemark, ...]:
        """Return the remarks, those on one cell first."""
        return tuple(sorted(self.remarks, key=lambda r: (r.row, r.place) != (row, place)))


def read_grid_table(
    grid: ChartGrid,
    ranges: Ranges,
    *,
    on: date | None,
    standards: Sequence[PressureStandard] = (),
) -> GridReading:
    """Judge what is there of a table.

    Args:
        grid: the grid.
        ranges: what legs can be.
        on: the day the chart would be used; None judges no date.
        standards: the pressure standards known here; none judges no class.
    """
    known = Known(ranges, tuple(standards), on)
    rows, remarks, columns = _read_rows(grid.table, grid.unit)
    table = ChartTable(tuple(columns.values()), tuple(row for _, row in rows))
    gaps = () if grid.unit is None else printed_gaps(table)
    good = [number for number, row in rows if not row.problems]
    missing = missing_keys(grid.head, gaps)
    chart: Chart | None = None
    if good and columns and grid.unit is not None:
        head = dict(STAND_IN) if missing else head_values(grid.head)
        if missing:
            lengths = [gap.width for gap in gaps if not gap.column.is_shoe]
            head["step_mm"] = min(lengths, default=Decimal(0))
            head["overlap"] = grid.head.get("overlap") or "ask"
        values = chart_values(grid, head, rows=good)
        read = read_profile(write_chart(values).encode(), Chart, "")
        if isinstance(read, tuple):
            remarks += [of_problem(problem) for problem in read]
        else:
            chart = read
            found = linted(chart, known, grid, good, whole=not missing)
            below_bad = {
                number for (_, above), (number, _) in pairwise(rows) if above.problems
            }  # the row left out may be what fills the gap
            remarks += [r for r in found if r.code != "gap" or r.row not in below_bad]
    if grid.unit is not None:
        own = linted_cells(grid, rows, columns, known.ranges)
        told = {(remark.code, remark.place) for remark in remarks}
        remarks += [r for r in own if r.row != HEADINGS or (r.code, r.place) not in told]
    remarks.sort(key=remark_order)
    return GridReading(tuple(remarks), chart, tuple(gaps))


def chart_values(
    grid: ChartGrid, head: Mapping[str, object], *, rows: Sequence[int] | None = None
) -> dict[str, object]:
    """Return the values of a chart file, as `write_chart` takes them.

    Args:
        grid: the table; cells that cannot be read must not be among the rows.
        head: the file's other keys.
        rows: which rows; None for all that hold anything.
    """
    table, unit = grid.table, grid.unit
    columns = {
        FIRST + at: known
        for at, column in enumerate(table.columns)
        if column.is_measure and (known := table_column(column, unit)) is not None
    }
    wanted = [n for n, r in enumerate(table.rows) if not r.is_empty] if rows is None else rows
    read, _, _ = _read_rows(table, unit)
    ranges = {number: row.ranges for number, row in read}
    sizes = []
    for number in wanted:
        row = table.rows[number]
        size: dict[str, object] = {"size": row.size, "variant": row.variant or None}
        for place, column in columns.items():
            printed = ranges[number].get(column.id)
            own = table.columns[place - FIRST]
            if printed is not None:
                size[own.id] = written(printed, column.unit, unit)
        sizes.append(size)
    return {
        "format": 1,
        **head,
        "unit": unit,
        "dimensions": [
            dimension_values(table.columns[place - FIRST], grid.head) for place in sorted(columns)
        ],
        "sizes": sizes,
    }


def gap_columns(grid: ChartGrid, reading: GridReading) -> dict[str, str]:
    """Return id and words of each column with a gap, or with a rule for one."""
    found = {}
    for at, column in enumerate(grid.table.columns):
        told = any(r.code == "gap" and r.place == FIRST + at for r in reading.remarks)
        if column.is_measure and (told or grid.head.get(f"gap_{column.id}")):
            found[column.id] = column.words
    return found


# -------------------------------------------------------------------------------------------------


def _read_rows(
    table: GridTable, unit: Unit | None
) -> tuple[list[tuple[int, TableRow]], list[GridRemark], dict[int, TableColumn]]:
    """Read every row that holds anything; rows, what cannot be read, and the columns by place."""
    remarks: list[GridRemark] = []
    columns: dict[int, TableColumn] = {}
    for at, column in enumerate(table.columns):
        known = table_column(column, unit)
        same = known is not None and known.id in {c.id for c in columns.values()}
        if column.question is not None:
            remarks.append(of_problem(column.question.problem, HEADINGS, FIRST + at, unread=True))
        elif known is not None and column.is_measure and same:
            remarks.append(of_problem(_alike(known), HEADINGS, FIRST + at, unread=True))
        elif known is not None and column.is_measure:
            columns[FIRST + at] = known
    headings = [
        Heading("", Meaning("size")),
        Heading("", Meaning("variant")),
        *(Heading(column.heading, column.meaning) for column in table.columns),
    ]
    seen: dict[str, int] = {}
    rows: list[tuple[int, TableRow]] = []
    for number, grid_row in enumerate(table.rows):
        if grid_row.is_empty:
            continue
        cells = tuple(
            GridCell(grid_row.text(place), number + 1, place + 1)
            for place in range(FIRST + len(table.columns))
        )
        places = {key_of(cell, headings[cell.column - 1]): cell.column - 1 for cell in cells}
        row = _with_variant(read_row(cells, headings, columns, seen), grid_row.variant)
        rows.append((number, row))
        remarks += [
            of_problem(problem, number, places.get(problem.key or "", SIZE), unread=True)
            for problem in row.problems
        ]
    return rows, remarks, columns


def _with_variant(row: TableRow, variant: str) -> TableRow:
    return row if row.variant == variant else replace(row, variant=variant)


def _alike(column: TableColumn) -> Problem:
    return UnitError(
        Problem(
            code="columns_alike",
            text=say("Another column is {what} already.", what=column.meaning.words),
            mend=say("Say what this one measures, or take it out."),
        )
    ).problem
