"""Lengths as people type them, to exact millimetres and back: the only module that knows pint.

Typed text is never handed to pint: it reads `9 1/2 inch` as 4.5 inch (an implied product). The
small grammar here turns text into one exact number and one unit, and pint converts those.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Literal, NewType, get_args

from fitcore.clean_text import clean
from fitcore.problems import Problem, UnitError
from fitcore.words import say

if TYPE_CHECKING:
    from pint import UnitRegistry

Millimetre = NewType("Millimetre", Decimal)
"""A length in mm as an exact decimal."""

Unit = Literal["cm", "mm", "in"]
UNITS: tuple[Unit, ...] = get_args(Unit)

LONGEST_TEXT = 24
"""No length needs more characters; ours. What is longer was typed or pasted into a wrong field."""

_FINEST_DIVISION = 64
"""Tapes in inches are divided down to 1/16, rules to 1/64; a third of an inch is on neither."""

_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_SIGNS = str.maketrans(
    {
        "\u2033": '"',
        "\u201d": '"',
        "\u201c": '"',
        "\u2032": "'",
        "\u2019": "'",
        "\u2044": "/",
        "\u00a0": " ",
    }
)
_AMOUNT = r"(?:[0-9]+\s+[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+[.,][0-9]+|[.,][0-9]+|[0-9]+)"
_UNIT_WORDS: dict[str, Unit] = {
    "cm": "cm",
    "mm": "mm",
    "in": "in",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "''": "in",
}
_PLAIN = re.compile(rf"({_AMOUNT})\s*(cm|mm|inches|inch|in|\"|'')?")
_FEET = re.compile(rf"([0-9]+)\s*(?:ft|feet|foot|')\s*(?:({_AMOUNT})\s*(?:inches|inch|in|\"|'')?)?")


INCH_MM = Decimal("25.4")
"""Exact by definition. Source: 16 CFR 500.19 (read)."""
_MM_IN_ONE: dict[Unit, Decimal] = {"mm": Decimal(1), "cm": Decimal(10), "in": INCH_MM}


@dataclass(frozen=True, slots=True)
class Length:
    """One length as it was typed and what it means exactly."""

    typed: str
    unit: Unit
    mm: Millimetre


def parse_length(text: str, default_unit: Unit) -> Length:
    """Read a length as people type it.

    Accepts `38.5`, `38,5`, `38.5 cm`, `385mm`, `15 1/8 in`, `15 1/8"`, `15.125in`, `1 ft 3 in`.

    Args:
        text: what was typed; the words around it are not allowed.
        default_unit: the unit printed on the tape, used where none is typed.

    Returns:
        The text kept as typed (cleaned of control characters), the unit, and exact millimetres.

    Raises:
        UnitError: the text is no length; the problem says what would be.

    Source: 1 in = 2.54 cm exactly, 16 CFR 500.19 (read).
    """
    typed, amount, unit = _read(text, default_unit)
    return Length(typed, unit, to_mm(amount, unit))


def says_mm(text: str, default_unit: Unit, mm: Decimal) -> bool:
    """Whether typed text means exactly these millimetres: a stored reading read again.

    Needs no conversion, so that reading an inch session does not load pint.

    Raises:
        UnitError: the text is no length.
    """
    _, amount, unit = _read(text, default_unit)
    return amount * _MM_IN_ONE[unit] == mm


def to_mm(amount: Decimal, unit: Unit) -> Millimetre:
    """Convert an exact amount to exact millimetres."""
    if unit == "mm":
        return Millimetre(amount)
    if unit == "cm":
        return Millimetre(amount * 10)
    return Millimetre(_registry().Quantity(amount, "inch").to("millimetre").magnitude)


def from_mm(mm: Decimal, unit: Unit) -> Decimal:
    """Convert exact millimetres to another unit; exact for cm and mm, 28 digits for inches."""
    if unit == "mm":
        return mm
    if unit == "cm":
        return mm.scaleb(-1)
    amount: Decimal = _registry().Quantity(mm, "millimetre").to("inch").magnitude
    return amount


def plain(number: Decimal) -> str:
    """Write a decimal without an exponent and without padding zeros: `38.5`, `40`, `38.4175`."""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def show_cm(mm: Decimal) -> str:
    """Write millimetres as centimetres with at least one decimal and nothing rounded away."""
    text = plain(from_mm(mm, "cm"))
    return text if "." in text else f"{text}.0"


def show_length(mm: Decimal, typed: str, unit: Unit) -> str:
    """Write a reading for the screen: `38.5 cm`; an inch reading keeps its own words in front."""
    if unit == "in":
        written = typed if re.search(r"[a-z\"']", typed) else f"{typed} in"
        return say("{typed} = {cm} cm", typed=written, cm=show_cm(mm))
    return f"{show_cm(mm)} cm"


def _read(text: str, default_unit: Unit) -> tuple[str, Decimal, Unit]:
    typed = clean(text).text
    if len(typed) > LONGEST_TEXT:
        raise UnitError(_not_a_length(typed))
    return (typed, *_split(typed, default_unit))


@lru_cache(maxsize=4096)  # the tape shows a few hundred values; a merge reads millions of readings
def _split(typed: str, default_unit: Unit) -> tuple[Decimal, Unit]:
    text = typed.casefold().translate(_SIGNS)
    for sign, words in _VULGAR.items():
        text = text.replace(sign, f" {words}")
    text = " ".join(text.split())
    if match := _PLAIN.fullmatch(text):
        written, unit_word = match.groups()
        if unit_word is None and "/" in written and default_unit != "in":
            raise UnitError(
                Problem(
                    code="fraction_without_unit",
                    text=say("'{typed}' has a fraction but no unit.", typed=typed),
                    mend=say("Type {typed} in for inches, or a decimal such as 38.5.", typed=typed),
                )
            )
        unit = _UNIT_WORDS[unit_word] if unit_word else default_unit
        return _exact(_amount(written), typed), unit
    if match := _FEET.fullmatch(text):
        feet, inches = match.groups()
        return _exact(Fraction(feet) * 12 + (_amount(inches) if inches else 0), typed), "in"
    raise UnitError(_not_a_length(typed))


def _amount(written: str) -> Fraction:
    total = Fraction(0)
    for part in written.replace(",", ".").split():
        if "/" in part and int(part.split("/")[1]) == 0:
            raise UnitError(_not_a_length(written))
        total += Fraction(part)
    return total


def _exact(amount: Fraction, typed: str) -> Decimal:
    if amount <= 0:
        raise UnitError(
            Problem(
                code="length_not_positive",
                text=say("'{typed}' is not more than zero.", typed=typed),
                mend=say("Type what the tape shows, or choose 'not taken'."),
            )
        )
    if "/" in typed.translate(_SIGNS) and (
        amount.denominator > _FINEST_DIVISION or amount.denominator & (amount.denominator - 1)
    ):
        raise UnitError(
            Problem(
                code="fraction_not_on_tape",
                text=say("'{typed}': no tape is divided like that.", typed=typed),
                mend=say("Use halves, quarters, eighths, sixteenths, or a decimal."),
            )
        )
    return Decimal(amount.numerator) / Decimal(amount.denominator)


def _not_a_length(typed: str) -> Problem:
    return Problem(
        code="not_a_length",
        text=say("'{typed}' is not a length.", typed=typed[: LONGEST_TEXT * 2]),
        mend=say("Type it like 38.5 or 38,5 or 385mm or 15 1/8 in."),
    )


@cache
def _registry() -> UnitRegistry[Decimal]:
    # Our own three definitions instead of pint's default file: 0.7 ms instead of 90 (measured),
    # and exact decimals throughout.
    from pint import UnitRegistry

    registry: UnitRegistry[Decimal] = UnitRegistry(None, non_int_type=Decimal)
    registry.define("millimetre = [length] = mm")
    registry.define(f"inch = {_MM_IN_ONE['in']} * millimetre = in")
    return registry
