"""What lies in an archive or on a stick: every file a merge must look at, none of it read yet.

A stick is a data folder, or holds `from-<laptop id>/` and `to-laptops/`, each of which is one.
Links are never followed, devices never opened: a stick from outside could point anywhere.
"""

from __future__ import annotations

import os
import re
import stat
import sys
from dataclasses import replace
from operator import attrgetter
from typing import TYPE_CHECKING, NamedTuple

from fitcore.disk.session_files import SESSION_FILE, read_regular, session_month, session_path
from fitcore.identity import LAPTOP_ID, SESSION_ID
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


def folders_of_stick(stick: Path) -> list[Path]:
    """Return the data folders on a stick, itself first; those that hold nothing included.

    Below a stick that cannot be read there is none; `spot_stick` tells of that.
    """
    below = sorted(
        entry.name
        for entry in _scan(stick, [])
        if _is_folder(entry)
        and (_FROM_LAPTOP.fullmatch(entry.name) or entry.name.casefold() == TO_LAPTOPS)
    )
    return [stick, *(stick / name for name in below)]


def spot_stick(stick: Path) -> list[Spotted]:
    """Return the session and ledger files of all data folders on a stick.

    A folder that cannot be read is told of like a file: the others are taken all the same.
    """
    found = [_odd_folder(entry) for entry in _scan(stick, []) if _is_linked_folder(entry)]
    for folder in folders_of_stick(stick):
        # Files somebody copied by hand beside the folders are taken as well.
        loose = (entry for entry in _scan(folder, found) if _is_loose(entry.name.casefold()))
        found += [_spot(entry, FileKind.SESSION, Where.STICK, None) for entry in loose]
        found += spot_folder(folder, Where.STICK)
    return found


def spot_unread_folder(folder: str, error: OSError) -> Spotted:
    """Return a folder of a stick that cannot be read, told of like a file."""
    above, name = os.path.split(folder.rstrip(os.sep))
    above = f"{above.rstrip(os.sep)}{os.sep}"
    problem = Problem(
        code="unreadable_io",
        text=say("The folder cannot be read: {error}.", error=error.strerror or str(error)),
        mend=say("Copy it onto a stick again from where it came from, and merge that stick."),
    )
    return Spotted(FileKind.SESSION, "", above, above, Where.STICK, 0, 0, problem, name)


def spot_folder(folder: Path, where: Where) -> list[Spotted]:
    """Return the session and ledger files of one data folder, by kind and path.

    Of an archive, a copy filed elsewhere than where its session belongs counts as brought: it is
    joined, and stays where it is.

    Raises:
        FileFault: a folder of an archive cannot be read: what it holds must not be taken for gone.
    """
    found: list[Spotted] = []
    unread = found if where is Where.STICK else None
    for kind, name in ((FileKind.SESSION, SESSIONS), (FileKind.LEDGER, LEDGERS)):
        root = folder / name
        above = len(os.fspath(root)) - len(name)
        if is_link(root):
            if where is Where.ARCHIVE:  # of a stick, whoever looked at the folder above tells
                place = os.fspath(root)[:above]
                found.append(Spotted(kind, "", place, "", where, 0, 0, _not_a_file(), written=name))
            continue
        for entry in _files_below(root, _DEEPEST if kind is FileKind.SESSION else 1, unread):
            spotted = _spot(entry, kind, where, above if where is Where.ARCHIVE else None)
            if where is Where.ARCHIVE and not _is_filed(spotted):
                spotted = spotted._replace(where=Where.STICK)
            found.append(spotted)
    return found


def is_link(path: Path | str) -> bool:
    """Whether a link stands there; what cannot be looked at is none."""
    return os.path.islink(path)  # noqa: PTH114 - a path's own method raises without permission


def place_of(folder: Path, key: Key) -> Path:
    """Return where a data folder keeps a session or a ledger.

    Raises:
        FileFault: the session's id has no month of the calendar in it.
    """
    if key.kind is FileKind.SESSION:
        return session_path(folder, key.name)
    return folder / LEDGERS / f"{key.name}.toml"


def path_within(key: Key) -> str:
    """Return where a data folder keeps a session or a ledger: the path in it, parted by `/`.

    Raises:
        FileFault: the session's id has no month of the calendar in it.
    """
    if key.kind is FileKind.SESSION:
        return f"{SESSIONS}/{session_month(key.name)}/{key.name}.toml"
    return f"{LEDGERS}/{key.name}.toml"


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


def _is_filed(spotted: Spotted) -> bool:
    """Whether a file of an archive lies where it belongs, or has a problem of its own."""
    if spotted.problem is not None:
        return True
    told, wanted = spotted.told, path_within(spotted.key)
    return told == wanted or os.path.normcase(told) == os.path.normcase(wanted)


def _spot(entry: os.DirEntry[str], kind: FileKind, where: Where, above: int | None) -> Spotted:
    """Look at one file.

    Args:
        entry: the file.
        kind: what it must hold by the place it stands in.
        where: where it is.
        above: how much of its path is not told to people; None where all of it is.
    """
    written = entry.name
    name, problem = _name(written, kind)
    size = mtime = 0
    try:
        state = entry.stat(follow_symlinks=False)
        size = state.st_size
        mtime = state.st_mtime_ns if where is Where.ARCHIVE else 0
    except OSError as error:
        problem = _unreadable(error)
    else:
        if not stat.S_ISREG(state.st_mode):
            problem = _not_a_file()
        elif size > LARGEST_FILE:
            problem = _too_big(size)
    folder = told_in = sys.intern(entry.path[: -len(written)])
    if above is not None:
        told_in = sys.intern(folder[above:].replace(os.sep, "/"))
    odd = "" if written == f"{name}.toml" else written
    return Spotted(kind, name, folder, told_in, where, size, mtime, problem, odd)


def _name(written: str, kind: FileKind) -> tuple[str, Problem | None]:
    """Return the id a file's name holds; FAT may have made its letters capitals."""
    name = written.casefold().removesuffix(".toml")
    if kind is FileKind.LEDGER and LAPTOP_ID.fullmatch(name):
        return name, None
    if kind is FileKind.SESSION and SESSION_FILE.fullmatch(f"{name}.toml"):
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


def _files_below(
    root: Path | str, depth: int, unread: list[Spotted] | None
) -> Iterator[os.DirEntry[str]]:
    """Yield what may be ours, links and devices too; hidden files are a crash's remains."""
    for entry in _scan(root, unread):
        if entry.name.startswith("."):
            continue
        if _is_folder(entry):
            if depth > 1:
                yield from _files_below(entry.path, depth - 1, unread)
        elif _may_be_ours(entry.name) or _is_linked_folder(entry):
            yield entry


def _is_folder(entry: os.DirEntry[str]) -> bool:
    """Whether it is a folder; what nobody can tell of is looked at as what its name says."""
    try:
        return entry.is_dir(follow_symlinks=False)
    except OSError:
        return not _may_be_ours(entry.name)


def _may_be_ours(written: str) -> bool:
    """Whether a file beside sessions may be one, also where an editor gave it another ending."""
    name = written.casefold()
    return name.endswith((".toml", ".txt")) or ".toml" in name


def _is_loose(name: str) -> bool:
    """Whether a file beside a stick's folders is a session, by its name in small letters."""
    return bool(SESSION_FILE.fullmatch(name)) or (
        _may_be_ours(name) and SESSION_ID.search(name) is not None and not name.startswith(".")
    )


def _scan(folder: Path | str, unread: list[Spotted] | None = None) -> list[os.DirEntry[str]]:
    """Return what lies in a folder by name; nothing where there is none.

    Args:
        folder: the folder.
        unread: takes up a folder that cannot be read; None where that ends the work.

    Raises:
        FileFault: it cannot be read, and nobody takes that up.
    """
    try:
        with os.scandir(folder) as entries:
            return sorted(entries, key=attrgetter("name"))
    except (FileNotFoundError, NotADirectoryError):
        return []
    except OSError as error:
        if unread is None:
            raise FileFault(folder_fault(os.fspath(folder), error)) from error
        unread.append(spot_unread_folder(os.fspath(folder), error))
        return []


def folder_fault(folder: str, error: OSError) -> Problem:
    """Say that a folder of an archive cannot be read."""
    return Problem(
        code="unreadable_io",
        text=say("The folder cannot be read: {error}.", error=error.strerror or str(error)),
        mend=say("Nothing was merged. Mend the folder's permissions or its disk."),
        path=folder,
    )


def _is_linked_folder(entry: os.DirEntry[str]) -> bool:
    ours = entry.name.casefold() in (SESSIONS, LEDGERS, TO_LAPTOPS, SET_ASIDE)
    known = ours or _FROM_LAPTOP.fullmatch(entry.name) or re.fullmatch(r"\d{4}-\d\d", entry.name)
    return bool(known) and entry.is_symlink()


def _odd_folder(entry: os.DirEntry[str]) -> Spotted:
    folder = entry.path[: -len(entry.name)]
    return Spotted(
        FileKind.SESSION, "", folder, folder, Where.STICK, 0, 0, _not_a_file(), entry.name
    )


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
