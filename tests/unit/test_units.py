"""Lengths as people type them, to exact millimetres."""

from __future__ import annotations

from decimal import Decimal

import pytest

from fitcore.clean_text import is_unsafe
from fitcore.problems import UnitError
from fitcore.units import Unit, from_mm, parse_length, plain, show_cm, show_length, to_mm

READ = [
    # text, unit printed on the tape, millimetres, unit meant
    ("38.5", "cm", "385", "cm"),
    ("38,5", "cm", "385", "cm"),
    ("22.40", "cm", "224", "cm"),
    ("40", "cm", "400", "cm"),
    (".5", "cm", "5", "cm"),
    ("385", "mm", "385", "mm"),
    ("385mm", "cm", "385", "mm"),
    ("385 mm", "in", "385", "mm"),
    ("38.5 cm", "in", "385", "cm"),
    ("38.5CM", "mm", "385", "cm"),
    ("  38.5  ", "cm", "385", "cm"),
    ("15 1/8", "in", "384.175", "in"),
    ("15 1/8 in", "cm", "384.175", "in"),
    ('15 1/8"', "cm", "384.175", "in"),
    ("15 1/8″", "cm", "384.175", "in"),
    ("15 1/8”", "cm", "384.175", "in"),
    ("15⅛ in", "cm", "384.175", "in"),
    ("15 ⅛ in", "cm", "384.175", "in"),
    ("15 1⁄8 in", "cm", "384.175", "in"),
    ("15\u00a01/8 in", "cm", "384.175", "in"),
    ("15.125in", "cm", "384.175", "in"),
    ("15,125 in", "cm", "384.175", "in"),
    ("15.125 inches", "cm", "384.175", "in"),
    ("7/8 in", "cm", "22.225", "in"),
    ("8 11/16 in", "cm", "220.6625", "in"),
    ("9 1/2 inch", "cm", "241.3", "in"),  # pint alone reads this as 4.5 inch
    ("1 ft 3 in", "cm", "381", "in"),
    ("0.1", "mm", "0.1", "mm"),
]


@pytest.mark.parametrize(("text", "tape", "mm", "unit"), READ)
def test_a_length_is_read_exactly_as_people_type_it(
    text: str, tape: Unit, mm: str, unit: str
) -> None:
    length = parse_length(text, tape)
    assert (length.mm, length.unit) == (Decimal(mm), unit)


@pytest.mark.parametrize("text", ["22.40", "38,5", "15 1/8 in", '15 1/8"', "385mm", "15⅛ in"])
def test_typed_text_is_kept_as_it_was_typed(text: str) -> None:
    assert parse_length(text, "cm").typed == text


REFUSED = [
    *("", "   ", "abc", "3a", "38.5.1", "38,5,1", "1,234.5", "1.234,5", "--38", "-38.5", "+38.5"),
    *("1e3", "1E3", "0x10", "nan", "inf", "∞", "38.5 kg", "38.5 cmm", "38.5 cm 2", "cm", "cm 38"),
    *("1/0 in", "15 1/0 in", "38_5", "３８", "٣٨", "1 2 3", "38.5 38.6", "15 1/8 1/8 in"),
    *("0", "0.0", "0,0 cm", "0 0/8 in", "0mm"),
    *("15 1/3 in", "15 1/7 in", "15 1/10 in", "15 1/128 in"),  # on no tape
]


@pytest.mark.parametrize("text", REFUSED)
@pytest.mark.parametrize("tape", ["cm", "mm", "in"])
def test_what_is_no_length_is_refused_with_a_mend(text: str, tape: Unit) -> None:
    with pytest.raises(UnitError) as refused:
        parse_length(text, tape)
    assert refused.value.problem.mend


@pytest.mark.parametrize("tape", ["cm", "mm"])
@pytest.mark.parametrize("text", ["15 1/8", "15⅛", "7/8"])
def test_a_fraction_on_a_metric_tape_is_asked_about_never_guessed(text: str, tape: Unit) -> None:
    with pytest.raises(UnitError) as refused:
        parse_length(text, tape)
    assert refused.value.problem.code == "fraction_without_unit"


@pytest.mark.parametrize("text", ["\x1b[2J38.5x", "38\u202e5 cmx", "\x00 nothing", "x\u200b"])
def test_the_words_of_a_refusal_hold_nothing_that_steers_a_terminal(text: str) -> None:
    with pytest.raises(UnitError) as refused:
        parse_length(text, "cm")
    assert not any(is_unsafe(character) for character in str(refused.value))


FRACTIONS_OF_AN_INCH = [("1/2", "12.7"), ("1/4", "6.35"), ("1/8", "3.175"), ("1/16", "1.5875")]


@pytest.mark.parametrize(("fraction", "mm"), FRACTIONS_OF_AN_INCH)
def test_fractions_of_an_inch_are_exact(fraction: str, mm: str) -> None:
    """Computed from 1 in = 2.54 cm exactly."""
    assert parse_length(f"{fraction} in", "cm").mm == Decimal(mm)


@pytest.mark.parametrize("sixteenths", range(1, 1600, 7))
def test_a_sixteenth_of_an_inch_comes_back_as_itself(sixteenths: int) -> None:
    inches = Decimal(sixteenths) / 16
    assert from_mm(to_mm(inches, "in"), "in") == inches


@pytest.mark.parametrize(
    ("mm", "unit", "amount"),
    [("385", "cm", "38.5"), ("385", "mm", "385"), ("25.4", "in", "1"), ("384.175", "in", "15.125")],
)
def test_millimetres_turn_into_another_unit_exactly(mm: str, unit: Unit, amount: str) -> None:
    assert from_mm(Decimal(mm), unit) == Decimal(amount)


@pytest.mark.parametrize(
    ("number", "text"),
    [("38.50", "38.5"), ("40.0", "40"), ("400", "400"), ("4E+2", "400"), ("0.10", "0.1")],
)
def test_a_decimal_is_written_without_exponent_or_padding(number: str, text: str) -> None:
    assert plain(Decimal(number)) == text


@pytest.mark.parametrize(
    ("mm", "text"), [("385", "38.5"), ("400", "40.0"), ("384.175", "38.4175"), ("384.25", "38.425")]
)
def test_centimetres_are_shown_with_nothing_rounded_away(mm: str, text: str) -> None:
    assert show_cm(Decimal(mm)) == text


@pytest.mark.parametrize(
    ("typed", "unit", "shown"),
    [
        ("38.5", "cm", "38.5 cm"),
        ("385", "mm", "38.5 cm"),
        ("15 1/8", "in", "15 1/8 in = 38.4175 cm"),
        ("15 1/8 in", "in", "15 1/8 in = 38.4175 cm"),
    ],
)
def test_a_reading_in_inches_is_shown_with_its_own_words_in_front(
    typed: str, unit: Unit, shown: str
) -> None:
    length = parse_length(typed, unit)
    assert show_length(length.mm, length.typed, length.unit) == shown
