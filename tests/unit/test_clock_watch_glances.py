"""The clock's watch over glances: it judges by the same records as over all sessions parsed.

What sessions say is summed up once and kept while they stay, so one watch is asked again and again.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from filed_sessions import id_of
from hypothesis import given
from hypothesis import strategies as st
from strategies import entry_of

from fitcore.disk.profile_files import load_profiles
from fitcore.disk.surroundings import Surroundings
from fitcore.moment.clock import ClockState, judge_clock
from fitcore.record.glance import glance_of
from fitcore.record.session import Session
from tui.clock_watch import ClockWatch

if TYPE_CHECKING:
    from collections.abc import ItemsView

    from fitcore.flags import Flag
    from fitcore.record.entries import Entry
    from fitcore.record.glance import Glance

RULES = load_profiles().time_rules
OPENED = datetime(2026, 3, 5, 22, 0, tzinfo=UTC)
BUILT = date(2026, 1, 1)
LAPTOPS = ("tern-k7qd", "dunlin-m4ex")


@dataclass
class Wall:
    """A clock on the wall that is set by hand."""

    at: datetime = OPENED

    def __call__(self) -> datetime:
        return self.at

    def watch(self) -> ClockWatch:
        """Return a watch of it, and of a clock nobody can set that agrees with it."""
        around = Surroundings(
            self, bytes, Path("nowhere"), "", monotonic=self.seconds, built_on=BUILT
        )
        return ClockWatch(around)

    def seconds(self) -> float:
        """Return the seconds since the program was opened."""
        return (self.at - OPENED).total_seconds()

    def expected(self, sessions: list[Session], laptop: str) -> tuple[tuple[Flag, ...], bool]:
        """Return the flags, and whether the clock was confirmed today, by parsed sessions."""
        shown = [e for s in sessions for e in s.entries if "row" not in e.fields and e.at]
        own = [e.at for e in shown if e.by.laptop == laptop and e.at]
        newest = max(own, default=None)
        readings = [e.at for e in shown if e.array == "readings" and e.at]
        heads = [e for s in sessions for e in s.answer("clock").heads if e.by.laptop == laptop]
        said = {e.at.date() for e in heads if e.fields["is"] == "correct" and e.at}
        state = ClockState(
            now=self.at,
            newest_record=newest,
            build_date=BUILT,
            confirmed_on=self.at.date() if self.at.date() in said else None,
            opened_at=OPENED,
            elapsed_monotonic_seconds=self.seconds(),
            zone="",
            last_offset=newest.utcoffset() if newest else None,
            newest_reading=max(readings, default=None),
        )
        return judge_clock(state, RULES), self.at.date() in said


class Counted(dict[str, "Glance"]):
    """Sessions by id that count how often all of them are looked at."""

    looks = 0

    def items(self) -> ItemsView[str, Glance]:
        self.looks += 1
        return super().items()


@st.composite
def _lines(draw: st.DrawFn, number: int, most: int = 4) -> frozenset[Entry]:
    """Draw lines of one session; no two sessions have one instant or one name."""
    entries: list[Entry] = []
    minutes = draw(st.lists(st.integers(-400, 300), max_size=most, unique=True))
    for count, minute in enumerate(minutes):
        by = f"{draw(st.sampled_from(LAPTOPS))}:{number * 10 + count + 1}"
        offset = draw(st.sampled_from((0, 0, 60, 120)))
        at = OPENED + timedelta(minutes=minute * 5, seconds=number)
        told: dict[str, Any] = draw(st.sampled_from(({}, {}, {}, {"row": "af01"})))
        told |= {"at": at.astimezone(timezone(timedelta(minutes=offset)))}
        seen = [str(e.by) for e in entries if e.text("what") == "clock"]
        match draw(st.sampled_from("rrccw")):
            case "r":
                where = {"side": "left", "point": "B", "kind": "girth", "round": 1}
                taken = {"typed": "22.4", "unit": "cm", "mm": Decimal("224.0")}
                entries.append(entry_of("readings", by, **told, **where, **taken))
            case kind:
                is_ = "correct" if kind == "c" else "wrong"
                told |= {"instead_of": seen} if seen and draw(st.booleans()) else {}
                entries.append(entry_of("answers", by, what="clock", is_=is_, **told))
    return frozenset(entries)


@st.composite
def _folders(draw: st.DrawFn) -> list[Session]:
    count = draw(st.integers(0, 3))
    return [Session(id_of(number), draw(_lines(number))) for number in range(count)]


@given(st.lists(_folders(), min_size=1, max_size=2), st.data())
def test_one_watch_judges_by_what_sessions_say_however_often_it_is_asked(
    folders: list[list[Session]], data: st.DataObject
) -> None:
    wall = Wall()
    watch = wall.watch()
    held = [{session.id: glance_of(session) for session in folder} for folder in folders]
    for _ in range(4):
        which = data.draw(st.integers(0, len(folders) - 1))
        sessions = list(folders[which])
        here = data.draw(st.none() | st.sampled_from([*sessions, Session(id_of(7), frozenset())]))
        if here is not None:
            known = sum(session.id == here.id for session in sessions)
            more = data.draw(_lines(20 + 10 * known))
            # As it stands, not as it was: also a line that was there may be gone again.
            here = Session(here.id, more if data.draw(st.booleans()) else here.entries | more)
            sessions = [*(s for s in sessions if s.id != here.id), here]
        laptop = data.draw(st.sampled_from(LAPTOPS))
        wall.at = OPENED + timedelta(hours=data.draw(st.sampled_from((0, 1, 3, 24))))
        flags, confirmed = wall.expected(sessions, laptop)
        assert watch.flags(held[which], here, laptop, RULES) == flags
        assert watch.confirmed_today(held[which], here, laptop) == confirmed


def confirmed_at(number: int, at: datetime, laptop: str = LAPTOPS[0]) -> Session:
    line = entry_of("answers", f"{laptop}:{number}", at=at, what="clock", is_="correct")
    return Session(id_of(number), frozenset([line]))


def test_all_sessions_are_looked_at_once_while_they_stay() -> None:
    watch, open_one = Wall().watch(), confirmed_at(9, OPENED)
    known = Counted({s.id: glance_of(s) for s in (confirmed_at(n, OPENED) for n in (1, 2, 3))})
    for more in range(20):
        read = entry_of("remarks", f"{LAPTOPS[0]}:{100 + more}", at=OPENED, text="x")
        open_one = open_one.with_entries(read)
        watch.flags(known, open_one, LAPTOPS[0], RULES)
        watch.confirmed_today(known, open_one, LAPTOPS[0])
    assert known.looks == 1
    watch.flags(known, None, LAPTOPS[0], RULES)
    watch.flags(known, None, LAPTOPS[0], RULES)
    assert known.looks == 2


def test_what_counts_changes_with_the_laptop_the_session_and_the_folder() -> None:
    tern, dunlin = LAPTOPS
    watch, mine = Wall().watch(), confirmed_at(1, OPENED)
    known = {mine.id: glance_of(mine)}
    asked = [
        (known, None, tern, True),
        (known, None, dunlin, False),
        (known, None, tern, True),
        (known, Session(mine.id, frozenset()), tern, False),
        (known, Session(id_of(2), frozenset()), tern, True),
        (known, confirmed_at(2, OPENED, dunlin), dunlin, True),
        ({}, Session(id_of(2), frozenset()), tern, False),
        ({}, mine, tern, True),
    ]
    for held, here, laptop, is_confirmed in asked:
        assert watch.confirmed_today(held, here, laptop) == is_confirmed


def test_confirmed_yesterday_is_not_confirmed_today() -> None:
    """The program stays open overnight."""
    wall, mine = Wall(), confirmed_at(1, OPENED)
    watch, known = wall.watch(), {mine.id: glance_of(mine)}
    assert watch.confirmed_today(known, None, LAPTOPS[0])
    wall.at = OPENED + timedelta(hours=3)
    assert not watch.confirmed_today(known, None, LAPTOPS[0])
