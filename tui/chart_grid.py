"""The grid of the chart editor: where the cursor is, what is typed, what each key comes to.

No screen: tested without one. Cells keep what was typed; a size or a low end that would follow is
proposed, and nothing proposed is taken without a key.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast

from fitcore.tables.table_sizes import split_size
from fitcore.units import UNITS
from fitcore.words import say
from tui.chart_proposals import next_name, proposed_low, table_column
from tui.chart_table_state import (
    FIRST,
    HEADINGS,
    SIZE,
    GridColumn,
    GridRow,
    GridTable,
    typed_column,
)
from tui.typed_range import as_range

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.profile_models import Ranges
    from fitcore.record.entries import Value
    from fitcore.tables.table_meanings import Question
    from fitcore.units import Unit

_LONGEST = 60
"""Characters of one cell while it is typed; ours. A pasted cell is kept whole."""
_MOST_UNDONE = 200
_CHOICES = "123456789abcdefgh"
"""Keys that choose an answer to a question."""


@dataclass(frozen=True, slots=True)
class _Before:
    """What undo goes back to."""

    table: GridTable
    row: int
    place: int


class ChartGrid:
    """A size table that is being typed, and what its leaflet says beside it."""

    def __init__(
        self,
        table: GridTable | None = None,
        head: Mapping[str, Value] | None = None,
        *,
        ranges: Ranges | None = None,
    ) -> None:
        """Lay out a grid.

        Args:
            table: what is there already.
            head: what the leaflet says beside it, by the keys of `chart_head_form`.
            ranges: what legs can be; without them digits are never parted.
        """
        self.table = table or GridTable()
        self.head: dict[str, Value] = dict(head or {})
        self.row, self.place = (0, FIRST) if self.table.rows else (HEADINGS, FIRST)
        self.typed: str | None = None
        """The present cell as it is being typed; None where nobody is typing."""
        self.remarks: list[str] = []
        """What was said of a paste, kept in sight."""
        self.opened = ""
        """Digest of the chart file this was opened from; empty where it is from none."""
        self._ranges = ranges
        self._undo: list[_Before] = []
        self._put_off: set[str] = set()

    # --- what there is -----------------------------------------------------------------------

    @property
    def unit(self) -> Unit | None:
        """The table's unit; None while nobody has said it."""
        return next((unit for unit in UNITS if unit == self.head.get("unit")), None)

    @property
    def shown(self) -> str:
        """What stands in the present cell."""
        return self.typed if self.typed is not None else self.table.text(self.row, self.place)

    @property
    def question(self) -> Question | None:
        """The first thing only the leaflet can answer, unless it was put off."""
        for at, column in enumerate(self.table.columns):
            if column.question is not None and f"{at}:{column.heading}" not in self._put_off:
                return column.question
        return None

    @property
    def asks_unit(self) -> bool:
        """Whether the unit must be said first: without it no number means anything."""
        return self.unit is None

    @property
    def proposed(self) -> GridRow:
        """Size and variant that would come next, in the row below the last; else an empty row."""
        if self.row < len(self.table.rows):
            return GridRow()
        return GridRow(*next_name(self.table.rows))

    @property
    def proposed_size(self) -> str:
        """The same in words."""
        return f"{self.proposed.size} {self.proposed.variant}".strip()

    @property
    def proposed_low(self) -> str:
        """The low end `-` would take in the present, empty cell; empty where there is none."""
        if self.row == HEADINGS or self.shown:
            return ""
        return proposed_low(self.table, self.row, self.place, self.unit, self.head)

    def reading(self) -> str:
        """Return what the present cell says so far, with its separator."""
        column = self.table.column(self.place)
        if self.row == HEADINGS or column is None:
            return self.shown
        return self._as_range(self.shown, column)

    # --- keys --------------------------------------------------------------------------------

    def type(self, sign: str) -> str:
        """Take a typed character; the first one begins the cell anew.

        Returns:
            What is wrong with it; empty where it was taken.
        """
        if self.typed is None and sign in "- " and self.row != HEADINGS:
            low = self.proposed_low
            if low:
                self.typed = f"{low}-"
                return ""
        if len(self.typed or "") >= _LONGEST:
            return say("That is longer than a cell.")
        self.typed = (self.typed or "") + sign
        return ""

    def erase(self) -> None:
        """Take the last character of the present cell away."""
        self.typed = self.shown[:-1]

    def drop_typed(self) -> bool:
        """Put the present cell back as it was; whether anything was being typed."""
        was = self.typed is not None
        self.typed = None
        return was

    def enter(self) -> str:
        """Take the cell and go on: across, then to the first range of the next row.

        Returns:
            What a person should know; empty where all is well.
        """
        if self.row == HEADINGS:
            return self._enter_heading()
        beyond = self.row >= len(self.table.rows)
        if beyond and not (self.typed or "").strip():
            self.typed = None
        if beyond and self.typed is None and (self.place != SIZE or not self.proposed_size):
            if self.place == SIZE:
                return say("Type the size. F6 saves when the table is whole.")
            return say("The table ends here. Type the next size's range, or F6 saves.")
        self.commit()
        if self.place + 1 < FIRST + len(self.table.columns):
            self.place = max(FIRST, self.place + 1)
        else:
            self.row += 1
            known = self.row < len(self.table.rows) or bool(self.proposed_size)
            self.place = FIRST if known else SIZE
        return ""

    def move(self, down: int = 0, across: int = 0) -> None:
        """Take the cell and go to another."""
        self.commit()
        self.row = max(HEADINGS, min(len(self.table.rows), self.row + down))
        last = FIRST + len(self.table.columns) - (0 if self.row == HEADINGS else 1)
        self.place = max(0, min(max(last, 0), self.place + across))
        if self.row == HEADINGS:
            self.place = max(FIRST, self.place)

    def go_to(self, row: int, place: int) -> None:
        """Take the cell and go to a certain one."""
        self.commit()
        self.row, self.place = row, place

    def commit(self) -> None:
        """Write what is being typed into its cell."""
        if self.typed is None:
            return
        text = " ".join(self.typed.split())
        self.typed = None
        if text == self.table.text(self.row, self.place):
            return
        if self.row == HEADINGS:
            self._set_heading(text)
            return
        column = self.table.column(self.place)
        if column is not None:
            text = self._as_range(text, column)
        beyond = self.row >= len(self.table.rows)
        row = self.proposed if beyond else self.table.rows[self.row]
        if self.place == SIZE and (beyond or not row.variant):
            size, variant = split_size(text)
            row = replace(row, size=size, variant=variant)
        else:
            row = row.with_text(self.place, text)
        self._change(self.table.with_row(self.row, row))

    def insert_row(self) -> None:
        """Put an empty row above the present one."""
        self.commit()
        if 0 <= self.row < len(self.table.rows):
            rows = self.table.rows
            self._change(
                replace(self.table, rows=(*rows[: self.row], GridRow(), *rows[self.row :]))
            )
            self.place = SIZE

    def delete_row(self) -> str:
        """Take the present row out.

        Returns:
            What was taken out, in words.
        """
        self.typed = None
        if not 0 <= self.row < len(self.table.rows):
            return say("There is no row here to take out.")
        rows = self.table.rows
        self._change(replace(self.table, rows=(*rows[: self.row], *rows[self.row + 1 :])))
        return say("Row {number} was taken out. F7 brings it back.", number=self.row + 1)

    def delete_column(self) -> str:
        """Take the present column out.

        Returns:
            What was taken out, in words.
        """
        self.typed = None
        column = self.table.column(self.place)
        if column is None:
            return say("There is no column here to take out.")
        at = self.place - FIRST
        columns = self.table.columns
        self._change(
            GridTable(
                (*columns[:at], *columns[at + 1 :]),
                tuple(row.without_cell(at) for row in self.table.rows),
            )
        )
        self.place = max(FIRST if self.row == HEADINGS else SIZE, self.place - 1)
        return say("Column {name} was taken out. F7 brings it back.", name=column.heading)

    def undo(self) -> str:
        """Take the last change back.

        Returns:
            What was done, in words.
        """
        if self.drop_typed():
            return say("The cell stands as it was.")
        if not self._undo:
            return say("There is nothing to take back.")
        before = self._undo.pop()
        self.table, self.row, self.place = before.table, before.row, before.place
        return say("Taken back.")

    def replace_table(self, table: GridTable, row: int, place: int) -> None:
        """Take another table, as after a paste; undo brings the present one back."""
        self.typed = None
        self._change(table)
        self.row, self.place = row, place

    # --- questions ---------------------------------------------------------------------------

    def choose(self, key: str) -> bool:
        """Answer what is asked, by its key; whether it was one of the answers."""
        choices = self.choices
        at = _CHOICES.find(key)
        if not key or not 0 <= at < len(choices):
            return False
        question = self.question
        if self.asks_unit:
            self.head["unit"] = choices[at]
        elif question is not None:
            index = next(n for n, c in enumerate(self.table.columns) if c.question is question)
            column = self.table.columns[index].meant(choices[at])
            self._change(self.table.with_column(index, column))
            if self.row == HEADINGS and self.place == FIRST + index:
                self.place += 1
        return True

    def put_off(self) -> None:
        """Leave the question in front for later."""
        question = self.question
        for at, column in enumerate(self.table.columns):
            if question is not None and column.question is question:
                self._put_off.add(f"{at}:{column.heading}")

    def ask_again(self) -> None:
        """Ask what was put off once more."""
        self._put_off.clear()

    @property
    def choices(self) -> tuple[str, ...]:
        """Answers to what is asked now."""
        if self.asks_unit:
            return cast("tuple[str, ...]", UNITS)
        return self.question.choices if self.question is not None else ()

    @property
    def choice_keys(self) -> tuple[tuple[str, str], ...]:
        """(key, answer) of what is asked now."""
        return tuple(zip(_CHOICES, self.choices, strict=False))

    # -----------------------------------------------------------------------------------------

    def _enter_heading(self) -> str:
        new = self.table.column(self.place) is None
        if new and not (self.typed or "").strip():
            self.typed = None
            if not self.table.columns:
                return say("Type what the first column measures.")
            self.row, self.place = 0, FIRST if self.table.rows else SIZE
            return ""
        self.commit()
        column = self.table.column(self.place)
        if column is not None and column.question is None:
            self.place += 1
        return ""

    def _set_heading(self, text: str) -> None:
        at = self.place - FIRST
        before = self.table.column(self.place)
        if not text and before is None:
            return
        self._change(self.table.with_column(at, typed_column(text, before)))

    def _as_range(self, text: str, column: GridColumn) -> str:
        known = table_column(column, self.unit)
        return text if known is None else as_range(text, known, self._ranges)

    def _change(self, table: GridTable) -> None:
        self._undo.append(_Before(self.table, self.row, self.place))
        del self._undo[:-_MOST_UNDONE]
        self.table = table
