"""A folder's sessions at a glance: the same as read whole, and no file opened without need."""

from __future__ import annotations

import os
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from filed_sessions import (
    LOOKED_NS,
    SECOND,
    WRITTEN_NS,
    id_of,
    put,
    put_all,
    put_bytes,
    read_all,
    watch_opens,
    watch_reads,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import entry_of, pools

from fitcore.disk import session_book
from fitcore.disk.session_book import SessionBook, look_through
from fitcore.disk.session_files import read_session_file, session_path
from fitcore.record.codec import write_session
from fitcore.record.glance import glance_of
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitcore.record.entries import Entry

TERN, DUNLIN = "tern-k7qd", "dunlin-m4ex"


def answer(by: str, what: str, value: object, **more: object) -> Entry:
    return entry_of("answers", by, what=what, is_=value, **more)


def visit(number: int, client: str = "", *more: Entry) -> Session:
    """Return a session of one client; its entries are numbered by the hundred."""
    told = answer(f"{TERN}:{number * 100 + 1}", "client", client or f"SK-{number:02}")
    return Session(id_of(number), frozenset([told, *more]))


def look(folder: Path, before: SessionBook | None = None, now_ns: int = LOOKED_NS) -> SessionBook:
    return look_through(folder, before, now_ns)


def is_as_read(book: SessionBook, folder: Path) -> bool:
    """Whether a book says what the folder's files say when each is read whole."""
    files = read_all(folder)
    parsed = {file.session.id: glance_of(file.session) for file in files if file.session}
    assert list(book.glances) == sorted(book.glances)
    assert book.unread == sum(file.session is None for file in files)
    # Written out, too: one instant of two offsets is equal to Python.
    return repr(dict(book.glances)) == repr(dict(sorted(parsed.items())))


# --- the same as read whole ----------------------------------------------------------------------


@given(st.lists(pools(most=6), max_size=5))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_folder_is_told_as_its_files_are_read(
    tmp_path_factory: pytest.TempPathFactory, drawn: list[tuple[Entry, ...]]
) -> None:
    folder = tmp_path_factory.mktemp("data")
    sessions = [Session(id_of(n * 9), frozenset(pool)) for n, pool in enumerate(drawn)]
    book = put_all(folder, *sessions[::-1])
    assert list(book.glances) == [session.id for session in sessions]
    assert is_as_read(book, folder)
    assert is_as_read(look(folder, book, LOOKED_NS + SECOND), folder)


def test_a_folder_without_sessions_holds_none(tmp_path: Path) -> None:
    for folder in (tmp_path / "missing", tmp_path):
        assert (dict(look(folder).files), look(folder).unread) == ({}, 0)
    (tmp_path / "sessions").write_text("no folder")
    assert (dict(look(tmp_path).files), look(tmp_path).unread) == ({}, 0)


def a_link(folder: Path) -> None:
    path = session_path(folder, id_of(2))
    path.symlink_to(put(folder.parent, visit(2)))


def another_name(folder: Path) -> None:
    raw = write_session(visit(3)).encode()
    put_bytes(session_path(folder, id_of(2)), raw)


def changed_and_of_another_name(folder: Path) -> None:
    raw = write_session(visit(3)).replace("SK-03", "SK-04").encode()
    put_bytes(session_path(folder, id_of(2)), raw)


def cut_off(folder: Path) -> None:
    raw = write_session(visit(2)).encode()
    put_bytes(session_path(folder, id_of(2)), raw[: raw.index(b"SK-02")])


def empty(folder: Path) -> None:
    put_bytes(session_path(folder, id_of(2)), b"")


def not_utf8(folder: Path) -> None:
    raw = write_session(visit(2)).replace("SK-02", "Kös").encode("latin-1")
    put_bytes(session_path(folder, id_of(2)), raw)


def newer(folder: Path) -> None:
    raw = write_session(visit(2)).replace("format = 1", "format = 2").encode()
    put_bytes(session_path(folder, id_of(2)), raw)


def a_folder(folder: Path) -> None:
    session_path(folder, id_of(2)).mkdir()


@pytest.mark.parametrize(
    "spoil",
    [
        a_link, another_name, changed_and_of_another_name, cut_off, empty, not_utf8, newer, a_folder
    ],
    ids=lambda spoil: spoil.__name__,
)  # fmt: skip
def test_a_file_that_gives_no_session_is_counted_and_nothing_of_it_told(
    spoil: Callable[[Path], None], tmp_path: Path
) -> None:
    folder = tmp_path / "data"
    put(folder, visit(1))
    spoil(folder)
    book = look(folder)
    assert (list(book.glances), book.unread) == ([id_of(1)], 1)
    assert is_as_read(book, folder)
    again = look(folder, book, LOOKED_NS + SECOND)
    assert (list(again.glances), again.unread) == ([id_of(1)], 1)
    assert book.read(id_of(2)) is None
    assert list(book.read_each([id_of(2), id_of(1)])) == [visit(1)]


def test_a_file_changed_outside_is_told_and_is_not_whole(tmp_path: Path) -> None:
    raw = write_session(visit(1)).replace("SK-01", "SK-09").encode()
    put_bytes(session_path(tmp_path, id_of(1)), raw)
    book = look(tmp_path)
    assert is_as_read(book, tmp_path)
    (glance,) = book.glances.values()
    assert (glance.client, glance.is_whole, book.unread) == ("SK-09", False, 0)


def test_files_of_other_names_and_places_are_passed_over(tmp_path: Path) -> None:
    path = put(tmp_path, visit(1))
    raw = path.read_bytes()
    for name in (f"{id_of(2)}.toml.tmp", "notes.txt", "x.toml", f"{id_of(2).upper()}.toml", "a"):
        put_bytes(path.parent / name, raw)
    put_bytes(tmp_path / "sessions" / path.name.replace("0", "1", 1), raw)
    put_bytes(path.parent / "deeper" / f"{id_of(3)}.toml", write_session(visit(3)).encode())
    elsewhere = put(tmp_path / "elsewhere", visit(4)).parent
    (tmp_path / "sessions" / "2026-12").symlink_to(elsewhere)
    book = look(tmp_path)
    assert (list(book.files), book.unread) == ([id_of(1)], 0)
    assert is_as_read(book, tmp_path)


def test_a_session_in_another_months_folder_is_found_and_read_there(tmp_path: Path) -> None:
    put(tmp_path, visit(1), month="2025-11")
    put(tmp_path, visit(2), month="copied here")
    book = look(tmp_path)
    assert is_as_read(book, tmp_path)
    assert list(book.read_each(book.glances)) == [visit(1), visit(2)]


@pytest.mark.parametrize("shut", ["sessions", "2026-01"])
def test_a_folder_that_cannot_be_looked_into_is_counted(
    shut: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_all(tmp_path, visit(1), visit(40))
    real = os.scandir

    def scan(path: Path) -> object:
        if path.name == shut:
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    monkeypatch.setattr(session_book.os, "scandir", scan)
    book = look(tmp_path)
    assert (list(book.glances), book.unread) == ([] if shut == "sessions" else [id_of(40)], 1)


def test_a_file_that_cannot_even_be_looked_at_is_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a folder whose names may be read and whose files may not be reached."""
    put_all(tmp_path, visit(1), visit(40))
    real = os.scandir

    class Shut:
        name = f"{id_of(1)}.toml"

        def is_dir(self, **_: object) -> bool:
            return False

        def stat(self, **_: object) -> None:
            raise PermissionError(13, "Permission denied", self.name)

    def scan(path: Path) -> object:
        return nullcontext([Shut()]) if path.name == "2026-01" else real(path)

    monkeypatch.setattr(session_book.os, "scandir", scan)
    book = look(tmp_path)
    assert (list(book.glances), book.unread) == ([id_of(40)], 1)


@pytest.mark.parametrize("stray", ["2025-02", "2031-01"])
def test_of_two_folders_with_one_id_the_file_where_it_belongs_counts(
    tmp_path: Path, stray: str
) -> None:
    """An old copy in another month, made by hand, must not hide what was recorded since."""
    old = Session(id_of(1), frozenset(list(visit(1).entries)[:1]))
    put(tmp_path, old, month=stray)
    put(tmp_path, visit(1))
    book = look(tmp_path)
    assert book.read(id_of(1)) == visit(1)
    assert book.glances[id_of(1)] == glance_of(visit(1))


@pytest.mark.parametrize("bad", ["2025-02", "2026-02"])
def test_of_two_folders_with_one_id_the_file_that_can_be_read_counts(
    tmp_path: Path, bad: str
) -> None:
    put(tmp_path, visit(1), month="2026-01")
    put_bytes(tmp_path / "sessions" / bad / f"{id_of(1)}.toml", b"no session")
    book = look(tmp_path)
    assert is_as_read(book, tmp_path)
    assert (list(book.glances), book.unread) == ([id_of(1)], 1)
    assert book.read(id_of(1)) == visit(1)


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is shut to root"
)
def test_a_folder_without_permission_is_counted(tmp_path: Path) -> None:
    put_all(tmp_path, visit(1), visit(40))
    month = session_path(tmp_path, id_of(1)).parent
    month.chmod(0)
    try:
        book = look(tmp_path)
    finally:
        month.chmod(0o700)
    assert (list(book.glances), book.unread) == ([id_of(40)], 1)


def test_two_folders_with_one_id_show_one_session_the_one_read_last(tmp_path: Path) -> None:
    """Both copied by hand into months that are not its own."""
    other = visit(1, "", answer(f"{DUNLIN}:7", "measurer", "N-21"))
    put(tmp_path, visit(1), month="2026-02")
    put(tmp_path, other, month="2026-03")
    book = look(tmp_path)
    assert is_as_read(book, tmp_path)
    assert book.glances[id_of(1)].measurer == "N-21"
    assert book.read(id_of(1)) == other
    again = look(tmp_path, book, LOOKED_NS + SECOND)
    assert is_as_read(again, tmp_path)
    put(tmp_path, visit(1, "SK-77"), month="2026-03")
    assert is_as_read(look(tmp_path, again, LOOKED_NS + 2 * SECOND), tmp_path)


# --- what is opened ------------------------------------------------------------------------------


def test_unchanged_files_are_not_opened_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened, parsed = watch_opens(monkeypatch), watch_reads(monkeypatch)
    put_bytes(session_path(tmp_path, id_of(3)), b"no session")
    first = put_all(tmp_path, visit(1), visit(40))
    assert len(opened) == 3
    opened.clear()
    parsed.clear()
    for later in (0, SECOND, 86_400 * SECOND):
        again = look(tmp_path, first, LOOKED_NS + later)
        assert (again, opened, parsed) == (first, [], [])
    put(tmp_path, visit(2))
    more = look(tmp_path, first)
    assert opened == [f"{id_of(2)}.toml"]
    assert list(more.glances) == [id_of(1), id_of(2), id_of(40)]
    assert is_as_read(more, tmp_path)


@pytest.mark.parametrize(
    ("before_look_ns", "opened_again"),
    [(0, True), (SECOND, True), (2 * SECOND, True), (2 * SECOND + 1, False), (-SECOND, True)],
)
def test_a_file_written_just_before_the_look_is_opened_again(
    before_look_ns: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, opened_again: bool
) -> None:
    """Within one step of the disk's clock it may change and keep its time."""
    put(tmp_path, visit(1), at_ns=LOOKED_NS - before_look_ns)
    book = look(tmp_path)
    opened = watch_opens(monkeypatch)
    put(tmp_path, visit(1, "SK-99"), at_ns=LOOKED_NS - before_look_ns)
    again = look(tmp_path, book, LOOKED_NS + 60 * SECOND)
    assert opened == ([f"{id_of(1)}.toml"] if opened_again else [])
    assert again.glances[id_of(1)].client == ("SK-99" if opened_again else "SK-01")


@pytest.mark.parametrize("later_ns", [1, -1, SECOND, -86_400 * SECOND])
def test_a_file_of_the_same_size_and_another_time_is_opened_again(
    later_ns: int, tmp_path: Path
) -> None:
    """Also an older one: a copy put back from a stick keeps its time."""
    size = put(tmp_path, visit(1)).stat().st_size
    book = look(tmp_path)
    path = put(tmp_path, visit(1, "SK-99"), at_ns=WRITTEN_NS + later_ns)
    assert path.stat().st_size == size
    again = look(tmp_path, book)
    assert again.glances[id_of(1)].client == "SK-99"
    assert is_as_read(again, tmp_path)


def test_a_file_of_another_size_and_the_same_time_is_opened_again(tmp_path: Path) -> None:
    book = put_all(tmp_path, visit(1))
    put(tmp_path, visit(1, "harbour-street-1204-k"))
    assert look(tmp_path, book).glances[id_of(1)].client == "harbour-street-1204-k"


def test_a_file_moved_to_another_folder_is_opened_and_read_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = put_all(tmp_path, visit(1))
    path = session_path(tmp_path, id_of(1))
    put(tmp_path, visit(1), month="2026-09")
    path.unlink()
    opened = watch_opens(monkeypatch)
    moved = look(tmp_path, book)
    assert opened == [path.name]
    assert moved.read(id_of(1)) == visit(1)
    assert book.read(id_of(1)) is None


def test_a_file_that_is_gone_is_told_no_more(tmp_path: Path) -> None:
    book = put_all(tmp_path, visit(1), visit(2))
    session_path(tmp_path, id_of(1)).unlink()
    gone = look(tmp_path, book)
    assert (list(gone.files), gone.unread) == ([id_of(2)], 0)
    assert list(book.glances) == [id_of(1), id_of(2)], "what was seen before stays as it was seen"


def test_a_file_that_goes_during_the_look_is_not_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_all(tmp_path, visit(1), visit(2))
    real = os.scandir

    class Entries(list[os.DirEntry[str]]):
        def __enter__(self) -> Entries:
            return self

        def __exit__(self, *_: object) -> None:
            for entry in self:
                if entry.name == f"{id_of(1)}.toml":
                    Path(entry.path).unlink()

    def scan(path: Path) -> Entries:
        with real(path) as entries:
            return Entries(entries)

    monkeypatch.setattr(session_book.os, "scandir", scan)
    book = look(tmp_path)
    assert (list(book.files), book.unread) == ([id_of(2)], 0)


# --- one of them ---------------------------------------------------------------------------------


def test_a_session_just_left_takes_its_place_and_is_looked_at_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, visit(2), month="2026-09")
    book = put_all(tmp_path, visit(1), visit(3))
    changed = visit(2, "SK-99")
    left = book.with_session(changed)
    assert list(left.glances) == [id_of(1), id_of(2), id_of(3)] == list(left.files)
    assert left.glances[id_of(2)] == glance_of(changed)
    assert book.glances[id_of(2)].client == "SK-02", "a book never changes"
    assert left.read(id_of(2)) == visit(2), "it is read where its file lies"
    opened = watch_opens(monkeypatch)
    assert look(tmp_path, left) == book
    assert opened == [f"{id_of(2)}.toml"]


def test_a_session_just_begun_takes_its_place_by_its_id(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = put_all(tmp_path, visit(1), visit(3))
    begun = book.with_session(visit(2))
    assert list(begun.glances) == [id_of(1), id_of(2), id_of(3)] == list(begun.files)
    assert begun.unread == 0
    assert begun.read(id_of(2)) is None, "its file is not there yet"
    put(tmp_path, visit(2))
    assert begun.read(id_of(2)) == visit(2)
    opened = watch_opens(monkeypatch)
    again = look(tmp_path, begun)
    assert opened == [f"{id_of(2)}.toml"]
    assert is_as_read(again, tmp_path)


def test_a_session_whose_file_was_unreadable_is_known_once_it_is_left(tmp_path: Path) -> None:
    put_bytes(session_path(tmp_path, id_of(1)), b"no session")
    book = look(tmp_path)
    left = book.with_session(visit(1))
    assert (book.unread, left.unread, list(left.glances)) == (1, 0, [id_of(1)])
    unread = replace(book, unread=3)
    assert unread.with_session(visit(1)).unread == 2


def test_sessions_are_found_under_each_code_they_stand_under(tmp_path: Path) -> None:
    disputed = visit(3, "SK-01", answer(f"{DUNLIN}:7", "client", "KES-9"))
    nobody = Session(id_of(5), frozenset([answer(f"{TERN}:1", "measurer", "N-17")]))
    book = put_all(tmp_path, visit(2), disputed, visit(4, "SK-01"), visit(1, "KES-9"), nobody)
    assert book.glances[id_of(3)].client == ""
    assert book.of_codes(["SK-01"]) == [id_of(3), id_of(4)]
    assert book.of_codes({"KES-9"}) == [id_of(1), id_of(3)]
    assert book.of_codes(["KES-9", "SK-01"]) == [id_of(1), id_of(3), id_of(4)]
    assert book.of_codes(["sk-01", "SK", ""]) == book.of_codes(()) == []


@pytest.mark.parametrize("raw", [None, b"", b"no session", b"format = 2\n"])
def test_a_file_that_went_away_or_bad_since_the_look_is_not_read(
    raw: bytes | None, tmp_path: Path
) -> None:
    book = put_all(tmp_path, visit(1), visit(2))
    path = session_path(tmp_path, id_of(1))
    path.unlink()
    if raw is not None:
        put_bytes(path, raw)
    assert book.read(id_of(1)) is None
    assert list(book.read_each([id_of(2), id_of(1), id_of(7)])) == [visit(2)]
    assert book.read(id_of(7)) is None


def test_sessions_are_read_only_as_they_are_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = put_all(tmp_path, visit(1), visit(2))
    read = watch_reads(monkeypatch)
    each = book.read_each([id_of(2), id_of(1)])
    assert read == []
    assert next(each) == visit(2)
    assert read == [id_of(2)]
    assert next(each) == read_session_file(session_path(tmp_path, id_of(1))).session


def test_the_highest_number_is_that_laptops_own(tmp_path: Path) -> None:
    later = visit(2, "", answer(f"{TERN}:950", "measurer", "N-17"))
    other = visit(1, "", answer(f"{DUNLIN}:4000", "measurer", "N-21"))
    book = put_all(tmp_path, later, other, visit(3))
    assert (book.highest_number(TERN), book.highest_number(DUNLIN)) == (950, 4000)
    assert book.highest_number("tern-k7q") == SessionBook(tmp_path).highest_number(TERN) == 0
