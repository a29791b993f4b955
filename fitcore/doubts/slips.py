"""What else a typed number could have meant: another unit, a lost point, a slip of the tape.

Only possible meanings are listed; whether one reads better is judged where the ranges and the
neighbours are known. No reading is ever changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Literal

from fitcore.units import INCH_MM, show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitcore.units import Unit

SlipCode = Literal["unit_slip", "decimal_slip", "tape_slip", "digits_swapped"]

_MM_IN: dict[Unit, Decimal] = {"in": INCH_MM, "cm": Decimal(10), "mm": Decimal(1)}


@dataclass(frozen=True, slots=True)
class Value:
    """One value as far as it is known."""

    mm: Decimal
    unit: Unit
    """The unit on the tape."""
    shown: str
    """How a sentence names it: as it was typed where that is known."""


@dataclass(frozen=True, slots=True)
class Slip:
    """One other meaning of a number."""

    code: SlipCode
    mm: Decimal
    """What was meant, in mm."""
    unit: Unit | None = None
    """The unit in which the number reads right, for a slip of unit."""


def typing_slips(mm: Decimal, unit: Unit) -> Iterator[Slip]:
    """Yield what the same digits say in another unit or with the point elsewhere.

    224 for 22.4 may be a lost point or millimetres: both are listed, with the same meaning.

    Args:
        mm: what was typed, in mm.
        unit: the unit it was taken in.
    """
    amount = mm / _MM_IN[unit]
    for other, size in _MM_IN.items():
        if other != unit:
            yield Slip("unit_slip", amount * size, other)
    yield Slip("decimal_slip", mm / 10)
    yield Slip("decimal_slip", mm * 10)


def tape_slips(mm: Decimal, unit: Unit, slip_cm: Decimal) -> Iterator[Slip]:
    """Yield what a tape read at a wrong ten, or with its two whole digits swapped, would have said.

    Args:
        mm: the reading in mm.
        unit: the tape's unit: digits are swapped in it, and only cm tapes are read at a wrong ten.
        slip_cm: how far a misread ten is off.

    Source: real slips left in a published set of leg girths (Johnson 2021): calf 66.0 for 36.0,
    25.5 twice for 35.5, knee 24.7 for 34.7. What was meant is our judgement.
    """
    if unit != "in":
        if mm > slip_cm * 10:
            yield Slip("tape_slip", mm - slip_cm * 10)
        yield Slip("tape_slip", mm + slip_cm * 10)
    size = _MM_IN["in" if unit == "in" else "cm"]
    whole = int(mm / size)
    tens, ones = divmod(whole, 10)
    if 1 <= tens <= 9 and ones not in (0, tens):
        yield Slip("digits_swapped", mm + (ones * 10 + tens - whole) * size)


def slip_words(code: str, meant: Decimal | None) -> str:
    """Say what a misread number reads like, and to look again."""
    if meant is None:
        return ""
    if code == "digits_swapped":
        return say("Digits swapped, {cm} cm? Look at the tape again.", cm=about_cm(meant))
    return say("It reads like {cm} cm: look at the tape again.", cm=about_cm(meant))


def about_cm(mm: Decimal) -> str:
    """Return a guessed meaning in cm, to the mm: a hint for the eye, never stored."""
    return show_cm(mm.quantize(Decimal(1), ROUND_HALF_UP))
