"""What lies in an archive and on sticks, put together by what each file is a copy of.

Looking only: no session is read here. What comes out is plain data that any process can go on with.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.disk.archive_scan import Spotted, folders_of_stick, spot_folder, spot_stick
from fitcore.disk.set_aside import Kept, read_kept
from fitcore.merge.found import FileKind, Key, Where

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from fitcore.disk.archive_index import Remembered


@dataclass(frozen=True, slots=True)
class Copies:
    """Where the copies of one session or ledger lie."""

    key: Key
    own: tuple[Spotted, ...]
    """Files of the archive; those in a wrong folder of it count as brought, and are listed too."""
    brought: tuple[Spotted, ...]
    """Files of sticks."""
    kept: tuple[Kept, ...]
    """Copies the archive set aside earlier, read already."""
    remembered: Remembered | None
    """What the last merge noted of the archive's own file."""

    @property
    def filed(self) -> Spotted | None:
        """The archive's own file, where it belongs."""
        return next((file for file in self.own if file.where is Where.ARCHIVE), None)


class Seen:
    """What was seen so far."""

    def __init__(self, archive: Path, remembered: Mapping[str, Remembered]) -> None:
        self._archive = archive
        self._remembered = remembered
        self._own: defaultdict[Key, list[Spotted]] = defaultdict(list)
        self._brought: defaultdict[Key, list[Spotted]] = defaultdict(list)
        self._kept: defaultdict[Key, list[Kept]] = defaultdict(list)
        self.blocked: set[Key] = set()
        """What the archive's own file stands in the way of: nobody may write over it."""

    def look_at_archive(self) -> None:
        """Spot the archive's files."""
        for file in spot_folder(self._archive, Where.ARCHIVE):
            if file.problem is not None and file.where is Where.ARCHIVE and file.name:
                self.blocked.add(file.key)
            self._own[_key_of(file)].append(file)
        self._take_kept(read_kept(self._archive))

    def look_at_stick(self, stick: Path) -> bool:
        """Spot a stick's files; whether there are any."""
        spotted = spot_stick(stick)
        for file in spotted:
            self._brought[_key_of(file)].append(file)
        kept = [copy for folder in folders_of_stick(stick) for copy in read_kept(folder)]
        self._take_kept(kept)
        return bool(spotted or kept)

    def everything(self) -> set[Key]:
        """Return everything there are copies of; what has no name, under its kind alone."""
        return {*self._own, *self._brought, *self._kept}

    def sessions(self) -> list[Key]:
        """Return the sessions, sorted."""
        return _in_order(k for k in self.everything() if k.kind is FileKind.SESSION and k.name)

    def besides(self) -> list[Key]:
        """Return the ledgers and what has no name, sorted."""
        return _in_order(k for k in self.everything() if k.kind is FileKind.LEDGER or not k.name)

    def copies(self, key: Key) -> Copies:
        """Return where the copies of one of them lie."""
        own = tuple(self._own.get(key, ()))
        return Copies(
            key,
            own,
            tuple(self._brought.get(key, ())),
            tuple(self._kept.get(key, ())),
            next((self._remembered.get(f.told) for f in own if f.where is Where.ARCHIVE), None),
        )

    def times(self) -> dict[str, int]:
        """Return when each file of the archive was last written, in ns, by its path there."""
        filed = (file for files in self._own.values() for file in files)
        return {file.told: file.mtime_ns for file in filed if file.where is Where.ARCHIVE}

    def _take_kept(self, kept: Iterable[Kept]) -> None:
        for copy in kept:
            self._kept[copy.found.key].append(copy)


def _key_of(file: Spotted) -> Key:
    """Return what a file is read with; one that is not opened is told of beside the ledgers."""
    return Key(file.kind, "") if file.problem is not None else file.key


def _in_order(keys: Iterable[Key]) -> list[Key]:
    return sorted(keys, key=lambda key: (key.kind, key.name))
