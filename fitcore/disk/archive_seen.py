"""What lies in an archive and on sticks, put together by what each file is a copy of.

Looking only: no session is read here. What comes out is plain data that any process can go on with.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter
from typing import TYPE_CHECKING

from fitcore.disk.archive_scan import (
    SET_ASIDE,
    Spotted,
    folder_fault,
    folders_of_stick,
    is_link,
    spot_folder,
    spot_stick,
    spot_unread_folder,
)
from fitcore.disk.set_aside import Kept, read_kept
from fitcore.merge.found import FileKind, Key, Where
from fitcore.problems import FileFault, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from fitcore.disk.archive_index import Index, Remembered


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
        for file in self.own:
            if file.where is Where.ARCHIVE:
                return file
        return None

    @property
    def is_as_remembered(self) -> bool:
        """Whether the archive's own file is surely the one that was noted."""
        filed = self.filed
        if filed is None or self.remembered is None:
            return False
        return self.remembered.is_still(filed.size, filed.mtime_ns)


class Seen:
    """What was seen so far."""

    def __init__(self, archive: Path, index: Index) -> None:
        self._archive = archive
        self._index = index
        self._own = _Files()
        self._brought = _Files()
        self._kept: defaultdict[Key, list[Kept]] = defaultdict(list)
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
        spotted = spot_folder(self._archive, Where.ARCHIVE)
        if refuses_links:
            odd = [file.place for file in spotted if file.problem is not None]
            for place in (str(self._archive / SET_ASIDE), *odd):
                if is_link(place):
                    raise FileFault(_link_in_archive(place))
        for file in spotted:
            if file.problem is not None and file.where is Where.ARCHIVE and file.name:
                self.blocked.add(file.key)
            self._own.add(file)
        try:
            self._take_kept(read_kept(self._archive))
        except OSError as error:
            raise FileFault(folder_fault(str(self._archive / SET_ASIDE), error)) from error

    def look_at_stick(self, stick: Path) -> bool:
        """Spot a stick's files; whether there are any."""
        spotted = spot_stick(stick)
        kept: list[Kept] = []
        for folder in folders_of_stick(stick):
            try:
                kept += read_kept(folder)
            except OSError as error:
                spotted.append(spot_unread_folder(str(folder / SET_ASIDE), error))
        for file in spotted:
            self._brought.add(file)
        self._take_kept(kept)
        return bool(spotted or kept)

    def everything(self) -> list[Key]:
        """Return everything there are copies of; what has no name, under its kind alone."""
        return [*self.besides(), *self.sessions()]

    def sessions(self) -> list[Key]:
        """Return the sessions, sorted."""
        kept = (key.name for key in self._kept if _is_session(key))
        names = sorted([*self._own.names(), *self._brought.names(), *kept])
        return [Key(FileKind.SESSION, name) for name, _ in groupby(names)]

    def besides(self) -> list[Key]:
        """Return the ledgers and what has no name, sorted."""
        kept = (key for key in self._kept if not _is_session(key))
        return sorted({*self._own.besides, *self._brought.besides, *kept})

    def copies(self, keys: Sequence[Key]) -> Iterator[Copies]:
        """Yield where the copies of some of them lie, in their order.

        Args:
            keys: not many: what is remembered of all of them is looked up at once.
        """
        remembered = self._index.look_up([key.name for key in keys if _is_session(key)])
        for key in keys:
            yield Copies(
                key,
                tuple(self._own.of(key)),
                tuple(self._brought.of(key)),
                tuple(self._kept.get(key, ())),
                remembered.get(key.name) if _is_session(key) else None,
            )

    def filed(self, key: Key) -> Spotted | None:
        """Return the archive's own file of a session, where it belongs."""
        return Copies(key, tuple(self._own.of(key)), (), (), None).filed

    def _take_kept(self, kept: Iterable[Kept]) -> None:
        for copy in kept:
            self._kept[copy.found.key].append(copy)


def _link_in_archive(place: str) -> Problem:
    return Problem(
        code="link_in_archive",
        text=say("This is a link; in an archive none is followed. Nothing was merged."),
        mend=say("Put what it leads to in its place, or move the link away. Then merge again."),
        path=place,
    )


class _Files:
    """Files by what each is a copy of.

    Sessions are many: they stand in one list and are searched for, which takes a fifth of the
    memory of a table of lists.
    """

    def __init__(self) -> None:
        self._sessions: list[Spotted] = []
        self._sorted = True
        self.besides: defaultdict[Key, list[Spotted]] = defaultdict(list)
        """Ledgers, and under the kind alone what is not opened: it is told of beside them."""

    def add(self, file: Spotted) -> None:
        """Add a file."""
        if file.problem is not None:
            self.besides[Key(file.kind, "")].append(file)
        elif file.kind is FileKind.SESSION:
            self._sessions.append(file)
            self._sorted = False
        else:
            self.besides[file.key].append(file)

    def names(self) -> Iterator[str]:
        """Yield the ids of sessions, sorted; one of several files as often."""
        self._sort()
        return (file.name for file in self._sessions)

    def of(self, key: Key) -> Sequence[Spotted]:
        """Return the files of a session or ledger, in the order they were added."""
        if not _is_session(key):
            return self.besides.get(key, ())
        self._sort()
        first = last = bisect_left(self._sessions, key.name, key=_name)
        while last < len(self._sessions) and self._sessions[last].name == key.name:
            last += 1
        return self._sessions[first:last]

    def _sort(self) -> None:
        if not self._sorted:
            self._sessions.sort(key=_name)
            self._sorted = True


_name = attrgetter("name")


def _is_session(key: Key) -> bool:
    return key.kind is FileKind.SESSION and bool(key.name)
