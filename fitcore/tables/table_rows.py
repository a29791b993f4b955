"""The rows of a maker's table: one size each, with its ranges, or with what is wrong."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from fitcore.problems import Problem, UnitError
from fitcore.tables.table_cells import PrintedRange, parse_range, parse_shoe_range
from fitcore.tables.table_columns import key_of
from fitcore.tables.table_sizes import split_size
from fitcore.units import from_mm, plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.tables.table_columns import TableColumn
    from fitcore.tables.table_grid import GridCell, Row
    from fitcore.tables.table_headings import Heading
    from fitcore.units import Unit

_UNIT_WORDS: dict[Unit, str] = {"in": "inches", "cm": "cm", "mm": "mm"}
LONGEST_SIZE = 12
LONGEST_VARIANT = 24
"""Characters, as in a chart file."""


@dataclass(frozen=True, slots=True)
class TableRow:
    """One size as it is printed."""

    line: int
    size: str
    variant: str
    ranges: Mapping[str, PrintedRange]
    """By column id; a column whose cell could not be read is missing."""
    unread: Mapping[str, str] = field(default_factory=dict)
    """By column id, the text of each cell that could not be read."""
    problems: tuple[Problem, ...] = ()
    """What is wrong with this row; a row without any is good."""

    @property
    def name(self) -> str:
        """Size and variant."""
        return f"{self.size} {self.variant}".strip()


def read_row(
    row: Row,
    headings: Sequence[Heading],
    columns: Mapping[int, TableColumn],
    seen: dict[str, int],
) -> TableRow:
    """Read one row; what cannot be read is kept as it was printed, with the reason.

    Args:
        row: its cells.
        headings: one for each column.
        columns: the columns of ranges by their index.
        seen: names met so far and their lines; the row's own is added.
    """
    if len(row) != len(headings):
        return _uneven_row(row, len(headings))
    problems: list[Problem] = []
    size, variant = _size_of(row, headings, problems)
    ranges: dict[str, PrintedRange] = {}
    unread: dict[str, str] = {}
    for index, column in columns.items():
        cell = row[index]
        try:
            ranges[column.id] = _range_of(cell.text, column)
        except UnitError as error:
            unread[column.id] = cell.text
            problems.append(error.problem.at(line=cell.line, key=key_of(cell, headings[index])))
    found = TableRow(row[0].line, size, variant, ranges, unread, tuple(problems))
    if size and found.name in seen:
        problem = Problem(
            code="size_twice",
            text=say(
                "Size '{name}' stands in line {line} already.",
                name=found.name,
                line=seen[found.name],
            ),
            mend=say("Say what makes it another, such as wide, or take one of the two out."),
            line=found.line,
        )
        return replace(found, problems=(*problems, problem))
    seen.setdefault(found.name, found.line)
    return found


def stray_row(cell: GridCell) -> TableRow:
    """Return a line that is no row but holds numbers, so that nobody overlooks it."""
    problem = Problem(
        code="stray_line",
        text=say("'{text}' is no row of this table, but holds numbers.", text=cell.text[:60]),
        mend=say("Part it into columns if it is a size; take it out if it is a remark."),
        line=cell.line,
    )
    return TableRow(cell.line, "", "", {}, {f"cell_{cell.column}": cell.text}, (problem,))


def _uneven_row(row: Row, wanted: int) -> TableRow:
    more = len(row) > wanted
    problem = Problem(
        code="too_many_cells" if more else "too_few_cells",
        text=say(
            "{found} cells where there are {wanted} headings: '{start}'.",
            found=len(row),
            wanted=wanted,
            start=" | ".join(cell.text for cell in row)[:60],
        ),
        mend=say("Part the columns by semicolons where numbers have decimal commas.")
        if more
        else say("Put the missing separator in, or write the cell that is empty."),
        line=row[0].line,
    )
    size = row[0].text if len(row[0].text) <= LONGEST_SIZE else ""
    cells = {f"cell_{cell.column}": cell.text for cell in row[1:]}
    return TableRow(row[0].line, size, "", {}, cells, (problem,))


def _size_of(row: Row, headings: Sequence[Heading], problems: list[Problem]) -> tuple[str, str]:
    def texts(use: str) -> list[GridCell]:
        return [
            cell
            for cell, heading in zip(row, headings, strict=True)
            if heading.meaning is not None and heading.meaning.use == use and cell.text
        ]

    cells = texts("size")
    size, variant = split_size(cells[0].text) if cells else ("", "")
    words = [word for word in (variant, *(cell.text for cell in texts("variant"))) if word]
    if not cells and any(h.meaning is not None and h.meaning.use == "size" for h in headings):
        problems.append(
            Problem(
                code="size_missing",
                text=say("This row names no size."),
                mend=say("Write the size in each row; a cell joined with the one above is empty."),
                line=row[0].line,
            )
        )
    for found, most in ((size, LONGEST_SIZE), (" ".join(words), LONGEST_VARIANT)):
        if len(found) > most:
            problems.append(
                Problem(
                    code="size_too_long",
                    text=say("'{name}' has more than {most} characters.", name=found, most=most),
                    mend=say("Write the size as it stands on the garment, such as XL wide."),
                    line=row[0].line,
                )
            )
    return size, " ".join(words)


def _range_of(text: str, column: TableColumn) -> PrintedRange:
    if column.meaning.system is not None:
        return parse_shoe_range(text, column.meaning.system)
    found = parse_range(text, column.unit)
    if found.unit is not None and column.unit is not None and found.unit != column.unit:
        ends = found.mm(found.unit)
        low, high = (plain(round(from_mm(end, column.unit), 1)) for end in ends)
        raise UnitError(
            Problem(
                code="unit_differs_in_column",
                text=say(
                    "'{cell}' is in {own}, in a column of {unit}: {low}-{high} {unit}?",
                    cell=text[:40],
                    own=_UNIT_WORDS[found.unit],
                    unit=column.unit,
                    low=low,
                    high=high,
                ),
                mend=say("Look at the leaflet and write this cell in {unit}.", unit=column.unit),
            )
        )
    return found
