"""Shoe sizes as people say them, and the conventions that turn them into a foot length."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import pytest

from fitcore.problems import UnitError
from fitcore.shoes import (
    FOOT_UNCERTAINTY_MM,
    SHOE_SYSTEMS,
    ShoeSystem,
    foot_length_mm,
    parse_shoe_size,
    shoe_size,
)

# Worked values. The steps of EU and UK sizes were read; the formulas that tie them
# to the foot, and all of US, are from memory: agreement here proves arithmetic, not the trade.
WORKED = {
    225: {"mondo": "225", "eu": "35.75", "uk": "3.57", "us_men": "4.57", "us_women": "5.57"},
    240: {"mondo": "240", "eu": "38.00", "uk": "5.35", "us_men": "6.35", "us_women": "7.35"},
    250: {"mondo": "250", "eu": "39.50", "uk": "6.53", "us_men": "7.53", "us_women": "8.53"},
    260: {"mondo": "260", "eu": "41.00", "uk": "7.71", "us_men": "8.71", "us_women": "9.71"},
    270: {"mondo": "270", "eu": "42.50", "uk": "8.89", "us_men": "9.89", "us_women": "10.89"},
    280: {"mondo": "280", "eu": "44.00", "uk": "10.07", "us_men": "11.07", "us_women": "12.07"},
}
CASES = [(foot, system, size) for foot, row in WORKED.items() for system, size in row.items()]
HUNDREDTH = Decimal("0.01")


@pytest.mark.parametrize(("foot", "system", "size"), CASES)
def test_worked_sizes_from_memory(foot: int, system: ShoeSystem, size: str) -> None:
    """[M] formulas; the printed table is rounded to hundredths."""
    found = shoe_size(Decimal(foot), system)
    assert found.quantize(HUNDREDTH, ROUND_HALF_UP) == Decimal(size)


@pytest.mark.parametrize(
    ("size", "foot_cm"), [("37", "23.3"), ("39", "24.7"), ("42", "26.7"), ("44", "28.0")]
)
def test_worked_foot_lengths_of_eu_sizes_from_memory(size: str, foot_cm: str) -> None:
    """[M] f = (EU - 2) / 1.5."""
    found = foot_length_mm(Decimal(size), "eu") / 10
    assert found.quantize(Decimal("0.1"), ROUND_HALF_UP) == Decimal(foot_cm)


@pytest.mark.parametrize(
    ("foot", "eu", "uk"),
    [(210, "33.5", "1.5"), (215, "34", "2.5"), (220, "35", "3"), (225, "35.5", "3.5")],
)
def test_the_formulas_lie_within_half_a_size_of_a_second_hand_table(
    foot: int, eu: str, uk: str
) -> None:
    """Second hand: values said to follow ISO 19407:2023, Table 2."""
    half = Decimal("0.5")
    assert abs(shoe_size(Decimal(foot), "eu") - Decimal(eu)) <= half
    assert abs(shoe_size(Decimal(foot), "uk") - Decimal(uk)) <= half


@pytest.mark.parametrize("system", SHOE_SYSTEMS)
@pytest.mark.parametrize("foot", [200, 225, 247, 280, 330])
def test_a_size_turned_into_a_foot_and_back_is_the_same(foot: int, system: ShoeSystem) -> None:
    again = foot_length_mm(shoe_size(Decimal(foot), system), system)
    assert abs(again - foot) < Decimal("1e-20")


def test_one_eu_size_is_two_thirds_of_a_centimetre_and_one_uk_size_a_third_of_an_inch() -> None:
    """Read: the steps of both systems."""
    eu = foot_length_mm(Decimal(40), "eu") - foot_length_mm(Decimal(39), "eu")
    uk = foot_length_mm(Decimal(7), "uk") - foot_length_mm(Decimal(6), "uk")
    assert abs(eu * 3 - 20) < Decimal("1e-20")
    assert abs(uk * 3 - Decimal("25.4")) < Decimal("1e-20")


def test_an_inferred_foot_is_said_to_be_uncertain_by_about_one_eu_size() -> None:
    assert Decimal("6.5") < FOOT_UNCERTAINTY_MM < Decimal("7.5")


@pytest.mark.parametrize(
    ("text", "default", "system", "value"),
    [
        ("39", "eu", "eu", "39"),
        ("EU 39", "uk", "eu", "39"),
        ("eu39", "uk", "eu", "39"),
        ("39,5 eu", "uk", "eu", "39.5"),
        ("39.5", "eu", "eu", "39.5"),
        ("uk 6.5", "eu", "uk", "6.5"),
        ("6.5 UK", "eu", "uk", "6.5"),
        ("us w 8", "eu", "us_women", "8"),
        ("US M 9", "eu", "us_men", "9"),
        ("us_women 8", "eu", "us_women", "8"),
        ("us men 9.5", "eu", "us_men", "9.5"),
        ("mondo 245", "eu", "mondo", "245"),
        ("us 8", "eu", None, None),  # men's or women's?
        ("eu 39 uk", "eu", None, None),
        ("", "eu", None, None),
        ("thirty-nine", "eu", None, None),
        ("nan", "eu", None, None),
        ("39 cm", "eu", None, None),
        ("39 40", "eu", None, None),
    ],
)
def test_a_shoe_size_is_read_with_its_system_or_refused(
    text: str, default: ShoeSystem, system: str | None, value: str | None
) -> None:
    if system is None:
        with pytest.raises(UnitError) as refused:
            parse_shoe_size(text, default)
        assert refused.value.problem.mend
        return
    size = parse_shoe_size(text, default)
    assert (size.typed, size.system, size.value) == (text, system, Decimal(str(value)))
