"""The plane a chart's coverage is drawn in: two measures, sizes as regions, legs as points."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from string import ascii_lowercase, digits
from typing import TYPE_CHECKING

from fitcore.charts.boxes import chart_boxes
from fitcore.charts.outcome import ankle_column, most_room
from fitcore.charts.sizing import chart_values, dimension_words
from fitcore.coverage.coverage import looked_up
from fitcore.points import Kind, Point
from fitcore.shoes import system_words
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fitcore.charts.boxes import Box
    from fitcore.charts.chart import Chart, Dimension
    from fitcore.coverage.leg_set import LegValues

_SIGNS = ascii_lowercase
_MORE_SIGNS = digits
"""For charts with more than 26 regions; a digit has no capital, so overlaps show the same."""
_BESIDE = 0.08
"""How much beyond the chart's span is shown on each side, as a share of it; ours."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One measure as an axis, in cm or in shoe sizes."""

    dimension: Dimension
    low: float
    high: float

    @property
    def words(self) -> str:
        """What it is, with its unit: *ankle, cm*."""
        name = dimension_words(self.dimension.id)
        if self.dimension.system is None:
            return say("{name}, cm", name=name)
        return say("{name}, {system} sizes", name=name, system=system_words(self.dimension.system))

    def place(self, value: Decimal) -> float:
        """Return a value of the column's own scale in the axis's."""
        return float(value) / (10 if self.dimension.system is None else 1)

    def value(self, place: float) -> Decimal:
        """Return a place on the axis in the column's own scale."""
        return Decimal(str(place)) * (10 if self.dimension.system is None else 1)

    def holds(self, place: float) -> bool:
        """Whether a place lies in the picture."""
        return self.low <= place <= self.high

    def ticks(self, most: int) -> list[float]:
        """Return round figures along the axis, at most so many."""
        span = self.high - self.low
        steps = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)
        step = next((s for s in steps if span / s < max(most, 1)), steps[-1])
        first = int(self.low / step) - 1
        found = [(first + n) * step for n in range(int(span / step) + 4)]
        return [tick for tick in found if self.holds(tick)]


@dataclass(frozen=True, slots=True)
class Region:
    """Sizes with the same ranges in the measures drawn."""

    sign: str
    names: tuple[str, ...]
    rows: tuple[int, ...]
    x: tuple[float, float]
    y: tuple[float, float] | None

    @property
    def words(self) -> str:
        """The sizes it stands for."""
        return " / ".join(self.names)


class Plane:
    """A chart's sizes and a set's legs in one or two measures."""

    def __init__(self, chart: Chart, legs: Iterable[LegValues]) -> None:
        self._chart = chart
        self._boxes = chart_boxes(chart)
        across, up, self.why = _choose(chart)
        self.x = _axis(across, self._boxes)
        self.y = _axis(up, self._boxes) if up is not None else None
        self.regions = self._find_regions()
        self.hidden = tuple(
            dimension_words(d.id) for d in chart.dimensions if d not in (across, up)
        )
        """Measures of the chart the picture does not show."""
        self.points: list[tuple[float, float]] = []
        """Legs in the picture; in a picture of one measure the second figure is 0."""
        self.outside = 0
        """Legs beyond the picture's edges."""
        self.not_measured = 0
        for leg in legs:
            self._place(leg)

    def _place(self, leg: LegValues) -> None:
        values, _ = chart_values(self._chart, looked_up(leg))
        axes = [axis for axis in (self.x, self.y) if axis is not None]
        if any(axis.dimension.id not in values for axis in axes):
            self.not_measured += 1
            return
        places = [axis.place(values[axis.dimension.id]) for axis in axes]
        if all(axis.holds(place) for axis, place in zip(axes, places, strict=True)):
            self.points.append((places[0], places[1] if len(places) > 1 else 0.0))
        else:
            self.outside += 1

    def _find_regions(self) -> tuple[Region, ...]:
        grouped: dict[tuple[tuple[float, float], tuple[float, float] | None], list[int]] = {}
        for row, box in enumerate(self._boxes):
            y = _span(self.y, box) if self.y is not None else None
            grouped.setdefault((_span(self.x, box), y), []).append(row)
        signs = [*_SIGNS, *_MORE_SIGNS]
        names = [row.name for row in self._chart.sizes]
        return tuple(
            Region(
                signs[number] if number < len(signs) else "?",
                tuple(names[row] for row in rows),
                tuple(rows),
                x,
                y,
            )
            for number, ((x, y), rows) in enumerate(grouped.items())
        )

    @property
    def asks(self) -> bool:
        """Whether the chart leaves open which size is taken where several hold."""
        return self._chart.overlap == "ask"

    def sign_at(self, x: float, y: float) -> str:
        """Return what stands at a place: a blank, a size's sign, or its capital where several hold.

        Of several it is the one the chart's rule takes; where it has none, the largest.
        """
        at = {self.x.dimension.id: self.x.value(x)}
        if self.y is not None:
            at[self.y.dimension.id] = self.y.value(y)
        held = [region for region in self.regions if self._boxes[region.rows[0]].holds(at)]
        if len(held) < 2:
            return held[0].sign if held else " "
        rows = {row: region for region in held for row in region.rows}
        return rows[self._taken(sorted(rows), at)].sign.upper()

    def _taken(self, rows: Sequence[int], at: dict[str, Decimal]) -> int:
        if self._chart.overlap == "smaller":
            return rows[0]
        ankle = ankle_column(self._chart)
        if ankle is not None and ankle in at:  # else it is not drawn
            return most_room(self._boxes, rows, ankle, at[ankle])
        return rows[-1]

    def remarks(self) -> list[str]:
        """Return what must be said beside the picture."""
        told = [self.why] if self.why else []
        if self.hidden:
            told.append(
                say(
                    "Not drawn: {names}. A leg inside a size here may still get none.",
                    names=", ".join(self.hidden),
                )
            )
        if self.outside:
            told.append(say("Legs beyond the picture: {count}.", count=self.outside))
        if self.not_measured:
            told.append(say("Legs without these measures: {count}.", count=self.not_measured))
        return told


def _choose(chart: Chart) -> tuple[Dimension, Dimension | None, str]:
    """Return what goes across, what goes up, and why, where it is not ankle and calf."""
    girths = [d for d in chart.dimensions if d.kind is Kind.GIRTH]
    by_point = {d.point: d for d in girths}
    if Point.B in by_point and Point.C in by_point:
        return by_point[Point.B], by_point[Point.C], ""
    if len(girths) > 1:
        return (
            girths[0],
            girths[1],
            say("This chart has not both ankle and calf: drawn are its first two girths."),
        )
    feet = [d for d in chart.dimensions if d.point is Point.FOOT and d.kind is not Kind.GIRTH]
    if girths and feet:
        return feet[0], girths[0], say("This chart has one girth only: drawn with the foot.")
    rest = [d for d in chart.dimensions if d not in girths]
    if girths and rest:
        return girths[0], rest[0], say("This chart has one girth only: drawn with a length.")
    if len(rest) > 1:
        return rest[0], rest[1], say("This chart has no girth: drawn are its first two measures.")
    return chart.dimensions[0], None, say("This chart has one measure only: legs are piled up.")


def _axis(dimension: Dimension, boxes: Sequence[Box]) -> Axis:
    bare = Axis(dimension, 0, 0)
    low = min(bare.place(box.edges[dimension.id].low) for box in boxes)
    high = max(bare.place(box.edges[dimension.id].high) for box in boxes)
    beside = max((high - low) * _BESIDE, 0.5)
    return Axis(dimension, low - beside, high + beside)


def _span(axis: Axis, box: Box) -> tuple[float, float]:
    edge = box.edges[axis.dimension.id]
    return axis.place(edge.low), axis.place(edge.high)
