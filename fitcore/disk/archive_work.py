"""One merge of folders: what was spotted, what it comes to in batches, what is written and noted.

Folders are looked at (`archive_seen`), sessions are merged in batches wherever the engine runs them
(`archive_batch`), and each batch is carried out here, in their order (`archive_writer`): memory
does not grow with what sessions hold, and of each only a few short texts are kept. Copies are set
aside before anything is written over, and the list of files is written last: wherever a merge ends
early, merging again finishes it. Who calls holds the folder.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.disk.archive_batch import join_one, merge_first, quiet_facts
from fitcore.disk.archive_engine import BATCH, PlainEngine
from fitcore.disk.archive_index import Index, Remembered, index_path
from fitcore.disk.archive_parts import Merging, Questions, Totals
from fitcore.disk.archive_scan import path_within
from fitcore.disk.archive_seen import Seen
from fitcore.disk.archive_writer import Writer
from fitcore.disk.manifest import unfinished_exports, write_manifest
from fitcore.merge.clients import Clients, careful_clients
from fitcore.merge.found import FileKind, Key
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from fitcore.disk.archive_batch import BatchPlan
    from fitcore.disk.archive_engine import Engine
    from fitcore.disk.archive_index import Facts
    from fitcore.disk.archive_seen import Copies
    from fitcore.disk.archive_writer import Carried
    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.conflicts import Conflict
    from fitcore.merge.join import Merged


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
        self._seen = Seen(archive, self._index)
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
        self._seen.look_at_archive(refuses_links=refuses_links)
        self._carry_out(self._merge_ledgers()[0])
        sessions = self._seen.sessions()
        done = 0
        for plan in self._engine.run(self._batches(sessions), self._ledgers):
            self._carry_out(plan)
            done += plan.size
            if progress is not None:
                progress(done, len(sessions))
        report = self._totals.report(Clients(self._ledgers), self._twice_used())
        if not self._dry_run:
            self._index.save([key.name for key in sessions])
            del sessions
            self._seen = Seen(self._archive, self._index)  # lets go of what only batches needed
            write_manifest(self._archive, self._writer.listing)
        return Merging(
            report,
            tuple(sorted(self._totals.notes | self._writer.notes)),
            nothing,
            self._totals.numbers,
            tuple(folder for stick in brought for folder in unfinished_exports(stick)),
        )

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
        for copies in self._each(self._seen.sessions()):
            quiet = quiet_facts(copies, self._ledgers)
            if quiet is not None and not quiet.conflicts:
                continue
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

    def _merge_ledgers(self) -> tuple[BatchPlan, dict[Key, Merged]]:
        """Merge ledgers, and take up what is no session and no ledger by its name."""
        besides = list(self._seen.copies(self._seen.besides()))
        plan, merged, self._ledgers = merge_first(besides)
        return plan, merged

    def _batches(self, sessions: Sequence[Key]) -> Iterator[tuple[Copies, ...]]:
        """Yield where the copies of each batch lie; made as they are asked for."""
        for keys in self._engine.split(sessions):
            yield tuple(self._seen.copies(keys))

    def _each(self, keys: Sequence[Key]) -> Iterator[Copies]:
        """Yield where the copies of each lie; made as they are asked for."""
        for start in range(0, len(keys), BATCH):
            yield from self._seen.copies(keys[start : start + BATCH])

    def _carry_out(self, plan: BatchPlan) -> None:
        self._totals += plan.totals
        carried = self._writer.carry_out(plan)
        self._index.note(dict(self._to_remember(plan.facts, carried)))

    def _to_remember(
        self, found: Mapping[Key, Facts | None], carried: Carried
    ) -> Iterator[tuple[str, Remembered | None]]:
        """Yield what each session that was read comes to, for the next merge, by its id."""
        for key, facts in found.items():
            if key.kind is not FileKind.SESSION:
                continue
            name = path_within(key)
            listed, time = carried.listed.get(name), carried.times.get(name)
            if time is None and (filed := self._seen.filed(key)) is not None:
                time = filed.mtime_ns
            if facts is None or listed is None or not listed.entries or time is None:
                yield key.name, None
            else:
                noted = replace(facts, digest=listed.digest)
                yield key.name, Remembered(listed.size, time, self._noted_ns, noted)

    def _twice_used(self) -> Iterator[tuple[str, Merged]]:
        """Yield what may hold a number that was used twice, joined again."""
        twice = self._totals.numbers.twice
        if not twice:
            return
        keys = self._seen.everything()
        for start in range(0, len(keys), BATCH):
            some = keys[start : start + BATCH]
            noted = self._index.noted([key.name for key in some])
            for copies in self._seen.copies([key for key in some if key.name]):
                known = noted.get(copies.key.name)
                used = known.facts.numbers.used if known is not None else twice
                if any(name in used and (used[name] & twice[name]).spans for name in twice):
                    merged = join_one(copies, self._ledgers)
                    if merged is not None:
                        yield copies.key.place, merged
