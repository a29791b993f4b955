"""Readings of a session: what was read, what replaced it, and the value used at each place.

A reading is immutable. The value used is computed from the readings nobody has replaced or taken
back: the mean of two, the median of more, exactly, with the spread beside it.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitcore.identity import EntryId
from fitcore.instants import EPOCH, hours_between
from fitcore.points import POINT_ORDER, Kind, Place, Point, Side
from fitcore.problems import Problem, ReadingError
from fitcore.record.reading import Reading, read_reading
from fitcore.record.session import entry_order
from fitcore.shoes import ShoeSystem, foot_length_mm
from fitcore.units import Millimetre, plain

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from decimal import Decimal

    from fitcore.record.session import Session


@dataclass(frozen=True, slots=True)
class Adopted:
    """The value used at one place of one leg."""

    point: Point
    kind: Kind
    mm: Millimetre
    """Exact mm; for a shoe size the foot length it stands for."""
    readings: int
    spread_mm: Decimal | None
    """Largest minus smallest; None where there is only one reading or it is a shoe size."""
    names: tuple[str, ...]
    """Entries it rests on."""
    value: Decimal | None = None
    system: ShoeSystem | None = None
    side: Side | None = None
    """Where it was read: BOTH for a shoe asked once; None for a value of no session."""

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints; a shoe carries value and system, no mm."""
        shoe = self.kind is Kind.SHOE
        return {
            "point": self.point.value,
            "kind": self.kind.value,
            "value_mm": None if shoe else plain(self.mm),
            "value": plain(self.value) if self.value is not None else None,
            "system": self.system,
            "readings": self.readings,
            "spread_mm": None if self.spread_mm is None else plain(self.spread_mm),
        }


@dataclass(frozen=True, slots=True)
class Dispute:
    """Readings that claim to be one, of which a person must choose."""

    kind: Literal["corrections", "struck_out", "shoe_sizes"]
    """Corrected differently, or two values under one name; corrected here and struck out there; two
    shoe sizes in one round."""
    readings: tuple[Reading, ...]


class Readings:
    """All readings of a session, sorted out by place."""

    def __init__(self, session: Session) -> None:
        self.problems: list[Problem] = []
        """Readings entries that cannot be used, each with its name."""
        self._all: dict[str, Reading] = {}
        self._by_place: defaultdict[Place, list[Reading]] = defaultdict(list)
        self.disputes: list[Dispute] = []
        """Where laptops say different things of one reading."""
        self._disputed: set[Place] = set()
        self._adopted: dict[Place, Adopted | None] = {}
        """Values worked out so far: every chart asks for the same few."""
        self._heads = session.heads
        self._origin: dict[str, str] = {}
        """Name of an imported reading to the row it came from."""
        self._struck_out: set[str] = set()
        heads = self._usable_heads(session)
        for reading in self._once_each(heads):
            self._by_place[reading.place].append(reading)
        self._find_disputed(heads)
        self._find_mixed_postures(session.text("posture"))

    def _usable_heads(self, session: Session) -> list[Reading]:
        """Return the readings nobody has replaced or taken back, in the order of their names."""
        found: list[Reading] = []
        settled_rows: set[str] = set()
        for entry in sorted(session.entries, key=entry_order):
            if entry.array != "readings" or entry.erased:
                continue
            withdrawn = self._heads.is_withdrawn(entry)
            try:
                reading = read_reading(entry)
            except ReadingError as error:
                if not withdrawn:
                    self.problems.append(error.problem)
                continue
            if reading.row:
                # Copies of one imported row are one reading: what happens to one settles all.
                self._origin[reading.name] = f"row {reading.row}"
            if withdrawn:
                self._struck_out.add(self._origin.get(reading.name, reading.name))
            else:
                self._all[reading.name] = reading
            if withdrawn or self._heads.successors(entry):
                settled_rows.add(reading.row)
            else:
                found.append(reading)
        return [r for r in found if not r.row or r.row not in settled_rows]

    def _origins(self, reading: Reading) -> frozenset[str]:
        """Return what a reading corrects, copies of one imported row as one."""
        return frozenset(self._origin.get(name, name) for name in reading.instead_of)

    def _parents(self, reading: Reading) -> frozenset[str]:
        """Return what a reading corrects at first hand: not what those had corrected already."""
        older = {
            name
            for parent in reading.instead_of
            if parent in self._all
            for name in self._all[parent].instead_of
        }
        return frozenset(
            self._origin.get(name, name) for name in reading.instead_of if name not in older
        )

    def _once_each(self, heads: Sequence[Reading]) -> list[Reading]:
        """Count once what is one reading: a row imported twice, a correction made alike twice."""
        kept: list[Reading] = []
        alike: defaultdict[tuple[object, ...], list[Reading]] = defaultdict(list)
        for reading in heads:
            others = alike[reading_meaning(reading)]
            if not any(self._is_same(reading, other) for other in others):
                others.append(reading)
                kept.append(reading)
        return kept

    def _is_same(self, reading: Reading, other: Reading) -> bool:
        """Whether two readings that say the same are one: by name, row, or what they correct."""
        if reading.name == other.name:
            return True
        of_row = bool(reading.row) and reading.row == other.row
        return of_row or not self._origins(reading).isdisjoint(self._origins(other))

    def by_name(self, name: str) -> Reading | None:
        """Return a live reading, replaced or not, by its entry's name."""
        return self._all.get(name)

    def rivals(self, reading: Reading) -> tuple[str, ...]:
        """Return all a correction of this reading must list: itself, its rivals, their lineage.

        Rivals are other readings nobody has replaced, of the same place and time round.
        """
        same = [r for r in self.current(reading.place) if r.round == reading.round]
        names = [name for rival in (reading, *same) for name in rival.lineage]
        return tuple(dict.fromkeys(names))

    def strikable(self, reading: Reading) -> tuple[str, ...]:
        """Return what striking this reading out takes back.

        Its lineage, but for what a rival has replaced too: that would leave the rival in doubt.
        """
        others = {
            name
            for place in self.places()
            for rival in self.current(place)
            if rival.name != reading.name
            for name in rival.instead_of
        }
        return tuple(name for name in reading.lineage if name not in others)

    def read_at(self, reading: Reading) -> datetime | None:
        """Return when the tape was first read here: a correction made later changes no hour."""
        found = [self._all[name] for name in reading.lineage if name in self._all]
        instants = [r.at for r in found if r.at is not None and not r.not_taken]
        return min(instants, key=lambda at: hours_between(EPOCH, at), default=reading.at)

    def struck_by(self, reading: Reading) -> tuple[str, ...]:
        """Return the withdrawals of what a reading corrects, made without sight of it."""
        parents = self._parents(reading)
        copies = {name for name, origin in self._origin.items() if origin in parents}
        targets = {*parents, *copies}
        return tuple(str(e.by) for e in self._heads.live if not targets.isdisjoint(e.takes_back))

    def current(self, place: Place) -> tuple[Reading, ...]:
        """Return the readings at a place nobody has replaced or taken back, first round first."""
        return tuple(
            sorted(self._by_place.get(place, ()), key=lambda r: (r.round, EntryId.parse(r.name)))
        )

    def places(self) -> tuple[Place, ...]:
        """Return all places with a reading or a reason for none, foot upwards, left first."""
        return tuple(
            sorted(self._by_place, key=lambda p: (p[0].value, POINT_ORDER[p[1]], p[2].value))
        )

    def disputed(self, place: Place) -> bool:
        """Whether values stand side by side that no rule may choose between or average."""
        return place in self._disputed

    def disputed_of_leg(self, side: Side, point: Point, kind: Kind) -> bool:
        """Whether what would be used for one leg is disputed, a shoe asked once for both too."""
        own = (side, point, kind)
        asked_once = kind is Kind.SHOE and not self.taken(own)
        return self.disputed((Side.BOTH, point, kind) if asked_once else own)

    def taken(self, place: Place) -> tuple[Reading, ...]:
        """Return the readings at a place that have a value."""
        return tuple(r for r in self.current(place) if not r.not_taken)

    def not_taken(self, place: Place) -> str:
        """Return the reason why a place has no value; empty where it has one or nothing at all."""
        current = self.current(place)
        if not current or any(not reading.not_taken for reading in current):
            return ""
        return current[0].not_taken

    def adopted(self, side: Side, point: Point, kind: Kind) -> Adopted | None:
        """Return the value used for one leg; None where nothing usable was read.

        A shoe size given once for both feet counts for either leg. While two different
        corrections of one reading stand side by side no value is used: a person must choose.
        """
        place = (side, point, kind)
        if place not in self._adopted:
            self._adopted[place] = self._adopt(place)
        return self._adopted[place]

    def _adopt(self, place: Place) -> Adopted | None:
        side, point, kind = place
        readings = self.taken(place)
        if kind is Kind.SHOE and not readings:
            place = (Side.BOTH, point, kind)
            readings = self.taken(place)
        if not readings or self.disputed(place):
            return None
        if kind is Kind.SHOE:
            return _adopt_shoe(readings, place[0])
        values = sorted(r.mm for r in readings if r.mm is not None)
        return Adopted(
            point=point,
            kind=kind,
            mm=Millimetre(_middle(values)),
            readings=len(values),
            spread_mm=values[-1] - values[0] if len(values) > 1 else None,
            names=tuple(r.name for r in readings),
            side=side,
        )

    def adopted_of_leg(self, side: Side) -> tuple[Adopted, ...]:
        """Return all values used for one leg, foot upwards, girths before lengths."""
        places = {(p, k) for s, p, k in self._by_place if s in (side, Side.BOTH)}
        found = (self.adopted(side, point, kind) for point, kind in places)
        return tuple(
            sorted(
                (value for value in found if value is not None),
                key=lambda v: (POINT_ORDER[v.point], v.kind.value),
            )
        )

    def _find_disputed(self, heads: Sequence[Reading]) -> None:
        """Mark places where the tape was read once and two different values claim to be it."""
        corrections: defaultdict[str, list[Reading]] = defaultdict(list)
        for reading in heads:
            for origin in self._origins(reading):
                corrections[origin].append(reading)
            # Struck out here, corrected there: whoever corrected it had not seen it struck out.
            if any(
                parent in self._struck_out or self._heads.is_name_withdrawn(parent)
                for parent in self._parents(reading)
            ):
                self.disputes.append(Dispute("struck_out", (reading,)))
        for rivals in corrections.values():
            if len({reading_meaning(reading) for reading in rivals}) > 1:
                self.disputes.append(Dispute("corrections", tuple(rivals)))
        named: defaultdict[tuple[str, Place, int], list[Reading]] = defaultdict(list)
        for reading in heads:
            named[reading.name, reading.place, reading.round].append(reading)
        for rivals in named.values():
            # One name, two values: a changed line was taken over and its sealed original came.
            if len({reading_meaning(reading) for reading in rivals}) > 1:
                self.disputes.append(Dispute("corrections", tuple(rivals)))
        for readings in self._by_place.values():
            shoes = [r for r in readings if r.kind is Kind.SHOE and not r.not_taken]
            latest = max((r.round for r in shoes), default=0)
            rivals = [r for r in shoes if r.round == latest]
            if len({reading_meaning(r) for r in rivals}) > 1:
                self.disputes.append(Dispute("shoe_sizes", tuple(rivals)))
        self._disputed |= {r.place for dispute in self.disputes for r in dispute.readings}

    def _find_mixed_postures(self, usual: str) -> None:
        """Mark places read in two postures: a calf differs by about 1 %, so none is averaged.

        Source: calf sitting against standing +0.39 cm (193 inpatients, ESPEN abstract P521, read).
        """
        for place, readings in self._by_place.items():
            measured = [r for r in readings if r.mm is not None]
            if len({reading.posture or usual for reading in measured}) > 1:
                self._disputed.add(place)


def _adopt_shoe(readings: Sequence[Reading], side: Side) -> Adopted | None:
    # The latest round counts: a shoe size is asked, not measured, so two are not averaged.
    latest = max(readings, key=lambda reading: reading.round)
    if latest.value is None or latest.system is None:
        return None
    return Adopted(
        point=latest.point,
        kind=Kind.SHOE,
        mm=foot_length_mm(latest.value, latest.system),
        readings=len(readings),
        spread_mm=None,
        names=tuple(r.name for r in readings),
        value=latest.value,
        system=latest.system,
        side=side,
    )


def _middle(values: Sequence[Decimal]) -> Decimal:
    """Return the median: the mean of two, the median of three (common practice)."""
    half = len(values) // 2
    if len(values) % 2:
        return values[half]
    return (values[half - 1] + values[half]) / 2


def reading_meaning(reading: Reading) -> tuple[object, ...]:
    """Tell readings apart by what they say, not by who wrote them."""
    return (
        reading.place,
        reading.round,
        reading.mm,
        reading.value,
        reading.system,
        reading.not_taken,
    )
