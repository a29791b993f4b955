"""What lies in an archive or on a stick: every file a merge must look at, none of it read yet.

A stick is a data folder, or holds `from-<laptop id>/` and `to-laptops/`, each of which is one.
Links are never followed, devices never opened: a stick from outside could point anywhere.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitcore.disk.session_files import SESSION_FILE, read_regular, session_month, session_path
from fitcore.identity import LAPTOP_ID
from fitcore.merge.found import FileKind, Found, Key, Where, digest_bytes, found_unread, read_found
from fitcore.problems import FileFault, Problem
from fitcore.record.document import LARGEST_FILE
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SESSIONS, LEDGERS, SET_ASIDE = "sessions", "ledger", "set-aside"
TO_LAPTOPS = "to-laptops"
"""The folder of a stick that only the coordinator writes."""

_FROM_LAPTOP = re.compile(rf"from-{LAPTOP_ID.pattern}", re.IGNORECASE)
_DEEPEST = 3
"""Folders below `sessions` that are looked into; ours file one deep."""


@dataclass(frozen=True, slots=True)
class Spotted:
    """One file that was seen."""

    kind: FileKind
    name: str
    """Session or laptop id by the file's name; empty where the name is neither."""
    path: Path
    told: str
    """As told to people: stick and path in it."""
    where: Where
    size: int
    mtime_ns: int
    problem: Problem | None = None
    """Why it is not opened: a link, a device, too big, a name that is none."""

    @property
    def key(self) -> Key:
        """What it is a copy of."""
        return Key(self.kind, self.name)


def folders_of_stick(stick: Path) -> list[Path]:
    """Return the data folders on a stick, itself first; those that hold nothing included."""
    below = sorted(
        entry.name
        for entry in _scan(stick)
        if entry.is_dir(follow_symlinks=False)
        and (_FROM_LAPTOP.fullmatch(entry.name) or entry.name.casefold() == TO_LAPTOPS)
    )
    return [stick, *(stick / name for name in below)]


def spot_stick(stick: Path) -> list[Spotted]:
    """Return the session and ledger files of all data folders on a stick."""
    found = [_odd_folder(entry) for entry in _scan(stick) if _is_linked_folder(entry)]
    for folder in folders_of_stick(stick):
        found += spot_folder(folder, Where.STICK)
        # Files somebody copied by hand beside the folders are taken as well.
        loose = (entry for entry in _scan(folder) if SESSION_FILE.fullmatch(entry.name.casefold()))
        found += [_spot(entry, FileKind.SESSION, Where.STICK, entry.path) for entry in loose]
    return found


def spot_folder(folder: Path, where: Where) -> list[Spotted]:
    """Return the session and ledger files of one data folder, by kind and path.

    Of an archive, a copy filed elsewhere than where its session belongs counts as brought: it is
    joined, and stays where it is.
    """
    found = []
    for kind, name in ((FileKind.SESSION, SESSIONS), (FileKind.LEDGER, LEDGERS)):
        root = folder / name
        if where is Where.STICK and root.is_symlink():
            continue  # told of by whoever looked at the folder above
        below = len(os.fspath(root)) + 1
        for entry in _files_below(root, _DEEPEST if kind is FileKind.SESSION else 1):
            told = entry.path
            if where is Where.ARCHIVE:
                told = f"{name}/{entry.path[below:].replace(os.sep, '/')}"
            spotted = _spot(entry, kind, where, told)
            if where is Where.ARCHIVE and not _is_filed(spotted, entry.path[below:]):
                spotted = replace(spotted, where=Where.STICK)
            found.append(spotted)
    return found


def place_of(folder: Path, key: Key) -> Path:
    """Return where a data folder keeps a session or a ledger.

    Raises:
        FileFault: the session's id has no month of the calendar in it.
    """
    if key.kind is FileKind.SESSION:
        return session_path(folder, key.name)
    return folder / LEDGERS / f"{key.name}.toml"


def read_spotted(spotted: Spotted) -> tuple[Found, bytes | None]:
    """Read a file that was seen.

    Returns:
        What it holds, and its bytes; None where it is not opened or cannot be read.
    """
    misnamed = spotted.problem if _is_about_name(spotted.problem) else None
    unopened = spotted.problem if misnamed is None else None
    raw = unopened or read_regular(spotted.path)
    if isinstance(raw, Problem):
        return _unopened(spotted, raw), None
    if len(raw) > LARGEST_FILE:
        return _unopened(spotted, _too_big(len(raw))), None
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


def _is_filed(spotted: Spotted, below: str) -> bool:
    """Whether a file lies where it belongs, or has a problem of its own.

    Args:
        spotted: the file.
        below: its path in the folder of its kind; as text, for paths are dear by the thousand.
    """
    if spotted.problem is not None:
        return True
    place = f"{spotted.name}.toml"
    if spotted.kind is FileKind.SESSION:
        place = f"{session_month(spotted.name)}{os.sep}{place}"
    return os.path.normcase(below) == os.path.normcase(place)


def _spot(entry: os.DirEntry[str], kind: FileKind, where: Where, told: str) -> Spotted:
    from pathlib import Path

    name, problem = _name(entry.name, kind)
    size = mtime = 0
    try:
        state = entry.stat(follow_symlinks=False)
        size, mtime = state.st_size, state.st_mtime_ns
    except OSError as error:
        problem = _unreadable(error)
    else:
        if not entry.is_file(follow_symlinks=False):
            problem = _not_a_file()
        elif size > LARGEST_FILE:
            problem = _too_big(size)
    return Spotted(kind, name, Path(entry.path), told, where, size, mtime, problem)


def _name(written: str, kind: FileKind) -> tuple[str, Problem | None]:
    """Return the id a file's name holds; FAT may have made its letters capitals."""
    name = written.casefold().removesuffix(".toml")
    if kind is FileKind.LEDGER and LAPTOP_ID.fullmatch(name):
        return name, None
    if kind is FileKind.SESSION and SESSION_FILE.fullmatch(written.casefold()):
        try:
            session_month(name)
        except FileFault as fault:
            return "", fault.problem
        return name, None
    return "", Problem(
        code="name_mismatch",
        text=say("'{name}' is not a name of ours for such a file.", name=written[:60]),
        mend=say("If it is a copy, give it back the name it had, and merge again."),
    )


def _files_below(root: Path | str, depth: int) -> Iterator[os.DirEntry[str]]:
    """Yield what ends in .toml, links and devices too; hidden files are a crash's remains."""
    for entry in _scan(root):
        if entry.name.startswith("."):
            continue
        if entry.is_dir(follow_symlinks=False):
            if depth > 1:
                yield from _files_below(entry.path, depth - 1)
        elif entry.name.casefold().endswith(".toml") or _is_linked_folder(entry):
            yield entry


def _scan(folder: Path | str) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            return sorted(entries, key=lambda entry: entry.name)
    except (FileNotFoundError, NotADirectoryError):
        return []


def _is_linked_folder(entry: os.DirEntry[str]) -> bool:
    ours = entry.name.casefold() in (SESSIONS, LEDGERS, TO_LAPTOPS, SET_ASIDE)
    known = ours or _FROM_LAPTOP.fullmatch(entry.name) or re.fullmatch(r"\d{4}-\d\d", entry.name)
    return bool(known) and entry.is_symlink()


def _odd_folder(entry: os.DirEntry[str]) -> Spotted:
    from pathlib import Path

    path = Path(entry.path)
    return Spotted(FileKind.SESSION, "", path, entry.path, Where.STICK, 0, 0, _not_a_file())


def _not_a_file() -> Problem:
    return Problem(
        code="not_a_regular_file",
        text=say("This is a link or a device, not an ordinary file."),
        mend=say("Copy the files themselves onto the stick."),
    )


def _too_big(size: int) -> Problem:
    return Problem(
        code="too_big",
        text=say(
            "The file has {size} bytes; at most {most} are read.", size=size, most=LARGEST_FILE
        ),
        mend=say("It is left where it is and not copied. No session is so large."),
    )


def _unreadable(error: OSError) -> Problem:
    return Problem(
        code="unreadable_io",
        text=say("The file cannot be read: {error}.", error=error.strerror or str(error)),
        mend=say("Copy it from where it came from again."),
    )
