"""Doubts about one reading: is this a number an adult's leg gives? The ranges are data."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.flags import Flag, Level
from fitcore.points import Kind, Point, Side, place_words
from fitcore.shoes import judge_shoe_size
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.profile_models import PlausibleRange, Ranges
    from fitcore.reading import Reading


def judge_reading(ranges: Ranges, reading: Reading) -> Flag | None:
    """Judge one recorded reading, a length by the ranges, a shoe size by its system's limits."""
    if reading.mm is not None:
        return judge_range(ranges, reading.side, reading.point, reading.kind, reading.mm)
    if reading.value is None or reading.system is None:
        return None
    problem = judge_shoe_size(reading.value, reading.system)
    if problem is None:
        return None
    side = None if reading.side is Side.BOTH else reading.side
    return Flag("hard_range", Level.BLOCK, "reading", problem.text, side, reading.point)


def judge_range(ranges: Ranges, side: Side, point: Point, kind: Kind, mm: Decimal) -> Flag | None:
    """Judge one length against the usual and the possible range.

    Args:
        ranges: the plausible ranges, in cm, each with its source.
        side: the leg, for the flag.
        point: where it was read.
        kind: girth or length.
        mm: the reading in mm.

    Returns:
        `hard_range` (block) outside what is possible, `soft_range` (warn) outside what is usual,
        else None; also None where no range is known.
    """
    known = ranges.of(point, kind)
    if known is None:
        return None
    for code, level, limits in (
        ("hard_range", Level.BLOCK, known.hard_cm),
        ("soft_range", Level.WARN, known.soft_cm),
    ):
        if limits is None or limits[0] * 10 <= mm <= limits[1] * 10:
            continue
        what = place_words(point, kind)
        usual = say("{low} to {high} cm", low=limits[0], high=limits[1])
        text = (
            say(
                "{what}: {cm} cm cannot be right (possible: {usual}).",
                what=what,
                cm=show_cm(mm),
                usual=usual,
            )
            if level is Level.BLOCK
            else say(
                "{what}: {cm} cm is unusual (usual: {usual}). Look again.",
                what=what,
                cm=show_cm(mm),
                usual=usual,
            )
        )
        hint = _slip_hint(known, mm)
        return Flag(code, level, "reading", f"{text} {hint}".strip(), side, point)
    return None


def _slip_hint(known: PlausibleRange, mm: Decimal) -> str:
    """Name a slip of unit that would make the number usual."""
    low, high = known.soft_cm or known.typical_cm or (Decimal(0), Decimal(0))
    if low <= mm.scaleb(-1) * Decimal("2.54") <= high:
        return say("Read in inches? Then type it with in.")
    if low <= mm.scaleb(-2) <= high:
        return say("Read in mm? Then type it with mm.")
    if low <= mm <= high:
        return say("A decimal point in the wrong place?")
    return ""
