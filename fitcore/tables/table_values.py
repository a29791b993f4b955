"""A table that was read, and what its leaflet says beside it, to the values of a chart file."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.charts.boxes import gaps
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.tables.chart_table import ChartTable
    from fitcore.tables.table_cells import PrintedRange
    from fitcore.tables.table_columns import TableColumn
    from fitcore.tables.table_rows import TableRow
    from fitcore.units import Unit


@dataclass(frozen=True, slots=True)
class PrintedGap:
    """The narrowest place of a column that no range holds."""

    column: TableColumn
    below: str
    above: str
    """The two printed ends."""
    width: Decimal
    """In mm, or in sizes for shoes."""


def printed_gaps(table: ChartTable) -> tuple[PrintedGap, ...]:
    """Return the narrowest gap of each column that has one.

    It may be only the step the table is printed in (21-22.9, 23-24.9), or a gap the maker means:
    only the leaflet tells. Columns whose unit is not known yet are passed over, and so is what an
    unread cell leaves open between its neighbours.
    """
    found = []
    for column in table.columns:
        if column.unit is None and not column.is_shoe:
            continue
        ends: dict[Decimal, str] = {}
        ranges = set()
        for row in table.rows:
            if column.id in row.ranges:
                printed = row.ranges[column.id]
                low, high = _amounts(printed, column.unit)
                ends |= {low: printed.low, high: printed.high}
                ranges.add((low, high))
        unread = _beside_unread(table, column)
        widths = [
            (above - below, below, above)
            for below, above in gaps(ranges)
            if (below, above) not in unread
        ]
        if widths:
            width, below, above = min(widths)
            found.append(PrintedGap(column, ends[below], ends[above], width))
    return tuple(found)


def _beside_unread(table: ChartTable, column: TableColumn) -> set[tuple[Decimal, Decimal]]:
    """Return (high end above, low end below) of each run of cells that could not be read."""
    found = set()
    high: Decimal | None = None
    open_run = False
    for row in table.rows:
        if column.id not in row.ranges:
            open_run = True
            continue
        low, own_high = _amounts(row.ranges[column.id], column.unit)
        if open_run and high is not None:
            found.add((high, low))
        high, open_run = own_high, False
    return found


def table_values(
    table: ChartTable,
    head: Mapping[str, object],
    *,
    shoe_step: Decimal | None = None,
    by_column: Mapping[str, Mapping[str, object]] | None = None,
    good_only: bool = False,
) -> dict[str, object]:
    """Return the values of a chart file, as `write_chart` and `Chart` take them.

    A cell that could not be read stays as the text it was printed as, so that nothing is lost and
    a chart that holds one cannot be used until somebody has mended it.

    Args:
        table: what was read, without open questions.
        head: the file's other keys: id, maker, line, form, toe, purposes, step_mm, posture,
            source ...
        shoe_step: step of printed shoe sizes, in sizes.
        by_column: what was said of one column alone: its id to keys of its dimension.
        good_only: whether rows with a problem are left out, to judge the rest.
    """
    unit = table.unit
    rows = table.good_rows if good_only else table.rows
    return {
        "format": 1,
        **head,
        "unit": unit,
        "dimensions": [
            _dimension(column, shoe_step) | dict((by_column or {}).get(column.id, {}))
            for column in table.columns
        ],
        "sizes": [_size(row, table.columns, unit) for row in rows],
    }


def row_remarks(table: ChartTable) -> dict[int, list[str]]:
    """Return by row what is wrong with it, as comments for the file."""
    return {
        index: [
            say(
                "TO MEND, line {line} of the table: {text} {mend}",
                line=problem.line,
                text=problem.text,
                mend=problem.mend,
            )
            for problem in row.problems
        ]
        for index, row in enumerate(table.rows)
        if row.problems
    }


def _dimension(column: TableColumn, shoe_step: Decimal | None) -> dict[str, object]:
    meaning = column.meaning
    values: dict[str, object] = {
        "id": meaning.id,
        "point": str(meaning.point),
        "kind": str(meaning.kind),
    }
    if meaning.system is not None:
        values |= {"system": meaning.system}
        values |= {"step": shoe_step} if shoe_step else {}
    return values


def _size(row: TableRow, columns: Sequence[TableColumn], unit: Unit) -> dict[str, object]:
    values: dict[str, object] = {"size": row.size}
    if row.variant:
        values["variant"] = row.variant
    for column in columns:
        if column.id in row.ranges:
            printed = row.ranges[column.id]
            values[column.id] = [
                _written(end, column.unit, unit) for end in (printed.low, printed.high)
            ]
    return values | dict(row.unread)


def _written(end: str, own: Unit | None, unit: Unit) -> Decimal | str:
    if own is not None and own != unit:
        return f"{end} {own}"
    return Decimal(end) if re.fullmatch(r"[0-9.]+", end) else end


def _amounts(printed: PrintedRange, unit: Unit | None) -> tuple[Decimal, Decimal]:
    if unit is None:
        return Decimal(printed.low), Decimal(printed.high)
    return printed.mm(unit)
