"""A chart's coverage as rows of text: sizes as letters, people as density beside them. Pure.

Every field of the picture is two cells: which size, how many people. Nothing hangs on a colour.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from typing import TYPE_CHECKING

from fitcore.coverage.coverage_plane import Axis, Plane
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fitcore.charts.chart import Chart
    from fitcore.coverage.leg_set import LegValues

LEAST_WIDTH, LEAST_HEIGHT = 32, 14
"""A smaller picture shows nothing; asked for less, it is drawn this large."""

_SHADES = "░▒▓█"
_SHADES_ASCII = ".:o#"
_MARGIN = 7
"""Cells left of the picture: a figure of five, a blank and the axis."""
FEWEST_ROWS = 5
"""Rows of the picture itself that a long legend leaves (ours)."""


def coverage_picture(
    chart: Chart,
    legs: Iterable[LegValues],
    width: int,
    height: int,
    ascii: bool = False,  # noqa: A002, FBT001, FBT002 - the word for it
) -> list[str]:
    """Draw a chart and a set of legs: ankle girth across, calf up, where the chart has both.

    Args:
        chart: the chart.
        legs: the values used of each.
        width: cells a row may have.
        height: rows it may have; a chart of very many sizes may need more for its legend.
        ascii: use no character outside ASCII for the people.

    Returns:
        Rows from the top: what is drawn, the picture with figures at its axes, the legend.
    """
    width, height = max(width, LEAST_WIDTH), max(height, LEAST_HEIGHT)
    plane = Plane(chart, legs)
    shades = _SHADES_ASCII if ascii else _SHADES
    return (
        _flat(plane, width, height, shades)
        if plane.y is None
        else _planar(plane, plane.y, width, height, shades)
    )


def _planar(plane: Plane, up: Axis, width: int, height: int, shades: str) -> list[str]:
    columns = (width - _MARGIN) // 2
    head = say("Up: {up}. Across: {across}.", up=up.words, across=plane.x.words)

    def counted(rows: int) -> Counter[tuple[int, int]]:
        return Counter((_field(up, y, rows), _field(plane.x, x, columns)) for x, y in plane.points)

    # The legend's own length hangs on the counts, and these on the rows left: the finest grid that
    # could be is counted for its length, the last one for what is drawn.
    foot = _legend(plane, max(counted(height).values(), default=0), shades, width)
    rows = max(height - len(foot) - 3, FEWEST_ROWS)
    count = counted(rows)
    most = max(count.values(), default=0)
    figures = _row_figures(up, rows)
    lines = []
    for row in reversed(range(rows)):
        fields = [
            plane.sign_at(_centre(plane.x, column, columns), _centre(up, row, rows))
            + _shade(count[row, column], most, shades)
            for column in range(columns)
        ]
        lines.append(f"{figures.get(row, ''):>5} {'+' if row in figures else '|'}{''.join(fields)}")
    return _trimmed(
        [head, *lines, *_across(plane.x, columns, 2), *_legend(plane, most, shades, width)]
    )


def _flat(plane: Plane, width: int, height: int, shades: str) -> list[str]:
    """Draw one measure: people piled up along it, the sizes on a line below."""
    columns = width - _MARGIN
    count = Counter(_field(plane.x, x, columns) for x, _ in plane.points)
    most = max(count.values(), default=0)
    foot = _legend(plane, 0, shades, width)
    rows = max(height - len(foot) - 4, FEWEST_ROWS)
    head = say("Up: people. Across: {across}.", across=plane.x.words)
    lines = []
    for row in reversed(range(rows)):
        # The top row is the fullest place; a place with anybody shows at least one sign.
        bars = "".join(
            shades[-1] if count[column] and count[column] * rows > row * most else " "
            for column in range(columns)
        )
        figure = str(most) if row == rows - 1 else ("0" if row == 0 else "")
        lines.append(f"{figure:>5} {'+' if figure else '|'}{bars}")
    signs = "".join(plane.sign_at(_centre(plane.x, c, columns), 0) for c in range(columns))
    return _trimmed([head, *lines, *_across(plane.x, columns, 1), f"{'':{_MARGIN}}{signs}", *foot])


def _across(axis: Axis, columns: int, cells: int) -> list[str]:
    """Return the axis below the picture and its figures."""
    line, figures = ["-"] * (columns * cells), [" "] * (columns * cells)
    free = 0
    for tick in axis.ticks(columns * cells // 8):
        at = _field(axis, tick, columns) * cells
        text = f"{tick:g}"
        start = min(max(at - len(text) // 2, 0), columns * cells - len(text))
        line[at] = "+"
        if start >= free:
            figures[start : start + len(text)] = text
            free = start + len(text) + 1
    return [f"{'':{_MARGIN - 1}}+{''.join(line)}", f"{'':{_MARGIN}}{''.join(figures)}"]


def _row_figures(axis: Axis, rows: int) -> dict[int, str]:
    return {_field(axis, tick, rows): f"{tick:g}" for tick in axis.ticks(rows // 2)}


def _legend(plane: Plane, most: int, shades: str, width: int) -> list[str]:
    # A size's name stays in one piece.
    several = [f"{r.sign} = {r.words}".replace(" ", "\u00a0") for r in plane.regions]
    told = [
        say("Sizes: {signs}.", signs="  ".join(several)),
        say("Capital: several sizes hold, the chart does not say which is taken. Blank: no size.")
        if plane.asks
        else say("Capital: several sizes hold, the chart's rule takes this one. Blank: no size."),
    ]
    if most:
        told.append(say("People in a field: {shades}.", shades="  ".join(_scale(most, shades))))
    return [
        line.replace("\u00a0", " ")
        for text in (*told, *plane.remarks())
        for line in textwrap.wrap(text, width, break_on_hyphens=False)
    ]


def _scale(most: int, shades: str) -> list[str]:
    """Say how many people each shade stands for."""
    told = []
    for number, shade in enumerate(shades):
        low, high = number * most // len(shades) + 1, (number + 1) * most // len(shades)
        if low <= high:
            told.append(f"{shade} {low}" if low == high else f"{shade} {low}-{high}")
    return told


def _shade(count: int, most: int, shades: str) -> str:
    return shades[(count * len(shades) - 1) // most] if count else " "


def _field(axis: Axis, place: float, fields: int) -> int:
    share = (place - axis.low) / (axis.high - axis.low)
    return min(int(share * fields), fields - 1)


def _centre(axis: Axis, field: int, fields: int) -> float:
    return axis.low + (field + 0.5) * (axis.high - axis.low) / fields


def _trimmed(lines: Sequence[str]) -> list[str]:
    return [line.rstrip() for line in lines]
