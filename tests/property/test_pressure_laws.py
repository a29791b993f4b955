"""Laws of pressure: classes, prescriptions, Laplace, and the illustrated profile of any leg."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pressure_files import ALL, RULES, printed

from fitcore.charts.chart import MOST_MMHG
from fitcore.points import Point, Side
from fitcore.pressures.laplace import (
    cylinder_pa,
    tension_for,
    tension_mmhg,
)
from fitcore.pressures.prescribed_pressure import PrescribedPressure, matches_prescription
from fitcore.pressures.pressure import (
    PRESSURE_UNITS,
    NamedClass,
    find_class,
    from_mmhg,
    look_up,
    show_beside,
    to_mmhg,
    which_standard,
)
from fitcore.pressures.pressure_drawing import COLUMNS, draw_profile, draw_profile_svg
from fitcore.pressures.pressure_profile import PROFILE_POINTS, heading_words, pressure_profile

standards = st.sampled_from(ALL)
units = st.sampled_from(PRESSURE_UNITS)
pressures = st.decimals("0.1", 120, places=2) | st.integers(1, 120).map(Decimal)
classes = st.sampled_from([NamedClass(one, own) for one in ALL for own in one.classes])
girths = st.decimals(80, 1500, places=2)
legs = st.dictionaries(st.sampled_from(PROFILE_POINTS), girths).flatmap(
    lambda known: girths.map(lambda ankle: {**known, Point.B: ankle})
)
tensions = st.fractions("0.01", 100, max_denominator=10_000)
girths_cm = st.fractions(5, 200, max_denominator=10_000)
exactly = {"rel": 1e-12}


# --- classes -----------------------------------------------------------------------------------


@given(standards, pressures)
def test_exactly_the_classes_that_hold_a_pressure_are_found(standard: Any, mmhg: Decimal) -> None:
    answer = look_up(standard, mmhg)
    for own in standard.classes:
        begun = mmhg > own.low_mmhg if own.above else mmhg >= own.low_mmhg
        holds = begun and (own.high_mmhg is None or mmhg <= own.high_mmhg)
        assert (own in [one.own for one in answer.classes]) == holds
    assert len(answer.classes) <= 2


@given(standards, pressures)
def test_two_classes_hold_a_pressure_only_on_the_edge_they_share(
    standard: Any, mmhg: Decimal
) -> None:
    found = look_up(standard, mmhg).classes
    if len(found) == 2:
        assert found[0].own.high_mmhg == mmhg == found[1].own.low_mmhg


@given(standards, pressures, units)
def test_whatever_is_answered_names_the_standard_and_its_mmhg(
    standard: Any, amount: Decimal, unit: Any
) -> None:
    answer = look_up(standard, amount, unit)
    assert standard.name in answer.words
    assert "mmHg" in answer.words
    for one in answer.classes:
        assert one.words in answer.words


@given(standards, pressures, pressures)
def test_more_pressure_is_never_a_lower_class(standard: Any, one: Decimal, other: Decimal) -> None:
    low, high = sorted((one, other))
    order = list(standard.classes)
    weaker = [order.index(found.own) for found in look_up(standard, low).classes]
    stronger = [order.index(found.own) for found in look_up(standard, high).classes]
    if weaker and stronger:
        assert min(weaker) <= min(stronger)
        assert max(weaker) <= max(stronger)


@given(classes)
def test_a_class_is_found_by_its_own_label_and_among_all_it_may_mean(one: NamedClass) -> None:
    assert find_class(one.standard, one.own.label) == one
    assert one in which_standard(ALL, one.own.label)


@given(pressures, units)
def test_a_pressure_comes_back_from_mmhg(amount: Decimal, unit: Any) -> None:
    again = from_mmhg(to_mmhg(amount, unit), unit)
    assert abs(again - amount) <= amount.scaleb(-25)


@given(pressures)
def test_ten_hectopascal_are_one_kilopascal(hpa: Decimal) -> None:
    assert to_mmhg(hpa * 10, "hPa") == to_mmhg(hpa, "kPa")


@given(
    st.decimals(0, 200, places=6),
    st.lists(st.sampled_from([Decimal(n) for n in (20, 40, 50, 60, 70, 80, 85, 100)]), max_size=2),
    st.integers(0, 2),
)
def test_a_figure_shown_stays_on_its_side_of_every_limit(
    value: Decimal, limits: list[Decimal], places: int
) -> None:
    shown = Decimal(show_beside(value, limits, places=places))
    assert abs(shown - value) <= Decimal(1).scaleb(-places) / 2
    for limit in limits:
        assert shown.compare(limit) == value.compare(limit)


# --- prescriptions -----------------------------------------------------------------------------


@st.composite
def ranges(draw: st.DrawFn) -> tuple[Decimal, Decimal]:
    low, high = sorted((draw(pressures), draw(pressures)))
    return low, high


@given(ranges(), ranges())
def test_a_garment_matches_exactly_where_no_pressure_of_its_range_is_outside(
    garment: tuple[Decimal, Decimal], wanted: tuple[Decimal, Decimal]
) -> None:
    found = matches_prescription(printed(*map(str, garment)), PrescribedPressure(*wanted))
    outside = [edge for edge in garment if not wanted[0] <= edge <= wanted[1]]
    assert found.matches == (not outside)
    assert found.why


@given(ranges(), ranges(), pressures)
def test_a_garment_stronger_than_prescribed_never_matches_whatever_its_class(
    garment: tuple[Decimal, Decimal], wanted: tuple[Decimal, Decimal], more: Decimal
) -> None:
    low, high = garment[0], max(garment[1], min(wanted[1] + more, MOST_MMHG))
    for label in ("", "II"):
        prescribed = PrescribedPressure(*wanted, "RAL-GZ 387/1" if label else "", label)
        same = printed(str(low), str(high), "RAL-GZ 387/1", "II")
        assert not matches_prescription(same, prescribed, ALL).matches


# --- Laplace -----------------------------------------------------------------------------------


@given(st.integers(1, 6), tensions, girths_cm, tensions)
def test_pressure_doubles_with_pull_or_layers_and_halves_with_twice_the_girth(
    layers: int, kgf: Fraction, girth: Fraction, width: Fraction
) -> None:
    def bandage(count: int, pull: Fraction, around: Fraction) -> Fraction:
        return tension_mmhg(count * pull * Fraction("9.80665") / width, around)

    once = bandage(layers, kgf, girth)
    assert bandage(layers, 2 * kgf, girth) == 2 * once
    assert bandage(2 * layers, kgf, girth) == 2 * once
    assert bandage(layers, kgf, 2 * girth) == once / 2


@given(tensions, girths_cm, tensions)
def test_the_same_pull_for_the_same_girth_gives_the_same_pressure(
    tension: Fraction, girth: Fraction, times: Fraction
) -> None:
    assert tension_mmhg(tension * times, girth * times) == tension_mmhg(tension, girth)


@given(tensions, girths_cm)
def test_a_fabric_on_a_cylinder_is_the_law_itself(tension: Fraction, girth: Fraction) -> None:
    pascal = 100 * float(tension) / (float(girth) / 100 / (2 * 3.141592653589793))
    radius = girth / 100 / Fraction(2 * 3.141592653589793)
    assert float(cylinder_pa(100 * tension, radius)) == pytest.approx(pascal, **exactly)
    assert float(tension_mmhg(tension, girth)) == pytest.approx(pascal / 133.322387415, **exactly)


@given(tensions, girths_cm)
def test_the_pull_for_a_pressure_gives_that_very_pressure(mmhg: Fraction, girth: Fraction) -> None:
    assert tension_mmhg(tension_for(mmhg, girth), girth) == mmhg


@given(tensions)
def test_a_calf_of_36_keeps_61_percent_of_an_ankle_of_22(tension: Fraction) -> None:
    kept = tension_mmhg(tension, Fraction(36)) / tension_mmhg(tension, Fraction(22))
    assert kept == Fraction(22, 36)
    assert round(100 * kept) == 61


# --- up the leg --------------------------------------------------------------------------------

some_class = st.none() | classes


@given(pressures, legs, some_class)
def test_the_profile_is_laplace_by_the_pull_at_the_ankle(
    nominal: Decimal, leg: dict[Point, Decimal], one: Any
) -> None:
    rows = pressure_profile(nominal, leg, one, RULES).rows
    assert [row.point for row in rows] == [point for point in PROFILE_POINTS if point in leg]
    for row in rows:
        by_law = float(nominal) * float(leg[Point.B]) / float(row.girth_mm)
        assert float(row.mmhg) == pytest.approx(by_law, rel=1e-9)


@given(pressures, legs, some_class, st.sampled_from([Decimal("0.5"), Decimal(2), Decimal(3)]))
def test_a_leg_larger_all_over_has_the_same_profile_and_remarks(
    nominal: Decimal, leg: dict[Point, Decimal], one: Any, times: Decimal
) -> None:
    larger = {point: girth * times for point, girth in leg.items()}
    before, after = (pressure_profile(nominal, g, one, RULES) for g in (leg, larger))
    assert [row.mmhg for row in before.rows] == [row.mmhg for row in after.rows]
    assert [row.place for row in before.rows] == [row.place for row in after.rows]
    assert before.remarks == after.remarks


@given(pressures, pressures, legs, some_class)
def test_how_strong_the_garment_is_changes_no_percentage_and_no_remark(
    one: Decimal, other: Decimal, leg: dict[Point, Decimal], of: Any
) -> None:
    weak, strong = (pressure_profile(nominal, leg, of, RULES) for nominal in (one, other))
    assert [row.percent for row in weak.rows] == [row.percent for row in strong.rows]
    assert weak.remarks == strong.remarks


@given(pressures, legs, some_class)
def test_a_row_is_within_its_band_exactly_where_its_percentage_is(
    nominal: Decimal, leg: dict[Point, Decimal], one: Any
) -> None:
    for row in pressure_profile(nominal, leg, one, RULES).rows:
        if row.band is None:
            assert row.place in ("start", "no_band")
            continue
        kept = Fraction(leg[row.band.of]) / Fraction(row.girth_mm) * 100
        if row.band.low_percent is not None and kept < Fraction(row.band.low_percent):
            assert row.place == "below"
        else:
            above = kept > Fraction(row.band.high_percent)
            assert row.place == ("above" if above else "within")


@given(pressures, legs, some_class)
def test_a_level_pressed_harder_than_the_ankle_always_suggests_made_to_measure(
    nominal: Decimal, leg: dict[Point, Decimal], one: Any
) -> None:
    assume(min(leg.values()) < leg[Point.B])
    profile = pressure_profile(nominal, leg, one, RULES)
    assert profile.made_to_measure
    assert any("the wrong way round" in remark for remark in profile.remarks)


@given(pressures, girths, st.lists(st.decimals("0.001", 10, places=3), min_size=6, max_size=6))
def test_a_leg_that_thickens_gently_upwards_is_told_nothing(
    nominal: Decimal, ankle: Decimal, steps: list[Decimal]
) -> None:
    """The pressure falls at every level and no class is there to be left."""
    leg = {Point.B: ankle}
    for point, step in zip(PROFILE_POINTS[1:], steps, strict=True):
        leg[point] = list(leg.values())[-1] + step
    profile = pressure_profile(nominal, leg, None, RULES)
    falling = [row.mmhg for row in profile.rows]
    assert falling == sorted(falling, reverse=True)
    assert (profile.remarks, profile.made_to_measure) == ((), False)


@given(pressures, legs, some_class, st.booleans(), st.text(max_size=30))
def test_any_profile_fits_80_columns_and_begins_with_what_it_is_not(
    nominal: Decimal, leg: dict[Point, Decimal], one: Any, ascii_only: Any, garment: str
) -> None:
    profile = pressure_profile(nominal, leg, one, RULES)
    rows = draw_profile(profile, side=Side.LEFT, garment=garment, ascii_only=ascii_only)
    assert rows[0] == heading_words()
    assert max(map(len, rows)) <= COLUMNS
    below_heads = rows[next(n for n, row in enumerate(rows) if row.endswith("% of B")) + 1 :]
    letters = [row[12:14].strip() for row in below_heads if row[12:14].strip()]
    drawn = [row.point.value for row in reversed(profile.rows)]
    assert letters[: len(drawn)] == drawn


@given(pressures, legs, some_class, st.text(max_size=30), st.text(max_size=8))
def test_any_profile_is_a_well_formed_picture_with_a_bar_for_each_level(
    nominal: Decimal, leg: dict[Point, Decimal], one: Any, garment: str, name: str
) -> None:
    assume(name.isprintable())
    profile = pressure_profile(nominal, leg, one, RULES)
    svg = draw_profile_svg(profile, side=Side.RIGHT, garment=garment, name=name)
    root = ET.fromstring(svg)  # noqa: S314 - our own text
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert title.text == heading_words()
    rects = root.findall("{http://www.w3.org/2000/svg}rect")
    banded = sum(row.band is not None for row in profile.rows)
    assert len(rects) == 1 + len(profile.rows) + banded
    for rect in rects:
        edge = float(rect.get("x", "0")) + float(rect.get("width", "-1"))
        assert float(rect.get("width", "-1")) >= 0
        assert edge <= 860
