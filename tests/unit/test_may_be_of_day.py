"""When a session was measured, told from a glance at it: as from the session, and no day missed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import entry_of, session_of

from fitcore.merge.clock_notes import ClockNote
from fitcore.record.glance import glance_of
from tui.measured_when import may_be_of_day, measured_when, when_of_glance
from tui.wording.clocks import KnownClocks

if TYPE_CHECKING:
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session

TERN, DUNLIN = "tern-k7qd", "dunlin-m4ex"
MIDDAY = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
TODAY = MIDDAY.date()
HOUR, DAY = 3600, 86_400
A_DAY = timedelta(days=1)


def read(by: str, hours: float = 0, offset: int = 0) -> Entry:
    at = (MIDDAY + timedelta(hours=hours)).astimezone(timezone(timedelta(hours=offset)))
    where = {"side": "left", "point": "B", "kind": "girth", "round": 1}
    taken = {"typed": "22.4", "unit": "cm", "mm": Decimal("224.0")}
    return entry_of("readings", by, at=at, **where, **taken)


def noted(add: int, first: int = 1, last: int = 99, laptop: str = TERN) -> ClockNote:
    return ClockNote(f"curlew-w2fs:{first}", laptop, first, last, add, "C-02", "rang N-17")


_hours = st.sampled_from((0, 0, 1, -13, 11, 12, 25, 60, -300))
_offsets = st.sampled_from((0, 0, 0, 12, -12))


@st.composite
def _sessions(draw: st.DrawFn) -> Session:
    laptops = draw(st.sampled_from(((TERN,), (TERN,), (TERN, DUNLIN))))
    entries = [
        read(f"{draw(st.sampled_from(laptops))}:{number}", draw(_hours), draw(_offsets))
        for number in range(1, draw(st.integers(1, 4)))
    ]
    if draw(st.booleans()) or not entries:
        at = MIDDAY + timedelta(hours=draw(_hours))
        entries.append(entry_of("answers", f"{TERN}:7", at=at, what="tape", is_="cm"))
    return session_of(*entries)


_notes = st.builds(
    noted,
    st.sampled_from((0, HOUR, -HOUR, DAY, -DAY, 4 * DAY, -4 * DAY, 30 * DAY, -365 * DAY)),
    st.integers(1, 8),
    st.integers(1, 8),
    st.sampled_from((TERN, TERN, DUNLIN)),
)
_clocks = st.lists(_notes, max_size=3).map(lambda notes: KnownClocks(tuple(notes)))


@settings(max_examples=1000)
@given(_sessions(), _clocks)
def test_the_day_it_is_shown_under_is_always_one_it_may_be_of(
    session: Session, clocks: KnownClocks
) -> None:
    shown = measured_when(session, clocks)
    assert shown.at is not None
    assert may_be_of_day(glance_of(session), clocks, shown.at.date())
    assert may_be_of_day(glance_of(session), KnownClocks(), glance_of(session).measured_at.date())  # type: ignore[union-attr]


@settings(max_examples=300)
@given(_sessions(), _clocks)
def test_a_time_is_told_from_a_glance_as_from_the_session(
    session: Session, clocks: KnownClocks
) -> None:
    asked: list[str] = []

    def read_it(name: str) -> Session:
        asked.append(name)
        return session

    found = when_of_glance(glance_of(session), clocks, read_it)
    assert found == measured_when(session, clocks)
    assert asked in ([], [session.id])
    assert asked or not found.remark


SHIFTED = (
    # Set right by a day or more, at any hour of the day and in any offset.
    ((read(f"{TERN}:1"),), (noted(3 * DAY),), 3),
    ((read(f"{TERN}:1"),), (noted(-3 * DAY),), -3),
    ((read(f"{TERN}:1", 11.9),), (noted(3 * DAY + HOUR),), 4),
    ((read(f"{TERN}:1", 11.9, -12),), (noted(3 * DAY + 12 * HOUR),), 3),
    # The second of two notes, or one that begins or ends within the session.
    ((read(f"{TERN}:5"),), (noted(9 * DAY, 1, 4), noted(3 * DAY, 5, 5)), 3),
    ((read(f"{TERN}:5"), read(f"{TERN}:9")), (noted(-3 * DAY, 1, 6),), -3),
    ((read(f"{TERN}:5"), read(f"{TERN}:9")), (noted(-3 * DAY, 9, 12),), -3),
    # Notes that differ leave it as it was recorded.
    ((read(f"{TERN}:5"),), (noted(9 * DAY), noted(-3 * DAY)), 0),
    # A note makes another line the first: of another laptop, or days after it.
    ((read(f"{TERN}:1"), read(f"{DUNLIN}:1", 24 * 9)), (noted(30 * DAY),), 9),
    ((read(f"{TERN}:1"), read(f"{TERN}:2", 24 * 9)), (noted(30 * DAY, 1, 1),), 9),
)  # fmt: skip


@pytest.mark.parametrize(("entries", "notes", "days"), SHIFTED)
def test_the_day_notes_lead_to_is_one_it_may_be_of(
    entries: tuple[Entry, ...], notes: tuple[ClockNote, ...], days: int
) -> None:
    session, clocks = session_of(*entries), KnownClocks(notes)
    shown = measured_when(session, clocks).at
    assert shown is not None
    assert shown.date() == TODAY + days * A_DAY
    assert may_be_of_day(glance_of(session), clocks, shown.date())


def test_days_nothing_leads_to_are_told_apart_without_opening_the_file() -> None:
    glance = glance_of(session_of(read(f"{TERN}:5"), read(f"{TERN}:6", 2)))
    no_note_on_it = (noted(9 * DAY, 7, 99), noted(9 * DAY, laptop=DUNLIN), noted(0, 7))
    for clocks in (KnownClocks(), KnownClocks(no_note_on_it)):
        days = [n for n in range(-20, 21) if may_be_of_day(glance, clocks, TODAY + n * A_DAY)]
        assert days == [0]
    nine = KnownClocks((noted(9 * DAY, 6, 99),))
    days = [n for n in range(-20, 21) if may_be_of_day(glance, nine, TODAY + n * A_DAY)]
    assert {0, 9} <= {*days} <= {*range(-2, 3), *range(7, 12)}


def test_a_session_without_a_time_is_of_no_day() -> None:
    glance = glance_of(session_of())
    for clocks in (KnownClocks(), KnownClocks((noted(DAY),))):
        assert not may_be_of_day(glance, clocks, TODAY)
