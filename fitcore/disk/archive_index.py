"""The memory of an archive: what each sealed file comes to, so that unchanged ones are not parsed.

A SQLite file in the cache folder, never in the data folder. It only saves work: deleted, damaged or
out of date, the next merge reads the files themselves and gives the same result.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass
from hashlib import blake2b
from typing import TYPE_CHECKING, Any

from fitcore.merge.gaps import Numbers
from fitcore.merge.ranges import Ranges

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

VERSION = 1
"""Rises whenever what is remembered, or how questions are found, changes."""

_RACY_NS = 2_000_000_000
"""A file written less than this before it was noted may have changed within its own time step."""
_COLUMNS = "path, size, mtime_ns, noted_ns, digest, entries, conflicts, numbers"


@dataclass(frozen=True, slots=True)
class Facts:
    """What one sealed file of the archive comes to."""

    digest: str
    entries: int
    conflicts: int
    """Open questions in it."""
    numbers: Numbers


@dataclass(frozen=True, slots=True)
class Remembered:
    """Facts of a file, and by what it is known again."""

    size: int
    mtime_ns: int
    noted_ns: int
    facts: Facts

    def is_still(self, size: int, mtime_ns: int) -> bool:
        """Whether a file of this size and time is surely the one that was noted."""
        same = (self.size, self.mtime_ns) == (size, mtime_ns)
        return same and self.mtime_ns + _RACY_NS < self.noted_ns


def index_path(cache_folder: Path, archive: Path) -> Path:
    """Return where an archive's memory is kept: one file for each folder."""
    name = blake2b(str(archive.resolve()).encode(errors="surrogateescape"), digest_size=8)
    return cache_folder / "archives" / f"{name.hexdigest()}-{VERSION}.sqlite"


def read_index(path: Path) -> dict[str, Remembered]:
    """Read the memory; empty where there is none or it cannot be trusted.

    Returns:
        The file's path in the archive to what is remembered of it.
    """
    if not path.is_file():
        return {}
    found = {}
    try:
        with closing(sqlite3.connect(path)) as database:
            for row in database.execute(f"SELECT {_COLUMNS}, digest_of_row FROM files"):  # noqa: S608
                remembered = _read_row(row)
                if remembered is not None:
                    found[row[0]] = remembered
    except (sqlite3.Error, OSError):
        return {}
    return found


def write_index(path: Path, files: Mapping[str, Remembered]) -> None:
    """Write the memory anew; where that fails there is none."""
    temporary = path.with_name(f".{path.name}.tmp")
    with suppress(sqlite3.Error, OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary.unlink(missing_ok=True)
        with closing(sqlite3.connect(temporary)) as database:
            database.execute("PRAGMA journal_mode = OFF")
            database.execute("PRAGMA synchronous = OFF")
            database.execute(f"CREATE TABLE files ({_COLUMNS}, digest_of_row)")
            database.executemany(
                f"INSERT INTO files VALUES ({', '.join('?' * 9)})",  # noqa: S608 - our own words
                (_row(name, remembered) for name, remembered in files.items()),
            )
            database.commit()
        temporary.replace(path)


def _row(path: str, remembered: Remembered) -> tuple[object, ...]:
    facts = remembered.facts
    row = (
        path,
        remembered.size,
        remembered.mtime_ns,
        remembered.noted_ns,
        facts.digest,
        facts.entries,
        facts.conflicts,
        _write_numbers(facts.numbers),
    )
    return (*row, _digest(row))


def _read_row(row: tuple[Any, ...]) -> Remembered | None:
    # Each row carries its own digest: a disk that turned a bit must not become a wrong report.
    *values, digest = row
    if digest != _digest(values):
        return None
    _, size, mtime_ns, noted_ns, file_digest, entries, conflicts, numbers = values
    facts = Facts(file_digest, entries, conflicts, _read_numbers(numbers))
    return Remembered(size, mtime_ns, noted_ns, facts)


def _digest(values: Iterable[object]) -> str:
    return blake2b(repr(tuple(values)).encode(), digest_size=8).hexdigest()


def _write_numbers(numbers: Numbers) -> str:
    parts = (numbers.used, numbers.twice, numbers.excused, numbers.waiting)
    spans = [{name: ranges.spans for name, ranges in sorted(part.items())} for part in parts]
    return json.dumps([*spans, dict(sorted(numbers.told.items()))], separators=(",", ":"))


def _read_numbers(text: str) -> Numbers:
    *parts, told = json.loads(text)
    used, twice, excused, waiting = (
        {name: Ranges(tuple((low, high) for low, high in spans)) for name, spans in part.items()}
        for part in parts
    )
    return Numbers(used, twice, excused, waiting, told)
