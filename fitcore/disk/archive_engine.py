"""Where batches of sessions are merged: here, one after the other, or wherever an engine runs them.

Every engine runs `merge_batch` and nothing else. It may run a batch anywhere, and again where the
first try was lost: joining is idempotent, and only the coordinator's process writes.
"""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Protocol

from fitcore.disk.archive_batch import merge_batch

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from fitcore.disk.archive_batch import BatchPlan
    from fitcore.disk.archive_seen import Copies
    from fitcore.merge.ledger_lines import LedgerLines

BATCH = 200
"""Sessions held in memory at once; ours."""


class Engine(Protocol):
    """Something that merges batches."""

    def split(self, sessions: Iterable[Copies]) -> Iterable[Sequence[Copies]]:
        """Part sessions into batches; each stands in exactly one. Any parting ends the same.

        Args:
            sessions: where their copies lie, sorted; made as they are asked for.
        """

    def run(self, batches: Iterable[Sequence[Copies]], ledgers: LedgerLines) -> Iterator[BatchPlan]:
        """Yield what each batch comes to, in their order, and hold only a few of them at once."""


class PlainEngine:
    """One batch after the other, in this process."""

    def split(self, sessions: Iterable[Copies]) -> Iterable[Sequence[Copies]]:
        """Part sessions as they come: those of one month lie in one folder."""
        waiting = iter(sessions)
        while batch := tuple(islice(waiting, BATCH)):
            yield batch

    def run(self, batches: Iterable[Sequence[Copies]], ledgers: LedgerLines) -> Iterator[BatchPlan]:
        """Yield what each batch comes to."""
        return (merge_batch(batch, ledgers) for batch in batches)
