"""What is read of a folder when it is asked for: the same as if all its sessions were held."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import product
from typing import TYPE_CHECKING

import pytest
from filed_sessions import LOOKED_NS, SECOND, id_of, put, put_all, read_all, watch_reads
from hypothesis import given
from hypothesis import strategies as st
from linked_visits import HERE, HOLD, PROFILES, STOP, THERE, THIRD, TODAY, read_calves, visit
from strategies import entry_of

from fitcore.disk.profile_files import load_quality_rules
from fitcore.disk.session_book import look_through
from fitcore.disk.session_files import session_path
from fitcore.identity import EntryId
from fitcore.merge.clients import Clients, by_code, linked_sessions
from fitcore.merge.late_stops import draft_passed_on, late_stops
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.points import Kind, Point
from fitcore.quality.quality_report import error_of, report_quality
from fitcore.record.edits import draft_answer
from fitcore.record.last_time import sessions_before
from fitcore.record.readings import Readings
from fitcore.record.session import Seal, Session
from fitcore.safety.clearance import judge_clearance
from tui.clearance_view import stopped_among
from tui.loading import OwnErrors, read_late_stops, read_person, read_stopped
from tui.merge_memory import late_stop_codes

if TYPE_CHECKING:
    from pathlib import Path

    from screening_cases import Sitting

    from fitcore.certainty.certainty_errors import RepeatErrorOf
    from fitcore.disk.session_book import SessionBook
    from fitcore.record.entries import Entry

TERN, DUNLIN, DESK = "tern-k7qd", "dunlin-m4ex", "curlew-w2fs"
RULES = PROFILES.rules
NO_LINKS = Clients(LedgerLines())


def links_of(*groups: tuple[str, ...], apart: tuple[str, ...] = ()) -> Clients:
    """Return ledgers that say which codes are one person's, and which somebody says are not."""
    told = {"who": "C-02", "why": "asked at the door"}
    lines = [
        entry_of("links", f"{DESK}:{n}", codes=list(group), **told)
        for n, group in enumerate(groups, 1)
    ]
    if apart:
        lines.append(entry_of("distincts", f"{DESK}:99", codes=list(apart), **told))
    return Clients(LedgerLines(frozenset(lines)))


LINKS = (
    None,
    NO_LINKS,
    links_of((HERE, THERE)),
    links_of((HERE, THERE), (THERE, THIRD)),
    links_of((HERE, THERE), apart=(HERE, THERE)),
    links_of((THERE, THIRD)),
    links_of((HERE, "nobody-1")),
)


def all_of(folder: Path) -> dict[str, Session]:
    """Return all sessions of a folder, parsed, by id."""
    return {file.session.id: file.session for file in read_all(folder) if file.session}


# --- a person's other sessions -------------------------------------------------------------------


@st.composite
def _people(draw: st.DrawFn) -> list[Session]:
    """Draw sessions of three codes, some under two or none, some without a reading."""
    sessions = []
    for number in range(draw(st.integers(1, 7))):
        first = number * 10
        lines: list[Entry] = []
        code = draw(st.sampled_from((HERE, HERE, THERE, THIRD, None)))
        if code is not None:
            lines.append(entry_of("answers", f"{TERN}:{first + 1}", what="client", is_=code))
        if draw(st.integers(0, 3)) == 0:
            other = draw(st.sampled_from((HERE, THERE, THIRD)))
            seen = {"instead_of": [f"{TERN}:{first + 1}"]} if draw(st.booleans()) else {}
            name = f"{DUNLIN}:{first + 2}"
            lines.append(entry_of("answers", name, what="client", is_=other, **seen))
        if draw(st.integers(0, 3)):
            where = {"side": "left", "point": "B", "kind": "girth", "round": 1}
            taken = {"typed": "22.4", "unit": "cm", "mm": Decimal("224.0")}
            taken = taken if draw(st.integers(0, 4)) else {"not_taken": "wound"}
            lines.append(entry_of("readings", f"{TERN}:{first + 3}", **where, **taken))
        sessions.append(Session(id_of(number), frozenset(lines)))
    return sessions


@given(_people(), st.sampled_from(LINKS))
def test_a_persons_other_sessions_are_those_found_among_all(
    tmp_path_factory: pytest.TempPathFactory, sessions: list[Session], links: Clients | None
) -> None:
    folder = tmp_path_factory.mktemp("data")
    book = put_all(folder, *sessions)
    known = all_of(folder)
    asked = [(session, session.text("client")) for session in known.values()]
    new = Session(id_of(99), frozenset())
    asked += [(new, code) for code in (HERE, THERE, "nobody-1", "")]
    asked += [(session, HERE) for session in known.values()]  # a corrected code not yet saved
    for session, client in asked:
        found = read_person(book, session, client, links)
        assert found.earlier == sessions_before(session, client, known.values())
        assert found.linked == linked_sessions(session, links, by_code(known.values()), client)


def test_only_a_persons_own_files_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    codes = (HERE, THERE, THIRD, HERE)
    sittings = [visit(code, hours=n * 9 - 99).session for n, code in enumerate(codes)]
    book = put_all(tmp_path, *sittings)
    read = watch_reads(monkeypatch)
    new = Session(id_of(99), frozenset())
    read_person(book, new, HERE, None)
    assert read == [sittings[0].id, sittings[3].id]
    read.clear()
    read_person(book, new, HERE, links_of((HERE, THERE)))
    assert read == [sittings[0].id, sittings[1].id, sittings[3].id]
    read.clear()
    found = read_person(book, new, "nobody-1", NO_LINKS)
    assert (found.earlier, found.linked, read) == ((), (), [])


def test_a_session_that_went_away_since_is_left_out(tmp_path: Path) -> None:
    gone, there = (read_calves(visit(HERE, hours=hours), 362, 364).session for hours in (-50, -20))
    book = put_all(tmp_path, gone, there)
    session_path(tmp_path, gone.id).unlink()
    found = read_person(book, Session(id_of(99), frozenset()), HERE, None)
    assert found.earlier == found.linked == (there,)


# --- where a stop stands -------------------------------------------------------------------------

_KINDS: tuple[dict[str, str], ...] = ({}, {}, STOP, HOLD, {"arterial_disease": "yes"})
_CALVES = ((362, 364), (362, 364), (362, 420), (440, 442), (362, None))


def sat(number: int, code: str, kind: int, calves: int, *, laptop: str = DUNLIN) -> Sitting:
    """Return a visit, some days apart, of one of a few kinds."""
    sitting = visit(code, hours=number * 50 - 400, laptop=laptop, **_KINDS[kind])
    return read_calves(sitting, *_CALVES[calves])


VISITS = {
    (number, code, kind, calves): sat(number, code, kind, calves).session
    for number, code, kind, calves in product(
        range(4), (HERE, THERE, THIRD), range(len(_KINDS)), range(len(_CALVES))
    )
}
"""All that are drawn, made once."""


@st.composite
def _visits(draw: st.DrawFn) -> list[Session]:
    drawn = [
        VISITS[
            number,
            draw(st.sampled_from((HERE, HERE, THERE, THIRD))),
            draw(st.integers(0, len(_KINDS) - 1)),
            draw(st.integers(0, len(_CALVES) - 1)),
        ]
        for number in range(draw(st.integers(1, 4)))
    ]
    if draw(st.booleans()):
        code = another_code(drawn[0], draw(st.sampled_from((HERE, THERE, THIRD))))
        drawn[0] = drawn[0].with_entries(code)
    return drawn


def another_code(session: Session, code: str) -> Entry:
    """Return a line by another laptop that says another code, seen or not."""
    return entry_of("answers", f"{TERN}:{len(session.entries)}", what="client", is_=code)


@given(_visits(), st.sampled_from(LINKS), st.data())
def test_stops_are_found_where_they_are_found_with_all_sessions_at_hand(
    tmp_path_factory: pytest.TempPathFactory,
    sessions: list[Session],
    links: Clients | None,
    data: st.DataObject,
) -> None:
    folder = tmp_path_factory.mktemp("data")
    book = put_all(folder, *sessions)
    known = all_of(folder)
    ids = data.draw(st.lists(st.sampled_from(sorted(known)), unique=True))
    expected = stopped_among(ids, known, RULES, TODAY, links)
    assert read_stopped(book, ids, links, RULES, TODAY) == expected


@pytest.mark.parametrize(
    ("links", "stops"),
    [(None, False), (NO_LINKS, False), (links_of((HERE, THERE)), True), (LINKS[3], True)],
)
def test_a_stop_under_a_linked_code_is_found_in_a_file_nobody_asked_for(
    links: Clients | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, stops: bool
) -> None:
    mine, linked, other = (sat(n, code, kind, 0).session for n, code, kind in (
        (0, HERE, 0), (1, THERE, 2), (2, "KES-99", 2)))  # fmt: skip
    book = put_all(tmp_path, mine, linked, other)
    read = watch_reads(monkeypatch)
    found = read_stopped(book, [mine.id], links, RULES, TODAY)
    assert found == ({mine.id} if stops else frozenset())
    assert other.id not in read
    assert (linked.id in read) == stops


def test_a_calf_grown_since_the_same_clients_last_visit_is_seen(tmp_path: Path) -> None:
    """Only both files together tell of it."""
    before, after = sat(0, HERE, 0, 0).session, sat(1, HERE, 0, 3).session
    for alone in (before, after):
        assert stopped_among([alone.id], {alone.id: alone}, RULES, TODAY) == frozenset()
    book = put_all(tmp_path, before, after)
    assert after.id in read_stopped(book, [after.id], None, RULES, TODAY)


def test_one_that_went_away_since_the_list_was_made_is_passed_over(tmp_path: Path) -> None:
    stop, other = sat(0, HERE, 2, 0).session, sat(1, THERE, 2, 0).session
    book = put_all(tmp_path, stop, other)
    session_path(tmp_path, other.id).unlink()
    assert read_stopped(book, [stop.id, other.id], None, RULES, TODAY) == {stop.id}
    assert read_stopped(book, [], None, RULES, TODAY) == frozenset()


# --- stops after a size --------------------------------------------------------------------------


def finished(session: Session, laptop: str, *, value: bool = True) -> Session:
    return session.with_entries(
        entry_of("answers", f"{laptop}:900{len(session.entries)}", what="finished", is_=value)
    )


def late_of(sessions: dict[str, Session], links: Clients | None) -> int:
    return len(late_stop_codes(sessions.values(), links, RULES, TODAY))


_LATE = {
    (number, code, laptop, kind): sat(number, code, kind, 0, laptop=laptop).session
    for number, code, laptop, kind in product(
        range(3), (HERE, THERE, THIRD), (TERN, DUNLIN), (0, 2, 3)
    )
}


@st.composite
def _late_visits(draw: st.DrawFn) -> list[Session]:
    sessions = []
    for number in range(draw(st.integers(1, 3))):
        laptop = draw(st.sampled_from((TERN, DUNLIN)))
        code = draw(st.sampled_from((HERE, HERE, THERE, THIRD)))
        session = _LATE[number, code, laptop, draw(st.sampled_from((0, 0, 2, 3)))]
        other = DUNLIN if laptop == TERN else TERN
        for by in draw(st.sampled_from(((), (laptop,), (laptop,), (other,), (laptop, other)))):
            session = finished(session, by, value=draw(st.sampled_from((True, True, False))))
        if draw(st.integers(0, 2)) == 0:
            (seen,) = session.answer("screen.limb_at_risk").names
            yes = {"what": "screen.limb_at_risk", "is_": "yes", "instead_of": [seen]}
            session = session.with_entries(entry_of("answers", f"{other}:70{number}", **yes))
        if draw(st.integers(0, 4)) == 0:
            session = session.with_entries(
                another_code(session, draw(st.sampled_from((HERE, THERE))))
            )
        sessions.append(session)
    return sessions


@given(_late_visits(), st.sampled_from(LINKS))
def test_stops_after_a_size_are_counted_as_among_all_sessions(
    tmp_path_factory: pytest.TempPathFactory, sessions: list[Session], links: Clients | None
) -> None:
    folder = tmp_path_factory.mktemp("data")
    book = put_all(folder, *sessions)
    assert len(read_late_stops(book, links, RULES, TODAY)) == late_of(all_of(folder), links)


def given_and_stop(code: str = HERE, *, by: str = TERN) -> tuple[Session, Session]:
    """Return a session finished with a size, and another laptop's in which a stop was found."""
    size = finished(sat(0, HERE, 0, 0, laptop=by).session, by)
    return size, sat(1, code, 3, 0).session


@pytest.mark.parametrize(
    ("code", "links", "count"),
    [
        (HERE, None, 1),
        (HERE, NO_LINKS, 1),
        (THERE, None, 0),
        (THERE, NO_LINKS, 0),
        (THERE, links_of((HERE, THERE)), 1),
        (THERE, links_of((HERE, THERE), apart=(HERE, THERE)), 1),
        (THERE, links_of((HERE, THIRD)), 0),
    ],
)
def test_a_late_stop_is_counted_under_the_same_code_or_a_linked_one(
    code: str, links: Clients | None, count: int, tmp_path: Path
) -> None:
    book = put_all(tmp_path, *given_and_stop(code))
    assert (
        len(read_late_stops(book, links, RULES, TODAY)) == count == late_of(all_of(tmp_path), links)
    )


def test_a_late_stop_is_counted_in_one_session_two_laptops_wrote(tmp_path: Path) -> None:
    size, _ = given_and_stop()
    (seen,) = size.answer("screen.limb_at_risk").names
    yes = {"what": "screen.limb_at_risk", "is_": "yes", "instead_of": [seen]}
    both = size.with_entries(entry_of("answers", f"{DUNLIN}:700", **yes))
    book = put_all(tmp_path, both)
    assert len(read_late_stops(book, None, RULES, TODAY)) == 1 == late_of(all_of(tmp_path), None)


@pytest.mark.parametrize("other", ["A-0", "z-9"])
def test_a_late_stop_is_counted_under_each_code_a_session_stands_under(
    other: str, tmp_path: Path
) -> None:
    size, stop = given_and_stop()
    book = put_all(tmp_path, size, stop.with_entries(another_code(stop, other)))
    assert len(read_late_stops(book, None, RULES, TODAY)) == 1 == late_of(all_of(tmp_path), None)


def test_a_stop_and_a_size_of_one_laptop_are_none(tmp_path: Path) -> None:
    book = put_all(tmp_path, *given_and_stop(by=DUNLIN))
    assert len(read_late_stops(book, None, RULES, TODAY)) == 0 == late_of(all_of(tmp_path), None)


def test_a_late_stop_passed_on_is_counted_no_more(tmp_path: Path) -> None:
    size, stop = given_and_stop()

    def judge(session: Session) -> object:
        return judge_clearance(session, Readings(session), RULES, on=TODAY)

    (late,) = late_stops([size, stop], NO_LINKS, judge)  # type: ignore[arg-type]
    at = datetime(2026, 3, 19, tzinfo=UTC)
    told = draft_passed_on(late, "rang P-04", who="C-02", at=at).entry(EntryId(DESK, 7))
    book = put_all(tmp_path, size, stop.with_entries(told))
    assert len(read_late_stops(book, None, RULES, TODAY)) == 0 == late_of(all_of(tmp_path), None)


@pytest.mark.parametrize("which", [0, 1])
def test_a_late_stop_counts_although_a_file_was_changed_outside(which: int, tmp_path: Path) -> None:
    sessions = given_and_stop()
    put_all(tmp_path, *sessions)
    path = session_path(tmp_path, sessions[which].id)
    path.write_text(path.read_text().replace('typed = "36.2"', 'typed = "36.20"', 1))
    book = look_through(tmp_path, None, LOOKED_NS)
    assert all_of(tmp_path)[sessions[which].id].seal is Seal.BROKEN
    assert len(read_late_stops(book, None, RULES, TODAY)) == 1 == late_of(all_of(tmp_path), None)


def test_only_sessions_that_may_hold_one_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    size, stop = given_and_stop()
    alone = finished(sat(2, THERE, 2, 0).session, DUNLIN)
    open_ones = [sat(n, THIRD, 2, 0, laptop=by).session for n, by in ((3, TERN), (4, DUNLIN))]
    book = put_all(tmp_path, size, stop, alone, *open_ones)
    read = watch_reads(monkeypatch)
    assert len(read_late_stops(book, None, RULES, TODAY)) == 1
    assert sorted(read) == sorted([size.id, stop.id])


# --- a measurer's own repeat error ---------------------------------------------------------------

PLACES = tuple(product(Point, Kind))


def measured(number: int, apart: int, measurer: str = "N-17", *, point: str = "B") -> Session:
    """Return a session of one place read twice, so many mm apart."""
    first = number * 10
    at = datetime(2026, 1, 20, 9, tzinfo=UTC) + timedelta(days=number)
    told = {"client": f"SK-{number}", "measurer": measurer}
    lines = [
        entry_of("answers", f"{TERN}:{first + n}", at=at, what=what, is_=value)
        for n, (what, value) in enumerate(told.items(), 1)
    ]
    for again, mm in enumerate((224, 224 + apart), 1):
        where = {"side": "left", "point": point, "kind": "girth", "round": again}
        taken = {"typed": f"{mm}", "unit": "mm", "mm": Decimal(f"{mm}.0")}
        lines.append(entry_of("readings", f"{TERN}:{first + 3 + again}", at=at, **where, **taken))
    return Session(id_of(number), frozenset(lines))


def figures(found: RepeatErrorOf) -> dict[tuple[Point, Kind], float | None]:
    return {place: found(*place) for place in PLACES if found(*place) is not None}


def of_newest(folder: Path, measurer: str, most: int = 200) -> dict[object, float | None]:
    """Return what the report says of a measurer's newest sessions, from all of them parsed."""
    hers = [s for _, s in sorted(all_of(folder).items()) if s.text("measurer") == measurer]
    rules, _ = load_quality_rules(folder)
    return dict(figures(error_of(report_quality(hers[-most:], rules), measurer)))


def test_her_own_error_is_that_of_her_newest_two_hundred_sessions(tmp_path: Path) -> None:
    old = [measured(n, 40) for n in range(5)]
    newer = [measured(n, n % 4) for n in range(5, 205)]
    others = [measured(n, 9, "N-21") for n in range(205, 240)]
    book = put_all(tmp_path, *newer[::-1], *others, *old)
    hers = figures(OwnErrors().read(book, "N-17"))
    assert hers == of_newest(tmp_path, "N-17") != of_newest(tmp_path, "N-17", 201)
    assert list(hers) == [(Point.B, Kind.GIRTH)]
    assert figures(OwnErrors().read(book, "N-21")) == of_newest(tmp_path, "N-21") != hers
    for nobody in ("", "N-99"):
        assert figures(OwnErrors().read(book, nobody)) == of_newest(tmp_path, nobody) == {}


def test_too_few_pairs_tell_nothing(tmp_path: Path) -> None:
    book = put_all(tmp_path, *(measured(n, 2) for n in range(9)))
    assert figures(OwnErrors().read(book, "N-17")) == {}
    put(tmp_path, measured(9, 2))
    assert figures(OwnErrors().read(look_through(tmp_path, book, LOOKED_NS), "N-17")) != {}


class Own:
    """Asks again and again, and counts what is read for it."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.now, self.errors = folder, LOOKED_NS, OwnErrors()
        self.book: SessionBook = put_all(folder, *(measured(n, n % 4) for n in range(12)))
        self.parsed = watch_reads(monkeypatch)

    def ask(self, measurer: str = "N-17") -> int:
        """Look at the folder and ask; return how many sessions were read for the answer."""
        self.now += SECOND
        self.book = look_through(self.folder, self.book, self.now)
        self.parsed.clear()
        found = figures(self.errors.read(self.book, measurer))
        count = len(self.parsed)
        assert found == of_newest(self.folder, measurer)
        return count


def test_nothing_is_read_again_while_her_sessions_stay_as_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = Own(tmp_path, monkeypatch)
    assert [own.ask(), own.ask(), own.ask()] == [12, 0, 0]
    put(tmp_path, measured(50, 9, "N-21"))
    session_path(tmp_path, id_of(50)).touch()
    assert own.ask() == 0, "another's session is not hers"


def test_a_session_changed_come_or_gone_is_taken_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = Own(tmp_path, monkeypatch)
    assert own.ask() == 12
    put(tmp_path, measured(12, 30))
    assert [own.ask(), own.ask()] == [13, 0]
    put(tmp_path, measured(12, 50), at_ns=LOOKED_NS - 60 * SECOND)
    assert [own.ask(), own.ask()] == [13, 0]
    session_path(tmp_path, id_of(12)).unlink()
    assert [own.ask(), own.ask()] == [12, 0]
    put(tmp_path, measured(3, 50, "N-21"), at_ns=LOOKED_NS - 60 * SECOND)
    assert [own.ask(), own.ask()] == [11, 0]


def test_the_tape_in_other_hands_is_another_question(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = Own(tmp_path, monkeypatch)
    assert [own.ask(), own.ask("N-21"), own.ask("N-21"), own.ask()] == [12, 0, 0, 12]


def test_the_session_just_left_counts_at_once(tmp_path: Path) -> None:
    errors = OwnErrors()
    book = put_all(tmp_path, *(measured(n, 2) for n in range(10)))
    before = figures(errors.read(book, "N-17"))
    put(tmp_path, measured(10, 40))
    left = book.with_session(measured(10, 40))
    assert figures(errors.read(left, "N-17")) == of_newest(tmp_path, "N-17") != before
    at = datetime(2026, 2, 1, tzinfo=UTC)
    more = draft_answer(measured(10, 40), "measurer", "N-21", at)
    assert more is not None
    handed_on = measured(10, 40).with_entries(more.entry(EntryId(TERN, 999)))
    put(tmp_path, handed_on)
    again = left.with_session(handed_on)
    assert figures(errors.read(again, "N-17")) == before
