"""The laptop's clock and recorded times: every check at its limit, with the real rules of zones.

Limits and levels are read from the shipped file; `test_conditions.py` holds them against the
figures they were set to.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcore.clean_text import is_unsafe
from fitcore.disk.profile_reading import read_profile
from fitcore.flags import Flag, Level
from fitcore.moment.clock import (
    ClockState,
    duration_words,
    judge_clock,
    judge_instant,
    judge_local_time,
    local_time_kind,
    seconds_between,
    worst_first,
)
from fitcore.moment.time_rules import TimeRules

ROOT = Path(__file__).resolve().parents[2]
FILE = ROOT / "profiles" / "rules" / "time-of-day.toml"
RULES = read_profile(FILE.read_bytes(), TimeRules, FILE.name)
assert isinstance(RULES, TimeRules), RULES

NOTE, WARN, BLOCK = Level.NOTE, Level.WARN, Level.BLOCK
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
MINUTE, SECOND = timedelta(minutes=1), timedelta(seconds=1)
WINTER, SUMMER = timezone(HOUR), timezone(2 * HOUR)
NOW = datetime(2026, 3, 4, 9, 0, tzinfo=WINTER)
BERLIN = ZoneInfo("Europe/Berlin")

RIGHT_CLOCK = ClockState(
    now=NOW,
    newest_record=NOW - HOUR,
    build_date=date(2026, 2, 1),
    confirmed_on=NOW.date(),
    opened_at=NOW - 10 * MINUTE,
    elapsed_monotonic_seconds=600,
    zone="Europe/Berlin",
    last_offset=HOUR,
)
"""Nothing is wrong with it."""

LIMITS = [
    (timedelta(0), None),
    (2 * MINUTE - SECOND, None),
    (2 * MINUTE, None),
    (2 * MINUTE + SECOND, WARN),
    (24 * HOUR - SECOND, WARN),
    (24 * HOUR, WARN),
    (24 * HOUR + SECOND, BLOCK),
    (20_000 * DAY, BLOCK),
]
"""What is still to come, or how far a clock is behind, and what is said of it."""


def found(flags: tuple[Flag, ...]) -> list[tuple[str, Level]]:
    return [(flag.code, flag.level) for flag in flags]


def one(code: str, level: Level | None) -> list[tuple[str, Level]]:
    return [] if level is None else [(code, level)]


def clock(**changes: Any) -> tuple[Flag, ...]:
    return judge_clock(replace(RIGHT_CLOCK, **changes), RULES)


def test_a_clock_that_is_right_raises_nothing() -> None:
    assert clock() == ()
    assert clock(newest_record=None, last_offset=None, zone="") == ()
    assert clock(newest_reading=NOW - DAY) == ()


# --- 12 and 13: against what is recorded ---------------------------------------------------------


@pytest.mark.parametrize(("ahead", "level"), LIMITS)
def test_12_a_reading_in_the_future(ahead: timedelta, level: Level | None) -> None:
    reading = (NOW + ahead).astimezone(UTC)
    assert found(clock(newest_reading=reading)) == one("reading_in_future", level)
    assert found(judge_instant(reading, "", RULES, NOW)) == one("reading_in_future", level)
    assert judge_instant(reading, "", RULES) == (), "without a clock nothing is in the future"


@pytest.mark.parametrize(("behind", "level"), LIMITS)
def test_13_a_clock_behind_the_newest_record(behind: timedelta, level: Level | None) -> None:
    record = (NOW + behind).astimezone(UTC)
    assert found(clock(newest_record=record)) == one("clock_behind", level)


@pytest.mark.parametrize(
    ("build", "level"),
    [(date(2026, 3, 3), None), (date(2026, 3, 4), None), (date(2026, 3, 5), BLOCK)],
)
def test_13_a_clock_before_the_program_was_made(build: date, level: Level | None) -> None:
    assert found(clock(build_date=build)) == one("clock_behind", level)


def test_a_clock_one_day_back() -> None:
    """Put back while the program was closed: yesterday's confirmation is not today's."""
    back = {"now": NOW - DAY, "opened_at": NOW - DAY - 10 * MINUTE}
    assert found(clock(**back, newest_record=NOW)) == [
        ("clock_behind", WARN),
        ("clock_not_confirmed", WARN),
    ]
    assert found(clock(**back, newest_record=NOW + SECOND)) == [
        ("clock_behind", BLOCK),
        ("clock_not_confirmed", WARN),
    ]


def test_a_clock_at_1970_and_its_return() -> None:
    flat = datetime(1970, 1, 1, 1, 0, tzinfo=WINTER)
    flags = clock(now=flat, opened_at=flat - 10 * MINUTE)
    assert found(flags) == [("clock_behind", BLOCK), ("clock_not_confirmed", WARN)]
    assert "1970-01-01" in flags[0].text
    right_again = clock(opened_at=flat, elapsed_monotonic_seconds=600)
    assert found(right_again) == [("clock_moved", NOTE)]


def test_a_clock_at_2099_and_the_records_it_leaves() -> None:
    far = datetime(2099, 3, 4, 9, 0, tzinfo=WINTER)
    assert found(clock(now=far, opened_at=far - 10 * MINUTE)) == [("clock_not_confirmed", WARN)]
    assert found(clock(newest_record=far, newest_reading=far)) == [
        ("reading_in_future", BLOCK),
        ("clock_behind", BLOCK),
    ]


# --- 14: against the time passed -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("moved", "level"),
    [
        (timedelta(0), None),
        (59 * SECOND, None),
        (60 * SECOND, None),
        (61 * SECOND, NOTE),
        (8 * HOUR, NOTE),
        (-59 * SECOND, None),
        (-60 * SECOND, None),
        (-61 * SECOND, WARN),
        (-8 * HOUR, WARN),
    ],
)
def test_14_a_clock_that_moved(moved: timedelta, level: Level | None) -> None:
    assert found(clock(opened_at=NOW - 10 * MINUTE - moved)) == one("clock_moved", level)
    assert found(clock(elapsed_monotonic_seconds=600 - moved.total_seconds())) == one(
        "clock_moved", level
    )


@pytest.mark.parametrize(("day", "hours"), [((2025, 3, 30), 5), ((2025, 10, 26), 7)])
def test_14_a_change_of_summer_time_is_no_moved_clock(
    day: tuple[int, int, int], hours: int
) -> None:
    up, seven = datetime(*day, 1, 0, tzinfo=BERLIN), datetime(*day, 7, 0, tzinfo=BERLIN)
    assert seconds_between(up, seven) == hours * 3600
    flags = clock(
        now=seven,
        opened_at=up,
        elapsed_monotonic_seconds=hours * 3600,
        newest_record=up,
        build_date=up.date(),
        confirmed_on=seven.date(),
        last_offset=up.utcoffset(),
    )
    assert found(flags) == [("zone_changed", NOTE)]


# --- 15: somebody's watch ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("confirmed", "level"),
    [(NOW.date(), None), (NOW.date() - DAY, WARN), (NOW.date() + DAY, WARN), (None, WARN)],
)
def test_15_date_and_time_are_confirmed_once_a_day(
    confirmed: date | None, level: Level | None
) -> None:
    flags = clock(confirmed_on=confirmed)
    assert found(flags) == one("clock_not_confirmed", level)
    assert all("2026-03-04 09:00" in flag.text for flag in flags)


# --- 16, 17 and 20: offset and zone --------------------------------------------------------------


def test_16_a_time_without_an_offset() -> None:
    assert found(judge_instant(NOW.replace(tzinfo=None), "Europe/Berlin", RULES)) == [
        ("offset_missing", BLOCK)
    ]
    assert found(clock(now=NOW.replace(tzinfo=None))) == [("offset_missing", BLOCK)]


@pytest.mark.parametrize("what", ["newest_record", "opened_at", "newest_reading"])
def test_16_a_time_without_an_offset_is_compared_with_nothing(what: str) -> None:
    assert clock(**{what: datetime(2031, 1, 1)}) == ()  # noqa: DTZ001


@pytest.mark.parametrize(
    ("text", "zone", "level"),
    [
        ("2026-03-04T09:00+01:00", "Europe/Berlin", None),
        ("2026-03-04T09:00+02:00", "Europe/Berlin", WARN),
        ("2026-03-04T08:00Z", "Europe/Berlin", WARN),
        ("2026-07-04T09:00+02:00", "Europe/Berlin", None),
        ("2026-07-04T09:00+01:00", "Europe/Berlin", WARN),
        ("2026-03-04T09:00Z", "Atlantic/Faroe", None),
        ("2026-03-04T09:00Z", "UTC", None),
        ("2025-10-26T02:30+02:00", "Europe/Berlin", None),  # the first of the two
        ("2025-10-26T02:30+01:00", "Europe/Berlin", None),  # the second
        ("2025-10-26T02:30+00:00", "Europe/Berlin", WARN),
        ("2025-10-26T03:00+01:00", "Europe/Berlin", None),
        ("2025-10-26T03:00+02:00", "Europe/Berlin", WARN),
        ("2025-03-30T01:59+01:00", "Europe/Berlin", None),
        ("2025-03-30T02:30+01:00", "Europe/Berlin", WARN),  # never shown
        ("2025-03-30T02:30+02:00", "Europe/Berlin", WARN),
        ("2025-03-30T03:00+02:00", "Europe/Berlin", None),
        ("1880-01-01T12:00+00:53", "Europe/Berlin", None),  # local mean time, 53 min 28 s
        ("0001-01-01T00:00+14:00", "Europe/Berlin", WARN),
        ("9999-12-31T23:59-12:00", "Europe/Berlin", WARN),
        ("9999-12-31T23:59+01:00", "Europe/Berlin", None),
        ("2026-03-04T09:00+05:00", "", None),
        ("2026-03-04T09:00+01:00", "Mars/Base", WARN),
        ("2026-03-04T09:00+01:00", "\x1b[2J", WARN),
    ],
)
def test_17_an_offset_the_zone_never_had_then(text: str, zone: str, level: Level | None) -> None:
    flags = judge_instant(datetime.fromisoformat(text), zone, RULES)
    assert found(flags) == one("offset_wrong", level)
    assert not any(is_unsafe(character) for flag in flags for character in flag.text)


def test_17_the_laptops_own_clock_against_its_zone() -> None:
    summer = NOW.astimezone(SUMMER)
    assert found(clock(now=summer, last_offset=2 * HOUR)) == [("offset_wrong", WARN)]


@pytest.mark.parametrize(
    ("last", "level"),
    [(HOUR, None), (timedelta(0), NOTE), (2 * HOUR, NOTE), (None, None), (90 * HOUR, NOTE)],
)
def test_20_another_offset_than_the_last_record(
    last: timedelta | None, level: Level | None
) -> None:
    assert found(clock(last_offset=last)) == one("zone_changed", level)


# --- 18: local times -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "zone", "kind"),
    [
        ("2025-10-26T01:59:59", "Europe/Berlin", "once"),
        ("2025-10-26T02:00", "Europe/Berlin", "twice"),
        ("2025-10-26T02:30", "Europe/Berlin", "twice"),
        ("2025-10-26T02:59:59", "Europe/Berlin", "twice"),
        ("2025-10-26T03:00", "Europe/Berlin", "once"),
        ("2025-03-30T01:59:59", "Europe/Berlin", "once"),
        ("2025-03-30T02:00", "Europe/Berlin", "never"),
        ("2025-03-30T02:30", "Europe/Berlin", "never"),
        ("2025-03-30T02:59:59", "Europe/Berlin", "never"),
        ("2025-03-30T03:00", "Europe/Berlin", "once"),
        ("2025-10-26T01:30", "Europe/London", "twice"),
        ("2025-04-06T01:45", "Australia/Lord_Howe", "twice"),  # by half an hour
        ("2011-12-30T12:00", "Pacific/Apia", "never"),  # a day left out at the date line
        ("2025-10-26T02:30", "UTC", "once"),
        ("0001-01-01T00:00", "Europe/Berlin", "once"),
        ("9999-12-31T23:59", "Europe/Berlin", "once"),
    ],
)
def test_18_how_often_a_local_time_is_shown(text: str, zone: str, kind: str) -> None:
    local = datetime.fromisoformat(text)
    assert local_time_kind(local, ZoneInfo(zone)) == kind
    assert local_time_kind(local.replace(tzinfo=UTC), ZoneInfo(zone)) == kind
    level = {"once": None, "twice": WARN, "never": BLOCK}[kind]
    flags = judge_local_time(local, zone, RULES)
    assert found(flags) == one("local_time_ambiguous", level)
    assert all(("before or after the change?" in f.text) == (kind == "twice") for f in flags)


def test_18_a_zone_nobody_knows_is_told() -> None:
    assert found(judge_local_time(datetime(2025, 10, 26, 2, 30), "Mars/Base", RULES)) == [  # noqa: DTZ001
        ("offset_wrong", WARN)
    ]


_TWO_DAYS = st.integers(0, 4 * 24 * 60).map(lambda minutes: minutes * MINUTE)


@given(
    start=st.sampled_from((datetime(2025, 3, 29), datetime(2025, 10, 25))),  # noqa: DTZ001
    into=_TWO_DAYS,
    zone=st.sampled_from(("Europe/Berlin", "Europe/London", "Atlantic/Azores", "UTC")),
)
def test_18_the_kind_is_how_many_instants_have_that_local_time(
    start: datetime, into: timedelta, zone: str
) -> None:
    """Counted the other way round: over every instant that could show it."""
    local, rules = start + into, ZoneInfo(zone)
    offsets = {timedelta(hours=hours) for hours in range(-2, 4)}
    instants = [(local - offset).replace(tzinfo=UTC) for offset in offsets]
    shown = sum(i.astimezone(rules).replace(tzinfo=None) == local for i in instants)
    assert local_time_kind(local, rules) == {0: "never", 1: "once", 2: "twice"}[shown]


# --- whatever the clock says ---------------------------------------------------------------------

_offsets = st.integers(-23 * 60, 23 * 60).map(lambda minutes: timezone(minutes * MINUTE))
wild = st.datetimes(
    datetime.min,  # noqa: DTZ901 - the calendar's end is the point
    datetime.max,  # noqa: DTZ901
    timezones=st.none() | _offsets | st.sampled_from((BERLIN, UTC, ZoneInfo("Pacific/Apia"))),
)
_CODES = {
    "reading_in_future": {WARN, BLOCK},
    "clock_behind": {WARN, BLOCK},
    "clock_moved": {NOTE, WARN},
    "clock_not_confirmed": {WARN},
    "offset_missing": {BLOCK},
    "offset_wrong": {WARN},
    "zone_changed": {NOTE},
    "local_time_ambiguous": {WARN, BLOCK},
}


@settings(max_examples=200)
@given(
    state=st.builds(
        ClockState,
        now=wild,
        newest_record=st.none() | wild,
        build_date=st.dates(),
        confirmed_on=st.none() | st.dates(),
        opened_at=wild,
        elapsed_monotonic_seconds=st.floats(-1e12, 1e12),
        zone=st.sampled_from(("", "Europe/Berlin", "Pacific/Apia", "Mars/Base", "\x00", "x" * 300)),
        last_offset=st.none() | st.timedeltas(-2 * DAY, 2 * DAY),
        newest_reading=st.none() | wild,
    )
)
def test_no_clock_makes_a_judgement_fail(state: ClockState) -> None:
    flags = (
        *judge_clock(state, RULES),
        *judge_instant(state.opened_at, state.zone, RULES, state.now),
        *judge_local_time(state.opened_at, state.zone, RULES),
    )
    assert all(flag.level in _CODES[flag.code] and flag.text for flag in flags)
    assert all(flag.about == "clock" for flag in flags)
    assert not any(is_unsafe(character) for flag in flags for character in flag.text)
    judged = [list(Level).index(flag.level) for flag in judge_clock(state, RULES)]
    assert judged == sorted(judged, reverse=True)


# --- words and order -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s"),
        (4.9, "4 s"),
        (59, "59 s"),
        (60, "1 min"),
        (7199, "119 min"),
        (7200, "2.0 h"),
        (86400, "24.0 h"),
        (2 * 86400, "2 days"),
        (56 * 365 * 86400, "20440 days"),
    ],
)
def test_a_time_span_in_words(seconds: float, words: str) -> None:
    assert duration_words(seconds) == words


def test_the_worst_stands_first_and_the_rest_keep_their_order() -> None:
    flags = [
        Flag(code, level, "clock", code)
        for code, level in (("a", NOTE), ("b", WARN), ("c", BLOCK), ("d", WARN), ("e", NOTE))
    ]
    assert [flag.code for flag in worst_first(flags)] == ["c", "b", "d", "a", "e"]


def test_minutes_are_counted_to_the_hair() -> None:
    for minutes in range(0, 24 * 60, 7):
        assert seconds_between(NOW, NOW + minutes * MINUTE) == minutes * 60
