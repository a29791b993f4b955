"""Invented sessions put into a data folder's files as a laptop would, for tests of what reads them.

Their files are old by their own times: a folder that nobody has written to lately.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from fitcore.disk import session_book
from fitcore.disk.session_book import look_through
from fitcore.disk.session_files import find_session_files, read_session_file, session_path
from fitcore.identity import make_uuid7
from fitcore.record.codec import write_session

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

    from fitcore.disk.session_book import SessionBook
    from fitcore.disk.session_files import SessionFile
    from fitcore.record.session import Session

SECOND = 1_000_000_000
WRITTEN_NS = int(datetime(2026, 3, 4, 9, 30, tzinfo=UTC).timestamp()) * SECOND
"""When files of these tests were written, unless a test says otherwise."""
LOOKED_NS = WRITTEN_NS + 3600 * SECOND
"""When a folder is looked at: an hour later."""


def id_at(at: datetime, number: int = 0) -> str:
    """Return a session id drawn at an instant."""
    return make_uuid7(int(at.timestamp() * 1000), f"drawn{number:05}".encode())


def id_of(number: int) -> str:
    """Return the id of an invented session: the higher its number the later, a day between."""
    return id_at(datetime(2026, 1, 20, tzinfo=UTC) + timedelta(days=number), number)


def put(folder: Path, session: Session, *, month: str = "", at_ns: int = WRITTEN_NS) -> Path:
    """Write a session's file; in another month's folder than its own where one is named."""
    path = session_path(folder, session.id)
    if month:
        path = path.parent.parent / month / path.name
    return put_bytes(path, write_session(session).encode(), at_ns=at_ns)


def put_bytes(path: Path, raw: bytes, *, at_ns: int = WRITTEN_NS) -> Path:
    """Write a file as it is; return its path."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(raw)
    os.utime(path, ns=(at_ns, at_ns))
    return path


def put_all(folder: Path, *sessions: Session) -> SessionBook:
    """Write sessions, and look at the folder for the first time."""
    for session in sessions:
        put(folder, session)
    return look_through(folder, None, LOOKED_NS)


def watch_opens(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return a list that grows by a file's name whenever a look at a folder opens it."""
    opened: list[str] = []
    real = session_book.read_regular

    def read(path: Path) -> object:
        opened.append(path.name)
        return real(path)

    monkeypatch.setattr(session_book, "read_regular", read)
    return opened


def watch_reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return a list that grows by a session's id whenever a book parses its file."""
    read: list[str] = []
    real = session_book.read_session_file

    def parse(path: Path) -> object:
        read.append(path.stem)
        return real(path)

    monkeypatch.setattr(session_book, "read_session_file", parse)
    return read


def read_all(folder: Path) -> list[SessionFile]:
    """Read every session file of a folder, parsed."""
    return [read_session_file(path) for path in find_session_files(folder)]
