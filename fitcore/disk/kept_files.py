"""What people are told of files set aside: whose they are, and whether anything is left to do.

Of a file nobody can read, its bytes may still tell the client's code and the laptops. Nothing here
is used as a reading. Reads only.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.disk.archive_scan import SET_ASIDE, folders_of_stick, place_of
from fitcore.disk.session_files import read_regular
from fitcore.disk.set_aside import read_kept
from fitcore.identity import LAPTOP_ID, MOST_CODE_CHARACTERS, SESSION_ID
from fitcore.merge.found import FileKind, Key
from fitcore.problems import FileFault, Problem
from fitcore.record.codec import read_session, seal_problems
from fitcore.record.ledger import Ledger, read_ledger
from fitcore.record.session import Seal, Session
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from fitcore.disk.set_aside import Kept
    from fitcore.merge.report import SetAside
    from fitcore.record.entries import Entry

_SESSION = re.compile(rf'session = "({SESSION_ID.pattern})"')
_CLIENT = re.compile(r'what = "client", is = "([^"\\\r\n]+)"')
_LAPTOP = re.compile(rf'by = "({LAPTOP_ID.pattern}):')
_MOST_TOLD = 4
"""Codes and laptops named of one file; ours, a line holds no more."""


@dataclass(frozen=True, slots=True)
class Whose:
    """Whose a file seems to be, by its bytes alone; nothing where they do not say."""

    session: str = ""
    clients: tuple[str, ...] = ()
    """Sorted."""
    laptops: tuple[str, ...] = ()
    """Sorted."""

    def as_json(self) -> dict[str, object]:
        """Return it as `merge --json` prints it beside a file set aside."""
        return {
            "session": self.session or None,
            "clients": list(self.clients),
            "laptops": list(self.laptops),
        }

    @property
    def words(self) -> str:
        """Whose it is, in words; empty where nothing can be told."""
        clients = ", ".join(self.clients[:_MOST_TOLD])
        laptops = ", ".join(self.laptops[:_MOST_TOLD])
        if clients and laptops:
            return say("client {clients}, laptop {laptops}", clients=clients, laptops=laptops)
        if clients:
            return say("client {clients}", clients=clients)
        return say("laptop {laptops}", laptops=laptops) if laptops else ""


@dataclass(frozen=True, slots=True)
class KeptFile:
    """One file an archive keeps as a copy."""

    digest: str
    reason: str
    """Code of the problem."""
    text: str
    mend: str
    found_in: tuple[str, ...]
    whose: Whose
    is_needless: bool
    """Whether nothing is left to do, see `is_done`."""

    @property
    def told(self) -> str:
        """The name it is told by."""
        return self.found_in[0] if self.found_in else f"{SET_ASIDE}/{self.digest}.copy"

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `verify --json` prints."""
        return {
            "path": self.told,
            "reason": self.reason,
            "text": self.text,
            **self.whose.as_json(),
            "nothing_to_do": self.is_needless,
        }


def kept_files(archive: Path) -> list[KeptFile]:
    """Return the files an archive has set aside, by digest."""
    found = {}
    for kept in read_kept(archive):
        content = kept.found.content
        problem = (
            content
            if isinstance(content, Problem)
            else next(iter(seal_problems(content.seal)), None)
        )
        raw = kept.raw or b""
        found[kept.found.digest] = KeptFile(
            kept.found.digest,
            problem.code if problem is not None else "name_mismatch",
            problem.text if problem is not None else say("It stands in no place of ours."),
            problem.mend if problem is not None else say("Merge again: it can be read now."),
            kept.found_in,
            whose(raw),
            is_done(kept, archive),
        )
    return [found[digest] for digest in sorted(found)]


def bytes_of(file: SetAside, archive: Path) -> bytes:
    """Return the bytes of a file a merge set aside: of its copy, or where it was found."""
    from pathlib import Path

    kept = archive / SET_ASIDE / f"{file.digest}.copy"
    # An archive's own file is told by its path there, one of a stick by its whole path.
    for path in (kept, archive / file.path, Path(file.path)):
        raw = read_regular(path)
        if isinstance(raw, bytes):
            return raw
    return b""


def whose(raw: bytes) -> Whose:
    """Return whose a file seems to be by its bytes, whatever is wrong with it."""
    text = raw.decode(
        "utf-16-le" if raw[1:64:2].count(0) > len(raw[:64]) // 4 else "utf-8", "replace"
    )
    session = _SESSION.search(text)
    codes = {clean(code).text for code in _CLIENT.findall(text)}
    return Whose(
        session[1] if session else "",
        tuple(sorted(code for code in codes if 0 < len(code) <= MOST_CODE_CHARACTERS)),
        tuple(sorted(set(_LAPTOP.findall(text)))),
    )


def is_needless(raw: bytes, folders: Iterable[Path]) -> bool:
    """Whether a copy is whole and every line of it stands in whole files of some data folders."""
    content = _read(raw)
    if content is None or content.seal is not Seal.WHOLE or not content.entries:
        return False
    key = (
        Key(FileKind.SESSION, content.id)
        if isinstance(content, Session)
        else Key(FileKind.LEDGER, content.laptop)
    )
    there: set[Entry] = set()
    for folder in folders:
        if (other := _filed(folder, key)) is not None:
            there |= other.entries
    return content.entries <= there


def is_done(kept: Kept, archive: Path) -> bool:
    """Whether nothing is left to do with what an archive has set aside.

    Every line of it stands in the archive; or it could not be opened or read, and what it was a
    copy of stands in the archive whole. What it may have held beyond that is missing from its
    laptop's numbers, and told there. A newer program's file waits for that program.
    """
    if kept.raw is not None and is_needless(kept.raw, [archive]):
        return True
    is_unread = isinstance(kept.found.content, Problem) and not kept.found.is_newer
    if not (is_unread and kept.found.name) or (kept.raw is not None and _read(kept.raw)):
        return False
    return _filed(archive, kept.found.key) is not None


def _filed(folder: Path, key: Key) -> Session | Ledger | None:
    """Return what a data folder holds whole under a key."""
    try:
        raw = read_regular(place_of(folder, key))
    except FileFault:
        return None
    content = _read(raw) if isinstance(raw, bytes) else None
    return content if content is not None and content.seal is Seal.WHOLE else None


def part_needless(
    files: Sequence[SetAside], archive: Path, sticks: Iterable[Path] = ()
) -> tuple[tuple[SetAside, ...], tuple[SetAside, ...]]:
    """Part what a merge set aside: what somebody must see to, and copies with nothing to do.

    Args:
        files: what was set aside.
        archive: the archive.
        sticks: what is looked at as if it was merged already.
    """
    folders = [archive, *(one for stick in sticks for one in folders_of_stick(stick))]
    needless = [file for file in files if is_needless(bytes_of(file, archive), folders)]
    return tuple(file for file in files if file not in needless), tuple(needless)


def _read(raw: bytes) -> Session | Ledger | None:
    session = read_session(raw)[0]
    return session if session is not None else read_ledger(raw)[0]
