"""Carrying out what batches come to: the one place that writes an archive's sessions and ledgers.

Copies are set aside before anything is written over. A file that is not the one that was read is
never written over.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from fitcore.disk.archive_scan import SET_ASIDE, path_within, place_of
from fitcore.disk.atomic import make_folder, read_bytes, write_all_durably
from fitcore.disk.manifest import Listed, Listing
from fitcore.disk.set_aside import keep, let_go
from fitcore.merge.found import digest_bytes
from fitcore.problems import ChangedOnDisk, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from collections.abc import Set as AbstractSet
    from pathlib import Path

    from fitcore.disk.archive_batch import BatchPlan, ToWrite
    from fitcore.merge.found import Key


@dataclass(frozen=True, slots=True)
class Carried:
    """Sessions and ledgers of the archive after a batch was carried out, by their path there."""

    listed: Mapping[str, Listed]
    times: Mapping[str, int]
    """When each that was written now was written, in ns."""


class Writer:
    """Writes in one archive, and knows what lies there then. Who calls holds the folder."""

    def __init__(self, archive: Path, blocked: AbstractSet[Key], *, dry_run: bool) -> None:
        self._archive = archive
        self._blocked = blocked
        self._dry_run = dry_run
        self.listing = Listing()
        """The archive's files."""
        self.notes: set[str] = set()
        """What a person must know."""

    def carry_out(self, plan: BatchPlan) -> Carried:
        """Set aside and write what one batch comes to; nothing where this is only tried out.

        Raises:
            ChangedOnDisk: another program wrote a file since it was read.
            FileFault: it cannot be written.
        """
        listed = {row.path: row for row in plan.listed}
        times: dict[str, int] = {}
        if not self._dry_run:
            for copy in plan.to_keep:
                for path in keep(
                    self._archive, copy.found, copy.raw, copy.found_in, is_copied=copy.is_copied
                ):
                    self._list_kept(path)
                if copy.instead_of:
                    let_go(self._archive, copy.instead_of)
            for file, time in self._write(plan.to_write):
                name = path_within(file.key)
                digest = digest_bytes(file.content)
                listed[name] = Listed(name, len(file.content), file.entries, digest)
                times[name] = time
        self.listing.add(listed.values())
        return Carried(listed, times)

    def _write(self, files: Iterable[ToWrite]) -> Iterable[tuple[ToWrite, int]]:
        """Write what may be written; return it, each with the time of its file in ns."""
        to_write: dict[Path, ToWrite] = {}
        for file in files:
            path = place_of(self._archive, file.key)
            if file.key in self._blocked:
                self.notes.add(
                    say("{path} is no ordinary file: move it away, then merge again.", path=path)
                )
            else:
                to_write[path] = file
        for folder in dict.fromkeys(path.parent for path in to_write):
            make_folder(folder)
        contents = [(path, file.content) for path, file in to_write.items()]
        times = write_all_durably(contents, partial(_check_unchanged, to_write))
        return zip(to_write.values(), times, strict=True)

    def _list_kept(self, path: Path) -> None:
        content = read_bytes(path)
        if content is not None:
            name = f"{SET_ASIDE}/{path.name}"
            self.listing.replace(Listed(name, len(content), 0, digest_bytes(content)))


def _check_unchanged(to_write: Mapping[Path, ToWrite], path: Path) -> None:
    """Refuse to write over a file that is not the one that was read."""
    now = read_bytes(path)
    if now is not None and digest_bytes(now) not in to_write[path].before:
        raise ChangedOnDisk(
            Problem(
                code="changed_on_disk",
                text=say("Another program changed this file during the merge."),
                mend=say("Close the other program and merge again; nothing is lost."),
                path=str(path),
            )
        )
