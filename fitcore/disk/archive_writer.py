"""Carrying out what batches come to: the one place that writes an archive's sessions and ledgers.

Copies are set aside before anything is written over. A file that is not the one that was read is
never written over.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from fitcore.disk.archive_scan import place_of
from fitcore.disk.atomic import make_folder, read_bytes, write_durably
from fitcore.disk.manifest import Listed
from fitcore.disk.set_aside import keep
from fitcore.merge.found import Key, digest_bytes
from fitcore.problems import ChangedOnDisk, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Set as AbstractSet
    from pathlib import Path

    from fitcore.disk.archive_batch import BatchPlan, ToWrite


class Writer:
    """Writes in one archive, and knows what lies there then. Who calls holds the folder."""

    def __init__(self, archive: Path, blocked: AbstractSet[Key], *, dry_run: bool) -> None:
        self._archive = archive
        self._blocked = blocked
        self._dry_run = dry_run
        self.listed: dict[str, Listed] = {}
        """The archive's files by their path in it."""
        self.written: set[str] = set()
        """Those this merge wrote."""
        self.notes: set[str] = set()
        """What a person must know."""

    def carry_out(self, plan: BatchPlan) -> None:
        """Set aside and write what one batch comes to; nothing where this is only tried out.

        Raises:
            ChangedOnDisk: another program wrote a file since it was read.
            FileFault: it cannot be written.
        """
        self.listed.update((listed.path, listed) for listed in plan.listed)
        if self._dry_run:
            return
        for copy in plan.to_keep:
            for path in keep(self._archive, copy.found, copy.raw, copy.found_in):
                self._list(path, read_bytes(path), 0)
        for file in plan.to_write:
            self._write(file)

    def name(self, key: Key) -> str:
        """Return the path of a session or ledger in the archive."""
        return self._name(place_of(self._archive, key))

    def _write(self, file: ToWrite) -> None:
        path = place_of(self._archive, file.key)
        if file.key in self._blocked:
            self.notes.add(
                say("{path} is no ordinary file: move it away, then merge again.", path=path)
            )
            return
        before = read_bytes(path)
        if before is not None and digest_bytes(before) not in file.before:
            raise ChangedOnDisk(
                Problem(
                    code="changed_on_disk",
                    text=say("Another program changed this file during the merge."),
                    mend=say("Close the other program and merge again; nothing is lost."),
                    path=str(path),
                )
            )
        make_folder(path.parent)
        write_durably(path, file.content, expected=before)
        self._list(path, file.content, file.entries)
        self.written.add(self._name(path))

    def _list(self, path: Path, content: bytes | None, entries: int) -> None:
        if content is not None:
            name = self._name(path)
            self.listed[name] = Listed(name, len(content), entries, digest_bytes(content))

    def _name(self, path: Path) -> str:
        return os.path.relpath(path, self._archive).replace(os.sep, "/")
