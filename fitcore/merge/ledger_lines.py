"""What all ledgers together say of sessions: what is erased, and what was ruled of changed lines.

Erasing is the only step that destroys anything, so it is never taken back: *content < erased*. A
line taken over from a file changed outside is taken for good as well, and struck out like any
other; otherwise the archive would depend on which stick came first.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from fitcore.record.entries import Draft
from fitcore.record.session import Heads

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence
    from datetime import datetime

    from fitcore.record.entries import Entry

TAKEN, CORRECTED, REFUSED = "taken", "corrected", "refused"
"""What may be ruled of a changed line: taken over as it is, written as a correction, refused."""


@dataclass(frozen=True)
class LedgerLines:
    """The entries of all ledgers."""

    entries: frozenset[Entry] = field(default_factory=frozenset)

    @cached_property
    def heads(self) -> Heads:
        """What of them holds."""
        return Heads(self.entries)

    @property
    def with_erased(self) -> Collection[str]:
        """Ids of the sessions something is erased in."""
        return self._erased.keys()

    def erased_in(self, session_id: str) -> frozenset[str]:
        """Return the names of a session's entries whose content is erased."""
        return self._erased.get(session_id, frozenset())

    def is_taken(self, proposal_id: str) -> bool:
        """Whether a changed line was ever taken over as it is."""
        return proposal_id in self._taken

    def is_ruled(self, proposal_id: str) -> bool:
        """Whether somebody has answered for a changed line and has not taken that back."""
        return proposal_id in self._ruled

    @cached_property
    def _erased(self) -> dict[str, frozenset[str]]:
        found: defaultdict[str, set[str]] = defaultdict(set)
        for entry in self.entries:
            if entry.array == "erasures":
                found[entry.text("session")].update(entry.names("erases"))
        return {session: frozenset(names) for session, names in found.items()}

    @cached_property
    def _taken(self) -> frozenset[str]:
        return frozenset(
            entry.text("proposal")
            for entry in self.entries
            if entry.array == "outside" and entry.fields.get("is") == TAKEN
        )

    @cached_property
    def _ruled(self) -> frozenset[str]:
        return frozenset(entry.text("proposal") for entry in self.heads.heads_of("outside"))


def gather(ledgers: Iterable[frozenset[Entry]]) -> LedgerLines:
    """Put the entries of several ledgers together."""
    return LedgerLines(frozenset(entry for entries in ledgers for entry in entries))


def draft_erasure(
    session_id: str, names: Sequence[str], *, who: str, why: str, at: datetime
) -> Draft:
    """Erase the content of entries by law, for the ledger; it cannot be taken back.

    Args:
        session_id: the session they stand in.
        names: their names, which stay.
        who: who decided it.
        why: on what ground.
        at: the instant, from the caller's clock.
    """
    return Draft(
        "erasures",
        at,
        {"session": session_id, "erases": list(names), "who": who, "why": why},
    )
