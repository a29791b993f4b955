"""Reading a measuring sheet in CSV: text in, rows and refusals out. No file is opened here.

A row is refused only when it cannot be read or contradicts itself; an impossible value is kept
and flagged later. Nothing is guessed: what is refused is told with its line and why.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from hashlib import blake2b
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.identity import judge_client_code, make_uuid7
from fitcore.instants import parse_instant, write_instant
from fitcore.points import Kind, Place, Point, Side
from fitcore.problems import FitError, Problem, ReadingError
from fitcore.shoes import SHOE_SYSTEMS, ShoeSize, ShoeSystem, parse_shoe_size
from fitcore.units import UNITS, Unit, parse_length, plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.record.edits import Typed

COLUMNS = (
    "client",
    "measured_at",
    "measurer",
    "side",
    "point",
    "kind",
    "round",
    "value",
    "unit",
    "posture",
    "rising_at",
)
_SAME_READING = ("client", "measurer", "measured_at", "side", "point", "kind")
"""Cells that make two rows readings of one place on one day; the time counts by its day."""
_MAY_BE_EMPTY = {"round", "posture", "rising_at"}
_POSTURES = ("", "standing", "sitting", "lying")

RowKey = tuple[str, str, str, Place, int]
"""Client, local day, measurer, place, round."""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One usable row."""

    line: int
    client: str
    measured_at: datetime
    measurer: str
    place: Place
    round: int
    typed: Typed
    posture: str
    rising_at: datetime | None
    took_zone: bool = False
    """Whether its time had no offset of its own and was taken as of the sheet's zone."""

    @property
    def day(self) -> str:
        """The local day of measuring, ISO."""
        return self.measured_at.date().isoformat()

    @property
    def key(self) -> RowKey:
        """What makes two rows the same reading."""
        return (self.client, self.day, self.measurer, self.place, self.round)

    @property
    def meaning(self) -> tuple[str, str]:
        """What was read, so that `38,5` and `38.5` are the same value."""
        if isinstance(self.typed, ShoeSize):
            return (self.typed.system, plain(self.typed.value))
        return ("mm", plain(self.typed.mm))

    @property
    def digest(self) -> str:
        """Digest of the row's content; equal rows count once, also on two laptops."""
        content = [
            self.client,
            write_instant(self.measured_at),
            self.measurer,
            *(str(part) for part in self.place),
            str(self.round),
            *self.meaning,
        ]
        return blake2b("\x1f".join(content).encode(), digest_size=8).hexdigest()


@dataclass(frozen=True, slots=True)
class Refusal:
    """One row that was not taken."""

    line: int
    why: str

    def as_json(self) -> dict[str, int | str]:
        """Return it in the shape `import --json` prints."""
        return {"line": self.line, "why": self.why}


def sheet_session_id(client: str, day_start: datetime, measurer: str) -> str:
    """Return the session id of a sheet's client, measurer and day.

    Worked out instead of drawn, so that two laptops importing one sheet write one session. The
    UUIDv7's time bits are the start of the day; its random bits are a digest of the three.
    """
    seed = "\x1f".join([client, day_start.date().isoformat(), measurer])
    digest = blake2b(seed.encode(), digest_size=10).digest()
    return make_uuid7(int(day_start.timestamp() * 1000), digest)


def read_sheet(text: str, zone: tzinfo) -> tuple[tuple[SheetRow, ...], tuple[Refusal, ...], int]:
    """Read a sheet in long form.

    Args:
        text: the CSV text; separator comma, semicolon or tab.
        zone: for times without an offset.

    Returns:
        Usable rows in file order with their round filled in (order of appearance where empty),
        refusals, and how many times took `zone`.

    Raises:
        ReadingError: the header is not the one asked for, so no row can be read.
    """
    text = text.removeprefix("\ufeff")
    header_line = text.split("\n", 1)[0]
    separator = max(",;\t", key=header_line.count)
    reader = csv.reader(re.findall(r"[^\n]*\n|[^\n]+", text), delimiter=separator)
    try:
        header = [clean(name).text.casefold() for name in next(reader, [])]
    except csv.Error:  # a cell longer than the reader takes
        header = []
    _judge_header(header)
    rows: list[SheetRow] = []
    refused: list[Refusal] = []
    without_offset = 0
    appeared: dict[tuple[object, ...], int] = {}
    start = reader.line_num + 1
    try:
        for cells in reader:
            line, start = start, reader.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            try:
                _judge_cells(header, cells)
                named = {n: clean(c).text for n, c in zip(header, cells, strict=True)}
                # Counted before the value is judged: a row refused now and mended later must not
                # take another row's place.
                same = tuple(_same_cell(n, named[n]) for n in _SAME_READING)
                appeared[same] = appeared.get(same, 0) + 1
                row, took_zone = _read_row(line, named, zone)
            except FitError as error:
                refused.append(Refusal(line, f"{error.problem.text} {error.problem.mend}"))
                continue
            without_offset += took_zone
            if row.round == 0:
                row = replace(row, round=appeared[same])
            rows.append(row)
    except csv.Error as error:
        refused.append(Refusal(start, say("The table breaks off here: {error}.", error=error)))
    return tuple(rows), tuple(refused), without_offset


def group_rows(rows: Sequence[SheetRow]) -> Mapping[tuple[str, str, str], tuple[SheetRow, ...]]:
    """Group rows into sessions: one per client, measurer and local day, in order of appearance."""
    groups: dict[tuple[str, str, str], list[SheetRow]] = {}
    for row in rows:
        groups.setdefault((row.client, row.measurer, row.day), []).append(row)
    return {key: tuple(group) for key, group in groups.items()}


def _judge_header(header: Sequence[str]) -> None:
    missing = [name for name in COLUMNS if name not in header]
    unknown = [name for name in header if name not in COLUMNS]
    if missing or unknown or len(set(header)) != len(header):
        what = [say("missing: {names}", names=", ".join(missing))] if missing else []
        what += [say("not known: {names}", names=", ".join(unknown)[:80])] if unknown else []
        raise ReadingError(
            Problem(
                code="bad_header",
                text=say(
                    "The first line does not name the columns ({what}).",
                    what="; ".join(what) or say("one stands twice"),
                ),
                mend=say("Write it as: {columns}", columns=",".join(COLUMNS)),
                line=1,
            )
        )


def _same_cell(name: str, text: str) -> str:
    return text[:10] if name == "measured_at" else text.casefold()


def _judge_cells(header: Sequence[str], cells: Sequence[str]) -> None:
    if len(cells) != len(header):
        raise _refuse(
            say("{found} cells instead of {wanted}.", found=len(cells), wanted=len(header)),
            say("Quote a cell that holds the separator."),
        )


def _read_row(line: int, row: Mapping[str, str], zone: tzinfo) -> tuple[SheetRow, bool]:
    empty = [name for name in COLUMNS if not row[name] and name not in _MAY_BE_EMPTY]
    if empty:
        raise _refuse(say("'{name}' is empty.", name=empty[0]), say("Fill it in."))
    if problem := judge_client_code(row["client"]):
        raise ReadingError(problem)
    side, point, kind = _read_place(row)
    if row["posture"].casefold() not in _POSTURES:
        raise _refuse(
            say("posture '{text}' is not known.", text=row["posture"][:30]),
            say("Use standing, sitting or lying."),
        )
    at = parse_instant(row["measured_at"], zone)
    rising = parse_instant(row["rising_at"], zone) if row["rising_at"] else None
    took_zone = datetime.fromisoformat(row["measured_at"]).tzinfo is None
    return SheetRow(
        line=line,
        client=row["client"],
        measured_at=at,
        measurer=row["measurer"],
        place=(side, point, kind),
        round=_read_round(row["round"]),
        typed=_read_value(kind, row["value"], row["unit"].casefold()),
        posture=row["posture"].casefold(),
        rising_at=rising,
        took_zone=took_zone,
    ), took_zone


def _read_place(row: Mapping[str, str]) -> Place:
    points = {point.casefold(): point for point in Point}
    point = points.get(row["point"].casefold())
    if row["side"].casefold() not in ("left", "right"):
        raise _refuse(
            say("side '{text}' is not known.", text=row["side"][:30]), say("Use left or right.")
        )
    if point is None:
        raise _refuse(
            say("point '{text}' is not known.", text=row["point"][:30]),
            say("Use a letter ({points}) or foot.", points=" ".join(Point)),
        )
    if row["kind"].casefold() not in set(Kind):
        raise _refuse(
            say("kind '{text}' is not known.", text=row["kind"][:30]),
            say("Use girth, length or shoe."),
        )
    kind = Kind(row["kind"].casefold())
    if kind is Kind.SHOE and point is not Point.FOOT:
        raise _refuse(
            say("A shoe size at point {point}.", point=point),
            say("A shoe size belongs to point foot."),
        )
    return Side(row["side"].casefold()), point, kind


def _read_round(text: str) -> int:
    if not text:
        return 0
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 99):
        raise _refuse(
            say("round '{text}' is not a number from 1 to 99.", text=text[:20]),
            say("Leave it empty to count by order."),
        )
    return int(text)


def _read_value(kind: Kind, value: str, unit: str) -> Typed:
    if kind is Kind.SHOE:
        if unit not in SHOE_SYSTEMS:
            raise _refuse(
                say("unit '{unit}' is no shoe system.", unit=unit[:20]),
                say("Use {systems}.", systems=", ".join(SHOE_SYSTEMS)),
            )
        return _agreeing(parse_shoe_size(value, _system(unit), bounded=False), unit)
    if unit not in UNITS:
        raise _refuse(say("unit '{unit}' is not known.", unit=unit[:20]), say("Use cm, mm or in."))
    return _agreeing(parse_length(value, _unit(unit)), unit)


def _agreeing(typed: Typed, unit: str) -> Typed:
    own = typed.system if isinstance(typed, ShoeSize) else typed.unit
    if own != unit:
        raise _refuse(
            say(
                "'{typed}' says {own}, the unit column says {unit}.",
                typed=typed.typed,
                own=own,
                unit=unit,
            ),
            say("Correct one of the two."),
        )
    return typed


def _system(unit: str) -> ShoeSystem:
    return next(system for system in SHOE_SYSTEMS if system == unit)


def _unit(unit: str) -> Unit:
    return next(known for known in UNITS if known == unit)


def _refuse(text: str, mend: str) -> ReadingError:
    return ReadingError(Problem(code="bad_row", text=text, mend=mend))
