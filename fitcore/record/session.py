"""A session as a set of entries: joining two copies, and what currently holds.

Joining is set union, so it is commutative, associative and repeatable whatever the clocks say.
What holds is computed: an entry is live unless a live withdrawal takes it back, and a head is a
live entry that no other live entry was written instead of. Two heads of one field are a conflict,
and both are kept.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING

from fitcore.instants import EPOCH, hours_between
from fitcore.problems import Problem, ReadingError
from fitcore.record.entries import SESSION_ARRAYS, Entry, Value
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

FORMAT = 1
"""The file format this program reads and writes; it rises only for a breaking change."""


class Seal(StrEnum):
    """Whether a file's data lines are still what the program wrote."""

    WHOLE = "whole"
    BROKEN = "broken"
    MISSING = "missing"


@dataclass(frozen=True)
class Session:
    """One sitting with one client: an immutable set of entries.

    Head lines of a newer program (`extra_head`) are carried by key; where two copies differ the
    greater line stays, so what matters must be written as entries.
    """

    id: str
    entries: frozenset[Entry]
    extra_head: frozenset[tuple[str, str]] = frozenset()
    """(key, raw line) of head lines this program does not know."""
    seal: Seal = Seal.WHOLE

    def with_entries(self, *entries: Entry) -> Session:
        """Return a session that holds these entries too."""
        return replace(self, entries=self.entries.union(entries))

    @cached_property
    def heads(self) -> Heads:
        """What currently holds."""
        return Heads(self.entries)

    def answer(self, what: str) -> Register:
        """Return the present state of one field."""
        return self.heads.register(what)

    def value(self, what: str) -> Value | None:
        """Return a field's value; None where it is unanswered or disputed."""
        return self.answer(what).value

    def text(self, what: str) -> str:
        """Return a text field's value, empty where there is none."""
        value = self.value(what)
        return value if isinstance(value, str) else ""

    @property
    def was_measured(self) -> bool:
        """Whether a reading with a value stands in it: only then is it a *last time*."""
        heads = self.heads.heads_of("readings")
        return any("not_taken" not in entry.fields for entry in heads)

    @property
    def measured_at(self) -> datetime | None:
        """The earliest instant of a reading that counts, else of an answer.

        It rests on the laptops' clocks: for people, and for which charts were valid that day.
        """
        for array in ("readings", "answers"):
            heads = self.heads.heads_of(array)
            instants = [entry.at for entry in heads if entry.at is not None]
            if instants:
                return min(instants)  # each has an offset of its own, so instants are compared
        return None


@dataclass(frozen=True)
class Register:
    """One field of a session: the values nobody has replaced."""

    what: str
    heads: tuple[Entry, ...]
    seen: tuple[str, ...] = ()
    """Names of every entry of the field, replaced ones too: what an entry replacing this value
    must list, so that one missing in between cannot open an old question again."""

    @property
    def values(self) -> tuple[Value, ...]:
        """Different values, in file order; two or more are a conflict."""
        seen: dict[tuple[str, str], Value] = {}
        for entry in self.heads:
            value = entry.fields.get("is")
            if value is not None:
                seen.setdefault(value_key(value), value)
        return tuple(seen.values())

    @property
    def value(self) -> Value | None:
        """The value where there is exactly one."""
        return self.values[0] if len(self.values) == 1 else None

    @property
    def disputed(self) -> bool:
        """Whether different values stand side by side."""
        return len(self.heads) > 1 and len(self.values) > 1

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the heads."""
        return tuple(str(entry.by) for entry in self.heads)


def value_key(value: Value) -> tuple[str, str]:
    """Tell values apart by what they mean: 22.4 and 22.40 are one value, true and 1 are two."""
    if isinstance(value, int | Decimal) and not isinstance(value, bool):
        return ("number", plain(Decimal(value)))
    if isinstance(value, datetime) and value.tzinfo is not None:
        return ("instant", str(hours_between(EPOCH, value)))
    return (type(value).__name__, repr(value))


def join(one: Session, other: Session) -> Session:
    """Join two copies of a session: everything in either, nothing else.

    Commutative, associative and idempotent. The seal of the result is the worse of the two. What
    is erased in one copy is erased in both, so that a late copy brings nothing back.

    Raises:
        ReadingError: they are different sessions.
    """
    if one.id != other.id:
        raise ReadingError(
            Problem(
                code="different_sessions",
                text=say("{one} and {other} are two sessions.", one=one.id, other=other.id),
                mend=say("Only copies of the same session are joined."),
            )
        )
    return Session(
        one.id,
        join_entries(one.entries, other.entries),
        join_heads(one.extra_head, other.extra_head),
        worse_seal(one.seal, other.seal),
    )


def worse_seal(one: Seal, other: Seal) -> Seal:
    """Return the worse of two seals."""
    return max(one, other, key=list(Seal).index)


def join_heads(
    one: frozenset[tuple[str, str]], other: frozenset[tuple[str, str]]
) -> frozenset[tuple[str, str]]:
    """Join head lines of a newer program by key; where they differ the greater line stays."""
    return frozenset(dict(sorted(one | other)).items())


def join_entries(*sets: frozenset[Entry]) -> frozenset[Entry]:
    """Join sets of entries of one file: their union, where erased beats content."""
    union = frozenset[Entry]().union(*sets)
    erased = {str(entry.by) for entry in union if entry.erased}
    return erase_entries(union, erased) if erased else union


def erase_entries(entries: frozenset[Entry], names: Collection[str]) -> frozenset[Entry]:
    """Return the same entries without the content of those named."""
    return frozenset(entry.erase() if str(entry.by) in names else entry for entry in entries)


def entry_order(entry: Entry) -> tuple[str, int, str]:
    """Sort key of entries within an array: laptop, number, then the line itself (twins)."""
    return (entry.by.laptop, entry.by.number, entry.line)


def array_order(array: str, known: tuple[str, ...] = SESSION_ARRAYS) -> tuple[int, str]:
    """Sort key of arrays: the known ones in their order, then a newer program's by name."""
    return (known.index(array) if array in known else len(known), array)


class Heads:
    """Which entries are live, and which of them nothing replaces."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self._entries = sorted(entries, key=entry_order)
        self._withdrawn = self._find_withdrawn()
        self.live: tuple[Entry, ...] = tuple(
            entry for entry in self._entries if not self.is_withdrawn(entry)
        )
        """Entries nobody has taken back, withdrawals included, sorted."""
        self._successors: defaultdict[str, list[Entry]] = defaultdict(list)
        for entry in self.live:
            for name in entry.replaces:
                if name != str(entry.by):
                    self._successors[name].append(entry)

    def is_withdrawn(self, entry: Entry) -> bool:
        """Whether a live withdrawal takes the entry back."""
        return bool(self._withdrawn) and str(entry.by) in self._withdrawn

    def is_name_withdrawn(self, name: str) -> bool:
        """Whether a live withdrawal takes back the entry of this name, seen here or not."""
        return name in self._withdrawn

    def successors(self, entry: Entry) -> tuple[Entry, ...]:
        """Live entries written instead of this one."""
        return tuple(self._successors.get(str(entry.by), ())) if self._successors else ()

    def heads_of(self, array: str) -> tuple[Entry, ...]:
        """Live entries of an array that nothing replaces, sorted."""
        return tuple(
            e for e in self.live if e.array == array and not e.erased and not self.successors(e)
        )

    def register(self, what: str) -> Register:
        """Return the heads of one field; a decision counts as an answer."""
        return self._registers.get(what, Register(what, ()))

    @property
    def fields(self) -> tuple[str, ...]:
        """Names of all answered fields, sorted."""
        return tuple(sorted(what for what, register in self._registers.items() if register.heads))

    @cached_property
    def _registers(self) -> Mapping[str, Register]:
        kinds = ("answers", "decisions")
        fields = [e for e in self._entries if e.array in kinds and not e.erased]
        seen: defaultdict[str, list[str]] = defaultdict(list)
        heads: defaultdict[str, list[Entry]] = defaultdict(list)
        for entry in fields:
            what = entry.text("what")
            seen[what].append(str(entry.by))
            if not self.is_withdrawn(entry) and not self.successors(entry):
                heads[what].append(entry)
        return {
            what: Register(what, tuple(heads[what]), tuple(dict.fromkeys(names)))
            for what, names in seen.items()
        }

    def _find_withdrawn(self) -> frozenset[str]:
        # A withdrawal can itself be withdrawn, to any depth. One is settled once all that take it
        # back are settled: it counts unless one of those counts. In a circle (only a damaged file
        # has one) nothing is ever settled and nothing counts: no reading disappears because of it.
        withdrawals = [entry for entry in self._entries if entry.takes_back]
        by_name: defaultdict[str, list[Entry]] = defaultdict(list)
        for entry in withdrawals:
            by_name[str(entry.by)].append(entry)
        open_takers = dict.fromkeys(withdrawals, 0)
        for entry in withdrawals:
            for taken in {t for name in entry.takes_back for t in by_name[name]}:
                open_takers[taken] += 1
        withdrawn: set[str] = set()
        settled = [entry for entry, takers in open_takers.items() if not takers]
        while settled:
            entry = settled.pop()
            counts = str(entry.by) not in withdrawn
            if counts:
                withdrawn.update(entry.takes_back)
            for taken in {t for name in entry.takes_back for t in by_name[name]}:
                open_takers[taken] -= 1
                if not open_takers[taken]:
                    settled.append(taken)
        return frozenset(withdrawn)
