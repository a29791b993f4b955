"""The start list made from glances: the same lines as from sessions parsed whole.

The reference below sorts parsed sessions, anew for whatever is typed, and knows no glance.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from filed_sessions import id_of, put, put_all, put_bytes, read_all, watch_reads
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import entry_of

from fitcore.disk.session_book import SessionBook, look_through
from fitcore.merge.clock_notes import ClockNote
from fitcore.record.codec import write_session
from fitcore.record.session import Seal, Session
from tui.measured_when import measured_when
from tui.start_list import MOST_LINES, StartLine, StartList
from tui.wording.clocks import KnownClocks

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable
    from pathlib import Path

    from fitcore.record.entries import Entry

TERN, DUNLIN = "tern-k7qd", "dunlin-m4ex"
TODAY = date(2026, 3, 4)
MIDDAY = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
DAY = 86_400
CODES = ("KES-17", "kes-17", "KES-171", "SK-1", "Straße 1", "STRASSE 1", "x\nKES-17\ny")
"""Codes that differ by case alone, and one that holds another."""
TYPED = ("", "K", "17", "kes-17", "KES-17", "kEs-171", "s", "strasse 1", "ß", "SK-1", "sk-", "NEW")


# --- the reference -------------------------------------------------------------------------------


def lines_of(
    sessions: Iterable[Session], typed: str, stopped: Collection[str], clocks: KnownClocks
) -> list[StartLine]:
    """Return the lines to show, from all sessions of a folder."""
    paused, today, clients = [], [], {}
    for session in sorted(sessions, key=lambda session: session.id, reverse=True):
        client = session.text("client")
        if not client or typed.casefold() not in client.casefold():
            continue
        clients.setdefault(client, session)
        begun = session.answer("protocol").heads or session.answer("paused").heads
        at = measured_when(session, clocks).at
        stop = " (STOP)" if session.id in stopped else ""
        if session.value("finished") is not True:
            if session.seal is Seal.WHOLE and begun:
                remarks = session.heads.heads_of("remarks")
                newest = " ".join(remarks[-1].text("text").split()) if remarks else ""
                told = f"PAUSED: go on{stop}" + (f" ! {newest}" if newest else "")
                paused.append(line_of("paused", session, told, clocks))
        elif at is not None and at.date() == TODAY:
            told = f"finished today{stop}: see the result"
            today.append(line_of("today", session, told, clocks))
    rest = []
    for _, session in sorted(clients.items()):
        begun = session.answer("protocol").heads or session.answer("paused").heads
        told = "new session"
        if session.seal is not Seal.WHOLE:
            told = "new session (! last changed outside)"
        elif begun and session.value("finished") is not True:
            told = "new session (last left open)"
        rest.append(line_of("client", session, told, clocks))
    lines = [*paused, *today, *rest]
    if typed:
        exact = [line for line in lines if line.client.casefold() == typed.casefold()]
        others = [line for line in lines if line.client.casefold() != typed.casefold()]
        lines = [*(exact or [new_client(typed)]), *others]
    return lines[:200]


def new_client(typed: str) -> StartLine:
    return StartLine("new", typed, "", "", "new client: start here")


def line_of(kind: Any, session: Session, state: str, clocks: KnownClocks) -> StartLine:
    when = measured_when(session, clocks)
    words = when.words or "no readings"
    return StartLine(kind, session.text("client"), session.id, words, state, when.legend)


def parsed(folder: Path) -> list[Session]:
    return [file.session for file in read_all(folder) if file.session is not None]


# --- folders -------------------------------------------------------------------------------------

_times = st.builds(
    lambda days, minutes, offset: (MIDDAY + timedelta(days=days, minutes=minutes)).astimezone(
        timezone(timedelta(hours=offset))
    ),
    st.sampled_from((0, 0, 0, 0, -1, 1, -3, -9, -30, 365)),
    st.sampled_from((0, 0, 5, -13 * 60, 11 * 60 + 59, 12 * 60)),
    st.sampled_from((0, 0, 1, -5, 12)),
)


@st.composite
def _sessions(draw: st.DrawFn, number: int) -> Session:
    """Draw one session, mostly of one laptop, its lines mostly within a quarter of an hour."""
    laptop, at = draw(st.sampled_from((TERN, TERN, DUNLIN))), draw(_times)
    is_imported = draw(st.integers(0, 5)) == 0
    entries: list[Entry] = []

    def write(array: str, /, *, by: str = laptop, when: datetime | None = None, **more: Any) -> str:
        name = f"{by}:{number * 20 + len(entries) + 1}"
        more |= {"row": "af01"} if is_imported else {}
        said = when or at + timedelta(minutes=len(entries))
        entries.append(entry_of(array, name, at=said, **more))
        return name

    def answer(what: str, value: object, **more: Any) -> str:
        return write("answers", what=what, is_=value, **more)

    other = DUNLIN if laptop == TERN else TERN
    code = draw(st.sampled_from(CODES))
    first = answer("client", code)
    match draw(st.integers(0, 7)):
        case 0:
            answer("client", draw(st.sampled_from(CODES)), by=other)
        case 1:
            answer("client", draw(st.sampled_from(CODES)), instead_of=[first])
        case 2:
            write("withdrawn", takes_back=[first], why="another person")
    if draw(st.integers(0, 4)):
        answer(*draw(st.sampled_from((("protocol", "below-knee-short"), ("paused", ["setup"])))))
    for _ in range(draw(st.sampled_from((0, 1, 1, 2, 3)))):
        told = draw(st.sampled_from(({}, {}, {}, {"by": other}, {"when": draw(_times)})))
        if is_imported:
            told = {}  # a row of a sheet is one sitting
        taken = {"typed": "22.4", "unit": "cm", "mm": Decimal("224.0")}
        taken = draw(st.sampled_from((taken, taken, {"not_taken": "wound"})))
        write("readings", side="left", point="B", kind="girth", round=1, **taken, **told)
    for text in draw(st.lists(st.sampled_from(("Skin intact.", "two\nlines", " ")), max_size=2)):
        write("remarks", text=text)
    match draw(st.sampled_from("fffffnnpd")):
        case "f":
            answer("finished", value=True)
        case "n":
            answer("finished", value=False)
        case "d":
            answer("finished", value=True)
            answer("finished", value=False, by=other)
    return Session(id_of(number), frozenset(entries))


_notes = st.lists(
    st.builds(
        lambda laptop, first, more, add: ClockNote(
            f"curlew-2x2x:{first}", laptop, first, first + more, add, "C-02", "rang N-17"
        ),
        st.sampled_from((TERN, TERN, DUNLIN)),
        st.sampled_from((1, 1, 1, 25, 43, 70)),
        st.sampled_from((999, 999, 20, 2, 0)),
        st.sampled_from((0, 60, -60, DAY, -DAY, 3 * DAY, 9 * DAY, 30 * DAY, -365 * DAY, 10**12)),
    ),
    max_size=3,
)


@st.composite
def _folders(draw: st.DrawFn) -> tuple[list[tuple[Session, bool]], KnownClocks]:
    """Draw sessions, whether each was changed outside, and notes on clocks."""
    count = draw(st.integers(1, 6))
    changed = st.sampled_from((False, False, False, True))
    sessions = [(draw(_sessions(number)), draw(changed)) for number in range(count)]
    return sessions, KnownClocks(tuple(draw(_notes)))


def filed(folder: Path, sessions: Iterable[tuple[Session, bool]]) -> SessionBook:
    for session, is_changed in sessions:
        path = put(folder, session)
        if is_changed:
            put_bytes(path, path.read_bytes() + b"# looked at with an editor\nnotes = []\n")
    return look_through(folder, None, 0)


@given(_folders(), st.sampled_from(TYPED), st.data())
def test_the_lines_are_those_of_sessions_parsed_whole(
    tmp_path_factory: pytest.TempPathFactory,
    drawn: tuple[list[tuple[Session, bool]], KnownClocks],
    typed: str,
    data: st.DataObject,
) -> None:
    folder = tmp_path_factory.mktemp("data")
    sessions, clocks = drawn
    book, known = filed(folder, sessions), parsed(folder)
    assert len(known) == len(sessions)
    ids = [session.id for session in known]
    stopped = frozenset(data.draw(st.lists(st.sampled_from(ids), unique=True)))
    found = StartList(book, TODAY, clocks)
    everything = lines_of(known, "", (), clocks)
    assert found.lines("") == everything
    begun = [line.session_id for line in everything if line.kind in ("paused", "today")]
    assert found.begun == begun
    for part in ("", typed, *CODES):  # of one list, as keys narrow it and widen it again
        assert found.lines(part, stopped) == lines_of(known, part, stopped, clocks)
    assert found.begun == begun


def test_what_is_drawn_holds_each_kind_of_line(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Else the test above could pass by drawing nothing that differs."""
    met: set[str] = set()

    @settings(max_examples=400, derandomize=True)
    @given(_folders())
    def draw(drawn: tuple[list[tuple[Session, bool]], KnownClocks]) -> None:
        folder = tmp_path_factory.mktemp("data")
        sessions, clocks = drawn
        book, known = filed(folder, sessions), parsed(folder)
        for line in StartList(book, TODAY, clocks).lines(""):
            met.add(line.kind)
            met.add(line.state.replace("Skin intact.", "two lines"))
            met.add(line.legend)
        met.update("disputed" for g in book.glances.values() if g.codes and not g.client)
        by_note = lines_of(known, "", (), clocks), lines_of(known, "", (), KnownClocks())
        today = [{x.session_id for x in lines if x.kind == "today"} for lines in by_note]
        met.update("into today" for _ in today[0] - today[1])
        met.update("out of today" for _ in today[1] - today[0])

    draw()
    assert met >= {
        "paused", "today", "client", "PAUSED: go on", "PAUSED: go on ! two lines",
        "finished today: see the result", "new session", "new session (last left open)",
        "new session (! last changed outside)", "* clock set right by note",
        "? clock notes differ", "", "disputed", "into today", "out of today",
    }  # fmt: skip


# --- single cases --------------------------------------------------------------------------------


def visit(number: int, client: str, **more: Any) -> Session:
    """Return a session of one reading; `more` holds its other answers."""
    at = MIDDAY + timedelta(minutes=number % 60)
    answers = {"client": client, **more}
    lines = [
        entry_of("answers", f"{TERN}:{number * 20 + count}", at=at, what=what, is_=value)
        for count, (what, value) in enumerate(answers.items(), 1)
    ]
    reading = {"side": "left", "point": "B", "kind": "girth", "round": 1, "typed": "22.4"}
    mm = {"unit": "cm", "mm": Decimal("224.0")}
    lines.append(entry_of("readings", f"{TERN}:{number * 20 + 19}", at=at, **reading, **mm))
    return Session(id_of(number), frozenset(lines))


def test_paused_then_todays_then_clients_each_in_its_order(tmp_path: Path) -> None:
    sessions = [
        visit(1, "B-2", protocol="short"),
        visit(2, "A-1", finished=True),
        visit(3, "C-3", protocol="short"),
        visit(4, "B-2", finished=True),
        visit(5, "b-2"),
    ]
    found = StartList(put_all(tmp_path, *sessions), TODAY)
    assert [(line.kind, line.client, line.session_id) for line in found.lines("")] == [
        ("paused", "C-3", id_of(3)),
        ("paused", "B-2", id_of(1)),
        ("today", "B-2", id_of(4)),
        ("today", "A-1", id_of(2)),
        ("client", "A-1", id_of(2)),
        ("client", "B-2", id_of(4)),
        ("client", "C-3", id_of(3)),
        ("client", "b-2", id_of(5)),
    ]
    assert found.begun == [id_of(3), id_of(1), id_of(4), id_of(2)]
    assert [(line.kind, line.client) for line in found.lines("b-2")] == [
        ("paused", "B-2"),
        ("today", "B-2"),
        ("client", "B-2"),
        ("client", "b-2"),
    ]
    assert found.lines("-2 ") == [new_client("-2 ")]
    assert [line.kind for line in found.lines("-")] == ["new", *(x.kind for x in found.lines(""))]


@pytest.mark.parametrize("count", [199, 200, 201, 230])
def test_two_hundred_lines_at_most_are_drawn_those_of_the_typed_code_first(
    count: int, tmp_path: Path
) -> None:
    sessions = [visit(n, f"SK-{n:03}", finished=n != 7) for n in range(1, count)]
    sessions.append(visit(count, "SK", finished=True))
    book = put_all(tmp_path, *sessions)
    elsewhen = StartList(book, TODAY + timedelta(days=1))
    lines = elsewhen.lines("")
    assert MOST_LINES == 200
    assert len(lines) == min(count, 200)
    assert [line.client for line in lines[:3]] == ["SK", "SK-001", "SK-002"]
    for typed, first in (("SK", "client"), ("sk", "client"), ("k-", "new")):
        narrowed = elsewhen.lines(typed)
        assert len(narrowed) == min(count, 200)
        assert [line.kind for line in narrowed[:2]] == [first, "client"]
    assert [line.client for line in elsewhen.lines("sk")[:2]] == ["SK", "SK-001"]
    assert len(elsewhen.lines("SK-1")) == 1 + min(count - 100, 100)
    known = parsed(tmp_path)
    today = StartList(book, TODAY)
    for typed in ("", "SK", "sk-", "k-0"):
        assert today.lines(typed) == lines_of(known, typed, (), KnownClocks())
    assert len(today.begun) == count - 1


def test_more_lines_of_one_code_than_are_drawn(tmp_path: Path) -> None:
    book = put_all(
        tmp_path,
        *(visit(n, "SK-1", protocol="short") for n in range(1, 206)),
        visit(300, "SK-11", protocol="short"),
    )
    found = StartList(book, TODAY)
    known = parsed(tmp_path)
    for typed in ("", "sk-1", "SK-11", "SK"):
        assert found.lines(typed) == lines_of(known, typed, (), KnownClocks())
    assert {line.client for line in found.lines("sk-1")} == {"SK-1"}
    assert len(found.begun) == 206


def test_a_stop_is_told_where_it_stands_and_not_in_the_clients_line(tmp_path: Path) -> None:
    sessions = [visit(1, "A-1", protocol="short"), visit(2, "B-2", finished=True)]
    found = StartList(put_all(tmp_path, *sessions), TODAY)
    told = {line.state for line in found.lines("", [id_of(1), id_of(2)])}
    assert told == {
        "PAUSED: go on (STOP)",
        "finished today (STOP): see the result",
        "new session",
        "new session (last left open)",
    }
    assert not any("STOP" in line.state for line in found.lines("", [id_of(3)]))


def test_a_stop_found_after_a_size_is_told_with_the_client_and_all_its_lines(
    tmp_path: Path,
) -> None:
    """It may stand in a session nobody goes on with here: the client's own line tells of it."""
    book = put_all(
        tmp_path, visit(1, "A-1"), visit(2, "B-2", finished=True), visit(3, "C-3", protocol="short")
    )
    lines = StartList(book, TODAY).lines("", stopped_codes=["A-1", "B-2", "C-3"])
    assert {(line.client, line.kind, line.state) for line in lines} == {
        ("C-3", "paused", "PAUSED: go on (STOP)"),
        ("B-2", "today", "finished today (STOP): see the result"),
        *((code, "client", "new session (STOP: F7)") for code in ("A-1", "B-2", "C-3")),
    }
    assert not any("STOP" in line.state for line in StartList(book, TODAY).lines("", ["A-1"]))


def test_narrowing_opens_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book = put_all(tmp_path, visit(1, "A-1", protocol="short"), visit(2, "B-2", finished=True))
    read = watch_reads(monkeypatch)
    notes = KnownClocks((ClockNote("x", DUNLIN, 1, 999, DAY, "C-02", "rang"),))
    late = KnownClocks((ClockNote("x", TERN, 900, 999, DAY, "C-02", "rang"),))
    for clocks in (KnownClocks(), notes, late):
        found = StartList(book, TODAY, clocks)
        for typed in ("", "a", "A-1", "b"):
            found.lines(typed)
    assert read == []


def test_a_session_whose_time_a_note_sets_right_is_read_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = put_all(tmp_path, visit(1, "A-1", protocol="short"), visit(2, "B-2", finished=True))
    read = watch_reads(monkeypatch)
    clocks = KnownClocks((ClockNote("x", TERN, 1, 999, DAY, "C-02", "rang"),))
    found = StartList(book, TODAY + timedelta(days=1), clocks)
    for typed in ("", "a", "", "b"):
        found.lines(typed)
    assert sorted(read) == [id_of(1), id_of(2)]
    assert {line.legend for line in found.lines("")} == {"* clock set right by note"}


def test_a_finished_session_far_from_today_is_not_read_for_a_clock_note(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = put_all(tmp_path, *(visit(n, f"SK-{n}", finished=True) for n in range(1, 9)))
    read = watch_reads(monkeypatch)
    clocks = KnownClocks((ClockNote("x", TERN, 1, 999, DAY, "C-02", "rang"),))
    StartList(book, TODAY + timedelta(days=9), clocks)
    assert read == []
    StartList(book, TODAY - timedelta(days=9), clocks)
    assert read == []
    StartList(book, TODAY, clocks)
    assert len(read) == 8


def test_after_a_note_no_key_reads_later_sessions_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those with higher numbers than it is about: only reading them tells that it does not bear."""
    book = put_all(tmp_path, *(visit(number, f"SK-{number:03}") for number in range(10, 60)))
    read = watch_reads(monkeypatch)
    found = StartList(book, TODAY, KnownClocks((ClockNote("x", TERN, 1, 30, DAY, "C-02", "rang"),)))
    for _ in range(3):
        assert len(found.lines("")) == 50
    assert len(read) == len(set(read)) == 50


@pytest.mark.parametrize("add", [10**12, 10**14, -86_399_999_913_600])
def test_a_note_that_adds_more_than_a_calendar_holds_is_told_as_in_doubt(
    tmp_path: Path, add: int
) -> None:
    book = put_all(tmp_path, visit(1, "SK-01", finished=True))
    clocks = KnownClocks((ClockNote("x", TERN, 1, 999, add, "C-02", "rang"),))
    lines = StartList(book, TODAY, clocks).lines("")
    assert lines == lines_of(parsed(tmp_path), "", (), clocks)


def test_a_session_that_went_away_is_told_as_it_was_seen(tmp_path: Path) -> None:
    session = visit(1, "A-1", protocol="short")
    book = put_all(tmp_path, session)
    clocks = KnownClocks((ClockNote("x", TERN, 1, 999, DAY, "C-02", "rang"),))
    for path in tmp_path.rglob("*.toml"):
        path.unlink()
    (line, _) = StartList(book, TODAY, clocks).lines("")
    assert (line.session_id, line.when, line.legend) == (id_of(1), "2026-03-04 12:01", "")
    assert "12:01" in write_session(session)


def test_a_session_without_a_time_says_so(tmp_path: Path) -> None:
    """All it holds is whom it is about, by a decision at the desk."""
    decided = entry_of("decisions", f"{TERN}:1", what="client", is_="A-1", who="C-02", why="rang")
    for clocks in (KnownClocks(), KnownClocks((ClockNote("x", TERN, 1, 9, DAY, "C-02", "rang"),))):
        found = StartList(put_all(tmp_path, Session(id_of(1), frozenset([decided]))), TODAY, clocks)
        assert found.lines("") == lines_of(parsed(tmp_path), "", (), clocks)
        assert [line.when for line in found.lines("")] == ["no readings"]


def test_lines_lead_to_the_same_whatever_they_say_of_it_by_now() -> None:
    line = StartLine("paused", "SK-1", id_of(1), "2026-03-04 12:01", "PAUSED: go on")
    assert line.same_as(StartLine("paused", "SK-1", id_of(1), "", "PAUSED: go on (STOP)", "*"))
    assert not line.same_as(StartLine("client", "SK-1", id_of(1), line.when, line.state))
    assert not line.same_as(StartLine("paused", "sk-1", id_of(1), line.when, line.state))
    assert not line.same_as(StartLine("paused", "SK-1", id_of(2), line.when, line.state))
