"""Readings and places in the words the measuring screen uses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.points import Place, Side, place_words, side_words
from fitcore.shoes import system_words
from fitcore.units import Unit, from_mm, plain, show_cm, show_length
from fitcore.words import say

if TYPE_CHECKING:
    from decimal import Decimal

    from fitcore.profile_models import PlausibleRange
    from fitcore.protocol import Step
    from fitcore.reading import Reading


def reading_words(reading: Reading) -> str:
    """Return a reading's value for people."""
    if reading.not_taken:
        return say("not taken ({why})", why=reading.not_taken)
    if reading.mm is not None and reading.unit is not None:
        return show_length(reading.mm, reading.typed, reading.unit)
    if reading.value is not None and reading.system is not None:
        return f"{system_words(reading.system)} {plain(reading.value)}"
    return ""


def where_words(place: Place) -> str:
    """Return leg and measure: *LEFT round the calf (C)*."""
    side, point, kind = place
    named = "" if side is Side.BOTH else f"{side_words(side)} "
    return f"{named}{place_words(point, kind)}"


def signed_cm(mm: Decimal) -> str:
    """Write a difference in cm with its sign."""
    return f"{'-' if mm < 0 else '+'}{show_cm(abs(mm))}"


def usual_words(known: PlausibleRange | None, unit: Unit) -> str:
    """Return the usual range of a measure, in the tape's unit; empty where none is known."""
    limits = known and (known.typical_cm or known.soft_cm)
    if not limits:
        return ""
    low, high = limits
    if unit == "in":
        return say(
            "usually {low:.1f} to {high:.1f} in",
            low=from_mm(low * 10, "in"),
            high=from_mm(high * 10, "in"),
        )
    return say("usually {low} to {high} cm", low=plain(low), high=plain(high))


def step_rows(step: Step, reading: Reading | None, width: int, *, here: bool) -> list[str]:
    """Return a field's row in the list, and a second where its value does not fit beside it.

    Args:
        step: the field.
        reading: what fills it, or None.
        width: cells there are.
        here: whether it is the field the cursor is on.
    """
    named = f"{'>' if here else ' '}{'+' if reading else ' '} "
    named += place_words(step.point, step.kind)
    value = reading_words(reading) if reading else ""
    if reading and "hard_range" in reading.doubts:
        value += say(" ! impossible, kept")
    elif reading and "soft_range" in reading.doubts:
        value += say(" ! unusual, kept")
    row = f"{named:<32} {value}"
    return [row] if len(row) <= width else [named, f"     {value}"]
