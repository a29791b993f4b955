"""A maker's size table, as copied from a leaflet, a page or a sheet, to columns, rows and doubts.

Rows are sizes and columns measures; a table that stands the other way is turned. Nothing is
guessed and nothing is dropped: what cannot be read is told with line, column and mend, and kept
as it was printed, beside the rows that are right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.problems import Problem, ProblemLevel
from fitcore.tables.table_columns import HeadingReader, TableColumn
from fitcore.tables.table_grid import read_grid
from fitcore.tables.table_rows import TableRow, read_row, stray_row
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.tables.table_meanings import Question
    from fitcore.units import Unit


@dataclass(frozen=True, slots=True)
class ChartTable:
    """What a table says, and what it leaves open."""

    columns: tuple[TableColumn, ...] = ()
    rows: tuple[TableRow, ...] = ()
    """All of them in printed order, good or not."""
    questions: tuple[Question, ...] = ()
    """What must be answered before this is a chart: headings, the unit."""
    faults: tuple[Problem, ...] = ()
    """Why there is no table, or where it breaks off."""
    notes: tuple[Problem, ...] = ()
    """What was passed over or done; nothing to mend."""
    turned: bool = False
    """Whether the sizes stood side by side."""
    left_out: tuple[str, ...] = ()
    """Headings of columns that somebody said to leave out."""

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Everything found, in order of line."""
        found = [
            *self.faults,
            *(question.problem for question in self.questions),
            *(problem for row in self.rows for problem in row.problems),
            *self.notes,
        ]
        return tuple(sorted(found, key=lambda problem: problem.line or 0))

    @property
    def good_rows(self) -> tuple[TableRow, ...]:
        """Rows in which every cell was read."""
        return tuple(row for row in self.rows if not row.problems)

    @property
    def unit(self) -> Unit:
        """The unit of the first column of lengths; cm for a table of shoe sizes only."""
        return next((column.unit for column in self.columns if column.unit), "cm")


def parse_table(
    text: str, *, unit: Unit | None = None, meanings: Mapping[str, str] | None = None
) -> ChartTable:
    """Read a maker's table.

    Args:
        text: CSV, or what was pasted from a page or a document; headings first.
        unit: used for columns where neither heading nor cells name one.
        meanings: heading as printed, or `column 3`, to what it means (`read_meaning`); goes before
            what the heading itself says.

    Returns:
        The columns understood, every row, and what is open or wrong; never raises.
    """
    grid = read_grid(text)
    if not grid.rows:
        return ChartTable(faults=tuple(grid.problems), notes=tuple(grid.notes))
    reader = HeadingReader(unit, meanings or {})
    rows, turned = reader.upright(grid.rows)
    read = reader.read(rows)
    line = rows[0][0].line
    seen: dict[str, int] = {}
    found = [read_row(row, read.headings, read.columns, seen) for row in rows[1:]]
    found += [stray_row(cell) for cell in grid.strays]
    return ChartTable(
        tuple(read.columns.values()),
        tuple(sorted(found, key=lambda row: row.line)),
        read.questions,
        (*grid.problems, *([] if found else [_no_rows(line)])),
        (*grid.notes, *([_turned(line)] if turned else [])),
        turned,
        tuple(
            heading.text
            for heading in read.headings
            if heading.meaning is not None and heading.meaning.use == "skip"
        ),
    )


def _no_rows(line: int) -> Problem:
    return Problem(
        code="no_rows",
        text=say("There are headings, but no size below them."),
        mend=say("Copy the whole table, one size in each row."),
        line=line,
    )


def _turned(line: int) -> Problem:
    return Problem(
        code="table_turned",
        text=say("The sizes stand side by side; the table was turned."),
        mend=say("Look whether each size has its own ranges."),
        line=line,
        level=ProblemLevel.NOTE,
    )
