"""A chart's rows as boxes: one range per dimension, with the printed table's step closed."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.points import Kind

if TYPE_CHECKING:
    from fitcore.charts.chart import Chart, ChartSize


@dataclass(frozen=True, slots=True)
class Edges:
    """One size's range in one dimension, in the dimension's own scale (mm, or sizes)."""

    low: Decimal
    high: Decimal
    high_inside: bool = True
    """False where the upper edge is a midpoint, which goes to the larger size."""

    def holds(self, value: Decimal) -> bool:
        """Whether the value lies inside; edges are inside."""
        return self.low <= value and (
            value < self.high or (self.high_inside and value == self.high)
        )

    def shortfall(self, value: Decimal) -> Decimal:
        """How far outside the value lies; zero inside."""
        return max(self.low - value, value - self.high, Decimal(0))

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
    in a table that prints 21-22.9 / 23-24.9 nobody is 22.95 and fits none.
    """
    columns: dict[str, dict[tuple[Decimal, Decimal], Edges]] = {}
    for dimension in chart.dimensions:
        step = (dimension.step or Decimal(0)) if dimension.kind is Kind.SHOE else chart.step_mm
        printed = {row.ranges[dimension.id] for row in chart.sizes}
        columns[dimension.id] = {pair: _close(pair, printed, step) for pair in printed}
    return tuple(
        Box(row, {name: columns[name][pair] for name, pair in row.ranges.items()})
        for row in chart.sizes
    )


def _close(
    pair: tuple[Decimal, Decimal], printed: set[tuple[Decimal, Decimal]], step: Decimal
) -> Edges:
    low, high = pair
    above = [other for other, _ in printed if high < other <= high + step]
    below = [other for _, other in printed if low - step <= other < low]
    return Edges(
        low=(low + max(below)) / 2 if below else low,
        high=(high + min(above)) / 2 if above else high,
        high_inside=not above,
    )
