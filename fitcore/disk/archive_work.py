"""One merge of folders: what was spotted, what it comes to in batches, what is written and noted.

Folders are looked at (`archive_seen`), what surely stays as it is is only counted (`archive_sift`),
the other sessions are merged in batches wherever the engine runs them (`archive_batch`), and each
batch is carried out here, in their order (`archive_writer`): memory does not grow with what
sessions hold, and of each only a few short texts are kept. Copies are set aside before anything is
written over, and the list of files is written last: wherever a merge ends early, merging again
finishes it. Who calls holds the folder.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.archive_batch import join_one, merge_first
from fitcore.disk.archive_engine import PlainEngine
from fitcore.disk.archive_index import (
    Index,
    has_questions,
    index_path,
    numbers_of,
    stamped_anew,
    sum_up,
)
from fitcore.disk.archive_parts import Merging, Questions, Totals
from fitcore.disk.archive_scan import SESSIONS, path_within, unnamed_folders
from fitcore.disk.archive_seen import Seen
from fitcore.disk.archive_sift import sift
from fitcore.disk.archive_writer import Writer
from fitcore.disk.manifest import unfinished_exports, write_manifest
from fitcore.merge.clients import Clients, careful_clients
from fitcore.merge.found import FileKind
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.record.session import Session
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from fitcore.disk.archive_batch import BatchPlan
    from fitcore.disk.archive_engine import Engine
    from fitcore.disk.archive_index import Facts
    from fitcore.disk.archive_seen import Copies
    from fitcore.disk.archive_sift import Sifted
    from fitcore.disk.archive_writer import Carried
    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.conflicts import Conflict
    from fitcore.merge.found import Key
    from fitcore.merge.join import Merged
    from fitcore.merge.ranges import Ranges

_MOST_NAMES = 10
"""Folders named in one note; more are counted (ours)."""


class Work:
    """The state of one merge."""

    def __init__(
        self,
        archive: Path,
        surroundings: Surroundings,
        *,
        dry_run: bool,
        engine: Engine | None = None,
    ) -> None:
        self._archive = archive
        self._dry_run = dry_run
        self._engine = engine or PlainEngine()
        self._noted_ns = int(surroundings.now().timestamp() * 1_000_000_000)
        cache = surroundings.cache_folder
        self._index = Index(index_path(cache, archive) if cache is not None else None)
        self._seen = Seen(archive)
        self._writer = Writer(archive, self._seen.blocked, dry_run=dry_run)
        self._totals = Totals()
        self._ledgers = LedgerLines()

    def merge(
        self,
        sticks: Sequence[Path],
        progress: Callable[[int, int], None] | None,
        *,
        refuses_links: bool = True,
    ) -> Merging:
        """Do it, once.

        Raises:
            FileFault: it cannot be read or written, or a link stands in the archive.
        """
        with self._index:
            return self._merge(sticks, progress, refuses_links)

    def _merge(
        self,
        sticks: Sequence[Path],
        progress: Callable[[int, int], None] | None,
        refuses_links: bool,  # noqa: FBT001 - private, one use
    ) -> Merging:
        brought = tuple(dict.fromkeys(sticks))
        nothing = tuple(stick for stick in brought if not self._seen.look_at_stick(stick))
        unnamed = _unnamed_notes(brought, self._archive)
        self._seen.look_at_archive(refuses_links=refuses_links)
        self._carry_out(self._merge_ledgers()[0])
        of = 0
        if progress is not None:
            of = sum(len(shelf.names) for shelf in self._seen.shelves())
        told = _Told(progress, of)
        for plan in self._engine.run(self._engine.split(self._to_read(told)), self._ledgers):
            self._carry_out(plan)
            told.add(plan.size)
        report = self._totals.report(Clients(self._ledgers), self._twice_used())
        if not self._dry_run:
            self._index.save(self._seen.months())
            self._seen = Seen(self._archive)  # lets go of what only batches needed
            write_manifest(self._archive, self._writer.listing)
        return Merging(
            report,
            (*unnamed.values(), *sorted(self._totals.notes | self._writer.notes)),
            tuple(stick for stick in nothing if stick not in unnamed),
            self._totals.numbers,
            tuple(folder for stick in brought for folder in unfinished_exports(stick)),
        )

    def _to_read(self, told: _Told) -> Iterator[Copies]:
        """Yield where the copies of each session lie that must be read; count the others."""
        for shelf in self._seen.shelves():
            sifted = sift(shelf, self._index.month(shelf.name), self._ledgers.with_erased)
            sums = sum_up(sifted.quiet)
            self._totals += Totals.of_quiet(sums)
            self._writer.listing.add_sessions(f"{SESSIONS}/{shelf.name}/", sums.rows)
            self._index.note(self._to_note_of(sifted))
            told.add(len(sifted.quiet))
            yield from map(shelf.copies, sifted.left)

    def _to_note_of(self, sifted: Sifted) -> Iterator[tuple[str, str | None]]:
        for name, stamp in sifted.again.items():
            yield name, stamped_anew(sifted.quiet[name], stamp, self._noted_ns)
        for name in sifted.gone:
            yield name, None

    def questions(self) -> Questions:
        """Read only the sessions something is open in, once."""
        with self._index:
            return self._questions()

    def _questions(self) -> Questions:
        self._seen.look_at_archive()
        merged_ledgers = self._merge_ledgers()[1]
        proposals = [p for merged in merged_ledgers.values() for p in merged.proposals]
        clients = careful_clients(self._ledgers, proposals)
        conflicts: list[Conflict] = list(clients.conflicts)
        sessions = {}
        for copies in self._perhaps_asked():
            merged = join_one(copies, self._ledgers)
            if merged is None:
                continue
            conflicts += merged.conflicts
            proposals += merged.proposals
            if isinstance(merged.content, Session) and (merged.conflicts or merged.proposals):
                sessions[copies.key.name] = merged.content
        return Questions(
            tuple(sorted(conflicts, key=lambda conflict: conflict.order)),
            tuple(sorted(proposals, key=lambda proposal: proposal.order)),
            clients,
            sessions,
        )

    def _perhaps_asked(self) -> Iterator[Copies]:
        """Yield where the copies of each session lie that something may be open in."""
        for shelf in self._seen.shelves():
            sifted = sift(shelf, self._index.month(shelf.name), self._ledgers.with_erased)
            asked = (name for name, line in sifted.quiet.items() if has_questions(line))
            yield from map(shelf.copies, sorted([*sifted.left, *asked]))

    def _merge_ledgers(self) -> tuple[BatchPlan, dict[Key, Merged]]:
        """Merge ledgers, and take up what is no session and no ledger by its name."""
        plan, merged, self._ledgers = merge_first(self._seen.besides())
        return plan, merged

    def _carry_out(self, plan: BatchPlan) -> None:
        self._totals += plan.totals
        carried = self._writer.carry_out(plan)
        self._index.note(self._to_note(plan.facts, carried))

    def _to_note(
        self, found: Mapping[Key, Facts | None], carried: Carried
    ) -> Iterator[tuple[str, str | None]]:
        """Yield what each session that was read comes to, for the next merge, by its id."""
        for key, facts in found.items():
            if key.kind is not FileKind.SESSION:
                continue
            name = path_within(key)
            listed = carried.listed.get(name)
            if facts is None or listed is None or not listed.entries:
                yield key.name, None
            else:
                time = carried.times.get(name, facts.mtime_ns)
                now = replace(facts, digest=listed.digest, size=listed.size, mtime_ns=time)
                yield key.name, now.line(self._noted_ns)

    def _twice_used(self) -> Iterator[tuple[str, Merged]]:
        """Yield what may hold a number that was used twice, joined again."""
        twice = self._totals.numbers.twice
        if not twice:
            return
        for copies in chain(self._named_besides(), self._with_numbers(twice)):
            merged = join_one(copies, self._ledgers)
            if merged is not None:
                yield copies.key.place, merged

    def _named_besides(self) -> Iterator[Copies]:
        return (copies for copies in self._seen.besides() if copies.key.name)

    def _with_numbers(self, wanted: Mapping[str, Ranges]) -> Iterator[Copies]:
        """Yield where the copies of each session lie that may tell of some numbers."""
        for shelf in self._seen.shelves():
            lines = self._index.month_now(shelf.name)
            for name in shelf.names:
                used = numbers_of(lines[name]).used if name in lines else wanted
                if any(
                    laptop in used and (used[laptop] & wanted[laptop]).spans for laptop in wanted
                ):
                    yield shelf.copies(name)


def _unnamed_notes(brought: Sequence[Path], archive: Path) -> dict[Path, str]:
    """Say which sticks hold folders of laptops that nobody named and no name tells of, by stick."""
    named = {place.resolve() for place in (*brought, archive)}
    notes = {}
    for stick in brought:
        found = [
            visible(folder.name)
            for folder in unnamed_folders(stick)
            if folder.resolve() not in named
        ]
        if not found:
            continue
        if (more := len(found) - _MOST_NAMES) > 0:
            found = [*found[:_MOST_NAMES], say("and {count} more", count=more)]
        notes[stick] = say(
            "{stick} also holds {names}, which look like laptops' folders and were not merged: "
            "name each of them.",
            stick=visible(str(stick)),
            names=", ".join(found),
        )
    return notes


@dataclass
class _Told:
    """How far a merge is, as somebody is told."""

    progress: Callable[[int, int], None] | None
    of: int
    """All sessions."""
    done: int = 0

    def add(self, sessions: int) -> None:
        """Tell that some more are done."""
        self.done += sessions
        if self.progress is not None and sessions:
            self.progress(self.done, self.of)
