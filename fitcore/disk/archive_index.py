"""The memory of an archive: what each sealed file comes to, so that unchanged ones are not parsed.

A SQLite file in the cache folder, never in the data folder. It only saves work: deleted, damaged or
out of date, the next merge reads the files themselves and gives the same result. Rows are looked up
as they are asked for and never held all at once.
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass
from hashlib import blake2b
from typing import TYPE_CHECKING, Any
from zlib import crc32

from fitcore.merge.gaps import Numbers
from fitcore.merge.ranges import Ranges

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path
    from types import TracebackType
    from typing import Self

VERSION = 2
"""Rises whenever what is remembered, or how questions are found, changes."""

_RACY_NS = 2_000_000_000
"""A file written less than this before it was noted may have changed within its own time step."""
_COLUMNS = "name, size, mtime_ns, noted_ns, digest, entries, conflicts, numbers, checked"
_TABLE = f"CREATE TABLE files ({_COLUMNS}, PRIMARY KEY (name)) WITHOUT ROWID"
_PUT = f"INSERT OR REPLACE INTO files VALUES ({', '.join('?' * 9)})"  # noqa: S608 - our own words
_AT_ONCE = 500
"""Names in one question to the database, which takes no more than 999."""


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
        same = self.size == size and self.mtime_ns == mtime_ns
        return same and self.mtime_ns + _RACY_NS < self.noted_ns


def index_path(cache_folder: Path, archive: Path) -> Path:
    """Return where an archive's memory is kept: one file for each folder."""
    name = blake2b(str(archive.resolve()).encode(errors="surrogateescape"), digest_size=8)
    return cache_folder / "archives" / f"{name.hexdigest()}-{VERSION}.sqlite"


class Index:
    """The memory while a merge runs. What it notes waits in a database of its own until `save`.

    That database has no name and goes with the program; the memory itself is only ever replaced
    whole, so that a merge that ends early, or another program, never meets a half of it.
    """

    def __init__(self, path: Path | None) -> None:
        """Open it.

        Args:
            path: where it is kept; None where nothing is remembered from merge to merge.
        """
        self._path = path
        self._known: sqlite3.Connection | None = None
        self._noted = sqlite3.connect("", isolation_level=None)
        self._noted.execute("PRAGMA journal_mode = OFF")
        self._noted.execute("PRAGMA synchronous = OFF")
        self._noted.execute(_TABLE)
        with suppress(sqlite3.Error, OSError):
            if path is not None and path.is_file():
                self._known = sqlite3.connect(path, isolation_level=None)

    def __enter__(self) -> Self:
        """Use it until the end of a `with`."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        raised: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Forget what was noted and not saved."""
        self._noted.close()
        self._let_go()

    def look_up(self, names: Sequence[str]) -> dict[str, Remembered]:
        """Return what is remembered of some sessions, by their ids; knowing of none is no fault."""
        found: dict[str, Remembered] = {}
        if self._known is not None:
            try:
                rows = _rows(self._known, names)
                found.update((name, known) for name, known in rows if known is not None)
            except sqlite3.Error:
                self._let_go()
        return found

    def noted(self, names: Sequence[str]) -> dict[str, Remembered]:
        """Return what is remembered of some sessions now: as this merge noted them, or before."""
        found = self.look_up(names)
        with suppress(sqlite3.Error):
            for name, remembered in _rows(self._noted, names):
                if remembered is not None:
                    found[name] = remembered
                else:
                    found.pop(name, None)
        return found

    def note(self, sessions: Mapping[str, Remembered | None]) -> None:
        """Note what some sessions come to, by their ids; None: what was known holds no more."""
        try:
            self._noted.execute("BEGIN")
            self._noted.executemany(_PUT, (_row(*session) for session in sessions.items()))
            self._noted.execute("COMMIT")
        except sqlite3.Error:
            self._path = None  # without room for it nothing of this merge is saved

    def save(self, there: Collection[str]) -> None:
        """Write what was noted, beside what is remembered already; where that fails nothing is.

        Args:
            there: ids of all sessions; what is remembered of others is dropped.
        """
        if self._path is None:
            return
        with suppress(sqlite3.Error, OSError):
            (fresh,) = self._noted.execute("SELECT count(*) FROM files").fetchone()
            if self._known is not None:
                (known,) = self._known.execute("SELECT count(*) FROM files").fetchone()
                if not fresh and known <= len(there):
                    return
        base = self._path if self._known is not None else None
        self._let_go()  # some systems do not replace a file that is open
        if not self._write(base, there):
            self._write(None, there)

    def _write(self, base: Path | None, there: Collection[str]) -> bool:
        """Write it beside itself and put it in its place; whether that was done.

        Args:
            base: what was remembered before; None to begin anew.
            there: as for `save`.
        """
        if self._path is None:
            return False
        temporary = self._path.with_name(f".{self._path.name}.tmp")
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            temporary.unlink(missing_ok=True)
            if base is not None:
                shutil.copyfile(base, temporary)
            with closing(sqlite3.connect(temporary)) as database:
                database.execute("PRAGMA journal_mode = OFF")
                database.execute("PRAGMA synchronous = OFF")
                if base is None:
                    database.execute(_TABLE)
                database.executemany(_PUT, self._noted.execute(f"SELECT {_COLUMNS} FROM files"))  # noqa: S608 - our own words
                (count,) = database.execute("SELECT count(*) FROM files").fetchone()
                if count > len(there):
                    left = set(there)
                    rows = database.execute("SELECT name FROM files").fetchall()
                    gone = [row for row in rows if row[0] not in left]
                    database.executemany("DELETE FROM files WHERE name = ?", gone)
                database.commit()
            temporary.replace(self._path)
        except (sqlite3.Error, OSError):
            return False
        return True

    def _let_go(self) -> None:
        if self._known is not None:
            self._known.close()
            self._known = None


def _rows(
    database: sqlite3.Connection, names: Sequence[str]
) -> Iterator[tuple[str, Remembered | None]]:
    for start in range(0, len(names), _AT_ONCE):
        some = names[start : start + _AT_ONCE]
        marks = ", ".join("?" * len(some))
        asked = f"SELECT {_COLUMNS} FROM files WHERE name IN ({marks})"  # noqa: S608 - our own words
        for row in database.execute(asked, some).fetchall():
            yield row[0], _read_row(row)


def _row(name: str, remembered: Remembered | None) -> tuple[object, ...]:
    if remembered is None:
        return (name, *[None] * 8)
    facts = remembered.facts
    row = (
        name,
        remembered.size,
        remembered.mtime_ns,
        remembered.noted_ns,
        facts.digest,
        facts.entries,
        facts.conflicts,
        _write_numbers(facts.numbers),
    )
    return (*row, _check(row))


def _read_row(row: tuple[Any, ...]) -> Remembered | None:
    # Each row carries its own check: a disk that turned a bit must not become a wrong report.
    if row[8] != _check(row[:8]):
        return None
    _, size, mtime_ns, noted_ns, digest, entries, conflicts, numbers, _ = row
    return Remembered(
        size, mtime_ns, noted_ns, Facts(digest, entries, conflicts, _read_numbers(numbers))
    )


def _check(values: tuple[object, ...]) -> int:
    return crc32(repr(values).encode(errors="surrogatepass"))


def _write_numbers(numbers: Numbers) -> str:
    """Write numbers as text: `tern-k7qd:1-23,25-25 dunlin-m4ex:4-4;;;;tern-k7qd:23`.

    The parts are those of `Numbers`, in order; what is empty at the end is left out.
    """
    parts = [
        " ".join(f"{name}:{_write_ranges(ranges)}" for name, ranges in part.items())
        for part in (numbers.used, numbers.twice, numbers.excused, numbers.waiting)
    ]
    parts.append(" ".join(f"{name}:{number}" for name, number in numbers.told.items()))
    return ";".join(parts).rstrip(";")


def _write_ranges(ranges: Ranges) -> str:
    return ",".join(f"{low}-{high}" for low, high in ranges.spans)


def _read_numbers(text: str) -> Numbers:
    used, *more = text.split(";")
    if not more:  # nearly all
        return Numbers(_read_part(used))
    more += [""] * (4 - len(more))
    told = (laptop.split(":") for laptop in more.pop().split())
    twice, excused, waiting = map(_read_part, more)
    return Numbers(
        _read_part(used), twice, excused, waiting, {name: int(number) for name, number in told}
    )


def _read_part(text: str) -> dict[str, Ranges]:
    found = {}
    for laptop in text.split():
        name, _, ranges = laptop.partition(":")
        spans: Iterable[list[str]] = (span.split("-") for span in ranges.split(",") if span)
        found[name] = Ranges(tuple((int(low), int(high)) for low, high in spans))
    return found
