"""Laws of coverage: counts add up, whatever the chart and the legs; the picture shows them all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import DIMENSIONS, Grid, grids, legs

from fitcore.charts.boxes import chart_boxes
from fitcore.charts.chart import Chart
from fitcore.charts.reach import is_ever_chosen
from fitcore.coverage.coverage import cover
from fitcore.coverage.coverage_picture import FEWEST_ROWS, coverage_picture
from fitcore.points import Kind, Point
from fitcore.record.readings import Adopted
from fitcore.units import Millimetre

if TYPE_CHECKING:
    from decimal import Decimal

    from fitcore.coverage.leg_set import LegValues


def as_leg(values: dict[str, Decimal]) -> LegValues:
    places = {
        (Point(point), Kind(kind)): values[name]
        for name, (point, kind) in DIMENSIONS.items()
        if name in values
    }
    return {place: Adopted(*place, Millimetre(mm), 1, None, ()) for place, mm in places.items()}


@st.composite
def covered(draw: st.DrawFn) -> tuple[Grid, list[dict[str, Decimal]]]:
    grid = draw(grids())
    people = draw(st.lists(legs(grid), max_size=8))
    missing = draw(st.lists(st.sampled_from(sorted(grid.columns)), max_size=2))
    for leg, name in zip(people, missing, strict=False):
        del leg[name]
    return grid, people


@given(covered())
@settings(max_examples=40)
def test_every_leg_is_counted_exactly_once(
    case: tuple[Grid, list[dict[str, Decimal]]],
) -> None:
    grid, people = case
    chart = Chart.model_validate(grid.table())
    counts = cover(chart, map(as_leg, people))
    assert counts.legs == len(people)
    assert counts.one_size + counts.several + counts.none + counts.not_measured == counts.legs
    assert counts.not_measured == sum(set(leg) != set(grid.columns) for leg in people)
    assert sum(counts.by_size.values()) == counts.one_size + counts.several
    assert sum(counts.holds.values()) >= counts.one_size + 2 * counts.several
    assert list(counts.by_size) == list(counts.holds) == [row.name for row in chart.sizes]
    assert all(counts.by_size[name] <= counts.holds[name] for name in counts.by_size)


@given(covered())
@settings(max_examples=30)
def test_a_size_somebody_gets_is_one_that_can_be_reached(
    case: tuple[Grid, list[dict[str, Decimal]]],
) -> None:
    grid, people = case
    chart = Chart.model_validate(grid.table())
    given_to = cover(chart, map(as_leg, people)).by_size
    boxes = chart_boxes(chart)
    for row, count in enumerate(given_to.values()):
        assert not count or is_ever_chosen(chart, boxes, row)


@given(covered(), st.integers(60, 120), st.integers(16, 40), st.booleans())
@settings(max_examples=30)
def test_the_picture_keeps_its_size_and_its_letters(
    case: tuple[Grid, list[dict[str, Decimal]]],
    width: int,
    height: int,
    plain: bool,  # noqa: FBT001 - drawn
) -> None:
    grid, people = case
    chart = Chart.model_validate(grid.table())
    picture = coverage_picture(chart, map(as_leg, people), width, height, ascii=plain)
    assert max(map(len, picture)) <= width
    # A legend of very many sizes may take more rows than there are: the picture keeps its fewest.
    drawn = sum(row[6:7] in ("|", "+") for row in picture)
    assert len(picture) <= height or drawn <= FEWEST_ROWS + 1
    assert all(line == line.rstrip() for line in picture)
