"""Whether anybody can get a size at all, under the chart's rule for sizes that overlap."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from fitcore.charts.outcome import ankle_column, most_room

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from fitcore.charts.boxes import Box
    from fitcore.charts.chart import Chart


def is_ever_chosen(chart: Chart, boxes: Sequence[Box], row: int) -> bool:
    """Whether some leg gets this row's size.

    Which sizes hold, and so which is chosen, can change only at an edge of a range, or where two
    sizes leave the same room at the ankle. It is enough to look at every such value inside the
    row's box and between each two of them; and as measures do not hang on each other, at one
    measure after the other.

    Args:
        chart: the chart, for its rule.
        boxes: its rows as boxes, in chart order.
        row: which of them.
    """
    own = boxes[row]
    ankle = ankle_column(chart)
    rivals = [
        n
        for n in range(len(boxes))
        if n != row
        and chart.overlap != "ask"  # whoever chooses may choose any of them
        and (ankle is not None or (n < row) == (chart.overlap == "smaller"))
    ]
    # Sets of rivals that hold together, by the measures looked at so far.
    together = {frozenset(rivals)}
    for name in own.edges:
        if name == ankle:
            continue
        values = _telling(boxes, own, name, rooms=False)
        held = {frozenset(n for n in rivals if boxes[n].edges[name].holds(v)) for v in values}
        together = {before & now for before in together for now in held}
    if ankle is None:
        return frozenset() in together
    return any(
        most_room(
            boxes, [*(n for n in some if boxes[n].edges[ankle].holds(value)), row], ankle, value
        )
        == row
        for value in _telling(boxes, own, ankle, rooms=True)
        for some in together
    )


def _telling(boxes: Sequence[Box], own: Box, name: str, *, rooms: bool) -> list[Decimal]:
    """Return the values of one measure inside a box that tell all cases apart."""
    edge = own.edges[name]
    marks = {mark for box in boxes for mark in (box.edges[name].low, box.edges[name].high)}
    if rooms:  # two sizes leave the same room half way between an end of one and one of the other
        marks |= {(one + other) / 2 for one in marks for other in marks}
    inside = sorted(mark for mark in marks if edge.low <= mark <= edge.high)
    between = [(one + other) / 2 for one, other in pairwise(inside)]
    return [value for value in (*inside, *between) if edge.holds(value)]
