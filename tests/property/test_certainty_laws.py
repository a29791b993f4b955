"""Laws of certainty: a whole of 1, no error no doubt, edges inside, and no unit that matters."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import SIZES, Grid, grids, legs

from fitcore.certainty.certainty import (
    Spread,
    certainty,
    nearest_change,
    outcome_probabilities,
)
from fitcore.charts.chart import Chart
from fitcore.charts.outcome import Outcome, boxes_of, outcome

if TYPE_CHECKING:
    from collections.abc import Mapping

Leg = dict[str, Decimal]

ERRORS = st.floats(0.05, 8)
STEPS = st.sampled_from((Decimal(0), Decimal("0.5"), Decimal(1), Decimal("3.175")))


def chart_of(grid: Grid, unit: str = "mm") -> Chart:
    return Chart.model_validate(grid.table(unit))


@st.composite
def judged(draw: st.DrawFn) -> tuple[Chart, Leg, dict[str, Spread], bool]:
    """Draw a chart, a leg, how it scatters, and whether the garment is prescribed."""
    grid = draw(grids())
    leg = draw(legs(grid))
    spreads = {name: Spread(draw(ERRORS), draw(STEPS)) for name in leg}
    return chart_of(grid), leg, spreads, draw(st.booleans())


@given(judged())
def test_the_outcomes_of_a_fresh_measuring_sum_to_one(
    drawn: tuple[Chart, Leg, dict[str, Spread], bool],
) -> None:
    chart, leg, spreads, prescribed = drawn
    found = outcome_probabilities(chart, leg, spreads, prescribed=prescribed)
    assert sum(found.values()) == pytest.approx(1, abs=1e-9)
    assert all(0 <= share <= 1 + 1e-12 for share in found.values())
    assert 0 <= certainty(chart, leg, spreads, prescribed=prescribed) <= 1


@given(judged(), st.floats(0.2, 5))
def test_with_an_error_all_girths_share_they_sum_to_one_too(
    drawn: tuple[Chart, Leg, dict[str, Spread], bool], shared: float
) -> None:
    chart, leg, spreads, prescribed = drawn
    found = outcome_probabilities(chart, leg, spreads, prescribed=prescribed, shared_mm=shared)
    assert sum(found.values()) == pytest.approx(1, abs=1e-6)
    assert all(share >= 0 for share in found.values())


@given(judged(), st.floats(0.5, 5))
def test_in_one_dimension_a_shared_error_is_one_more_of_its_own(
    drawn: tuple[Chart, Leg, dict[str, Spread], bool], shared: float
) -> None:
    chart, leg, spreads, prescribed = drawn
    table = chart.model_copy(
        update={
            "dimensions": chart.dimensions[:1],
            "sizes": tuple(
                size.model_copy(update={"ranges": {"ankle": size.ranges["ankle"]}})
                for size in chart.sizes
            ),
        }
    )
    own = spreads["ankle"]
    wider = {"ankle": Spread((own.error**2 + shared**2) ** 0.5, own.step)}
    one = outcome_probabilities(
        table, {"ankle": leg["ankle"]}, {"ankle": own}, prescribed=prescribed, shared_mm=shared
    )
    other = outcome_probabilities(table, {"ankle": leg["ankle"]}, wider, prescribed=prescribed)
    for each in one.keys() | other.keys():
        assert one.get(each, 0) == pytest.approx(other.get(each, 0), abs=1e-6)


@given(judged())
def test_a_value_without_error_comes_out_as_it_was_read(
    drawn: tuple[Chart, Leg, dict[str, Spread], bool],
) -> None:
    chart, leg, _, prescribed = drawn
    exact = {name: Spread(0) for name in leg}
    read = outcome(chart, boxes_of(chart), leg, prescribed=prescribed)
    assert outcome_probabilities(chart, leg, exact, prescribed=prescribed) == {read: 1.0}
    assert certainty(chart, leg, exact, prescribed=prescribed) == 1


@given(judged())
def test_the_smaller_the_error_the_surer_the_value_off_every_edge(
    drawn: tuple[Chart, Leg, dict[str, Spread], bool],
) -> None:
    chart, leg, _, prescribed = drawn
    # A value that no printed edge, midpoint or balance of room can meet.
    moved = {name: value + Decimal("0.0037") for name, value in leg.items()}
    hair = {name: Spread(0.0001) for name in leg}
    assert certainty(chart, moved, hair, prescribed=prescribed) > 1 - 1e-9


@given(st.data())
def test_on_a_rounded_tape_every_printed_edge_is_inside_its_size(data: st.DataObject) -> None:
    grid = data.draw(grids())
    chart = chart_of(grid)
    row = data.draw(st.integers(0, len(chart.sizes) - 1))
    leg = {n: data.draw(st.sampled_from(pair)) for n, pair in chart.sizes[row].ranges.items()}
    step = Decimal("0.1")  # every edge lies on such a tape
    found = outcome_probabilities(chart, leg, {name: Spread(0.001, step) for name in leg})
    (only,) = (each for each, share in found.items() if share > 1 - 1e-9)
    assert row in only.held


@given(st.data(), ERRORS, st.sampled_from((Decimal(0), Decimal("1.5875"), Decimal("3.175"))))
def test_an_inch_chart_is_as_sure_as_a_cm_chart_of_the_same_ranges(
    data: st.DataObject, error: float, step: Decimal
) -> None:
    grid = data.draw(grids(inches=True))
    leg = data.draw(legs(grid))
    spreads = {name: Spread(error, step) for name in leg}
    inch = outcome_probabilities(chart_of(grid, "in"), leg, spreads)
    cm = outcome_probabilities(chart_of(grid, "cm"), leg, spreads)
    assert inch == cm


@given(st.data(), ERRORS, st.integers(0, 40))
def test_a_chart_of_one_size_is_as_sure_above_its_middle_as_below(
    data: st.DataObject, error: float, off: int
) -> None:
    low = Decimal(data.draw(st.integers(150, 300)))
    high = low + data.draw(st.integers(10, 60))
    grid = Grid(Decimal(0), "larger", {"ankle": [(low, high)]}, [("S", "", {"ankle": 0})])
    chart, middle, spreads = chart_of(grid), (low + high) / 2, {"ankle": Spread(error)}
    below = outcome_probabilities(chart, {"ankle": middle - off}, spreads)
    above = outcome_probabilities(chart, {"ankle": middle + off}, spreads)
    for each in below.keys() | above.keys():
        assert below.get(each, 0) == pytest.approx(above.get(each, 0), abs=1e-12)


def expected_row(chart: Chart, leg: Leg, spreads: Mapping[str, Spread]) -> float:
    """Return the mean place of the size in the chart; below all sizes -1, above all the count."""
    found = outcome_probabilities(chart, leg, spreads)
    return sum(share * rank(chart, each, leg) for each, share in found.items())


def rank(chart: Chart, each: Outcome, leg: Leg) -> int:
    if each.size is not None:
        return each.size
    assert each.verdict == "off_chart"
    return -1 if leg["ankle"] < chart.sizes[0].ranges["ankle"][1] else len(chart.sizes)


@given(st.data(), ERRORS, STEPS, st.sampled_from(("larger", "smaller", "ankle")))
def test_a_larger_girth_never_makes_the_expected_size_smaller(
    data: st.DataObject, error: float, step: Decimal, overlap: str
) -> None:
    count = data.draw(st.integers(2, 5))
    at, ranges = 200, []
    for _ in range(count):
        top = at + data.draw(st.integers(20, 40))
        ranges.append((Decimal(at), Decimal(top)))
        at = top - data.draw(st.integers(-1, 15))
    # The outer sizes reach so far that no leg drawn falls off the chart.
    ranges[0], ranges[-1] = (Decimal(50), ranges[0][1]), (ranges[-1][0], Decimal(900))
    whole = [(Decimal(10), Decimal(2000))] * count
    rows = [(size, "", {"ankle": i, "calf": i}) for i, size in enumerate(SIZES[:count])]
    chart = chart_of(Grid(Decimal(1), overlap, {"ankle": ranges, "calf": whole}, rows))
    spreads = {"ankle": Spread(error, step), "calf": Spread(error, step)}
    girths = sorted(data.draw(st.lists(st.integers(1900, 4000), min_size=2, max_size=6)))
    found = [
        expected_row(chart, {"ankle": Decimal(g) / 10, "calf": Decimal(400)}, spreads)
        for g in girths
    ]
    assert all(small <= large + 1e-9 for small, large in pairwise(found))


@given(judged())
def test_the_nearest_change_is_where_the_outcome_changes(
    drawn: tuple[Chart, Leg, dict[str, Spread], bool],
) -> None:
    chart, leg, spreads, prescribed = drawn
    change = nearest_change(chart, leg, spreads, prescribed=prescribed)
    read = outcome(chart, boxes_of(chart), leg, prescribed=prescribed)

    def at(name: str, mm: Decimal) -> Outcome:
        moved = leg | {name: leg[name] + mm}
        return outcome(chart, boxes_of(chart), moved, prescribed=prescribed)

    if change is None:
        # Two values at once keep it from becoming anything else.
        for name in leg:
            assert all(at(name, Decimal(mm)) == read for mm in range(-400, 400, 7))
        return
    hair = Decimal("0.0001")
    past = change.mm + (hair if change.mm > 0 else -hair)
    beside = (at(change.dimension, change.mm), at(change.dimension, past))
    if not change.mm:
        beside = (at(change.dimension, hair), at(change.dimension, -hair))
    assert change.becomes in beside
    assert change.becomes != read
    for name in leg:
        # No other value changes anything before it has gone as many standard errors.
        far = Decimal(change.errors * spreads[name].error * 0.999)
        for part in (Decimal("0.3"), Decimal("0.9")):
            assert at(name, far * part) == at(name, -far * part) == read
