"""The laptop's clock against its folder's sessions: whose times count, and in which of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from strategies import entry_of, session_of

from fitcore.disk.profile_files import load_profiles
from fitcore.disk.surroundings import Surroundings
from fitcore.record.glance import glance_of
from tui.clock_watch import ClockWatch

if TYPE_CHECKING:
    from fitcore.record.entries import Entry
    from fitcore.record.glance import Glance
    from fitcore.record.session import Session

RULES = load_profiles().time_rules
NOW = datetime(2026, 3, 5, 9, 0, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
TERN, DUNLIN = "tern-k7qd", "dunlin-m4ex"


def watch(now: datetime = NOW) -> ClockWatch:
    around = Surroundings(
        lambda: now, bytes, Path("nowhere"), "", monotonic=lambda: 0.0, built_on=date(2026, 1, 1)
    )
    return ClockWatch(around)


def session(number: int, *entries: Entry) -> Session:
    return replace(session_of(*entries), id=f"019c{number:04x}-f000-7153-8582-e9bfec1dcd37")


def reading(by: str, at: datetime, **more: object) -> Entry:
    where = {"side": "left", "point": "C", "kind": "girth", "round": 1}
    return entry_of("readings", by, at=at, **where, typed="36.2", unit="cm", mm=362, **more)


def confirmed(by: str, at: datetime) -> Entry:
    return entry_of("answers", by, at=at, what="clock", is_="correct")


def known(*sessions: Session) -> dict[str, Glance]:
    return {each.id: glance_of(each) for each in sessions}


def codes(*sessions: Session, clock: ClockWatch | None = None) -> list[tuple[str, str]]:
    flags = (clock or watch()).flags(known(*sessions), None, TERN, RULES)
    return [(flag.code, flag.level.value) for flag in flags]


def test_a_clock_confirmed_today_and_ahead_of_its_records_is_right() -> None:
    today = session(1, confirmed(f"{TERN}:1", NOW - HOUR), reading(f"{TERN}:2", NOW - HOUR))
    assert codes(today) == []


@pytest.mark.parametrize("at", [NOW + 20_000 * DAY, NOW + 3 * HOUR])
def test_the_times_of_a_sheet_were_shown_by_no_laptops_clock(at: datetime) -> None:
    """A year typed wrongly in a sheet blocked every reading on this laptop for ever."""
    today = session(1, confirmed(f"{TERN}:1", NOW - HOUR))
    assert codes(today, session(2, reading(f"{TERN}:2", at, row="a1b2"))) == []
    assert [code for code, _ in codes(today, session(2, reading(f"{TERN}:2", at)))] == [
        "reading_in_future",
        "clock_behind",
    ]
    assert [code for code, _ in codes(today, session(2, reading(f"{DUNLIN}:2", at)))] == [
        "reading_in_future"
    ]


def test_a_sheets_offset_is_not_the_laptops_last_one() -> None:
    east = timezone(2 * HOUR)
    today = session(1, confirmed(f"{TERN}:1", NOW - HOUR))
    sheet = session(2, reading(f"{TERN}:2", (NOW - HOUR / 2).astimezone(east), row="a1b2"))
    typed = session(2, reading(f"{TERN}:2", (NOW - HOUR / 2).astimezone(east)))
    assert codes(today, sheet) == []
    assert codes(today, typed) == [("zone_changed", "note")]


@pytest.mark.parametrize("others", [0, 19, 20, 200])
def test_the_open_session_counts_however_many_newer_ones_there_are(others: int) -> None:
    """A session opened again is old by its id; what was confirmed in it today counts."""
    opened = session(5, confirmed(f"{TERN}:7", NOW - HOUR), reading(f"{TERN}:8", NOW - HOUR))
    newer = [
        session(100 + n, entry_of("answers", f"{DUNLIN}:{n + 1}", what="client", is_=f"SK-{n}"))
        for n in range(others)
    ]
    assert codes(*newer, opened) == []
    assert watch().flags(known(*newer), opened, TERN, RULES) == ()
    for held in (known(*newer, opened), known(*newer)):
        here = None if opened.id in held else opened
        assert watch().confirmed_today(held, here, TERN)
        assert not watch().confirmed_today(held, here, DUNLIN)


def test_the_newest_record_is_found_by_its_time_not_by_its_sessions_id() -> None:
    """Written on with a clock far ahead into a session begun long ago."""
    today = session(900, confirmed(f"{TERN}:1", NOW - HOUR))
    old = session(1, reading(f"{TERN}:2", NOW + 2 * DAY))
    newer = [session(100 + n, reading(f"{TERN}:{n + 9}", NOW - DAY)) for n in range(30)]
    assert ("clock_behind", "block") in codes(*newer, old, today)


def test_a_session_that_grew_is_looked_at_again() -> None:
    clock = watch()
    before = session(1, reading(f"{TERN}:1", NOW - HOUR))
    assert codes(before, clock=clock) == [("clock_not_confirmed", "warn")]
    after = before.with_entries(confirmed(f"{TERN}:2", NOW - HOUR))
    assert codes(after, clock=clock) == []
    assert codes(before, clock=clock) == [("clock_not_confirmed", "warn")]
    assert clock.confirmed_today(known(after), None, TERN)
    assert not clock.confirmed_today(known(after), None, DUNLIN)


def test_the_open_session_counts_as_it_stands_and_not_as_it_was_saved() -> None:
    """What was said of the clock in it may have been changed since; the others stay summed up."""
    clock = watch()
    other = session(1, reading(f"{TERN}:1", NOW - 2 * HOUR))
    saved = session(2, confirmed(f"{TERN}:2", NOW - HOUR))
    wrong = {"what": "clock", "is_": "wrong", "instead_of": [f"{TERN}:2"]}
    here = saved.with_entries(entry_of("answers", f"{TERN}:3", at=NOW - HOUR, **wrong))
    folder = known(other, saved)
    assert clock.confirmed_today(folder, None, TERN)
    assert not clock.confirmed_today(folder, here, TERN)
    assert clock.confirmed_today(folder, saved, TERN)
    ahead = here.with_entries(reading(f"{TERN}:4", NOW + 3 * HOUR))
    told = [flag.code for flag in clock.flags(folder, ahead, TERN, RULES)]
    assert told == ["reading_in_future", "clock_behind", "clock_not_confirmed"]
    assert [f.code for f in clock.flags(folder, here, TERN, RULES)] == ["clock_not_confirmed"]


def test_yesterdays_word_and_an_answer_since_changed_confirm_nothing() -> None:
    yesterday = session(1, confirmed(f"{TERN}:1", NOW - DAY))
    assert codes(yesterday) == [("clock_not_confirmed", "warn")]
    changed = session(
        1,
        confirmed(f"{TERN}:1", NOW - HOUR),
        entry_of(
            "answers",
            f"{TERN}:2",
            at=NOW - HOUR,
            what="clock",
            is_="wrong",
            instead_of=[f"{TERN}:1"],
        ),
    )
    assert codes(changed) == [("clock_not_confirmed", "warn")]
