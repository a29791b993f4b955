"""Choosing among charts: what suits a leg, its shape and toes, the order, both legs, favourites.

All charts and people are invented.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from screening_cases import TODAY, Sitting, ordinary

from fitcore.charts.outcome import Verdict
from fitcore.disk.favourites import write_favourites
from fitcore.disk.profile_files import load_profiles
from fitcore.fit import SessionFit, fit_session
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.ranking import rank_charts
from fitcore.record.edits import draft_reading, parse_typed
from fitcore.record.fields import SHAPES
from fitcore.safety.shape import is_asked, recorded_shapes, shape_field, why_not_toe

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.charts.chart import Chart

PROFILES = load_profiles()
BY_LINE = {chart.line: chart for chart in PROFILES.charts}
LOW_TIDE, SPINDRIFT, HAAR = BY_LINE["Low Tide"], BY_LINE["Spindrift"], BY_LINE["Haar"]
LEFT, RIGHT = Side.LEFT, Side.RIGHT
USUAL = {Point.B: "22.4", Point.C: "36.2"}


def sitting(
    left: dict[Point, str] | None = None,
    right: dict[Point, str] | None = None,
    *,
    screened: bool = True,
    shoe: str = "EU 39",
    **answers: Any,
) -> Sitting:
    """A client screened clean, with both legs read once; None takes the usual girths."""
    told = Sitting()
    for what, value in ({"purpose": "standing", "forms": ["below_knee"]} | answers).items():
        told.answer(what, value)
    told.answer("sides", ["left", "right"])
    if screened:
        told.answer_all(**ordinary())
    for side, girths in ((LEFT, left or USUAL), (RIGHT, right or USUAL)):
        for point, cm in girths.items():
            add(told, (side, point, Kind.GIRTH), cm)
        add(told, (side, Point.D, Kind.LENGTH), "40")
    if shoe:
        add(told, (Side.BOTH, Point.FOOT, Kind.SHOE), shoe)
    return told


def add(told: Sitting, place: tuple[Side, Point, Kind], text: str) -> None:
    told.add(draft_reading(place, 1, parse_typed(place[2], text, "cm"), told.at))


def add_again(told: Sitting, place: tuple[Side, Point, Kind], text: str) -> None:
    told.add(draft_reading(place, 2, parse_typed(place[2], text, "cm"), told.at))


def fit(told: Sitting, *charts: Chart, favourites: frozenset[str] = frozenset()) -> SessionFit:
    rules = replace(PROFILES.rules, favourites=favourites)
    return fit_session(told.session, charts or PROFILES.charts, rules, on=TODAY)


def lines_of(found: SessionFit) -> list[str]:
    return [row.chart.line for row in rank_charts(found)]


# --- shape and toes ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shapes", "toe", "suits"),
    [
        (["deformed_toes"], "open", True),
        (["deformed_toes"], "closed", False),
        (["deformed_toes"], "soft_cap", False),
        (["deformed_toes"], "none", True),
        (["swollen_toes"], "open", False),
        (["swollen_toes"], "none", False),
        (["swollen_toes"], "soft_cap", True),
        (["swollen_toes"], "closed", True),
        (["deep_folds"], "closed", True),
        ([], "open", True),
    ],
)
def test_toes_choose_the_toe(shapes: list[str], toe: str, *, suits: bool) -> None:
    assert (why_not_toe(shapes, toe) == "") is suits


@pytest.mark.parametrize("shape", [*SHAPES, "unknown"])
def test_a_shape_no_tape_sees_keeps_every_size_of_that_leg_back(shape: str) -> None:
    told = sitting()
    assert all(fit(told, LOW_TIDE).legs[0].charts[0].offered for _ in LEGS)
    told.answer(shape_field(LEFT), [shape])
    left, right = fit(told, LOW_TIDE, SPINDRIFT).legs
    assert not left.may_be_fitted
    assert left.why.startswith("Numbers may fit, shape may not: a specialist first (")
    assert not any(chart.offered for chart in left.charts)
    judged = [chart for chart in left.charts if chart.answer.verdict is not Verdict.NOT_SUITABLE]
    assert [(c.summary.code, c.offered_why) for c in judged if c.offer.offered] == [
        ("made_to_measure", left.why) for c in judged if c.offer.offered
    ]
    assert right.may_be_fitted
    assert right.charts[0].offered


def test_nothing_unusual_is_an_answer_and_keeps_nothing_back() -> None:
    told = sitting()
    assert not is_asked(told.session, LEFT)
    told.answer(shape_field(LEFT), ["nothing"])
    assert is_asked(told.session, LEFT)
    assert recorded_shapes(told.session, LEFT) == ()
    assert fit(told, LOW_TIDE).legs[0].charts[0].offered


def test_what_either_of_two_people_saw_counts() -> None:
    told = sitting()
    other = told.elsewhere()
    told.answer(shape_field(LEFT), ["deep_folds"])
    other.answer(shape_field(LEFT), ["swollen_toes"])
    both = told.session.with_entries(*other.session.entries)
    assert recorded_shapes(both, LEFT) == ("deep_folds", "swollen_toes")


# --- suitability ---------------------------------------------------------------------------------


def changed(chart: Chart, **values: Any) -> Chart:
    return chart.model_copy(update=values)


@pytest.mark.parametrize(
    ("dates", "suits"),
    [
        ({"valid_until": date(2026, 3, 4)}, True),
        ({"valid_until": date(2026, 3, 3)}, False),
        ({"valid_from": date(2026, 3, 4)}, True),
        ({"valid_from": date(2026, 3, 5)}, False),
    ],
)
def test_a_chart_holds_on_its_first_and_last_day(dates: dict[str, date], *, suits: bool) -> None:
    answer = fit(sitting(), changed(LOW_TIDE, **dates)).legs[0].charts[0].answer
    assert (answer.verdict is not Verdict.NOT_SUITABLE) is suits


def test_a_closed_toe_without_a_foot_asks_for_it() -> None:
    closed = changed(LOW_TIDE, toe="closed")
    with_foot, without = (fit(sitting(shoe=shoe), closed) for shoe in ("EU 39", ""))
    assert not any("closed" in c for c in with_foot.legs[0].charts[0].answer.cautions)
    assert any("toe is closed" in c for c in without.legs[0].charts[0].answer.cautions)


def test_a_column_may_have_been_meant_for_another_posture_than_its_chart() -> None:
    ankle, calf = LOW_TIDE.dimensions
    seated = changed(LOW_TIDE, dimensions=(ankle, calf.model_copy(update={"posture": "sitting"})))
    standing = sitting(posture="standing")
    assert fit(standing, LOW_TIDE).legs[0].charts[0].answer.cautions == ()
    (caution,) = fit(standing, seated).legs[0].charts[0].answer.cautions
    assert caution.startswith("Measured standing; this chart is meant for sitting legs")


# --- the order -----------------------------------------------------------------------------------


def test_charts_with_a_size_for_both_legs_stand_before_all_others() -> None:
    wide = {Point.B: "22.4", Point.C: "49.0"}
    ranked = rank_charts(fit(sitting(right=wide)))
    has_size = [all(leg.answer.size for leg in row.legs) for row in ranked]
    assert has_size == sorted(has_size, reverse=True)
    assert [row.fell_away == "" for row in ranked] == has_size
    assert all(row.fell_away for row in ranked if not all(leg.answer.size for leg in row.legs))


def test_what_may_be_offered_stands_before_what_is_for_information() -> None:
    """Spindrift prints up to 22 mmHg: without an ABPI it is not offered, however well it fits."""
    found = fit(sitting(), LOW_TIDE, SPINDRIFT)
    assert [chart.offered for chart in found.legs[0].charts] == [True, False]
    assert lines_of(found) == ["Low Tide", "Spindrift"]


def test_clear_of_the_edge_stands_before_on_the_edge() -> None:
    near = changed(LOW_TIDE, id="near", line="Near", sizes=(ranged(LOW_TIDE, low=224),))
    far = changed(LOW_TIDE, id="far", line="Far", sizes=(ranged(LOW_TIDE, low=204),))
    found = fit(sitting(), near, far)
    assert [c.summary.code for c in found.legs[0].charts] == ["measure_again", "clear"]
    assert lines_of(found) == ["Far", "Near"]


def test_the_least_distance_to_an_edge_decides_among_the_clear() -> None:
    one = changed(LOW_TIDE, id="one", line="One", sizes=(ranged(LOW_TIDE, low=204),))
    two = changed(LOW_TIDE, id="two", line="Two", sizes=(ranged(LOW_TIDE, low=194),))
    assert lines_of(fit(sitting(), one, two)) == ["Two", "One"]


def ranged(chart: Chart, low: int) -> Any:
    """One size whose ankle begins at so many mm, all else wide."""
    row = chart.sizes[0]
    wide = {"ankle": (Decimal(low), Decimal(264)), "calf": (Decimal(300), Decimal(450))}
    return row.model_copy(update={"ranges": wide})


def test_a_favourite_stands_first_among_those_with_an_offer_and_no_further_up() -> None:
    favourites = frozenset({SPINDRIFT.id, HAAR.id})
    found = fit(sitting(), favourites=favourites)
    ranked = rank_charts(found)
    assert ranked[0].chart is HAAR
    assert [row.chart.line for row in ranked if row.favourite] == ["Haar", "Spindrift"]
    assert [all(leg.offered for leg in row.legs) for row in ranked[:3]] == [True, True, False]


def test_for_travel_a_covered_foot_stands_first() -> None:
    sleeve = changed(LOW_TIDE, id="sleeve", line="A Sleeve", form="footless_sleeve", toe="none")
    told = sitting(purpose="travel", forms=["below_knee", "footless_sleeve"])
    found = fit(told, sleeve, LOW_TIDE)
    assert lines_of(found) == ["Low Tide", "A Sleeve"]
    assert any("leaves the foot out" in c for c in found.legs[0].charts[0].answer.cautions)
    at_work = sitting(purpose="work", forms=["below_knee", "footless_sleeve"])
    assert lines_of(fit(at_work, sleeve, LOW_TIDE)) == ["A Sleeve", "Low Tide"]


@given(st.permutations(PROFILES.charts))
def test_the_order_does_not_hang_on_the_order_of_the_charts(charts: list[Chart]) -> None:
    assert lines_of(fit(sitting(), *charts)) == lines_of(fit(sitting()))


# --- both legs -----------------------------------------------------------------------------------


def test_both_legs_are_as_sure_as_the_two_together() -> None:
    (pair,) = fit(sitting(), LOW_TIDE).pairs
    legs = [leg.charts[0].certainty for leg in fit(sitting(), LOW_TIDE).legs]
    assert legs[0] is not None
    assert pair.certainty == pytest.approx(legs[0] ** 2)
    assert pair.same_size is True
    assert pair.text.endswith("unless one slip was made at both.")


def test_two_sizes_of_what_is_sold_in_pairs_are_told() -> None:
    for sold, told in (("pair", True), ("single", False)):
        (pair,) = fit(sitting(**TWO_SIZES), changed(LOW_TIDE, sold=sold)).pairs
        assert pair.same_size is False
        assert ("Sold in pairs: LEFT 3 and RIGHT 4 are two pairs" in pair.text) is told
        assert "Both legs: clear of the edge" in pair.text


TWO_SIZES: dict[str, Any] = {
    "left": {Point.B: "23.6", Point.C: "38.4"},
    "right": {Point.B: "27.0", Point.C: "39.4"},
}


def test_a_pair_is_told_only_where_both_legs_have_a_size_that_may_be_fitted() -> None:
    """Else the leg is named that is in the way; where both are, each leg's own words say it."""
    told = sitting(**TWO_SIZES)
    told.answer(shape_field(RIGHT), ["deep_folds"])
    (pair,) = fit(told, LOW_TIDE).pairs
    assert pair.text.startswith("No pair yet: RIGHT: Numbers may fit, shape may not")
    assert (pair.sizes, pair.same_size) == ("", False)
    told.answer(shape_field(LEFT), ["deep_folds"])
    assert fit(told, LOW_TIDE).pairs[0].text == ""
    off = fit(sitting(left={Point.B: "25.5", Point.C: "38.4"}), LOW_TIDE).pairs[0]
    assert off.text.startswith("No pair yet: LEFT: ")
    assert off.same_size is None
    assert fit(sitting(screened=False), LOW_TIDE).pairs[0].text == ""


def test_no_pair_is_advised_while_a_leg_is_to_be_measured_again() -> None:
    told = sitting(**TWO_SIZES)
    add_again(told, (RIGHT, Point.B, Kind.GIRTH), "29.9")
    (pair,) = fit(told, LOW_TIDE).pairs
    assert pair.text.startswith("No pair yet: RIGHT: ")
    near = sitting(left=TWO_SIZES["left"], right={Point.B: "26.0", Point.C: "39.4"})
    found = fit(near, LOW_TIDE)
    assert found.legs[1].charts[0].summary.code == "measure_again"
    assert found.pairs[0].text.startswith("No pair yet: RIGHT: Measure again: ankle")


def test_a_pair_waits_for_the_choice_of_a_size() -> None:
    told = sitting(left={Point.B: "21.7", Point.C: "36.2"})
    (pair,) = fit(told, changed(LOW_TIDE, overlap="ask")).pairs
    assert pair.text == "No pair yet: LEFT: choose between 2 / 3 first."


def test_one_leg_alone_is_no_pair() -> None:
    told = Sitting()
    told.answer("sides", ["left"])
    add(told, (LEFT, Point.C, Kind.GIRTH), "36.2")
    assert fit(told).pairs == ()


# --- how sure, by who measured -------------------------------------------------------------------


def test_a_measurer_who_scatters_more_is_less_sure() -> None:
    told = sitting()

    def sure(error: float | None) -> float:
        found = fit_session(
            told.session, [LOW_TIDE], PROFILES.rules, on=TODAY, own_error=lambda *_: error
        )
        share = found.legs[0].charts[0].certainty
        assert share is not None
        return share

    assert sure(9.0) < sure(None) <= sure(1.0)


def test_a_leg_that_was_not_measured_is_not_sure_of_anything() -> None:
    (chart,) = fit(sitting(left={Point.B: "22.4"}), LOW_TIDE).legs[0].charts
    assert chart.answer.verdict is Verdict.NOT_MEASURED
    assert (chart.certainty, chart.summary.code) == (None, "none")


# --- favourites ----------------------------------------------------------------------------------


def test_favourites_are_kept_in_the_data_folder(tmp_path: Path) -> None:
    assert load_profiles(tmp_path).favourites == frozenset()
    write_favourites(tmp_path, ["mill-one-haar", "not-here-any-more"])
    loaded = load_profiles(tmp_path)
    assert loaded.problems == ()
    assert loaded.rules.favourites == {"mill-one-haar", "not-here-any-more"}
    write_favourites(tmp_path, [])
    assert load_profiles(tmp_path).favourites == frozenset()


def test_of_many_charts_only_the_favourites_edges_ask_for_a_repeat() -> None:
    """Near an edge of one of two charts: with favourites, only theirs count."""
    near = changed(LOW_TIDE, id="near", line="Near", sizes=(ranged(LOW_TIDE, low=224),))
    place = (LEFT, Point.B, Kind.GIRTH)
    assert place in fit(sitting(), near, LOW_TIDE).doubtful
    assert place in fit(sitting(), near, LOW_TIDE, favourites=frozenset({"near"})).doubtful
    elsewhere = fit(sitting(), near, LOW_TIDE, favourites=frozenset({LOW_TIDE.id}))
    assert place not in elsewhere.doubtful


# --- readings no size rests on -------------------------------------------------------------------


@pytest.mark.parametrize("second", ["22.6", "25.0"])
def test_no_size_rests_on_readings_that_do_not_agree(second: str) -> None:
    told = sitting()
    typed = parse_typed(Kind.GIRTH, second, "cm")
    told.add(draft_reading((LEFT, Point.B, Kind.GIRTH), 2, typed, told.at))
    left, right = (leg.charts[0] for leg in fit(told, LOW_TIDE).legs)
    assert left.answer.size is not None
    assert left.offered is (second == "22.6")
    assert ("do not agree. Measure again: round the ankle (B)." in left.offered_why) is (
        second != "22.6"
    )
    assert right.offered


def test_no_size_rests_on_a_reading_that_cannot_be_right() -> None:
    wide = changed(LOW_TIDE, sizes=(ranged(LOW_TIDE, low=10),))
    left, right = (leg.charts[0] for leg in fit(sitting(left={**USUAL, Point.B: "8.7"}), wide).legs)
    assert left.answer.size is not None
    assert not left.offered
    assert right.offered
