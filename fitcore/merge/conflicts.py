"""Open questions of a session: different values that nobody has chosen between, all kept.

What is open is computed from the lines, so every machine finds the same questions under the same
ids, and a decision, which is a line itself, closes its question wherever it arrives.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitcore.identity import EntryId
from fitcore.merge.ids import content_id, version_names
from fitcore.points import Kind, Point, Side, place_words, side_words
from fitcore.problems import ReadingError
from fitcore.record.fields import field_words, is_working_state
from fitcore.record.reading import read_reading
from fitcore.record.readings import Readings, reading_meaning
from fitcore.record.session import entry_order, value_key
from fitcore.safety.decisions import DECISION_PREFIX
from fitcore.safety.screening_answers import ANSWER_PREFIX, PRESSURE_PREFIX

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence
    from datetime import datetime

    from fitcore.record.entries import Entry, Value
    from fitcore.record.reading import Reading
    from fitcore.record.session import Register, Session

ConflictKind = Literal["answer", "corrections", "struck_out", "shoe_sizes", "clients", "group"]
"""An answered field; one reading corrected differently, corrected and struck out, two shoe sizes;
two codes said to be one person and not; a group of codes nobody has confirmed as a whole."""

STRUCK_OUT = "struck_out"
"""The value of a candidate that says: this reading does not count."""


@dataclass(frozen=True, slots=True)
class Seen:
    """One entry a writer had seen and replaced."""

    name: str
    entry: Entry | None
    """None where it has not arrived: we wait for it."""


@dataclass(frozen=True, slots=True)
class Origin:
    """Who brought a value."""

    entry: Entry
    laptop: str
    measurer: str
    """Who held the tape, or who decided; empty where the laptop never said."""
    at: datetime | None
    """By that laptop's own clock: shown, never compared."""
    is_decision: bool
    saw: tuple[Seen, ...]
    """What the writer had seen and replaced."""
    zone: str = ""
    """IANA name of the zone it was written in; empty where the session never says."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One of the values to choose from, with everybody who brought it."""

    value: Value
    """The answer; of a reading its exact mm, its shoe size, or the reason why it was not taken;
    `struck_out` where it shall not count."""
    origins: tuple[Origin, ...]

    @property
    def entries(self) -> tuple[Entry, ...]:
        """The lines that say so."""
        return tuple(origin.entry for origin in self.origins)


@dataclass(frozen=True, slots=True)
class Conflict:
    """One question."""

    id: str
    session: str
    """Empty where it is about clients' codes."""
    kind: ConflictKind
    field: str
    """Name of the field; of a reading `left B girth`; of clients their codes."""
    candidates: tuple[Candidate, ...]
    names: frozenset[str]
    """Names of all entries that stand against each other."""
    lineage: tuple[str, ...]
    """What a line that settles it must list: these entries and all they had replaced."""

    @property
    def is_safety(self) -> bool:
        """Whether the more careful value rules until it is settled."""
        ours = (ANSWER_PREFIX, PRESSURE_PREFIX, DECISION_PREFIX)
        return self.kind in ("clients", "group") or self.field.startswith(ours)

    @property
    def order(self) -> tuple[bool, str, str, str]:
        """Sort key: what bears on safety first, then by session, field and id."""
        return (not self.is_safety, self.session, self.field, self.id)


def conflict_id(session_id: str, field: str, heads: Iterable[Entry]) -> str:
    """Return a question's id: the same wherever the same lines stand against each other."""
    return content_id(session_id, field, *version_names(heads))


def find_conflicts(session: Session) -> tuple[Conflict, ...]:
    """Return a session's open questions, what bears on safety first."""
    found = [*_answers(session), *_readings(session)]
    return tuple(sorted(found, key=lambda conflict: conflict.order))


def settled_conflicts(
    before: Iterable[Conflict], after: Iterable[Conflict]
) -> tuple[Conflict, ...]:
    """Return the questions that were open and are not any more.

    One that only grew by another value is still open; where a value arrives that a decision had
    not seen, the old question is settled and a smaller one is open.
    """
    open_still = [conflict.names for conflict in after]
    return tuple(
        conflict
        for conflict in before
        if all(conflict.names.isdisjoint(names) for names in open_still)
    )


def waiting_for(session: Session) -> tuple[str, ...]:
    """Return names that entries of a session point at and that have not arrived, sorted."""
    there = {str(entry.by) for entry in session.entries}
    pointed = {name for entry in session.entries for name in (*entry.replaces, *entry.takes_back)}
    return tuple(sorted(pointed - there))


def origin_of(entries: Collection[Entry], entry: Entry) -> Origin:
    """Say who brought a line, among the entries it stands with."""
    by_name: dict[str, list[Entry | None]] = defaultdict(list)
    for other in sorted(entries, key=entry_order):
        by_name[str(other.by)].append(other)
    saw = tuple(
        Seen(name, other)
        for name in dict.fromkeys(entry.replaces)
        if name != str(entry.by)
        for other in by_name.get(name) or [None]
    )
    return Origin(
        entry,
        entry.by.laptop,
        entry.text("decided_who")
        or entry.text("who")
        or entry.text("measurer")
        or _said_last(entries, entry, "measurer"),
        entry.at,
        entry.array == "decisions" or bool(entry.text("who")),
        saw,
        zone_of(entries, entry),
    )


def zone_of(entries: Collection[Entry], entry: Entry) -> str:
    """Return the zone a line of a session was written in, else any its session names.

    Args:
        entries: the session's.
        entry: the line.
    """
    named = sorted(other.text("is") for other in entries if other.text("what") == "zone")
    return _said_last(entries, entry, "zone") or next(iter(named), "")


def _said_last(entries: Iterable[Entry], entry: Entry, what: str) -> str:
    """Return what the writing laptop said last before an entry, by its own numbers.

    Empty where it never said.
    """
    said = [
        other
        for other in entries
        if other.by.laptop == entry.by.laptop
        and other.text("what") == what
        and other.by.number <= entry.by.number
    ]
    latest = max(said, key=lambda other: (other.by.number, other.text("is")), default=None)
    return latest.text("is") if latest is not None else ""


def _answers(session: Session) -> Iterable[Conflict]:
    for what in session.heads.fields:
        register = session.answer(what)
        if not register.disputed or is_working_state(what):
            continue
        groups = _by_value(register)
        yield Conflict(
            conflict_id(session.id, what, register.heads),
            session.id,
            "answer",
            what,
            tuple(_candidate(session, value, entries) for value, entries in groups),
            frozenset(register.names),
            register.seen,
        )


def _by_value(register: Register) -> list[tuple[Value, list[Entry]]]:
    """Group the lines of a field by what they say; a prescriber's decision by all it says."""
    groups: dict[object, tuple[Value, list[Entry]]] = {}
    for entry in register.heads:
        value = entry.fields.get("is")
        if value is None:
            continue
        said: tuple[object, ...] = value_key(value)
        if register.what.startswith(DECISION_PREFIX):
            own = ("by", "at", "instead_of")
            said = tuple(sorted((k, repr(v)) for k, v in entry.fields.items() if k not in own))
        groups.setdefault(said, (value, []))[1].append(entry)
    return list(groups.values())


def _candidate(session: Session, value: Value, entries: Sequence[Entry]) -> Candidate:
    return Candidate(value, tuple(origin_of(session.entries, entry) for entry in entries))


def _readings(session: Session) -> Iterable[Conflict]:
    if not may_be_disputed(session):
        return
    readings = Readings(session)
    lines = _lines_of_readings(session) if readings.disputes else {}
    for kind, rivals in _united(readings):
        groups: dict[object, list[Reading]] = defaultdict(list)
        for rival in rivals:
            groups[reading_meaning(rival)].append(rival)
        candidates = [
            _candidate(session, _value(group[0]), [lines[_version(r)] for r in group])
            for group in groups.values()
        ]
        struck = tuple(
            dict.fromkeys(name for rival in rivals for name in readings.struck_by(rival))
        )
        # On a copied disk another line may bear the same name: only what strikes out counts.
        withdrawals = [
            entry
            for entry in session.heads.live
            if entry.array == "withdrawn" and str(entry.by) in struck
        ]
        if withdrawals:
            candidates.append(_candidate(session, STRUCK_OUT, withdrawals))
        heads = [lines[_version(rival)] for rival in rivals]
        field = _place(rivals[0])
        names = [name for rival in rivals for name in rival.lineage]
        yield Conflict(
            conflict_id(session.id, field, [*heads, *withdrawals]),
            session.id,
            kind,
            field,
            tuple(candidates),
            frozenset({rival.name for rival in rivals}.union(struck)),
            tuple(dict.fromkeys(names)),
        )


def may_be_disputed(session: Session) -> bool:
    """Whether readings can stand against each other; where not, none need be read for it.

    Only what was written instead of a reading, two lines of one name, or two shoe sizes of one side
    can. Nearly every session has neither, and reading them all is most of what a merge would do.
    """
    shoes: set[str] = set()
    names: set[EntryId] = set()
    for entry in session.entries:
        if entry.array == "readings":
            if entry.replaces or entry.by in names:
                return True
            names.add(entry.by)
            if entry.text("kind") == Kind.SHOE:
                if entry.text("side") in shoes:
                    return True
                shoes.add(entry.text("side"))
    return False


def _version(reading: Reading) -> tuple[object, ...]:
    return (reading.name, reading_meaning(reading))


def _lines_of_readings(session: Session) -> dict[object, Entry]:
    """Return the line of each reading; two lines of one name are told apart by what they say."""
    found: dict[object, Entry] = {}
    for entry in session.heads.heads_of("readings"):
        try:
            found.setdefault(_version(read_reading(entry)), entry)
        except ReadingError:
            continue  # it is carried, and told of as unusable elsewhere
    return found


def _united(readings: Readings) -> list[tuple[ConflictKind, list[Reading]]]:
    """Put disputes together that share a reading: they are one question, sorted by its names."""
    united: list[tuple[ConflictKind, dict[object, Reading]]] = []
    for dispute in readings.disputes:
        kind: ConflictKind = dispute.kind
        found: dict[object, Reading] = {_version(r): r for r in dispute.readings}
        apart = []
        for other_kind, other in united:
            if other.keys() & found.keys():
                found |= other
                kind = "corrections" if "corrections" in (kind, other_kind) else kind
            else:
                apart.append((other_kind, other))
        united = [*apart, (kind, found)]
    return [
        (kind, sorted(found.values(), key=lambda r: (EntryId.parse(r.name), str(r.mm), r.typed)))
        for kind, found in united
    ]


def _value(reading: Reading) -> Value:
    if reading.not_taken:
        return reading.not_taken
    if reading.mm is not None:
        return reading.mm
    return reading.typed if reading.value is None else reading.value


def _place(reading: Reading) -> str:
    side, point, kind = reading.place
    return f"{side.value} {point.value} {kind.value}"


def conflict_words(conflict: Conflict) -> str:
    """Return what a question is about, for people."""
    if conflict.kind == "answer":
        return field_words(conflict.field)
    if conflict.kind in ("clients", "group"):
        return conflict.field
    side, point, kind = conflict.field.split(" ")
    return f"{side_words(Side(side))}: {place_words(Point(point), Kind(kind))}"
