"""The sessions of one month in one folder, filed as a program files them: the many.

An archive has thousands of them and nearly all stay as they are. So they are only named and packed
here, and become files of their own where somebody must look at one.
"""

from __future__ import annotations

import stat
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.disk.session_files import SESSION_FILE, ids_of_month
from fitcore.disk.spotted import Spotted
from fitcore.merge.found import FileKind, Where
from fitcore.record.document import LARGEST_FILE

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable

_ENDING = len(".toml")


@dataclass(frozen=True, slots=True)
class Month:
    """What lies in one such folder under its own name."""

    name: str
    """The folder's own, such as `2026-03`."""
    folder: str
    """Where it is, with the sign at the end that parts it from the names in it."""
    told_in: str
    """The same as told to people."""
    where: Where
    packed_names: str
    packed_stamps: str
    """Of an archive's files; empty of a stick's, whose times nobody trusts."""

    @property
    def names(self) -> list[str]:
        """Ids of the sessions, in any order."""
        return self.packed_names.split("\n")

    @property
    def stamps(self) -> dict[str, str]:
        """Id to stamp: by what a file of an archive is known again."""
        return dict(zip(self.names, self.packed_stamps.split("\n"), strict=True))

    def file(self, name: str, stamp: str = "") -> Spotted:
        """Return the file of one of its sessions.

        Args:
            name: the session's id.
            stamp: the file's stamp; empty where nobody asks for its size and time.
        """
        size, time = read_stamp(stamp) if stamp else (0, 0)
        return Spotted(FileKind.SESSION, name, self.folder, self.told_in, self.where, size, time)


def read_stamp(stamp: str) -> tuple[int, int]:
    """Return the size and the time in ns a stamp holds."""
    size, _, time = stamp.partition(" ")
    return int(size), int(time)


def take_month(
    entries: Iterable[os.DirEntry[str]], name: str, folders: tuple[str, str], where: Where
) -> tuple[Month | None, list[os.DirEntry[str]]]:
    """Part what lies in a folder into its month's sessions, and what must be looked at one by one.

    Args:
        entries: what lies in it.
        name: the folder's own name.
        folders: where it is, and the same as told to people, each with the sign at the end.
        where: archive or stick.

    Returns:
        The month, None where there is no such session; and the others, in the order they came.
    """
    first, past = ids_of_month(name) or ("", "")
    look = _stamp if where is Where.ARCHIVE else _plain
    names, stamps, rest = [], [], []
    for entry in entries:
        written = entry.name
        if first <= written < past and SESSION_FILE.fullmatch(written):
            stamp = look(entry)
            if stamp is not None:
                names.append(written[:-_ENDING])
                stamps.append(stamp)
                continue
        rest.append(entry)
    if not names:
        return None, rest
    packed = "\n".join(stamps) if where is Where.ARCHIVE else ""
    return Month(name, *folders, where, "\n".join(names), packed), rest


def _stamp(entry: os.DirEntry[str]) -> str | None:
    """Return the stamp of an ordinary file that is not too big; None of any other."""
    try:
        state = entry.stat(follow_symlinks=False)
    except OSError:
        return None
    is_plain = stat.S_ISREG(state.st_mode) and state.st_size <= LARGEST_FILE
    return f"{state.st_size} {state.st_mtime_ns}" if is_plain else None


def _plain(entry: os.DirEntry[str]) -> str | None:
    """Return no stamp of an ordinary file, None of any other: most systems know without looking."""
    try:
        return "" if entry.is_file(follow_symlinks=False) else None
    except OSError:
        return None
