"""The sessions of a data folder: a glance at each, and those read that somebody asks for.

A folder may hold very many, and nobody can hold them all read. Unchanged files are not opened
again; what was read lies in memory alone, for it tells codes and times. Reads only; takes no lock.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from fitcore.disk.session_files import (
    SESSION_FILE,
    has_month,
    read_regular,
    read_session_file,
    session_month,
    tells_changes,
)
from fitcore.problems import Problem
from fitcore.record.glance import glance_of, quick_glance

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping
    from pathlib import Path

    from fitcore.record.glance import Glance
    from fitcore.record.session import Session

_ENDING = len(".toml")


class Filed(NamedTuple):
    """One session file as it was seen last."""

    folder: str
    """Name of the folder below `sessions` it lies in."""
    size: int
    mtime_ns: int
    read_ns: int
    glance: Glance | None
    """None where it holds no session that can be read."""

    def is_still(self, other: Filed) -> bool:
        """Whether it is surely the file that was seen before."""
        same = self[:3] == other[:3]
        return same and tells_changes(other.mtime_ns, other.read_ns)


@dataclass(frozen=True)
class SessionBook:
    """What a folder held when it was looked at."""

    root: Path
    """The data folder."""
    files: Mapping[str, Filed] = field(default_factory=dict)
    """By session id, sorted."""
    unread: int = 0
    """Files that hold no session that can be read, and folders that cannot be looked into."""

    @cached_property
    def glances(self) -> Mapping[str, Glance]:
        """What is known of each session, by id, sorted."""
        found = ((name, file.glance) for name, file in self.files.items())
        return {name: glance for name, glance in found if glance is not None}

    def highest_number(self, laptop: str) -> int:
        """Return the highest entry number of a laptop; 0 where there is none."""
        return max(
            (
                written.highest
                for glance in self.glances.values()
                for written in glance.written
                if written.laptop == laptop
            ),
            default=0,
        )

    def of_codes(self, codes: Collection[str]) -> list[str]:
        """Return the ids of the sessions that stand under any of some codes, sorted."""
        asked = frozenset(codes)
        return [name for name, glance in self.glances.items() if not asked.isdisjoint(glance.codes)]

    def read(self, name: str) -> Session | None:
        """Read one of the sessions; None where it cannot be read any more."""
        filed = self.files.get(name)
        if filed is None:
            return None
        return read_session_file(self.root / "sessions" / filed.folder / f"{name}.toml").session

    def read_each(self, names: Iterable[str]) -> Iterator[Session]:
        """Yield some of the sessions, read as they are asked for."""
        return (session for session in map(self.read, names) if session is not None)

    def with_session(self, session: Session) -> SessionBook:
        """Return the same with one session as it is now, which is looked at again next time."""
        known = self.files.get(session.id)
        folder = known.folder if known is not None else session_month(session.id)
        filed = Filed(folder, 0, 0, 0, glance_of(session))
        files = {**self.files, session.id: filed}
        if known is None:
            files = dict(sorted(files.items()))
        was_unread = known is not None and known.glance is None
        return replace(self, files=files, unread=self.unread - was_unread)


def look_through(root: Path, before: SessionBook | None, now_ns: int) -> SessionBook:
    """Look at a data folder's sessions.

    Args:
        root: the data folder.
        before: what was known of it; None where nothing was.
        now_ns: the present instant in ns, from the caller's clock.
    """
    known = before.files if before is not None else {}
    files: dict[str, Filed] = {}
    top = _scan(root / "sessions")
    months = sorted(e.name for e in top or () if e.is_dir(follow_symlinks=False))
    unread = int(top is None)
    for month in months:
        entries = _scan(root / "sessions" / month)
        unread += entries is None
        for entry in entries or ():
            if not SESSION_FILE.fullmatch(entry.name):
                continue
            name = entry.name[:-_ENDING]
            filed = _look_at(root, month, entry, known.get(name), now_ns)
            if filed is None:
                continue
            unread += filed.glance is None
            # Of two files of one session the one that can be read counts, and the one that lies
            # where it belongs: the other was copied there by hand.
            other = files.get(name)
            if other is None or _rank(filed, name) >= _rank(other, name):
                files[name] = filed
    return SessionBook(root, dict(sorted(files.items())), unread)


def _rank(filed: Filed, name: str) -> tuple[bool, bool]:
    is_at_home = has_month(name) and filed.folder == session_month(name)
    return filed.glance is not None, is_at_home


def _look_at(
    root: Path, month: str, entry: os.DirEntry[str], last: Filed | None, now_ns: int
) -> Filed | None:
    """Look at one file, again only where it may have changed; None where it is gone by now."""
    try:
        state = entry.stat(follow_symlinks=False)
    except FileNotFoundError:
        return None
    except OSError:
        return Filed(month, 0, 0, 0, None)
    filed = Filed(month, state.st_size, state.st_mtime_ns, now_ns, None)
    if last is not None and filed.is_still(last):
        return last
    return filed._replace(glance=_glance(root, month, entry.name[:-_ENDING]))


def _scan(folder: Path) -> list[os.DirEntry[str]] | None:
    """Return what lies in a folder; nothing where there is none, None where it cannot be read."""
    try:
        with os.scandir(folder) as entries:
            return list(entries)
    except (FileNotFoundError, NotADirectoryError):
        return []
    except OSError:
        return None


def _glance(root: Path, folder: str, name: str) -> Glance | None:
    path = root / "sessions" / folder / f"{name}.toml"
    raw = read_regular(path)
    if isinstance(raw, Problem):
        return None
    glance = quick_glance(raw)
    if glance is not None:
        return glance if glance.id == name else None
    session = read_session_file(path).session
    return glance_of(session) if session is not None else None
