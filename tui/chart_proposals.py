"""What may come next in a size table that is being typed: proposed, never taken by itself."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.problems import FitError
from fitcore.tables.table_cells import PrintedRange, parse_range, parse_shoe_range
from fitcore.tables.table_columns import TableColumn
from fitcore.units import from_mm, plain

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.record.entries import Value
    from fitcore.units import Unit
    from tui.chart_table_state import GridColumn, GridRow, GridTable

_LETTERS = ("XXS", "XS", "S", "M", "L", "XL")
_LADDERS = (
    (*_LETTERS, "XXL", "XXXL"),
    (*_LETTERS, "2XL", "3XL", "4XL", "5XL", "6XL"),
    ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII"),
    tuple("ABCDEFGH"),
)
_DECIMAL = re.compile(r"[0-9]+(?:\.[0-9]+)?")


def next_size(before: str, earlier: str = "") -> str:
    """Return the size that comes after one, by counting on; empty where nobody can tell.

    Args:
        before: the size above.
        earlier: the one above that; where it is given, both must stand on one ladder.
    """
    if before.isascii() and before.isdigit():
        return str(int(before) + 1)
    upper = before.upper()
    for ladder in _LADDERS:
        if upper not in ladder[:-1]:
            continue
        at = ladder.index(upper)
        if not earlier or (at > 0 and ladder[at - 1] == earlier.upper()):
            return ladder[at + 1] if before == upper else ladder[at + 1].lower()
    return ""


def next_name(rows: Sequence[GridRow]) -> tuple[str, str]:
    """Return size and variant of the row that comes next; two empty ones where nobody can tell.

    Sizes that come in several variants come in the same ones again and again: after II short and
    II long follows III short; after the very first short one follows its long one.

    Args:
        rows: the rows above, small to large.
    """
    groups: list[tuple[str, list[str]]] = []
    for row in rows:
        if groups and groups[-1][0] == row.size:
            groups[-1][1].append(row.variant)
        else:
            groups.append((row.size, [row.variant]))
    if not groups:
        return "", ""
    (size, own), before = groups[-1], groups[-2] if len(groups) > 1 else ("", [])
    after = next_size(size, before[0])
    cycle = before[1] if before[1] else _first_cycle(own)
    if own == cycle[: len(own)]:
        if len(own) < len(cycle):
            return size, cycle[len(own)]
        return (after, cycle[0]) if after else ("", "")
    return (after, "") if own[0] == "" and after else ("", "")


def _first_cycle(own: list[str]) -> list[str]:
    """Return the variants the first size will have, as far as that is sure."""
    first = own[0].casefold()
    if len(own) == 1 and first == "short":
        word = "long"
        return [
            own[0],
            word.upper() if own[0].isupper() else word.title() if own[0][0].isupper() else word,
        ]
    if len(own) > 1 or not first:
        return own
    return []


def table_column(column: GridColumn, unit: Unit | None) -> TableColumn | None:
    """Return a column as the reader of tables knows it; None while its meaning is open.

    Args:
        column: the grid's.
        unit: the table's, for columns of lengths without their own.
    """
    if column.meaning is None:
        return None
    own = None if column.meaning.system is not None else column.unit or unit
    return TableColumn(column.heading, column.meaning, own)


def proposed_low(
    table: GridTable, row: int, place: int, unit: Unit | None, head: Mapping[str, Value]
) -> str:
    """Return the low end that would follow in a cell, empty where nobody can tell.

    It stands as far above the high end of the row before as the rows so far have it: in this
    column; else in the column to the left, in these two rows; else the step of the leaflet.

    Args:
        table: what was typed so far.
        row: the cell's, 0 for the first size.
        place: the cell's place across.
        unit: the table's.
        head: what the leaflet says beside the table.
    """
    column = table.column(place)
    before = _range(table, row - 1, place, unit)
    if column is None or before is None or not _DECIMAL.fullmatch(before.high):
        return ""
    gap = _gap(table, row - 1, place, unit)
    left = table.column(place - 1)
    if gap is None and left is not None and _scale(left) == _scale(column):
        gap = _gap(table, row, place - 1, unit)
    if gap is None:
        gap = _printed_step(column, unit, head)
    low = Decimal(before.high) + gap
    # Sizes grow: what does not stand above the last low end is a slip in the rows so far.
    grows = _DECIMAL.fullmatch(before.low) is not None and low > Decimal(before.low)
    return plain(low) if grows else ""


def _scale(column: GridColumn) -> object:
    return (column.unit, column.meaning.system if column.meaning is not None else "open")


def _printed_step(column: GridColumn, unit: Unit | None, head: Mapping[str, Value]) -> Decimal:
    shoe = column.meaning is not None and column.meaning.system is not None
    step = head.get("shoe_step" if shoe else "step_mm")
    own = column.unit or unit
    if not isinstance(step, Decimal) or not step:
        return Decimal(0)
    return step if shoe or own is None else from_mm(step, own)


def _gap(table: GridTable, row: int, place: int, unit: Unit | None) -> Decimal | None:
    """Return how far a row's low end stands above the high end of the row before."""
    lower, upper = (_range(table, at, place, unit) for at in (row - 1, row))
    if lower is None or upper is None:
        return None
    if not (_DECIMAL.fullmatch(lower.high) and _DECIMAL.fullmatch(upper.low)):
        return None
    return Decimal(upper.low) - Decimal(lower.high)


def _range(table: GridTable, row: int, place: int, unit: Unit | None) -> PrintedRange | None:
    column = table.column(place)
    known = None if column is None else table_column(column, unit)
    text = table.text(row, place) if row >= 0 else ""
    if known is None or not text:
        return None
    try:
        if known.meaning.system is not None:
            return parse_shoe_range(text, known.meaning.system)
        return parse_range(text, known.unit)
    except FitError:
        return None
