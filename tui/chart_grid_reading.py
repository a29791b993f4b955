"""What a typed size table comes to: cells that cannot be read, remarks, and the chart's values.

The same readers and the same lint as `chart import` and `chart lint`: nothing is judged twice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.charts.chart import Chart
from fitcore.disk.profile_reading import read_profile
from fitcore.lint.chart_lint import lint_chart
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
from tui.chart_head_form import head_values, missing_keys
from tui.chart_proposals import table_column
from tui.chart_table_state import FIRST, HEADINGS, SIZE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from fitcore.profile_models import Ranges
    from fitcore.record.entries import Value
    from fitcore.tables.table_cells import PrintedRange
    from fitcore.tables.table_values import PrintedGap
    from fitcore.units import Unit
    from tui.chart_grid import ChartGrid
    from tui.chart_table_state import GridColumn, GridTable

_WORST_FIRST = tuple(ProblemLevel)
_PLAIN = re.compile(r"[0-9]+(?:\.[0-9]+)?")
_ONLY_WITH_HEAD = frozenset({"usual_girth_missing", "prescribed_without_ankle"})
"""Remarks on columns that hang on what the head says."""
_STAND_IN: dict[str, object] = {
    "id": "x",
    "maker": "x",
    "line": "x",
    "invented": True,
    "form": "below_knee",
    "toe": "open",
    "purposes": ["other"],
    "posture": "standing",
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

    def first(self, row: int, place: int) -> tuple[GridRemark, ...]:
        """Return the remarks, those on one cell first."""
        return tuple(sorted(self.remarks, key=lambda r: (r.row, r.place) != (row, place)))


def read_grid_table(grid: ChartGrid, ranges: Ranges, *, on: date | None) -> GridReading:
    """Judge what is there of a table.

    Args:
        grid: the grid.
        ranges: what legs can be.
        on: the day the chart would be used; None judges no date.
    """
    rows, remarks, columns = _read_rows(grid.table, grid.unit)
    table = ChartTable(tuple(columns.values()), tuple(row for _, row in rows))
    gaps = () if grid.unit is None else printed_gaps(table)
    good = [number for number, row in rows if not row.problems]
    missing = missing_keys(grid.head, gaps)
    chart: Chart | None = None
    if good and columns and grid.unit is not None:
        head = dict(_STAND_IN) if missing else head_values(grid.head)
        if missing:
            lengths = [gap.width for gap in gaps if not gap.column.is_shoe]
            head["step_mm"] = min(lengths, default=Decimal(0))
        values = chart_values(grid, head, rows=good)
        read = read_profile(write_chart(values).encode(), Chart, "")
        if isinstance(read, tuple):
            remarks += [_of_problem(problem) for problem in read]
        else:
            chart = read
            remarks += _linted(chart, ranges, grid, good, on=on, whole=not missing)
    remarks.sort(key=_order)
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
                size[own.id] = _written(printed, column.unit, unit)
        sizes.append(size)
    return {
        "format": 1,
        **head,
        "unit": unit,
        "dimensions": [
            _dimension(table.columns[place - FIRST], grid.head) for place in sorted(columns)
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
            remarks.append(_of_problem(column.question.problem, HEADINGS, FIRST + at, unread=True))
        elif known is not None and column.is_measure and same:
            remarks.append(_of_problem(_alike(known), HEADINGS, FIRST + at, unread=True))
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
            _of_problem(problem, number, places.get(problem.key or "", SIZE), unread=True)
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


def _linted(
    chart: Chart,
    ranges: Ranges,
    grid: ChartGrid,
    good: Sequence[int],
    *,
    on: date | None,
    whole: bool,
) -> list[GridRemark]:
    places = {
        column.id: FIRST + at for at, column in enumerate(grid.table.columns) if column.is_measure
    }
    dimensions = [places[dimension.id] for dimension in chart.dimensions]
    found = []
    for remark in lint_chart(chart, ranges, on=on):
        group, *rest = remark.key.split(".")
        table_only = group in ("sizes", "dimensions") and remark.code not in _ONLY_WITH_HEAD
        if not (whole or table_only):
            continue
        row, place = None, None
        if group == "sizes" and rest and rest[0].isdigit():
            row = good[int(rest[0])]
            place = places.get(rest[1], SIZE) if len(rest) > 1 else SIZE
        elif group == "dimensions" and rest and rest[0].isdigit():
            row, place = HEADINGS, dimensions[int(rest[0])]
        found.append(GridRemark(remark.level, remark.code, remark.text, remark.mend, row, place))
    return found


def _of_problem(
    problem: Problem, row: int | None = None, place: int | None = None, *, unread: bool = False
) -> GridRemark:
    return GridRemark(problem.level, problem.code, problem.text, problem.mend, row, place, unread)


def _order(remark: GridRemark) -> tuple[object, ...]:
    far = 1 << 30
    return (
        _WORST_FIRST.index(remark.level),
        not remark.unread,
        far if remark.row is None else remark.row,
        far if remark.place is None else remark.place,
        remark.text,
    )


def _dimension(column: GridColumn, head: Mapping[str, Value]) -> dict[str, object]:
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


def _written(printed: PrintedRange, own: Unit | None, unit: Unit | None) -> list[Decimal | str]:
    own = printed.unit or own
    ends = (printed.low, printed.high)
    if own is not None and own != unit:
        return [f"{end} {own}" for end in ends]
    return [Decimal(end) if _PLAIN.fullmatch(end) else end for end in ends]
