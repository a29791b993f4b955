"""Merging sticks into an archive on disk, and what is open in one. One writer at a time.

The plan is `fitcore.merge`'s; here it is carried out. Nothing on a stick is written.
"""

from __future__ import annotations

import os
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.disk.archive_work import Work
from fitcore.disk.atomic import make_folder, read_bytes
from fitcore.disk.data_folder import LAPTOP_FILE, DataFolder
from fitcore.disk.laptop_files import read_ends, with_ends
from fitcore.disk.lock import FolderLock
from fitcore.instants import write_instant
from fitcore.merge.ranges import Ranges
from fitcore.problems import FileFault
from fitcore.record.ledger import read_laptop
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from fitcore.disk.archive_engine import Engine
    from fitcore.disk.archive_parts import Merging, Questions
    from fitcore.disk.surroundings import Surroundings
    from fitcore.record.ledger import Laptop


def merge_folders(
    archive: Path,
    sticks: Sequence[Path],
    surroundings: Surroundings,
    *,
    dry_run: bool = False,
    progress: Callable[[int, int], None] | None = None,
    engine: Engine | None = None,
) -> Merging:
    """Merge what sticks bring into an archive.

    Args:
        archive: a data folder; created where it is missing.
        sticks: data folders, or folders that hold `from-<laptop id>/` or `to-laptops/`. Nothing on
            them is written, moved or deleted.
        surroundings: clock and folders.
        dry_run: only tell what a merge would do; writes nothing at all and takes no lock.
        progress: told how many of all sessions are done.
        engine: where batches of sessions are merged; None merges them here, one by one. Archive
            and report are the same whichever it is, and only this process writes.

    Raises:
        FolderInUse: another program has the archive open.
        FileFault: it cannot be read or written. What was written until then holds; merge again.
            A link in it, or a `laptop.toml` that cannot be used: nothing was written.
    """
    _read_laptop_of(archive)
    ends = read_ends(sticks)  # before any session: somebody may be measuring there
    if dry_run:
        work = Work(archive, surroundings, dry_run=True, engine=engine)
        return with_ends(work.merge(sticks, progress), ends)
    make_folder(archive)
    with locked(archive, surroundings):
        work = Work(archive, surroundings, dry_run=False, engine=engine)
        merging = with_ends(work.merge(sticks, progress), ends)
    return replace(merging, notes=(*merging.notes, *_restored(archive, merging, surroundings)))


def _restored(archive: Path, merging: Merging, surroundings: Surroundings) -> list[str]:
    """Let the laptop take a new name where files hold numbers under its own that it never gave.

    Its folder is an older copy then; going on would use numbers twice.
    """
    laptop = _read_laptop_of(archive)
    if laptop is None:
        return []
    highest = merging.numbers.used.get(laptop.id, Ranges()).highest
    if highest < laptop.next:
        return []
    with DataFolder(archive, surroundings) as folder:
        folder.meet_frontier(highest)
        settle(archive, surroundings)
        return folder.notes


def _read_laptop_of(archive: Path) -> Laptop | None:
    """Return whose folder an archive is; None where no laptop is named in it.

    Raises:
        FileFault: its file cannot be used.
    """
    path = archive / LAPTOP_FILE
    raw = read_bytes(path)
    if raw is None:
        return None
    try:
        return read_laptop(raw)
    except FileFault as fault:
        raise FileFault(replace(fault.problem, path=str(path))) from fault


def merge_into(
    folder: DataFolder,
    sticks: Sequence[Path],
    surroundings: Surroundings,
    progress: Callable[[int, int], None] | None = None,
) -> Merging:
    """Merge what sticks bring into a data folder that is open, under the lock it holds.

    A session that is open on a screen must be read anew afterwards. Should the sticks hold numbers
    under the laptop's own name that it never gave, it takes a new name.

    Args:
        folder: the open folder; nobody else writes in it meanwhile.
        sticks: as for `merge_folders`.
        surroundings: clock and folders.
        progress: told how many of all sessions are done; what it raises ends the merge, and
            merging again finishes it.

    Raises:
        FileFault: it cannot be read or written. What was written until then holds; merge again.
    """
    ends = read_ends(sticks)
    work = Work(folder.path, surroundings, dry_run=False)
    merging = with_ends(work.merge(sticks, progress), ends)
    known = len(folder.notes)
    if folder.meet_frontier(merging.numbers.used.get(folder.laptop.id, Ranges()).highest):
        settle(folder.path, surroundings)
    return replace(merging, notes=(*merging.notes, *folder.notes[known:]))


def settle(archive: Path, surroundings: Surroundings) -> Merging:
    """Carry out what an archive's own ledgers have said since the last merge.

    The caller holds the folder.

    Raises:
        FileFault: it cannot be read or written.
    """
    return Work(archive, surroundings, dry_run=False).merge((), None)


def open_questions(archive: Path, surroundings: Surroundings) -> Questions:
    """Return what is open in an archive; writes nothing there and takes no lock."""
    return Work(archive, surroundings, dry_run=True).questions()


@contextmanager
def locked(folder: Path, surroundings: Surroundings) -> Iterator[None]:
    """Hold a data folder, so that nobody measures or merges in it meanwhile.

    Raises:
        FolderInUse: another program has it open.
    """
    since = write_instant(surroundings.now())
    note = say("anklefirst, process {number}, since {since}", number=os.getpid(), since=since)
    lock = FolderLock(folder, note)
    try:
        yield
    finally:
        lock.release()
