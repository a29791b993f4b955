"""Parts of a merge of folders: what files hold, the sums so far, and what it comes to."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitcore.merge.found import FileKind, Where
from fitcore.merge.gaps import Numbers, find_clones, find_gaps
from fitcore.merge.join import Outcome
from fitcore.merge.report import MergeReport
from fitcore.problems import Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

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

    def add(self, found: Found, raw: bytes | None, found_in: Iterable[str]) -> None:
        """Take a file in."""
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

    def digests_of_archive(self, key: Key) -> set[str]:
        """Return what the archive's own file was when it was read."""
        return self.archive[key]


@dataclass
class Totals:
    """What the parts merged so far come to."""

    outcomes: defaultdict[Outcome, int] = field(default_factory=lambda: defaultdict(int))
    """Of sessions alone."""
    proposals: int = 0
    conflicts: int = 0
    settled: int = 0
    numbers: Numbers = field(default_factory=Numbers)
    set_aside: dict[str, SetAside] = field(default_factory=dict)
    """By digest: equal bytes are told once, under the smallest path."""
    notes: set[str] = field(default_factory=set)

    def add(self, plan: MergePlan) -> dict[Key, Numbers]:
        """Count a part of the archive and return the numbers each of it tells of."""
        numbers = {key: merged.numbers for key, merged in plan.merged.items()}
        for key, merged in plan.merged.items():
            if key.kind is FileKind.SESSION:
                self.outcomes[merged.outcome] += 1
            self.proposals += bool(merged.proposals)
            self.conflicts += len(merged.conflicts)
            self.settled += len(merged.settled)
            self.numbers += numbers[key]
        for told in plan.set_aside:
            known = self.set_aside.setdefault(told.digest, told)
            self.set_aside[told.digest] = min(known, told)
        for copy in plan.with_erased:
            self.notes.add(
                say("{path} still holds what was erased by law: see to that copy.", path=copy.path)
            )
        return numbers

    def report(self, clients: Clients, merged: Iterable[tuple[str, Merged]]) -> MergeReport:
        """Put the parts together."""
        places = ((place, part.entries) for place, part in merged)
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
        )
