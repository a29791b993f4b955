"""What an archive remembers of its files, and every place copies lie in: no line is passed over."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from histories import file_bytes, ledger_key, session_key
from strategies import AT, entry_from_line, entry_of, line_of

from fitcore.disk import archive_parts, archive_sift
from fitcore.disk.archive import merge_folders, open_questions
from fitcore.disk.archive_scan import place_of
from fitcore.disk.set_aside import keep
from fitcore.disk.several_laptops import sessions_of_several
from fitcore.disk.surroundings import Surroundings, real_surroundings
from fitcore.identity import EntryId
from fitcore.merge.found import FileKind, Where, digest_bytes, read_found
from fitcore.merge.ledger_lines import draft_erasure
from fitcore.record.codec import read_session

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fitcore.record.entries import Entry

ONE, TWO = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7", "0199c3a2-77aa-7d40-8c1b-3a90b7d4e511"
AHEAD = datetime(2100, 1, 1, tzinfo=UTC)
"""So late that no file here counts as just written."""
WRITTEN = datetime(2026, 3, 5, 8, 40, tzinfo=UTC)
GARBAGE = b"format = 1\nsession = "


def world(root: Path, now: Callable[[], datetime] = lambda: AHEAD) -> Surroundings:
    """Return surroundings that remember archives."""
    return Surroundings(now, os.urandom, root / "state", "Europe/London", cache_folder=root / "c")


def entry(by: str, what: str, value: object, **more: object) -> Entry:
    return entry_from_line(
        "answers", line_of({"by": by, "at": AT, "what": what, "is": value, **more})
    )


def write(path: Path, raw: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(raw)
    return path


def put(folder: Path, session: str, *entries: Entry) -> Path:
    """Write a sealed session into a folder."""
    return write(place_of(folder, session_key(session)), sealed(session, *entries))


def sealed(session: str, *entries: Entry) -> bytes:
    return file_bytes(session_key(session), entries)


def names_in(path: Path) -> list[str]:
    """Return the names of a session file's entries, sorted."""
    session, problems = read_session(path.read_bytes())
    assert session is not None, problems
    return sorted(str(held.by) for held in session.entries)


def set_aside(folder: Path, raw: bytes, *sessions: str) -> None:
    """Set bytes aside in a folder that were found under the names of some sessions."""
    found = [
        read_found(raw, path="found", name=name, kind=FileKind.SESSION, where=Where.STICK)
        for name in sessions
    ]
    keep(folder, found, raw, ["found"])


def remembered(root: Path) -> dict[str, str]:
    """Return the line of each session in the one memory there is, by id."""
    (memory,) = (root / "c").rglob("*.sqlite")
    with closing(sqlite3.connect(memory)) as database:
        rows = database.execute("SELECT lines FROM months").fetchall()
    return {line[:36]: line[37:] for (lines,) in rows for line in lines.split("\n") if line}


def times_told(root: Path) -> dict[str, str]:
    """Return the time that was noted of each session's file, by id."""
    return {name: line.split(" ")[2] for name, line in remembered(root).items()}


def written_at(path: Path, at: datetime) -> int:
    """Give a file a time of writing; returns it in ns."""
    nanoseconds = int(at.timestamp()) * 1_000_000_000
    os.utime(path, ns=(nanoseconds, nanoseconds))
    return nanoseconds


def counted(monkeypatch: pytest.MonkeyPatch, module: object, reader: str) -> list[object]:
    """Count what a module reads."""
    read: list[object] = []
    real = getattr(module, reader)

    def reads(file: object) -> object:
        read.append(file)
        return real(file)

    monkeypatch.setattr(module, reader, reads)
    return read


# --- files written just before they were noted -------------------------------------------------


def just_written(root: Path) -> Path:
    """Merge a session and let it be noted a second after it was written; returns its file."""
    put(root / "one", ONE, entry("tern-k7qd:1", "posture", "lying"))
    merge_folders(root / "archive", [root / "one"], world(root))
    filed = place_of(root / "archive", session_key(ONE))
    written_at(filed, WRITTEN)
    merge_folders(root / "archive", [], world(root, lambda: WRITTEN + timedelta(seconds=1)))
    return filed


def test_a_file_that_must_be_read_again_hides_no_line_of_a_stick(tmp_path: Path) -> None:
    """The memory cannot vouch for the archive's file; the stick is compared all the same."""
    filed = just_written(tmp_path)
    assert times_told(tmp_path) == {ONE: "-"}
    stick = tmp_path / "stick"
    put(stick, ONE, entry("tern-k7qd:1", "posture", "lying"), entry("tern-k7qd:2", "zone", "UTC"))
    report = merge_folders(tmp_path / "archive", [stick], world(tmp_path)).report
    assert (report.updated, report.unchanged) == (1, 0)
    assert names_in(filed) == ["tern-k7qd:1", "tern-k7qd:2"]


def edit_within_its_time_step(filed: Path) -> bytes:
    """Change a file so that neither its size nor its time tells."""
    state = filed.stat()
    edited = filed.read_bytes().replace(b"lying", b"LYING")
    filed.write_bytes(edited)
    os.utime(filed, ns=(state.st_atime_ns, state.st_mtime_ns))
    assert (filed.stat().st_size, filed.stat().st_mtime_ns) == (state.st_size, state.st_mtime_ns)
    return edited


def test_an_edit_right_after_a_merge_is_noticed(tmp_path: Path) -> None:
    """The merge wrote the file by the same clock that it noted it by."""
    archive, place = tmp_path / "archive", world(tmp_path, real_surroundings().now)
    put(tmp_path / "one", ONE, entry("tern-k7qd:1", "posture", "lying"))
    merge_folders(archive, [tmp_path / "one"], place)
    edited = edit_within_its_time_step(place_of(archive, session_key(ONE)))
    report = merge_folders(archive, [tmp_path / "one"], place).report
    assert (report.updated, report.unchanged, report.proposals) == (1, 0, 1)
    assert edited in [copy.read_bytes() for copy in archive.glob("set-aside/*.copy")]


def test_an_edit_right_after_a_file_was_noted_anew_is_noticed(tmp_path: Path) -> None:
    filed = just_written(tmp_path)
    edit_within_its_time_step(filed)
    report = merge_folders(tmp_path / "archive", [tmp_path / "one"], world(tmp_path)).report
    assert (report.updated, report.unchanged, report.proposals) == (1, 0, 1)


# --- what is written to the memory -------------------------------------------------------------


def test_once_a_file_is_noted_anew_a_quiet_merge_reads_and_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file noted just after it was written is noted once more, then left alone."""
    filed = just_written(tmp_path)
    archive, place = tmp_path / "archive", world(tmp_path)
    merge_folders(archive, [], place)
    assert times_told(tmp_path) == {ONE: str(filed.stat().st_mtime_ns)}
    (memory,) = (tmp_path / "c").rglob("*.sqlite")
    known = {path: path.stat() for path in (memory, filed)}
    read = counted(monkeypatch, archive_sift, "read_regular")
    parsed = counted(monkeypatch, archive_parts, "read_spotted")
    report = merge_folders(archive, [], place).report
    assert (report.unchanged, read, parsed) == (1, [], [])
    for path, before in known.items():
        now = path.stat()
        assert (now.st_ino, now.st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


def test_two_archives_have_two_memories(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One of them being merged takes nothing from what is remembered of the other."""
    place = world(tmp_path)
    for name, session in (("a", ONE), ("b", TWO)):
        put(tmp_path / f"stick-{name}", session, entry("tern-k7qd:1", "posture", "lying"))
        merge_folders(tmp_path / name, [tmp_path / f"stick-{name}"], place)
    assert len(list((tmp_path / "c").rglob("*.sqlite"))) == 2
    parsed = counted(monkeypatch, archive_parts, "read_spotted")
    for name in ("a", "b"):
        report = merge_folders(tmp_path / name, [tmp_path / f"stick-{name}"], place).report
        assert (report.added, report.unchanged) == (0, 1)
    assert parsed == []


def test_of_numbers_that_are_told_of_the_highest_counts(tmp_path: Path) -> None:
    """Two sessions of one month, remembered, each replacing a line that has not arrived."""
    for number, numbers in enumerate(((5, 9), (9, 5))):
        root = tmp_path / str(number)
        for own, (session, told) in enumerate(zip((ONE, TWO), numbers, strict=True), 1):
            seen = [f"tern-k7qd:{told}"]
            put(
                root / "one",
                session,
                entry(f"tern-k7qd:{own}", "posture", "lying", instead_of=seen),
            )
        merge_folders(root / "archive", [root / "one"], world(root))
        lines = remembered(root)
        remembers = [lines[session].rpartition(":")[2] for session in (ONE, TWO)]
        assert remembers == [str(told) for told in numbers]
        gaps = merge_folders(root / "archive", [], world(root)).report.gaps
        assert [gap.as_json() for gap in gaps] == [{"laptop": "tern-k7qd", "from": 3, "to": 9}]


# --- progress, and sticks named twice ----------------------------------------------------------


def test_progress_counts_sessions_that_stay_as_they_are(tmp_path: Path) -> None:
    archive, place = tmp_path / "archive", world(tmp_path)
    put(tmp_path / "one", ONE, entry("tern-k7qd:1", "posture", "lying"))
    merge_folders(archive, [tmp_path / "one"], place)
    told: list[tuple[int, int]] = []

    def progress(done: int, of: int) -> None:
        told.append((done, of))

    merge_folders(archive, [tmp_path / "one"], place, progress=progress)
    assert told == [(1, 1)]
    told.clear()
    put(tmp_path / "two", TWO, entry("tern-k7qd:2", "posture", "lying"))
    merge_folders(archive, [tmp_path / "two"], place, progress=progress)
    assert told == [(1, 2), (2, 2)]


def test_a_stick_named_twice_counts_once(tmp_path: Path) -> None:
    empty, stick = tmp_path / "empty", tmp_path / "stick"
    empty.mkdir()
    put(stick / "from-tern-k7qd", ONE, entry("tern-k7qd:1", "posture", "lying"))
    once = merge_folders(tmp_path / "a", [empty, stick], world(tmp_path))
    twice = merge_folders(tmp_path / "b", [stick, empty, stick, empty], world(tmp_path))
    assert once.nothing_on == twice.nothing_on == (empty,)
    assert once.unfinished == twice.unfinished == (stick / "from-tern-k7qd",)
    assert once.report == twice.report
    assert twice.report.added == 1


# --- copies in every place ---------------------------------------------------------------------


@pytest.mark.parametrize("is_filed", [True, False], ids=["beside", "alone"])
def test_lines_of_a_misfiled_copy_of_the_archive_are_joined(
    tmp_path: Path, *, is_filed: bool
) -> None:
    """Somebody moved it to another month's folder; it stays there, and its lines are taken."""
    archive, place = tmp_path / "archive", world(tmp_path)
    filed = place_of(archive, session_key(ONE))
    own = ["tern-k7qd:1"] if is_filed else []
    if is_filed:
        put(archive, ONE, entry("tern-k7qd:1", "posture", "lying"))
    merge_folders(archive, [], place)
    raw = sealed(ONE, entry("tern-k7qd:2", "zone", "UTC"))
    misfiled = write(archive / "sessions" / "2024-01" / filed.name, raw)
    report = merge_folders(archive, [], place).report
    assert (report.updated, report.added) == (int(is_filed), int(not is_filed))
    assert names_in(filed) == [*own, "tern-k7qd:2"]
    assert misfiled.read_bytes() == raw


def test_a_copy_a_stick_set_aside_is_taken_where_it_can_be_read(tmp_path: Path) -> None:
    """It was once found under another session's name as well, and set aside for that."""
    archive, stick = tmp_path / "archive", tmp_path / "stick"
    raw = sealed(ONE, entry("tern-k7qd:1", "posture", "lying"))
    set_aside(stick, raw, TWO, ONE)
    merging = merge_folders(archive, [stick], world(tmp_path))
    assert (merging.report.added, merging.nothing_on) == (1, ())
    assert place_of(archive, session_key(ONE)).read_bytes() == raw
    assert not place_of(archive, session_key(TWO)).exists()


def test_a_copy_a_stick_set_aside_is_kept_where_nobody_can_read_it(tmp_path: Path) -> None:
    archive, stick = tmp_path / "archive", tmp_path / "stick"
    set_aside(stick, GARBAGE, ONE)
    assert merge_folders(archive, [stick], world(tmp_path)).nothing_on == ()
    copy = archive / "set-aside" / f"{digest_bytes(GARBAGE)}.copy"
    assert copy.read_bytes() == GARBAGE
    assert ONE in copy.with_suffix(".toml").read_text()


@pytest.mark.parametrize("where", ["loose", "set aside", "set aside on the stick"])
def test_the_only_copy_may_lie_where_no_session_is_filed(tmp_path: Path, where: str) -> None:
    """Two laptops measured one person; the second session is nowhere in a month's folder."""
    archive, stick = tmp_path / "archive", tmp_path / "stick"
    put(
        archive,
        ONE,
        entry("tern-k7qd:1", "client", "SK-01"),
        entry("tern-k7qd:2", "finished", True),  # noqa: FBT003
    )
    raw = sealed(TWO, entry("dunlin-m4ex:1", "client", "SK-01"))
    if where == "loose":
        write(stick / f"{TWO}.toml", raw)
    else:
        # Changed outside since it was sealed: that is why it lies there.
        raw = raw.replace(b"SK-01", b'SK-01", why = "rang', 1)
        set_aside(archive if where == "set aside" else stick, raw, TWO)
    found, _ = sessions_of_several(archive, [stick])
    assert [session.id for session in found] == [ONE, TWO]
    assert {by.laptop for session in found for by in (e.by for e in session.entries)} == {
        "tern-k7qd",
        "dunlin-m4ex",
    }


# --- what ledgers say of remembered sessions ---------------------------------------------------


def shoe(by: str, size: str, time_round: int) -> Entry:
    told = {"typed": size, "system": "eu", "value": Decimal(size)}
    place = {"side": "both", "point": "foot", "kind": "shoe", "round": time_round}
    return entry_of("readings", by, **place, **told)


def test_an_erasure_may_open_a_question_in_a_session_that_had_none(tmp_path: Path) -> None:
    """Of two laptops' shoe sizes a third, asked for later, counts; without it both stand again."""
    archive, place = tmp_path / "archive", world(tmp_path)
    sizes = [shoe("tern-k7qd:1", "39", 1), shoe("dunlin-m4ex:1", "41", 1)]
    put(tmp_path / "one", ONE, *sizes, shoe("dunlin-m4ex:2", "40", 2))
    merge_folders(archive, [tmp_path / "one"], place)
    assert open_questions(archive, place).conflicts == ()
    erasure = draft_erasure(ONE, ["dunlin-m4ex:2"], who="C-02", why="asked for", at=WRITTEN)
    key = ledger_key("curlew-w2fs")
    write(place_of(archive, key), file_bytes(key, [erasure.entry(EntryId(key.name, 1))]))
    questions = open_questions(archive, place)
    assert [(asked.session, asked.kind) for asked in questions.conflicts] == [(ONE, "shoe_sizes")]
    assert [e.erased for e in questions.sessions[ONE].entries if e.by.number == 2] == [True]
