"""Merging a batch of sessions: files are read, joined and judged here, and nothing is written.

Plain data goes in and plain data comes out, so that a batch may run in any process that sees the
same files, and run again: the archive is written by whoever asked, in `archive_writer`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitcore.disk.archive_index import Facts
from fitcore.disk.archive_parts import Part, Totals
from fitcore.disk.erased_copies import ToKeep, without_erased
from fitcore.merge.found import Where
from fitcore.merge.gaps import count_numbers
from fitcore.merge.join import merge_copies
from fitcore.merge.merge import MergePlan, merge_ledgers
from fitcore.record.codec import write_session
from fitcore.record.ledger import write_ledger
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.disk.archive_seen import Copies
    from fitcore.disk.manifest import Listed
    from fitcore.merge.found import Key
    from fitcore.merge.gaps import Numbers
    from fitcore.merge.join import Merged
    from fitcore.merge.ledger_lines import LedgerLines


@dataclass(frozen=True, slots=True)
class ToWrite:
    """One session or ledger to write."""

    key: Key
    content: bytes
    entries: int
    """Lines somebody recorded; 0 where it is carried as it is."""
    before: frozenset[str]
    """What the archive's own file was when it was read, by digest; empty where there was none."""


@dataclass(frozen=True)
class BatchPlan:
    """What a batch comes to."""

    size: int
    """Sessions or ledgers in it."""
    to_keep: tuple[ToKeep, ...]
    """By digest."""
    to_write: tuple[ToWrite, ...]
    """By key."""
    listed: tuple[Listed, ...]
    """Files of the archive as they were read."""
    facts: Mapping[Key, Facts | None]
    """Of all that were read: what may be remembered of them; None where nothing may."""
    totals: Totals


def merge_batch(batch: Sequence[Copies], ledgers: LedgerLines) -> BatchPlan:
    """Merge the copies of some sessions.

    Args:
        batch: where they lie; no session stands in two batches.
        ledgers: what all ledgers say, joined before.
    """
    part = Part()
    for copies in batch:
        part.read(copies)
    merged = {key: merge_copies(key, part.copies[key], ledgers) for key in sorted(part.copies)}
    plan = _plan(MergePlan(merged, ledgers, part.unread_in_order()), part, len(batch))
    return replace(plan, facts={**{copies.key: None for copies in batch}, **plan.facts})


def merge_first(batch: Sequence[Copies]) -> tuple[BatchPlan, dict[Key, Merged], LedgerLines]:
    """Merge all ledgers, which sessions are joined by afterwards.

    Args:
        batch: where ledgers lie, and what is no session and no ledger by its name.

    Returns:
        What they come to, each ledger, and what all of them say together.
    """
    part = Part()
    for copies in batch:
        part.read(copies)
    merged, ledgers = merge_ledgers(part.copies)
    plan = MergePlan(merged, ledgers, part.unread_in_order())
    return _plan(plan, part, len(batch)), merged, ledgers


def join_one(copies: Copies, ledgers: LedgerLines) -> Merged | None:
    """Join the copies of one session or ledger; None where none of them can be read."""
    part = Part()
    part.read(copies)
    found = part.copies.get(copies.key)
    return merge_copies(copies.key, found, ledgers) if found else None


def _plan(plan: MergePlan, part: Part, size: int) -> BatchPlan:
    keep = (
        without_erased(
            ToKeep(
                tuple(part.under[copy.digest]),
                part.raw.get(copy.digest),
                frozenset(part.found_in[copy.digest]),
            ),
            plan.ledgers,
        )
        for copy in plan.to_keep
    )
    write = (
        ToWrite(
            merged.key,
            _content(merged, part),
            len(merged.entries) if merged.carried is None else 0,
            frozenset(part.archive[merged.key]),
        )
        for merged in plan.to_write
        # Of some files only a note is kept: there are no bytes to carry.
        if merged.carried is None or part.raw.get(merged.carried.digest) is not None
    )
    numbers = {key: merged.numbers for key, merged in plan.merged.items()}
    facts = {
        key: _facts(merged, numbers[key], part.stamps.get(key, (0, 0)))
        for key, merged in plan.merged.items()
        if merged.content is not None and merged.carried is None
    }
    return BatchPlan(
        size,
        tuple(keep),
        tuple(write),
        tuple(part.listed),
        facts,
        Totals.of_plan(plan, numbers.values()),
    )


def _content(merged: Merged, part: Part) -> bytes:
    if merged.carried is not None:
        return part.raw[merged.carried.digest] or b""
    content = merged.content
    if isinstance(content, Session):
        return write_session(content).encode()
    return write_ledger(content).encode() if content is not None else b""


def _facts(merged: Merged, numbers: Numbers, stamp: tuple[int, int]) -> Facts:
    own = next((copy.digest for copy in merged.copies if copy.where is Where.ARCHIVE), "")
    if not all(copy.is_whole for copy in merged.copies):
        numbers = count_numbers(merged.entries)  # what waits for an answer is not the file's own
    return Facts(own, *stamp, len(merged.entries), len(merged.conflicts), numbers)
