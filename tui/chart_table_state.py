"""A size table that is being typed: its columns, its rows, and every cell as it was typed."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from fitcore.points import Kind, Point
from fitcore.tables.table_headings import read_heading
from fitcore.tables.table_meanings import Meaning, Question, read_meaning
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.units import Unit

SIZE, VARIANT, FIRST = 0, 1, 2
"""Places across a row: the size, its variant, then the ranges."""
HEADINGS = -1
"""Row of the headings."""

_SHORT = re.compile(r"([cl]?)(b1|[aybcdefgkht])|(eu|uk|mondo)|(foot)")


@dataclass(frozen=True, slots=True)
class GridColumn:
    """One column of ranges."""

    heading: str
    """As typed or printed."""
    meaning: Meaning | None = None
    question: Question | None = None
    """What must be said before it has a meaning."""
    unit: Unit | None = None
    """Its own, where the heading names one."""
    own_id: str = ""
    """Id of the dimension in the file it was read from."""
    kept: Mapping[str, object] = field(default_factory=dict)
    """Keys of its dimension that nothing here shows: a posture of its own."""

    @property
    def is_measure(self) -> bool:
        """Whether it is written into the chart."""
        return self.meaning is not None and self.meaning.use == "measure"

    @property
    def words(self) -> str:
        """What it means, for people; empty while that is open."""
        return self.meaning.words if self.meaning is not None else ""

    @property
    def shown(self) -> str:
        """Its heading for a narrow column: as printed, else letter and place."""
        meaning = self.meaning
        if meaning is None or self.heading != self.words or meaning.point is None:
            return self.heading
        if meaning.system is not None:
            return say("shoe {system}", system=meaning.system)
        if meaning.kind is Kind.LENGTH:
            if meaning.point is Point.FOOT:
                return self.heading
            return say("{point} height", point=meaning.point)
        place = re.sub(r" \(.*\)$", "", self.heading).removeprefix(say("round the")).strip()
        return f"{meaning.point} {place}"

    @property
    def id(self) -> str:
        """Name of its dimension in the chart file."""
        if self.own_id or self.meaning is None:
            return self.own_id
        return self.meaning.id

    def meant(self, spec: str) -> GridColumn:
        """Return it with the meaning somebody chose: `B girth`, `shoe eu`, `skip`."""
        meaning = read_meaning(spec)
        return self if meaning is None else replace(self, meaning=meaning, question=None, own_id="")


@dataclass(frozen=True, slots=True)
class GridRow:
    """One size."""

    size: str = ""
    variant: str = ""
    cells: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether nothing stands in it."""
        return not (self.size or self.variant or any(self.cells))

    def text(self, place: int) -> str:
        """Return what stands at a place across; empty where nothing does."""
        if place == SIZE:
            return self.size
        if place == VARIANT:
            return self.variant
        at = place - FIRST
        return self.cells[at] if at < len(self.cells) else ""

    def with_text(self, place: int, text: str) -> GridRow:
        """Return it with another text at a place."""
        if place == SIZE:
            return replace(self, size=text)
        if place == VARIANT:
            return replace(self, variant=text)
        at = place - FIRST
        cells = [*self.cells, *[""] * (at + 1 - len(self.cells))]
        cells[at] = text
        return replace(self, cells=tuple(cells))

    def without_cell(self, at: int) -> GridRow:
        """Return it without the cell of one column."""
        return replace(self, cells=(*self.cells[:at], *self.cells[at + 1 :]))


@dataclass(frozen=True, slots=True)
class GridTable:
    """The whole table as it stands."""

    columns: tuple[GridColumn, ...] = ()
    rows: tuple[GridRow, ...] = ()

    def column(self, place: int) -> GridColumn | None:
        """Return the column at a place across, or None for size, variant and beyond."""
        at = place - FIRST
        return self.columns[at] if 0 <= at < len(self.columns) else None

    def text(self, row: int, place: int) -> str:
        """Return the text of one cell; the headings are row -1."""
        if row < 0:
            column = self.column(place)
            return column.heading if column is not None else ""
        return self.rows[row].text(place) if row < len(self.rows) else ""

    def with_row(self, at: int, row: GridRow) -> GridTable:
        """Return it with a row put in the place of another, or at its end."""
        return replace(self, rows=(*self.rows[:at], row, *self.rows[at + 1 :]))

    def with_column(self, at: int, column: GridColumn) -> GridTable:
        """Return it with a column put in the place of another, or at its end."""
        return replace(self, columns=(*self.columns[:at], column, *self.columns[at + 1 :]))

    @property
    def has_variants(self) -> bool:
        """Whether any size names one."""
        return any(row.variant for row in self.rows)


def typed_column(text: str, before: GridColumn | None = None) -> GridColumn:
    """Read a heading as it is typed in the editor.

    Args:
        text: the editor's own short form, whose meaning the screen shows in words before Enter
            (`b` or `cb` the girth at B, `ld` the height of D, `eu` a shoe size, `foot` its
            length), a meaning such as `B girth`, or the heading as it is printed.
        before: the column it takes the place of; what the grid does not show of it stays.
    """
    folded = " ".join(text.casefold().split())
    kept = before.kept if before is not None else {}
    short = _SHORT.fullmatch(folded)
    if short is not None:
        sign, letter, shoe, _ = short.groups()
        if letter:
            spec = f"{letter} {'length' if sign == 'l' else 'girth'}"
        else:
            spec = f"shoe {shoe}" if shoe else "foot length"
    else:
        spec = folded
    meaning = read_meaning(spec)
    if meaning is not None and meaning.use in ("measure", "skip"):
        return GridColumn(meaning.words, meaning, kept=kept)
    heading = read_heading(text)
    return GridColumn(text, heading.meaning, heading.question, heading.unit, kept=kept)


def spec_of(meaning: Meaning) -> str:
    """Return the words `read_meaning` understands for a meaning."""
    if meaning.system is not None:
        return f"shoe {meaning.system}"
    if meaning.point is None:
        return meaning.use
    return f"{meaning.point} {meaning.kind}".lower()
