"""One merge of folders: what was spotted, what it comes to in batches, what is written and noted.

Folders are looked at (`archive_seen`), sessions are merged in batches wherever the engine runs them
(`archive_batch`), and each batch is carried out here, in their order (`archive_writer`): memory
does not grow with what sessions hold. Copies are set aside before anything is written over, and the
list of files is written last: wherever a merge ends early, merging again finishes it. Who calls
holds the folder.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.disk.archive_batch import join_one, merge_first, quiet_facts
from fitcore.disk.archive_engine import PlainEngine
from fitcore.disk.archive_index import Remembered, index_path, read_index, write_index
from fitcore.disk.archive_parts import Merging, Questions, Totals
from fitcore.disk.archive_scan import place_of
from fitcore.disk.archive_seen import Seen
from fitcore.disk.archive_writer import Writer
from fitcore.disk.manifest import unfinished_exports, write_manifest
from fitcore.merge.clients import Clients
from fitcore.merge.found import FileKind, Key
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from fitcore.disk.archive_batch import BatchPlan
    from fitcore.disk.archive_engine import Engine
    from fitcore.disk.archive_index import Facts
    from fitcore.disk.archive_seen import Copies
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
        self._index = index_path(cache, archive) if cache is not None else None
        self._seen = Seen(archive, read_index(self._index) if self._index is not None else {})
        self._writer = Writer(archive, self._seen.blocked, dry_run=dry_run)
        self._facts: dict[Key, Facts] = {}
        self._totals = Totals()
        self._ledgers = LedgerLines()

    def merge(self, sticks: Sequence[Path], progress: Callable[[int, int], None] | None) -> Merging:
        """Do it."""
        brought = tuple(dict.fromkeys(sticks))
        nothing = tuple(stick for stick in brought if not self._seen.look_at_stick(stick))
        self._seen.look_at_archive()
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
            self._remember()
            write_manifest(self._archive, self._writer.listed.values())
        return Merging(
            report,
            tuple(sorted(self._totals.notes | self._writer.notes)),
            nothing,
            self._totals.numbers,
            tuple(folder for stick in brought for folder in unfinished_exports(stick)),
        )

    def questions(self) -> Questions:
        """Read only the sessions something is open in."""
        self._seen.look_at_archive()
        merged_ledgers = self._merge_ledgers()[1]
        clients = Clients(self._ledgers)
        conflicts: list[Conflict] = list(clients.conflicts)
        proposals = [p for merged in merged_ledgers.values() for p in merged.proposals]
        sessions = {}
        for key in self._seen.sessions():
            copies = self._seen.copies(key)
            quiet = quiet_facts(copies, self._ledgers)
            if quiet is not None and not quiet.conflicts:
                continue
            merged = join_one(copies, self._ledgers)
            if merged is None:
                continue
            conflicts += merged.conflicts
            proposals += merged.proposals
            if isinstance(merged.content, Session) and (merged.conflicts or merged.proposals):
                sessions[key.name] = merged.content
        return Questions(
            tuple(sorted(conflicts, key=lambda conflict: conflict.order)),
            tuple(sorted(proposals, key=lambda proposal: proposal.order)),
            clients,
            sessions,
        )

    def _merge_ledgers(self) -> tuple[BatchPlan, dict[Key, Merged]]:
        """Merge ledgers, and take up what is no session and no ledger by its name."""
        besides = [self._seen.copies(key) for key in self._seen.besides()]
        plan, merged, self._ledgers = merge_first(besides)
        return plan, merged

    def _batches(self, sessions: Sequence[Key]) -> Iterator[tuple[Copies, ...]]:
        """Yield where the copies of each batch lie; made as they are asked for."""
        for keys in self._engine.split(sessions):
            yield tuple(self._seen.copies(key) for key in keys)

    def _carry_out(self, plan: BatchPlan) -> None:
        self._totals += plan.totals
        self._facts.update(plan.facts)
        self._writer.carry_out(plan)

    def _twice_used(self) -> Iterator[tuple[str, Merged]]:
        """Yield what may hold a number that was used twice, joined again."""
        twice = self._totals.numbers.twice
        for key in self._seen.everything():
            known = self._facts.get(key)
            used = known.numbers.used if known is not None else twice
            if any(name in used and (used[name] & twice[name]).spans for name in twice):
                merged = join_one(self._seen.copies(key), self._ledgers) if key.name else None
                if merged is not None:
                    yield key.place, merged

    def _remember(self) -> None:
        """Note what each sealed session comes to, for the next merge."""
        if self._index is None:
            return
        times = self._seen.times()
        remembered = {}
        for key, facts in self._facts.items():
            path = place_of(self._archive, key)
            name = self._writer.name(key)
            listed = self._writer.listed.get(name)
            if key.kind is not FileKind.SESSION or listed is None or not listed.entries:
                continue
            time = path.stat().st_mtime_ns if name in self._writer.written else times[name]
            noted = replace(facts, digest=listed.digest)
            remembered[name] = Remembered(listed.size, time, self._noted_ns, noted)
        write_index(self._index, remembered)
