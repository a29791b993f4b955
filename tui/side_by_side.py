"""Values side by side as rows of text: one column for each, as many as the width holds. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import wrap
from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size

from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

NARROWEST = 24
"""Columns a value needs so that names and times are whole (ours)."""
_BETWEEN = 2


@dataclass(frozen=True, slots=True)
class Block:
    """One value: its heading and what stands below it."""

    heading: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One row of text; `marked` is the stretch of it to draw as marked, if any."""

    text: str
    marked: tuple[int, int] | None = None


def side_by_side(
    blocks: Sequence[Block], marked: int, width: int, height: int
) -> tuple[list[Row], bool]:
    """Lay values out beside each other.

    Args:
        blocks: the values.
        marked: number of the marked one from 0, negative where none is.
        width: columns there are.
        height: rows there are; at least 3.

    Returns:
        The rows, and whether anything did not fit: then the last row says so.
    """
    if not blocks:
        return [], False
    fitting = max(1, min(len(blocks), (width + _BETWEEN) // (NARROWEST + _BETWEEN)))
    first = max(0, min(max(marked, 0) - fitting + 1, len(blocks) - fitting))
    shown = blocks[first : first + fitting]
    column = (width - _BETWEEN * (fitting - 1)) // fitting
    cells = [
        _cells(block, number == marked, number, column) for number, block in enumerate(shown, first)
    ]
    tall = max(len(lines) for lines in cells)
    hidden = len(blocks) - fitting
    is_cut = tall > height or hidden > 0
    rows = []
    for line in range(min(tall, height - 1 if is_cut else height)):
        parts = [set_cell_size(lines[line] if line < len(lines) else "", column) for lines in cells]
        text = (" " * _BETWEEN).join(parts)
        at = marked - first
        heads = len(wrap(shown[at].heading, column - 4)) if 0 <= at < fitting else 0
        start = at * (column + _BETWEEN)
        rows.append(Row(text, (start, start + column) if line < heads else None))
    if is_cut:
        told = [say("{count} more values: ← →", count=hidden)] if hidden else []
        told += [say("F5 shows all of it")] if tall > height - 1 else []
        rows.append(Row("   ".join(told)))
    return rows, is_cut


def _cells(block: Block, is_marked: bool, number: int, width: int) -> list[str]:  # noqa: FBT001 - private, one use
    """Return one column's lines, none wider than it."""
    sign = ">" if is_marked else " "
    heading = wrap(block.heading, width - 4, break_on_hyphens=False) or [""]
    lines = [f"{sign} {number + 1} {heading[0]}", *(f"    {more}" for more in heading[1:])]
    for line in block.lines:
        lines += [f"  {part}" for part in _wrapped(line, width - 2)]
    return [line if cell_len(line) <= width else set_cell_size(line, width) for line in lines]


def _wrapped(line: str, width: int) -> list[str]:
    return wrap(line, width, break_on_hyphens=False, subsequent_indent="  ") or [""]
