"""`manifest.toml`: what a data folder held when its last merge was done. Written last.

So a file that is gone, or that has lost lines, is noticed: a seal tells of changed bytes, only a
list tells of missing ones. Folders of laptops that never merged have none.
"""

from __future__ import annotations

import os
import re
import stat
from contextlib import suppress
from dataclasses import dataclass
from hashlib import blake2b
from io import BytesIO
from typing import TYPE_CHECKING

from fitcore.disk.archive_scan import folders_of_stick
from fitcore.disk.atomic import read_bytes, write_durably
from fitcore.disk.session_files import read_regular
from fitcore.merge.found import digest_bytes
from fitcore.problems import FileFault, Problem, ProblemLevel
from fitcore.record.seal import digest_lines
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

MANIFEST = "manifest.toml"
_LARGEST = 1 << 28
"""Bytes; a list of a million sessions has about 150 MB (ours)."""

_PATH = re.compile(r"[ !#-\[\]-~]+")
"""Paths that are listed; another name could steer what is read back."""
_ROW = re.compile(
    rf'  \{{ path = "({_PATH.pattern})", size = (\d+), entries = (\d+), '
    r'blake2b = "([0-9a-f]{32})" \},'
)
_PARTED = "\x1f"
"""Parts a path from the rest where rows are packed; lower than any sign of a path that is listed,
so that packed rows sort as their paths do."""
_SEAL = re.compile(r'blake2b = "([0-9a-f]{32})"')


@dataclass(frozen=True, slots=True)
class Listed:
    """One file of the list."""

    path: str
    """Relative to the folder, parted by `/`."""
    size: int
    entries: int
    """Lines somebody recorded; they only ever become more. 0 where it is no sealed file."""
    digest: str


class Listing:
    """A list while it is gathered: packed, for an archive has many files."""

    def __init__(self, files: Iterable[Listed] = ()) -> None:
        self._packed: list[str] = []
        self._named: dict[str, str] = {}
        self.add(files)

    def add(self, files: Iterable[Listed]) -> None:
        """Add files, no two of one path."""
        if rows := [_pack(file) for file in files if _PATH.fullmatch(file.path)]:
            self._packed.append("\n".join(rows))

    def add_sessions(self, folder: str, rows: Iterable[tuple[str, str, str, str]]) -> None:
        """Add sessions of one folder, none of them added before.

        Args:
            folder: its path, with the sign at the end.
            rows: id, size, entries and digest of each.
        """
        if packed := [
            f"{folder}{name}.toml{_PARTED}{size} {entries} {digest}"
            for name, size, entries, digest in rows
        ]:
            self._packed.append("\n".join(packed))

    def replace(self, file: Listed) -> None:
        """Add a file that may have been added so before; what is said last holds."""
        if _PATH.fullmatch(file.path):
            self._named[file.path] = _pack(file)

    def take_rows(self) -> list[str]:
        """Return the packed rows, the last path first, and hold none of them any more."""
        rows = [row for some in self._packed for row in some.split("\n")]
        rows += self._named.values()
        self._packed.clear()
        self._named.clear()
        rows.sort(reverse=True)
        return rows


def _pack(file: Listed) -> str:
    return f"{file.path}{_PARTED}{file.size} {file.entries} {file.digest}"


def write_manifest(folder: Path, files: Iterable[Listed] | Listing) -> bytes:
    """Write the list, unless it says so already, and return its bytes.

    Only names a program of ours gives are listed: another name could steer what is read back.

    Raises:
        FileFault: it could not be written.
    """
    rows = (files if isinstance(files, Listing) else Listing(files)).take_rows()
    count = len(rows)
    heading = say("What this folder held when its last merge was done. Written by the program.")
    content = BytesIO()
    content.write(f"# {heading}\nformat = 1\n\nfiles = [\n".encode())
    # As `seal_lines` does, a line at a time, each row let go once it is written: the whole list
    # need not lie in memory twice.
    seal = blake2b(b"format = 1\nfiles = [\n", digest_size=16)
    while rows:
        name, _, rest = rows.pop().partition(_PARTED)
        size, entries, digest = rest.split(" ")
        line = (
            f'{{ path = "{name}", size = {size}, entries = {entries}, blake2b = "{digest}" }},\n'
        ).encode()
        seal.update(line)
        content.write(b"  " + line)
    seal.update(b"]")
    content.write(f']\n\n[seal]\nlines = {count}\nblake2b = "{seal.hexdigest()}"\n'.encode())
    path, raw = folder / MANIFEST, content.getvalue()
    if read_bytes(path) != raw:
        write_durably(path, raw)
    return raw


def read_manifest(folder: Path) -> dict[str, Listed] | Problem | None:
    """Read a folder's list.

    Returns:
        Path to file; a problem where the list is damaged; None where there is none.
    """
    path = folder / MANIFEST
    try:
        state = path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return None
    is_ours = stat.S_ISREG(state.st_mode) and state.st_size <= _LARGEST
    raw = (read_bytes(path) or b"") if is_ours else b""
    rows: list[Listed] = []
    data: list[str] = []
    seal = ""
    for line in raw.decode(errors="replace").replace("\r\n", "\n").split("\n"):
        stripped = line.strip().removeprefix("\ufeff")
        if match := _ROW.fullmatch(line.rstrip()):
            rows.append(Listed(match[1], int(match[2]), int(match[3]), match[4]))
        if match := _SEAL.fullmatch(stripped):
            seal = match[1]
        if stripped and not stripped.startswith(("#", "[seal]", "lines = ", 'blake2b = "')):
            data.append(stripped)
    if digest_lines(data) != seal:
        return Problem(
            code="manifest_damaged",
            text=say("The list of files was changed or breaks off."),
            mend=say("Merge again: the list is written anew. Then run verify."),
            path=str(path),
        )
    return {listed.path: listed for listed in rows}


def unfinished_exports(stick: Path) -> list[Path]:
    """Return the laptops' folders on a stick that were not copied to the end, by name.

    Such a folder has no list of its files yet, or not every file is there as listed. Data folders
    that lie on a stick as they are have no list, and none is missed.
    """
    found = []
    for folder in folders_of_stick(stick):
        if not folder.name.casefold().startswith("from-"):
            continue
        try:
            listed = read_manifest(folder)
        except OSError:
            listed = None  # what cannot be read was perhaps not copied to the end
        if not isinstance(listed, dict) or any(
            digest_bytes(_bytes_at(folder / row.path)) != row.digest for row in listed.values()
        ):
            found.append(folder)
    return found


def _bytes_at(path: Path) -> bytes:
    raw = read_regular(path)
    return raw if isinstance(raw, bytes) else b""


def compare(
    folder: Path, listed: Mapping[str, Listed], found: Mapping[str, Listed]
) -> list[Problem]:
    """Return what a folder's files say against its list, by path.

    A sealed file that only grew since is no fault: somebody went on measuring.

    Args:
        folder: where they are, for the problems' paths.
        listed: what the list says.
        found: what is there.
    """
    problems = []
    for path, before in sorted(listed.items()):
        now = found.get(path)
        if now is not None and now.digest == before.digest:
            continue
        if now is None:
            level, code = ProblemLevel.ERROR, "file_missing"
            text = say("The file was there after the last merge and is gone.")
        elif now.entries < before.entries or not now.entries:
            level, code = ProblemLevel.ERROR, "lines_missing"
            text = _lost_words(before, now)
        else:
            level, code = ProblemLevel.NOTE, "written_since"
            text = say("Not a fault: the program wrote to it since the last merge.")
        mend = (
            say("None is needed.")
            if level is ProblemLevel.NOTE
            else say("Take it from a backup, or merge the laptop's stick again.")
        )
        problems.append(
            Problem(code=code, text=text, mend=mend, path=str(folder / path), level=level)
        )
    return problems


def read_past_cache(path: Path) -> bytes:
    """Read a file from the disk itself where the system lets us.

    Raises:
        FileFault: it cannot be read.
    """
    if hasattr(os, "posix_fadvise"):
        with suppress(OSError):
            descriptor = os.open(path, os.O_RDONLY)
            try:
                os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
            finally:
                os.close(descriptor)
    raw = read_bytes(path)
    if raw is None:
        raise FileFault(
            Problem(
                code="file_missing",
                text=say("The file is not there."),
                mend=say("Leave the stick in and try again."),
                path=str(path),
            )
        )
    return raw


def _lost_words(before: Listed, now: Listed) -> str:
    """Say what is wrong with a file that is not a grown version of what it was.

    Without a seal that holds no line of it is counted: so it is not said that none is left.
    """
    if not now.entries:
        return say(
            "After the last merge it was sealed and held {before} lines; now its seal does not "
            "hold, or it cannot be read.",
            before=before.entries,
        )
    return say(
        "After the last merge it held {before} lines; now it holds {now}.",
        before=before.entries,
        now=now.entries,
    )
