"""Durable whole-file writes: a file is the old one or the new one, never torn.

Order: temporary file in the same folder, all bytes, flush to disk, is the target still the version
we read?, rename over it, flush the folder. A flush that fails means *not saved*: Linux reports such
an error once and forgets it, so nothing is retried on the same descriptor.

Many files go the same way step by step together: a disk is quicker to flush many at once.
"""

from __future__ import annotations

import errno
import os
import sys
import time
from contextlib import ExitStack, contextmanager, suppress
from typing import TYPE_CHECKING

from fitcore.problems import ChangedOnDisk, FileFault, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path
    from types import EllipsisType

_REPLACE_TRIES = 10
_REPLACE_WAIT_SECONDS = 0.2
_TOGETHER = 64
"""Files held open at once until they are flushed; some systems allow a program 256."""


def write_durably(
    path: Path, content: bytes, *, expected: bytes | EllipsisType | None = ...
) -> None:
    """Write a file so that it survives a crash and a power cut.

    Args:
        path: the target; its folder must exist.
        content: the whole new content.
        expected: the bytes it held when it was read, None where it did not exist; left out where
            one program alone ever writes it.

    Raises:
        ChangedOnDisk: the target no longer holds `expected`; nothing was written.
        FileFault: it could not be written; the old file is untouched.
    """
    temporary = _temporary(path)
    with _saving(path), ExitStack() as undo:
        descriptor = _write_new(temporary, content)
        undo.callback(_remove, [temporary])
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        if expected is not ... and _read(path) != expected:
            raise ChangedOnDisk(
                Problem(
                    code="changed_on_disk",
                    text=say("Another program changed this file in the meantime."),
                    mend=say("Open the session again; your reading was not stored yet."),
                    path=str(path),
                )
            )
        undo.pop_all()  # from here on it is whole: it stays where the rename is refused for good
        _replace(temporary, path)
        flush_folder(path.parent)


def write_all_durably(
    files: Sequence[tuple[Path, bytes]], check: Callable[[Path], None]
) -> list[int]:
    """Write files as `write_durably` does; each is the old one or the new one wherever it ends.

    Args:
        files: targets, no two alike, and their whole new content; their folders must exist.
        check: called with each target right before the renames; raises where it is no longer what
            was read, and then neither that one nor those beside it are written.

    Returns:
        When each was written, in ns, as the file system says.

    Raises:
        ChangedOnDisk: `check` says so.
        FileFault: one of them could not be written; those before it may be.
    """
    times: list[int] = []
    for start in range(0, len(files), _TOGETHER):
        times += _write_together(files[start : start + _TOGETHER], check)
    return times


def _write_together(
    files: Sequence[tuple[Path, bytes]], check: Callable[[Path], None]
) -> list[int]:
    temporaries = [_temporary(path) for path, _ in files]
    with ExitStack() as undo:
        undo.callback(_remove, temporaries)
        with _saving(files[0][0]), ExitStack() as opened:
            # Flushed through the descriptor it was written through: another one may never hear of
            # a write that was lost.
            descriptors = []
            for temporary, (path, content) in zip(temporaries, files, strict=True):
                with _saving(path):
                    descriptors.append(_write_new(temporary, content))
                opened.callback(os.close, descriptors[-1])
            times = []
            for descriptor, (path, _) in zip(descriptors, files, strict=True):
                with _saving(path):
                    os.fsync(descriptor)
                    times.append(os.fstat(descriptor).st_mtime_ns)
        for path, _ in files:
            check(path)
        for temporary, (path, _) in zip(temporaries, files, strict=True):
            with _saving(path):
                _replace(temporary, path)
        for folder in dict.fromkeys(path.parent for path, _ in files):
            with _saving(folder):
                flush_folder(folder)
        undo.pop_all()
    return times


@contextmanager
def _saving(path: Path) -> Iterator[None]:
    """Tell of what fails meanwhile as this file not saved."""
    try:
        yield
    except OSError as error:
        if isinstance(error, FileFault):
            raise
        raise FileFault(_not_saved(path, error)) from error


def remove(path: Path) -> None:
    """Remove a file durably; one that is not there is removed already.

    Raises:
        FileFault: it cannot be removed.
    """
    with _saving(path):
        if os.path.lexists(path):
            path.unlink()
            flush_folder(path.parent)


def _remove(temporaries: Iterable[Path]) -> None:
    for temporary in temporaries:
        with suppress(OSError):
            temporary.unlink()


def read_bytes(path: Path) -> bytes | None:
    """Return a file's bytes, None where there is no such file.

    Raises:
        FileFault: there is one, and it cannot be read.
    """
    try:
        return _read(path)
    except OSError as error:
        raise FileFault(
            Problem(
                code="unreadable_io",
                text=say("The file cannot be read: {error}.", error=error.strerror),
                mend=say("Move it aside, or start again with --data and another folder."),
                path=str(path),
            )
        ) from error


def _read(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return None


def flush_folder(folder: Path) -> None:
    """Make a rename in a folder durable; Windows cannot and does not need to."""
    if sys.platform == "win32":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def make_folder(folder: Path) -> None:
    """Create a folder and its parents durably.

    Raises:
        FileFault: it cannot be created.
    """
    with _saving(folder):
        missing = [folder, *folder.parents]
        first_there = next(index for index, place in enumerate(missing) if place.exists())
        folder.mkdir(parents=True, exist_ok=True)
        for created in missing[:first_there]:
            flush_folder(created.parent)


def _temporary(path: Path) -> Path:
    return path.with_name(f".{path.name}.tmp")


def _write_new(path: Path, content: bytes) -> int:
    """Write a temporary file and return its descriptor, open and not flushed yet."""
    with suppress(FileNotFoundError):
        path.unlink()  # left by a crash; the folder's lock says nobody else is writing
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    descriptor = os.open(path, flags, 0o600)
    try:
        view = memoryview(content)
        while view:
            view = view[os.write(descriptor, view) :]
    except BaseException:
        os.close(descriptor)
        _remove([path])
        raise
    return descriptor


def _replace(temporary: Path, path: Path) -> None:
    # A virus scanner or an editor may hold the target open on Windows for a moment.
    for tries_left in reversed(range(_REPLACE_TRIES)):
        try:
            temporary.replace(path)
        except PermissionError:
            if sys.platform != "win32" or not tries_left:
                raise
            time.sleep(_REPLACE_WAIT_SECONDS)  # noqa: TID251 - another program holds the file
        else:
            return


def _not_saved(path: Path, error: OSError) -> Problem:
    mends = {
        errno.ENOSPC: say("Free some space on this disk, then press Enter again."),
        errno.EDQUOT: say("Free some space on this disk, then press Enter again."),
        errno.EROFS: say("The disk is read-only. Start again with --data and another folder."),
        errno.EACCES: say("You may not write there. Start again with --data and another folder."),
    }
    return Problem(
        code="not_saved",
        text=say("NOT SAVED: {error}.", error=error.strerror or str(error)),
        mend=mends.get(error.errno or 0, say("Press Enter to try again, or note it on paper.")),
        path=str(path),
    )
