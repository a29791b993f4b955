"""One file that was seen in an archive or on a stick, and what it holds once it is read."""

from __future__ import annotations

import os
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from fitcore.disk.session_files import read_regular
from fitcore.merge.found import FileKind, Found, Key, Where, digest_bytes, found_unread, read_found
from fitcore.problems import Problem
from fitcore.record.document import LARGEST_FILE
from fitcore.words import say

if TYPE_CHECKING:
    from pathlib import Path


class Spotted(NamedTuple):
    """One file that was seen.

    An archive has many: texts that files share stand here once, and a tuple is made in a third of
    the time that a frozen class takes.
    """

    kind: FileKind
    name: str
    """Session or laptop id by the file's name; empty where the name is neither."""
    folder: str
    """Where it lies, with the sign at the end that parts it from the file's own name."""
    told_in: str
    """The same as told to people."""
    where: Where
    size: int
    mtime_ns: int
    """0 where nobody asks: on a stick."""
    problem: Problem | None = None
    """Why it is not opened: a link, a device, too big, a name that is none."""
    written: str = ""
    """The file's own name, where that is not the id in small letters and `.toml`."""
    told_as: str = ""
    """What people are told instead of where it lies: where a copy was found that is kept."""

    @property
    def key(self) -> Key:
        """What it is a copy of."""
        return Key(self.kind, self.name)

    @property
    def place(self) -> str:
        """Where it is, as text: paths are dear by the thousand."""
        return self.folder + (self.written or f"{self.name}.toml")

    @property
    def path(self) -> Path:
        """Where it is."""
        from pathlib import Path

        return Path(self.place)

    @property
    def told(self) -> str:
        """As told to people: stick and path in it; of an archive's own file the path there."""
        return self.told_as or self.told_in + (self.written or f"{self.name}.toml")


def spotted_copy(kind: FileKind, name: str, path: Path, told: str) -> Spotted:
    """Return a copy an archive keeps.

    Args:
        kind: what it was found as.
        name: session or laptop id it was found under.
        path: the copy.
        told: where it was found.
    """
    folder = f"{path.parent}{os.sep}"
    return Spotted(kind, name, folder, folder, Where.KEPT, 0, 0, written=path.name, told_as=told)


def read_spotted(spotted: Spotted) -> tuple[Found, bytes | None]:
    """Read a file that was seen.

    Returns:
        What it holds, and its bytes; None where it is not opened or cannot be read.
    """
    misnamed = spotted.problem if _is_about_name(spotted.problem) else None
    unopened = spotted.problem if misnamed is None else None
    raw = unopened or read_regular(spotted.place)
    if isinstance(raw, Problem):
        return _unopened(spotted, raw), None
    if len(raw) > LARGEST_FILE:
        return _unopened(spotted, too_big()), None
    if misnamed is not None:
        digest = digest_bytes(raw)
        found = found_unread(misnamed, path=spotted.told, digest=digest, where=spotted.where)
        return replace(found, kind=spotted.kind), raw
    found = read_found(
        raw, path=spotted.told, name=spotted.name, kind=spotted.kind, where=spotted.where
    )
    return found, raw


def _is_about_name(problem: Problem | None) -> bool:
    """Whether only a file's name is wrong: then its bytes are copied like any others."""
    return problem is not None and problem.code in ("name_mismatch", "bad_session_id")


def _unopened(spotted: Spotted, problem: Problem) -> Found:
    # Without bytes it is told apart by where it was and why: it is listed once, and not again.
    digest = digest_bytes(f"{problem.code}\n{spotted.told}".encode(errors="surrogateescape"))
    found = found_unread(
        problem, path=spotted.told, digest=digest, name=spotted.name, where=spotted.where
    )
    return replace(found, kind=spotted.kind)


def not_a_file() -> Problem:
    """Say that it is no ordinary file."""
    return Problem(
        code="not_a_regular_file",
        text=say("This is a link or a device, not an ordinary file."),
        mend=say("Copy the files themselves onto the stick."),
    )


def too_big() -> Problem:
    """Say that no file of ours is so large."""
    return Problem(
        code="too_big",
        text=say("The file has more than {most} bytes, and no more are read.", most=LARGEST_FILE),
        mend=say("It is left where it is and not copied. No session is so large."),
    )


def unreadable(error: OSError) -> Problem:
    """Say that it cannot be looked at or read."""
    return Problem(
        code="unreadable_io",
        text=say("The file cannot be read: {error}.", error=error.strerror or str(error)),
        mend=say("Copy it from where it came from again."),
    )
