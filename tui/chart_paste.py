"""A table pasted into the chart editor: what of it goes where. Nothing pasted is lost."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.problems import UnitError
from fitcore.tables.table_cells import parse_range
from fitcore.tables.table_columns import HeadingReader, unit_of_cells
from fitcore.tables.table_grid import Grid, GridCell, read_grid
from fitcore.tables.table_headings import read_heading
from fitcore.tables.table_sizes import split_size
from fitcore.words import say
from tui.chart_table_state import FIRST, GridColumn, GridRow, GridTable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.tables.table_columns import ReadHeadings
    from fitcore.tables.table_grid import Row
    from tui.chart_grid import ChartGrid

_MANY = re.compile(r"[\t|;]|\S\s{2,}\S|[\n\r]\s*\S")


def is_table(text: str) -> bool:
    """Whether pasted text is more than one cell."""
    return _MANY.search(text.strip("\r\n")) is not None


def paste_into(grid: ChartGrid, text: str) -> str:
    """Put pasted text into a grid; undo brings back what it took the place of.

    One cell is taken as if it were typed. A table with headings takes the place of what is there;
    rows without headings fill the cells from the present one on.

    Returns:
        What a person should know of it.
    """
    if not is_table(text):
        return _paste_cell(grid, text)
    grid.commit()
    read = read_grid(text)
    if not read.rows:
        grid.remarks = [f"{problem.text} {problem.mend}" for problem in read.problems]
        return say("Nothing was taken: {why}", why=" ".join(grid.remarks))
    reader = HeadingReader(grid.unit, {})
    rows, turned = reader.upright(read.rows)
    told = [f"{problem.text} {problem.mend}" for problem in (*read.problems, *read.notes)]
    if turned:
        told.append(say("The sizes stood side by side; the table was turned."))
    count = len(rows)
    headed = any(read_heading(cell.text).about_legs for cell in rows[0])
    begun = bool(grid.table.columns) or any(_is_range(cell.text) for cell in rows[0])
    if headed or not begun:
        count -= 1
        headings = reader.read(rows)
        units = {c.unit for c in headings.columns.values() if not c.is_shoe}
        only = units.pop() if len(units) == 1 else None
        if grid.unit is None and only is not None:  # every column says it, none is left to guess
            grid.head["unit"] = only
        told += _fill_whole(grid, headings, rows, read)
    else:
        told += _fill_from_here(grid, rows, read)
    grid.remarks = told
    return " ".join([say("Pasted: {count} sizes. F7 takes it back.", count=count), *told[:1]])


def _paste_cell(grid: ChartGrid, text: str) -> str:
    cleaned = clean(text)
    for sign in cleaned.text:
        fault = grid.type(sign)
        if fault:
            return say("! left out of the paste: {what}", what=fault)
    if cleaned.dropped:
        return say("! left out of the paste: {what}", what=", ".join(cleaned.dropped))
    return ""


def _fill_whole(
    grid: ChartGrid, headings: ReadHeadings, rows: Sequence[Row], read: Grid
) -> list[str]:
    """Take headings and rows; columns that mean nothing yet come along with their question."""
    uses = [h.meaning.use if h.meaning is not None else "open" for h in headings.headings]
    size_at = uses.index("size") if "size" in uses else None
    variant_at = uses.index("variant") if "variant" in uses else None
    others = [at for at in range(len(uses)) if at not in (size_at, variant_at)]
    columns = []
    for at in others:
        heading = headings.headings[at]
        own = heading.unit or unit_of_cells(at, rows[1:], sure=True)
        if at not in headings.columns or headings.columns[at].is_shoe or own == grid.unit:
            own = None
        columns.append(GridColumn(heading.text, heading.meaning, heading.question, own))
    filled = []
    for row in rows[1:]:
        texts = [cell.text for cell in row]
        size, variant = split_size(_at(texts, size_at))
        variant = " ".join(word for word in (variant, _at(texts, variant_at)) if word)
        beyond = texts[len(uses) :]
        filled.append(GridRow(size, variant, (*(_at(texts, at) for at in others), *beyond)))
    filled += [_stray(cell, len(columns)) for cell in read.strays]
    most = max((len(row.cells) for row in filled), default=0)
    columns += [_nameless(at) for at in range(len(columns), most)]
    had = bool(grid.table.columns or grid.table.rows)
    grid.replace_table(GridTable(tuple(columns), tuple(filled)), 0, FIRST)
    return [say("It took the place of the table that was here.")] if had else []


def _fill_from_here(grid: ChartGrid, rows: Sequence[Row], read: Grid) -> list[str]:
    """Fill cells from the present one on; more columns than there are come without a heading.

    Rows that begin with something else than a range begin with their size.
    """
    table = grid.table
    with_size = all(not _is_range(row[0].text) for row in rows) or grid.place < FIRST
    row, place = max(grid.row, 0), FIRST if with_size else grid.place
    for down, pasted in enumerate([*rows, *((cell,) for cell in read.strays)]):
        at = row + down
        here = table.rows[at] if at < len(table.rows) else GridRow()
        texts = [cell.text for cell in pasted]
        if with_size:
            size, variant = split_size(texts.pop(0))
            here = replace(here, size=size, variant=variant)
        for across, text in enumerate(texts):
            here = here.with_text(place + across, text)
        table = table.with_row(at, here)
    most = max(len(row.cells) for row in table.rows)
    extra = [_nameless(at) for at in range(len(table.columns), most)]
    table = replace(table, columns=(*table.columns, *extra))
    grid.replace_table(table, row, place)
    return [say("More columns than there were: say what they measure.")] if extra else []


def _is_range(text: str) -> bool:
    try:
        parse_range(text, None)
    except UnitError:
        return False
    return True


def _at(texts: Sequence[str], at: int | None) -> str:
    return texts[at] if at is not None and at < len(texts) else ""


def _stray(cell: GridCell, columns: int) -> GridRow:
    """Keep a line that is no row but holds numbers, where it is seen and marked."""
    return GridRow("", "", (cell.text, *[""] * max(0, columns - 1)))


def _nameless(at: int) -> GridColumn:
    heading = read_heading("")
    return GridColumn(say("column {number}", number=at + FIRST + 1), None, heading.question)
