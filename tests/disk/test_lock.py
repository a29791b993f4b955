"""One writer per data folder: a second is refused in words, and a dead one leaves no lock."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from fitcore.disk import lock
from fitcore.disk.lock import LOCK_NAME, FolderLock
from fitcore.problems import FileFault, FolderInUse

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parents[2]
NOTE = "anklefirst, process 4711, since 2026-03-05T08:40:00+00:00"

_HOLD = """
import sys
from pathlib import Path
from fitcore.disk.lock import FolderLock
lock = FolderLock(Path(sys.argv[1]), sys.argv[2])
print("held", flush=True)
sys.stdin.read()
lock.release()
"""


@contextmanager
def held_elsewhere(folder: Path, note: str = NOTE) -> Iterator[subprocess.Popen[str]]:
    """Hold the folder in another process."""
    with subprocess.Popen(
        [sys.executable, "-c", _HOLD, str(folder), note],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        try:
            yield process
        finally:
            if process.poll() is None:
                process.kill()


def test_a_second_program_is_refused_with_the_first_ones_note(tmp_path: Path) -> None:
    with held_elsewhere(tmp_path), pytest.raises(FolderInUse) as caught:
        FolderLock(tmp_path, "second")
    assert caught.value.problem.code == "folder_in_use"
    assert NOTE in caught.value.problem.text
    assert caught.value.problem.mend


def test_a_refusal_leaves_the_note_and_the_lock_as_they_were(tmp_path: Path) -> None:
    with held_elsewhere(tmp_path):
        for _ in range(3):
            with pytest.raises(FolderInUse):
                FolderLock(tmp_path, "second")
        assert (tmp_path / LOCK_NAME).read_text(encoding="utf-8") == NOTE


def test_the_note_can_be_read_while_the_folder_is_in_use(tmp_path: Path) -> None:
    held = FolderLock(tmp_path, NOTE)
    assert (tmp_path / LOCK_NAME).read_text(encoding="utf-8") == NOTE
    held.release()


def test_a_second_opening_in_the_same_program_is_refused_too(tmp_path: Path) -> None:
    held = FolderLock(tmp_path, NOTE)
    with pytest.raises(FolderInUse, match="process 4711"):
        FolderLock(tmp_path, "second")
    held.release()


def test_a_killed_holder_lets_the_folder_go(tmp_path: Path) -> None:
    with held_elsewhere(tmp_path) as process:
        process.kill()
        process.wait(timeout=30)
        assert (tmp_path / LOCK_NAME).read_text(encoding="utf-8") == NOTE  # its note is stale
        held = FolderLock(tmp_path, "next")
    assert (tmp_path / LOCK_NAME).read_text(encoding="utf-8") == "next"
    held.release()


def test_a_holder_that_ends_takes_its_note_away(tmp_path: Path) -> None:
    with held_elsewhere(tmp_path) as process:
        process.communicate(timeout=30)
        assert process.returncode == 0
    assert not (tmp_path / LOCK_NAME).exists()


def test_releasing_twice_does_not_take_the_next_ones_lock(tmp_path: Path) -> None:
    first = FolderLock(tmp_path, "first")
    first.release()
    second = FolderLock(tmp_path, "second")
    first.release()
    assert (tmp_path / LOCK_NAME).exists()
    with pytest.raises(FolderInUse):
        FolderLock(tmp_path, "third")
    second.release()


def test_a_note_taken_away_between_opening_and_locking_is_made_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The holder released in that very moment: a lock on a removed file would guard nothing."""
    locking = lock._lock
    calls: list[int] = []

    def released_meanwhile(descriptor: int) -> bool:
        if not calls:
            (tmp_path / LOCK_NAME).unlink()
        calls.append(descriptor)
        return locking(descriptor)

    monkeypatch.setattr(lock, "_lock", released_meanwhile)
    held = FolderLock(tmp_path, NOTE)
    assert len(calls) == 2
    with pytest.raises(FolderInUse):
        FolderLock(tmp_path, "second")
    held.release()


@pytest.mark.parametrize("left", [b"", b"\xff\xfe\x00", b"x" * 5_000])
def test_a_note_left_by_a_crash_is_written_over(tmp_path: Path, left: bytes) -> None:
    (tmp_path / LOCK_NAME).write_bytes(left)
    held = FolderLock(tmp_path, "now")
    assert (tmp_path / LOCK_NAME).read_bytes() == b"now"
    held.release()


@pytest.mark.parametrize("note", ["evil\x1b]0;owned\x07", "\x9b31m", "a\u202eb"])
def test_a_note_that_could_steer_a_terminal_is_made_visible(tmp_path: Path, note: str) -> None:
    with held_elsewhere(tmp_path, note), pytest.raises(FolderInUse) as caught:
        FolderLock(tmp_path, "second")
    assert not {"\x1b", "\x07", "\x9b", "\u202e"} & set(caught.value.problem.text)


def test_a_note_that_is_no_text_is_told_all_the_same(tmp_path: Path) -> None:
    with held_elsewhere(tmp_path):
        (tmp_path / LOCK_NAME).write_bytes(b"\xff\xfe")
        with pytest.raises(FolderInUse):
            FolderLock(tmp_path, "second")


def test_a_folder_that_cannot_be_written_is_told_with_a_mend(tmp_path: Path) -> None:
    (tmp_path / LOCK_NAME).mkdir()
    with pytest.raises(FileFault) as caught:
        FolderLock(tmp_path, NOTE)
    assert caught.value.problem.code == "folder_not_writable"
    assert "--data" in caught.value.problem.mend


@pytest.mark.skipif(sys.platform == "win32", reason="flock is POSIX")
@pytest.mark.parametrize("number", [errno.ENOLCK, errno.EOPNOTSUPP])
def test_a_disk_that_knows_no_locks_is_not_a_crash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """Network shares may refuse: the folder opens unlocked or the fault is told with a mend."""
    import fcntl

    def refused(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(fcntl, "flock", refused)
    with suppress(FileFault):
        FolderLock(tmp_path, NOTE).release()


def test_a_note_that_finds_no_room_is_not_a_crash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk keeps nobody from looking at what is on it: open, or told with a mend."""

    def full(_descriptor: int, _content: bytes) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", full)
        with suppress(FileFault):
            FolderLock(tmp_path, NOTE).release()
    FolderLock(tmp_path, "later").release()


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right of their own there")
@pytest.mark.parametrize("kind", ["link", "link to nothing", "second name", "pipe"])
def test_a_note_that_is_no_ordinary_file_is_not_written_over(tmp_path: Path, kind: str) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    others = tmp_path / "holiday.txt"
    others.write_text("ferry at nine")
    note = folder / LOCK_NAME
    if kind == "link":
        note.symlink_to(others)
    elif kind == "link to nothing":
        note.symlink_to(tmp_path / "made")
    elif kind == "second name":
        note.hardlink_to(others)
    else:
        os.mkfifo(note)
    with pytest.raises(FileFault) as caught:
        FolderLock(folder, NOTE)
    assert caught.value.problem.code == "lock_not_a_file"
    assert "move it away" in caught.value.problem.mend
    assert others.read_text() == "ferry at nine"
    assert not (tmp_path / "made").exists()
    assert os.path.lexists(note)
