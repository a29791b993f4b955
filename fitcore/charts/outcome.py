"""What comes out for one leg in one chart: the decision alone, without words. Pure.

The size with its reasons (`sizing`) and how sure it is (`certainty`) both ask here, so that what is
said to be sure is what was decided.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, TypeVar

from fitcore.charts.boxes import Box, chart_boxes
from fitcore.points import Kind, Point

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from decimal import Decimal

    from fitcore.charts.chart import Chart

Worked = TypeVar("Worked")

MOST_CHARTS = 512
"""Charts whose worked-out tables are kept; ours, more than a service has."""


class Verdict(StrEnum):
    """What the boxes say."""

    FITS = "fits"
    OVERLAP = "overlap"
    BETWEEN = "between"
    OFF_CHART = "off_chart"
    PROPORTIONS = "proportions"
    NOT_SUITABLE = "not_suitable"
    NOT_MEASURED = "not_measured"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a chart comes to; two are equal when verdict and size are."""

    verdict: Verdict
    size: int | None = None
    """Row of the size chosen, from 0; None where none is."""
    among: tuple[int, ...] = ()
    """Rows a person must choose from: only where sizes overlap and no rule decides."""
    held: tuple[int, ...] = field(default=(), compare=False)
    """All rows whose ranges hold, in the chart's order."""

    @property
    def as_ordered(self) -> tuple[object, ...]:
        """What must be alike for two measurings to come to the same.

        The size where one is chosen, whether others hold beside it or not; else the verdict with
        the sizes to choose from.
        """
        return (self.verdict, self.among) if self.size is None else (self.size,)


def outcome(
    chart: Chart,
    boxes: Sequence[Box],
    values: dict[str, Decimal],
    *,
    prescribed: bool = False,
) -> Outcome:
    """Decide what a chart comes to.

    Args:
        chart: sizes listed small to large.
        boxes: its rows as boxes, in the same order.
        values: dimension id to value in the column's own scale; every dimension of the chart.
        prescribed: no rule decides between sizes that overlap; nor does one where the chart
            says none.

    Source: the box rules are ours; that the larger of two overlapping sizes is usual, is common
    practice.
    """
    held = tuple(row for row, box in enumerate(boxes) if box.holds(values))
    if len(held) == 1:
        return Outcome(Verdict.FITS, held[0], held=held)
    if held and (prescribed or chart.overlap == "ask"):
        return Outcome(Verdict.OVERLAP, among=held, held=held)
    if held:
        return Outcome(Verdict.OVERLAP, _choose(chart, boxes, held, values), held=held)
    places = {whereabouts(boxes, name, value) for name, value in values.items()}
    if places & {"below", "above"}:
        return Outcome(Verdict.OFF_CHART)
    return Outcome(Verdict.BETWEEN if "gap" in places else Verdict.PROPORTIONS)


def whereabouts(
    boxes: Sequence[Box], dimension: str, value: Decimal
) -> Literal["below", "above", "gap", "inside"]:
    """Return where a value lies in one column: outside the chart's span, in a gap, or in a size."""
    column = [box.edges[dimension] for box in boxes]
    if value < min(edges.low for edges in column):
        return "below"
    if value > max(edges.high for edges in column):
        return "above"
    return "inside" if any(edges.holds(value) for edges in column) else "gap"


def ankle_column(chart: Chart) -> str | None:
    """Return the dimension whose room decides between overlapping sizes; None where none does."""
    if chart.overlap != "ankle":
        return None
    ankle = (Point.B, Kind.GIRTH)
    return next((d.id for d in chart.dimensions if (d.point, d.kind) == ankle), None)


def most_room(boxes: Sequence[Box], held: Iterable[int], ankle: str, value: Decimal) -> int:
    """Return the row with most room at the ankle; of equals the larger, which stands later."""
    return max(held, key=lambda row: (boxes[row].edges[ankle].margin(value), row))


def once_per_chart(work: Callable[[Chart], Worked]) -> Callable[[Chart], Worked]:
    """Keep what depends on a chart only; a chart is frozen, so it never goes stale."""

    @lru_cache(maxsize=MOST_CHARTS)
    def kept(key: _SameChart) -> Worked:
        return work(key.chart)

    return lambda chart: kept(_SameChart(chart))


@once_per_chart
def boxes_of(chart: Chart) -> tuple[Box, ...]:
    """Return a chart's rows as boxes, worked out once."""
    return chart_boxes(chart)


class _SameChart:
    """A chart as a key: the object itself, because its rows hold dictionaries."""

    __slots__ = ("chart",)

    def __init__(self, chart: Chart) -> None:
        self.chart = chart

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _SameChart) and other.chart is self.chart

    def __hash__(self) -> int:
        return id(self.chart)


def _choose(
    chart: Chart, boxes: Sequence[Box], held: Sequence[int], values: dict[str, Decimal]
) -> int:
    if chart.overlap == "smaller":
        return held[0]
    ankle = ankle_column(chart)
    if ankle is None:
        return held[-1]
    return most_room(boxes, held, ankle, values[ankle])
