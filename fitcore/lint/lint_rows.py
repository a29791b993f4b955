"""Remarks on how a chart's rows stand to each other: gaps, overlaps, order, steps, variants."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

from fitcore.charts.boxes import chart_boxes, gaps, printed_step
from fitcore.charts.reach import is_ever_chosen
from fitcore.charts.sizing import dimension_words
from fitcore.lint.chart_remark import ChartRemark, shown, shown_range
from fitcore.points import Kind, place_words
from fitcore.problems import ProblemLevel
from fitcore.shoes import system_words
from fitcore.units import from_mm, plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fitcore.charts.boxes import Box
    from fitcore.charts.chart import Chart, ChartSize, Dimension

    Rows = Sequence[tuple[int, ChartSize]]

_LARGEST_STEP_MM = Decimal(5)
"""Equal gaps up to this look like a printed table's step rather than like legs left out; ours."""


def lint_rows(chart: Chart) -> Iterator[ChartRemark]:
    """Judge how a chart's rows stand to each other."""
    for column, dimension in enumerate(chart.dimensions):
        yield from _gaps(chart, column, dimension)
        yield from _edges_and_step(chart, column, dimension)
    yield from _pairs(chart)
    lines = _lines(chart)
    for rows in lines.values():
        yield from _order(chart, rows)
    yield from _variants(lines)


def _lines(chart: Chart) -> dict[str, Rows]:
    """Return the rows of each variant with their index, in chart order."""
    lines: defaultdict[str, list[tuple[int, ChartSize]]] = defaultdict(list)
    for index, row in enumerate(chart.sizes):
        lines[row.variant].append((index, row))
    return dict(lines)


# --- one column ----------------------------------------------------------------------------------


def _gaps(chart: Chart, column: int, dimension: Dimension) -> Iterator[ChartRemark]:
    """Tell what falls between two ranges, where the chart has no rule for it."""
    printed = {row.ranges[dimension.id] for row in chart.sizes}
    step = printed_step(chart, dimension)
    found = [pair for pair in gaps(printed) if pair[1] - pair[0] > step]
    shoe = dimension.kind is Kind.SHOE
    if dimension.gap != "none" or not found or (shoe and dimension.step is None):
        return
    said = "gap" in dimension.model_fields_set  # the leaflet means it: known, nothing to look for
    widths = {above - below for below, above in found}
    name = dimension_words(dimension.id)
    if len(found) > 1 and len(widths) == 1 and not shoe and max(widths) <= _LARGEST_STEP_MM:
        width = widths.pop()
        yield ChartRemark(
            "step_mm",
            ProblemLevel.WARNING,
            "step_not_set",
            say(
                "{name}: all ranges lie {width} apart, which looks like the table's step; legs "
                "between them get no size.",
                name=name,
                width=_width(chart, dimension, width),
            ),
            say("Write step_mm = {mm} if the table is printed so.", mm=plain(width)),
            say("F2, line 'Step of the printed table': {mm} if it is printed so.", mm=plain(width)),
        )
        return
    for below, above in found:
        ends = [row.name for row in chart.sizes if row.ranges[dimension.id][1] == below]
        begins = [n for n, row in enumerate(chart.sizes) if row.ranges[dimension.id][0] == above]
        yield ChartRemark(
            f"sizes.{begins[0]}.{dimension.id}",
            ProblemLevel.NOTE if said else ProblemLevel.WARNING,
            "gap",
            say(
                "{name}: a gap of {width} between {one} and {other}: legs between {below} and "
                "{above} get no size.",
                name=name,
                width=_width(chart, dimension, above - below),
                one=" / ".join(ends),
                other=" / ".join(chart.sizes[n].name for n in begins),
                below=shown(chart, dimension, below),
                above=shown(chart, dimension, above),
            ),
            say("Nothing to mend: the chart says that they get none.")
            if said
            else say(
                "Look for a slip. If the leaflet says which size takes them, write gap = "
                '"nearest" or "larger" in dimension {number}, or "none" where it says none.',
                number=column + 1,
            ),
            ""
            if said
            else say(
                "Look for a slip. If the leaflet says which size they get, or none: F2, line "
                "'Gap {what}'.",
                what=place_words(dimension.point, dimension.kind),
            ),
        )


def _edges_and_step(chart: Chart, column: int, dimension: Dimension) -> Iterator[ChartRemark]:
    step = printed_step(chart, dimension)
    name = dimension_words(dimension.id)
    printed = sorted({row.ranges[dimension.id] for row in chart.sizes})
    shoe = dimension.kind is Kind.SHOE
    for pair in [] if shoe else [pair for pair in printed if pair[0] == pair[1]]:
        row = next(n for n, r in enumerate(chart.sizes) if r.ranges[dimension.id] == pair)
        yield ChartRemark(
            f"sizes.{row}.{dimension.id}",
            ProblemLevel.WARNING,
            "single_value",
            say(
                "{size}: {name} is one value, {value}, and no range.",
                size=chart.sizes[row].name,
                name=name,
                value=shown(chart, dimension, pair[0]),
            ),
            say("Look at the leaflet for the other edge."),
        )
    widths = [high - low for low, high in printed if high > low]
    if step > 0 and not shoe and widths and step >= min(widths):
        yield ChartRemark(
            "step_mm",
            ProblemLevel.ERROR,
            "step_too_wide",
            say(
                "The step of {step} mm is as wide as a whole range of {name}: it would hide gaps.",
                step=plain(step),
                name=name,
            ),
            say("Write the step between 22.9 and 23.0 of such a table: 1 mm."),
            say("F2, line 'Step of the printed table': 1 mm where 22.9 is followed by 23.0."),
        )
    # Printed twice only where the two ranges follow one another, and none lies across the edge.
    both = [
        value
        for value in sorted({low for low, _ in printed} & {high for _, high in printed})
        if not any(low < value < high or low == value == high for low, high in printed)
    ]
    if step > 0 and both:
        yield ChartRemark(
            f"dimensions.{column}",
            ProblemLevel.NOTE,
            "edges_touch",
            say(
                "{name}: {values} stand in two ranges, though the table has a step.",
                name=name,
                values=", ".join(shown(chart, dimension, value) for value in both),
            ),
            say("Look whether the leaflet prints, say, 22.9 where 23 was typed."),
        )


# --- two rows ------------------------------------------------------------------------------------


def _pairs(chart: Chart) -> Iterator[ChartRemark]:
    """Tell rows that are alike, inside one another, never chosen, or share legs."""
    boxes = chart_boxes(chart)
    never = {n for n in range(len(boxes)) if not is_ever_chosen(chart, boxes, n)}
    alike: set[int] = set()
    shared: defaultdict[int, list[str]] = defaultdict(list)
    for one, other in combinations(range(len(boxes)), 2):
        first, second = chart.sizes[one], chart.sizes[other]
        if first.ranges == second.ranges:
            alike |= {one, other}
            yield ChartRemark(
                f"sizes.{other}",
                ProblemLevel.WARNING,
                "same_ranges",
                say(
                    "Sizes {one} and {other} have the same ranges throughout.",
                    one=first.name,
                    other=second.name,
                ),
                say("Correct one of the rows, or take it out."),
            )
            continue
        inner, outer = _nested(boxes, one, other)
        if inner is None:
            if _share_legs(boxes[one], boxes[other]):
                shared[one].append(second.name)
        elif inner not in never:
            yield ChartRemark(
                f"sizes.{inner}",
                ProblemLevel.WARNING,
                "inside_another",
                say(
                    "Every leg of size {inner} fits {outer} too.",
                    inner=chart.sizes[inner].name,
                    outer=chart.sizes[outer].name,
                ),
                say("Look for a slip in either row."),
            )
    for row in sorted(never - alike):
        yield ChartRemark(
            f"sizes.{row}",
            ProblemLevel.WARNING,
            "never_chosen",
            say(
                "Nobody can get size {size}: wherever it fits, the rule takes another size.",
                size=chart.sizes[row].name,
            ),
            say("Look for a slip in its ranges, and at the rule for sizes that overlap."),
        )
    for row, names in shared.items():
        yield ChartRemark(
            f"sizes.{row}",
            ProblemLevel.NOTE,
            "overlap",
            say(
                "Size {size} shares legs with {others}: {rule}.",
                size=chart.sizes[row].name,
                others=", ".join(names),
                rule=_rule_words(chart),
            ),
            say("Look whether the leaflet says which is taken, and write overlap = so.")
            if chart.overlap == "ask"
            else say("Nothing to mend if the leaflet's ranges overlap and its rule is this one."),
            say("If the leaflet says which is taken: F2, line 'Which size where two hold'.")
            if chart.overlap == "ask"
            else "",
        )


def _nested(boxes: Sequence[Box], one: int, other: int) -> tuple[int | None, int]:
    """Return which box lies inside which; None for the inner one where neither does."""
    for inner, outer in ((one, other), (other, one)):
        if all(
            boxes[outer].edges[name].low <= edge.low and edge.high <= boxes[outer].edges[name].high
            for name, edge in boxes[inner].edges.items()
        ):
            return inner, outer
    return None, other


def _share_legs(one: Box, other: Box) -> bool:
    return all(
        max(edge.low, other.edges[name].low) < min(edge.high, other.edges[name].high)
        for name, edge in one.edges.items()
    )


def _rule_words(chart: Chart) -> str:
    return {
        "larger": say("the larger is taken"),
        "smaller": say("the smaller is taken"),
        "ankle": say("the one with most room at the ankle is taken"),
        "ask": say("which is taken is not said, so a person chooses"),
    }[chart.overlap]


# --- one line of sizes ---------------------------------------------------------------------------


def _order(chart: Chart, rows: Rows) -> Iterator[ChartRemark]:
    """Tell sizes that fall where they should rise, and ranges far wider than their neighbours."""
    falls = {
        (index, d.id): (above.name, row)
        for d in chart.dimensions
        for (_, above), (index, row) in pairwise(rows)
        if row.ranges[d.id][0] < above.ranges[d.id][0]
        and row.ranges[d.id][1] < above.ranges[d.id][1]
    }
    if len(rows) > 2 and len(falls) == (len(rows) - 1) * len(chart.dimensions):
        yield ChartRemark(
            f"sizes.{rows[0][0]}",
            ProblemLevel.ERROR,
            "largest_first",
            say("The sizes are listed from large to small, so the larger would be the smaller."),
            say("List them from small to large."),
        )
    else:
        for (index, name), (above_name, row) in falls.items():
            yield ChartRemark(
                f"sizes.{index}.{name}",
                ProblemLevel.WARNING,
                "order_falls",
                say(
                    "{name} falls from {above} to {size}, though sizes stand small to large.",
                    name=dimension_words(name),
                    above=above_name,
                    size=row.name,
                ),
                say("Look for a slip, or put the rows in order."),
            )
    for dimension in chart.dimensions:
        yield from _jumps(chart, dimension, rows)


def _jumps(chart: Chart, dimension: Dimension, rows: Rows) -> Iterator[ChartRemark]:
    widths = [row.ranges[dimension.id][1] - row.ranges[dimension.id][0] for _, row in rows]
    for at, (index, row) in enumerate(rows):
        beside = [widths[n] for n in (at - 1, at + 1) if 0 <= n < len(rows)]
        if len(rows) < 3 or min(beside) <= 0 or widths[at] < 2 * max(beside):
            continue
        # Makers often leave the first and the last size wide.
        inner = len(beside) == 2
        yield ChartRemark(
            f"sizes.{index}.{dimension.id}",
            ProblemLevel.WARNING if inner else ProblemLevel.NOTE,
            "range_jumps" if inner else "end_range_wide",
            say(
                "{size}: {name} {range} is at least twice as wide as the sizes beside it.",
                size=row.name,
                name=dimension_words(dimension.id),
                range=shown_range(chart, dimension, row.ranges[dimension.id]),
            ),
            say("Look for a slip; nothing to mend if the leaflet says so."),
        )


def _variants(lines: dict[str, Rows]) -> Iterator[ChartRemark]:
    """Tell a wide or long row that has no regular one, stands before it, or is missing."""
    regular = {row.size: index for index, row in lines.get("", ())}
    if not regular:
        return  # a chart in which every size is short or long has no regular line
    for variant, rows in lines.items():
        for index, row in rows if variant else ():
            if row.size not in regular:
                yield ChartRemark(
                    f"sizes.{index}",
                    ProblemLevel.WARNING,
                    "variant_without_regular",
                    say("{name} has no regular {size} beside it.", name=row.name, size=row.size),
                    say("Look whether a row of the leaflet was left out."),
                )
            elif regular[row.size] > index:
                yield ChartRemark(
                    f"sizes.{index}",
                    ProblemLevel.WARNING,
                    "variant_before_regular",
                    say(
                        "{name} stands before {size}, so the regular one counts as the larger.",
                        name=row.name,
                        size=row.size,
                    ),
                    say("Put the regular row first."),
                )
        missing = [size for size in regular if variant and size not in {r.size for _, r in rows}]
        if missing and len(rows) > 1:
            yield ChartRemark(
                "sizes",
                ProblemLevel.NOTE,
                "variant_missing",
                say(
                    "There is no {variant} of {sizes}, though other sizes have one.",
                    variant=variant,
                    sizes=", ".join(missing),
                ),
                say("Look whether a row of the leaflet was left out."),
            )


def _width(chart: Chart, dimension: Dimension, width: Decimal) -> str:
    if dimension.system is not None:
        return say(
            "{count} {system} sizes", count=plain(width), system=system_words(dimension.system)
        )
    if chart.unit == "in":
        return say(
            "{inches} in ({cm} cm)",
            inches=plain(round(from_mm(width, "in"), 3)),
            cm=plain(round(from_mm(width, "cm"), 2)),
        )
    return say("{cm} cm", cm=plain(from_mm(width, "cm")))
