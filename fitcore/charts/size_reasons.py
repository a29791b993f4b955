"""Why a leg gets a size or none, in words: what lies outside, in a gap, on a neighbour's edge."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.charts.boxes import Edges, gaps, printed_step
from fitcore.charts.gap_rules import rule_words
from fitcore.charts.outcome import Verdict, whereabouts
from fitcore.points import Kind, Point, place_words
from fitcore.shoes import foot_length_mm, system_words
from fitcore.units import plain, show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from fitcore.charts.boxes import Box
    from fitcore.charts.chart import Chart, Dimension

    Values = Mapping[str, Decimal]

_MEASURED = frozenset({Kind.GIRTH.value, Kind.LENGTH.value})
_LETTERS = {point.value.casefold(): point for point in Point if point is not Point.FOOT}
"""A column's id has small letters: `length_d` is the height of D."""
_TENTH = Decimal("0.1")


def dimension_words(dimension: str) -> str:
    """Return a chart column's name for people; one named by its point's letter in words."""
    kind, _, letter = dimension.partition("_")
    if kind in _MEASURED and letter in _LETTERS:
        return place_words(_LETTERS[letter], Kind(kind))
    return dimension.replace("_", " ")


def stretched_words(chart: Chart, box: Box, values: Values) -> Iterator[str]:
    """Tell each value that lies inside only because what is printed was stretched to meet it."""
    for dimension in chart.dimensions:
        value = values[dimension.id]
        low, high = box.size.ranges[dimension.id]
        if low <= value <= high:
            continue
        name, shown = dimension_words(dimension.id), _show(dimension, value)
        if _is_in_gap(chart, dimension, value):
            yield rule_words(dimension.gap, name, shown)
        else:
            yield say(
                "{name} {value} lies in the printed table's step: sizes meet at the midpoint.",
                name=name,
                value=shown,
            )


def outside_words(
    chart: Chart, boxes: Sequence[Box], verdict: Verdict, values: Values
) -> Iterator[str]:
    """Tell why no size holds a leg, measure by measure."""
    for dimension in chart.dimensions:
        value = values[dimension.id]
        place = whereabouts(boxes, dimension.id, value)
        name, shown = dimension_words(dimension.id), _show(dimension, value)
        if place in ("below", "above"):
            column = [box.edges[dimension.id] for box in boxes]
            yield say(
                "{name} {value} is {how} every size ({low} to {high}).",
                name=name,
                value=shown,
                how=say("below") if place == "below" else say("above"),
                low=_show(dimension, min(edge.low for edge in column)),
                high=_show(dimension, max(edge.high for edge in column)),
            )
        elif place == "gap":
            yield rule_words("none", name, shown)
    if verdict is Verdict.PROPORTIONS:
        for dimension in chart.dimensions:
            value = values[dimension.id]
            held = [box.size.name for box in boxes if box.edges[dimension.id].holds(value)]
            yield say(
                "{name} {value} points to {sizes}.",
                name=dimension_words(dimension.id),
                value=_show(dimension, value),
                sizes=" / ".join(held),
            )


def nearest_boxes(
    chart: Chart, boxes: Sequence[Box], values: Values
) -> tuple[Sequence[Box], Sequence[str]]:
    """Return the sizes with the least summed shortfall, in chart order, and what is said of them.

    A value on an edge that is a neighbour's falls short by nothing, and is not inside all the same.
    """
    short = [
        sum((_shortfall_mm(d, box.edges[d.id], values[d.id]) for d in chart.dimensions), Decimal(0))
        for box in boxes
    ]
    least = min(short)
    nearest = [box for box, mm in zip(boxes, short, strict=True) if mm == least]
    told = [words for box in nearest for words in _edge_words(chart, box, values)]
    sizes = " / ".join(box.size.name for box in nearest)
    if least == 0:
        told.append(say("Nearest: {sizes}. Not chosen.", sizes=sizes))
    else:
        shown = least.quantize(_TENTH)
        told.append(
            say(
                "Nearest: {sizes}, {mm} mm short in all. Not chosen.",
                sizes=sizes,
                mm=plain(shown) if shown else say("less than 0.1"),
            )
        )
    return nearest, told


def in_mm(dimension: Dimension, value: Decimal) -> Decimal:
    """Return a value of a column in mm; a shoe size as the foot length it stands for."""
    return value if dimension.system is None else foot_length_mm(value, dimension.system)


def edges_in_mm(dimension: Dimension, edges: Edges) -> Edges:
    """Return edges of a column in mm."""
    return Edges(in_mm(dimension, edges.low), in_mm(dimension, edges.high))


def _edge_words(chart: Chart, box: Box, values: Values) -> Iterator[str]:
    for dimension in chart.dimensions:
        value = values[dimension.id]
        whose = box.edges[dimension.id].edge_of_another(value)
        if whose is None:
            continue
        words = {"name": dimension_words(dimension.id), "value": _show(dimension, value)}
        size = box.size.name
        yield (
            say(
                "{name} {value} is the upper edge of {size}, and that edge belongs to the larger "
                "size.",
                size=size,
                **words,
            )
            if whose == "larger"
            else say(
                "{name} {value} is the lower edge of {size}, and that edge belongs to the smaller "
                "size.",
                size=size,
                **words,
            )
        )


def _is_in_gap(chart: Chart, dimension: Dimension, value: Decimal) -> bool:
    """Whether the value lies between two printed ranges that are wider apart than a step."""
    step = printed_step(chart, dimension)
    printed = {row.ranges[dimension.id] for row in chart.sizes}
    return any(a < value < b and b - a > step for a, b in gaps(printed))


def _shortfall_mm(dimension: Dimension, edges: Edges, value: Decimal) -> Decimal:
    return edges_in_mm(dimension, edges).shortfall(in_mm(dimension, value))


def _show(dimension: Dimension, value: Decimal) -> str:
    if dimension.system is None:
        return f"{show_cm(value)} cm"
    return f"{system_words(dimension.system)} {plain(value.quantize(_TENTH))}"
