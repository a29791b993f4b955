"""Doubts about one reading by itself: its range, the tape's length, and what else was typed.

The limits are data. A doubt outside a range and the slip that explains it share one sentence.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.doubts.slips import Slip, Value, about_cm, slip_words, tape_slips, typing_slips
from fitcore.flags import Flag, Level
from fitcore.points import Kind, Place, Point, place_words
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from fitcore.profile_models import PlausibleRange, Ranges


def judge_alone(
    ranges: Ranges, place: Place, value: Value, *, swollen: bool, lone: bool
) -> list[Flag]:
    """Judge a value by its range and the tape's length.

    Args:
        ranges: limits, in cm, each with its source.
        place: where it was read.
        value: the reading.
        swollen: whether the leg is recorded as swollen: nothing blocks it, but it is asked about,
            and outside the hard range kept only with a reason.
        lone: whether no neighbour is there to tell swapped digits: the range must.

    Returns:
        `hard_range` or `soft_range` with the slips that explain it, and `tape_too_short`.
    """
    side, point, kind = place
    flags: list[Flag] = []
    tape = ranges.tape_cm
    if kind is Kind.GIRTH and tape is not None and value.mm > tape * 10:
        text = say(
            "{what}: {value} is longer than the tape ({tape} cm). Look at the tape again.",
            what=place_words(point, kind),
            value=value.shown,
            tape=plain(tape),
        )
        flags.append(Flag("tape_too_short", Level.WARN, "reading", text, side, point, kind))
    known = ranges.of(point, kind)
    outside = _outside(known, value) if known is not None else None
    if known is None or outside is None:
        return flags
    code, lead = outside
    level = Level.BLOCK if code == "hard_range" and not swollen else Level.WARN
    slips = _typing_slips(known, value, impossible=code == "hard_range")
    if not slips and lone:
        slips = _swapped_digits(ranges, known, value)
    text = f"{lead} {_hint(slips, value)}"
    flags.append(Flag(code, level, "reading", text, side, point, kind))
    flags += [
        Flag(slip_code, Level.WARN, "reading", text, side, point, kind)
        for slip_code in dict.fromkeys(slip.code for slip in slips)
    ]
    return flags


def range_doubts(ranges: Ranges, point: Point, kind: Kind, mm: Decimal) -> bool:
    """Whether the range of a measure would doubt a value in mm."""
    known = ranges.of(point, kind)
    return known is not None and not known.reads_right(mm)


def cannot_be(ranges: Ranges, point: Point, kind: Kind, mm: Decimal) -> bool:
    """Whether a value in mm lies outside what is possible: it is no measure for others."""
    known = ranges.of(point, kind)
    return known is not None and not known.holds(known.hard_cm, mm)


def ordinary_meanings(ranges: Ranges, point: Point, kind: Kind, value: Value) -> list[Decimal]:
    """Return in mm what a rare number reads like in another unit or with the point elsewhere.

    Only meanings nine legs in ten have count: they explain whatever else is odd about it.
    """
    known = ranges.of(point, kind)
    if known is None or known.typical_cm is None or known.reads_right(value.mm):
        return []
    slips = typing_slips(value.mm, value.unit)
    return [slip.mm for slip in slips if known.holds(known.typical_cm, slip.mm)]


def _outside(known: PlausibleRange, value: Value) -> tuple[str, str] | None:
    """Return the code of the range a value lies outside of, and the sentence that says so."""
    what = place_words(known.point, known.kind)
    hard, soft = known.hard_cm, known.soft_cm
    if hard is not None and not known.holds(hard, value.mm):
        return "hard_range", say(
            "{what}: {value} cannot be right (possible: {low} to {high} cm).",
            what=what,
            value=value.shown,
            low=hard[0],
            high=hard[1],
        )
    if soft is not None and not known.holds(soft, value.mm):
        return "soft_range", say(
            "{what}: {value} is outside {low} to {high} cm, where nearly all legs are.",
            what=what,
            value=value.shown,
            low=soft[0],
            high=soft[1],
        )
    return None


def _typing_slips(known: PlausibleRange, value: Value, *, impossible: bool) -> list[Slip]:
    """Find slips of unit or point that read as nearly all legs do.

    For a number that cannot be right the one meaning that at least can be will do.
    """
    slips = list(typing_slips(value.mm, value.unit))
    right = [slip for slip in slips if known.reads_right(slip.mm)]
    if right or not impossible:
        return right
    can_be = [slip for slip in slips if known.holds(known.hard_cm, slip.mm)]
    return can_be if len({slip.mm for slip in can_be}) == 1 else []


def _swapped_digits(ranges: Ranges, known: PlausibleRange, value: Value) -> list[Slip]:
    """Find swapped digits by the range alone: far outside, and then as nine legs in ten read."""
    if known.soft_cm is None:
        return []
    low, high = (limit * 10 for limit in known.soft_cm)
    if low / ranges.alone_factor <= value.mm <= high * ranges.alone_factor:
        return []
    return [
        slip
        for slip in tape_slips(value.mm, value.unit, ranges.tape_slip_cm)
        if slip.code == "digits_swapped" and known.holds(known.typical_cm, slip.mm)
    ]


def _hint(slips: Sequence[Slip], value: Value) -> str:
    """Say what to do about a value outside its range, and what it may have meant."""
    if not slips:
        return say("Look at the tape again.")
    slip = slips[0]
    cm = about_cm(slip.mm)
    if slip.code == "digits_swapped":
        return slip_words(slip.code, slip.mm)
    if slip.code == "decimal_slip":
        return say("Is the decimal point in the right place? It reads like {cm} cm.", cm=cm)
    if slip.unit == "in":
        return say("Read in inches? Then type it with in. It would be {cm} cm.", cm=cm)
    if slip.unit == "mm" and value.unit == "cm":
        return say("A decimal point left out, or read in mm? It reads like {cm} cm.", cm=cm)
    return say(
        "Read in {unit}? Then type it with {unit}. It would be {cm} cm.", unit=slip.unit, cm=cm
    )
