"""What lies in an archive and on sticks, put together by what each file is a copy of.

Looking only: no session is read here. What comes out is plain data that any process can go on with.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby
from typing import TYPE_CHECKING

from fitcore.disk.archive_scan import (
    SET_ASIDE,
    folder_fault,
    folders_of_stick,
    is_link,
    spot_folder,
    spot_stick,
    spot_unread_folder,
)
from fitcore.disk.session_files import session_month
from fitcore.disk.set_aside import Kept, read_kept
from fitcore.merge.found import FileKind, Key, Where
from fitcore.problems import FileFault, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from fitcore.disk.archive_months import Month
    from fitcore.disk.spotted import Spotted


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

    @property
    def filed(self) -> Spotted | None:
        """The archive's own file, where it belongs."""
        for file in self.own:
            if file.where is Where.ARCHIVE:
                return file
        return None


@dataclass(frozen=True)
class Shelf:
    """The sessions of one month."""

    name: str
    own: Month | None
    """Those filed in the archive."""
    brought: Sequence[Month]
    """Those filed in data folders of sticks."""
    apart: Mapping[Key, Copies]
    """Those there are other copies of: filed elsewhere, no ordinary files, set aside earlier; and
    only these."""

    @cached_property
    def stamps(self) -> Mapping[str, str]:
        """Stamp of each file of the archive, by session id."""
        return self.own.stamps if self.own is not None else {}

    @cached_property
    def on_sticks(self) -> Mapping[str, Sequence[Month]]:
        """Where a session lies on sticks, by its id."""
        found: dict[str, tuple[Month, ...]] = {}
        for month in self.brought:
            here = (month,)
            found.update((name, found.get(name, ()) + here) for name in month.names)
        return found

    @property
    def names(self) -> list[str]:
        """Ids of all its sessions, sorted."""
        return sorted({*self.stamps, *self.on_sticks, *(key.name for key in self.apart)})

    def copies(self, name: str) -> Copies:
        """Return where the copies of one of its sessions lie."""
        key = Key(FileKind.SESSION, name)
        own: list[Spotted] = []
        if self.own is not None and (stamp := self.stamps.get(name)) is not None:
            own.append(self.own.file(name, stamp))
        brought = [month.file(name) for month in self.on_sticks.get(name, ())]
        apart = self.apart.get(key)
        if apart is None:
            return Copies(key, tuple(own), tuple(brought), ())
        return Copies(key, (*own, *apart.own), (*brought, *apart.brought), apart.kept)


@dataclass
class _Apart:
    """Files that are looked at one by one, by what each is a copy of."""

    own: defaultdict[Key, list[Spotted]] = field(default_factory=lambda: defaultdict(list))
    brought: defaultdict[Key, list[Spotted]] = field(default_factory=lambda: defaultdict(list))
    kept: defaultdict[Key, list[Kept]] = field(default_factory=lambda: defaultdict(list))

    def all(self) -> list[Key]:
        """Return what there are copies of, sorted; what is not opened, under its kind alone."""
        return sorted({*self.own, *self.brought, *self.kept})

    def copies(self, key: Key) -> Copies:
        """Return where these copies lie."""
        own, brought = tuple(self.own.get(key, ())), tuple(self.brought.get(key, ()))
        return Copies(key, own, brought, tuple(self.kept.get(key, ())))


class Seen:
    """What was seen so far."""

    def __init__(self, archive: Path) -> None:
        self._archive = archive
        self._own: dict[str, Month] = {}
        self._brought: defaultdict[str, list[Month]] = defaultdict(list)
        self._apart = _Apart()
        self.blocked: set[Key] = set()
        """What the archive's own file stands in the way of: nobody may write over it."""

    def look_at_archive(self, *, refuses_links: bool = False) -> None:
        """Spot the archive's files.

        Args:
            refuses_links: whether a link in it ends the work: a merge would write over it or
                through it, or bring the same session again each time.

        Raises:
            FileFault: there is such a link, or the archive cannot be read.
        """
        months: list[Month] = []
        spotted = spot_folder(self._archive, Where.ARCHIVE, months)
        if refuses_links:
            odd = [file.place for file in spotted if file.problem is not None]
            for place in (str(self._archive / SET_ASIDE), *odd):
                if is_link(place):
                    raise FileFault(_link_in_archive(place))
        for file in spotted:
            if file.problem is not None and file.where is Where.ARCHIVE and file.name:
                self.blocked.add(file.key)
            self._apart.own[_key(file)].append(file)
        self._own.update((month.name, month) for month in months)
        try:
            self._take_kept(read_kept(self._archive))
        except OSError as error:
            raise FileFault(folder_fault(str(self._archive / SET_ASIDE), error)) from error

    def look_at_stick(self, stick: Path) -> bool:
        """Spot a stick's files; whether there are any."""
        months: list[Month] = []
        spotted = spot_stick(stick, months)
        kept: list[Kept] = []
        for folder in folders_of_stick(stick):
            try:
                kept += read_kept(folder)
            except OSError as error:
                spotted.append(spot_unread_folder(str(folder / SET_ASIDE), error))
        for file in spotted:
            self._apart.brought[_key(file)].append(file)
        for month in months:
            self._brought[month.name].append(month)
        self._take_kept(kept)
        return bool(spotted or months or kept)

    def besides(self) -> list[Copies]:
        """Return the ledgers and what has no name, sorted."""
        return [self._apart.copies(key) for key in self._apart.all() if not _is_session(key)]

    def months(self) -> list[str]:
        """Return the months there are sessions of, sorted."""
        return sorted({*self._own, *self._brought, *self._sessions_apart()})

    def shelves(self) -> Iterator[Shelf]:
        """Yield the months there are sessions of, sorted; made as they are asked for."""
        apart = self._sessions_apart()
        return (self._shelf(month, apart.get(month, ())) for month in self.months())

    def sessions(self) -> Iterator[Copies]:
        """Yield where the copies of each session lie, sorted; made as they are asked for."""
        return (shelf.copies(name) for shelf in self.shelves() for name in shelf.names)

    def copies(self, keys: Collection[Key]) -> Iterator[Copies]:
        """Yield where the copies of some sessions lie, sorted."""
        apart = self._sessions_apart()
        by_month = groupby(sorted(keys), lambda key: session_month(key.name))
        for month, some in by_month:
            shelf = self._shelf(month, apart.get(month, ()))
            yield from (shelf.copies(key.name) for key in some)

    def _shelf(self, month: str, apart: Iterable[Key]) -> Shelf:
        copies = {key: self._apart.copies(key) for key in apart}
        return Shelf(month, self._own.get(month), self._brought.get(month, ()), copies)

    def _sessions_apart(self) -> dict[str, list[Key]]:
        found: defaultdict[str, list[Key]] = defaultdict(list)
        for key in self._apart.all():
            if _is_session(key):
                found[session_month(key.name)].append(key)
        return found

    def _take_kept(self, kept: Iterable[Kept]) -> None:
        for copy in kept:
            self._apart.kept[copy.found.key].append(copy)


def _link_in_archive(place: str) -> Problem:
    return Problem(
        code="link_in_archive",
        text=say("This is a link; in an archive none is followed. Nothing was merged."),
        mend=say("Put what it leads to in its place, or move the link away. Then merge again."),
        path=place,
    )


def _key(file: Spotted) -> Key:
    """Return what a file is a copy of; its kind alone where it is not opened."""
    return file.key if file.problem is None else Key(file.kind, "")


def _is_session(key: Key) -> bool:
    return key.kind is FileKind.SESSION and bool(key.name)
