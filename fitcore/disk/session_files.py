"""Finding and reading session files in a data folder or loose. Reads only; takes no lock."""

from __future__ import annotations

import os
import re
import stat
from calendar import monthrange
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from fitcore.identity import SESSION_ID, uuid7_milliseconds
from fitcore.problems import FileFault, Problem
from fitcore.record.codec import read_session
from fitcore.record.document import LARGEST_FILE
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fitcore.record.session import Session

SESSION_FILE = re.compile(rf"{SESSION_ID.pattern}\.toml")

_MILLISECONDS_A_DAY = 86_400_000
_TIME_STEP_NS = 2_000_000_000
_MONTH = re.compile(r"[0-9]{4}-[0-9]{2}")


_OPEN = (
    os.O_RDONLY
    | getattr(os, "O_NOFOLLOW", 0)
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_BINARY", 0)
)
"""No links and no devices: a stick from outside could point anywhere."""


@dataclass(frozen=True, slots=True)
class SessionFile:
    """One session file as it was read."""

    path: Path
    raw: bytes
    session: Session | None
    problems: tuple[Problem, ...]


def session_path(folder: Path, session_id: str) -> Path:
    """Return where a session is filed: by the UTC month in its own time bits.

    Two laptops therefore file a session alike, whatever their clocks say.

    Raises:
        FileFault: the id's time lies beyond the calendar; no program of ours draws such a one.
    """
    return folder / "sessions" / session_month(session_id) / f"{session_id}.toml"


def session_month(session_id: str) -> str:
    """Return the name of the folder a session is filed in, such as `2026-03`.

    Raises:
        FileFault: the id's time lies beyond the calendar; no program of ours draws such a one.
    """
    try:
        if SESSION_ID.fullmatch(session_id):  # a merge asks for thousands
            milliseconds = int(session_id[:8] + session_id[9:13], 16)
        else:
            milliseconds = uuid7_milliseconds(session_id)
        return _month_of_day(milliseconds // _MILLISECONDS_A_DAY)
    except (ValueError, OverflowError) as error:
        raise FileFault(
            Problem(
                code="bad_session_id",
                text=say("'{name}' is not a session id of this program.", name=session_id),
                mend=say("Ask for the file again from the laptop that wrote it."),
                key="session",
            )
        ) from error


def tells_changes(mtime_ns: int, read_ns: int) -> bool:
    """Whether a file's time surely tells a change made after the file was read.

    One written less than two seconds before may change within its own time step, as FAT has it.

    Args:
        mtime_ns: the file's time.
        read_ns: when it was read, or earlier.
    """
    return mtime_ns + _TIME_STEP_NS < read_ns


def has_month(text: str) -> bool:
    """Whether a text is a session id whose time lies in the calendar."""
    try:
        return bool(SESSION_ID.fullmatch(text) and session_month(text))
    except FileFault:
        return False


def ids_of_month(month: str) -> tuple[str, str] | None:
    """Return how the ids of a month's sessions begin: `first <= id < past` holds for them alone.

    Args:
        month: the name of a folder.

    Returns:
        First and past; None where that is no month of the calendar since 1970.
    """
    if not _MONTH.fullmatch(month):
        return None
    year, number = int(month[:4]), int(month[5:])
    if year < 1970 or not 1 <= number <= 12:
        return None
    first = int(datetime(year, number, 1, tzinfo=UTC).timestamp()) * 1000
    return _id_at(first), _id_at(first + monthrange(year, number)[1] * _MILLISECONDS_A_DAY)


def _id_at(milliseconds: int) -> str:
    """Return how an id drawn then begins."""
    digits = f"{milliseconds:012x}"
    return f"{digits[:8]}-{digits[8:]}"


@lru_cache(maxsize=4096)
def _month_of_day(day: int) -> str:
    """Return the month of a day, counted from 1970; the same text for all who ask."""
    return f"{datetime.fromtimestamp(day * _MILLISECONDS_A_DAY // 1000, UTC):%Y-%m}"


def find_session_files(folder: Path) -> Iterator[Path]:
    """Yield a data folder's session files by name; files of other names are passed over."""
    root = folder / "sessions"
    if not root.is_dir():
        return
    months = (entry for entry in root.iterdir() if entry.is_dir() and not entry.is_symlink())
    for month in sorted(months):
        yield from sorted(p for p in month.iterdir() if SESSION_FILE.fullmatch(p.name))


def read_session_file(path: Path) -> SessionFile:
    """Read one file; whatever is wrong with it comes back as problems, never as an error."""
    raw = read_regular(path)
    if isinstance(raw, Problem):
        return SessionFile(path, b"", None, (raw.at(path=str(path)),))
    session, problems = read_session(raw)
    if session is not None and SESSION_FILE.fullmatch(path.name) and path.stem != session.id:
        session = None
        problems = (
            Problem(
                code="name_mismatch",
                text=say("The file's name is not the session it holds."),
                mend=say("Ask for the file again from the laptop that wrote it."),
                key="session",
            ),
        )
    return SessionFile(path, raw, session, tuple(p.at(path=str(path)) for p in problems))


def read_regular(path: Path | str) -> bytes | Problem:
    """Read an ordinary file, at most one byte more than the largest session file."""
    try:
        descriptor = os.open(path, _OPEN)
    except OSError as error:
        return Problem(
            code="unreadable_io",
            text=say("The file cannot be opened: {error}.", error=error.strerror),
            mend=say("Check the name, the stick and the permissions."),
        )
    try:
        state = os.fstat(descriptor)
        if not stat.S_ISREG(state.st_mode):
            return Problem(
                code="not_a_regular_file",
                text=say("This is not an ordinary file."),
                mend=say("Only ordinary files are read as sessions."),
            )
        return _read_at_most(descriptor, LARGEST_FILE + 1, state.st_size + 1)
    except OSError as error:
        return Problem(
            code="unreadable_io",
            text=say("The file cannot be read: {error}.", error=error.strerror),
            mend=say("Copy it from where it came from again."),
        )
    finally:
        os.close(descriptor)


def _read_at_most(descriptor: int, most: int, about: int) -> bytes:
    """Read from a file until it ends or there are `most` bytes.

    Args:
        descriptor: the open file.
        most: bytes to read.
        about: one byte more than it had when it was opened, so that one call reads it whole.
    """
    raw = os.read(descriptor, min(about, most))
    if len(raw) == about - 1:  # as many as it has, and there was room for one more
        return raw
    while len(raw) < most and (more := os.read(descriptor, most - len(raw))):
        raw += more
    return raw
