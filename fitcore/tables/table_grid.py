"""Text of a maker's table to cells with their line and column: CSV, or pasted from page or PDF."""

from __future__ import annotations

import csv
import re
import textwrap
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitcore.problems import Problem, ProblemLevel
from fitcore.tables.table_cells import without_unsafe_joins
from fitcore.tables.table_headings import read_heading
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_ROWS = 400
MOST_COLUMNS = 60
"""No maker's table is larger; ours. A larger one is a text gone astray."""

_BLANKS = "  "
_LONGEST_SIZE = 12
_RULE = re.compile(r"[\s|:+=_-]*[-=_]{3}[\s|:+=_-]*")
_TWO_BLANKS = re.compile(r"\S\s{2,}\S")


@dataclass(frozen=True, slots=True)
class GridCell:
    """One cell and where it stood."""

    text: str
    line: int
    column: int


Row = tuple[GridCell, ...]


@dataclass(slots=True)
class Grid:
    """Cells in the order of the text, headings first."""

    rows: list[Row] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    """Why there are no rows, or where they break off."""
    notes: list[Problem] = field(default_factory=list)
    """What was passed over or taken out."""
    strays: list[GridCell] = field(default_factory=list)
    """Lines that are no row and hold numbers all the same."""


def read_grid(text: str) -> Grid:
    """Cut a table's text into cells.

    Separator: tab, `|`, `;`, `,` or runs of two blanks and more, whichever parts the lines.
    Lines of rules are passed over; a title above the headings and a line of words below are too,
    and are told.
    """
    grid = Grid()
    unified = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    lines = unified.split("\n")
    filled = [line for line in lines if line.strip() and not _RULE.fullmatch(line)]
    if not filled:
        grid.problems.append(_empty())
        return grid
    separator = _separator(filled)
    if separator is None:
        grid.problems.append(
            _problem(
                "no_columns",
                say("The lines are not parted into columns."),
                say("Put a tab, a semicolon or two blanks between the columns."),
                line=next(n for n, line in enumerate(lines, 1) if line.strip()),
            )
        )
        return grid
    for line, cells in _cut(lines, separator, grid):
        _keep(line, cells, grid)
    _drop_empty_columns(grid)
    _part_titles(grid)
    if not grid.rows and not grid.problems:
        grid.problems.append(_empty())
    if len(grid.rows) > MOST_ROWS or max((len(row) for row in grid.rows), default=0) > MOST_COLUMNS:
        grid.rows.clear()
        grid.problems.append(
            _problem(
                "table_too_big",
                say(
                    "The table has more than {rows} rows or {columns} columns.",
                    rows=MOST_ROWS,
                    columns=MOST_COLUMNS,
                ),
                say("Look whether it is the maker's table of one line of garments."),
            )
        )
    return grid


def turned(rows: Sequence[Row]) -> list[Row]:
    """Return rows of equal width with columns as rows; every cell remembers where it stood."""
    return [tuple(cells) for cells in zip(*rows, strict=True)]


def _separator(lines: Sequence[str]) -> str | None:
    def parted(found: Sequence[object]) -> bool:
        return 2 * sum(1 for one in found if one) >= len(lines)

    for sign in ("\t", "|", ";"):
        if parted([sign in line for line in lines]):
            return sign
    if parted(["," in line for line in lines]) and not any(
        _TWO_BLANKS.search(cell.strip()) for line in lines for cell in line.split(",")
    ):
        return ","
    if parted([_TWO_BLANKS.search(line) for line in lines]):
        return _BLANKS
    return None


def _cut(lines: list[str], separator: str, grid: Grid) -> list[tuple[int, list[str]]]:
    if separator == _BLANKS:
        lines = textwrap.dedent("\n".join(lines)).split("\n")
        return [(n, re.split(r"\s{2,}", line.rstrip())) for n, line in enumerate(lines, 1)]
    if separator == "|":
        return [(n, _piped(line)) for n, line in enumerate(lines, 1)]
    rows: list[tuple[int, list[str]]] = []
    reader = csv.reader([f"{line}\n" for line in lines], delimiter=separator, strict=True)
    start = 1
    try:
        for cells in reader:
            rows.append((start, cells))
            start = reader.line_num + 1
    except csv.Error:
        grid.problems.append(
            _problem(
                "quotes_open",
                say("From here on the quotation marks do not pair; nothing below was read."),
                say('Take them out, or write "" for one inside a quoted cell.'),
                line=start,
            )
        )
    return rows


def _piped(line: str) -> list[str]:
    inner = line.strip()
    return inner.removeprefix("|").removesuffix("|").split("|")


def _keep(line: int, cells: Sequence[str], grid: Grid) -> None:
    if _RULE.fullmatch(" ".join(cells)):
        return
    row = []
    for column, cell in enumerate(cells, 1):
        text, dropped = without_unsafe_joins(cell)
        if dropped:
            grid.notes.append(
                _problem(
                    "unsafe_characters",
                    say("{names} was taken as a blank.", names=", ".join(dropped)),
                    say("Look at the cell; an invisible character may have been a dash."),
                    line=line,
                    column=column,
                    level=ProblemLevel.NOTE,
                )
            )
        row.append(GridCell(text, line, column))
    if any(cell.text for cell in row):
        grid.rows.append(tuple(row))


def _drop_empty_columns(grid: Grid) -> None:
    """Cut empty cells at the end of rows, as far as no row has anything there."""
    used = max((i for row in grid.rows for i, cell in enumerate(row, 1) if cell.text), default=0)
    grid.rows = [row[:used] for row in grid.rows]


def _part_titles(grid: Grid) -> None:
    """Take out lines that are no rows: a title, and words below the table."""
    widths = Counter(len(row) for row in grid.rows)
    if not any(width > 1 for width in widths):
        return
    kept: list[Row] = []
    for row in grid.rows:
        first, others = row[0], row[1:]
        alone = bool(first.text) and not any(cell.text for cell in others)
        may_be_row = kept and others and (len(first.text) <= _LONGEST_SIZE or _is_measure(first))
        if not alone or may_be_row:
            kept.append(row)
            continue
        if kept and re.search(r"[0-9]", first.text):
            grid.strays.append(first)
            continue
        grid.notes.append(
            _problem(
                "line_passed_over",
                say("Passed over, no row of sizes: '{text}'.", text=first.text[:80]),
                say("Look whether it says anything a size depends on."),
                line=first.line,
                level=ProblemLevel.NOTE,
            )
        )
    grid.rows = kept


def _is_measure(cell: GridCell) -> bool:
    """Whether it heads a row of a table that stands side by side, all of whose cells are empty."""
    return read_heading(cell.text).about_legs > 1


def _empty() -> Problem:
    return _problem(
        "table_empty",
        say("There is no table in this text."),
        say("Copy the table with its headings, one size in each row."),
    )


def _problem(
    code: str,
    text: str,
    mend: str,
    *,
    line: int | None = None,
    column: int | None = None,
    level: ProblemLevel = ProblemLevel.ERROR,
) -> Problem:
    key = None if column is None else say("column {number}", number=column)
    return Problem(code=code, text=text, mend=mend, line=line, key=key, level=level)
