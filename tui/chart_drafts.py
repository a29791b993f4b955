"""A typed chart to the text of its draft and back, and a chart file to a grid to edit."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.shoes import SHOE_SYSTEMS
from fitcore.tables.chart_text import write_chart
from fitcore.tables.table_headings import read_heading
from fitcore.tables.table_meanings import read_meaning, shoe_meaning
from fitcore.units import UNITS
from tui.chart_grid import ChartGrid
from tui.chart_head_form import head_of_values
from tui.chart_table_state import FIRST, HEADINGS, GridColumn, GridRow, GridTable, spec_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.profile_models import Ranges
    from fitcore.record.entries import Value
    from fitcore.tables.table_meanings import Meaning, Question
    from fitcore.units import Unit

_KEPT = ("posture",)
"""Keys of a dimension the grid does not show."""


def draft_text(grid: ChartGrid, edits: str) -> str:
    """Return the text of a draft: everything typed, the half-typed cell and its place, too.

    Args:
        grid: the grid.
        edits: id of the chart that is being edited; empty for a new one.
    """
    table = grid.table
    return write_chart(
        {
            "format": 1,
            "draft": True,
            "edits": edits,
            "opened": grid.opened,
            "row": grid.row,
            "place": grid.place,
            "typed": grid.typed,
            "head": dict(grid.head),
            "columns": [
                {
                    "heading": column.heading,
                    "meaning": spec_of(column.meaning) if column.meaning is not None else None,
                    "unit": column.unit,
                    "own_id": column.own_id or None,
                    **column.kept,
                }
                for column in table.columns
            ],
            "rows": [
                {"size": row.size, "variant": row.variant, "cells": list(row.cells)}
                for row in table.rows
            ],
        }
    )


def without_place(text: str) -> str:
    """Return a draft's text without where the cursor is: moving alone is no change."""
    return "\n".join(
        line for line in text.split("\n") if not line.startswith(("row = ", "place = "))
    )


def grid_of_draft(values: Mapping[str, object], ranges: Ranges | None) -> tuple[ChartGrid, str]:
    """Return the grid a draft stands for, and the id of the chart it edits.

    A draft somebody changed by hand is read as far as it can be.
    """
    head = dict(_items(values.get("head")))
    columns = []
    for found in _tables(values.get("columns")):
        heading = _text(found.get("heading"))
        meaning = read_meaning(_text(found.get("meaning")))
        column = GridColumn(heading, meaning, unit=_unit(found.get("unit")))
        if meaning is None:
            column = replace(column, question=_question(heading))
        kept = {key: found[key] for key in _KEPT if key in found}
        columns.append(replace(column, own_id=_text(found.get("own_id")), kept=kept))
    rows = tuple(
        GridRow(_text(row.get("size")), _text(row.get("variant")), _texts(row.get("cells")))
        for row in _tables(values.get("rows"))
    )
    grid = ChartGrid(GridTable(tuple(columns), rows), _head(head), ranges=ranges)
    grid.opened = _text(values.get("opened"))
    row, place, typed = values.get("row"), values.get("place"), values.get("typed")
    if isinstance(row, int) and isinstance(place, int):
        last = FIRST + len(columns)
        if HEADINGS <= row <= len(rows) and 0 <= place <= last:
            grid.row, grid.place = row, max(place, FIRST if row == HEADINGS else 0)
    if isinstance(typed, str):
        grid.typed = _text(typed)
    return grid, _text(values.get("edits"))


def grid_of_chart(values: Mapping[str, object], ranges: Ranges | None) -> ChartGrid:
    """Return the grid of a chart file, every number as it is printed there.

    Args:
        values: the file as `tomllib` reads it, numbers as Decimal.
        ranges: what legs can be.
    """
    columns: list[GridColumn] = []
    ids = []
    head = head_of_values(values)
    for found in _tables(values.get("dimensions")):
        meaning = _meaning(found)
        ids.append(_text(found.get("id")))
        heading = meaning.words if meaning is not None else ids[-1]
        own = ids[-1] if meaning is None or ids[-1] != meaning.id else ""
        kept = {key: found[key] for key in _KEPT if key in found}
        question = _question(heading) if meaning is None else None
        columns.append(GridColumn(heading, meaning, question, own_id=own, kept=kept))
        if isinstance(found.get("gap"), str):
            head[f"gap_{columns[-1].id}"] = _text(found["gap"])
        step = found.get("step")
        if isinstance(step, int | Decimal):
            head["shoe_step"] = Decimal(step)
    rows = tuple(
        GridRow(
            _text(row.get("size")),
            _text(row.get("variant")),
            tuple(_printed(row.get(name)) for name in ids),
        )
        for row in _tables(values.get("sizes"))
    )
    return ChartGrid(GridTable(tuple(columns), rows), head, ranges=ranges)


# -------------------------------------------------------------------------------------------------


def _meaning(dimension: Mapping[str, object]) -> Meaning | None:
    system = next((s for s in SHOE_SYSTEMS if s == dimension.get("system")), None)
    if system is not None:
        return shoe_meaning(system)
    return read_meaning(f"{dimension.get('point')} {dimension.get('kind')}")


def _question(heading: str) -> Question | None:
    question = read_heading(heading).question
    return question if question is not None else read_heading("").question


def _printed(value: object) -> str:
    ends = value if isinstance(value, list) else [value]
    words = [f"{end:f}" if isinstance(end, Decimal) else _text(end) for end in ends]
    return "-".join(words)


def _head(found: Mapping[str, object]) -> dict[str, Value]:
    head: dict[str, Value] = {}
    for key, value in found.items():
        if key in ("step_mm", "shoe_step"):
            if isinstance(value, int | Decimal):
                head[key] = Decimal(value)
        elif isinstance(value, str | date):
            head[key] = clean(value).text if isinstance(value, str) else value
    return head


def _items(value: object) -> list[tuple[str, object]]:
    return list(value.items()) if isinstance(value, dict) else []


def _tables(value: object) -> list[Mapping[str, object]]:
    found = value if isinstance(value, list) else []
    return [row for row in found if isinstance(row, dict)]


def _texts(value: object) -> tuple[str, ...]:
    return tuple(_text(item) for item in value) if isinstance(value, list) else ()


def _text(value: object) -> str:
    if value is None:
        return ""
    return clean(value if isinstance(value, str) else str(value)).text


def _unit(value: object) -> Unit | None:
    return next((unit for unit in UNITS if unit == value), None)
