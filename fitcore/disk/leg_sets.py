"""Reading sets of legs to try a chart on: the shipped made-up one, an archive, a table in CSV.

A table is a measuring sheet as `import` takes it, or has one leg a row with points for headings.
Rows that cannot be read are told with line and why; the others count.
"""

from __future__ import annotations

import csv
import re
from datetime import UTC
from pathlib import Path
from typing import TYPE_CHECKING

from fitcore.clean_text import clean, visible
from fitcore.coverage.leg_set import LegSet, LegValues, SetNotes
from fitcore.disk.profile_reading import profile_bytes, read_profile
from fitcore.disk.session_files import find_session_files, read_session_file
from fitcore.fit import legs_of
from fitcore.identity import EntryId
from fitcore.points import Kind, Point
from fitcore.problems import FileFault, Problem, ReadingError, UnitError
from fitcore.record.edits import draft_reading
from fitcore.record.readings import Adopted, Readings
from fitcore.record.session import Session, join
from fitcore.record.sheet import COLUMNS, Refusal, group_rows, read_sheet, sheet_session_id
from fitcore.shoes import SHOE_SYSTEMS, ShoeSystem, foot_length_mm, parse_shoe_size
from fitcore.units import UNITS, Unit, parse_length
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from fitcore.record.sheet import SheetRow

SYNTHETIC = "synthetic"
ARCHIVE = "archive"
SYNTHETIC_FILE = "synthetic-adults.toml"
LARGEST_TABLE = 64 << 20
"""Bytes; as for a measuring sheet (ours)."""

_LABELS = {"client", "person", "sex", "age", "side", "measurer"}
"""Headings of columns that say whose leg it is; they are passed over without a word."""
_HEADING = re.compile(
    r"(?:(?P<shoe>shoe) (?P<system>{systems})|(?P<point>{points})(?: (?P<kind>girth|length))?"
    r"(?: (?P<unit>{units}))?)".format(
        systems="|".join(SHOE_SYSTEMS),
        points="|".join(sorted((point.value.casefold() for point in Point), key=len, reverse=True)),
        units="|".join(UNITS),
    )
)
_POINTS = {point.value.casefold(): point for point in Point}


class _Column:
    """What one column of a table with headings holds."""

    def __init__(self, point: Point, kind: Kind, unit: Unit, system: ShoeSystem | None) -> None:
        self.point, self.kind, self.unit, self.system = point, kind, unit, system

    def read(self, text: str) -> Adopted:
        """Read one cell.

        Raises:
            UnitError: it is neither a length nor a shoe size.
        """
        if self.system is None:
            mm = parse_length(text, self.unit).mm
            return Adopted(self.point, self.kind, mm, 1, None, ())
        size = parse_shoe_size(text, self.system, bounded=False)
        mm = foot_length_mm(size.value, size.system)
        return Adopted(self.point, self.kind, mm, 1, None, (), size.value, size.system)


def load_set(against: str, data: Path) -> LegSet:
    """Load the set a call names.

    Args:
        against: `synthetic`, `archive`, or the path of a table or of a data folder.
        data: the data folder in use; it may hold a `sets/` of its own.

    Raises:
        FileFault: it cannot be read, or there is no such file.
        ReadingError: its headings cannot be used.
    """
    if against == SYNTHETIC:
        return synthetic_set(data)
    if against == ARCHIVE:
        return archive_set(data)
    path = Path(against)
    return archive_set(path) if path.is_dir() else table_set(path)


def synthetic_set(own: Path | None = None) -> LegSet:
    """Load the made-up set: the shipped one, or the one in a data folder's `sets/`.

    Raises:
        FileFault: it is not there, or not as it should be.
    """
    found, problems = profile_bytes("sets", own)
    if SYNTHETIC_FILE not in found:
        missing = Problem(
            code="no_synthetic_set",
            text=say("The synthetic set is not installed."),
            mend=say("Install anklefirst again, or name a table of your own."),
        )
        raise FileFault(problems[0] if problems else missing)
    path, raw = found[SYNTHETIC_FILE]
    notes = read_profile(raw, SetNotes, path)
    if isinstance(notes, tuple):
        raise FileFault(notes[0])
    table = table_set(Path(path).with_suffix(".csv"))
    return LegSet(
        name=notes.name,
        legs=table.legs,
        about=(
            say("SYNTHETIC: nobody in this set is real. {people}", people=notes.people),
            say("Source: {text}", text=notes.source.text),
        ),
        stand_ins={(m.point, m.kind): m.stand_in for m in notes.measures if m.stand_in},
        refused=table.refused,
    )


def archive_set(folder: Path) -> LegSet:
    """Take the values used of every leg in every session of a data folder.

    A client measured twice counts twice: nobody is left out by a clock.
    """
    sessions: dict[str, Session] = {}
    problems: list[Problem] = []
    for path in find_session_files(folder):
        file = read_session_file(path)
        problems += file.problems
        if file.session is not None:
            known = sessions.get(file.session.id)
            sessions[file.session.id] = join(known, file.session) if known else file.session
    legs = legs_of_sessions(sessions.values())
    about = say(
        "Every leg with a reading in {count} sessions of {folder}; a client measured twice counts "
        "twice.",
        count=len(sessions),
        folder=visible(str(folder)),
    )
    return LegSet(say("Own archive"), legs, (about,), problems=tuple(problems))


def legs_of_sessions(sessions: Iterable[Session]) -> tuple[LegValues, ...]:
    """Return the values used of every leg that has any, by session, left first."""
    found: list[LegValues] = []
    for session in sorted(sessions, key=lambda session: session.id):
        readings = Readings(session)
        for side in legs_of(session, readings):
            values = readings.adopted_of_leg(side)
            if values:
                found.append({(value.point, value.kind): value for value in values})
    return tuple(found)


def table_set(path: Path) -> LegSet:
    """Read a table of legs.

    Raises:
        FileFault: it is no text file in UTF-8, or not there.
        ReadingError: its headings cannot be used.
    """
    text = _read_text(path)
    try:
        if _cells(_first_line(text))[: len(COLUMNS)] == list(COLUMNS):
            legs, refused = _long_form(text)
            about: list[str] = []
        else:
            legs, refused, about = _wide_form(text)
    except ReadingError as error:
        raise ReadingError(error.problem.at(path=str(path))) from error
    name = visible(path.name)
    return LegSet(name, legs, tuple(about), refused=tuple(sorted(refused, key=_by_line)))


def _by_line(refusal: Refusal) -> int:
    return refusal.line


def _long_form(text: str) -> tuple[tuple[LegValues, ...], Sequence[Refusal]]:
    """Read a measuring sheet as `import` takes it: the values used are those it would store."""
    rows, refused, _ = read_sheet(text, UTC)
    sessions = [
        _session(sheet_session_id(client, group[0].measured_at, measurer), group)
        for (client, measurer, _), group in group_rows(rows).items()
    ]
    return legs_of_sessions(sessions), refused


def _session(session_id: str, rows: Sequence[SheetRow]) -> Session:
    entries = [
        draft_reading(row.place, row.round, row.typed, row.measured_at, posture=row.posture).entry(
            EntryId("sheet-aaaa", number)
        )
        for number, row in enumerate(rows, 1)
    ]
    return Session(session_id, frozenset(entries))


def _wide_form(text: str) -> tuple[tuple[LegValues, ...], list[Refusal], list[str]]:
    """Read a table with one leg a row; lines that begin with # are passed over."""
    columns: Mapping[int, _Column] = {}
    headings: list[str] = []
    legs: list[LegValues] = []
    refused: list[Refusal] = []
    about: list[str] = []
    separator = ","
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        if not headings:
            separator = max(",;\t", key=line.count)
            headings = _cells(line, separator)
            columns, about = _read_headings(headings, number)
            continue
        cells = _cells(line, separator)
        leg: dict[tuple[Point, Kind], Adopted] = {}
        try:
            if len(cells) != len(headings):
                raise _row_fault(len(cells), len(headings))
            for index, column in columns.items():
                if cells[index]:
                    leg[column.point, column.kind] = column.read(cells[index])
        except (UnitError, ReadingError) as error:
            refused.append(Refusal(number, f"{error.problem.text} {error.problem.mend}"))
            continue
        if leg:
            legs.append(leg)
        else:
            refused.append(Refusal(number, say("The row holds no value.")))
    if not headings:
        _read_headings([], 1)
    return tuple(legs), refused, about


def _read_headings(headings: Sequence[str], line: int) -> tuple[Mapping[int, _Column], list[str]]:
    """Find out what each column holds.

    Raises:
        ReadingError: no column is a point, or two are the same.
    """
    columns: dict[int, _Column] = {}
    passed_over: list[str] = []
    for index, heading in enumerate(headings):
        column = _column(heading)
        if column is not None:
            same = [c for c in columns.values() if (c.point, c.kind) == (column.point, column.kind)]
            if same:
                raise _headings_fault(
                    say("Two columns are '{heading}'.", heading=heading[:40]),
                    say("Keep one of them."),
                    line,
                )
            columns[index] = column
        elif heading.casefold() not in _LABELS:
            passed_over.append(heading[:40])
    if not columns:
        raise _headings_fault(
            say("No heading of this table is a measuring point."),
            say(
                "Head the columns like B, C, G, D length, foot length, shoe eu, with in or mm "
                "behind where it is not cm; or use the sheet that import takes."
            ),
            line,
        )
    if not passed_over:
        return columns, []
    return columns, [say("Columns passed over: {names}.", names=", ".join(passed_over))]


def _column(heading: str) -> _Column | None:
    match = _HEADING.fullmatch(" ".join(heading.casefold().split()))
    if match is None:
        return None
    if match["shoe"]:
        system = next(system for system in SHOE_SYSTEMS if system == match["system"])
        return _Column(Point.FOOT, Kind.SHOE, "cm", system)
    point = _POINTS[match["point"]]
    kind = Kind(match["kind"]) if match["kind"] else None
    unit: Unit = next((unit for unit in UNITS if unit == match["unit"]), "cm")
    usual = Kind.LENGTH if point is Point.FOOT else Kind.GIRTH
    return _Column(point, kind or usual, unit, None)


def _first_line(text: str) -> str:
    lines = (line for line in text.splitlines() if line.strip())
    return next((line for line in lines if not line.lstrip().startswith("#")), "")


def _cells(line: str, separator: str | None = None) -> list[str]:
    chosen = separator or max(",;\t", key=line.count)
    row = next(csv.reader([line], delimiter=chosen), [])
    return [clean(cell).text for cell in row]


def _row_fault(found: int, wanted: int) -> ReadingError:
    text = say("The row has {found} cells, the headings {wanted}.", found=found, wanted=wanted)
    return ReadingError(Problem(code="bad_row", text=text, mend=say("Leave a cell empty instead.")))


def _headings_fault(text: str, mend: str, line: int) -> ReadingError:
    return ReadingError(Problem(code="bad_headings", text=text, mend=mend, line=line))


def _read_text(path: Path) -> str:
    """Read a table's text.

    Raises:
        FileFault: it is not there, or no text file in UTF-8.
    """
    try:
        raw = path.read_bytes() if path.stat().st_size <= LARGEST_TABLE else b"\0"
        text = raw.decode("utf-8-sig")
    except OSError as error:
        words = say("The file cannot be read: {error}.", error=error.strerror)
        mend = say("Check the name and the permissions.")
        raise FileFault(Problem("unreadable_io", words, mend, path=str(path))) from error
    except UnicodeDecodeError as error:
        words = say("The file holds bytes that are not UTF-8 text.")
        line = error.object.count(b"\n", 0, error.start) + 1
        mend = say("Save the table as CSV, UTF-8.")
        raise FileFault(Problem("not_utf8", words, mend, path=str(path), line=line)) from error
    if "\0" in text:
        words = say("This is no table: it holds NUL bytes, or is far too long.")
        mend = say("Save the table as CSV, UTF-8.")
        raise FileFault(Problem("binary", words, mend, path=str(path)))
    return text
