"""One writer per data folder: a system lock and a note people can read.

The lock is advice between our own programs. It may do nothing on a network share, so correctness
rests on one writer per path and on the version check before each write, not on this.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
from contextlib import suppress
from typing import TYPE_CHECKING

from fitcore.problems import FileFault, FolderInUse, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from pathlib import Path

LOCK_NAME = "in-use.txt"
_NO_LOCKS = (errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS)
_OPEN = (
    os.O_RDWR
    | os.O_CREAT
    | getattr(os, "O_NOFOLLOW", 0)
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_BINARY", 0)
)
"""The note is written over: whoever follows a link writes over a file of somebody else's."""
_LOCKED_BYTE = 1 << 30
"""Far behind the note, so that on Windows the note stays readable while the byte is locked."""


class FolderLock:
    """Holds a data folder for writing until it is released."""

    def __init__(self, folder: Path, note: str) -> None:
        self._path = folder / LOCK_NAME
        self._descriptor = self._acquire(note)

    def release(self) -> None:
        """Let the folder go; safe to call twice."""
        if self._descriptor is None:
            return
        with suppress(OSError):
            self._path.unlink()
        os.close(self._descriptor)
        self._descriptor = None

    def _acquire(self, note: str) -> int | None:
        while True:
            if os.path.islink(self._path):  # noqa: PTH114 - never raises; Windows: no O_NOFOLLOW
                raise FileFault(_not_a_note(self._path))
            try:
                descriptor = os.open(self._path, _OPEN, 0o600)
            except OSError as error:
                if error.errno == errno.ELOOP:
                    raise FileFault(_not_a_note(self._path)) from error
                raise FileFault(
                    Problem(
                        code="folder_not_writable",
                        text=say("Cannot write here: {error}.", error=error.strerror),
                        mend=say("Start again with --data and a folder you may write to."),
                        path=str(self._path.parent),
                    )
                ) from error
            state = os.fstat(descriptor)
            if not stat.S_ISREG(state.st_mode) or state.st_nlink > 1:
                os.close(descriptor)
                raise FileFault(_not_a_note(self._path))
            if not _lock(descriptor):
                held_by = os.read(descriptor, 500).decode(errors="replace").strip()
                os.close(descriptor)
                raise FolderInUse(
                    Problem(
                        code="folder_in_use",
                        text=say("This folder is already open: {note}", note=held_by or "?"),
                        mend=say("Use the program that is open, or close it first."),
                        path=str(self._path.parent),
                    )
                )
            if _still_there(descriptor, self._path):
                with suppress(OSError):  # a full disk may have no room for the note
                    os.ftruncate(descriptor, 0)
                    os.write(descriptor, note.encode())
                return descriptor
            os.close(descriptor)  # its holder removed it between our open and our lock


def _not_a_note(path: Path) -> Problem:
    return Problem(
        code="lock_not_a_file",
        text=say("'{name}' is a link or no ordinary file; it is not written over.", name=LOCK_NAME),
        mend=say("Look what it is and move it away, then do this again."),
        path=str(path),
    )


def _still_there(descriptor: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(descriptor), path.lstat())
    except FileNotFoundError:
        return False


if sys.platform == "win32":
    import msvcrt

    def _lock(descriptor: int) -> bool:
        os.lseek(descriptor, _LOCKED_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            os.lseek(descriptor, 0, os.SEEK_SET)
        return True

else:
    import fcntl

    def _lock(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError as error:
            # Some network shares know no locks. It was advice only: the version check before each
            # write does the work.
            return error.errno in _NO_LOCKS
        return True
