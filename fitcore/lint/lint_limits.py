"""Remarks on a chart's figures: what no leg has, mixed units, measures that contradict."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from fitcore.charts.sizing import dimension_words
from fitcore.lint.chart_remark import ChartRemark, shown, shown_range
from fitcore.lint.lint_codes import LINT_CODES
from fitcore.points import POINT_ORDER, Kind, Point
from fitcore.problems import ProblemLevel
from fitcore.shoes import SHOE_SYSTEMS, foot_length_mm, judge_shoe_size, system_words
from fitcore.units import UNITS, from_mm, to_mm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from decimal import Decimal

    from fitcore.charts.chart import Chart, ChartSize, Dimension
    from fitcore.lint.lint_codes import LintName
    from fitcore.profile_models import Limits, Ranges
    from fitcore.shoes import ShoeSystem
    from fitcore.units import Unit

    Pair = tuple[Decimal, Decimal]


@dataclass(frozen=True, slots=True)
class _Cell:
    """One range of a chart."""

    row: int
    column: int
    dimension: Dimension
    size: ChartSize

    @property
    def pair(self) -> Pair:
        return self.size.ranges[self.dimension.id]

    @property
    def key(self) -> str:
        return f"sizes.{self.row}.{self.dimension.id}"


def lint_limits(chart: Chart, ranges: Ranges) -> list[ChartRemark]:
    """Judge every range of a chart against what legs can be.

    Args:
        chart: the chart.
        ranges: plausible readings; a measure they do not know is not judged.
    """
    cells = [
        _Cell(row, column, dimension, size)
        for column, dimension in enumerate(chart.dimensions)
        for row, size in enumerate(chart.sizes)
    ]
    units: dict[str, Unit] = {}
    found: list[ChartRemark] = []
    for cell in cells:
        if cell.dimension.system is not None:
            found += _shoe_remarks(chart, cell, cell.dimension.system, ranges)
            continue
        unit = _meant_unit(chart, cell, ranges)
        if unit is not None:
            units[cell.key] = unit
        else:
            found += _range_remarks(chart, cell, ranges)
    found += _unit_remarks(chart, cells, units, ranges)
    doubted = {r.key for r in found if r.level is not ProblemLevel.NOTE} | set(units)
    for row, size in enumerate(chart.sizes):
        found += _contradictions(chart, row, size, ranges, doubted)
    return found


# --- units ---------------------------------------------------------------------------------------


def _meant_unit(chart: Chart, cell: _Cell, ranges: Ranges) -> Unit | None:
    """Return the unit in which a range no leg has would be one that legs have."""
    hard = _limits(ranges, cell.dimension, "hard")
    if hard is None:
        return None
    # Healthy legs in inches never read as healthy legs in cm, nor the other way round (soft limits
    # against the 1st to 99th percentiles in inches; computed), while a hard limit is so wide that
    # an ankle in cm called inches may lie inside it.
    usual = _limits(ranges, cell.dimension, "soft") or hard
    if _touches(cell.pair, usual):
        return None
    for unit in UNITS:
        low, high = (to_mm(from_mm(edge, chart.unit), unit) for edge in cell.pair)
        if unit != chart.unit and _touches((low, high), usual) and _within((low, high), hard):
            return unit
    return None


def _unit_remarks(
    chart: Chart, cells: list[_Cell], units: Mapping[str, Unit], ranges: Ranges
) -> Iterator[ChartRemark]:
    """Tell mixed units once: for the whole table, for a column, or for a single range."""
    judged = [cell for cell in cells if _limits(ranges, cell.dimension, "hard") is not None]
    judged = [cell for cell in judged if cell.dimension.system is None]
    meant = {units.get(cell.key) for cell in judged}
    if len(judged) > 1 and len(meant) == 1 and None not in meant:
        yield ChartRemark(
            "unit",
            ProblemLevel.ERROR,
            "table_in_other_unit",
            say(
                "The chart says {unit}, but every range looks like {other}.",
                unit=chart.unit,
                other=_unit_words(units[judged[0].key]),
            ),
            say("Look at the leaflet and write its unit."),
            say("Look at the leaflet; then F2, line 'Unit of the printed table'."),
        )
        return
    columns: defaultdict[int, list[_Cell]] = defaultdict(list)
    for cell in judged:
        columns[cell.column].append(cell)
    for column, own in columns.items():
        meant = {units.get(cell.key) for cell in own}
        if len(own) > 1 and len(meant) == 1 and None not in meant:
            yield ChartRemark(
                f"dimensions.{column}",
                ProblemLevel.ERROR,
                "column_in_other_unit",
                say(
                    "The whole column {name} looks like {other}, and the chart says {unit}.",
                    name=dimension_words(own[0].dimension.id),
                    other=_unit_words(units[own[0].key]),
                    unit=chart.unit,
                ),
                say("Write this column's figures in the chart's unit."),
            )
        else:
            yield from (
                _unit_remark(chart, cell, units[cell.key]) for cell in own if cell.key in units
            )


def _unit_remark(chart: Chart, cell: _Cell, unit: Unit) -> ChartRemark:
    codes: dict[Unit, LintName] = {
        "in": "looks_like_inches",
        "mm": "looks_like_mm",
        "cm": "looks_like_cm",
    }
    return ChartRemark(
        cell.key,
        ProblemLevel.ERROR,
        codes[unit],
        say(
            "{size}: {name} {range} is no leg's; it looks like {other}.",
            size=cell.size.name,
            name=dimension_words(cell.dimension.id),
            range=shown_range(chart, cell.dimension, cell.pair),
            other=_unit_words(unit),
        ),
        say("Write it in {unit}, as the rest of the chart.", unit=chart.unit),
    )


def _unit_words(unit: Unit) -> str:
    return {"in": say("inches"), "mm": say("millimetres"), "cm": say("centimetres")}[unit]


# --- single ranges -------------------------------------------------------------------------------


def _range_remarks(chart: Chart, cell: _Cell, ranges: Ranges) -> Iterator[ChartRemark]:
    """Judge one range; a unit mixed up in both edges is told elsewhere."""
    hard = _limits(ranges, cell.dimension, "hard")
    if hard is None:
        return
    words = {
        "size": cell.size.name,
        "name": dimension_words(cell.dimension.id),
        "range": shown_range(chart, cell.dimension, cell.pair),
    }
    if not _touches(cell.pair, hard):
        yield ChartRemark(
            cell.key,
            ProblemLevel.ERROR,
            "impossible_range",
            say("{size}: no leg has {name} {range}.", **words),
            say("Look at the leaflet; perhaps a digit too many or too few, or another column."),
        )
        return
    for edge in cell.pair:
        if hard[0] <= edge <= hard[1]:
            continue
        code: LintName = "impossible_edge"
        mend = say("Look at the leaflet and correct the edge.")
        if _slipped(edge, cell.pair, hard):
            code, mend = (
                "point_lost",
                say("A decimal point lost, or another unit? Correct the edge."),
            )
        yield ChartRemark(
            cell.key,
            LINT_CODES[code].level,
            code,
            say(
                "{size}: {name} {range} reaches to {edge}, which no leg has.",
                edge=shown(chart, cell.dimension, edge),
                **words,
            ),
            mend,
        )
    soft = _limits(ranges, cell.dimension, "soft")
    if soft is not None and not _touches(cell.pair, soft):
        yield ChartRemark(
            cell.key,
            ProblemLevel.NOTE,
            "rare_legs_only",
            say("{size}: hardly any leg has {name} {range}.", **words),
            say("Nothing to mend if the leaflet says so."),
        )


def _slipped(edge: Decimal, pair: Pair, hard: Pair) -> bool:
    """Whether an edge beyond all legs would be a fine one with its decimal point elsewhere."""
    other = pair[0] if edge == pair[1] else pair[1]
    return any(
        hard[0] <= moved <= hard[1] and abs(moved - other) * 2 <= other
        for moved in (edge / 10, edge * 10)
    )


def _shoe_remarks(
    chart: Chart, cell: _Cell, system: ShoeSystem, ranges: Ranges
) -> Iterator[ChartRemark]:
    if all(judge_shoe_size(edge, system) is None for edge in cell.pair):
        return
    foot = ranges.of(Point.FOOT, Kind.LENGTH)
    soft = foot.soft_cm if foot is not None else None
    other = None
    if soft is not None:
        usual = (soft[0] * 10, soft[1] * 10)
        other = next(
            (s for s in SHOE_SYSTEMS if _within(_feet(cell.pair, s), usual) and s != system), None
        )
    text = say(
        "{size}: no adult wears {range}.",
        size=cell.size.name,
        range=shown_range(chart, cell.dimension, cell.pair),
    )
    if other is None:
        mend = say("Look at the leaflet and correct the sizes.")
        yield ChartRemark(cell.key, ProblemLevel.ERROR, "impossible_shoe", text, mend)
        return
    yield ChartRemark(
        cell.key,
        ProblemLevel.ERROR,
        "other_shoe_system",
        say("{text} It looks like {other}.", text=text, other=system_words(other)),
        say("Correct 'system' in the shoe column, or the sizes."),
        say("Go up to the heading and type its system, such as eu or uk; or correct the sizes."),
    )


def _feet(pair: Pair, system: ShoeSystem) -> Pair:
    return foot_length_mm(pair[0], system), foot_length_mm(pair[1], system)


# --- measures of one row -------------------------------------------------------------------------

_NEVER: dict[tuple[Point, Point], LintName] = {
    # In 6,575 legs measured in two surveys (ANSUR II, Heinz 2003; computed) no calf was as small
    # as the ankle and none as large as the thigh. Calf and knee may stand either way.
    (Point.B, Point.C): "ankle_not_below_calf",
    (Point.C, Point.G): "calf_not_below_thigh",
    (Point.B, Point.G): "ankle_not_below_thigh",
}


def _contradictions(
    chart: Chart, row: int, size: ChartSize, ranges: Ranges, doubted: set[str]
) -> Iterator[ChartRemark]:
    """Judge the measures of one row beside each other; ranges told of already are left out."""
    sound = [d for d in chart.dimensions if f"sizes.{row}.{d.id}" not in doubted]
    girths = {d.point: d for d in sound if d.kind is Kind.GIRTH}
    told: set[tuple[Point, Point]] = set()
    for (smaller, larger), code in _NEVER.items():
        if smaller in girths and larger in girths:
            one, other = girths[smaller], girths[larger]
            if size.ranges[one.id][0] >= size.ranges[other.id][1]:
                told.add((larger, smaller))
                yield _contradiction(chart, row, one, other, code=code)
    for ratio in ranges.ratios:
        pair = (ratio.point, ratio.to)
        if pair in told or ratio.point not in girths or ratio.to not in girths:
            continue
        one, other = girths[ratio.point], girths[ratio.to]
        (low, high), (other_low, other_high) = size.ranges[one.id], size.ranges[other.id]
        if other_low <= 0:
            continue
        if high / other_low < ratio.possible[0] or low / other_high > ratio.possible[1]:
            yield ChartRemark(
                f"sizes.{row}.{one.id}",
                ProblemLevel.WARNING,
                "proportions_of_nobody",
                say(
                    "{size}: no healthy leg has {one} {range} with {other} {other_range}.",
                    size=size.name,
                    one=dimension_words(one.id),
                    range=shown_range(chart, one, size.ranges[one.id]),
                    other=dimension_words(other.id),
                    other_range=shown_range(chart, other, size.ranges[other.id]),
                ),
                say("Compare the row with the leaflet: perhaps two rows were mixed."),
            )
    lengths = [d for d in sound if d.kind is Kind.LENGTH and d.point is not Point.FOOT]
    rising = sorted(lengths, key=lambda d: POINT_ORDER[d.point])
    for lower, upper in pairwise(rising):
        if size.ranges[upper.id][1] <= size.ranges[lower.id][0]:
            yield _contradiction(chart, row, lower, upper, code="lengths_not_rising")


def _contradiction(
    chart: Chart, row: int, one: Dimension, other: Dimension, *, code: LintName
) -> ChartRemark:
    size = chart.sizes[row]
    words = {
        "size": size.name,
        "one": dimension_words(one.id),
        "range": shown_range(chart, one, size.ranges[one.id]),
        "other": dimension_words(other.id),
        "other_range": shown_range(chart, other, size.ranges[other.id]),
    }
    text = say("{size}: {one} {range} is nowhere smaller than {other} {other_range}.", **words)
    if code == "lengths_not_rising":
        text = say("{size}: {one} {range} ends no lower than {other} {other_range}.", **words)
    mend = say("Are the two columns swapped, or one figure wrong? Look at the leaflet.")
    return ChartRemark(f"sizes.{row}.{one.id}", ProblemLevel.ERROR, code, text, mend)


def _limits(ranges: Ranges, dimension: Dimension, which: str) -> Pair | None:
    """Return limits of a measure in mm; None where the file has none."""
    found = ranges.of(dimension.point, dimension.kind)
    if found is None:
        return None
    limits: Limits | None = found.hard_cm if which == "hard" else found.soft_cm
    return None if limits is None else (limits[0] * 10, limits[1] * 10)


def _touches(pair: Pair, limits: Pair) -> bool:
    return pair[0] <= limits[1] and pair[1] >= limits[0]


def _within(pair: Pair, limits: Pair) -> bool:
    return limits[0] <= pair[0] and pair[1] <= limits[1]
