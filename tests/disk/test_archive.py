"""Merging folders on disk: any order gives the same bytes; nothing is lost, moved or invented."""

from __future__ import annotations

import errno
import itertools
import os
import shutil
import sqlite3
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from histories import COORDINATOR, Folder, file_bytes, files_of, histories, session_key
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import AT, entry_from_line, line_of

from fitcore.clean_text import is_unsafe
from fitcore.disk import archive_index, archive_parts, archive_writer, atomic
from fitcore.disk.archive import merge_folders, open_questions, settle
from fitcore.disk.archive_check import check_archive
from fitcore.disk.archive_scan import place_of
from fitcore.disk.carrying_back import carry_back
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.surroundings import Surroundings
from fitcore.identity import EntryId
from fitcore.merge.found import FileKind, Key, Where, digest_bytes
from fitcore.merge.gaps import Numbers
from fitcore.merge.ledger_lines import draft_erasure
from fitcore.merge.merge import merge
from fitcore.merge.ranges import Ranges
from fitcore.problems import FileFault, FolderInUse
from fitcore.record.codec import read_session

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitcore.record.entries import Entry

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sessions"
LAPTOPS = ("tern", "dunlin", "petrel")
ONE, TWO = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7", "0199c3a2-77aa-7d40-8c1b-3a90b7d4e511"
AT_INSTANT = datetime(2026, 3, 5, 8, 40, tzinfo=UTC)
GARBAGE = b"format = 1\nsession = "


def world(tmp_path: Path, *, cached: bool = False) -> Surroundings:
    """Return surroundings; the clock is far ahead, so that no file here counts as just written."""
    ahead = datetime(2100, 1, 1, tzinfo=UTC)
    return Surroundings(
        now=lambda: ahead,
        random_bytes=os.urandom,
        state_folder=tmp_path / "state",
        zone="Europe/London",
        cache_folder=tmp_path / "cache" if cached else None,
    )


def bytes_of(folder: Path) -> dict[str, bytes]:
    """Return every file of a folder but the laptop's own name."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "laptop.toml"
    }


def temporary(name: str) -> str:
    """Return the name of a file while it is written, by its path in a folder."""
    path = Path(name)
    return str(path.with_name(f".{path.name}.tmp"))


def entry(by: str, what: str, value: str, **more: object) -> Entry:
    return entry_from_line(
        "answers", line_of({"by": by, "at": AT, "what": what, "is": value, **more})
    )


def put(folder: Path, session: str, *entries: Entry) -> Path:
    """Write a sealed session into a folder."""
    path = place_of(folder, session_key(session))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(file_bytes(session_key(session), entries))
    return path


def two_files(stick: Path) -> Path:
    """Write a stick with two whole sessions and return the path of the first."""
    put(stick, TWO, entry("tern-k7qd:2", "client", "tern-014-0"))
    return put(stick, ONE, entry("tern-k7qd:1", "posture", "lying"))


# --- order and repetition ----------------------------------------------------------------------


def test_the_demo_day_merges_in_every_order_to_the_same_bytes(tmp_path: Path) -> None:
    """Laptop by laptop or all at once; and one question is asked: case 14's posture."""
    outcomes = []
    for number, order in enumerate(itertools.permutations(LAPTOPS)):
        sticks = [SAMPLES / name for name in order]
        one_by_one, at_once = tmp_path / f"one{number}", tmp_path / f"all{number}"
        for stick in sticks:
            last = merge_folders(one_by_one, [stick], world(tmp_path))
        assert last.report.conflicts_open == 1
        whole = merge_folders(at_once, sticks, world(tmp_path)).report
        outcomes += [(bytes_of(one_by_one), None), (bytes_of(at_once), whole)]
    assert all(files == outcomes[0][0] for files, _ in outcomes)
    reports = [report for _, report in outcomes if report is not None]
    assert reports == [reports[0]] * 6
    assert (reports[0].added, reports[0].conflicts_open, reports[0].gaps) == (16, 1, ())


def test_merging_again_writes_nothing_and_reports_the_same(tmp_path: Path) -> None:
    sticks = [SAMPLES / name for name in LAPTOPS]
    place, archive = world(tmp_path), tmp_path / "archive"
    merge_folders(archive, sticks, place)
    before, times = bytes_of(archive), {p: p.stat().st_mtime_ns for p in archive.rglob("*.toml")}
    second = merge_folders(archive, sticks, place)
    third = merge_folders(archive, sticks, place)
    assert second == third
    assert (second.report.added, second.report.updated, second.report.unchanged) == (0, 0, 16)
    assert bytes_of(archive) == before
    assert {p: p.stat().st_mtime_ns for p in archive.rglob("*.toml")} == times


@given(histories(most=14), st.data())
@settings(max_examples=20)
def test_sticks_in_any_order_and_grouping_end_as_the_pure_merge(
    tmp_path_factory: pytest.TempPathFactory, history: object, data: st.DataObject
) -> None:
    """Through real folders, with an index or without: the bytes the pure merge plans, no others."""
    tmp_path = tmp_path_factory.mktemp("order")
    snapshots: list[Folder] = history.snapshots  # type: ignore[attr-defined]
    sticks = []
    for number, snapshot in enumerate(snapshots):
        stick = tmp_path / f"stick{number}"
        for key, entries in snapshot.items():
            path = place_of(stick, key)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(file_bytes(key, entries))
        stick.mkdir(exist_ok=True)
        sticks.append(stick)
    plan = merge((), *(files_of(snapshot) for snapshot in snapshots))
    order = data.draw(st.permutations(sticks))
    cut = data.draw(st.integers(0, len(order)))
    archive, place = tmp_path / "archive", world(tmp_path, cached=data.draw(st.booleans()))
    for group in (order[:cut], order[cut:], order):
        last = merge_folders(archive, group, place).report
    written = {
        place_of(archive, found.key): found.digest
        for found in plan.archive()
        if found.where is Where.ARCHIVE
    }
    assert set(written) == {p for p in archive.rglob("*.toml") if p.name != "manifest.toml"}
    for path, digest in written.items():
        assert digest_bytes(path.read_bytes()) == digest
    assert last.conflicts_open == plan.report.conflicts_open
    assert (last.gaps, last.clones) == (plan.report.gaps, plan.report.clones)
    assert (last.added, last.updated, last.set_aside) == (0, 0, ())
    assert open_questions(archive, place).conflicts == plan.conflicts
    shutil.rmtree(tmp_path)


# --- what editors, sticks and time do to files -------------------------------------------------


@pytest.mark.parametrize(
    "spoil",
    [
        lambda raw: b"\xef\xbb\xbf" + raw,
        lambda raw: raw.replace(b"\n", b"\r\n"),
        lambda raw: raw.replace(b"\n", b"  \t\n"),
        lambda raw: raw.rstrip(b"\n"),
        lambda raw: b"\xef\xbb\xbf" + raw.replace(b"\n", b" \r\n"),
    ],
    ids=["bom", "crlf", "trailing", "no_final_newline", "all_of_it"],
)
def test_what_an_editor_adds_around_lines_is_nothing(
    tmp_path: Path, spoil: Callable[[bytes], bytes]
) -> None:
    stick, archive = tmp_path / "stick", tmp_path / "archive"
    path = two_files(stick)
    whole = path.read_bytes()
    path.write_bytes(spoil(whole))
    report = merge_folders(archive, [stick], world(tmp_path)).report
    assert (report.added, report.proposals, report.set_aside) == (2, 0, ())
    assert place_of(archive, session_key(ONE)).read_bytes() == whole
    assert path.read_bytes() == spoil(whole)


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda raw: raw[: len(raw) // 2], "not_toml"),
        (lambda raw: raw.decode().encode("utf-16"), "utf16"),
        (lambda _: b"", "empty"),
        (lambda raw: b"\0" * len(raw), "zeros"),
        (lambda raw: raw.replace(b"lying", b"l\xffing"), "not_utf8"),
        (lambda raw: raw.replace(ONE.encode(), TWO.encode()), "name_mismatch"),
        (lambda _: b"hello = [[[[[1]]]]]\n", "too_deep"),
        (lambda _: b"x = 1\n", "wrong_shape"),
    ],
)
def test_a_file_nobody_can_read_is_copied_beside_with_the_reason(
    tmp_path: Path, spoil: Callable[[bytes], bytes], reason: str
) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    path = two_files(stick)
    damaged = spoil(path.read_bytes())
    path.write_bytes(damaged)
    first = merge_folders(archive, [stick], place).report
    assert first.added == 1
    assert [(f.path, f.reason) for f in first.set_aside] == [(str(path), reason)]
    assert path.read_bytes() == damaged
    if damaged:
        (copy,) = archive.glob("set-aside/*.copy")
        assert copy.read_bytes() == damaged
    (note,) = archive.glob("set-aside/*.toml")
    assert f'reason = "{reason}"' in note.read_text() or reason == "name_mismatch"
    assert str(path) in note.read_text()
    before = bytes_of(archive)
    again = merge_folders(archive, [stick], place).report
    assert again.set_aside == first.set_aside
    assert bytes_of(archive) == before
    assert merge_folders(archive, [], place).report.set_aside == ()


def test_a_copy_set_aside_does_not_depend_on_which_stick_came_first(tmp_path: Path) -> None:
    outcomes = []
    for number, order in enumerate(((0, 1), (1, 0))):
        archive = tmp_path / f"archive{number}"
        for which in order:
            stick = tmp_path / f"stick{which}"
            put(stick, (ONE, TWO)[which]).write_bytes(GARBAGE)
            merge_folders(archive, [stick], world(tmp_path))
        outcomes.append(bytes_of(archive))
    assert outcomes[0] == outcomes[1]
    assert len([name for name in outcomes[0] if name.endswith(".copy")]) == 1


def test_a_newer_programs_file_is_carried_byte_for_byte(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    path = two_files(stick)
    newer = path.read_bytes().replace(b"format = 1", b'format = 2\nneeds = ["x"]')
    path.write_bytes(newer)
    assert merge_folders(archive, [stick], place).report.added == 2
    assert place_of(archive, session_key(ONE)).read_bytes() == newer
    again = merge_folders(archive, [stick], place).report
    assert (again.unchanged, again.set_aside) == (2, ())
    assert place_of(archive, session_key(ONE)).read_bytes() == newer


def test_a_file_changed_outside_is_carried_until_its_sealed_lines_come(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    path = two_files(stick)
    sealed = path.read_bytes()
    changed = sealed.replace(b"lying", b"sitting")
    path.write_bytes(changed)
    first = merge_folders(archive, [stick], place).report
    assert (first.added, first.proposals) == (2, 1)
    filed = place_of(archive, session_key(ONE))
    assert filed.read_bytes() == changed
    path.write_bytes(sealed)
    second = merge_folders(archive, [stick], place).report
    assert (second.updated, second.proposals) == (1, 1)
    assert filed.read_bytes() == sealed
    (copy,) = archive.glob("set-aside/*.copy")
    assert copy.read_bytes() == changed
    (proposal,) = open_questions(archive, place).proposals
    assert proposal.proposed is not None
    assert "sitting" in proposal.proposed.line


def test_an_emptied_stick_changes_nothing(tmp_path: Path) -> None:
    archive, place = tmp_path / "archive", world(tmp_path)
    merge_folders(archive, [SAMPLES / "tern"], place)
    before = bytes_of(archive)
    empty = tmp_path / "empty"
    empty.mkdir()
    (tmp_path / "half" / "sessions").mkdir(parents=True)
    merging = merge_folders(archive, [empty, tmp_path / "half"], place)
    assert (merging.report.added, merging.report.updated) == (0, 0)
    assert not merging.needs_person or merging.report.conflicts_open
    assert merging.nothing_on == (empty, tmp_path / "half")
    assert bytes_of(archive) == before


def test_links_devices_and_odd_names_are_told_and_never_followed(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    month = two_files(stick).parent
    secret = tmp_path / "secret.toml"
    secret.write_bytes(file_bytes(session_key(ONE), [entry("skua-b8ty:1", "posture", "sitting")]))
    (month / f"{ONE}.toml").unlink()
    (month / f"{ONE}.toml").symlink_to(secret)
    os.mkfifo(month / "0199c3a2-88aa-7d40-8c1b-3a90b7d4e511.toml")
    with (month / "0199c3a2-99aa-7d40-8c1b-3a90b7d4e511.toml").open("wb") as large:
        large.truncate((1 << 20) + 1)
    (month / f"{TWO} (1).toml").write_bytes((month / f"{TWO}.toml").read_bytes())
    (stick / "sessions" / "2026-01").symlink_to(tmp_path)
    (stick / "ledger").symlink_to(tmp_path)
    report = merge_folders(archive, [stick], place).report
    assert report.added == 1
    found = {Path(file.path).name: file.reason for file in report.set_aside}
    assert found == {
        f"{ONE}.toml": "not_a_regular_file",
        "0199c3a2-88aa-7d40-8c1b-3a90b7d4e511.toml": "not_a_regular_file",
        "0199c3a2-99aa-7d40-8c1b-3a90b7d4e511.toml": "too_big",
        f"{TWO} (1).toml": "name_mismatch",
        "2026-01": "not_a_regular_file",
        "ledger": "not_a_regular_file",
    }
    assert b"skua" not in b"".join(bytes_of(archive).values())
    before = bytes_of(archive)
    assert merge_folders(archive, [stick], place).report.set_aside == report.set_aside
    assert bytes_of(archive) == before


@pytest.mark.parametrize("number", [errno.EACCES, errno.EIO])
@pytest.mark.parametrize(
    "place", ["", "from-dunlin-m2xw", "from-dunlin-m2xw/sessions", "from-dunlin-m2xw/set-aside"]
)
def test_a_folder_of_a_stick_that_cannot_be_read_stops_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str, number: int
) -> None:
    bad, good, archive = tmp_path / "bad", tmp_path / "good", tmp_path / "archive"
    put(bad / "from-dunlin-m2xw", TWO, entry("tern-k7qd:2", "client", "SK-02"))
    (bad / "from-dunlin-m2xw" / "set-aside").mkdir()
    put(bad / "from-skua-b8ty", ONE, entry("skua-b8ty:1", "posture", "lying"))
    put(good, ONE, entry("tern-k7qd:1", "posture", "lying"))
    refused = str(bad / place)
    real = os.scandir

    def scandir(folder: str | Path) -> object:
        if os.fspath(folder) == refused:
            raise OSError(number, os.strerror(number))
        return real(folder)

    real_iterdir = Path.iterdir

    def iterdir(self: Path) -> object:
        if str(self) == refused:
            raise OSError(number, os.strerror(number))
        return real_iterdir(self)

    with monkeypatch.context() as patch:
        patch.setattr(os, "scandir", scandir)
        patch.setattr(Path, "iterdir", iterdir)
        merging = merge_folders(archive, [bad, good], world(tmp_path))
    told = [(file.path, file.reason) for file in merging.report.set_aside]
    assert told == [(refused, "unreadable_io")]
    assert merging.needs_person
    taken = {"": [ONE], "from-dunlin-m2xw/sessions": [ONE]}
    assert sorted(p.stem for p in archive.glob("sessions/*/*.toml")) == taken.get(place, [ONE, TWO])
    again = merge_folders(archive, [bad, good], world(tmp_path)).report
    assert again.set_aside == ()
    assert len(list(archive.glob("sessions/*/*.toml"))) == 2


@pytest.mark.parametrize("where", ["month", "sessions", "ledger", "set-aside"])
def test_a_folder_of_the_archive_that_cannot_be_read_ends_the_merge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    """What lies there must not be taken for gone."""
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    month = two_files(archive).parent if where == "month" else archive / where
    two_files(archive)
    month.mkdir(exist_ok=True)
    put(stick, ONE, entry("tern-k7qd:3", "zone", "UTC"))
    before = bytes_of(archive)

    def refusing(real: Callable[..., object]) -> Callable[..., object]:
        def step(folder: str | Path) -> object:
            if os.fspath(folder) == str(month):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
            return real(folder)

        return step

    with monkeypatch.context() as patch:
        patch.setattr(os, "scandir", refusing(os.scandir))
        patch.setattr(Path, "iterdir", refusing(Path.iterdir))
        with pytest.raises(FileFault, match="The folder cannot be read") as caught:
            merge_folders(archive, [stick], place)
    assert caught.value.problem.path == str(month)
    assert caught.value.problem.mend
    assert bytes_of(archive) == before


@pytest.mark.parametrize("which", ["file", "month", "sessions", "ledger", "set-aside"])
def test_a_link_in_the_archive_is_named_before_anything_is_merged(
    tmp_path: Path, which: str
) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    filed = two_files(archive)
    put(stick, ONE, entry("tern-k7qd:3", "zone", "UTC"))
    link = {"file": filed, "month": filed.parent}.get(which, archive / which)
    elsewhere = tmp_path / "elsewhere"
    if link.exists():
        link.rename(elsewhere)
    else:
        elsewhere.mkdir()
    link.symlink_to(elsewhere)
    before = bytes_of(tmp_path)
    for dry_run in (True, False):
        with pytest.raises(FileFault) as caught:
            merge_folders(archive, [stick], place, dry_run=dry_run)
        assert caught.value.problem.code == "link_in_archive"
        assert caught.value.problem.path == str(link)
        assert "move the link away" in caught.value.problem.mend
    assert bytes_of(tmp_path) == before
    link.unlink()
    elsewhere.rename(link)
    assert merge_folders(archive, [stick], place).report.updated == 1


def test_a_laptops_name_that_cannot_be_read_ends_a_merge_before_it_begins(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    two_files(stick)
    archive.mkdir()
    (archive / "laptop.toml").write_text("broken")
    with pytest.raises(FileFault) as caught:
        merge_folders(archive, [stick], place)
    assert caught.value.problem.path == str(archive / "laptop.toml")
    assert [path.name for path in archive.iterdir()] == ["laptop.toml"]


@pytest.mark.skipif(os.name == "nt", reason="Windows refuses such names itself")
def test_hostile_names_come_out_safe_to_show(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    month = os.fsencode(two_files(stick).parent)
    names = (b"\xff\xfe.toml", b"a\nb.toml", "\u202etxt.toml".encode(), b'q"\x1b[2J.toml')
    for name in names:
        (Path(os.fsdecode(month)) / os.fsdecode(name)).write_bytes(GARBAGE)
    odd = os.fsdecode(os.fsencode(archive) + b"/sessions/\xff\n")
    shutil.copytree(os.fsdecode(month), odd)
    first = merge_folders(archive, [stick], place).report
    assert len(first.set_aside) == 1  # the same bytes are told once
    (copy,) = archive.glob("set-aside/*.copy")
    assert copy.read_bytes() == GARBAGE
    (note,) = archive.glob("set-aside/*.toml")
    assert [c for c in note.read_text("utf-8") if c != "\n" and is_unsafe(c)] == []
    before = bytes_of(archive)
    assert merge_folders(archive, [stick], place).report.set_aside == first.set_aside
    assert bytes_of(archive) == before
    assert {p.code for p in check_archive(archive, place).problems} <= {"misfiled", "name_mismatch"}


@given(st.lists(st.binary(max_size=300), min_size=1, max_size=4), st.randoms())
@settings(max_examples=25)
def test_any_bytes_end_set_aside_or_asked_and_what_was_there_stays(
    tmp_path_factory: pytest.TempPathFactory, contents: list[bytes], random: object
) -> None:
    """Bytes made up, and a good file with some bytes of it changed, as session and as ledger."""
    tmp_path = tmp_path_factory.mktemp("any")
    good, bad, archive, place = *(tmp_path / n for n in ("good", "bad", "archive")), world(tmp_path)
    whole = two_files(good).read_bytes()
    merge_folders(archive, [good], place)
    at = random.randrange(len(whole))  # type: ignore[attr-defined]
    spoilt = [*contents, whole[:at] + contents[0][:3] + whole[at + 1 :]]
    for number, content in enumerate(spoilt):
        key = session_key(ONE) if number else Key(FileKind.LEDGER, "tern-k7qd")
        path = place_of(tmp_path / f"{bad}{number}", key)
        path.parent.mkdir(parents=True)
        path.write_bytes(content)
    sticks = [tmp_path / f"{bad}{number}" for number in range(len(spoilt))]
    merge_folders(archive, sticks, place)
    before = bytes_of(archive)
    assert place_of(archive, session_key(ONE)).read_bytes() == whole
    merge_folders(archive, sticks[::-1], place)
    assert bytes_of(archive) == before
    shutil.rmtree(tmp_path)


def test_capital_letters_of_a_fat_stick_and_loose_files_are_taken(tmp_path: Path) -> None:
    stick, archive = tmp_path / "stick", tmp_path / "archive"
    path = two_files(stick)
    path.rename(path.with_name(path.name.upper()))
    other = path.with_name(f"{TWO}.toml")
    other.rename(stick / other.name)
    report = merge_folders(archive, [stick], world(tmp_path)).report
    assert (report.added, report.set_aside) == (2, ())


# --- the archive's own files -------------------------------------------------------------------


def test_a_damaged_file_of_the_archive_is_mended_and_its_bytes_kept(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    whole = two_files(stick).read_bytes()
    merge_folders(archive, [stick], place)
    filed = place_of(archive, session_key(ONE))
    filed.write_bytes(whole[:40])
    assert merge_folders(archive, [stick], place).report.set_aside[0].path.endswith(f"{ONE}.toml")
    assert filed.read_bytes() == whole
    (copy,) = archive.glob("set-aside/*.copy")
    assert copy.read_bytes() == whole[:40]


def test_what_cannot_be_copied_is_never_written_over(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    two_files(stick)
    filed = place_of(archive, session_key(ONE))
    filed.parent.mkdir(parents=True)
    with filed.open("wb") as large:
        large.truncate((1 << 20) + 1)
    merging = merge_folders(archive, [stick], place)
    assert filed.stat().st_size == (1 << 20) + 1
    assert len(merging.notes) == 1
    assert merging.needs_person


class Failing:
    """Steps of durable writes, of which one fails."""

    def __init__(self, patch: pytest.MonkeyPatch, at: int) -> None:
        self.left = at
        for name in ("_write_new", "_replace", "flush_folder"):
            patch.setattr(atomic, name, self._counted(getattr(atomic, name)))

    def _counted(self, real: Callable[..., object]) -> Callable[..., object]:
        def step(*args: object) -> object:
            self.left -= 1
            if not self.left:
                raise OSError(errno.ENOSPC, "full")
            return real(*args)

        return step


def test_a_merge_that_breaks_off_is_finished_by_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each step of a write fails once; what is there then is right, and merging again ends it."""
    stick, place = tmp_path / "stick", world(tmp_path)
    path = two_files(stick)
    put(stick, "0199c3a2-99aa-7d40-8c1b-3a90b7d4e511").write_bytes(GARBAGE)
    merge_folders(tmp_path / "smooth", [stick], place)
    wanted = bytes_of(tmp_path / "smooth")
    for number in itertools.count(1):
        archive = tmp_path / f"rough{number}"
        failing = Failing(monkeypatch, number)
        with suppress(FileFault):
            merge_folders(archive, [stick], place)
        monkeypatch.undo()
        there = bytes_of(archive)
        assert all(there[name] == wanted[name] for name in there if name in wanted)
        assert set(there) <= {*wanted, *map(temporary, wanted)}
        assert "manifest.toml" not in there or set(there) == set(wanted)
        merge_folders(archive, [stick], place)
        assert bytes_of(archive) == wanted
        assert path.exists()
        if failing.left > 0:
            break
    assert number > 15


def test_files_are_flushed_before_any_of_them_takes_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Many sessions, several folders: all temporary files first, then renames, then folders."""
    stick, archive = tmp_path / "stick", tmp_path / "archive"
    for number in range(150):
        session = f"{0x0199C3A2 + 0x10000 * (number % 3):08x}-{number:04x}-7d40-8c1b-{number:012x}"
        put(stick, session, entry(f"tern-k7qd:{number + 1}", "posture", "lying"))
    steps: list[tuple[str, str]] = []

    def recorded(name: str, real: Callable[..., object], said: Callable[..., str]) -> None:
        def step(*args: object) -> object:
            steps.append((name, said(*args)))
            return real(*args)

        monkeypatch.setattr(os if name == "flush" else atomic, real.__name__, step)

    recorded("write", atomic._write_new, lambda path, _: path.name)
    recorded("flush", os.fsync, lambda _: "")
    recorded("rename", atomic._replace, lambda path, _: path.name)
    merge_folders(archive, [stick], world(tmp_path))
    sessions = [name for name, file in steps if "manifest" not in file and name != "flush"]
    assert sessions.count("write") == sessions.count("rename") == 150
    waiting: set[str] = set()
    flushes = 0
    for name, file in steps:
        if name == "write":
            waiting.add(file)
            flushes = 0
        elif name == "flush":
            flushes += 1
        else:
            assert flushes >= len(waiting)
            waiting.remove(file)
            flushes -= 1
    assert not waiting
    assert list(archive.rglob(".*")) == []


def test_what_one_file_stands_in_the_way_of_leaves_no_temporary_files(tmp_path: Path) -> None:
    """A folder where a session belongs: the merge tells so, and writes nothing beside it either."""
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    two_files(stick)
    in_the_way = place_of(archive, session_key(TWO))
    in_the_way.mkdir(parents=True)
    with pytest.raises(FileFault):
        merge_folders(archive, [stick], place)
    assert list(archive.rglob(".*.tmp")) == []
    in_the_way.rmdir()
    assert merge_folders(archive, [stick], place).report.added == 2


def test_a_file_another_program_changes_during_the_merge_is_not_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    two_files(stick)
    merge_folders(archive, [stick], place)
    put(stick, ONE, entry("tern-k7qd:1", "posture", "lying"), entry("tern-k7qd:3", "zone", "UTC"))
    filed = place_of(archive, session_key(ONE))
    real = archive_writer.read_bytes

    def changed(path: Path) -> bytes | None:
        if path == filed:
            path.write_bytes(b"somebody else's")
        return real(path)

    monkeypatch.setattr(archive_writer, "read_bytes", changed)
    with pytest.raises(FileFault, match="changed this file"):
        merge_folders(archive, [stick], place)
    assert filed.read_bytes() == b"somebody else's"


def test_one_writer_at_a_time(tmp_path: Path) -> None:
    """A folder somebody measures in is refused; trying out takes no lock and writes nothing."""
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    two_files(stick)
    with DataFolder(archive, place):
        before = bytes_of(archive)
        with pytest.raises(FolderInUse):
            merge_folders(archive, [stick], place)
        tried = merge_folders(archive, [stick], place, dry_run=True).report
        assert bytes_of(archive) == before
    assert merge_folders(archive, [stick], place).report == tried
    assert not (archive / "in-use.txt").exists()


def test_trying_out_makes_no_folder(tmp_path: Path) -> None:
    place = world(tmp_path, cached=True)
    report = merge_folders(tmp_path / "none", [SAMPLES / "tern"], place, dry_run=True).report
    assert report.added == 6
    assert sorted(path.name for path in tmp_path.iterdir()) == []


# --- memory ------------------------------------------------------------------------------------


def counted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Count which sessions are parsed."""
    parsed: list[str] = []
    real = archive_parts.read_spotted

    def read(spotted: object) -> object:
        parsed.append(spotted.told)  # type: ignore[attr-defined]
        return real(spotted)  # type: ignore[arg-type]

    monkeypatch.setattr(archive_parts, "read_spotted", read)
    return parsed


def test_unchanged_files_are_not_parsed_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place, archive = world(tmp_path, cached=True), tmp_path / "archive"
    sticks = [SAMPLES / name for name in LAPTOPS]
    merge_folders(archive, sticks, place)
    parsed = counted(monkeypatch)
    again = merge_folders(archive, [SAMPLES / "petrel"], place).report
    assert parsed == []
    assert (again.unchanged, again.conflicts_open, again.gaps) == (16, 1, ())
    # One session of a stick grew: only its two copies are parsed.
    stick = tmp_path / "stick"
    (path,) = list((archive / "sessions").rglob("*.toml"))[:1]
    session, _ = read_session(path.read_bytes())
    assert session is not None
    put(stick, session.id, *session.entries, entry("skua-b8ty:1", "zone", "UTC"))
    report = merge_folders(archive, [stick], place).report
    assert len(parsed) == 2
    assert (report.updated, report.unchanged) == (1, 15)


def test_the_memory_never_changes_a_result(tmp_path: Path) -> None:
    """Fresh, there, deleted, cut off, with a turned bit, with a wrong count: the same report."""
    place, archive = world(tmp_path, cached=True), tmp_path / "archive"
    sticks = [SAMPLES / name for name in LAPTOPS]
    merge_folders(archive, sticks, place)
    wanted = merge_folders(archive, sticks, replace(place, cache_folder=None))
    (index,) = (tmp_path / "cache").rglob("*.sqlite")
    whole, files = index.read_bytes(), bytes_of(archive)

    def wrong_count() -> None:
        index.write_bytes(whole)
        with sqlite3.connect(index) as database:
            changed = "UPDATE months SET lines = replace(lines, ' 0 tern', ' 7 tern')"
            assert database.execute(changed).rowcount
        database.close()

    spoilt: list[Callable[[], object]] = [
        lambda: None,
        index.unlink,
        lambda: index.write_bytes(whole[: len(whole) // 2]),
        lambda: index.write_bytes(b"no database"),
        wrong_count,
        *(
            lambda at=at: index.write_bytes(whole[:at] + bytes([whole[at] ^ 4]) + whole[at + 1 :])
            for at in range(100, len(whole), len(whole) // 25)
        ),
    ]
    for spoil in spoilt:
        spoil()
        assert merge_folders(archive, sticks, place) == wanted
        assert bytes_of(archive) == files


def test_only_what_changed_is_written_to_the_memory(tmp_path: Path) -> None:
    """A quiet merge leaves it alone; one session more adds one line; one that is gone goes."""
    place, archive, stick = world(tmp_path, cached=True), tmp_path / "archive", tmp_path / "stick"
    put(tmp_path / "one", ONE, entry("tern-k7qd:1", "posture", "lying"))
    merge_folders(archive, [tmp_path / "one"], place)
    merge_folders(archive, [tmp_path / "one"], place)
    (index,) = (tmp_path / "cache").rglob("*.sqlite")
    before = index.stat()
    merge_folders(archive, [tmp_path / "one"], place)
    assert (index.stat().st_ino, index.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)

    def rows() -> dict[str, str]:
        with sqlite3.connect(index) as database:
            found = database.execute("SELECT lines FROM months").fetchall()
        database.close()
        return {line[:36]: line for (lines,) in found for line in lines.split("\n")}

    known = rows()
    put(stick, TWO, entry("tern-k7qd:2", "client", "tern-014-0"))
    merge_folders(archive, [stick], place)
    assert {name: row for name, row in rows().items() if name != TWO} == known
    assert set(rows()) == {ONE, TWO}
    place_of(archive, session_key(ONE)).unlink()
    merge_folders(archive, [], place)
    assert set(rows()) == {TWO}


def test_a_file_gone_bad_is_not_judged_by_what_was_remembered_of_it(tmp_path: Path) -> None:
    """Its number is used twice by a session that came with it: both places are told."""
    archive, place = tmp_path / "archive", world(tmp_path, cached=True)
    put(tmp_path / "one", ONE, entry("tern-k7qd:1", "posture", "lying"))
    merge_folders(archive, [tmp_path / "one"], place)
    place_of(archive, session_key(ONE)).unlink()
    put(tmp_path / "two", ONE, entry("tern-k7qd:2", "posture", "lying"))
    put(tmp_path / "two", TWO, entry("tern-k7qd:2", "posture", "sitting"))
    for dry_run in (True, False):
        report = merge_folders(archive, [tmp_path / "two"], place, dry_run=dry_run).report
        assert [clone.places for clone in report.clones] == [(ONE, TWO)]


@given(st.data())
def test_numbers_come_back_from_the_memory_as_they_were(data: st.DataObject) -> None:
    laptops = st.sampled_from(("tern-k7qd", "dunlin-m4ex"))
    ranges = st.builds(Ranges.of, st.sets(st.integers(1, 30), min_size=1))
    used, twice, excused, waiting = (data.draw(st.dictionaries(laptops, ranges)) for _ in range(4))
    told = data.draw(st.dictionaries(laptops, st.integers(1, 10**15 - 1)))
    numbers = Numbers(used, twice, excused, waiting, told)
    line = archive_index.Facts("0" * 32, 10, 5, 1, 0, numbers).line(6)
    with archive_index.Index(None) as index:
        index.note([(ONE, line), (TWO, None)])
        assert index.month_now("2025-10") == {ONE: line}
    assert archive_index.numbers_of(line) == numbers


def test_an_edit_of_the_same_size_is_noticed_in_spite_of_the_memory(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path, cached=True)
    two_files(stick)
    merge_folders(archive, [stick], place)
    filed = place_of(archive, session_key(ONE))
    edited = filed.read_bytes().replace(b"lying", b"LYING")
    filed.write_bytes(edited)
    report = merge_folders(archive, [stick], place).report
    assert (report.updated, report.proposals) == (1, 1)
    assert edited in bytes_of(archive).values()


def test_a_file_written_just_before_it_was_noted_is_read_again() -> None:
    seconds = 1_000_000_000
    facts = archive_index.Facts("0" * 32, 10, 5 * seconds, 1, 0, Numbers())
    sure, unsure = facts.line(8 * seconds), facts.line(7 * seconds)
    assert sure == f"{'0' * 32} 10 5000000000 1 0 "
    assert unsure == f"{'0' * 32} 10 - 1 0 "
    assert archive_index.stamped_anew(unsure, "10 5000000000", 8 * seconds) == sure
    assert archive_index.stamped_anew(sure, "10 7000000000", 8 * seconds) == unsure


def test_a_number_used_twice_is_found_across_remembered_sessions(tmp_path: Path) -> None:
    archive, place = tmp_path / "archive", world(tmp_path, cached=True)
    put(tmp_path / "one", ONE, entry("tern-k7qd:1", "posture", "lying"))
    put(tmp_path / "two", TWO, entry("tern-k7qd:1", "posture", "sitting"))
    merge_folders(archive, [tmp_path / "one"], place)
    for _ in range(2):
        report = merge_folders(archive, [tmp_path / "two"], place).report
        assert [c.as_json() for c in report.clones] == [
            {"laptop": "tern-k7qd", "number": 1, "found_in": [ONE, TWO]}
        ]


def test_what_is_missing_of_a_laptop_is_told(tmp_path: Path) -> None:
    archive, place = tmp_path / "archive", world(tmp_path, cached=True)
    put(tmp_path / "one", ONE, entry("tern-k7qd:2", "posture", "lying"))
    put(tmp_path / "one", TWO, entry("tern-k7qd:6", "posture", "lying"))
    wanted = [
        {"laptop": "tern-k7qd", "from": 1, "to": 1},
        {"laptop": "tern-k7qd", "from": 3, "to": 5},
    ]
    for _ in range(2):
        report = merge_folders(archive, [tmp_path / "one"], place).report
        assert [gap.as_json() for gap in report.gaps] == wanted


def test_what_is_erased_stays_erased_though_the_memory_knows_the_session(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path, cached=True)
    two_files(stick)
    merge_folders(archive, [stick], place)
    told = draft_erasure(ONE, ["tern-k7qd:1"], who="C-02", why="asked for", at=place.now())
    with DataFolder(archive, place) as folder:
        folder.append_to_ledger([told])
        settle(archive, place)
    assert b"lying" not in place_of(archive, session_key(ONE)).read_bytes()
    merge_folders(archive, [stick], place)
    assert b"lying" not in place_of(archive, session_key(ONE)).read_bytes()


def damaged(raw: bytes) -> bytes:
    return raw[: raw.index(b"[seal]") - 4]


def changed(raw: bytes) -> bytes:
    return raw.replace(b"sitting", b"lying?") + b"# it was lying? on the bed\n"


def misnamed(raw: bytes) -> bytes:
    return raw


@pytest.mark.parametrize("spoil", [damaged, changed, misnamed])
def test_no_late_stick_brings_erased_content_back_by_way_of_copies(
    tmp_path: Path, spoil: Callable[[bytes], bytes]
) -> None:
    """Whichever comes first, the stick or the erasure: the archive is the same and free of it."""
    erasure = draft_erasure(ONE, ["tern-k7qd:1"], who="C-02", why="asked for", at=AT_INSTANT)
    desk, stick, other = tmp_path / "desk", tmp_path / "stick", tmp_path / "other"
    ledger = place_of(desk, Key(FileKind.LEDGER, COORDINATOR))
    ledger.parent.mkdir(parents=True)
    line = erasure.entry(EntryId(COORDINATOR, 1))
    ledger.write_bytes(file_bytes(Key(FileKind.LEDGER, COORDINATOR), [line]))
    put(desk, ONE, entry("tern-k7qd:1", "posture", "sitting"), entry("tern-k7qd:2", "zone", "UTC"))
    late = put(
        stick,
        ONE,
        entry("tern-k7qd:1", "posture", "sitting"),
        entry("tern-k7qd:2", "zone", "UTC"),
        entry("tern-k7qd:3", "client", "SK-09"),
    )
    late.write_bytes(spoil(late.read_bytes()))
    if spoil is misnamed:
        late.rename(late.with_name(f"{ONE} (1).toml"))
    put(other, ONE, entry("tern-k7qd:2", "zone", "UTC"))
    outcomes, asked = [], []
    for number, order in enumerate(([stick, desk], [desk, stick], [other, stick, desk, stick])):
        archive, place = tmp_path / f"archive{number}", world(tmp_path)
        for which in (*order, desk):
            merge_folders(archive, [which], place)
        outcomes.append(bytes_of(archive))
        asked.append(open_questions(archive, place).proposals)
        assert not {p.code for p in check_archive(archive, place).problems} & {"file_missing"}
    # A file that was carried first is told by its place in the archive, as it ever was.
    told = [
        {name: raw.partition(b"found_in")[0] for name, raw in files.items() if "mani" not in name}
        for files in outcomes
    ]
    assert told[0] == told[1] == told[2]
    ids = [[proposal.id for proposal in proposals] for proposals in asked]
    assert ids[0] == ids[1] == ids[2]
    for content in outcomes[0].values():
        assert b"sitting" not in content
        assert b"lying?" not in content
    kept = [name for name in outcomes[0] if name.startswith("set-aside")]
    if spoil is damaged:
        (note,) = kept
        assert b"something in its session was erased" in outcomes[0][note]
        assert b'reason = "not_toml"' in outcomes[0][note]
    else:
        assert len(kept) == 2
    # What was not erased is asked about or kept all the same.
    assert [p.proposed.line for p in asked[0] if p.proposed] == (
        [entry("tern-k7qd:3", "client", "SK-09").line] if spoil is changed else []
    )
    assert (b"SK-09" in b"".join(outcomes[0].values())) is (spoil is not damaged)


# --- carried back, and checked -----------------------------------------------------------------


def test_carried_back_and_taken_up_every_folder_is_the_same(tmp_path: Path) -> None:
    """A fixed point: merged back into the laptops and exported again, no byte changes."""
    place, archive, stick = world(tmp_path), tmp_path / COORDINATOR, tmp_path / "stick"
    laptops = [Path(shutil.copytree(SAMPLES / name, tmp_path / name)) for name in LAPTOPS]
    merge_folders(archive, laptops, place)
    stick.mkdir()
    carried = carry_back(archive, stick, place)
    assert (carried.written, carried.unchanged, carried.left_out) == (16, 0, ())
    for laptop in laptops:
        merge_folders(laptop, [stick], place)
        assert bytes_of(laptop) == bytes_of(archive)
    assert merge_folders(archive, laptops, place).report.unchanged == 16
    again = carry_back(archive, stick, place)
    assert (again.written, again.unchanged) == (0, 16)


def test_a_stick_that_gives_back_something_else_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place, archive, stick = world(tmp_path), tmp_path / "archive", tmp_path / "stick"
    two_files(tmp_path / "laptop")
    merge_folders(archive, [tmp_path / "laptop"], place)
    stick.mkdir()
    monkeypatch.setattr("fitcore.disk.carrying_back.read_past_cache", lambda _: b"worn out")
    with pytest.raises(FileFault, match="does not give back"):
        carry_back(archive, stick, place)


def test_a_file_with_an_open_question_is_not_carried_back(tmp_path: Path) -> None:
    place, archive, stick = world(tmp_path), tmp_path / "archive", tmp_path / "stick"
    path = two_files(tmp_path / "laptop")
    path.write_bytes(path.read_bytes().replace(b"lying", b"sitting"))
    merge_folders(archive, [tmp_path / "laptop"], place)
    stick.mkdir()
    carried = carry_back(archive, stick, place)
    assert (carried.written, [p.code for p in carried.left_out]) == (1, ["not_carried"])
    assert not place_of(stick / "to-laptops", session_key(ONE)).exists()


def test_checking_tells_what_is_gone_changed_or_only_grew(tmp_path: Path) -> None:
    stick, archive, place = tmp_path / "stick", tmp_path / "archive", world(tmp_path)
    two_files(stick)
    put(stick, "0199c3a2-99aa-7d40-8c1b-3a90b7d4e511").write_bytes(GARBAGE)
    merge_folders(archive, [stick], place)
    assert check_archive(archive, place).problems == ()

    def codes() -> list[str]:
        return sorted(problem.code for problem in check_archive(archive, place).problems)

    filed = place_of(archive, session_key(ONE))
    whole = filed.read_bytes()
    filed.unlink()
    assert codes() == ["file_missing"]
    filed.write_bytes(whole.replace(b"lying", b"LYING"))
    assert codes() == ["lines_missing", "seal_broken"]
    put(archive, ONE, entry("tern-k7qd:1", "posture", "lying"), entry("tern-k7qd:3", "zone", "UTC"))
    assert codes() == ["written_since"]
    filed.write_bytes(whole)
    (copy,) = archive.glob("set-aside/*.copy")
    copy.write_bytes(b"rotten")
    assert codes() == ["copy_changed", "lines_missing"]
    copy.write_bytes(GARBAGE)
    manifest = archive / "manifest.toml"
    manifest.write_bytes(manifest.read_bytes().replace(b"entries = 1", b"entries = 9", 1))
    assert codes() == ["manifest_damaged"]
    manifest.unlink()
    assert codes() == ["no_manifest"]


def test_a_laptops_folder_on_a_stick_that_was_not_finished_is_remarked(tmp_path: Path) -> None:
    """Only of `from-` folders: a data folder as it is has no list, and none is missed."""
    stick, place = tmp_path / "stick", world(tmp_path)
    folder = stick / "from-tern-k7qd"
    two_files(folder)
    merging = merge_folders(tmp_path / "a", [stick], place)
    assert (merging.report.added, merging.unfinished) == (2, (folder,))
    assert not merging.needs_person
    merge_folders(folder, [], place)
    assert merge_folders(tmp_path / "b", [stick], place).unfinished == ()
    place_of(folder, session_key(ONE)).unlink()
    assert merge_folders(tmp_path / "c", [stick], place).unfinished == (folder,)
    assert merge_folders(tmp_path / "d", [SAMPLES / "tern"], place).unfinished == ()


def test_ledgers_are_joined_and_a_damaged_one_is_set_aside(tmp_path: Path) -> None:
    archive, place = tmp_path / "archive", world(tmp_path)
    key = Key(FileKind.LEDGER, "tern-k7qd")
    line = line_of({"by": "tern-k7qd:1", "at": AT, "codes": ["a", "b"], "who": "C", "why": "asked"})
    raw = file_bytes(key, [entry_from_line("links", line)])
    for name, content in (("one", raw), ("two", raw[: len(raw) * 4 // 5])):
        path = place_of(tmp_path / name, key)
        path.parent.mkdir(parents=True)
        path.write_bytes(content)
    merge_folders(archive, [tmp_path / "one"], place)
    report = merge_folders(archive, [tmp_path / "two"], place).report
    assert [file.reason for file in report.set_aside] == ["not_toml"]
    assert place_of(archive, key).read_bytes() == raw
    assert open_questions(archive, place).clients.codes_of("a") == ("a", "b")
