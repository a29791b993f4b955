"""What lies in an archive or on a stick: every file a merge must look at, none of it read yet.

A stick is a data folder, or holds `from-<laptop id>/` and `to-laptops/`, each of which is one.
Links are never followed, devices never opened: a stick from outside could point anywhere.
"""

from __future__ import annotations

import os
import re
import stat
import sys
from functools import partial
from operator import attrgetter
from typing import TYPE_CHECKING

from fitcore.disk.archive_months import take_month
from fitcore.disk.session_files import SESSION_FILE, session_month, session_path
from fitcore.disk.spotted import Spotted, not_a_file, too_big, unreadable
from fitcore.identity import LAPTOP_ID, SESSION_ID
from fitcore.merge.found import FileKind, Key, Where
from fitcore.problems import FileFault, Problem
from fitcore.record.document import LARGEST_FILE
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from fitcore.disk.archive_months import Month

    _Take = Callable[[os.DirEntry[str], list[os.DirEntry[str]]], list[os.DirEntry[str]]]
    """Takes the sessions of a month out of what lies in its folder, and leaves the others."""

SESSIONS, LEDGERS, SET_ASIDE = "sessions", "ledger", "set-aside"
OWN_FOLDERS = frozenset(
    [
        *(SESSIONS, LEDGERS, SET_ASIDE),
        *("charts", "protocols", "rules", "ranges", "swelling", "screening", "pressure"),
        *("illustration", "certainty", "linked", "favourites", "sets"),
    ]
)
"""Folders that may lie in a data folder."""
TO_LAPTOPS = "to-laptops"
"""The folder of a stick that only the coordinator writes."""

_MONTH = re.compile(r"[0-9]{4}-[0-9]{2}")
_FROM_LAPTOP = re.compile(rf"from-{LAPTOP_ID.pattern}", re.IGNORECASE)
_LAPTOP = "laptop.toml"
_DEEPEST = 3
"""Folders below `sessions` that are looked into; ours file one deep."""


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


def unnamed_folders(stick: Path) -> list[Path]:
    """Return the folders beside ours on a stick that look like a laptop's, by name.

    They bear no name a merge looks for, so nothing of them is taken. A stick that cannot be read
    has none; links are never followed.
    """
    return [
        stick / entry.name
        for entry in _scan(stick, [])
        if not entry.name.startswith(".")
        and entry.name.casefold() not in (*OWN_FOLDERS, TO_LAPTOPS)
        and not _FROM_LAPTOP.fullmatch(entry.name)
        and _is_folder(entry)
        and _looks_like_laptops(entry.path)
    ]


def _looks_like_laptops(folder: str) -> bool:
    return any(
        below.name.casefold() == _LAPTOP
        or (below.name.casefold() in (SESSIONS, LEDGERS) and _is_folder(below))
        for below in _unsorted(folder, [])
    )


def spot_stick(stick: Path, months: list[Month] | None = None) -> list[Spotted]:
    """Return the session and ledger files of all data folders on a stick.

    A folder that cannot be read is told of like a file: the others are taken all the same.

    Args:
        stick: the stick.
        months: as for `spot_folder`.
    """
    found = [_odd_folder(entry) for entry in _scan(stick, []) if _is_linked_folder(entry)]
    for folder in folders_of_stick(stick):
        # Files somebody copied by hand beside the folders are taken as well.
        loose = (entry for entry in _scan(folder, found) if _is_loose(entry.name.casefold()))
        found += [_spot(entry, FileKind.SESSION, Where.STICK, None) for entry in loose]
        found += spot_folder(folder, Where.STICK, months)
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


def spot_folder(folder: Path, where: Where, months: list[Month] | None = None) -> list[Spotted]:
    """Return the session and ledger files of one data folder, by kind and path.

    Of an archive, a copy filed elsewhere than where its session belongs counts as brought: it is
    joined, and stays where it is.

    Args:
        folder: the data folder.
        where: archive or stick.
        months: takes up the sessions that lie where a program files them, which are not returned
            then; None where all are returned.

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
                found.append(Spotted(kind, "", place, "", where, 0, 0, not_a_file(), written=name))
            continue
        untold = above if where is Where.ARCHIVE else None
        take = None
        if months is not None and kind is FileKind.SESSION:
            take = partial(_take_month, months, where, untold)
        depth = _DEEPEST if kind is FileKind.SESSION else 1
        for entry in _files_below(root, depth, unread, take):
            spotted = _spot(entry, kind, where, untold)
            if where is Where.ARCHIVE and not _is_filed(spotted):
                spotted = spotted._replace(where=Where.STICK)
            found.append(spotted)
    return found


def _take_month(
    months: list[Month],
    where: Where,
    untold: int | None,
    folder: os.DirEntry[str],
    entries: list[os.DirEntry[str]],
) -> list[os.DirEntry[str]]:
    """Add a folder's sessions to the months, and return what else lies in it, by name."""
    place = f"{folder.path}{os.sep}"
    month, rest = take_month(entries, folder.name, (place, _told_in(place, untold)), where)
    if month is not None:
        months.append(month)
    return sorted(rest, key=_by_name)


def _told_in(folder: str, untold: int | None) -> str:
    """Return a folder as told to people: of an archive's its path in it, else where it is."""
    return folder if untold is None else folder[untold:].replace(os.sep, "/")


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


def _is_filed(spotted: Spotted) -> bool:
    """Whether a file of an archive lies where it belongs, or has a problem of its own."""
    if spotted.problem is not None:
        return True
    told, wanted = spotted.told, path_within(spotted.key)
    return told == wanted or os.path.normcase(told) == os.path.normcase(wanted)


def _spot(entry: os.DirEntry[str], kind: FileKind, where: Where, untold: int | None) -> Spotted:
    """Look at one file.

    Args:
        entry: the file.
        kind: what it must hold by the place it stands in.
        where: where it is.
        untold: how much of its path is not told to people; None where all of it is.
    """
    written = entry.name
    name, problem = _name(written, kind)
    size = mtime = 0
    try:
        state = entry.stat(follow_symlinks=False)
        size = state.st_size
        mtime = state.st_mtime_ns if where is Where.ARCHIVE else 0
    except OSError as error:
        problem = unreadable(error)
    else:
        if not stat.S_ISREG(state.st_mode):
            problem = not_a_file()
        elif size > LARGEST_FILE:
            problem = too_big()
    folder = sys.intern(entry.path[: -len(written)])
    told_in = sys.intern(_told_in(folder, untold))
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
    root: Path | str, depth: int, unread: list[Spotted] | None, take: _Take | None = None
) -> Iterator[os.DirEntry[str]]:
    """Yield what may be ours, links and devices too; hidden files are a crash's remains."""
    return _files_among(_scan(root, unread), depth, unread, take)


def _files_among(
    entries: Iterable[os.DirEntry[str]],
    depth: int,
    unread: list[Spotted] | None,
    take: _Take | None = None,
) -> Iterator[os.DirEntry[str]]:
    for entry in entries:
        if entry.name.startswith("."):
            continue
        if _is_folder(entry):
            if take is not None and _MONTH.fullmatch(entry.name):
                rest = take(entry, _unsorted(entry.path, unread))
                yield from _files_among(rest, depth - 1, unread)
            elif depth > 1:
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
    """Return what lies in a folder by name; as for `_unsorted`."""
    return sorted(_unsorted(folder, unread), key=_by_name)


def _unsorted(folder: Path | str, unread: list[Spotted] | None) -> list[os.DirEntry[str]]:
    """Return what lies in a folder; nothing where there is none.

    Args:
        folder: the folder.
        unread: takes up a folder that cannot be read; None where that ends the work.

    Raises:
        FileFault: it cannot be read, and nobody takes that up.
    """
    try:
        with os.scandir(folder) as entries:
            return list(entries)
    except (FileNotFoundError, NotADirectoryError):
        return []
    except OSError as error:
        if unread is None:
            raise FileFault(folder_fault(os.fspath(folder), error)) from error
        unread.append(spot_unread_folder(os.fspath(folder), error))
        return []


_by_name = attrgetter("name")


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
    known = ours or _FROM_LAPTOP.fullmatch(entry.name) or _MONTH.fullmatch(entry.name)
    return bool(known) and entry.is_symlink()


def _odd_folder(entry: os.DirEntry[str]) -> Spotted:
    folder = entry.path[: -len(entry.name)]
    return Spotted(
        FileKind.SESSION, "", folder, folder, Where.STICK, 0, 0, not_a_file(), entry.name
    )
