"""A chart cut into cells within which every leg gets the same answer. Pure; worked out once.

Each dimension's axis is cut wherever the answer could change; what lies between two cuts is a
piece. A cell is one piece of each dimension, and its answer is `outcome` at a value inside it.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

from fitcore.charts.outcome import Outcome, ankle_column, boxes_of, once_per_chart, outcome

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from fitcore.charts.boxes import Box
    from fitcore.charts.chart import Chart

    Shares = Sequence[tuple[int, float]]
    """Kinds of pieces with the probability of each."""

FARTHEST = 7.0
"""Standard errors beyond which no cut is looked for: less than 3e-12 lies there (computed)."""

_BEFORE, _AFTER = 0, 2
_AT = 1
_ROOT_OF_TWO = math.sqrt(2)


class Axis:
    """One dimension of a chart, cut into pieces.

    Pieces that can be told apart by nothing (the same sizes hold, the same room decides) are of one
    kind, and a cell is known by its kinds.
    """

    __slots__ = ("_cut_values", "_kinds", "_places", "_stand_ins", "_thresholds", "name")

    def __init__(self, boxes: Sequence[Box], name: str, *, decides: bool) -> None:
        self.name = name
        met: dict[tuple[object, ...], int] = {}
        self._stand_ins: list[Decimal] = []
        """A value inside a piece of each kind."""
        self._kinds: list[int] = []
        """The kind of each piece, from the lowest values up."""
        self._places: list[tuple[Decimal, int]] = []
        """Cuts between pieces: a value, and whether the cut lies before or after it."""
        for cut, stand_in in _finest_pieces(boxes, name, decides=decides):
            kind = met.setdefault(_what_holds(boxes, name, stand_in, decides=decides), len(met))
            if kind == len(self._stand_ins):
                self._stand_ins.append(stand_in)
            if self._kinds and self._kinds[-1] == kind:
                continue
            self._kinds.append(kind)
            if cut is not None:
                self._places.append(cut)
        self._cut_values = [float(value) for value, _ in self._places]
        self._thresholds: dict[Decimal, list[float]] = {}

    @property
    def cuts(self) -> Sequence[tuple[Decimal, int]]:
        """Where the pieces part, in rising order."""
        return self._places

    @property
    def kinds(self) -> Sequence[int]:
        """The kind of each piece; one more than there are cuts."""
        return self._kinds

    def stand_in(self, kind: int) -> Decimal:
        """Return a value that lies in a piece of this kind."""
        return self._stand_ins[kind]

    def piece_of(self, value: Decimal) -> int:
        """Return the piece a value lies in."""
        return bisect_right(self._places, (value, _AT))

    def thresholds(self, step: Decimal) -> list[float]:
        """Return the unrounded value from which on a value rounded to the step is past each cut.

        Rounding is half up, from zero on, so half a step below a mark already counts as the mark.
        """
        if not step:
            return self._cut_values
        found = self._thresholds.get(step)
        if found is None:
            found = [_threshold(value, side, step) for value, side in self._places]
            self._thresholds[step] = found
        return found

    def shares(self, centre: float, error: float, step: Decimal) -> Shares:
        """Return how probable each kind of piece is for a fresh value.

        Args:
            centre: the value used, in the column's own scale.
            error: one standard error of a normal distribution; not 0.
            step: of the tape; 0 where the value is not rounded.
        """
        cuts = self.thresholds(step)
        first = bisect_right(cuts, centre - FARTHEST * error)
        last = bisect_right(cuts, centre + FARTHEST * error, lo=first)
        if first == last:
            return ((self._kinds[first], 1.0),)
        below = [
            0.5 * math.erfc((centre - cut) / (error * _ROOT_OF_TWO)) for cut in cuts[first:last]
        ]
        parts = [high - low for low, high in pairwise((0.0, *below, 1.0))]
        kinds = self._kinds[first : last + 1]
        if len(kinds) == len(set(kinds)):
            return tuple(zip(kinds, parts, strict=True))
        total = dict.fromkeys(kinds, 0.0)
        for kind, part in zip(kinds, parts, strict=True):
            total[kind] += part
        return tuple(total.items())

    def exact_share(self, value: Decimal, step: Decimal) -> Shares:
        """Return the kind of piece a value without any error comes to once it is rounded."""
        if step:
            return ((self._kinds[bisect_right(self.thresholds(step), float(value))], 1.0),)
        return ((self._kinds[self.piece_of(value)], 1.0),)


class Cells:
    """A chart's axes, and the outcome of every cell that was asked for."""

    __slots__ = ("_boxes", "_chart", "_numbers", "_outcomes", "_sizes", "axes")

    def __init__(self, chart: Chart) -> None:
        self._chart = chart
        self._boxes = boxes_of(chart)
        ankle = ankle_column(chart)
        self.axes = tuple(Axis(self._boxes, d.id, decides=d.id == ankle) for d in chart.dimensions)
        self._sizes = [max(axis.kinds) + 1 for axis in self.axes]
        self._outcomes: list[Outcome] = []
        # A cell as one number (the kinds as its digits) to its outcome's place in the list: sums
        # run over thousands of cells, and a number is looked up faster than an outcome.
        self._numbers: tuple[dict[int, int], dict[int, int]] = ({}, {})

    def at(self, kinds: Sequence[int], *, prescribed: bool) -> Outcome:
        """Return what a cell comes to; kinds in the order of the axes."""
        cell = 0
        for size, kind in zip(self._sizes, kinds, strict=True):
            cell = cell * size + kind
        found = self._numbers[prescribed].get(cell)
        return self._outcomes[self._judge(cell, prescribed) if found is None else found]

    def of(self, values: dict[str, Decimal], *, prescribed: bool) -> Outcome:
        """Return what a leg comes to, each value in its column's own scale."""
        kinds = [axis.kinds[axis.piece_of(values[axis.name])] for axis in self.axes]
        return self.at(kinds, prescribed=prescribed)

    def summed(self, shares: Sequence[Shares], *, prescribed: bool) -> dict[Outcome, float]:
        """Sum the cells by outcome, each the product of its pieces."""
        cells = [(0, 1.0)]
        for size, pieces in zip(self._sizes, shares, strict=True):
            cells = [
                (cell * size + kind, share * part) for cell, share in cells for kind, part in pieces
            ]
        known = self._numbers[prescribed]
        total: dict[int, float] = {}
        for cell, share in cells:
            found = known.get(cell)
            if found is None:
                found = self._judge(cell, prescribed)
            total[found] = total.get(found, 0.0) + share
        return {self._outcomes[found]: share for found, share in total.items()}

    def _judge(self, cell: int, prescribed: bool) -> int:  # noqa: FBT001 - asked in a loop
        values: dict[str, Decimal] = {}
        rest = cell
        for axis, size in zip(reversed(self.axes), reversed(self._sizes), strict=True):
            rest, kind = divmod(rest, size)
            values[axis.name] = axis.stand_in(kind)
        found = outcome(self._chart, self._boxes, values, prescribed=prescribed)
        if found not in self._outcomes:
            self._outcomes.append(found)
        number = self._outcomes.index(found)
        self._numbers[prescribed][cell] = number
        return number


@once_per_chart
def cells_of(chart: Chart) -> Cells:
    """Return a chart cut into cells, worked out once."""
    return Cells(chart)


def _finest_pieces(
    boxes: Sequence[Box], name: str, *, decides: bool
) -> Sequence[tuple[tuple[Decimal, int] | None, Decimal]]:
    """Return every piece that might differ from its neighbour: the cut below it, a value inside."""
    column = [box.edges[name] for box in boxes]
    marks = {edge for edges in column for edge in (edges.low, edges.high)}
    if decides:
        # Room in two sizes is equal only where one's lower half meets the other's upper half.
        marks |= {(one.low + other.high) / 2 for one in column for other in column}
    rising = sorted(marks)
    pieces: list[tuple[tuple[Decimal, int] | None, Decimal]] = [(None, rising[0] - 1)]
    for mark, following in pairwise((*rising, rising[-1] + 2)):
        pieces.append(((mark, _BEFORE), mark))
        pieces.append(((mark, _AFTER), (mark + following) / 2))
    return pieces


def _what_holds(
    boxes: Sequence[Box], name: str, value: Decimal, *, decides: bool
) -> tuple[object, ...]:
    """Return all that a decision can see of one value: rows that hold (most room last), or where.

    Outside all rows a decision asks only whether it is off the chart or in a gap.
    """
    held = [row for row, box in enumerate(boxes) if box.edges[name].holds(value)]
    if decides:
        held.sort(key=lambda row: (boxes[row].edges[name].margin(value), row))
    if held:
        return tuple(held)
    column = [box.edges[name] for box in boxes]
    inside_span = min(e.low for e in column) <= value <= max(e.high for e in column)
    return ("gap",) if inside_span else ("off",)


def _threshold(value: Decimal, side: int, step: Decimal) -> float:
    marks = Fraction(value) / Fraction(step)
    half = Fraction(1, 2)
    past = math.ceil(marks) - half if side == _BEFORE else math.floor(marks) + half
    return float(past * Fraction(step))
