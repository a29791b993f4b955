"""Instants and elapsed time, over both changes of summer time in Europe/Berlin in 2025."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from fitcore.clean_text import is_unsafe
from fitcore.instants import (
    fixed_offset,
    hours_between,
    long_date,
    parse_instant,
    parse_time_of_day,
    parse_zone,
    write_instant,
)
from fitcore.moment.clock import local_time_kind
from fitcore.problems import UnitError

BERLIN = ZoneInfo("Europe/Berlin")
SPRING = (2025, 3, 30)  # 02:00 becomes 03:00
AUTUMN = (2025, 10, 26)  # 03:00 becomes 02:00


def _berlin(day: tuple[int, int, int], hour: int, minute: int = 0, *, fold: int = 0) -> datetime:
    return datetime(*day, hour, minute, tzinfo=BERLIN, fold=fold)


@pytest.mark.parametrize(
    ("earlier", "later", "hours"),
    [
        (_berlin(SPRING, 1), _berlin(SPRING, 4), 2),
        (_berlin(AUTUMN, 1), _berlin(AUTUMN, 4), 4),
        (_berlin(AUTUMN, 2, 30), _berlin(AUTUMN, 2, 30, fold=1), 1),
        (_berlin(SPRING, 0), _berlin((2025, 3, 31), 0), 23),
        (_berlin(AUTUMN, 0), _berlin((2025, 10, 27), 0), 25),
        (_berlin((2025, 6, 2), 6, 30), _berlin((2025, 6, 2), 16, 40), 10 + 1 / 6),
        (_berlin(SPRING, 4), _berlin(SPRING, 1), -2),
        (_berlin(SPRING, 1), datetime(2025, 3, 30, 2, tzinfo=UTC), 2),
    ],
)
def test_elapsed_time_is_counted_in_utc(earlier: datetime, later: datetime, hours: float) -> None:
    assert hours_between(earlier, later) == pytest.approx(hours)
    assert hours_between(fixed_offset(earlier), fixed_offset(later)) == pytest.approx(hours)


@pytest.mark.parametrize(
    ("instant", "written"),
    [
        (_berlin(SPRING, 1, 59), "2025-03-30T01:59:00+01:00"),
        (_berlin(SPRING, 3), "2025-03-30T03:00:00+02:00"),
        (_berlin(AUTUMN, 2, 30), "2025-10-26T02:30:00+02:00"),
        (_berlin(AUTUMN, 2, 30, fold=1), "2025-10-26T02:30:00+01:00"),
        (datetime(2026, 3, 4, 8, 12, 40, tzinfo=UTC), "2026-03-04T08:12:40+00:00"),
    ],
)
def test_an_instant_is_written_with_the_offset_that_held_then(
    instant: datetime, written: str
) -> None:
    assert write_instant(instant) == written
    assert datetime.fromisoformat(written).astimezone(UTC) == instant.astimezone(UTC)


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-03-04T09:12:40+01:00", "2026-03-04T08:12:40"),
        ("2026-03-04 09:12+01:00", "2026-03-04T08:12:00"),
        ("2026-03-04T09:12", "2026-03-04T08:12:00"),  # takes the zone: winter
        ("2026-07-04T09:12", "2026-07-04T07:12:00"),  # summer
        ("2026-03-04T09:12Z", "2026-03-04T09:12:00"),
        ("2025-10-26T04:00", "2025-10-26T03:00:00"),
        (" 2026-03-04T09:12 ", "2026-03-04T08:12:00"),
    ],
)
def test_a_time_without_an_offset_takes_the_zone(text: str, utc: str) -> None:
    found = parse_instant(text, BERLIN)
    assert found.astimezone(UTC).replace(tzinfo=None) == datetime.fromisoformat(utc)
    assert isinstance(found.tzinfo, timezone)


@pytest.mark.parametrize("text", ["", "yesterday", "2026-02-30T09:00", "25:00", "\x1b]0;t\x07"])
def test_what_is_no_date_and_time_is_refused_in_safe_words(text: str) -> None:
    with pytest.raises(UnitError) as refused:
        parse_instant(text, BERLIN)
    assert not any(is_unsafe(character) for character in str(refused.value))


def test_no_offset_and_no_zone_is_refused_not_guessed() -> None:
    with pytest.raises(UnitError):
        parse_instant("2026-03-04T09:12", None)


NOON = datetime(2026, 3, 4, 12, 0, tzinfo=BERLIN)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("6:30", "2026-03-04T06:30:00+01:00"),
        ("06:30", "2026-03-04T06:30:00+01:00"),
        ("6.30", "2026-03-04T06:30:00+01:00"),
        ("0630", "2026-03-04T06:30:00+01:00"),
        ("630", "2026-03-04T06:30:00+01:00"),
        ("6", "2026-03-04T06:00:00+01:00"),
        ("12:00", "2026-03-04T12:00:00+01:00"),
        ("0:05", "2026-03-04T00:05:00+01:00"),
        ("16:00", "2026-03-03T16:00:00+01:00"),  # the night baker's afternoon
        ("6:30 pm", "2026-03-03T18:30:00+01:00"),
        ("6am", "2026-03-04T06:00:00+01:00"),
        ("12 am", "2026-03-04T00:00:00+01:00"),
        ("12:00 pm", "2026-03-04T12:00:00+01:00"),
        ("10 min ago", "2026-03-04T11:50:00+01:00"),
        ("10min", "2026-03-04T11:50:00+01:00"),
        ("2 h ago", "2026-03-04T10:00:00+01:00"),
    ],
)
def test_a_time_of_day_is_the_last_such_time_before_now(text: str, expected: str) -> None:
    assert write_instant(parse_time_of_day(text, NOON)) == expected


@pytest.mark.parametrize(
    "text", ["", "24:00", "6:60", "6:3", "half six", "-6", "13 pm", "0 am", "6:30 xm", "123456"]
)
def test_what_is_no_time_of_day_is_refused(text: str) -> None:
    with pytest.raises(UnitError):
        parse_time_of_day(text, NOON)


@pytest.mark.parametrize(
    ("text", "now", "expected"),
    [
        ("1:30", _berlin(SPRING, 8), "2025-03-30T01:30:00+01:00"),
        ("3:30", _berlin(SPRING, 8), "2025-03-30T03:30:00+02:00"),
        ("23:00", _berlin(SPRING, 8), "2025-03-29T23:00:00+01:00"),
        ("1:30", _berlin(AUTUMN, 8), "2025-10-26T01:30:00+02:00"),
        ("23:00", _berlin(AUTUMN, 8), "2025-10-25T23:00:00+02:00"),
        ("2:40 before", _berlin(AUTUMN, 8), "2025-10-26T02:40:00+02:00"),  # it struck twice
        ("2:40 after", _berlin(AUTUMN, 8), "2025-10-26T02:40:00+01:00"),
        ("2:40", _berlin(SPRING, 2), "2025-03-29T02:40:00+01:00"),  # before the change: yesterday's
        # 02:10 for the second time; 02:40 has struck once today, half an hour ago.
        ("2:40", _berlin(AUTUMN, 2, 10, fold=1), "2025-10-26T02:40:00+02:00"),
    ],
)
def test_the_last_such_time_is_right_around_the_changes_of_summer_time(
    text: str, now: datetime, expected: str
) -> None:
    assert write_instant(parse_time_of_day(text, now)) == expected


@pytest.mark.parametrize(
    ("text", "now", "code"),
    [
        ("2:40", _berlin(AUTUMN, 8), "local_time_twice"),
        ("0240", _berlin(AUTUMN, 3, 10), "local_time_twice"),
        ("2:40", _berlin(SPRING, 8), "local_time_never"),
        ("2:00", _berlin(SPRING, 8), "local_time_never"),
    ],
)
def test_a_time_that_came_twice_or_never_is_asked_about(
    text: str, now: datetime, code: str
) -> None:
    with pytest.raises(UnitError) as caught:
        parse_time_of_day(text, now)
    assert caught.value.problem.code == code


_AROUND = [
    datetime(*day, tzinfo=UTC) + timedelta(minutes=10 * step)
    for day in (SPRING, AUTUMN)
    for step in range(-12, 30)
]


@pytest.mark.parametrize("text", ["1:30", "2:00", "2:10", "2:30", "2:50", "3:00", "3:10"])
def test_a_time_of_day_is_never_later_than_now_nor_two_days_old(text: str) -> None:
    """Rising after now would be negative hours out of bed; two such times are asked about."""
    for now in (at.astimezone(BERLIN) for at in _AROUND):
        try:
            hours = hours_between(parse_time_of_day(text, now), now)
        except UnitError as error:  # the two refusals are right only around a change
            code = error.problem.code
            hour, minute = map(int, text.split(":"))
            days = [now.date() - timedelta(days=back) for back in (0, 1)]
            walls = [datetime(d.year, d.month, d.day, hour, minute) for d in days]  # noqa: DTZ001
            kinds = {local_time_kind(wall, BERLIN) for wall in walls}
            assert code in {f"local_time_{kind}" for kind in kinds}
        else:
            assert 0 <= hours <= 26, f"{now:%d %b %H:%M %z}"


@pytest.mark.parametrize("name", ["Europe/Berlin", "UTC", "Atlantic/Faroe"])
def test_a_zone_is_known_by_its_name(name: str) -> None:
    assert parse_zone(name).key == name


@pytest.mark.parametrize(
    "name",
    [
        "",
        "Mars/Base",
        "../../etc/passwd",
        "/etc/localtime",
        "Europe",
        "a\x00b",
        "\x1b[2J",
        "x" * 300,
    ],
)
def test_an_unknown_zone_is_refused_in_safe_words(name: str) -> None:
    with pytest.raises(UnitError) as refused:
        parse_zone(name)
    assert not any(is_unsafe(character) for character in str(refused.value))


def test_a_date_is_written_for_people() -> None:
    assert long_date(datetime(2026, 3, 4, 23, 59, tzinfo=BERLIN)) == "4 March 2026"


def test_parts_of_a_second_are_not_kept_and_nothing_else_changes() -> None:
    exact = datetime(2026, 3, 4, 9, 12, 40, 999_999, tzinfo=BERLIN)
    assert write_instant(exact) == "2026-03-04T09:12:40+01:00"
