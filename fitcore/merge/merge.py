"""The whole merge as a plan: what to write, what to keep beside, what to ask, what to report.

Nothing is read or written here. The plan depends on what was found, not on the order of sticks.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from fitcore.merge.clients import Clients
from fitcore.merge.clock_notes import clock_notes
from fitcore.merge.found import FileKind, Found, Key, Where, digest_bytes
from fitcore.merge.gaps import Numbers, find_clones, find_gaps
from fitcore.merge.join import Outcome, merge_copies
from fitcore.merge.ledger_lines import LedgerLines, gather
from fitcore.merge.report import MergeReport, SetAside
from fitcore.problems import Problem
from fitcore.record.codec import write_session
from fitcore.record.ledger import write_ledger
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from fitcore.merge.clock_notes import ClockNote
    from fitcore.merge.conflicts import Conflict
    from fitcore.merge.gaps import Clone, Gap
    from fitcore.merge.join import Merged
    from fitcore.merge.proposals import Proposal


@dataclass(frozen=True)
class MergePlan:
    """What a merge comes to."""

    merged: Mapping[Key, Merged]
    """Every session and ledger, sorted by key."""
    ledgers: LedgerLines
    """What all ledgers say."""
    unread: tuple[Found, ...]
    """Files that cannot be read, by digest and path."""

    @cached_property
    def clients(self) -> Clients:
        """Which codes are one person's."""
        return Clients(self.ledgers)

    @cached_property
    def clock_notes(self) -> tuple[ClockNote, ...]:
        """How wrong clocks were, by what people said."""
        return clock_notes(self.ledgers)

    @cached_property
    def numbers(self) -> Numbers:
        """The numbers of all laptops."""
        return sum((merged.numbers for merged in self.merged.values()), Numbers())

    @cached_property
    def gaps(self) -> tuple[Gap, ...]:
        """What is missing of each laptop."""
        return find_gaps(self.numbers)

    @cached_property
    def clones(self) -> tuple[Clone, ...]:
        """Names used twice."""
        places = ((key.place, merged.unexplained) for key, merged in self.merged.items())
        return find_clones(self.numbers, places)

    @cached_property
    def conflicts(self) -> tuple[Conflict, ...]:
        """All open questions, what bears on safety first."""
        found = [conflict for merged in self.merged.values() for conflict in merged.conflicts]
        return tuple(sorted([*found, *self.clients.conflicts], key=lambda c: c.order))

    @cached_property
    def proposals(self) -> tuple[Proposal, ...]:
        """All changed lines nobody has answered for, sorted."""
        return tuple(p for merged in self.merged.values() for p in merged.proposals)

    @property
    def to_write(self) -> tuple[Merged, ...]:
        """Sessions and ledgers whose file changes: `content` canonically, else `carried`."""
        return tuple(
            merged
            for merged in self.merged.values()
            if merged.outcome in (Outcome.ADDED, Outcome.UPDATED)
        )

    @property
    def to_keep(self) -> tuple[Found, ...]:
        """Copies to keep beside the archive, bytes unchanged, one for each digest."""
        kept = [*self.unread, *(copy for merged in self.merged.values() for copy in merged.kept)]
        by_digest = {copy.digest: copy for copy in sorted(kept, key=_file_order, reverse=True)}
        return tuple(by_digest[digest] for digest in sorted(by_digest))

    @property
    def with_erased(self) -> tuple[Found, ...]:
        """Copies carried or kept that still hold what was erased: a person must see to them."""
        return tuple(
            copy
            for key, merged in self.merged.items()
            for copy in merged.copies
            if not copy.is_whole
            and any(
                not entry.erased and str(entry.by) in self.ledgers.erased_in(key.name)
                for entry in copy.entries
            )
        )

    @cached_property
    def report(self) -> MergeReport:
        """Counts and lists for people and programs."""
        sessions = [m for key, m in self.merged.items() if key.kind is FileKind.SESSION]
        outcomes = [merged.outcome for merged in sessions]
        settled = sum(len(merged.settled) for merged in sessions)
        return MergeReport(
            added=outcomes.count(Outcome.ADDED),
            updated=outcomes.count(Outcome.UPDATED),
            unchanged=outcomes.count(Outcome.UNCHANGED),
            proposals=sum(bool(merged.proposals) for merged in self.merged.values()),
            conflicts_open=len(self.conflicts),
            conflicts_settled=settled,
            set_aside=self.set_aside,
            gaps=self.gaps,
            clones=self.clones,
            new_lines=sum((merged.new_lines for merged in self.merged.values()), Counter()),
        )

    @property
    def set_aside(self) -> tuple[SetAside, ...]:
        """What this merge's sticks brought and nobody can read; equal bytes once."""
        brought: dict[str, SetAside] = {}
        newer = [c for m in self.merged.values() for c in m.kept if c.is_newer]
        for copy in sorted([*self.unread, *newer], key=_file_order, reverse=True):
            if copy.where is not Where.KEPT and isinstance(copy.content, Problem):
                code, text = copy.content.code, copy.content.text
                brought[copy.digest] = SetAside(copy.path, code, text, copy.digest)
        return tuple(sorted(brought.values()))

    def archive(self) -> tuple[Found, ...]:
        """Return the archive as the next merge will find it once the plan is carried out."""
        files = [_written(merged) for merged in self.merged.values()]
        kept = [replace(copy, where=Where.KEPT) for copy in self.to_keep]
        return (*(file for file in files if file is not None), *kept)


def merge(archive: Iterable[Found], *sources: Iterable[Found]) -> MergePlan:
    """Merge an archive with what sticks bring.

    Args:
        archive: its files, and the copies it kept beside them.
        sources: the files of each stick; any order, any repetition.
    """
    found = [*archive, *(file for source in sources for file in source)]
    copies: defaultdict[Key, list[Found]] = defaultdict(list)
    unread = []
    for file in found:
        if isinstance(file.content, Problem) and not (file.is_newer and file.name):
            unread.append(file)
        else:
            copies[file.key].append(file)
    merged, ledgers = merge_ledgers(copies)
    for key in sorted(key for key in copies if key.kind is FileKind.SESSION):
        merged[key] = merge_copies(key, copies[key], ledgers)
    return MergePlan(merged, ledgers, tuple(sorted(unread, key=_file_order)))


def merge_ledgers(copies: Mapping[Key, Sequence[Found]]) -> tuple[dict[Key, Merged], LedgerLines]:
    """Join all ledgers, which sessions are joined by afterwards.

    Args:
        copies: all copies of each ledger; sessions are left out.

    Returns:
        Each ledger, sorted by key, and what all of them say together.
    """
    keys = sorted(key for key in copies if key.kind is FileKind.LEDGER)
    ledgers = gather(copy.entries for key in keys for copy in copies[key] if copy.is_whole)
    while True:
        merged = {key: merge_copies(key, copies[key], ledgers) for key in keys}
        together = gather(ledger.entries for ledger in merged.values())
        # A changed line of a ledger that was taken over may itself say what is taken over.
        if together == ledgers:
            return merged, ledgers
        ledgers = together


def _file_order(file: Found) -> tuple[str, str, str]:
    return (file.digest, file.path, file.where)


def _written(merged: Merged) -> Found | None:
    if merged.carried is not None:
        return replace(merged.carried, where=Where.ARCHIVE)
    if merged.content is None:
        return None
    content = merged.content
    text = write_session(content) if isinstance(content, Session) else write_ledger(content)
    return Found(
        merged.key.kind,
        merged.key.name,
        Where.ARCHIVE,
        merged.key.place,
        digest_bytes(text.encode()),
        content,
    )
