"""Joining all copies of one session or one ledger: the fold that every engine may run in parts.

Sealed copies are united. Copies changed outside change nothing until a person has answered. Copies
of a newer program are carried as they are. Order, repetition and grouping of copies change nothing.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property, reduce
from typing import TYPE_CHECKING

from fitcore.merge.conflicts import find_conflicts, settled_conflicts, waiting_for
from fitcore.merge.found import FileKind, Where
from fitcore.merge.gaps import count_numbers
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.merge.proposals import find_proposals, id_of_line, waiting_entries
from fitcore.problems import Problem
from fitcore.record.ledger import Ledger, join_ledgers
from fitcore.record.session import Session, erase_entries, join

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.identity import EntryId
    from fitcore.merge.conflicts import Conflict
    from fitcore.merge.found import Found, Key
    from fitcore.merge.gaps import Numbers
    from fitcore.merge.proposals import Proposal
    from fitcore.record.entries import Entry


class Outcome(StrEnum):
    """What becomes of the archive's file."""

    ADDED = "added"
    UPDATED = "updated"
    UNCHANGED = "unchanged"
    NOTHING = "nothing"
    """There is nothing to write: only unreadable files were found."""


@dataclass(frozen=True)
class Merged:
    """One session or ledger, all copies joined."""

    key: Key
    content: Session | Ledger | None
    """What is written canonically; None where no sealed copy is there."""
    carried: Found | None
    """The file written as it is instead, byte for byte: of a newer program, or the only copy and
    changed outside. None where `content` is written, or nothing."""
    kept: tuple[Found, ...]
    """Copies to keep beside the archive for what they alone hold, by digest."""
    proposals: tuple[Proposal, ...]
    """Changed lines nobody has answered for yet."""
    outcome: Outcome
    before: Session | Ledger | None
    """What the archive held, where it was sealed."""
    copies: tuple[Found, ...]
    """All copies, by digest."""
    ledgers: LedgerLines = field(default_factory=LedgerLines, repr=False, compare=False)
    """What all ledgers say, as it was joined by."""

    @property
    def entries(self) -> frozenset[Entry]:
        """The entries that hold."""
        return self.content.entries if self.content is not None else frozenset()

    @property
    def unexplained(self) -> frozenset[Entry]:
        """The entries that hold, without lines taken over whose sealed original came later.

        Both bear one name because a person took the changed line; no disk was copied. Where they
        are about the same thing they are asked about; where not, nothing is explained.
        """
        by_name: defaultdict[EntryId, list[Entry]] = defaultdict(list)
        for entry in self.entries:
            by_name[entry.by].append(entry)
        return self.entries - {
            entry
            for twins in by_name.values()
            if len(twins) > 1
            for entry in twins
            if self._is_taken(entry)
            and any(not self._is_taken(o) and _about(o) == _about(entry) for o in twins)
        }

    def _is_taken(self, entry: Entry) -> bool:
        return self.ledgers.is_taken(id_of_line(self.key, entry.by, entry))

    @property
    def numbers(self) -> Numbers:
        """Which numbers it tells of."""
        waiting = waiting_entries(copy for copy in self.copies if not copy.is_whole)
        return count_numbers(self.entries, waiting)

    @property
    def session(self) -> Session | None:
        """The session as it stands: its sealed lines; where no copy is sealed, one unsealed copy.

        A stop in a session that came without a whole seal must not be missed.
        """
        if isinstance(self.content, Session):
            return self.content
        copies = (*([self.carried] if self.carried is not None else []), *self.copies)
        readable = (copy.content for copy in copies if isinstance(copy.content, Session))
        return next(readable, None)

    @cached_property
    def conflicts(self) -> tuple[Conflict, ...]:
        """Open questions; a ledger has none of its own."""
        return find_conflicts(self.content) if isinstance(self.content, Session) else ()

    @cached_property
    def settled(self) -> tuple[Conflict, ...]:
        """Questions that were open in the archive and are not any more."""
        if not isinstance(self.before, Session):
            return ()
        if self.outcome is Outcome.UNCHANGED:
            return ()
        return settled_conflicts(find_conflicts(self.before), self.conflicts)

    @property
    def new_lines(self) -> Counter[str]:
        """How many lines the archive did not have, by the array they stand in."""
        if self.outcome not in (Outcome.ADDED, Outcome.UPDATED):
            return Counter()
        known = self.before.entries if self.before is not None else frozenset()
        return Counter(entry.array for entry in self.entries - known)

    @property
    def waiting_for(self) -> tuple[str, ...]:
        """Names its entries point at that have not arrived."""
        return waiting_for(self.content) if isinstance(self.content, Session) else ()

    def found_in(self, entry: Entry) -> tuple[str, ...]:
        """Return the files an entry was found in, sorted."""
        return tuple(sorted({copy.path for copy in self.copies if entry in copy.entries}))


def merge_copies(key: Key, copies: Iterable[Found], ledgers: LedgerLines) -> Merged:
    """Join all copies of one session or ledger.

    Args:
        key: what all of them are copies of.
        copies: in any order, the archive's own and those kept earlier included.
        ledgers: what all ledgers say, joined before.
    """
    all_copies = _in_order(copies)
    readable = [copy for copy in all_copies if not isinstance(copy.content, Problem)]
    sealed = [copy for copy in readable if copy.is_whole]
    broken = [copy for copy in readable if not copy.is_whole]
    erased = ledgers.erased_in(key.name) if key.kind is FileKind.SESSION else frozenset[str]()
    content = _join([copy.content for copy in sealed if not isinstance(copy.content, Problem)])
    # A line that was taken and erased is looked for too: whichever was heard of first, what is left
    # of it is its name.
    shown = find_proposals(key, content.entries if content else frozenset(), broken)
    if taken := [p.proposed for p in shown if p.proposed and ledgers.is_taken(p.id)]:
        blank = Session(key.name, frozenset())
        base = content or (blank if key.kind is FileKind.SESSION else Ledger(key.name))
        content = base.with_entries(*taken)
    proposals = find_proposals(key, content.entries if content else frozenset(), broken, erased)
    if content is not None and erased:
        content = replace(content, entries=erase_entries(content.entries, erased))
    newer = [copy for copy in all_copies if copy.is_newer]
    # Without a sealed copy the file of the smallest digest stands for all: any would do, as long
    # as every machine takes the same.
    carried = None if content is not None else next(iter([*newer, *broken]), None)
    before = next((copy for copy in all_copies if copy.where is Where.ARCHIVE), None)
    return Merged(
        key,
        content,
        carried,
        tuple(
            copy
            for copy in all_copies
            if not copy.is_whole and (carried is None or copy.digest != carried.digest)
        ),
        tuple(proposal for proposal in proposals if not ledgers.is_ruled(proposal.id)),
        _outcome(before, content, carried),
        before.content
        if before is not None and before.is_whole and not isinstance(before.content, Problem)
        else None,
        tuple(all_copies),
        ledgers,
    )


def _about(entry: Entry) -> tuple[str, ...]:
    """Return what a line is about: its field, or its place and round."""
    keys = ("what", "side", "point", "kind")
    return (entry.array, *(entry.text(key) for key in keys), str(entry.fields.get("round")))


def _in_order(copies: Iterable[Found]) -> list[Found]:
    """Sort copies by their bytes; equal bytes stay side by side, each with its own path."""
    places = list(Where)
    unique = dict.fromkeys(copies)
    return sorted(unique, key=lambda copy: (copy.digest, places.index(copy.where), copy.path))


def _join(contents: list[Session | Ledger]) -> Session | Ledger | None:
    sessions = [content for content in contents if isinstance(content, Session)]
    ledgers = [content for content in contents if isinstance(content, Ledger)]
    if sessions:
        return reduce(join, sessions)
    return reduce(join_ledgers, ledgers) if ledgers else None


def _outcome(
    before: Found | None, content: Session | Ledger | None, carried: Found | None
) -> Outcome:
    if content is None and carried is None:
        return Outcome.NOTHING
    if before is None:
        return Outcome.ADDED
    same = before.digest == carried.digest if carried is not None else before.content == content
    return Outcome.UNCHANGED if same else Outcome.UPDATED
