"""One merge of folders: what was spotted, what is remembered, what it came to.

Sessions are merged a few at a time, so memory does not grow with what they hold. Copies are set
aside before anything is written over, and the list of files is written last: wherever a merge ends
early, merging again finishes it. Who calls holds the folder.
"""

from __future__ import annotations

import os
from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.disk.archive_index import Facts, Remembered, index_path, read_index, write_index
from fitcore.disk.archive_parts import Merging, Part, Questions, Totals
from fitcore.disk.archive_scan import (
    Spotted,
    folders_of_stick,
    place_of,
    read_spotted,
    spot_folder,
    spot_stick,
)
from fitcore.disk.atomic import make_folder, read_bytes, write_durably
from fitcore.disk.manifest import Listed, unfinished_exports, write_manifest
from fitcore.disk.session_files import read_regular
from fitcore.disk.set_aside import Kept, keep, read_kept
from fitcore.merge.clients import Clients
from fitcore.merge.found import FileKind, Found, Key, Where, digest_bytes
from fitcore.merge.gaps import count_numbers
from fitcore.merge.join import Merged, Outcome, merge_copies
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.merge.merge import MergePlan, merge_ledgers
from fitcore.problems import ChangedOnDisk, Problem
from fitcore.record.codec import write_session
from fitcore.record.ledger import write_ledger
from fitcore.record.session import Session
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.conflicts import Conflict

_BATCH = 200
"""Sessions held in memory at once; ours."""


class Work:
    """The state of one merge."""

    def __init__(self, archive: Path, surroundings: Surroundings, *, dry_run: bool) -> None:
        self._archive = archive
        self._dry_run = dry_run
        self._noted_ns = int(surroundings.now().timestamp() * 1_000_000_000)
        cache = surroundings.cache_folder
        self._index = index_path(cache, archive) if cache is not None else None
        self._remembered = read_index(self._index) if self._index is not None else {}
        self._copies: defaultdict[Key, list[Spotted]] = defaultdict(list)
        self._odd: list[Spotted] = []
        self._kept: defaultdict[Key, list[Kept]] = defaultdict(list)
        self._own: dict[Path, str] = {}
        """Files of the archive to their paths in it."""
        self._blocked: set[Key] = set()
        """What the archive's own file stands in the way of: nobody may write over it."""
        self._facts: dict[Key, Facts] = {}
        self._listed: dict[str, Listed] = {}
        self._written: set[str] = set()
        self._totals = Totals()
        self._ledgers = LedgerLines()

    def merge(self, sticks: Sequence[Path], progress: Callable[[int, int], None] | None) -> Merging:
        """Do it."""
        nothing = tuple(stick for stick in dict.fromkeys(sticks) if not self._look_at(stick))
        self._look_at_archive()
        self._merge_ledgers()
        sessions = self._session_keys()
        waiting: list[Key] = []
        for done, key in enumerate(sessions, 1):
            if not self._is_quiet(key):
                waiting.append(key)
            if len(waiting) == _BATCH or done == len(sessions):
                self._merge_sessions(waiting)
                waiting = []
            if progress is not None:
                progress(done, len(sessions))
        report = self._totals.report(Clients(self._ledgers), self._twice_used())
        if not self._dry_run:
            self._remember()
            write_manifest(self._archive, self._listed.values())
        unfinished = tuple(f for s in dict.fromkeys(sticks) for f in unfinished_exports(s))
        notes = tuple(sorted(self._totals.notes))
        return Merging(report, notes, nothing, self._totals.numbers, unfinished)

    def questions(self) -> Questions:
        """Read only the sessions something is open in."""
        self._look_at_archive()
        merged_ledgers = self._merge_ledgers()
        clients = Clients(self._ledgers)
        conflicts: list[Conflict] = list(clients.conflicts)
        proposals = [p for merged in merged_ledgers.values() for p in merged.proposals]
        sessions = {}
        for key in self._session_keys():
            if self._is_quiet(key) and not self._facts[key].conflicts:
                continue
            merged = self._joined(key)
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

    # --- looking -----------------------------------------------------------------------------

    def _look_at(self, stick: Path) -> bool:
        """Spot a stick's files; whether there are any."""
        spotted = spot_stick(stick)
        kept = [copy for folder in folders_of_stick(stick) for copy in read_kept(folder)]
        self._take_up(spotted, kept)
        return bool(spotted or kept)

    def _look_at_archive(self) -> None:
        spotted = spot_folder(self._archive, Where.ARCHIVE)
        for file in spotted:
            self._own[file.path] = self._name(file.path)
            if file.problem is not None and file.where is Where.ARCHIVE and file.name:
                self._blocked.add(file.key)
        self._take_up(spotted, list(read_kept(self._archive)))

    def _take_up(self, spotted: Iterable[Spotted], kept: Iterable[Kept]) -> None:
        for file in spotted:
            if file.problem is not None or not file.name:
                self._odd.append(file)
            else:
                self._copies[file.key].append(file)
        for copy in kept:
            self._kept[copy.found.key].append(copy)

    def _session_keys(self) -> list[Key]:
        keys = {*self._copies, *self._kept}
        return sorted(key for key in keys if key.kind is FileKind.SESSION and key.name)

    # --- joining -----------------------------------------------------------------------------

    def _merge_ledgers(self) -> dict[Key, Merged]:
        """Merge ledgers and set aside what is no session and no ledger by its name."""
        part = Part()
        for key in sorted({*self._copies, *self._kept}):
            if key.kind is FileKind.LEDGER or not key.name:
                self._read(key, part)
        for spotted in self._odd:
            part.add(*self._listing(spotted), (spotted.told,))
        merged, self._ledgers = merge_ledgers(part.copies)
        self._carry_out(MergePlan(merged, self._ledgers, part.unread_in_order()), part)
        return merged

    def _merge_sessions(self, keys: Sequence[Key]) -> None:
        part = Part()
        for key in keys:
            self._read(key, part)
        merged = {
            key: merge_copies(key, part.copies[key], self._ledgers)
            for key in keys
            if key in part.copies
        }
        self._carry_out(MergePlan(merged, self._ledgers, part.unread_in_order()), part)

    def _joined(self, key: Key) -> Merged | None:
        part = Part()
        self._read(key, part)
        copies = part.copies.get(key)
        return merge_copies(key, copies, self._ledgers) if copies else None

    def _read(self, key: Key, part: Part) -> None:
        for spotted in self._copies.get(key, ()):
            part.add(*self._listing(spotted), (spotted.told,))
        for kept in self._kept.get(key, ()):
            part.add(kept.found, kept.raw, kept.found_in)

    def _listing(self, spotted: Spotted) -> tuple[Found, bytes | None]:
        """Read a file; one of the archive's own is listed."""
        found, raw = read_spotted(spotted)
        own = self._own.get(spotted.path)
        if own is not None:
            entries = len(found.entries) if found.is_whole else 0
            self._listed[own] = Listed(own, spotted.size, entries, found.digest)
        return found, raw

    def _is_quiet(self, key: Key) -> bool:
        """Whether a session surely stays as it is: then it is only counted, not parsed."""
        copies = self._copies.get(key, [])
        own = next((copy for copy in copies if copy.where is Where.ARCHIVE), None)
        remembered = self._remembered.get(self._own[own.path]) if own is not None else None
        if own is None or remembered is None or key in self._kept:
            return False
        if self._ledgers.erased_in(key.name):
            return False
        facts = remembered.facts
        to_hash = [copy for copy in copies if copy is not own]
        if not remembered.is_still(own.size, own.mtime_ns):
            to_hash.append(own)
        if any(_digest(copy) != facts.digest for copy in to_hash):
            return False
        self._facts[key] = facts
        path = self._own[own.path]
        self._listed[path] = Listed(path, own.size, facts.entries, facts.digest)
        self._totals.outcomes[Outcome.UNCHANGED] += 1
        self._totals.conflicts += facts.conflicts
        self._totals.numbers += facts.numbers
        return True

    def _twice_used(self) -> Iterator[tuple[str, Merged]]:
        """Yield what may hold a number that was used twice, joined again."""
        twice = self._totals.numbers.twice
        for key in sorted({*self._copies, *self._kept}):
            known = self._facts.get(key)
            used = known.numbers.used if known is not None else twice
            if any(name in used and (used[name] & twice[name]).spans for name in twice):
                merged = self._joined(key) if key.name else None
                if merged is not None:
                    yield key.place, merged

    # --- carrying out ------------------------------------------------------------------------

    def _carry_out(self, plan: MergePlan, part: Part) -> None:
        numbers = self._totals.add(plan)
        for key, merged in plan.merged.items():
            if merged.content is not None and merged.carried is None:
                self._facts[key] = Facts(
                    next((c.digest for c in merged.copies if c.where is Where.ARCHIVE), ""),
                    len(merged.entries),
                    len(merged.conflicts),
                    numbers[key]
                    if all(copy.is_whole for copy in merged.copies)
                    else count_numbers(merged.entries),
                )
        if self._dry_run:
            return
        for copy in plan.to_keep:
            for path in keep(
                self._archive,
                part.under[copy.digest],
                part.raw.get(copy.digest),
                part.found_in[copy.digest],
            ):
                self._list(path)
        for merged in plan.to_write:
            self._write(merged, part)

    def _write(self, merged: Merged, part: Part) -> None:
        key = merged.key
        path = place_of(self._archive, key)
        if key in self._blocked:
            self._totals.notes.add(
                say("{path} is no ordinary file: move it away, then merge again.", path=path)
            )
            return
        if merged.carried is not None:
            content = part.raw[merged.carried.digest] or b""
        elif isinstance(merged.content, Session):
            content = write_session(merged.content).encode()
        elif merged.content is not None:
            content = write_ledger(merged.content).encode()
        else:
            return
        before = read_bytes(path)
        if before is not None and digest_bytes(before) not in part.digests_of_archive(key):
            raise ChangedOnDisk(
                Problem(
                    code="changed_on_disk",
                    text=say("Another program changed this file during the merge."),
                    mend=say("Close the other program and merge again; nothing is lost."),
                    path=str(path),
                )
            )
        sealed = merged.carried is None
        make_folder(path.parent)
        write_durably(path, content, expected=before)
        self._written.add(self._list(path, len(merged.entries) if sealed else 0, content))

    def _list(self, path: Path, entries: int = 0, content: bytes | None = None) -> str:
        raw = content if content is not None else read_bytes(path)
        name = self._name(path)
        if raw is not None:
            self._listed[name] = Listed(name, len(raw), entries, digest_bytes(raw))
        return name

    def _remember(self) -> None:
        """Note what each sealed session comes to, for the next merge."""
        if self._index is None:
            return
        times = {name: file.mtime_ns for file in self._spotted_own() for name in [file.told]}
        remembered = {}
        for key, facts in self._facts.items():
            path = place_of(self._archive, key)
            name = self._name(path)
            listed = self._listed.get(name)
            if key.kind is not FileKind.SESSION or listed is None or not listed.entries:
                continue
            time = path.stat().st_mtime_ns if name in self._written else times[name]
            noted = replace(facts, digest=listed.digest)
            remembered[name] = Remembered(listed.size, time, self._noted_ns, noted)
        write_index(self._index, remembered)

    def _spotted_own(self) -> Iterator[Spotted]:
        return (f for fs in self._copies.values() for f in fs if f.where is Where.ARCHIVE)

    def _name(self, path: Path) -> str:
        return os.path.relpath(path, self._archive).replace(os.sep, "/")


def _digest(spotted: Spotted) -> str:
    raw = read_regular(spotted.path)
    return digest_bytes(raw) if isinstance(raw, bytes) else ""
