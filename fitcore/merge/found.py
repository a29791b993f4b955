"""Files as they were found in an archive or on a stick: what each holds, whatever its bytes are."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from hashlib import blake2b
from typing import TYPE_CHECKING

from fitcore.problems import Problem
from fitcore.record.codec import read_session
from fitcore.record.ledger import Ledger, read_ledger
from fitcore.record.session import Seal, Session
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.record.entries import Entry

NEWER_FORMAT = "newer_format"
"""Code of the problem that a file was written by a newer program."""


class Where(StrEnum):
    """Where a file was found."""

    ARCHIVE = "archive"
    """In the archive itself, under the session's or ledger's own name."""
    STICK = "stick"
    """Brought to be merged."""
    KEPT = "kept"
    """A copy the archive set aside earlier; looked at again, not reported again."""


class FileKind(StrEnum):
    """What a file holds by the place it stands in."""

    SESSION = "session"
    LEDGER = "ledger"


@dataclass(frozen=True)
class Found:
    """One file."""

    kind: FileKind
    name: str
    """Session id or laptop id by the file's name; empty where the name is neither."""
    where: Where
    path: str
    """As told to people: stick and path in it."""
    digest: str
    """Of its bytes, 32 hex digits: equal bytes count once."""
    content: Session | Ledger | Problem
    """A problem where it is set aside, or carried because a newer program wrote it."""

    @property
    def key(self) -> Key:
        """What it is a copy of."""
        return Key(self.kind, self.name)

    @property
    def is_newer(self) -> bool:
        """Whether a newer program wrote it: carried as it is."""
        return isinstance(self.content, Problem) and self.content.code == NEWER_FORMAT

    @property
    def is_whole(self) -> bool:
        """Whether its lines are still exactly what a program wrote."""
        return not isinstance(self.content, Problem) and self.content.seal is Seal.WHOLE

    @property
    def entries(self) -> frozenset[Entry]:
        """Its entries; none where it cannot be read."""
        return frozenset() if isinstance(self.content, Problem) else self.content.entries


@dataclass(frozen=True, slots=True, order=True)
class Key:
    """What copies are copies of: one session, or one laptop's ledger."""

    kind: FileKind
    name: str

    @property
    def place(self) -> str:
        """As reports name it: the session's id, or `ledger/<laptop id>`."""
        return self.name if self.kind is FileKind.SESSION else f"ledger/{self.name}"


def read_found(
    raw: bytes,
    *,
    path: str,
    name: str,
    kind: FileKind = FileKind.SESSION,
    where: Where = Where.STICK,
) -> Found:
    """Read a file for a merge; any bytes end in something that can be merged, asked or set aside.

    Args:
        raw: its bytes.
        path: as told to people: stick and path in it.
        name: session id or laptop id by the file's name.
        kind: what it must hold by the place it stands in.
        where: where it was found.
    """
    content: Session | Ledger | Problem
    if kind is FileKind.SESSION:
        session, problems = read_session(raw)
        content = session if session is not None else problems[0]
        own = session.id if session is not None else name
    else:
        ledger, problems = read_ledger(raw)
        content = ledger if ledger is not None else problems[0]
        own = ledger.laptop if ledger is not None else name
    if own != name:
        content = Problem(
            code="name_mismatch",
            text=say("The file is named '{name}' and holds '{own}'.", name=name[:60], own=own),
            mend=say("Ask for the file again from the laptop that wrote it."),
        )
    return Found(kind, name, where, path, digest_bytes(raw), content)


def found_unread(
    problem: Problem, *, path: str, digest: str, name: str = "", where: Where = Where.STICK
) -> Found:
    """Return a file that could not be read, is no regular file, or has a name that is none."""
    return Found(FileKind.SESSION, name, where, path, digest, problem)


def digest_bytes(raw: bytes) -> str:
    """Return the digest a file's bytes are told apart by: BLAKE2b, 128 bit, 32 hex digits."""
    return blake2b(raw, digest_size=16).hexdigest()
