"""Durable writes: a file is the old one or the new one, never torn, whatever call fails."""

from __future__ import annotations

import errno
import os
import stat
import sys
from contextlib import suppress
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from fitcore.disk import atomic
from fitcore.disk.atomic import (
    flush_folder,
    make_folder,
    read_bytes,
    write_all_durably,
    write_durably,
)
from fitcore.problems import ChangedOnDisk, FileFault, Problem

if TYPE_CHECKING:
    from collections.abc import Callable

OLD = b"old " * 500
NEW = b"new " * 700
TEMPORARY = ".session.toml.tmp"
POSIX_ONLY = pytest.mark.skipif(sys.platform == "win32", reason="folders are not flushed there")


class System:
    """The calls a write makes, recorded, and made to fail where a test asks for it."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.calls: list[tuple[str, str]] = []
        """(call, name of the file it was for), in order."""
        self.fail_at = 0
        """Which call fails, counted from 1; 0 for none."""
        self.fail_with = errno.EIO
        self._names: dict[int, str] = {}
        real_open, real_close = os.open, os.close

        def opened(path: Any, flags: int, mode: int = 0o777) -> int:
            self._call("open for writing" if flags & os.O_WRONLY else "open", Path(path).name)
            descriptor = real_open(path, flags, mode)
            self._names[descriptor] = Path(path).name
            return descriptor

        def closed(descriptor: int) -> None:
            real_close(descriptor)  # a close that fails has closed all the same
            self._call("close", self._names.pop(descriptor, "?"))

        patch.setattr(os, "open", opened)
        patch.setattr(os, "close", closed)
        patch.setattr(os, "write", self._wrapped("write", os.write))
        patch.setattr(os, "fsync", self._wrapped("fsync", os.fsync))
        for name in ("unlink", "replace", "read_bytes"):
            patch.setattr(Path, name, self._path_call(name, getattr(Path, name)))

    def _wrapped(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def called(descriptor: int, *rest: Any) -> Any:
            self._call(name, self._names.get(descriptor, "?"))
            return call(descriptor, *rest)

        return called

    def _path_call(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def called(path: Path, *rest: Any, **named: Any) -> Any:
            self._call(name, path.name)
            return call(path, *rest, **named)

        return called

    def _call(self, name: str, file: str) -> None:
        self.calls.append((name, file))
        if len(self.calls) == self.fail_at:
            raise OSError(self.fail_with, os.strerror(self.fail_with))


@pytest.fixture
def target(tmp_path: Path) -> Path:
    """Give a file that holds the old content."""
    path = tmp_path / "folder" / "session.toml"
    path.parent.mkdir()
    path.write_bytes(OLD)
    return path


@POSIX_ONLY
def test_the_order_of_a_save(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Temporary file beside it, all bytes, flush, is it still ours?, rename, flush the folder."""
    system = System(monkeypatch)
    write_durably(target, NEW, expected=OLD)
    assert system.calls == [
        ("unlink", TEMPORARY),
        ("open for writing", TEMPORARY),
        ("write", TEMPORARY),
        ("fsync", TEMPORARY),
        ("close", TEMPORARY),
        ("read_bytes", "session.toml"),
        ("replace", TEMPORARY),
        ("open", "folder"),
        ("fsync", "folder"),
        ("close", "folder"),
    ]
    assert target.read_bytes() == NEW


def _number_of_calls(tmp_path: Path) -> int:
    with pytest.MonkeyPatch.context() as patch:
        system = System(patch)
        write_durably(tmp_path / "probe.toml", NEW, expected=None)
        return len(system.calls)


@POSIX_ONLY
@pytest.mark.parametrize("number", [errno.EIO, errno.ENOSPC, errno.EACCES, errno.EINTR])
def test_whichever_call_fails_the_old_file_is_whole_or_the_new_one_is(
    target: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    failing = 0
    while True:
        failing += 1
        target.write_bytes(OLD)
        before = _open_descriptors()
        with monkeypatch.context() as patch:
            system = System(patch)
            system.fail_at, system.fail_with = failing, number
            fault = _fault_of(target)
            if fault is None:
                assert len(system.calls) < failing
                break
            assert len(system.calls) >= failing
        assert fault.problem.code == "not_saved"
        assert os.strerror(number) in fault.problem.text
        assert fault.problem.mend
        assert fault.problem.path == str(target)
        assert target.read_bytes() in (OLD, NEW), system.calls[-1]
        assert _open_descriptors() == before, system.calls[-1]
        # Once the fault is gone the same save succeeds, whatever was left behind.
        write_durably(target, NEW, expected=target.read_bytes())
        assert target.read_bytes() == NEW
        assert _names(target.parent) == ["session.toml"]
    assert failing == _number_of_calls(target.parent) + 1


@POSIX_ONLY
def test_before_the_rename_a_failure_leaves_the_old_file(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        system = System(patch)
        write_durably(target, NEW, expected=OLD)
        renamed = system.calls.index(("replace", TEMPORARY)) + 1
    for failing in range(1, renamed + 1):
        target.write_bytes(OLD)
        with monkeypatch.context() as patch:
            system = System(patch)
            system.fail_at = failing
            with pytest.raises(FileFault):
                write_durably(target, NEW, expected=OLD)
        assert target.read_bytes() == OLD, system.calls[-1]
        kept = [TEMPORARY] if failing == renamed else []
        assert sorted(_names(target.parent)) == [*kept, target.name], system.calls[-1]


# --- many files at once --------------------------------------------------------------------------


def _two(folder: Path) -> list[tuple[Path, bytes]]:
    """Give a file that holds the old content and one that is to be new, in another folder."""
    (folder / "more").mkdir(parents=True, exist_ok=True)
    files = [(folder / "a.toml", NEW), (folder / "more" / "b.toml", b"b" * 900)]
    files[0][0].write_bytes(OLD)
    files[1][0].unlink(missing_ok=True)
    return files


def _as_read(path: Path) -> None:
    assert read_bytes(path) in (OLD, None)


@POSIX_ONLY
def test_the_order_of_a_save_of_many(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Step by step together: all written, all flushed, all looked at, renamed, folders flushed."""
    files = _two(tmp_path / "folder")
    system = System(monkeypatch)
    write_all_durably(files, _as_read)
    one, two = ".a.toml.tmp", ".b.toml.tmp"
    assert [call for call in system.calls if call[0] not in ("unlink", "write", "close")] == [
        ("open for writing", one),
        ("open for writing", two),
        ("fsync", one),
        ("fsync", two),
        ("read_bytes", "a.toml"),
        ("read_bytes", "b.toml"),
        ("replace", one),
        ("replace", two),
        ("open", "folder"),
        ("fsync", "folder"),
        ("open", "more"),
        ("fsync", "more"),
    ]


@POSIX_ONLY
def test_whichever_call_of_many_fails_each_file_is_old_or_new_and_none_is_left_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, failing, renamed = _open_descriptors(), 0, set()
    while True:
        failing += 1
        files = _two(tmp_path / "folder")
        with monkeypatch.context() as patch:
            system = System(patch)
            system.fail_at = failing
            with suppress(FileFault):
                write_all_durably(files, _as_read)
            if len(system.calls) < failing:
                break
        there = [read_bytes(path) for path, _ in files]
        assert there[0] in (OLD, NEW), system.calls[-1]
        assert there[1] in (None, files[1][1]), system.calls[-1]
        renamed.add(tuple(content == new for content, (_, new) in zip(there, files, strict=True)))
        assert _open_descriptors() == before, system.calls[-1]
        # What failed may be the removal itself; the next save removes what is left then.
        write_all_durably(files, lambda _: None)
        assert [read_bytes(path) for path, _ in files] == [new for _, new in files]
        assert list(tmp_path.rglob(".*.tmp")) == []
    assert renamed == {(False, False), (True, False), (True, True)}


def test_where_one_of_many_was_changed_none_beside_it_is_written(tmp_path: Path) -> None:
    files = _two(tmp_path / "folder")
    files[1][0].write_bytes(b"somebody else's")

    def check(path: Path) -> None:
        if path == files[1][0]:
            raise ChangedOnDisk(Problem("changed_on_disk", "changed", "look"))

    with pytest.raises(ChangedOnDisk):
        write_all_durably(files, check)
    assert files[0][0].read_bytes() == OLD
    assert files[1][0].read_bytes() == b"somebody else's"
    assert list(tmp_path.rglob(".*.tmp")) == []


def test_more_files_than_may_be_open_at_once_are_all_written_with_their_times(
    tmp_path: Path,
) -> None:
    files = [(tmp_path / f"{number}.toml", b"%d" % number) for number in range(300)]
    times = write_all_durably(files, lambda _: None)
    assert [path.read_bytes() for path, _ in files] == [content for _, content in files]
    assert times == [path.stat().st_mtime_ns for path, _ in files]
    assert write_all_durably([], _as_read) == []


@POSIX_ONLY
def test_a_flush_that_failed_is_not_repeated_on_the_same_file(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Linux reports a lost write once; a second flush would claim that all is well."""
    system = System(monkeypatch)
    system.fail_at = 4
    with pytest.raises(FileFault):
        write_durably(target, NEW)
    assert system.calls[3] == ("fsync", TEMPORARY)
    assert ("replace", TEMPORARY) not in system.calls
    assert [name for name, _ in system.calls].count("fsync") == 1


@pytest.mark.parametrize("most", [1, 7, 1_000])
def test_short_writes_are_gone_on_with(
    target: Path, monkeypatch: pytest.MonkeyPatch, most: int
) -> None:
    write = os.write
    monkeypatch.setattr(os, "write", lambda descriptor, rest: write(descriptor, rest[:most]))
    write_durably(target, NEW, expected=OLD)
    assert target.read_bytes() == NEW


def test_a_disk_that_fills_up_in_the_middle_of_a_write(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write, room = os.write, [100]

    def until_full(descriptor: int, rest: bytes) -> int:
        if not room[0]:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        written = write(descriptor, rest[: room[0]])
        room[0] -= written
        return written

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", until_full)
        with pytest.raises(FileFault) as caught:
            write_durably(target, NEW, expected=OLD)
    assert _names(target.parent) == [target.name]  # half a file would only take the room left
    assert "Free some space" in caught.value.problem.mend
    assert target.read_bytes() == OLD
    write_durably(target, NEW, expected=OLD)
    assert target.read_bytes() == NEW


@pytest.mark.parametrize(
    ("number", "mend"),
    [
        (errno.ENOSPC, "Free some space"),
        (errno.EDQUOT, "Free some space"),
        (errno.EROFS, "--data"),
        (errno.EACCES, "--data"),
        (errno.EIO, "on paper"),
    ],
)
def test_each_fault_comes_with_its_own_mend(
    target: Path, monkeypatch: pytest.MonkeyPatch, number: int, mend: str
) -> None:
    system = System(monkeypatch)
    system.fail_at, system.fail_with = 3, number
    with pytest.raises(FileFault) as caught:
        write_durably(target, NEW)
    assert caught.value.problem.text.startswith("NOT SAVED: ")
    assert mend in caught.value.problem.mend


@pytest.mark.parametrize(
    ("on_disk", "expected"), [(OLD, NEW), (OLD, None), (OLD, b""), (None, OLD), (b"", OLD)]
)
def test_a_file_somebody_else_changed_is_left_alone(
    target: Path, on_disk: bytes | None, expected: bytes | None
) -> None:
    if on_disk is None:
        target.unlink()
    else:
        target.write_bytes(on_disk)
    with pytest.raises(ChangedOnDisk) as caught:
        write_durably(target, b"mine", expected=expected)
    assert caught.value.problem.code == "changed_on_disk"
    assert read_bytes(target) == on_disk
    assert TEMPORARY not in _names(target.parent)


def test_a_file_that_is_to_be_new_is_written_where_there_is_none(tmp_path: Path) -> None:
    write_durably(tmp_path / "a.toml", NEW, expected=None)
    assert (tmp_path / "a.toml").read_bytes() == NEW


def test_an_only_writer_need_not_say_what_was_there(target: Path) -> None:
    write_durably(target, NEW)
    write_durably(target, b"")
    assert target.read_bytes() == b""


@pytest.mark.parametrize("left", [b"", NEW[:100], NEW * 3])
def test_a_temporary_file_left_by_a_crash_does_no_harm(target: Path, left: bytes) -> None:
    target.with_name(TEMPORARY).write_bytes(left)
    write_durably(target, NEW, expected=OLD)
    assert target.read_bytes() == NEW
    assert _names(target.parent) == ["session.toml"]


@POSIX_ONLY
def test_a_link_in_the_place_of_the_temporary_file_is_not_followed(target: Path) -> None:
    elsewhere = target.parent.parent / "elsewhere.txt"
    elsewhere.write_bytes(b"precious")
    target.with_name(TEMPORARY).symlink_to(elsewhere)
    write_durably(target, NEW, expected=OLD)
    assert elsewhere.read_bytes() == b"precious"
    assert target.read_bytes() == NEW


def test_a_folder_in_the_place_of_the_temporary_file_is_told(target: Path) -> None:
    target.with_name(TEMPORARY).mkdir()
    with pytest.raises(FileFault):
        write_durably(target, NEW, expected=OLD)
    assert target.read_bytes() == OLD


def test_a_target_that_cannot_be_read_is_told(target: Path) -> None:
    target.unlink()
    target.mkdir()
    with pytest.raises(FileFault):
        write_durably(target, NEW, expected=OLD)
    assert target.is_dir()


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileFault):
        write_durably(tmp_path / "nowhere" / "a.toml", NEW)


@POSIX_ONLY
def test_only_the_user_may_read_what_is_written(target: Path) -> None:
    write_durably(target, NEW)
    assert stat.S_IMODE(target.stat().st_mode) == 0o600


def test_a_folder_and_its_parents_are_made_and_each_is_made_durable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flushed: list[Path] = []
    monkeypatch.setattr(atomic, "flush_folder", flushed.append)
    make_folder(tmp_path / "sessions" / "2026-03")
    assert (tmp_path / "sessions" / "2026-03").is_dir()
    assert sorted(flushed) == [tmp_path, tmp_path / "sessions"]
    flushed.clear()
    make_folder(tmp_path / "sessions" / "2026-03")
    assert flushed == []


def test_a_file_in_the_place_of_a_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "sessions").write_bytes(b"")
    with pytest.raises(FileFault) as caught:
        make_folder(tmp_path / "sessions" / "2026-03")
    assert caught.value.problem.code == "not_saved"
    assert (tmp_path / "sessions").read_bytes() == b""


class OtherSystem:
    """Stands in for Windows, where a scanner may hold a file for a moment."""

    def __init__(self, patch: pytest.MonkeyPatch, refusals: int) -> None:
        self.waits: list[float] = []
        self.tries = 0
        patch.setattr(atomic, "sys", SimpleNamespace(platform="win32"))
        patch.setattr(atomic, "time", SimpleNamespace(sleep=self.waits.append))
        replace = Path.replace

        def held(path: Path, target: Path) -> Path:
            self.tries += 1
            if self.tries <= refusals:
                raise PermissionError(errno.EACCES, "in use")
            return replace(path, target)

        patch.setattr(Path, "replace", held)


@pytest.mark.parametrize("refusals", [0, 1, 9])
def test_a_target_held_for_a_moment_on_windows_is_tried_again(
    target: Path, monkeypatch: pytest.MonkeyPatch, refusals: int
) -> None:
    system = OtherSystem(monkeypatch, refusals)
    write_durably(target, NEW, expected=OLD)
    assert target.read_bytes() == NEW
    assert len(system.waits) == refusals
    assert sum(system.waits) <= 2


def test_a_target_held_for_good_is_told_and_the_new_content_is_kept_beside_it(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    system = OtherSystem(monkeypatch, refusals=1_000)
    with pytest.raises(FileFault):
        write_durably(target, NEW, expected=OLD)
    assert system.tries == 10
    assert target.read_bytes() == OLD
    assert target.with_name(TEMPORARY).read_bytes() == NEW


def test_elsewhere_a_refused_rename_is_told_at_once(
    target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    system = OtherSystem(monkeypatch, refusals=1_000)
    monkeypatch.setattr(atomic, "sys", SimpleNamespace(platform="linux"))
    with pytest.raises(FileFault):
        write_durably(target, NEW, expected=OLD)
    assert (system.tries, system.waits) == (1, [])


def test_on_windows_no_folder_is_opened_to_flush_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    OtherSystem(monkeypatch, refusals=0)
    flush_folder(tmp_path / "does not exist")


def _fault_of(target: Path) -> FileFault | None:
    """Save, and return what was told where that failed."""
    try:
        write_durably(target, NEW, expected=OLD)
    except FileFault as fault:
        return fault
    return None


def _names(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir()]


def _open_descriptors() -> int:
    listing = Path("/proc/self/fd")
    return len(list(listing.iterdir())) if listing.is_dir() else 0
