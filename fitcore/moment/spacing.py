"""How far apart in time the readings of a session lie: within a set, between legs, to a repeat.

Nothing here changes a reading. Thresholds are data.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from fitcore.flags import Flag, Level
from fitcore.instants import EPOCH, hours_between
from fitcore.moment.clock import duration_words, seconds_between
from fitcore.points import LEGS, Kind, Place, Point, Side, place_words
from fitcore.record.reasons import reason_for_set
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence
    from datetime import datetime

    from fitcore.moment.time_rules import TimeRules
    from fitcore.record.reading import Reading
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session

SET_TOOK_LONG = "set_took_long"
_MINUTE = 60


@dataclass(frozen=True, slots=True)
class Timed:
    """A reading of the tape and when it was first read."""

    reading: Reading
    at: datetime


def timed_readings(readings: Readings, side: Side) -> tuple[Timed, ...]:
    """Return a leg's tape readings that have a value and a time, the earliest first."""
    found = [
        Timed(reading, at)
        for place in readings.places()
        if place[0] is side and place[2] is not Kind.SHOE
        for reading in readings.taken(place)
        if (at := readings.read_at(reading)) is not None
    ]
    return tuple(sorted(found, key=lambda timed: hours_between(EPOCH, timed.at)))


def judge_spacing(
    session: Session,
    readings: Readings,
    sides: Collection[Side],
    rules: TimeRules,
    way_of: Callable[[Side], str],
) -> tuple[Flag, ...]:
    """Judge how long each set took, how far apart the legs lie, and each reading and its repeat.

    Args:
        session: for the reasons given.
        readings: its readings.
        sides: the legs it is about.
        rules: thresholds.
        way_of: how a leg's readings are repeated, as `fitcore.doubts.repeats` names the ways.

    Source: the thresholds' own file.
    """
    timed = {side: timed_readings(readings, side) for side in LEGS if side in sides}
    flags: list[Flag] = []
    for side, leg in timed.items():
        flags += _set_took_long(session, leg, side, rules)
        flags += _repeat_spacing(leg, side, rules, way_of(side))
    return (*flags, *_legs_far_apart(timed.get(Side.LEFT, ()), timed.get(Side.RIGHT, ()), rules))


def judge_set_now(
    session: Session,
    readings: Readings,
    side: Side,
    number: int,
    *,
    now: datetime,
    rules: TimeRules,
) -> list[Flag]:
    """Judge how long a set will have taken with a reading taken now.

    Args:
        session: for the reasons given.
        readings: what was read so far.
        side: the leg.
        number: which time round.
        now: the present instant.
        rules: thresholds.
    """
    begun = [timed.at for timed in _sets(timed_readings(readings, side)).get(number, ())]
    if not begun or now.utcoffset() is None:
        return []
    return _judge_set(session, side, number, seconds_between(begun[0], now), rules)


def sets_without_reason(
    session: Session, readings: Readings, side: Side, rules: TimeRules
) -> list[Reading]:
    """Return the last reading of each of a leg's sets that took too long, with no reason given."""
    found = []
    for number, timed in _sets(timed_readings(readings, side)).items():
        flags = _judge_set(session, side, number, _seconds(timed), rules)
        found += [timed[-1].reading for flag in flags if flag.level is Level.BLOCK]
    return found


def _set_took_long(
    session: Session, leg: Sequence[Timed], side: Side, rules: TimeRules
) -> list[Flag]:
    """Judge the longest of a leg's sets, those without a reason first; each time round is one."""
    flags = [
        (flag.level is Level.BLOCK, _seconds(timed), flag)
        for number, timed in _sets(leg).items()
        for flag in _judge_set(session, side, number, _seconds(timed), rules)
    ]
    return [max(flags, key=lambda found: found[:2])[2]] if flags else []


def _judge_set(
    session: Session, side: Side, number: int, seconds: float, rules: TimeRules
) -> list[Flag]:
    limits, took, level = rules.set_took_long, duration_words(seconds), Level.WARN
    if seconds > float(limits.block_after_minutes * _MINUTE):
        why = reason_for_set(session, SET_TOOK_LONG, side.value, number)
        if why:
            text = say(
                "First to last reading took {time}. Kept: {why}.", time=took, why=why.rstrip(".")
            )
        else:
            level = Level.BLOCK
            text = say(
                "First to last reading took {time}: start a new session for this leg, or say why "
                "its readings are kept.",
                time=took,
            )
    elif seconds > float(limits.warn_after_minutes * _MINUTE):
        text = say(
            "First to last reading took {time}, long enough to swell: read the first points again.",
            time=took,
        )
    elif seconds > float(limits.note_after_minutes * _MINUTE):
        level = Level.NOTE
        text = say("First to last reading took {time}: quicker is better.", time=took)
    else:
        return []
    return [Flag(SET_TOOK_LONG, level, "conditions", text, side)]


def _sets(leg: Sequence[Timed]) -> dict[int, list[Timed]]:
    """Sort a leg's readings out by time round, each set the earliest first."""
    sets: defaultdict[int, list[Timed]] = defaultdict(list)
    for timed in leg:
        sets[timed.reading.round].append(timed)
    return dict(sets)


def _seconds(timed: Sequence[Timed]) -> float:
    return seconds_between(timed[0].at, timed[-1].at)


def _legs_far_apart(
    left: Sequence[Timed], right: Sequence[Timed], rules: TimeRules
) -> tuple[Flag, ...]:
    """Judge the widest gap between the same reading of both legs."""
    firsts: tuple[dict[tuple[Point, Kind, int], datetime], ...] = ({}, {})
    for first, leg in zip(firsts, (left, right), strict=True):
        for timed in leg:
            _, point, kind = timed.reading.place
            first.setdefault((point, kind, timed.reading.round), timed.at)
    gaps = [
        (abs(seconds_between(at, firsts[1][key])), key)
        for key, at in firsts[0].items()
        if key in firsts[1]
    ]
    gap, (point, kind, _) = max(
        gaps, key=lambda found: found[0], default=(0.0, (Point.B, Kind.GIRTH, 1))
    )
    limits = rules.legs_far_apart
    if gap <= float(limits.warn_after_minutes * _MINUTE):
        return ()
    text = say(
        "Left and right were read {time} apart, {what}: a difference may be swelling only. Read "
        "both again, one after the other.",
        time=duration_words(gap),
        what=place_words(point, kind),
    )
    return (Flag("legs_far_apart", Level.WARN, "conditions", text),)


def _repeat_spacing(leg: Sequence[Timed], side: Side, rules: TimeRules, way: str) -> list[Flag]:
    """Judge each reading and its repeat; the worst of the leg is told, once each way."""
    by_place: defaultdict[Place, list[Timed]] = defaultdict(list)
    for timed in leg:
        by_place[timed.reading.place].append(timed)
    gaps = [
        (seconds_between(one.at, other.at), place)
        for place, taken in by_place.items()
        for one, other in pairwise(taken)
        if not _of_one_sheet(one, other)
    ]
    if not gaps:
        return []
    limits, flags = rules.repeat_spacing, []
    longest, place = max(gaps, key=lambda gap: gap[0])
    if longest > float(limits.warn_after_minutes(way) * _MINUTE):
        text = say(
            "Reading and repeat lie {time} apart, {what}: the leg may have changed in between.",
            time=duration_words(longest),
            what=place_words(place[1], place[2]),
        )
        flags.append(Flag("repeat_spacing", Level.WARN, "conditions", text, side))
    shortest, place = min(gaps, key=lambda gap: gap[0])
    if shortest < float(limits.note_below_seconds):
        text = say(
            "Reading and repeat lie only {time} apart, {what}: was the tape taken off?",
            time=duration_words(shortest),
            what=place_words(place[1], place[2]),
        )
        flags.append(Flag("repeat_spacing", Level.NOTE, "conditions", text, side))
    return flags


def _of_one_sheet(one: Timed, other: Timed) -> bool:
    """Whether both were imported with one and the same time: a sheet notes no seconds."""
    rows = one.reading.row and other.reading.row
    return bool(rows) and seconds_between(one.at, other.at) == 0
