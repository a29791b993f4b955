"""Instants and elapsed time. Local time with its offset is kept for people; sums are done in UTC.

Python subtracts two times of one zone by the clock on the wall, which is an hour wrong over a
change of summer time; so every difference here goes through UTC.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fitcore.problems import Problem, UnitError
from fitcore.words import say

_CLOCK_TIME = re.compile(
    r"([0-9]{1,2})(?:[:.h]?([0-9]{2}))?\s*(am|pm)?(?:\s+(before|after)(?:\s+the\s+change)?)?"
)
_AGO = re.compile(r"([0-9]{1,4})\s*(min|h)(?:\s*ago)?")


EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
"""An instant to measure others from; any would do."""


def hours_between(earlier: datetime, later: datetime) -> float:
    """Return elapsed hours, negative where `later` is the earlier one."""
    # By walls and offsets rather than `astimezone`, which overflows at the ends of the calendar: a
    # file from outside may hold year 1.
    walls = later.replace(tzinfo=None) - earlier.replace(tzinfo=None)
    offsets = (later.utcoffset() or timedelta()) - (earlier.utcoffset() or timedelta())
    return (walls - offsets).total_seconds() / 3600


def parse_instant(text: str, zone: tzinfo | None) -> datetime:
    """Read an ISO 8601 date and time; without an offset it takes `zone`.

    Raises:
        UnitError: not a date and time, or no offset and no zone given.
    """
    try:
        instant = datetime.fromisoformat(text.strip())
        if instant.tzinfo is None and zone is not None:
            instant = instant.replace(tzinfo=zone)
        if instant.tzinfo is not None:
            return fixed_offset(instant)
    except (ValueError, OverflowError) as error:
        raise UnitError(_not_an_instant(text)) from error
    raise UnitError(_not_an_instant(text))


def fixed_offset(instant: datetime) -> datetime:
    """Return the same instant with its offset written out, whole seconds, as files keep it."""
    offset = instant.utcoffset() or timedelta()
    whole_minutes = timedelta(minutes=round(offset.total_seconds() / 60))
    if whole_minutes == offset:
        return instant.replace(tzinfo=timezone(offset), microsecond=0)
    return instant.astimezone(timezone(whole_minutes)).replace(microsecond=0)


def write_instant(instant: datetime) -> str:
    """Write an instant as RFC 3339 with its offset: `2026-03-04T09:12:40+01:00`."""
    return fixed_offset(instant).isoformat()


def parse_zone(name: str) -> ZoneInfo:
    """Look up a time zone by its IANA name.

    Raises:
        UnitError: no such zone is known on this machine.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UnitError(
            Problem(
                code="unknown_zone",
                text=say("'{name}' is not a time zone known here.", name=name[:60]),
                mend=say("Use a name such as Europe/Berlin or UTC."),
            )
        ) from error


def parse_time_of_day(text: str, now: datetime) -> datetime:
    """Read `6`, `06:30`, `0630`, `7 pm` as the last such time, `10 min ago` from now backwards.

    Args:
        text: what was typed.
        now: the present instant, in the zone the nurse's watch shows.

    Returns:
        An instant not later than now: today's, or yesterday's where today's is still to come.

    Raises:
        UnitError: not a time of day, or one that the change of clocks skipped or showed twice; of
            two, `2:30 before` and `2:30 after` say which.
    """
    typed = text.strip().casefold()
    if ago := _AGO.fullmatch(typed):
        unit = timedelta(minutes=1) if ago[2] == "min" else timedelta(hours=1)
        return fixed_offset((now.astimezone(UTC) - int(ago[1]) * unit).astimezone(now.tzinfo))
    match = _CLOCK_TIME.fullmatch(typed)
    hour, minute = (int(match[1]), int(match[2] or 0)) if match else (99, 99)
    if match and match[3]:
        hour = hour % 12 + (12 if match[3] == "pm" else 0) if 1 <= hour <= 12 else 99
    if hour > 23 or minute > 59:
        raise UnitError(
            Problem(
                code="not_a_time",
                text=say("'{text}' is not a time of day.", text=text[:20]),
                mend=say("Type it like 6:30, 0630, 7 pm or 10 min ago."),
            )
        )
    wall = time(hour, minute)
    today = _times_on(now.date(), wall, now.tzinfo)
    if not today and wall <= now.time():  # yesterday's must not be taken for it
        raise UnitError(_never_came(text))
    yesterday = _times_on(now.date() - timedelta(days=1), wall, now.tzinfo)
    # Around a change of summer time a local time occurs twice or never.
    been = [[at for at in day if hours_between(at, now) >= 0] for day in (today, yesterday)]
    candidates = been[0] or been[1]
    asked = match[4] if match else None
    if not candidates:
        raise UnitError(_never_came(text))
    if len(candidates) > 1 and asked is None:
        raise UnitError(_came_twice(text))
    return fixed_offset(candidates[0 if asked == "before" else -1])


def _times_on(day: date, wall: time, zone: tzinfo | None) -> list[datetime]:
    """Return when a zone's clocks show a time that day: once, twice, or never where it is skipped.

    Source: PEP 495, read: a skipped time is not what its own instant shows.
    """
    found: list[datetime] = []
    for fold in (0, 1):
        local = datetime.combine(day, wall.replace(fold=fold), zone)
        shown = local.astimezone(UTC).astimezone(zone)
        if shown.time() == wall and all(hours_between(other, local) for other in found):
            found.append(local)
    return found


def _came_twice(text: str) -> Problem:
    return Problem(
        code="local_time_twice",
        text=say("{text} came twice: the clocks were put back.", text=text[:20]),
        mend=say("Type {text} before, or {text} after, the change.", text=text[:20]),
    )


def _never_came(text: str) -> Problem:
    return Problem(
        code="local_time_never",
        text=say("{text} never came: the clocks were put forward over it.", text=text[:20]),
        mend=say("Look at the time again and type another."),
    )


def long_date(instant: datetime) -> str:
    """Write a date for people: `4 March 2026`."""
    months = (
        say("January"),
        say("February"),
        say("March"),
        say("April"),
        say("May"),
        say("June"),
        say("July"),
        say("August"),
        say("September"),
        say("October"),
        say("November"),
        say("December"),
    )
    return f"{instant.day} {months[instant.month - 1]} {instant.year}"


def _not_an_instant(text: str) -> Problem:
    return Problem(
        code="not_an_instant",
        text=say("'{text}' is not a date and time.", text=text[:40]),
        mend=say("Write it like 2026-03-04T09:12 or 2026-03-04 09:12+01:00."),
    )
