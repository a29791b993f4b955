"""Arithmetic instead of trust: which of a laptop's numbers are missing, which were used twice.

A laptop numbers its entries from 1 without a gap, and voids what a crash left unused. So a missing
number is an entry that has not arrived, and a number with two contents is a copied disk.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitcore.identity import EntryId
from fitcore.merge.ranges import Ranges
from fitcore.problems import ReadingError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from fitcore.record.entries import Entry

Spans = defaultdict[str, list[tuple[int, int]]]
"""First and last numbers by laptop, as they come."""


@dataclass(frozen=True, slots=True, order=True)
class Gap:
    """Numbers of a laptop nobody has brought, ends included."""

    laptop: str
    first: int
    last: int
    is_end: bool = False
    """Whether they come after the last one here: only the laptop's own file tells of them."""

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `merge --json` prints."""
        told = {"laptop": self.laptop, "from": self.first, "to": self.last}
        return told | ({"not_here_yet": True} if self.is_end else {})


@dataclass(frozen=True, slots=True, order=True)
class Clone:
    """One entry name on two different lines: a restored backup or a copied disk. No winner."""

    laptop: str
    number: int
    places: tuple[str, ...]
    """Where the lines stand, sorted: session ids, `ledger/<laptop id>`."""

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `merge --json` prints."""
        return {"laptop": self.laptop, "number": self.number, "found_in": list(self.places)}


@dataclass(frozen=True)
class Numbers:
    """The numbers of all laptops as far as some files tell; a few ranges each.

    `+` puts together what different files tell, in any order and grouping: a whole archive is
    folded without keeping it. Each session or ledger is counted once, after its copies are joined.
    """

    used: Mapping[str, Ranges] = field(default_factory=dict)
    """Numbers an entry stands under."""
    twice: Mapping[str, Ranges] = field(default_factory=dict)
    """Numbers two different entries stand under."""
    excused: Mapping[str, Ranges] = field(default_factory=dict)
    """Numbers that need no entry: voided or erased."""
    waiting: Mapping[str, Ranges] = field(default_factory=dict)
    """Numbers in files changed outside: not lost, and no proof either that others exist."""
    told: Mapping[str, int] = field(default_factory=dict)
    """Highest number that is known to exist because another entry names it."""

    def __add__(self, other: Numbers) -> Numbers:
        laptops = {*self.used, *other.used}
        met = {name: _of(self.used, name) & _of(other.used, name) for name in laptops}
        told = {
            name: max(self.told.get(name, 0), other.told.get(name, 0))
            for name in {*self.told, *other.told}
        }
        return Numbers(
            _both(self.used, other.used),
            _both(_both(self.twice, other.twice), {n: r for n, r in met.items() if r.spans}),
            _both(self.excused, other.excused),
            _both(self.waiting, other.waiting),
            told,
        )

    @classmethod
    def total(cls, parts: Iterable[Numbers]) -> Numbers:
        """Return what adding all parts comes to; in one go, for adding costs as much as it holds.

        Args:
            parts: one for each session or ledger.
        """
        used, twice, excused, waiting = (Spans(list) for _ in range(4))
        told: dict[str, int] = {}
        for part in parts:
            _gather(used, part.used)
            _gather(twice, part.twice)
            _gather(excused, part.excused)
            _gather(waiting, part.waiting)
            for name, number in part.told.items():
                told[name] = max(told.get(name, 0), number)
        return cls.of_spans((used, twice, excused, waiting), told)

    @classmethod
    def of_spans(cls, spans: tuple[Spans, Spans, Spans, Spans], told: Mapping[str, int]) -> Numbers:
        """Return what adding some sessions and ledgers comes to, by the ranges in them.

        Args:
            spans: used, twice, excused and waiting, as in `Numbers`; of each session and ledger
                its own ranges, in any order. Used ranges that overlap are of different ones.
            told: the highest of each laptop.
        """
        used, twice, excused, waiting = spans
        twice = Spans(list, {name: [*found] for name, found in twice.items()})
        for name, found in used.items():
            if overlaps := _overlaps(found):
                twice[name] += overlaps
        return cls(_united(used), _united(twice), _united(excused), _united(waiting), told)


def count_numbers(entries: Iterable[Entry], waiting: Iterable[Entry] = ()) -> Numbers:
    """Return the numbers one session or ledger tells of.

    Args:
        entries: all of it, copies joined.
        waiting: entries of copies changed outside the program, not taken over yet; their numbers
            are not lost.
    """
    used = _by_laptop(entry.by for entry in entries)
    excused: defaultdict[str, list[int]] = defaultdict(list)
    told: defaultdict[str, int] = defaultdict(int)
    for entry in entries:
        number = entry.fields.get("number")
        if entry.array == "voided" and isinstance(number, int) and number > 0:
            excused[entry.by.laptop].append(number)
        erased = _parsed(entry.names("erases")) if entry.array == "erasures" else []
        for name in erased:
            excused[name.laptop].append(name.number)
        named = (*entry.replaces, *entry.takes_back)
        for name in [*_parsed(named), *erased] if named or erased else ():
            told[name.laptop] = max(told[name.laptop], name.number)
    twice = {
        laptop: [number for number, count in Counter(numbers).items() if count > 1]
        for laptop, numbers in used.items()
        if len(set(numbers)) < len(numbers)
    }
    return Numbers(
        _ranges(used),
        _ranges(twice),
        _ranges(excused),
        _ranges(_by_laptop(entry.by for entry in waiting)),
        told,
    )


def find_gaps(numbers: Numbers) -> tuple[Gap, ...]:
    """Return what is missing below the highest number known of each laptop, sorted."""
    there = _both(numbers.used, numbers.excused)
    return tuple(
        Gap(laptop, first, last)
        for laptop in sorted({*there, *numbers.told})
        for first, last in (_of(there, laptop) | _of(numbers.waiting, laptop)).missing(
            max(_of(there, laptop).highest, numbers.told.get(laptop, 0))
        )
    )


def find_ends(numbers: Numbers, given: Mapping[str, int]) -> tuple[Gap, ...]:
    """Return what laptops have given out after the last number known here, sorted.

    Args:
        numbers: those of all files together.
        given: the highest number each laptop says it has given, by its id.
    """
    found = []
    for laptop, last in sorted(given.items()):
        here = _of(numbers.used, laptop) | _of(numbers.excused, laptop)
        known = max(here.highest, numbers.told.get(laptop, 0))
        found += [
            Gap(laptop, max(first, known + 1), end, is_end=True)
            for first, end in (here | _of(numbers.waiting, laptop)).missing(last)
            if end > known
        ]
    return tuple(found)


def find_clones(
    numbers: Numbers, places: Iterable[tuple[str, Iterable[Entry]]]
) -> tuple[Clone, ...]:
    """Return the names used twice and where, sorted.

    Args:
        numbers: those of all places together.
        places: name and entries of each session and ledger, without lines a ruling explains;
            looked at only where a number was used twice.
    """
    if not numbers.twice:
        return ()
    found: defaultdict[EntryId, set[tuple[str, Entry]]] = defaultdict(set)
    for place, entries in places:
        for entry in entries:
            if entry.by.number in _of(numbers.twice, entry.by.laptop):
                found[entry.by].add((place, entry))
    return tuple(
        sorted(
            Clone(name.laptop, name.number, tuple(sorted({place for place, _ in there})))
            for name, there in found.items()
            if len(there) > 1
        )
    )


def _parsed(names: Iterable[str]) -> list[EntryId]:
    found = []
    for name in names:
        try:
            found.append(EntryId.parse(name))
        except ReadingError:
            continue  # not the name of an entry: it tells of no number
    return found


def _by_laptop(names: Iterable[EntryId]) -> dict[str, list[int]]:
    numbers: defaultdict[str, list[int]] = defaultdict(list)
    for name in names:
        numbers[name.laptop].append(name.number)
    return numbers


def _ranges(numbers: Mapping[str, Iterable[int]]) -> dict[str, Ranges]:
    return {laptop: Ranges.of(found) for laptop, found in numbers.items()}


def _of(ranges: Mapping[str, Ranges], laptop: str) -> Ranges:
    return ranges.get(laptop, Ranges())


def _gather(into: Spans, ranges: Mapping[str, Ranges]) -> None:
    for name, found in ranges.items():
        into[name] += found.spans


def _united(spans: Spans) -> dict[str, Ranges]:
    return {name: Ranges.united(found) for name, found in spans.items()}


def _overlaps(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return what stands in more than one of some spans."""
    found = []
    highest = 0
    for low, high in sorted(spans):
        # All from `low` to `highest` stands in the earlier span that ends there.
        if low <= highest:
            found.append((low, min(high, highest)))
        highest = max(highest, high)
    return found


def _both(one: Mapping[str, Ranges], other: Mapping[str, Ranges]) -> dict[str, Ranges]:
    return {name: _of(one, name) | _of(other, name) for name in {*one, *other}}
