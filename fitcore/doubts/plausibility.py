"""Doubts about readings: is this a number an adult's leg gives, and does it go with the others?

The limits are data. A doubt says what to look at again and what the number may have meant; it never
changes a reading. Doubts raised for one cause share one sentence.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from fitcore.doubts.neighbours import HEIGHTS, Beside, Context, judge_beside, judge_heights
from fitcore.doubts.neighbours import judge_same_both_legs as judge_same
from fitcore.doubts.proportions import Misfit, goes_with, judge_leg
from fitcore.doubts.range_doubts import cannot_be, judge_alone, ordinary_meanings, range_doubts
from fitcore.doubts.shoe_doubts import doubt_shoe
from fitcore.doubts.slips import Value
from fitcore.flags import Flag, Level
from fitcore.identity import EntryId
from fitcore.points import LEGS, Kind, Place, Point, Side, other_side
from fitcore.shoes import ShoeSize
from fitcore.units import show_cm, show_length

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from decimal import Decimal

    from fitcore.profile_models import Ranges
    from fitcore.record.reading import Reading
    from fitcore.record.readings import Readings
    from fitcore.units import Length, Unit

_MOST_TELLING_FIRST = (
    "hard_range",
    "unit_slip",
    "decimal_slip",
    "tape_slip",
    "digits_swapped",
    "neighbours_swapped",
    "other_leg",
    "ankle_not_smaller",
    "lengths_not_rising",
    "ratio",
    "same_both_legs",
    "last_time",
    "tape_too_short",
    "shoe_step",
    "soft_range",
)
_SLIPS_OF_THE_TAPE = ("tape_slip", "digits_swapped")
_Legs = dict[tuple[Side, Kind], dict[Point, Value]]


def doubt_reading(  # noqa: PLR0917  what was typed, and all that is known beside it
    ranges: Ranges, place: Place, mm: Decimal, typed: str, unit: Unit, context: Context
) -> tuple[Flag, ...]:
    """Judge one length as it is typed, by the ranges and beside all that is known so far.

    Args:
        ranges: limits, in cm, each with its source.
        place: leg, point and kind; a shoe size is judged elsewhere.
        mm: the reading in mm.
        typed: the text as typed.
        unit: the unit it was taken in.
        context: the other readings; what they alone give doubt of is not told again.

    Returns:
        Flags, worst and most telling first. A flag may name another point than the one just read:
        the reading now most likely wrong.
    """
    side, point, kind = place
    if kind is Kind.SHOE or side is Side.BOTH:
        return ()
    value = Value(mm, unit, show_length(mm, typed, unit))

    def others(points: Iterable[Point]) -> dict[Point, Value]:
        found = ((p, context.known(side, p, kind)) for p in points if p is not point)
        return {
            p: Value(known, context.tape_unit, f"{show_cm(known)} cm")
            for p, known in found
            if known is not None
        }

    leg = others(ranges.points_compared) if kind is Kind.GIRTH else {}
    swollen = context.swollen
    flags = judge_alone(ranges, place, value, swollen=side in swollen, lone=not leg)
    if leg:
        whole = {**leg, point: value}
        old = {misfit.point: misfit for misfit in judge_leg(ranges, leg)}
        new = [
            misfit
            for misfit in judge_leg(ranges, whole, point)
            if misfit.point is point or misfit.says_more_than(old.get(misfit.point))
        ]
        flags += _misfit_flags(ranges, side, whole, new, swollen)
    if kind is Kind.LENGTH:
        known = others(HEIGHTS)
        told = {flag.point for flag in _height_flags(ranges, side, known)} - {point}
        now = _height_flags(ranges, side, {**known, point: value}, point)
        flags += [flag for flag in now if flag.point not in told]
    beside = Beside(
        context.known(other_side(side), point, kind), context.before(side, point, kind), leg
    )
    flags += judge_beside(ranges, place, value, beside, context.explained)
    just = context.just_typed
    same = judge_same(ranges, place, value, (just[0], just[2]) if just is not None else None)
    return _worst_first([*flags, *([same] if same is not None else [])])


def judge_readings(
    ranges: Ranges,
    readings: Readings,
    before: Callable[[Side, Point, Kind], Decimal | None],
    swollen: frozenset[Side],
    explained: frozenset[Side] = frozenset(),
    *,
    differing: frozenset[Place] = frozenset(),
) -> tuple[Flag, ...]:
    """Judge a whole recorded session as `doubt_reading` judges it reading by reading.

    Args:
        ranges: limits, in cm, each with its source.
        readings: the session's readings: each by itself is judged by the ranges, the values used
            are compared.
        before: the client's last session's values in mm; None where unread.
        swollen: legs recorded as swollen.
        explained: those of them whose swelling is known of old.
        differing: places whose readings do not agree; nothing is compared with them.

    Returns:
        Flags, worst and most telling first, each doubt once, at the reading most likely wrong.
    """
    flags: list[Flag] = []
    legs: _Legs = {}
    for place in readings.places():
        value = _value_used(readings, place)
        if value is not None and place not in differing:
            legs.setdefault((place[0], place[2]), {})[place[1]] = value
    for place in readings.places():
        neighbours = legs.get((place[0], Kind.GIRTH), {}).keys() & ranges.points_compared
        lone = place[2] is not Kind.GIRTH or not neighbours - {place[1]}
        for reading in readings.taken(place):
            flags += _judge_reading(ranges, reading, swollen=place[0] in swollen, lone=lone)
    for (side, kind), leg in legs.items():
        if kind is Kind.GIRTH:
            flags += _misfit_flags(ranges, side, leg, judge_leg(ranges, leg), swollen)
        else:
            flags += _height_flags(ranges, side, leg)
    flags += _judge_both_legs(ranges, legs, before, explained)
    flags += _same_in_a_row(ranges, readings)
    return _worst_first(flags)


def judge_range(ranges: Ranges, place: Place, typed: Length | ShoeSize) -> Flag | None:
    """Judge one value by the ranges alone, or a shoe size by its system's limits.

    Args:
        ranges: the plausible ranges, in cm, each with its source.
        place: where it was read.
        typed: what was written, and what it means.

    Returns:
        The worst doubt, or None.
    """
    if isinstance(typed, ShoeSize):
        return next(iter(doubt_shoe(ranges, place, typed.value, typed.system)), None)
    value = Value(typed.mm, typed.unit, show_length(typed.mm, typed.typed, typed.unit))
    flags = judge_alone(ranges, place, value, swollen=False, lone=True)
    return next(iter(_worst_first(flags)), None)


def _judge_reading(ranges: Ranges, reading: Reading, *, swollen: bool, lone: bool) -> list[Flag]:
    """Judge one recorded reading by its range, or a shoe size by its system's limits."""
    if reading.mm is not None:
        value = _value(reading.mm, reading)
        return judge_alone(ranges, reading.place, value, swollen=swollen, lone=lone)
    if reading.value is None or reading.system is None:
        return []
    return list(doubt_shoe(ranges, reading.place, reading.value, reading.system))


def _misfit_flags(
    ranges: Ranges,
    side: Side,
    leg: Mapping[Point, Value],
    misfits: Sequence[Misfit],
    swollen: frozenset[Side],
) -> list[Flag]:
    """Turn misfits into flags: on a swollen leg only notes, unless the range doubts it too."""
    flags: list[Flag] = []
    for misfit in misfits:
        if not _is_worth_telling(ranges, leg, misfit):
            continue
        text = misfit.text(leg)
        doubted = range_doubts(ranges, misfit.point, Kind.GIRTH, leg[misfit.point].mm)
        stays = misfit.codes[0] == "neighbours_swapped" or (
            misfit.codes[0] in _SLIPS_OF_THE_TAPE and doubted
        )
        level = Level.NOTE if side in swollen and not stays else Level.WARN
        flags += [
            Flag(code, level, "reading", text, side, misfit.point, Kind.GIRTH)
            for code in misfit.codes
        ]
    return flags


def _is_worth_telling(ranges: Ranges, leg: Mapping[Point, Value], misfit: Misfit) -> bool:
    """Whether a misfit tells more than the doubt its number alone raises.

    Not where another unit or point makes the number an ordinary one that goes with the leg, and
    not where nothing explains a number that cannot be right: of course it goes with nothing.
    """
    point, value = misfit.point, leg[misfit.point]
    rest = {p: other for p, other in leg.items() if p is not point}
    meanings = ordinary_meanings(ranges, point, Kind.GIRTH, value)
    if any(goes_with(ranges, rest, point, mm) for mm in meanings):
        return False
    return misfit.is_explained or not cannot_be(ranges, point, Kind.GIRTH, value.mm)


def _height_flags(
    ranges: Ranges, side: Side, heights: Mapping[Point, Value], latest: Point | None = None
) -> tuple[Flag, ...]:
    possible = {
        point: value
        for point, value in heights.items()
        if not cannot_be(ranges, point, Kind.LENGTH, value.mm)
    }
    return judge_heights(side, possible, latest)


def _judge_both_legs(
    ranges: Ranges,
    legs: _Legs,
    before: Callable[[Side, Point, Kind], Decimal | None],
    explained: frozenset[Side],
) -> list[Flag]:
    """Compare a session's values with the other leg's and with last time's."""
    flags: list[Flag] = []
    for point, kind in dict.fromkeys((p, kind) for (_, kind), leg in legs.items() for p in leg):
        found: list[tuple[Decimal, list[Flag]]] = []
        for side in LEGS:
            leg = legs.get((side, kind), {})
            if point not in leg:
                continue
            other = legs.get((other_side(side), kind), {}).get(point)
            girths = {p: v for p, v in leg.items() if p is not point and kind is Kind.GIRTH}
            other_mm = other.mm if other is not None else None
            beside = Beside(other_mm, before(side, point, kind), girths)
            place = (side, point, kind)
            told = judge_beside(ranges, place, leg[point], beside, explained)
            found.append((leg[point].mm, told))
        flags += _told_once(found)
    return flags


def _told_once(found: Sequence[tuple[Decimal, Sequence[Flag]]]) -> list[Flag]:
    """Tell a difference between two legs at one of them only.

    That is the one a slip explains, else the larger one, where new swelling would be. Where each
    could be the other's slip, nobody can tell which one it was.
    """
    slipped = [flags for _, flags in found if any(f.code in _SLIPS_OF_THE_TAPE for f in flags)]
    larger = max(found, key=lambda pair: pair[0])[1]
    chosen = slipped[0] if len(slipped) == 1 else larger
    return [
        flag
        for _, flags in found
        for flag in flags
        if (flag.code != "other_leg" or flags is chosen)
        and (flag.code not in _SLIPS_OF_THE_TAPE or len(slipped) == 1)
    ]


def _same_in_a_row(ranges: Ranges, readings: Readings) -> list[Flag]:
    """Find values typed for one leg right after the same value for the other."""
    taken = [reading for place in readings.places() for reading in readings.taken(place)]
    ordered = sorted(taken, key=lambda reading: EntryId.parse(reading.name))
    flags = []
    for first, second in itertools.pairwise(ordered):
        if first.mm is None or second.mm is None or first.round != second.round:
            continue
        if EntryId.parse(first.name).laptop != EntryId.parse(second.name).laptop:
            continue
        just = (first.place, first.mm)
        flag = judge_same(ranges, second.place, _value(second.mm, second), just)
        flags += [flag] if flag is not None else []
    return flags


def _value_used(readings: Readings, place: Place) -> Value | None:
    """Return the length used at a place; named as typed where it rests on one reading."""
    side, point, kind = place
    adopted = readings.adopted(side, point, kind) if kind is not Kind.SHOE else None
    if adopted is None:
        return None
    taken = readings.taken(place)
    if len(taken) == 1:
        return _value(adopted.mm, taken[0])
    return Value(adopted.mm, taken[-1].unit or "cm", f"{show_cm(adopted.mm)} cm")


def _value(mm: Decimal, reading: Reading) -> Value:
    unit = reading.unit or "cm"
    shown = show_length(mm, reading.typed, unit) if reading.typed else f"{show_cm(mm)} cm"
    return Value(mm, unit, shown)


def _worst_first(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Sort flags; one slip of the tape betrayed by the leg and the other leg is told once."""
    levels = (Level.BLOCK, Level.WARN, Level.NOTE)
    told: dict[object, Flag] = {}
    for flag in flags:
        place = (flag.code, flag.side, flag.point, flag.kind)
        told.setdefault(place if flag.code in _SLIPS_OF_THE_TAPE else flag, flag)
    return tuple(
        sorted(
            told.values(), key=lambda f: (levels.index(f.level), _MOST_TELLING_FIRST.index(f.code))
        )
    )
