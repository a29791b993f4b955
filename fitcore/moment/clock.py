"""What is doubtful about a laptop's clock and about recorded times. Thresholds are data.

Nothing here reads a clock, and no judgement relies on one being right: whatever it shows, every
reading is kept. Elapsed time is always the difference in UTC.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from fitcore.flags import Flag, Level
from fitcore.instants import hours_between, parse_zone
from fitcore.problems import UnitError
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, tzinfo

    from fitcore.moment.time_rules import Ahead, TimeRules

_MINUTE, _HOUR, _DAY = 60, 3600, 86400


@dataclass(frozen=True, slots=True)
class ClockState:
    """All that is known about a laptop's clock at one moment."""

    now: datetime
    """What it shows, with its offset."""
    newest_record: datetime | None
    """The newest entry this laptop has saved; None where there is none."""
    build_date: date
    """When this version of the program was made."""
    confirmed_on: date | None
    """The day for which somebody last said that date and time are right."""
    opened_at: datetime
    """What the clock showed when the program was opened."""
    elapsed_monotonic_seconds: float
    """Seconds since then, by a clock nobody can set."""
    zone: str
    """IANA name of the laptop's zone; empty where it is not known."""
    last_offset: timedelta | None
    """Offset of the newest record."""
    newest_reading: datetime | None = None
    """The newest reading at hand from anywhere, imported and merged ones too."""


def judge_clock(state: ClockState, rules: TimeRules) -> tuple[Flag, ...]:
    """Judge the laptop's clock against records, the program itself, and somebody's watch.

    Args:
        state: what is known; a time in it without an offset is compared with nothing.
        rules: thresholds and levels.

    Returns:
        Flags, the worst first.

    Source: the thresholds' own file.
    """
    flags = judge_instant(state.now, state.zone, rules)
    if state.newest_reading is not None:
        flags += _in_future(state.newest_reading, state.now, rules)
    return worst_first(
        [
            *flags,
            *_behind(state, rules),
            *_moved(state, rules),
            *_not_confirmed(state, rules),
            *_zone_changed(state, rules),
        ]
    )


def judge_instant(
    instant: datetime, zone: str, rules: TimeRules, now: datetime | None = None
) -> tuple[Flag, ...]:
    """Judge one date and time: has it an offset, does it fit its zone, is it still to come.

    Args:
        instant: what a clock showed, or what a file says.
        zone: IANA name of the zone it was taken in; empty where that is not known.
        rules: levels and thresholds.
        now: the present instant, where it is known.
    """
    if instant.utcoffset() is None:
        text = say(
            "A time stands without its time zone, so nothing can be counted from it. Say which "
            "zone the clock showed, or record the time again."
        )
        return (Flag("offset_missing", rules.offset_missing.level, "clock", text),)
    flags = _offset_wrong(instant, zone, rules)
    if now is not None:
        flags += _in_future(instant, now, rules)
    return worst_first(flags)


def judge_local_time(local: datetime, zone: str, rules: TimeRules) -> tuple[Flag, ...]:
    """Judge a date and time of a clock on the wall before it is taken for an instant.

    Args:
        local: date and time without offset.
        zone: IANA name of the zone whose clocks showed it.
        rules: levels.
    """
    try:
        kind = local_time_kind(local, parse_zone(zone))
    except UnitError as error:
        return (_unknown_zone(error, rules),)
    levels = rules.local_time_ambiguous
    shown = local.replace(tzinfo=None).isoformat(sep=" ", timespec="minutes")
    if kind == "twice":
        text = say(
            "{time} came twice: the clocks were put back. Was it before or after the change?",
            time=shown,
        )
        return (Flag("local_time_ambiguous", levels.twice, "clock", text),)
    if kind == "never":
        text = say(
            "{time} never came: the clocks were put forward over it. Type the time again.",
            time=shown,
        )
        return (Flag("local_time_ambiguous", levels.never, "clock", text),)
    return ()


def local_time_kind(local: datetime, zone: tzinfo) -> Literal["once", "twice", "never"]:
    """Say how often a zone's clocks show a date and time: twice when put back, never when skipped.

    Args:
        local: date and time; an offset in it is left aside.
        zone: the zone, with its rules.

    Source: PEP 495, read: of a repeated time the first reading has the larger offset, of a skipped
    one the smaller.
    """
    first = local.replace(tzinfo=zone, fold=0).utcoffset() or timedelta()
    second = local.replace(tzinfo=zone, fold=1).utcoffset() or timedelta()
    if first == second:
        return "once"
    return "twice" if first > second else "never"


def judge_recorded(instants: Iterable[datetime], zone: str, rules: TimeRules) -> tuple[Flag, ...]:
    """Judge the times of a recorded session: each doubt is told once, of the first that raises it.

    Args:
        instants: readings' times and answered ones, with or without an offset.
        zone: the zone the session was taken in; empty where that is not known.
        rules: levels.
    """
    told: dict[str, Flag] = {}
    for instant in instants:
        for flag in judge_instant(instant, zone, rules):
            told.setdefault(flag.code, flag)
    return worst_first(told.values())


def worst_first(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Sort flags by level, the worst first; those of one level keep their order."""
    ranks = {level: rank for rank, level in enumerate((Level.BLOCK, Level.WARN, Level.NOTE))}
    return tuple(sorted(flags, key=lambda flag: ranks[flag.level]))


def seconds_between(earlier: datetime, later: datetime) -> float:
    """Return elapsed seconds in UTC, negative where `later` is the earlier one.

    Rounded to the millisecond, so that ten minutes are ten minutes and not a hair more.
    """
    return round(hours_between(earlier, later) * _HOUR, 3)


def duration_words(seconds: float) -> str:
    """Write a time span of 0 seconds or more for people: seconds, minutes, hours or days."""
    if seconds < _MINUTE:
        return say("{count} s", count=int(seconds))
    if seconds < 2 * _HOUR:
        return say("{count} min", count=int(seconds / _MINUTE))
    if seconds < 2 * _DAY:
        return say("{count:.1f} h", count=seconds / _HOUR)
    return say("{count} days", count=int(seconds / _DAY))


def _offset_wrong(instant: datetime, zone: str, rules: TimeRules) -> tuple[Flag, ...]:
    if not zone:
        return ()
    try:
        known = parse_zone(zone)
    except UnitError as error:
        return (_unknown_zone(error, rules),)
    if _fits(instant, known):
        return ()
    text = say(
        "{time} is no time of the zone {zone}: check the laptop's time zone.",
        time=instant.isoformat(sep=" ", timespec="minutes"),
        zone=zone,
    )
    return (Flag("offset_wrong", rules.offset_wrong.level, "clock", text),)


def _fits(instant: datetime, zone: tzinfo) -> bool:
    """Whether the zone's clocks ever showed this time with this offset.

    Asked by the clock on the wall: going over UTC fails at both ends of the calendar.
    """
    if local_time_kind(instant, zone) == "never":
        return False
    stated = instant.utcoffset() or timedelta()
    offsets = (instant.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    # Files keep whole minutes, and before standard time zones kept seconds too.
    minute = timedelta(minutes=1)
    return any(offset is not None and abs(offset - stated) < minute for offset in offsets)


def _unknown_zone(error: UnitError, rules: TimeRules) -> Flag:
    problem = error.problem
    return Flag("offset_wrong", rules.offset_wrong.level, "clock", f"{problem.text} {problem.mend}")


def _in_future(instant: datetime, now: datetime, rules: TimeRules) -> tuple[Flag, ...]:
    ahead = _ahead(instant, now)
    level = _level_of(ahead, rules.reading_in_future)
    if level is None:
        return ()
    text = say(
        "A reading lies {time} in the future: check its date and time, and the laptop's.",
        time=duration_words(ahead),
    )
    return (Flag("reading_in_future", level, "clock", text),)


def _behind(state: ClockState, rules: TimeRules) -> tuple[Flag, ...]:
    if state.now.date() < state.build_date:
        text = say(
            "The clock shows {date}, before this program was made: set date and time.",
            date=state.now.date().isoformat(),
        )
        return (Flag("clock_behind", Level.BLOCK, "clock", text),)
    behind = _ahead(state.newest_record, state.now) if state.newest_record is not None else 0
    level = _level_of(behind, rules.clock_behind)
    if level is None:
        return ()
    text = say(
        "The clock is {time} behind the newest record on this laptop: check date and time.",
        time=duration_words(behind),
    )
    return (Flag("clock_behind", level, "clock", text),)


def _moved(state: ClockState, rules: TimeRules) -> tuple[Flag, ...]:
    if state.now.utcoffset() is None or state.opened_at.utcoffset() is None:
        return ()
    moved = seconds_between(state.opened_at, state.now) - state.elapsed_monotonic_seconds
    limits = rules.clock_moved
    if abs(moved) <= float(limits.seconds):
        return ()
    if moved < 0:
        text = say(
            "The clock was put back by {time} while the program was open: check date and time.",
            time=duration_words(-moved),
        )
        return (Flag("clock_moved", limits.behind, "clock", text),)
    text = say(
        "The clock went {time} ahead while the program was open. Check date and time, unless the "
        "laptop was asleep.",
        time=duration_words(moved),
    )
    return (Flag("clock_moved", limits.ahead, "clock", text),)


def _not_confirmed(state: ClockState, rules: TimeRules) -> tuple[Flag, ...]:
    if state.confirmed_on == state.now.date():
        return ()
    text = say(
        "The clock shows {time}. Is that right? Nobody has confirmed it today.",
        time=state.now.replace(tzinfo=None).isoformat(sep=" ", timespec="minutes"),
    )
    return (Flag("clock_not_confirmed", rules.clock_not_confirmed.level, "clock", text),)


def _zone_changed(state: ClockState, rules: TimeRules) -> tuple[Flag, ...]:
    offset = state.now.utcoffset()
    if offset is None or state.last_offset is None or offset == state.last_offset:
        return ()
    text = say(
        "The laptop's time zone, or summer time, has changed since the last record. Hours are "
        "still counted right; check that the zone is."
    )
    return (Flag("zone_changed", rules.zone_changed.level, "clock", text),)


def _ahead(instant: datetime, now: datetime) -> float:
    """Return by how many seconds an instant lies after now; 0 where one has no offset."""
    if instant.utcoffset() is None or now.utcoffset() is None:
        return 0
    return seconds_between(now, instant)


def _level_of(seconds: float, limits: Ahead) -> Level | None:
    if seconds > float(limits.block_after_hours * _HOUR):
        return Level.BLOCK
    return Level.WARN if seconds > float(limits.warn_after_minutes * _MINUTE) else None
