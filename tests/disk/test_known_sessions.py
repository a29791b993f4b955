"""An archive looked through by glances: it finds what reading all of it finds, and reads less."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from screening_cases import Sitting

from fitcore.disk import session_book
from fitcore.disk.known_sessions import AlikeDays, KnownSessions
from fitcore.disk.session_book import look_through
from fitcore.disk.session_files import session_path
from fitcore.disk.several_laptops import sessions_of_several
from fitcore.doubts.same_person import alike_sittings
from fitcore.merge.clients import Clients, draft_link
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.points import Kind, Point, Side
from fitcore.record.codec import write_session
from fitcore.record.edits import draft_reading, parse_typed

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.record.session import Session

POINTS = (Point.B, Point.B1, Point.C, Point.D, Point.E)
NOBODY = Clients(LedgerLines())
DAY = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
LAPTOPS = ("tern-k7qd", "dunlin-m4ex")


def sitting(number: int, code: str, laptop: str, day: int, add_mm: int) -> Session:
    """Return a session with five girths, all of them so much more than usual."""
    told = Sitting(laptop=laptop)
    told.number, told.at = 100 * number, DAY + timedelta(days=day)
    told.session = replace(told.session, id=f"0199c3a2-{number:04x}-7d40-9b6a-2f8e61d0c9a7")
    told.answer("client", code)
    for place, point in enumerate(POINTS):
        typed = parse_typed(Kind.GIRTH, f"{25 + 3 * place + add_mm / 10:.1f}", "cm")
        told.add(draft_reading((Side.LEFT, point, Kind.GIRTH), 1, typed, told.at))
    return told.session


def file(root: Path, session: Session) -> None:
    path = session_path(root, session.id)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(write_session(session), encoding="utf-8")


def found(alike: tuple[object, ...]) -> list[tuple[object, ...]]:
    return [
        (one.codes, one.day, [s.id for s in one.sittings], one.values)  # type: ignore[attr-defined]
        for one in alike
    ]


SITTINGS = st.lists(
    st.tuples(
        st.sampled_from(("SK-01", "SK-02", "SK-03")),
        st.sampled_from(LAPTOPS),
        st.integers(0, 2),
        st.sampled_from((0, 0, 1, 9)),
    ),
    max_size=8,
)


@given(SITTINGS)
@settings(max_examples=60)
def test_by_days_the_same_sittings_are_found_alike(told: list[tuple[str, str, int, int]]) -> None:
    sessions = [sitting(number, *each) for number, each in enumerate(told, 1)]
    wanted = alike_sittings(sessions, NOBODY.may_suggest)
    known, days = KnownSessions.of(sessions), AlikeDays()
    for _ in range(2):
        assert found(days.look(known, NOBODY)) == found(wanted)


def alike_pair(root: Path) -> None:
    file(root, sitting(1, "SK-01", LAPTOPS[0], 0, 0))
    file(root, sitting(2, "SK-02", LAPTOPS[1], 0, 0))
    file(root, sitting(3, "SK-03", LAPTOPS[0], 1, 0))


def test_only_a_day_that_changed_is_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    alike_pair(tmp_path)
    read: list[str] = []
    real = session_book.read_session_file

    def counted(path: Path) -> object:
        read.append(path.stem[9:13])
        return real(path)

    monkeypatch.setattr(session_book, "read_session_file", counted)
    days, later = AlikeDays(), 4 * 10**18
    book = look_through(tmp_path, None, later)
    pairs = days.look(KnownSessions(book), NOBODY)
    assert [one.codes for one in pairs] == [("SK-01", "SK-02")]
    assert read == ["0001", "0002"], "of the day on which one laptop measured alone nothing is read"
    book = look_through(tmp_path, book, later)
    assert days.look(KnownSessions(book), NOBODY) == pairs
    assert len(read) == 2
    file(tmp_path, sitting(2, "SK-02", LAPTOPS[1], 0, 9))
    book = look_through(tmp_path, book, later)
    assert days.look(KnownSessions(book), NOBODY) == ()
    assert read[2:] == ["0001", "0002"]


def test_codes_that_were_answered_for_are_not_asked_about_again(tmp_path: Path) -> None:
    alike_pair(tmp_path)
    days = AlikeDays()
    known = KnownSessions(look_through(tmp_path, None, 0))
    assert days.look(known, NOBODY)
    ledger = Sitting(laptop="curlew-2x2x")
    ledger.add(draft_link(NOBODY, ["SK-01", "SK-02"], who="C-02", why="rang", at=DAY))
    assert days.look(known, Clients(LedgerLines(ledger.session.entries))) == ()


def test_a_session_that_changed_since_is_taken_as_it_is(tmp_path: Path) -> None:
    alike_pair(tmp_path)
    known = KnownSessions(look_through(tmp_path, None, 0))
    now = sitting(3, "SK-01", LAPTOPS[1], 5, 0)
    changed = known.with_session(now)
    assert known[now.id].text("client") == "SK-03"
    assert changed[now.id] is now
    assert changed.glances[now.id].client == "SK-01"
    assert [s.id for s in changed.of_codes(["SK-01"])] == [
        sitting(1, "SK-01", LAPTOPS[0], 0, 0).id,
        now.id,
    ]
    assert len(changed) == len(list(changed)) == 3


def test_one_that_is_gone_is_left_out(tmp_path: Path) -> None:
    alike_pair(tmp_path)
    known = KnownSessions(look_through(tmp_path, None, 0))
    gone = sitting(1, "SK-01", LAPTOPS[0], 0, 0).id
    session_path(tmp_path, gone).unlink()
    assert known.get(gone) is None
    assert [s.text("client") for s in known.where(lambda _: True)] == ["SK-02", "SK-03"]
    assert AlikeDays().look(known, NOBODY) == ()


@pytest.mark.parametrize(
    "line", ['{by = "dunlin-m4ex:4"', '{ by="dunlin-m4ex:4"', '{ "by" = "dunlin-m4ex:4"']
)
def test_a_line_written_by_hand_is_seen_however_it_is_written(tmp_path: Path, line: str) -> None:
    """The seal does not hold any more, but a stop another laptop found may stand in it."""
    one = Sitting(sitting(1, "SK-01", LAPTOPS[0], 0, 0))
    one.number = 500
    one.answer("finished", True)  # noqa: FBT003
    file(tmp_path, one.session)
    path = session_path(tmp_path, one.session.id)
    told = f'answers = [\n  {line}, at = 2026-03-04T09:00:00Z, what = "heart", is = "yes" }},'
    path.write_text(path.read_text(encoding="utf-8").replace("answers = [", told, 1))
    known = KnownSessions(look_through(tmp_path, None, 0))
    assert [s.id for s in known.of_several(NOBODY)] == [one.session.id]
    assert [s.id for s in sessions_of_several(tmp_path)[0]] == [one.session.id]


def test_the_sessions_of_several_laptops_are_told_with_links(tmp_path: Path) -> None:
    one = Sitting(sitting(1, "SK-01", LAPTOPS[0], 0, 0))
    one.number = 500
    one.answer("finished", True)  # noqa: FBT003
    file(tmp_path, one.session)
    for number, laptop in ((2, LAPTOPS[1]), (3, LAPTOPS[0])):
        file(tmp_path, sitting(number, f"SK-0{number}", laptop, 1, 0))
    known = KnownSessions(look_through(tmp_path, None, 0))
    assert list(known.of_several(NOBODY)) == []
    ledger = Sitting(laptop="curlew-2x2x")
    ledger.add(draft_link(NOBODY, ["SK-01", "SK-02"], who="C-02", why="rang", at=DAY))
    linked = Clients(LedgerLines(ledger.session.entries))
    assert [s.text("client") for s in known.of_several(linked)] == ["SK-01", "SK-02"]
