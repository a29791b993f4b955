"""Parts of a merge of folders: what files hold, the sums so far, and what it comes to."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitcore.disk.manifest import Listed
from fitcore.disk.spotted import read_spotted
from fitcore.merge.found import FileKind, Where
from fitcore.merge.gaps import Numbers, find_clones, find_gaps
from fitcore.merge.join import Outcome
from fitcore.merge.report import MergeReport
from fitcore.problems import Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from fitcore.disk.archive_index import Sums
    from fitcore.disk.archive_seen import Copies
    from fitcore.merge.clients import Clients
    from fitcore.merge.conflicts import Conflict
    from fitcore.merge.found import Found, Key
    from fitcore.merge.join import Merged
    from fitcore.merge.merge import MergePlan
    from fitcore.merge.proposals import Proposal
    from fitcore.merge.report import SetAside
    from fitcore.record.session import Session


@dataclass(frozen=True)
class Merging:
    """What a merge of folders came to."""

    report: MergeReport
    notes: tuple[str, ...]
    """What a person must know besides."""
    nothing_on: tuple[Path, ...]
    """Sticks that hold nothing of ours."""
    numbers: Numbers
    """The entry numbers of all laptops."""
    unfinished: tuple[Path, ...]
    """Folders of laptops whose day's list is missing or names files that are not there so."""

    @property
    def needs_person(self) -> bool:
        """Whether there is anything only a person can see to."""
        return self.report.needs_person or bool(self.notes)


@dataclass(frozen=True)
class Questions:
    """What is open in an archive."""

    conflicts: tuple[Conflict, ...]
    """What bears on safety first."""
    proposals: tuple[Proposal, ...]
    clients: Clients
    sessions: dict[str, Session]
    """The sessions the questions are about, by id."""


@dataclass
class Part:
    """The files of some sessions or ledgers, read."""

    copies: defaultdict[Key, list[Found]] = field(default_factory=lambda: defaultdict(list))
    unread: list[Found] = field(default_factory=list)
    raw: dict[str, bytes | None] = field(default_factory=dict)
    """Bytes of what may have to be kept or carried as it is, by digest."""
    under: defaultdict[str, list[Found]] = field(default_factory=lambda: defaultdict(list))
    """The same files by digest, under each name they were found under."""
    found_in: defaultdict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    archive: defaultdict[Key, set[str]] = field(default_factory=lambda: defaultdict(set))
    """What the archive's own file was when it was read, by digest."""
    stamps: dict[Key, tuple[int, int]] = field(default_factory=dict)
    """Size and time in ns of the archive's own file."""
    listed: list[Listed] = field(default_factory=list)
    """Files of the archive, for its list."""

    def read(self, copies: Copies) -> None:
        """Read all copies of one session or ledger."""
        if (filed := copies.filed) is not None:
            self.stamps[copies.key] = filed.size, filed.mtime_ns
        for spotted in copies.own:
            found, raw = read_spotted(spotted)
            self._add(found, raw, (spotted.told,))
            entries = len(found.entries) if found.is_whole else 0
            self.listed.append(Listed(spotted.told, spotted.size, entries, found.digest))
        for spotted in copies.brought:
            self._add(*read_spotted(spotted), (spotted.told,))
        for kept in copies.kept:
            self._add(kept.found, kept.raw, kept.found_in)

    def _add(self, found: Found, raw: bytes | None, found_in: Iterable[str]) -> None:
        if isinstance(found.content, Problem) and not (found.is_newer and found.name):
            self.unread.append(found)
        else:
            self.copies[found.key].append(found)
        if found.where is Where.ARCHIVE:
            self.archive[found.key].add(found.digest)
        if not found.is_whole:
            if self.raw.get(found.digest) is None:
                self.raw[found.digest] = raw
            self.under[found.digest].append(found)
            self.found_in[found.digest].update(found_in)

    def unread_in_order(self) -> tuple[Found, ...]:
        """Return what cannot be read, by digest, path and place."""
        return tuple(sorted(self.unread, key=lambda f: (f.digest, f.path, f.where)))


@dataclass(frozen=True)
class Totals:
    """What parts of an archive come to.

    `+` puts parts together, in any order and grouping; `Totals()` changes nothing. Each session or
    ledger is in one part only.
    """

    outcomes: Counter[Outcome] = field(default_factory=Counter)
    """Of sessions alone."""
    proposals: int = 0
    conflicts: int = 0
    settled: int = 0
    numbers: Numbers = field(default_factory=Numbers)
    set_aside: Mapping[str, SetAside] = field(default_factory=dict)
    """By digest: equal bytes are told once, under the smallest path."""
    notes: frozenset[str] = frozenset()
    new_lines: Counter[str] = field(default_factory=Counter)

    def __add__(self, other: Totals) -> Totals:
        set_aside = dict(self.set_aside)
        for digest, told in other.set_aside.items():
            set_aside[digest] = min(told, set_aside.get(digest, told))
        return Totals(
            self.outcomes + other.outcomes,
            self.proposals + other.proposals,
            self.conflicts + other.conflicts,
            self.settled + other.settled,
            self.numbers + other.numbers,
            set_aside,
            self.notes | other.notes,
            self.new_lines + other.new_lines,
        )

    @classmethod
    def of_plan(cls, plan: MergePlan, numbers: Iterable[Numbers]) -> Totals:
        """Count what was joined.

        Args:
            plan: what it comes to.
            numbers: those each session and ledger of it tells of.
        """
        sessions = [m for key, m in plan.merged.items() if key.kind is FileKind.SESSION]
        return cls(
            Counter(merged.outcome for merged in sessions),
            sum(bool(merged.proposals) for merged in plan.merged.values()),
            sum(len(merged.conflicts) for merged in plan.merged.values()),
            sum(len(merged.settled) for merged in plan.merged.values()),
            Numbers.total(numbers),
            {told.digest: told for told in plan.set_aside},
            frozenset(
                say("{path} still holds what was erased by law: see to that copy.", path=copy.path)
                for copy in plan.with_erased
            ),
            sum((merged.new_lines for merged in plan.merged.values()), Counter()),
        )

    @classmethod
    def of_quiet(cls, sums: Sums) -> Totals:
        """Count sessions that stay as they are, by what is remembered of them."""
        return cls(
            Counter({Outcome.UNCHANGED: len(sums.rows)} if sums.rows else {}),
            conflicts=sums.conflicts,
            numbers=sums.numbers,
        )

    def report(self, clients: Clients, merged: Iterable[tuple[str, Merged]]) -> MergeReport:
        """Tell what they come to.

        Args:
            clients: which codes are one person's.
            merged: place and content of whatever may hold a number that was used twice.
        """
        places = ((place, part.unexplained) for place, part in merged)
        return MergeReport(
            added=self.outcomes[Outcome.ADDED],
            updated=self.outcomes[Outcome.UPDATED],
            unchanged=self.outcomes[Outcome.UNCHANGED],
            proposals=self.proposals,
            conflicts_open=self.conflicts + len(clients.conflicts),
            conflicts_settled=self.settled,
            set_aside=tuple(sorted(self.set_aside.values())),
            gaps=find_gaps(self.numbers),
            clones=find_clones(self.numbers, places),
            new_lines=self.new_lines,
        )
