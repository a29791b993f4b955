"""Lengths: exact whatever is typed, and the same as a second, independent converter says."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fitcore.problems import UnitError
from fitcore.units import LONGEST_TEXT, Unit, from_mm, parse_length, plain, says_mm, show_cm, to_mm

if TYPE_CHECKING:
    from pint import UnitRegistry

PER_UNIT = {"mm": Fraction(1), "cm": Fraction(10), "in": Fraction(254, 10)}

tapes = st.sampled_from(("cm", "mm", "in"))
decimals = st.builds(
    lambda whole, part: f"{whole}.{part}" if part else str(whole),
    st.integers(0, 9_999),
    st.text("0123456789", max_size=6),
).filter(lambda text: Decimal(text) > 0)
amounts = decimals.map(Decimal)


@st.composite
def tape_fractions(draw: st.DrawFn) -> tuple[str, Fraction]:
    """Draw inches as a tape shows them: text such as `15 1/8` and what it means."""
    whole, parts = draw(st.integers(0, 99)), draw(st.sampled_from((2, 4, 8, 16, 32, 64)))
    part = draw(st.integers(1, parts - 1))
    text = f"{whole} {part}/{parts}" if whole else f"{part}/{parts}"
    return text, whole + Fraction(part, parts)


@given(decimals, tapes)
def test_a_typed_decimal_is_converted_exactly(text: str, tape: Unit) -> None:
    assert Fraction(parse_length(text, tape).mm) == Fraction(text) * PER_UNIT[tape]


@given(decimals, tapes, tapes)
def test_a_typed_unit_goes_before_the_tapes(text: str, typed: Unit, tape: Unit) -> None:
    length = parse_length(f"{text} {typed}", tape)
    assert length.unit == typed
    assert Fraction(length.mm) == Fraction(text) * PER_UNIT[typed]


@given(decimals, tapes)
def test_a_comma_means_the_same_as_a_dot(text: str, tape: Unit) -> None:
    assert parse_length(text.replace(".", ","), tape).mm == parse_length(text, tape).mm


@given(tape_fractions(), st.sampled_from((" in", '"', " inch", " inches", "″", "”", "''", " IN")))
def test_inches_are_25_4_mm_each_fractions_included(
    fraction: tuple[str, Fraction], unit: str
) -> None:
    text, meant = fraction
    assert Fraction(parse_length(f"{text}{unit}", "cm").mm) == meant * Fraction(254, 10)
    assert parse_length(text, "in").mm == parse_length(f"{text}{unit}", "cm").mm


@given(tape_fractions())
def test_a_fraction_and_its_decimal_are_the_same_length(fraction: tuple[str, Fraction]) -> None:
    text, meant = fraction
    decimal = Decimal(meant.numerator) / meant.denominator
    assert parse_length(f"{plain(decimal)} in", "cm").mm == parse_length(f"{text} in", "cm").mm


@given(st.integers(0, 8), st.integers(0, 11), st.integers(0, 15))
def test_feet_are_twelve_inches(feet: int, inches: int, sixteenths: int) -> None:
    assume(feet)
    text = f"{feet} ft {inches} {sixteenths}/16 in"
    meant = feet * 12 + inches + Fraction(sixteenths, 16)
    assume(len(text) <= LONGEST_TEXT)
    assert Fraction(parse_length(text, "cm").mm) == meant * Fraction(254, 10)


@given(decimals, tapes, st.sampled_from(("", " ", "  ")), st.sampled_from(("cm", "mm", "in", "")))
def test_typed_text_is_kept(text: str, tape: Unit, blank: str, unit: str) -> None:
    typed = f"{text}{blank}{unit}".strip()
    assert parse_length(f" {typed} ", tape).typed == typed


@given(amounts, tapes)
def test_an_amount_comes_back_from_millimetres(amount: Decimal, unit: Unit) -> None:
    """Exactly for cm and mm; to 25 digits where a decimal number of inches never ends."""
    again = from_mm(to_mm(amount, unit), unit)
    assert abs(again - amount) <= (amount.scaleb(-25) if unit == "in" else 0)


@given(decimals | tape_fractions().map(lambda drawn: f"{drawn[0]} in"), tapes, amounts)
def test_a_stored_reading_says_the_millimetres_it_was_read_as_and_no_others(
    text: str, tape: Unit, other: Decimal
) -> None:
    mm = parse_length(text, tape).mm
    assert says_mm(text, tape, mm)
    assert says_mm(text, tape, other) == (other == mm)
    assert not says_mm(text, tape, mm + Decimal("0.0001"))


@given(amounts)
def test_what_is_shown_in_centimetres_reads_back_the_same(mm: Decimal) -> None:
    assert parse_length(show_cm(mm), "cm").mm == mm


@given(amounts, amounts, tapes)
def test_the_longer_of_two_stays_the_longer(one: Decimal, other: Decimal, unit: Unit) -> None:
    assert (to_mm(one, unit) < to_mm(other, unit)) == (one < other)


@given(st.text(max_size=20), tapes)
def test_any_text_is_a_length_above_zero_or_refused(text: str, tape: Unit) -> None:
    try:
        length = parse_length(text, tape)
    except UnitError:
        return
    assert length.mm > 0


@given(st.lists(st.sampled_from([*"0123456789 .,/-+e'\"½⅛", "cm", "mm", "in", "ft"]), max_size=9))
def test_what_is_accepted_means_the_same_when_typed_again(pieces: list[str]) -> None:
    """Nearly right texts: whatever gets through has one meaning, tape or not."""
    text = "".join(pieces)
    try:
        length = parse_length(text, "in")
    except UnitError:
        return
    assert parse_length(length.typed, length.unit).mm == length.mm


@cache
def _pint() -> UnitRegistry:
    pint = pytest.importorskip("pint")
    return pint.UnitRegistry(non_int_type=Decimal)


@given(amounts, tapes)
def test_pint_with_its_own_definitions_agrees(amount: Decimal, unit: Unit) -> None:
    """A second opinion on value and unit; pint never sees typed text."""
    told = _pint().Quantity(amount, {"in": "inch"}.get(unit, unit)).to("mm").magnitude
    assert abs(told - to_mm(amount, unit)) <= amount.scaleb(-20)


@given(amounts, tapes)
def test_pint_agrees_on_the_way_back(mm: Decimal, unit: Unit) -> None:
    told = _pint().Quantity(mm, "mm").to({"in": "inch"}.get(unit, unit)).magnitude
    assert abs(told - from_mm(mm, unit)) <= mm.scaleb(-20)
