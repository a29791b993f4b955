"""What the hour and the conditions say about a leg's readings. Thresholds are data.

Nothing here changes a reading; it only says which ones were taken late or under a condition that
makes them doubtful.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fitcore.flags import Flag, Level
from fitcore.instants import hours_between
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.points import Side
    from fitcore.profile_models import TimeRules
    from fitcore.readings import Readings
    from fitcore.session import Session


@dataclass(frozen=True, slots=True)
class LegTimes:
    """When one leg was measured, against rising and compression coming off."""

    first: datetime
    last: datetime
    hours_up: float | None
    """From rising to the leg's last reading; None where the time of rising is not known."""
    minutes_since_compression: float | None
    """From compression coming off to the leg's first reading; None where none was worn."""


def leg_times(session: Session, readings: Readings, side: Side) -> LegTimes | None:
    """Return when a leg was measured; None where it has no reading with a time.

    Elapsed times are differences in UTC. They rest on the laptop's clock and are only told.
    """
    instants = [
        at
        for place in readings.places()
        if place[0] is side
        for reading in readings.taken(place)
        if (at := readings.read_at(reading)) is not None
    ]
    if not instants:
        return None
    rising, off = session.value("rising_at"), _compression_off_at(session)
    first, last = min(instants), max(instants)
    return LegTimes(
        first,
        last,
        hours_between(rising, last) if isinstance(rising, datetime) else None,
        hours_between(off, first) * 60 if off is not None else None,
    )


def judge_now(session: Session, now: datetime, rules: TimeRules) -> tuple[str, ...]:
    """Return the codes of time flags that hold for a reading taken now: stored beside it."""
    return tuple(flag.code for flag in flags_now(session, now, rules))


def flags_now(
    session: Session, now: datetime, rules: TimeRules, side: Side | None = None
) -> tuple[Flag, ...]:
    """Return the time flags that hold for a reading taken now, with their sentences."""
    rising, off = session.value("rising_at"), _compression_off_at(session)
    minutes = hours_between(off, now) * 60 if off is not None else None
    hours = hours_between(rising, now) if isinstance(rising, datetime) else None
    return tuple(_time_flags(hours, minutes, rules, side))


def judge_conditions(
    session: Session, readings: Readings, sides: tuple[Side, ...], rules: TimeRules
) -> tuple[Flag, ...]:
    """Judge time since rising, compression and bare skin for each leg measured.

    Source: the thresholds' own file.
    """
    flags: list[Flag] = []
    for side in sides:
        times = leg_times(session, readings, side)
        if times is not None:
            flags += _time_flags(times.hours_up, times.minutes_since_compression, rules, side)
    if session.text("bare_skin") == "no":
        flags.append(
            Flag(
                "not_bare_skin",
                Level.WARN,
                "conditions",
                say("Not measured on bare skin: readings may be too large."),
            )
        )
    if session.text("compression") == "on":
        flags.append(
            Flag(
                "compression_on",
                Level.WARN,
                "conditions",
                say("A bandage or stocking was still on: measure the bare leg."),
            )
        )
    return tuple(flags)


def _compression_off_at(session: Session) -> datetime | None:
    """Return when compression came off; None where none was worn or it is still on."""
    off = session.value("compression_off_at")
    return off if isinstance(off, datetime) and session.text("compression") == "off" else None


def _time_flags(
    hours: float | None, minutes: float | None, rules: TimeRules, side: Side | None
) -> list[Flag]:
    flags: list[Flag] = []
    if hours is not None and hours < 0:
        text = say("The time of rising is later than the reading: check it, or the clock.")
        flags.append(Flag("rising_after_reading", Level.BLOCK, "clock", text, side))
    if minutes is not None and minutes < 0:
        text = say("Compression came off after the reading: check the time, or the clock.")
        flags.append(Flag("off_after_reading", Level.BLOCK, "clock", text, side))
    if minutes is not None and 0 <= minutes <= float(rules.fresh_after_compression_minutes):
        text = say(
            "Measured {minutes} min after compression came off: as small as this leg gets.",
            minutes=round(minutes),
        )
        flags.append(Flag("compression_just_off", Level.NOTE, "conditions", text, side))
    elif hours is not None and hours > float(rules.late_after_hours):
        text = say(
            "Late in the day ({hours:.1f} h up): legs may be larger now than in the morning.",
            hours=hours,
        )
        flags.append(Flag("late_in_day", Level.WARN, "conditions", text, side))
    return flags
