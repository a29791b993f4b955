"""A chart's rows as boxes: one range per dimension, with the printed table's step closed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from fitcore.charts.gap_rules import sizes_meet
from fitcore.points import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitcore.charts.chart import Chart, ChartSize, Dimension

    Range = tuple[Decimal, Decimal]


@dataclass(frozen=True, slots=True)
class Edges:
    """One size's range in one dimension, in the dimension's own scale (mm, or sizes)."""

    low: Decimal
    high: Decimal
    high_inside: bool = True
    """False where the upper edge is a midpoint, which goes to the larger size."""
    low_inside: bool = True
    """False where the range was stretched down to the next smaller one, whose edge that is."""

    def holds(self, value: Decimal) -> bool:
        """Whether the value lies inside; printed edges are inside."""
        above = self.low < value or (self.low_inside and self.low == value)
        below = value < self.high or (self.high_inside and self.high == value)
        return above and below

    def shortfall(self, value: Decimal) -> Decimal:
        """How far outside the value lies; zero inside, and on an edge that is another size's."""
        return max(self.low - value, value - self.high, Decimal(0))

    def edge_of_another(self, value: Decimal) -> Literal["larger", "smaller"] | None:
        """Which neighbour's the edge is that the value lies on; None off such an edge."""
        if value == self.high and not self.high_inside:
            return "larger"
        return "smaller" if value == self.low and not self.low_inside else None

    def margin(self, value: Decimal) -> Decimal:
        """Distance to the nearer edge, negative outside."""
        return min(value - self.low, self.high - value)


@dataclass(frozen=True, slots=True)
class Box:
    """One size as a box."""

    size: ChartSize
    edges: dict[str, Edges]

    def holds(self, values: dict[str, Decimal]) -> bool:
        """Whether all values lie inside."""
        return all(self.edges[dimension].holds(value) for dimension, value in values.items())


def chart_boxes(chart: Chart) -> tuple[Box, ...]:
    """Turn a chart's rows into boxes, closing the gaps that are only the printed table's step.

    Ranges at most one step apart meet at the midpoint, and the midpoint goes to the larger size:
    in a table that prints 21-22.9 / 23-24.9 nobody is 22.95 and fits none. A wider gap is closed
    only where the chart says so (`Dimension.gap`).
    """
    columns = {d.id: column_edges(chart, d) for d in chart.dimensions}
    return tuple(
        Box(row, {name: columns[name][pair] for name, pair in row.ranges.items()})
        for row in chart.sizes
    )


def column_edges(chart: Chart, dimension: Dimension) -> dict[Range, Edges]:
    """Return the edges of each range printed in one column, in the column's own scale."""
    step = printed_step(chart, dimension)
    printed = {row.ranges[dimension.id] for row in chart.sizes}
    edges = {pair: _close(pair, printed, step) for pair in printed}
    for below, above in gaps(printed):
        meet = sizes_meet(dimension.gap, below, above) if above - below > step else None
        if meet is None:
            continue
        for pair, edge in edges.items():
            if pair[1] == below and meet != below:
                edges[pair] = replace(edge, high=meet, high_inside=False)
            elif pair[0] == above:
                edges[pair] = replace(edge, low=meet, low_inside=meet != below)
    return edges


def printed_step(chart: Chart, dimension: Dimension) -> Decimal:
    """Return the step of a column's printed table, in the column's own scale."""
    return (dimension.step or Decimal(0)) if dimension.kind is Kind.SHOE else chart.step_mm


def gaps(printed: set[Range]) -> Iterator[Range]:
    """Yield (highest below, lowest above) wherever no printed range holds what lies between."""
    reached = None
    for (_, high), (next_low, _) in pairwise(sorted(printed)):
        reached = high if reached is None else max(reached, high)
        if next_low > reached:
            yield reached, next_low


def _close(pair: Range, printed: set[Range], step: Decimal) -> Edges:
    low, high = pair
    above = [other for other, _ in printed if high < other <= high + step]
    below = [other for _, other in printed if low - step <= other < low]
    return Edges(
        low=(low + max(below)) / 2 if below else low,
        high=(high + min(above)) / 2 if above else high,
        high_inside=not above,
    )
