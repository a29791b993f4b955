"""The memory of an archive: what each sealed file comes to, so that unchanged ones are not parsed.

A SQLite file in the cache folder, never in the data folder. It only saves work: deleted, damaged or
out of date, the next merge reads the files themselves and gives the same result. It holds a row a
month, looked up as it is asked for and never all at once.

What is noted of a file is one line: digest, size, time in ns, entries, open questions, numbers,
parted by spaces. Digest, size and time come first, so that a merge knows a file again by how its
line begins. The time is `-` where it cannot vouch for the file: written just before it was noted,
it may have changed within its own time step.
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass
from hashlib import blake2b
from itertools import groupby
from typing import TYPE_CHECKING
from zlib import crc32

from fitcore import BUILT_ON
from fitcore.disk.session_files import ids_of_month, session_month, tells_changes
from fitcore.merge.gaps import Numbers, Spans

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping
    from pathlib import Path
    from types import TracebackType
    from typing import Self

    from fitcore.merge.ranges import Ranges

VERSION = 3
"""Rises whenever what is remembered changes, between two releases too."""

DIGEST_SIGNS = 32
"""Signs of a digest, which a line begins with."""
_ID_SIGNS = 36
_TABLE = "CREATE TABLE months (month PRIMARY KEY, lines, checked) WITHOUT ROWID"
_PUT = "INSERT OR REPLACE INTO months VALUES (?, ?, ?)"
_NOTES = "CREATE TABLE notes (name PRIMARY KEY, line) WITHOUT ROWID"
_NOTE = "INSERT OR REPLACE INTO notes VALUES (?, ?)"


@dataclass(frozen=True, slots=True)
class Facts:
    """What one sealed file of the archive comes to, and by what it is known again."""

    digest: str
    size: int
    mtime_ns: int
    entries: int
    conflicts: int
    """Open questions in it."""
    numbers: Numbers

    def line(self, noted_ns: int) -> str:
        """Return what is noted of it.

        Args:
            noted_ns: when it was read, or earlier.
        """
        time = self.mtime_ns if tells_changes(self.mtime_ns, noted_ns) else "-"
        counts = f"{self.entries} {self.conflicts}"
        return f"{self.digest} {self.size} {time} {counts} {_write_numbers(self.numbers)}"


@dataclass(frozen=True, slots=True)
class Sums:
    """What the files of some lines come to."""

    rows: list[tuple[str, str, str, str]]
    """Id, size, entries and digest of each, as text."""
    conflicts: int
    numbers: Numbers


def stamped_anew(line: str, stamp: str, noted_ns: int) -> str:
    """Return a line for a file that was read again and is the same, but for its time.

    Args:
        line: what was noted of it.
        stamp: its size and time in ns now, parted by a space.
        noted_ns: when it was read, or earlier.
    """
    digest, _, _, rest = line.split(" ", 3)
    size, time = stamp.split(" ")
    told = time if tells_changes(int(time), noted_ns) else "-"
    return f"{digest} {size} {told} {rest}"


def sum_up(lines: Mapping[str, str]) -> Sums:
    """Add up what was noted of some sessions.

    Args:
        lines: by session id.
    """
    rows, texts, conflicts = [], [], 0
    for name, line in lines.items():
        digest, size, _, entries, open_ones, numbers = line.split(" ", 5)
        rows.append((name, size, entries, digest))
        conflicts += int(open_ones)
        texts.append(numbers)
    return Sums(rows, conflicts, _sum_numbers(texts))


def has_questions(line: str) -> bool:
    """Whether something is open in the session of a line."""
    return line.split(" ", 5)[4] != "0"


def numbers_of(line: str) -> Numbers:
    """Return the numbers a line tells of."""
    return _sum_numbers([line.split(" ", 5)[5]])


def index_path(cache_folder: Path, archive: Path) -> Path:
    """Return where an archive's memory is kept: one file for each folder."""
    name = blake2b(str(archive.resolve()).encode(errors="surrogateescape"), digest_size=8)
    # Another version may find other questions in the same lines.
    return cache_folder / "archives" / f"{name.hexdigest()}-{VERSION}-{BUILT_ON}.sqlite"


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
        self._is_full = False
        """Whether there was no room for a note: then nothing of this merge is saved."""
        self._noted = sqlite3.connect("", isolation_level=None)
        self._noted.execute("PRAGMA journal_mode = OFF")
        self._noted.execute("PRAGMA synchronous = OFF")
        self._noted.execute(_NOTES)
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

    def month(self, month: str) -> dict[str, str]:
        """Return what is remembered of a month's sessions, by id; knowing none is no fault."""
        if self._known is not None:
            try:
                return _read(self._known, month)
            except sqlite3.Error:
                self._let_go()
        return {}

    def month_now(self, month: str) -> dict[str, str]:
        """Return what is remembered of a month as this merge noted it, or else before.

        Nothing where a note found no room: what was known before may hold no more.
        """
        if self._is_full:
            return {}
        lines = self.month(month)
        asked = "SELECT name, line FROM notes WHERE name >= ? AND name < ?"
        with suppress(sqlite3.Error):
            for name, line in self._noted.execute(asked, ids_of_month(month) or ("", "")):
                _change(lines, name, line)
        return lines

    def note(self, sessions: Iterable[tuple[str, str | None]]) -> None:
        """Note the lines of some sessions, by their ids; None: what was known holds no more."""
        try:
            self._noted.execute("BEGIN")
            self._noted.executemany(_NOTE, sessions)
            self._noted.execute("COMMIT")
        except sqlite3.Error:
            self._is_full = True

    def save(self, months: Collection[str]) -> None:
        """Write what was noted, beside what is remembered already; where that fails nothing is.

        Args:
            months: those there are sessions of; what is remembered of others is dropped.
        """
        if self._path is None or self._is_full:
            return
        gone: list[str] = []
        with suppress(sqlite3.Error, OSError):
            (fresh,) = self._noted.execute("SELECT count(*) FROM notes").fetchone()
            if self._known is not None:
                known = self._known.execute("SELECT month FROM months").fetchall()
                gone = [month for (month,) in known if month not in months]
            if not fresh and not gone:
                return
        base = self._path if self._known is not None else None
        self._let_go()  # some systems do not replace a file that is open
        if not self._write(base, gone):
            self._write(None, [])

    def _write(self, base: Path | None, gone: Iterable[str]) -> bool:
        """Write it beside itself and put it in its place; whether that was done.

        Args:
            base: what was remembered before; None to begin anew.
            gone: months to drop.
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
                database.executemany(_PUT, self._changed(database))
                database.executemany(
                    "DELETE FROM months WHERE month = ?", [(month,) for month in gone]
                )
                database.commit()
            temporary.replace(self._path)
            for old in self._path.parent.glob(f"{self._path.name.partition('-')[0]}-*.sqlite"):
                if old != self._path:  # of an older version of this program
                    old.unlink()
        except (sqlite3.Error, OSError):
            return False
        return True

    def _changed(self, database: sqlite3.Connection) -> Iterator[tuple[str, str, int]]:
        """Yield the rows of the months something was noted of; ids sort by their time."""
        notes = self._noted.execute("SELECT name, line FROM notes ORDER BY name")
        for month, some in groupby(notes, lambda note: session_month(note[0])):
            lines = _read(database, month)
            for name, line in some:
                _change(lines, name, line)
            text = "\n".join(f"{name} {line}" for name, line in sorted(lines.items()))
            yield month, text, _check(month, text)

    def _let_go(self) -> None:
        if self._known is not None:
            self._known.close()
            self._known = None


def _change(lines: dict[str, str], name: str, line: str | None) -> None:
    if line is None:
        lines.pop(name, None)
    else:
        lines[name] = line


def _read(database: sqlite3.Connection, month: str) -> dict[str, str]:
    row = database.execute("SELECT lines, checked FROM months WHERE month = ?", (month,)).fetchone()
    # Each row carries its own check: a disk that turned a bit must not become a wrong report.
    if row is None or not isinstance(row[0], str) or row[1] != _check(month, row[0]):
        return {}
    return {line[:_ID_SIGNS]: line[_ID_SIGNS + 1 :] for line in row[0].split("\n") if line}


def _check(month: str, lines: str) -> int:
    return crc32(f"{month}\n{lines}".encode(errors="surrogatepass"))


def _write_numbers(numbers: Numbers) -> str:
    """Write numbers as text: `tern-k7qd:1-23,25-25 dunlin-m4ex:4-4;;;;tern-k7qd:23`.

    The parts are those of `Numbers`, in order; what is empty at the end is left out.
    """
    parts = [
        " ".join(f"{name}:{_write_ranges(r)}" for name, r in part.items() if r.spans)
        for part in (numbers.used, numbers.twice, numbers.excused, numbers.waiting)
    ]
    parts.append(" ".join(f"{name}:{number}" for name, number in numbers.told.items()))
    return ";".join(parts).rstrip(";")


def _write_ranges(ranges: Ranges) -> str:
    return ",".join(f"{low}-{high}" for low, high in ranges.spans)


def _sum_numbers(texts: Iterable[str]) -> Numbers:
    """Return what the numbers of some sessions come to together."""
    used, others = Spans(list), (Spans(list), Spans(list), Spans(list))
    told: dict[str, int] = {}
    for text in texts:
        first, *more = text.split(";")
        _add_spans(used, first)
        if more:  # few have any
            for part, found in zip(more[:3], others, strict=False):
                _add_spans(found, part)
            for name, number in (laptop.split(":") for laptop in "".join(more[3:]).split()):
                told[name] = max(told.get(name, 0), int(number))
    return Numbers.of_spans((used, *others), told)


def _add_spans(into: Spans, text: str) -> None:
    for laptop in text.split():
        name, ranges = laptop.split(":")
        for span in ranges.split(","):
            low, high = span.split("-")
            into[name].append((int(low), int(high)))
