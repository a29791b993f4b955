"""Box decision: one leg and one chart give a verdict with margins and reasons. Geometry only.

Each size is a box, one range per dimension. Whether a size may be offered is decided elsewhere
(`clearance`), and how sure it is belongs to the certainty.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

from fitcore.charts.outcome import Outcome, Verdict, boxes_of, outcome
from fitcore.charts.size_reasons import (
    dimension_words,
    edges_in_mm,
    in_mm,
    nearest_boxes,
    outside_words,
    stretched_words,
)
from fitcore.points import Kind, Point
from fitcore.record.readings import Adopted
from fitcore.shoes import FOOT_UNCERTAINTY_MM, shoe_size, system_words
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.charts.boxes import Box
    from fitcore.charts.chart import Chart, Dimension

__all__ = [
    "Margin",
    "Measured",
    "SizeAnswer",
    "adopted_for",
    "chart_values",
    "decide_size",
    "dimension_words",
]


@dataclass(frozen=True, slots=True)
class Margin:
    """How far one measure is from the edges of one size, in mm."""

    dimension: str
    value_mm: Decimal
    low_mm: Decimal
    high_mm: Decimal
    margin_mm: Decimal
    edge_of: Literal["larger", "smaller"] | None = None
    """Which neighbour's size the edge is that the value lies on: it is not inside this one."""

    def as_json(self) -> dict[str, str]:
        """Return it in the shape `fit --json` prints."""
        return {
            "dimension": self.dimension,
            "value_mm": _rounded(self.value_mm),
            "low_mm": _rounded(self.low_mm),
            "high_mm": _rounded(self.high_mm),
            "margin_mm": _rounded(self.margin_mm),
        }


@dataclass(frozen=True, slots=True)
class SizeAnswer:
    """What one chart says about one leg."""

    verdict: Verdict
    size: str | None = None
    variant: str | None = None
    alternatives: tuple[str, ...] = ()
    """Other sizes that hold too, as *size variant*, small to large."""
    nearest: tuple[str, ...] = ()
    """Where none holds: the sizes with the least summed shortfall, named and never chosen."""
    complete: bool = False
    """Whether every measure the chart uses was taken."""
    margins: tuple[Margin, ...] = ()
    """To the edges of the size named, else of the first nearest; in the chart's column order."""
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    unsuitable: str = ""
    """What rules the garment out, as a code; empty where nothing does."""

    @property
    def name(self) -> str:
        """Size and variant as they are printed; empty where no size is chosen."""
        return f"{self.size} {self.variant or ''}".strip() if self.size else ""


Measured = Callable[[Point, Kind], Adopted | None]
"""Looks up the value used for one leg."""
Disputed = Callable[[Point, Kind], bool]
"""Says whether values stand side by side at a point, of which a person must choose."""


def decide_size(
    chart: Chart,
    measured: Measured,
    *,
    prescribed: bool = False,
    disputed: Disputed | None = None,
) -> SizeAnswer:
    """Place one leg in a size chart.

    Args:
        chart: sizes listed small to large.
        measured: the values used for this leg.
        prescribed: for a prescribed garment no rule decides between sizes that overlap: none is
            chosen and all are named.
        disputed: what is disputed counts as not measured, and nothing else stands for it.

    Returns:
        The verdict with its reasons; sizes in chart order.

    Source: the box rules are ours; that the larger of two overlapping sizes is usual, is common
    practice.
    """
    cautions: list[str] = []
    values, missing = chart_values(chart, measured, cautions, disputed=disputed)
    if missing:
        return SizeAnswer(
            Verdict.NOT_MEASURED,
            reasons=(
                say("Not measured: {names}.", names=", ".join(map(dimension_words, missing))),
            ),
            cautions=tuple(cautions),
        )
    boxes = boxes_of(chart)
    found = outcome(chart, boxes, values, prescribed=prescribed)
    if found.held:
        return _inside(chart, boxes, found, values, cautions)
    return _outside(chart, boxes, found.verdict, values, cautions)


def chart_values(
    chart: Chart,
    measured: Measured,
    cautions: list[str] | None = None,
    *,
    disputed: Disputed | None = None,
) -> tuple[dict[str, Decimal], list[str]]:
    """Return a leg's value in each of a chart's dimensions, in the column's own scale.

    Args:
        chart: the chart.
        measured: looks up the value used at a point.
        cautions: takes up what must be said of a value worked out from another.
        disputed: what is disputed counts as not measured: a foot length does not stand for a shoe
            size that two people gave differently.

    Returns:
        Dimension id to value, and the dimensions that were not measured.
    """
    told = cautions if cautions is not None else []
    found = {
        d.id: None
        if disputed is not None and disputed(d.point, d.kind)
        else _value_for(d, measured, told)
        for d in chart.dimensions
    }
    values = {name: value for name, value in found.items() if value is not None}
    return values, [name for name in found if name not in values]


def adopted_for(dimension: Dimension, measured: Measured) -> Adopted | None:
    """Return the value a column is judged by: a shoe size and a foot length stand for each other.

    Returns:
        None where neither was measured.
    """
    adopted = measured(dimension.point, dimension.kind)
    if adopted is None and dimension.kind is Kind.SHOE:
        return measured(dimension.point, Kind.LENGTH)
    if adopted is None and (dimension.point, dimension.kind) == (Point.FOOT, Kind.LENGTH):
        return measured(dimension.point, Kind.SHOE)
    return adopted


def _value_for(dimension: Dimension, measured: Measured, cautions: list[str]) -> Decimal | None:
    """Return the leg's value in the column's own scale; None where it was not measured."""
    adopted = adopted_for(dimension, measured)
    if adopted is None:
        return None
    if dimension.system is None:
        if adopted.kind is Kind.SHOE:
            cautions.append(_inferred(adopted))
        return adopted.mm
    if adopted.system == dimension.system and adopted.value is not None:
        return adopted.value
    if adopted.system is not None:
        cautions.append(_inferred(adopted))
    else:
        cautions.append(
            say(
                "The {system} size is worked out from the foot length.",
                system=system_words(dimension.system),
            )
        )
    return shoe_size(adopted.mm, dimension.system)


def _inferred(adopted: Adopted) -> str:
    return say(
        "Foot taken from {system} {value}: good to about {mm} mm, sizes differ by maker.",
        mm=FOOT_UNCERTAINTY_MM,
        system=system_words(adopted.system or ""),
        value=plain(adopted.value or Decimal(0)),
    )


def _inside(
    chart: Chart,
    boxes: Sequence[Box],
    found: Outcome,
    values: dict[str, Decimal],
    cautions: Sequence[str],
) -> SizeAnswer:
    inside = [boxes[row] for row in found.held]
    names = tuple(box.size.name for box in inside)
    told = tuple(
        dict.fromkeys(words for box in inside for words in stretched_words(chart, box, values))
    )
    if found.verdict is Verdict.FITS:
        box = inside[0]
        return SizeAnswer(
            Verdict.FITS,
            size=box.size.size,
            variant=box.size.variant or None,
            complete=True,
            margins=_margins(chart, box, values),
            reasons=(say("All measures lie inside {size}.", size=names[0]), *told),
            cautions=tuple(cautions),
        )
    sizes = " / ".join(names)
    both = (
        say("{sizes} both hold.", sizes=sizes)
        if len(names) == 2
        else say("{sizes} all hold.", sizes=sizes)
    )
    if found.size is None:
        return SizeAnswer(
            Verdict.OVERLAP,
            alternatives=names,
            complete=True,
            margins=_margins(chart, inside[0], values),
            reasons=(both, _choice_words(chart), *told),
            cautions=tuple(cautions),
        )
    chosen = boxes[found.size]
    rule = _rule_words(chart)
    return SizeAnswer(
        Verdict.OVERLAP,
        size=chosen.size.size,
        variant=chosen.size.variant or None,
        alternatives=tuple(name for name in names if name != chosen.size.name),
        complete=True,
        margins=_margins(chart, chosen, values),
        reasons=(both, rule, *told),
        cautions=tuple(cautions),
    )


def _choice_words(chart: Chart) -> str:
    if chart.overlap == "ask":
        return say("The chart does not say which to take: ask the maker, or choose with a reason.")
    return say("For a prescribed garment you choose, with a reason.")


def _rule_words(chart: Chart) -> str:
    if "overlap" not in chart.model_fields_set:
        return say("The larger is taken, as is common practice: the chart names no rule.")
    return {
        "larger": say("The chart's rule takes the larger."),
        "smaller": say("The chart's rule takes the smaller."),
        "ankle": say("The chart's rule takes the one with most room at the ankle."),
    }[chart.overlap]


def _outside(
    chart: Chart,
    boxes: Sequence[Box],
    verdict: Verdict,
    values: dict[str, Decimal],
    cautions: Sequence[str],
) -> SizeAnswer:
    nearest, told = nearest_boxes(chart, boxes, values)
    return SizeAnswer(
        verdict,
        nearest=tuple(box.size.name for box in nearest),
        complete=True,
        margins=_margins(chart, nearest[0], values),
        reasons=(*outside_words(chart, boxes, verdict, values), *told),
        cautions=tuple(cautions),
    )


def _margins(chart: Chart, box: Box, values: dict[str, Decimal]) -> tuple[Margin, ...]:
    margins = []
    for dimension in chart.dimensions:
        edges, value = box.edges[dimension.id], values[dimension.id]
        scaled, value_mm = edges_in_mm(dimension, edges), in_mm(dimension, value)
        margins.append(
            Margin(
                dimension.id,
                value_mm,
                scaled.low,
                scaled.high,
                scaled.margin(value_mm),
                edges.edge_of_another(value),
            )
        )
    return tuple(margins)


def _rounded(value: Decimal) -> str:
    # Shoe conversions divide and never end; readings and their means have at most nine decimals
    # and are written exactly.
    exponent = value.as_tuple().exponent
    endless = isinstance(exponent, int) and exponent < -9
    return plain(round(value, 3) if endless else value)
