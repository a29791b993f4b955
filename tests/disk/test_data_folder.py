"""A laptop's folder: its name, its numbers without gaps, and what happens when a save dies."""

from __future__ import annotations

import errno
import os
import shutil
from contextlib import suppress
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from disk.places import (
    CLIENT,
    START,
    Place,
    begin,
    laptop_file,
    ledger_entries,
    numbers,
    reading,
    unexplained,
)

from fitcore.disk import data_folder
from fitcore.disk.atomic import write_durably
from fitcore.disk.data_folder import is_named
from fitcore.disk.session_files import find_session_files, read_session_file, session_path
from fitcore.problems import ChangedOnDisk, FileFault, FitError, FolderInUse, ReadingError
from fitcore.record.entries import Draft
from fitcore.record.session import Seal

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from types import EllipsisType

    from fitcore.disk.data_folder import DataFolder
    from fitcore.record.session import Session

NOTE = Draft("notes", START, {"what": "cleaned", "is": "the keys"})


class Died(BaseException):
    """Stands for a process that ends without a word."""


class Disk:
    """Lets the store's writes through, or makes the next one fail or die."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.written: list[str] = []
        """Names of the files written, in order."""
        self.fault: Callable[[Path], BaseException | None] = lambda _path: None
        patch.setattr(data_folder, "write_durably", self._write)

    def _write(
        self, path: Path, content: bytes, *, expected: bytes | EllipsisType | None = ...
    ) -> None:
        error = self.fault(path)
        if isinstance(error, OSError):
            # As the real one tells it: by the same function, failing in the middle.
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(os, "write", _raising(error))
                write_durably(path, content, expected=expected)
        elif error is not None:
            raise error
        write_durably(path, content, expected=expected)
        self.written.append(path.parent.name if path.name != "laptop.toml" else path.name)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    """Give a disk whose faults a test can choose."""
    return Disk(monkeypatch)


def _raising(error: BaseException) -> Callable[..., int]:
    def write(*_: object) -> int:
        raise error

    return write


def _full() -> OSError:
    return OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _sessions_fail(path: Path) -> BaseException | None:
    return _full() if path.parent.parent.name == "sessions" else None


def _sessions_die(path: Path) -> BaseException | None:
    return Died() if path.parent.parent.name == "sessions" else None


def _ledgers_fail(path: Path) -> BaseException | None:
    return _full() if path.parent.name == "ledger" else None


def _die_saving(disk: Disk, folder: DataFolder, session: Session, count: int = 1) -> None:
    """Reserve numbers and die before the entries are written; the lock goes with the process."""
    disk.fault = _sessions_die
    with pytest.raises(Died):
        folder.append(session, [reading() for _ in range(count)])
    disk.fault = lambda _path: None
    folder.close()


# --- the name ---------------------------------------------------------------------------------


def test_the_first_start_names_the_laptop(place: Place) -> None:
    assert not is_named(place.data)
    with place.open(label="dunlin") as folder:
        assert folder.notes == []
    told = laptop_file(place.data)
    label, _, letters = told["id"].partition("-")
    assert (label, len(letters)) == ("dunlin", 4)
    assert (told["next"], told["measurer"], told["zone"]) == (1, "N-17", "Europe/London")
    assert is_named(place.data)


def test_the_name_stays_whatever_label_comes_later(place: Place) -> None:
    with place.open(label="dunlin") as folder:
        first = folder.laptop
    with place.open(label="petrel") as folder:
        assert folder.laptop == first
        assert folder.notes == []


def test_two_laptops_of_one_label_get_two_names(tmp_path: Path) -> None:
    drawn = set()
    for number in range(20):
        place = Place(tmp_path / str(number), _draws=number)
        with place.open() as folder:
            drawn.add(folder.laptop.id)
    assert len(drawn) == 20


@pytest.mark.parametrize("label", ["", "Tern", "9th", "a-b", "x" * 13, "tern\n", "möwe"])
def test_a_label_that_cannot_be_used_is_refused_and_the_folder_let_go(
    place: Place, label: str
) -> None:
    with pytest.raises(ReadingError):
        place.open(label=label)
    assert not is_named(place.data)
    place.open().close()


def test_the_folder_has_one_writer(place: Place) -> None:
    with place.open(), pytest.raises(FolderInUse, match="anklefirst, process"):
        place.open()
    place.open().close()


def test_who_measures_is_remembered(place: Place) -> None:
    with place.open() as folder:
        folder.set_measurer("N-18")
    with place.open() as folder:
        assert folder.laptop.measurer == "N-18"


# --- numbers ----------------------------------------------------------------------------------


def test_numbers_have_no_gaps_over_sessions_ledger_and_starts(place: Place) -> None:
    with place.open() as folder:
        one, two = begin(folder), begin(folder, "tern-002-S")
        one = folder.append(one, [reading(), reading("36.2")])
        folder.append_to_ledger([NOTE])
        folder.append(two, [reading("22.6")])
    with place.open() as folder:
        again = folder.read(one.id)
        assert again == one
        folder.append(one, [reading("22.5")])
        laptop = folder.laptop.id
    assert sorted(numbers(place.data, laptop)) == list(range(1, 8))
    assert unexplained(place.data) == {}
    assert ledger_entries(place.data, "voided") == []


def test_a_number_is_durable_before_the_entry_that_uses_it(place: Place, disk: Disk) -> None:
    with place.open() as folder:
        session = begin(folder)
        disk.written.clear()
        folder.append(session, [reading(), reading()])
        assert disk.written == ["laptop.toml", "2026-03"]
        disk.written.clear()
        folder.append_to_ledger([NOTE])
        assert disk.written == ["laptop.toml", "ledger"]
        seen: list[int] = []

        def note_next(path: Path) -> None:
            if path.name != "laptop.toml":
                seen.append(laptop_file(place.data)["next"])

        disk.fault = note_next
        folder.append(session.with_entries(), [])
        folder.append(folder.read(session.id) or session, [reading()])
    assert seen == [6]  # entry 5 is about to be written


def test_nothing_to_add_writes_nothing(place: Place, disk: Disk) -> None:
    with place.open() as folder:
        session = folder.new_session()
        disk.written.clear()
        assert folder.append(session, []) is session
    assert disk.written == []
    assert list(find_session_files(place.data)) == []


@pytest.mark.parametrize("count", [1, 3])
def test_numbers_a_dead_save_reserved_are_voided_at_the_next_start(
    place: Place, disk: Disk, count: int
) -> None:
    folder = place.open()
    session = begin(folder)
    _die_saving(disk, folder, session, count)
    with place.open() as folder:
        assert folder.read(session.id) == session
        voided = ledger_entries(place.data, "voided")
        assert [entry["number"] for entry in voided] == list(range(2, 2 + count))
        folder.append(session, [reading()])
    assert unexplained(place.data) == {}
    with place.open():
        assert ledger_entries(place.data, "voided") == voided  # told once


def test_a_dead_save_in_a_new_session_leaves_no_session(place: Place, disk: Disk) -> None:
    folder = place.open()
    _die_saving(disk, folder, folder.new_session(), 2)
    assert list(find_session_files(place.data)) == []
    with place.open() as folder:
        begin(folder)
    assert unexplained(place.data) == {}
    assert [e["number"] for e in ledger_entries(place.data, "voided")] == [1, 2]


def test_dying_again_and_again_leaves_every_number_explained(place: Place, disk: Disk) -> None:
    with place.open() as folder:
        session = begin(folder)
    for count in (1, 2, 1, 3):
        folder = place.open()
        _die_saving(disk, folder, session, count)
    with place.open() as folder:
        session = folder.append(session, [reading()])
    assert unexplained(place.data) == {}
    assert len(ledger_entries(place.data, "voided")) == 7


def test_dying_while_voiding_voids_at_the_start_after(place: Place, disk: Disk) -> None:
    folder = place.open()
    session = begin(folder)
    _die_saving(disk, folder, session, 2)
    disk.fault = _ledgers_fail
    with pytest.raises(FileFault):
        place.open()
    disk.fault = lambda _path: None
    with place.open() as folder:
        folder.append(session, [reading()])
    assert unexplained(place.data) == {}


def test_failed_saves_burn_numbers_that_are_voided_later(place: Place, disk: Disk) -> None:
    with place.open() as folder:
        one, two = begin(folder), begin(folder, "tern-002-S")
        disk.fault = _sessions_fail
        for session in (one, two, one):
            with pytest.raises(FileFault) as caught:
                folder.append(session, [reading(), reading()])
            assert caught.value.problem.code == "not_saved"
        disk.fault = lambda _path: None
        assert folder.read(one.id) == one
        one = folder.append(one, [reading()])
        two = folder.append(two, [reading()])
        laptop = folder.laptop.id
    with place.open() as folder:
        assert (folder.read(one.id), folder.read(two.id)) == (one, two)
        assert sorted(e["number"] for e in ledger_entries(place.data, "voided")) == [*range(3, 9)]
    assert unexplained(place.data) == {}
    assert len(numbers(place.data, laptop)) == 4 + 6


def test_a_failed_save_followed_by_a_kill_leaves_every_number_explained(
    place: Place, disk: Disk
) -> None:
    folder = place.open()
    session = begin(folder)
    disk.fault = _sessions_fail
    with pytest.raises(FileFault):
        folder.append(session, [reading()])
    _die_saving(disk, folder, session)
    place.open().close()
    assert unexplained(place.data) == {}


def test_a_number_that_cannot_be_reserved_costs_nothing(place: Place, disk: Disk) -> None:
    with place.open() as folder:
        session = begin(folder)
        disk.fault = lambda path: _full() if path.name == "laptop.toml" else None
        for _ in range(3):
            with pytest.raises(FileFault):
                folder.append(session, [reading()])
        disk.fault = lambda _path: None
        session = folder.append(session, [reading()])
        assert folder.laptop.next == 3
    place.open().close()
    assert ledger_entries(place.data, "voided") == []
    assert unexplained(place.data) == {}


def test_a_ledger_entry_that_failed_burns_a_number_that_is_voided_later(
    place: Place, disk: Disk
) -> None:
    with place.open() as folder:
        session = begin(folder)
        disk.fault = _ledgers_fail
        with pytest.raises(FileFault):
            folder.append_to_ledger([NOTE])
        disk.fault = lambda _path: None
        folder.append(session, [reading()])
    place.open().close()
    assert unexplained(place.data) == {}


def test_a_session_folder_that_cannot_be_made_burns_a_number_that_is_voided_later(
    place: Place,
) -> None:
    with place.open() as folder:
        (place.data / "sessions").write_bytes(b"")  # a file in its place
        with pytest.raises(FileFault):
            begin(folder)
        (place.data / "sessions").unlink()
        begin(folder)
    place.open().close()
    assert unexplained(place.data) == {}


def test_a_save_told_as_failed_can_be_repeated_whatever_failed(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The screen says `press Enter to try again`, so trying again must work once the fault is gone.

    Here the last step fails: the new file is in place, but its folder could not be flushed.
    """
    with place.open() as folder:
        session = begin(folder)
        flush = os.fsync
        month = session_path(place.data, session.id).parent

        def failing(descriptor: int) -> None:
            if os.path.samestat(os.fstat(descriptor), month.stat()):
                raise OSError(errno.EIO, os.strerror(errno.EIO))
            flush(descriptor)

        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", failing)
            with pytest.raises(FileFault):
                folder.append(session, [reading("22.4")])
        folder.append(session, [reading("22.4")])
    place.open().close()
    file = read_session_file(session_path(place.data, session.id))
    assert file.problems == ()
    assert unexplained(place.data) == {}


def test_a_damaged_session_keeps_the_numbers_it_may_hold_from_being_voided(
    place: Place, disk: Disk
) -> None:
    """A gap means loss: nothing is called unused that a damaged file may have used."""
    folder = place.open()
    session = begin(folder)
    _die_saving(disk, folder, session)
    session_path(place.data, session.id).write_bytes(b"\x00damaged")
    place.open().close()
    assert ledger_entries(place.data, "voided") == []


# --- what somebody else did to a file ---------------------------------------------------------


def test_a_session_changed_meanwhile_is_not_written_over(place: Place) -> None:
    with place.open() as folder:
        session = begin(folder)
        path = session_path(place.data, session.id)
        other = path.read_bytes().replace(b"# tern", b"# Tern")
        path.write_bytes(other)
        with pytest.raises(ChangedOnDisk):
            folder.append(session, [reading()])
        assert path.read_bytes() == other
        again = folder.read(session.id)
        assert again is not None
        folder.append(again, [reading()])
    place.open().close()
    assert unexplained(place.data) == {}


def test_a_session_that_vanished_meanwhile_is_not_made_anew(place: Place) -> None:
    """Somebody took the file away: writing it again would bring back what was removed."""
    with place.open() as folder:
        session = begin(folder)
        path = session_path(place.data, session.id)
        path.unlink()
        with pytest.raises(ChangedOnDisk):
            folder.append(session, [reading()])
        assert not path.exists()


@pytest.mark.parametrize(
    ("change", "seal"),
    [
        (lambda text: text.replace("tern-001-U", "tern-001-V"), Seal.BROKEN),
        (lambda text: text[: text.index("[seal]")], Seal.MISSING),
    ],
    ids=["broken", "missing"],
)
def test_a_session_whose_seal_is_not_whole_is_not_added_to(
    place: Place, change: Callable[[str], str], seal: Seal
) -> None:
    with place.open() as folder:
        session = begin(folder)
        path = session_path(place.data, session.id)
        changed = change(path.read_text(encoding="utf-8")).encode()
        path.write_bytes(changed)
        found = folder.read(session.id)
        assert found is not None
        assert found.seal is seal
        number = folder.laptop.next
        with pytest.raises(FileFault) as caught:
            folder.append(found, [reading()])
        assert caught.value.problem.mend
        assert path.read_bytes() == changed
        assert folder.laptop.next == number


def test_reading_what_is_not_there_gives_nothing(place: Place) -> None:
    with place.open() as folder:
        assert folder.read(folder.new_session().id) is None


def test_a_damaged_ledger_is_told_and_left_alone(place: Place) -> None:
    with place.open() as folder:
        folder.append_to_ledger([NOTE])
        (path,) = (place.data / "ledger").glob("*.toml")
        path.write_bytes(b"notes = [ { by = ")
        with pytest.raises(FileFault) as caught:
            folder.append_to_ledger([NOTE])
        assert caught.value.problem.path == str(path)
        assert path.read_bytes() == b"notes = [ { by = "


def test_numbers_a_damaged_ledger_kept_from_being_voided_are_voided_once_it_is_mended(
    place: Place, disk: Disk
) -> None:
    """Measuring goes on meanwhile; the numbers of the dead save are not forgotten over it."""
    folder = place.open()
    folder.append_to_ledger([NOTE])
    session = begin(folder)
    (path,) = (place.data / "ledger").glob("*.toml")
    _die_saving(disk, folder, session, 2)
    whole = path.read_bytes()
    path.write_bytes(b"notes = [ { by = ")
    with place.open() as folder:
        assert folder.notes
        session = folder.append(session, [reading()])
        session = folder.append(session, [reading("22.5")])
    with place.open() as folder:
        folder.append(session, [reading("22.6")])
    path.write_bytes(whole)
    with place.open() as folder:
        assert folder.notes == []
        folder.append_to_ledger([NOTE])
    place.open().close()
    assert unexplained(place.data) == {}


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("the keys", "the tape"),
        lambda text: text[: text.index("[seal]")],
    ],
    ids=["broken", "missing"],
)
def test_a_ledger_changed_outside_the_program_is_not_sealed_anew_in_silence(
    place: Place, change: Callable[[str], str]
) -> None:
    """A broken seal means: asked, not accepted. Sealing it again would hide the change for good."""
    with place.open() as folder:
        folder.append_to_ledger([NOTE])
        (path,) = (place.data / "ledger").glob("*.toml")
        changed = change(path.read_text(encoding="utf-8"))
        path.write_text(changed, encoding="utf-8")
        with pytest.raises(FileFault):
            folder.append_to_ledger([NOTE])
        assert path.read_text(encoding="utf-8") == changed


# --- copies, backups, moves -------------------------------------------------------------------


def test_a_restored_backup_goes_on_under_a_new_name_and_says_so(place: Place) -> None:
    with place.open() as folder:
        session = begin(folder)
        old = folder.laptop.id
    shutil.copytree(place.data, place.root / "backup")
    with place.open() as folder:
        folder.append(session, [reading("22.4")])
    shutil.rmtree(place.data)
    shutil.copytree(place.root / "backup", place.data)
    old_lines = {entry.line for entry in session.entries}

    with place.open() as folder:
        new = folder.laptop
        assert new.id != old
        assert new.label.startswith("tern")
        assert new.label != "tern"
        (note,) = folder.notes
        assert old in note
        assert new.id in note
        restored = folder.read(session.id)
        assert restored is not None
        assert {entry.line for entry in restored.entries} == old_lines
        grown = folder.append(restored, [reading("22.5")])
    assert old_lines < {entry.line for entry in grown.entries}
    assert numbers(place.data, old) == {1: 1}  # never number 2 again
    assert [(e["what"], e["is"]) for e in ledger_entries(place.data, "notes", new.id)] == [
        ("copied_from", old)
    ]
    assert unexplained(place.data) == {}
    with place.open() as folder:  # told once; the new name stays
        assert folder.laptop.id == new.id
        assert folder.notes == []


def test_a_backup_restored_before_it_was_worked_on_keeps_its_name(place: Place) -> None:
    """No number was used since: going on under the name uses none twice."""
    with place.open() as folder:
        session = begin(folder)
        old = folder.laptop.id
    shutil.copytree(place.data, place.root / "backup")
    shutil.rmtree(place.data)
    shutil.copytree(place.root / "backup", place.data)
    with place.open() as folder:
        assert folder.laptop.id == old
        folder.append(session, [reading()])
    assert unexplained(place.data) == {}


def test_a_copied_folder_gets_a_name_of_its_own_and_the_original_keeps_its(place: Place) -> None:
    with place.open() as folder:
        session = begin(folder)
        old = folder.laptop.id
    copy = place.root / "copy"
    shutil.copytree(place.data, copy)
    with place.open(copy) as folder:
        assert folder.laptop.id != old
        assert folder.notes
        folder.append(folder.read(session.id) or session, [reading("22.5")])
        new = folder.laptop.id
    with place.open() as folder:
        assert folder.laptop.id == old
        assert folder.notes == []
        folder.append(session, [reading("22.4")])
    assert set(numbers(copy, old)) == {1}
    assert set(numbers(place.data, old)) == {1, 2}
    assert not numbers(place.data, new)
    assert unexplained(copy) == unexplained(place.data) == {}


def test_a_copy_opened_while_the_original_is_open_gets_its_own_name(place: Place) -> None:
    with place.open() as original:
        begin(original)
        copy = place.root / "copy"
        shutil.copytree(place.data, copy)
        (copy / "in-use.txt").unlink()
        with place.open(copy) as folder:
            assert folder.laptop.id != original.laptop.id


def test_a_copy_carried_to_another_laptop_gets_a_name_of_its_own(place: Place) -> None:
    with place.open() as folder:
        begin(folder)
        old = folder.laptop.id
    other = Place(place.root / "other laptop", _draws=1_000)
    shutil.copytree(place.data, other.data)
    with other.open() as folder:
        assert folder.laptop.id != old
        assert folder.laptop.label.startswith("tern")
        assert folder.laptop.label != "tern"
        assert folder.notes


def test_a_moved_folder_keeps_its_name(place: Place) -> None:
    with place.open() as folder:
        session = begin(folder)
        old = folder.laptop
    for target in (place.root / "moved", place.root / "moved again"):
        place.data = place.data.rename(target)
        with place.open() as folder:
            assert folder.laptop.id == old.id
            assert folder.notes == []
            session = folder.append(session, [reading()])
    assert unexplained(place.data) == {}
    assert len(numbers(place.data, old.id)) == 3


def test_a_folder_moved_away_from_where_another_one_is_now_keeps_its_name(place: Place) -> None:
    with place.open() as folder:
        begin(folder)
        old = folder.laptop.id
    moved = place.data.rename(place.root / "moved")
    with place.open() as folder:
        assert folder.laptop.id != old
    with place.open(moved) as folder:
        assert folder.laptop.id == old


def test_files_with_higher_numbers_than_reserved_cost_a_new_name(place: Place) -> None:
    """Only `laptop.toml` was put back, or the laptop's memory is gone: the sessions tell."""
    with place.open() as folder:
        session = begin(folder)
        kept = (place.data / "laptop.toml").read_bytes()
        folder.append(session, [reading(), reading()])
        old = folder.laptop.id
    (place.data / "laptop.toml").write_bytes(kept)
    (place.state / "laptops" / f"{old}.toml").write_text(
        f'next = 2\nfolder = "{place.data.resolve().as_posix()}"\n', encoding="utf-8"
    )
    with place.open() as folder:
        highest = max(numbers(place.data, old))
        assert folder.meet_frontier(highest - 3) is False
        assert folder.laptop.id == old
        assert folder.meet_frontier(highest) is True
        new = folder.laptop.id
        assert new != old
        assert folder.notes
        folder.append(folder.read(session.id) or session, [reading("22.9")])
        assert folder.meet_frontier(0) is False
    assert sorted(numbers(place.data, old)) == [1, 2, 3]
    assert unexplained(place.data) == {}


def test_the_next_number_found_used_already_costs_a_new_name(place: Place) -> None:
    with place.open() as folder:
        begin(folder)
        assert folder.meet_frontier(folder.laptop.next) is True


@pytest.mark.parametrize("number", [0, 1])
def test_numbers_already_reserved_are_no_reason_for_a_new_name(place: Place, number: int) -> None:
    with place.open() as folder:
        begin(folder)
        assert folder.meet_frontier(number) is False


def test_without_a_place_for_the_laptops_memory_no_number_is_used_twice(place: Place) -> None:
    """Each start takes a new name then, which is safe; nothing is refused."""
    place.state.write_bytes(b"")  # a file where the folder should be
    names = []
    for _ in range(3):
        with place.open() as folder:
            begin(folder)
            names.append(folder.laptop.id)
    assert len(set(names)) == 3
    for name in names:
        assert max(numbers(place.data, name).values()) == 1


# --- a laptop file that cannot be used --------------------------------------------------------

_DAMAGED = {
    "empty": b"",
    "binary": b"\x00\xff\xfe",
    "broken off": b'id = "tern-k7qd"\nnext = ',
    "no id": b"next = 4\n",
    "no numbers": b'id = "tern-k7qd"\n',
    "a strange id": b'id = "../../etc"\nnext = 4\n',
    "a list": b'id = ["tern-k7qd"]\nnext = 4\n',
    "below one": b'id = "tern-k7qd"\nnext = 0\n',
    "half a number": b'id = "tern-k7qd"\nnext = 4.5\n',
    "a text": b'id = "tern-k7qd"\nnext = "4"\n',
    "true": b'id = "tern-k7qd"\nnext = true\n',
    "not a number": b'id = "tern-k7qd"\nnext = nan\n',
    "without end": b'id = "tern-k7qd"\nnext = inf\n',
    "astronomical": b'id = "tern-k7qd"\nnext = 99999999999999999999\n',
    "reserved ahead": b'id = "tern-k7qd"\nnext = 4\nreserved_from = 9\n',
    "deep": b"id = " + b"[" * 3_000 + b"]" * 3_000,
}


@pytest.mark.parametrize("name", list(_DAMAGED))
def test_a_damaged_laptop_file_is_refused_with_a_mend(place: Place, name: str) -> None:
    """Numbers are never guessed; the file is left for a person, the folder is let go."""
    place.data.mkdir()
    (place.data / "laptop.toml").write_bytes(_DAMAGED[name])
    with pytest.raises(FileFault) as caught:
        place.open()
    assert caught.value.problem.code == "laptop_file_unusable"
    assert "Move laptop.toml aside" in caught.value.problem.mend
    assert (place.data / "laptop.toml").read_bytes() == _DAMAGED[name]
    assert [path.name for path in place.data.iterdir()] == ["laptop.toml"]
    (place.data / "laptop.toml").unlink()
    with place.open() as folder:  # the mend works
        begin(folder)


@pytest.mark.parametrize(
    "reserved_for", ["nonsense", "../../x", "ffffffff-ffff-7fff-bfff-ffffffffffff"]
)
def test_a_laptop_file_that_names_no_session_is_refused_with_a_mend(
    place: Place, reserved_for: str
) -> None:
    """A changed `reserved_for` is damage like any other; it is no reason for a crash."""
    with place.open() as folder:
        begin(folder)
    path = place.data / "laptop.toml"
    text = path.read_text(encoding="utf-8").replace("next = 2", "next = 4")
    start, _, _ = text.partition("reserved_for")
    path.write_text(f'{start}reserved_for = "{reserved_for}"\n', encoding="utf-8")
    with suppress(FitError):
        place.open().close()
    assert not (place.data / "in-use.txt").exists()
    assert set(numbers(place.data, laptop_file(place.data)["id"])) >= {1}


def test_a_laptop_file_that_cannot_be_read_is_refused_with_a_mend(place: Place) -> None:
    (place.data / "laptop.toml").mkdir(parents=True)
    with pytest.raises(FileFault) as caught:
        place.open()
    assert caught.value.problem.mend
    assert not (place.data / "in-use.txt").exists()


def test_a_laptop_file_written_by_an_editor_with_a_mark_is_read(place: Place) -> None:
    with place.open() as folder:
        old = folder.laptop
    path = place.data / "laptop.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    with place.open() as folder:
        assert folder.laptop.id == old.id


# --- clocks -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "clock",
    [
        datetime(1970, 1, 1, 0, 0, 5, tzinfo=UTC),
        datetime(1969, 12, 31, 23, 0, tzinfo=UTC),
        datetime(2099, 12, 31, 23, 59, 58, tzinfo=UTC),
    ],
)
def test_a_wrong_clock_loses_nothing(place: Place, clock: datetime) -> None:
    place.clock = clock
    with place.open() as folder:
        session = begin(folder)
        session = folder.append(session, [reading()])
    with place.open() as folder:
        assert folder.read(session.id) == session
        assert session.text("client") == CLIENT
    assert len(list(find_session_files(place.data))) == 1
