"""One reading: what was read from the tape, or why nothing was; parsed from its entry."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.points import Kind, Place, Point, Side
from fitcore.problems import Problem, ReadingError, UnitError
from fitcore.shoes import SHOE_SYSTEMS, ShoeSystem
from fitcore.units import UNITS, Millimetre, Unit, parse_length, plain, says_mm
from fitcore.words import say

if TYPE_CHECKING:
    from datetime import datetime

    from fitcore.record.entries import Entry


@dataclass(frozen=True, slots=True)
class Reading:
    """One value read from the tape, or the recorded reason why none was."""

    name: str
    """The entry's name, such as `tern-k7qd:92`."""
    at: datetime | None
    side: Side
    point: Point
    kind: Kind
    round: int
    """Which time round: 1, 2, 3."""
    typed: str
    unit: Unit | None
    """Unit of a length; None for a shoe size and for a reading not taken."""
    mm: Millimetre | None
    """Exact mm; None for a shoe size and for a reading not taken."""
    system: ShoeSystem | None
    value: Decimal | None
    """Shoe size in `system`."""
    not_taken: str
    """Reason why it was not taken; empty where it was."""
    doubts: tuple[str, ...]
    """Codes of what the nurse was told when she accepted it."""
    why: str
    """Reason given for a correction or for keeping a doubtful value."""
    instead_of: tuple[str, ...]
    row: str
    """Digest of the imported row it came from; empty where it was typed."""
    posture: str
    """The posture of this reading where its row gave one of its own; else the session's holds."""
    measurer: str
    """Who held the tape where it was not the session's measurer."""

    @property
    def lineage(self) -> tuple[str, ...]:
        """Its own name and those it replaced: what its correction or striking out must list.

        Listed in full, so that one missing in between cannot bring an older one back.
        """
        return tuple(dict.fromkeys((self.name, *self.instead_of)))

    @property
    def place(self) -> Place:
        """What was measured."""
        return (self.side, self.point, self.kind)


def read_reading(entry: Entry) -> Reading:
    """Read a `readings` entry.

    Raises:
        ReadingError: a key is missing or contradicts another; the entry is carried all the same.
    """
    fields = entry.fields
    try:
        side, point = Side(entry.text("side")), Point(entry.text("point"))
        kind = Kind(entry.text("kind"))
    except ValueError as error:
        raise ReadingError(_wrong(entry, str(error))) from error
    number = fields.get("round", 1)
    if not isinstance(number, int) or isinstance(number, bool) or not 1 <= number <= 99:
        raise ReadingError(_wrong(entry, say("round is not a number from 1")))
    if side is Side.BOTH and kind is not Kind.SHOE:
        raise ReadingError(_wrong(entry, say("a girth or length belongs to one leg")))
    mm, value = _decimal(fields.get("mm")), _decimal(fields.get("value"))
    unit, system = entry.text("unit"), entry.text("system")
    not_taken = entry.text("not_taken")
    if not_taken:
        mm = value = None
    elif kind is Kind.SHOE:
        if value is None or system not in SHOE_SYSTEMS:
            raise ReadingError(_wrong(entry, say("a shoe size needs 'value' and 'system'")))
    else:
        if mm is None or mm <= 0 or unit not in UNITS:
            raise ReadingError(_wrong(entry, say("a length needs 'mm' above zero and 'unit'")))
        _judge_typed(entry, mm, unit)
    return Reading(
        name=str(entry.by),
        at=entry.at,
        side=side,
        point=point,
        kind=kind,
        round=number,
        typed=entry.text("typed"),
        unit=unit if unit in UNITS else None,
        mm=Millimetre(mm) if mm is not None else None,
        system=system if system in SHOE_SYSTEMS else None,
        value=value,
        not_taken=not_taken,
        doubts=entry.names("doubts"),
        why=entry.text("why"),
        instead_of=entry.replaces,
        row=entry.text("row"),
        posture=entry.text("posture"),
        measurer=entry.text("measurer"),
    )


def _judge_typed(entry: Entry, mm: Decimal, unit: Unit) -> None:
    """Refuse a reading whose millimetres are not what its typed text says."""
    typed = entry.text("typed")
    if not typed:
        return
    try:
        if says_mm(typed, unit, mm):
            return
        meant = parse_length(typed, unit).mm
    except UnitError as error:
        raise ReadingError(_wrong(entry, error.problem.text)) from error
    if meant != mm:
        raise ReadingError(
            _wrong(
                entry,
                say(
                    "typed '{typed}' is {meant} mm, but mm = {mm}",
                    typed=typed,
                    meant=plain(meant),
                    mm=plain(mm),
                ),
            )
        )


def _decimal(value: object) -> Decimal | None:
    if isinstance(value, bool):
        return None
    return Decimal(value) if isinstance(value, int | Decimal) else None


def _wrong(entry: Entry, why: str) -> Problem:
    return Problem(
        code="bad_reading",
        text=say("Reading {name} cannot be used: {why}.", name=str(entry.by), why=why),
        mend=say("It is kept as it is. Strike it out with a reason and read the tape again."),
        key=f"readings.{entry.by}",
    )
