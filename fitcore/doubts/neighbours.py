"""One reading beside the others: the other leg, last time, the heights below and above it.

Differences are told, never judged as disease: new swelling in one leg is for a doctor or the
prescriber, by the service's own protocol.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.doubts.proportions import goes_with
from fitcore.doubts.range_doubts import cannot_be, range_doubts
from fitcore.doubts.slips import slip_words, tape_slips
from fitcore.flags import Flag, Level
from fitcore.points import Kind, Place, Point, Side, other_side, place_words
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from decimal import Decimal

    from fitcore.doubts.slips import Value
    from fitcore.profile_models import Ranges
    from fitcore.units import Unit

HEIGHTS = (Point.B, Point.B1, Point.C, Point.D, Point.E, Point.F, Point.G, Point.K)
"""Points whose height above the floor rises in this order on every leg."""


@dataclass(frozen=True, slots=True)
class Context:
    """What is known when one reading is judged; the place judged itself is never asked for."""

    known: Callable[[Side, Point, Kind], Decimal | None]
    """Other values of this session in mm; None where unread."""
    before: Callable[[Side, Point, Kind], Decimal | None]
    """The client's last session's values in mm; None where unread."""
    just_typed: tuple[Place, str, Decimal] | None
    """The reading accepted right before: place, typed text, mm."""
    swollen: frozenset[Side]
    """Legs recorded as swollen."""
    tape_unit: Unit
    """The unit on the tape in use."""
    explained: frozenset[Side] = frozenset()
    """Legs whose swelling is known of old: only there is a difference between legs no surprise."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What one value is compared with."""

    other_mm: Decimal | None
    """The same measure of the other leg, in mm."""
    before_mm: Decimal | None
    """The same measure of the client's last session, in mm."""
    leg: Mapping[Point, Value]
    """Other girths of the same leg; empty for a length."""


def judge_beside(
    ranges: Ranges, place: Place, value: Value, beside: Beside, explained: frozenset[Side]
) -> list[Flag]:
    """Compare a value with the other leg and with last time.

    A number that cannot be right is compared with nothing, and nothing with it.

    Args:
        ranges: holds the limits, in cm and percent.
        place: where it was read.
        value: the reading.
        beside: what it is compared with.
        explained: legs whose swelling is known of old; a difference to or from one is only noted.

    Returns:
        `other_leg`, `last_time`, and the slip of the tape that would explain what differs.

    Source: each limit's own; new swelling of one leg is never explained away here.
    """
    _, point, kind = place
    if cannot_be(ranges, point, kind, value.mm):
        return []
    other, before = (
        None if mm is None or cannot_be(ranges, point, kind, mm) else mm
        for mm in (beside.other_mm, beside.before_mm)
    )
    beside = Beside(other, before, beside.leg)
    flags = [_other_leg(ranges, place, value, other, explained)]
    flags.append(_last_time(ranges, place, value, before))
    if any(flags):
        flags.append(_slip_beside(ranges, place, value, beside, explained))
    return [flag for flag in flags if flag is not None]


def _other_leg(
    ranges: Ranges, place: Place, value: Value, other: Decimal | None, explained: frozenset[Side]
) -> Flag | None:
    side, point, kind = place
    limit = ranges.difference("other_leg", kind)
    if limit is None or other is None or limit.allows(value.mm, other):
        return None
    what = place_words(point, kind)
    text = (
        say(
            "{what}: {value}, the other leg {other} cm. Measure both again. {larger} newly "
            "swollen? Ask the prescriber or a doctor today, as your protocol says.",
            what=what,
            value=value.shown,
            other=show_cm(other),
            larger=say("Is it") if value.mm > other else say("Is the other leg"),
        )
        if kind is Kind.GIRTH
        else say(
            "{what}: {value}, the other leg {other} cm. Measure both again.",
            what=what,
            value=value.shown,
            other=show_cm(other),
        )
    )
    level = Level.NOTE if explained & {side, other_side(side)} else Level.WARN
    return Flag("other_leg", level, "reading", text, side, point, kind)


def _last_time(ranges: Ranges, place: Place, value: Value, before: Decimal | None) -> Flag | None:
    side, point, kind = place
    limit = ranges.difference("last_time", kind)
    if limit is None or before is None or limit.allows(value.mm, before):
        return None
    text = say(
        "{what}: {value}, last time {before} cm. Measure it again before believing the change.",
        what=place_words(point, kind),
        value=value.shown,
        before=show_cm(before),
    )
    return Flag("last_time", Level.WARN, "reading", text, side, point, kind)


def _slip_beside(
    ranges: Ranges, place: Place, value: Value, beside: Beside, explained: frozenset[Side]
) -> Flag | None:
    """Find the slip that brings a value to the other leg's and last time's, as far as known."""
    side, point, kind = place
    compared = [
        (limit, mm)
        for code, mm in (("other_leg", beside.other_mm), ("last_time", beside.before_mm))
        if mm is not None and (limit := ranges.difference(code, kind)) is not None
    ]
    for slip in tape_slips(value.mm, value.unit, ranges.tape_slip_cm):
        if (
            all(limit.allows(slip.mm, mm) for limit, mm in compared)
            and not range_doubts(ranges, point, kind, slip.mm)
            and goes_with(ranges, beside.leg, point, slip.mm)
        ):
            words = slip_words(slip.code, slip.mm)
            text = _far_words(place, value, beside, words)
            doubted = range_doubts(ranges, point, kind, value.mm)
            level = Level.NOTE if side in explained and not doubted else Level.WARN
            return Flag(slip.code, level, "reading", text, side, point, kind)
    return None


def _far_words(place: Place, value: Value, beside: Beside, slip: str) -> str:
    what = place_words(place[1], place[2])
    if beside.other_mm is not None:
        return say(
            "{what}: {value}, but the other leg {cm} cm. {slip}",
            what=what,
            value=value.shown,
            cm=show_cm(beside.other_mm),
            slip=slip,
        )
    return say(
        "{what}: {value}, but last time {cm} cm. {slip}",
        what=what,
        value=value.shown,
        cm=show_cm(beside.before_mm or value.mm),
        slip=slip,
    )


def judge_same_both_legs(
    ranges: Ranges, place: Place, value: Value, just_typed: tuple[Place, Decimal] | None
) -> Flag | None:
    """Ask whether the second leg was measured where its number is the first leg's, to the mm."""
    side, point, kind = place
    first = (other_side(side), point, kind)
    if not ranges.ask_same_both_legs or kind is Kind.SHOE or just_typed != (first, value.mm):
        return None
    text = say(
        "{what}: {value}, the same as the other leg to the mm. Was this leg measured too?",
        what=place_words(point, kind),
        value=value.shown,
    )
    return Flag("same_both_legs", Level.WARN, "reading", text, side, point, kind)


def judge_heights(
    side: Side, heights: Mapping[Point, Value], latest: Point | None = None
) -> tuple[Flag, ...]:
    """Find heights above the floor that do not rise from point to point.

    Args:
        side: the leg, for the flags.
        heights: those known.
        latest: the one read last; of two equally doubtful it is the one looked at again.
    """
    flags: list[Flag] = []
    rest = dict(heights)
    while True:
        ordered = [point for point in HEIGHTS if point in rest]
        wrong = [
            (low, high)
            for low, high in itertools.combinations(ordered, 2)
            if rest[low].mm >= rest[high].mm
        ]
        if not wrong:
            return tuple(flags)
        points = [point for pair in wrong for point in pair]
        doubted = max(points, key=lambda p: (points.count(p), p is latest, HEIGHTS.index(p)))
        low, high = next(
            pair
            for pair in sorted(wrong, key=lambda p: HEIGHTS.index(p[1]) - HEIGHTS.index(p[0]))
            if doubted in pair
        )
        text = say(
            "{high}: {higher} is not more than {low}, {lower}. Measure both again.",
            high=place_words(high, Kind.LENGTH),
            higher=rest[high].shown,
            low=place_words(low, Kind.LENGTH),
            lower=rest[low].shown,
        )
        flags.append(
            Flag("lengths_not_rising", Level.WARN, "reading", text, side, doubted, Kind.LENGTH)
        )
        del rest[doubted]
