"""What the hour and the conditions say about a leg's readings. Thresholds are data.

Nothing here changes a reading; it only says which ones were taken late or under a condition that
makes them doubtful. An answer two people gave differently counts as the more careful of the two.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from fitcore.flags import Flag, Level
from fitcore.instants import EPOCH, hours_between
from fitcore.moment.answered_conditions import answered_flags, dent_flags
from fitcore.moment.clock import (
    duration_words,
    judge_instant,
    judge_recorded,
    seconds_between,
    worst_first,
)
from fitcore.moment.postures import judge_postures, leg_postures, postures_words
from fitcore.moment.spacing import SET_TOOK_LONG, judge_spacing, timed_readings
from fitcore.record.fields import FIELDS
from fitcore.record.reasons import reason_for
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from fitcore.moment.time_rules import TimeRules
    from fitcore.points import Side
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session

_MINUTE, _HOUR = 60, 3600


@dataclass(frozen=True, slots=True)
class LegTimes:
    """When one leg was measured, against rising and compression coming off."""

    first: datetime
    last: datetime
    hours_up: float | None
    """From rising to the leg's last reading; None where the time of rising is not known."""
    minutes_since_compression: float | None
    """From compression coming off to the leg's first reading; None where none was worn."""


@dataclass(frozen=True, slots=True)
class Earlier:
    """The client's last session, to compare conditions with."""

    session: Session
    readings: Readings
    tape_rule: str = ""
    """How its protocol lays the tape; empty where that is not known."""


def leg_times(session: Session, readings: Readings, side: Side) -> LegTimes | None:
    """Return when the tape was on a leg; None where it has no such reading with a time.

    A shoe size is asked, not measured: it gives the leg no hour. Elapsed times are differences in
    UTC. They rest on the laptop's clock and are only told.
    """
    timed = timed_readings(readings, side)
    if not timed:
        return None
    first, last = timed[0].at, timed[-1].at
    rising = _one(session, "rising_at")
    off = _one(session, "compression_off_at") if session.text("compression") == "off" else None
    return LegTimes(
        first,
        last,
        hours_between(rising, last) if rising is not None else None,
        seconds_between(off, first) / _MINUTE if off is not None else None,
    )


def flags_now(
    session: Session, now: datetime, rules: TimeRules, side: Side | None = None
) -> tuple[Flag, ...]:
    """Return what hour and conditions say of a reading taken now, the worst first.

    Args:
        session: for what was answered before measuring.
        now: the present instant; without an offset nothing can be counted from it.
        rules: thresholds and levels.
        side: the leg, for the flags that are about one.
    """
    if now.utcoffset() is None:
        timed = list(judge_instant(now, "", rules))
    else:
        timed = _time_flags(session, now, now, rules, side)
    return worst_first([*timed, *answered_flags(session, rules)])


def judge_conditions(
    session: Session,
    readings: Readings,
    sides: tuple[Side, ...],
    rules: TimeRules,
    *,
    earlier: Callable[[Side], Earlier | None] = lambda _: None,
    tape_rule: str = "",
    way_of: Callable[[Side], str] | None = None,
) -> tuple[Flag, ...]:
    """Judge the hour, the conditions and the recorded times of a session. No clock is read.

    What somebody gave a reason for is a doubt with that reason, no longer a block.

    Args:
        session: the session.
        readings: its readings.
        sides: the legs it is about.
        rules: thresholds and levels.
        earlier: the client's last session that measured a leg, by leg.
        tape_rule: how this session's protocol lays the tape; empty where that is not known.
        way_of: how a leg's readings are repeated; where it is not given, as answered.

    Returns:
        Flags, the worst first.

    Source: the thresholds' own file.
    """
    flags: list[Flag] = []
    for side in sides:
        times = leg_times(session, readings, side)
        if times is not None:
            flags += _time_flags(session, times.first, times.last, rules, side)
        flags += dent_flags(session, side, rules)
        before = earlier(side)
        if before is not None:
            flags += _compare_leg(session, readings, before, side, rules)
            flags += _compare_tape(before, tape_rule, rules)
    flags += judge_spacing(
        session, readings, sides, rules, way_of or (lambda _: session.text("repeats"))
    )
    flags += judge_postures(session, readings, sides, rules)
    flags += answered_flags(session, rules)
    flags += judge_recorded(_recorded_instants(session), session.text("zone"), rules)
    return worst_first(dict.fromkeys(_kept(session, flag) for flag in flags))


def _kept(session: Session, flag: Flag) -> Flag:
    """Lower a block somebody gave a reason for; a set's own reasons are judged with the set."""
    if flag.level is not Level.BLOCK or flag.code == SET_TOOK_LONG:
        return flag
    why = reason_for(session, flag.code)
    if not why:
        return flag
    text = say("{doubt} Kept: {why}.", doubt=flag.text, why=why.rstrip("."))
    return replace(flag, level=Level.WARN, text=text)


# --- the hour, for a reading now or a leg's first and last ---------------------------------------


def _time_flags(
    session: Session, first: datetime, last: datetime, rules: TimeRules, side: Side | None
) -> list[Flag]:
    flags = _posture_change_flags(session, first, rules, side)
    off = [seconds_between(at, first) for at in _instants(session, "compression_off_at")]
    if "off" not in session.answer("compression").values:
        off = []
    flags += _compression_flags(off, rules, side)
    fresh = float(rules.fresh_after_compression_minutes * _MINUTE)
    # As small as compression made it, however late; unless somebody says none was worn.
    just_off = session.text("compression") == "off" and bool(off) and 0 <= max(off) <= fresh
    return [*flags, *_hour_flags(session, first, last, rules, side, just_off=just_off)]


def _hour_flags(
    session: Session,
    first: datetime,
    last: datetime,
    rules: TimeRules,
    side: Side | None,
    *,
    just_off: bool,
) -> list[Flag]:
    """Judge the hours up, of the earliest time of rising anybody recorded."""
    rising = _instants(session, "rising_at")
    if not rising:
        return []
    limits = rules.rising_time
    hours = seconds_between(_earliest(rising), last) / _HOUR
    if seconds_between(_latest(rising), first) < 0:
        text = say("The time of rising is later than the reading: ask again, or check the clock.")
        return [Flag("rising_time", Level.BLOCK, "clock", text, side)]
    flags = [] if just_off else _late_flags(hours, rules, side)
    if hours > float(limits.block_after_hours):
        text = say(
            "Up for more than {hours} h: ask again when they got up, or check the clock.",
            hours=plain(limits.block_after_hours),
        )
        return [Flag("rising_time", Level.BLOCK, "clock", text, side)]
    if hours > float(limits.ask_after_hours):
        text = say("Up for {hours:.1f} h: ask again when they last got up.", hours=hours)
        flags.append(Flag("rising_time", Level.WARN, "clock", text, side))
    return flags


def _late_flags(hours: float, rules: TimeRules, side: Side | None) -> list[Flag]:
    limits, level = rules.late_in_day, Level.WARN
    if hours > float(limits.very_late_after_hours):
        text = say(
            "Very late in the day ({hours:.1f} h up): readings are likely too large, so the "
            "garment too big and its pressure too low. Measure again soon after rising.",
            hours=hours,
        )
    elif hours > float(limits.late_after_hours):
        text = say(
            "Late in the day ({hours:.1f} h up): readings may be too large, so the garment too big "
            "and its pressure too low. Better measured soon after rising.",
            hours=hours,
        )
    elif hours > float(limits.note_after_hours):
        level = Level.NOTE
        text = say("Up for {hours:.1f} h: a leg may already be a little larger.", hours=hours)
    else:
        return []
    return [Flag("late_in_day", level, "conditions", text, side)]


def _compression_flags(off: Sequence[float], rules: TimeRules, side: Side | None) -> list[Flag]:
    """Judge the seconds from compression coming off to the reading, one for each answer."""
    if not off:
        return []
    if min(off) < 0:
        text = say("Compression came off after the reading: ask again, or check the clock.")
        return [Flag("off_after_reading", rules.off_after_reading.level, "clock", text, side)]
    limits, longest = rules.compression_off_long, max(off)
    time = duration_words(longest)
    if longest <= float(limits.fresh_after_compression_minutes * _MINUTE):
        level = rules.compression_just_off.level
        text = say(
            "Measured {time} after compression came off: as small as this leg gets.", time=time
        )
        return [Flag("compression_just_off", level, "conditions", text, side)]
    level = Level.WARN
    if longest > float(limits.back_after_hours * _HOUR):
        text = say(
            "Compression has been off for {time}: swelling may be back. Ask whether to reduce it "
            "first.",
            time=time,
        )
    elif longest > float(limits.warn_after_hours * _HOUR):
        text = say(
            "Compression has been off for {time}: the leg may have filled again. Better measured "
            "soon after it comes off.",
            time=time,
        )
    else:
        level = Level.NOTE
        text = say("Compression has been off for {time}: the leg may be filling again.", time=time)
    return [Flag("compression_off_long", level, "conditions", text, side)]


def _posture_change_flags(
    session: Session, first: datetime, rules: TimeRules, side: Side | None
) -> list[Flag]:
    since = _instants(session, "posture_since")
    if not since:
        return []
    seconds, limits = seconds_between(_latest(since), first), rules.posture_just_changed
    lying = session.text("posture") == "lying"
    if seconds < 0:
        text = say("This posture was taken up after the reading: check which one it was read in.")
    elif seconds < float(limits.warn_below_minutes * _MINUTE):
        text = say(
            "In this posture for only {time}: wait until it is {minutes} min, then measure.",
            time=duration_words(seconds),
            minutes=plain(limits.warn_below_minutes),
        )
    elif seconds < float(limits.warn_below_minutes_after_lying * _MINUTE) and not lying:
        text = say(
            "In this posture for {time}: if they lay before, wait until it is {minutes} min.",
            time=duration_words(seconds),
            minutes=plain(limits.warn_below_minutes_after_lying),
        )
    else:
        return []
    return [Flag("posture_just_changed", Level.WARN, "conditions", text, side)]


# --- against the last session --------------------------------------------------------------------


def _compare_leg(
    session: Session, readings: Readings, earlier: Earlier, side: Side, rules: TimeRules
) -> list[Flag]:
    flags, level = [], rules.follow_up_differs.level
    now = leg_postures(session, readings, side)
    then = leg_postures(earlier.session, earlier.readings, side)
    if now and then and "" not in now | then and now != then:
        text = say(
            "Measured {then} last time, {now} this time: a change may be posture only. Measure "
            "as last time.",
            then=postures_words(then),
            now=postures_words(now),
        )
        flags.append(Flag("follow_up_differs", level, "conditions", text, side))
    hours_now = _believable_hours(session, readings, side, rules)
    hours_then = _believable_hours(earlier.session, earlier.readings, side, rules)
    if hours_now is None or hours_then is None:
        return flags
    if round(abs(hours_now - hours_then), 6) <= float(rules.follow_up_differs.hours):
        return flags
    text = say(
        "Last time {then:.1f} h after rising, this time {now:.1f} h: a change may be the hour only."
        " Measure at the same hour.",
        then=hours_then,
        now=hours_now,
    )
    return [*flags, Flag("follow_up_differs", level, "conditions", text, side)]


def _compare_tape(earlier: Earlier, tape_rule: str, rules: TimeRules) -> list[Flag]:
    if not tape_rule or not earlier.tape_rule:
        return []
    if tape_rule.split() == earlier.tape_rule.split():
        return []
    text = say("The tape was laid by another rule last time: a change may be the tape only.")
    return [Flag("follow_up_differs", rules.follow_up_differs.level, "conditions", text)]


def _believable_hours(
    session: Session, readings: Readings, side: Side, rules: TimeRules
) -> float | None:
    """Return the hours up; None where they are not known or a clock must have been wrong."""
    times = leg_times(session, readings, side)
    hours = times.hours_up if times is not None else None
    if hours is None or not 0 <= hours <= float(rules.rising_time.block_after_hours):
        return None
    return hours


# --- recorded times ------------------------------------------------------------------------------


def _recorded_instants(session: Session) -> list[datetime]:
    """Return the times of readings and the answered ones, those without an offset too."""
    readings = [entry.fields.get("at") for entry in session.heads.heads_of("readings")]
    fields = [what for what, field in FIELDS.items() if field.kind == "instant"]
    answers = [value for what in fields for value in session.answer(what).values]
    return [value for value in (*readings, *answers) if isinstance(value, datetime)]


def _instants(session: Session, what: str) -> list[datetime]:
    """Return every time somebody answered; one without an offset is none."""
    values = session.answer(what).values
    return [v for v in values if isinstance(v, datetime) and v.utcoffset() is not None]


def _one(session: Session, what: str) -> datetime | None:
    found = _instants(session, what)
    return found[0] if len(found) == 1 and not session.answer(what).disputed else None


def _earliest(instants: Iterable[datetime]) -> datetime:
    return min(instants, key=lambda at: hours_between(EPOCH, at))


def _latest(instants: Iterable[datetime]) -> datetime:
    return max(instants, key=lambda at: hours_between(EPOCH, at))
