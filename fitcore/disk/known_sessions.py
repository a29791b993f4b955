"""An archive's sessions for whoever looks through all of them: read as they are asked for.

What is asked of all at once is asked of glances; a session is parsed only where that finds
something worth reading, and let go again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from fitcore.disk.session_book import SessionBook
from fitcore.disk.several_laptops import told_by, worth_reading
from fitcore.doubts.same_person import alike_sittings
from fitcore.record.glance import glance_of

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator
    from datetime import date

    from fitcore.doubts.same_person import AlikeSittings
    from fitcore.merge.clients import Clients
    from fitcore.record.glance import Glance
    from fitcore.record.session import Session


class KnownSessions(Mapping[str, "Session"]):
    """All sessions that can be read, by id; those changed since they were looked at as they are."""

    def __init__(self, book: SessionBook, changed: Mapping[str, Session] | None = None) -> None:
        """Know a folder's sessions.

        Args:
            book: what was seen of them.
            changed: those that are to be taken as they are here, by id.
        """
        self._book, self._changed = book, dict(changed or {})

    @classmethod
    def of(cls, sessions: Iterable[Session]) -> KnownSessions:
        """Know sessions of no folder."""
        return cls(SessionBook(Path()), {session.id: session for session in sessions})

    def __getitem__(self, name: str) -> Session:
        session = self._changed.get(name) or self._book.read(name)
        if session is None:
            raise KeyError(name)
        return session

    def __contains__(self, name: object) -> bool:
        return name in self.glances

    def __iter__(self) -> Iterator[str]:
        return iter(self.glances)

    def __len__(self) -> int:
        return len(self.glances)

    @cached_property
    def glances(self) -> Mapping[str, Glance]:
        """What is known of each, by id."""
        changed = {name: glance_of(session) for name, session in self._changed.items()}
        return {**self._book.glances, **changed}

    def with_session(self, session: Session) -> KnownSessions:
        """Return the same with one session as it is now."""
        return KnownSessions(self._book, {**self._changed, session.id: session})

    def where(self, is_asked: Callable[[Glance], bool]) -> Iterator[Session]:
        """Yield the sessions of some glances, read as they are asked for."""
        return self.read_each(name for name, glance in self.glances.items() if is_asked(glance))

    def of_codes(self, codes: Collection[str]) -> Iterator[Session]:
        """Yield the sessions that stand under any of some codes."""
        asked = frozenset(codes)
        return self.where(lambda glance: not asked.isdisjoint(glance.codes))

    def of_several(self, clients: Clients) -> Iterator[Session]:
        """Yield the sessions a stop after a size may stand in, by id."""
        known = self.glances.values()
        some = worth_reading(lambda: ((glance.id, told_by(glance)) for glance in known), clients)
        return self.read_each(sorted(some))

    def stamp(self, name: str) -> object:
        """Return what a session is known by to be the same as before."""
        return self._changed.get(name) or self._book.files.get(name)

    def read_each(self, names: Iterable[str]) -> Iterator[Session]:
        """Yield some of them, read as they are asked for; one that is gone is left out."""
        for name in names:
            session = self.get(name)
            if session is not None:
                yield session


class AlikeDays:
    """Sittings of one day that look like one person's, looked for anew only where a day changed."""

    def __init__(self) -> None:
        self._held: dict[date, tuple[object, tuple[AlikeSittings, ...]]] = {}

    def look(self, known: KnownSessions, clients: Clients) -> tuple[AlikeSittings, ...]:
        """Return pairs of codes worth asking about, sorted by codes; one pair of sittings each.

        Args:
            known: the archive's sessions; only days on which several laptops measured several
                clients are read, one at a time.
            clients: what was said of codes so far.
        """
        held: dict[date, tuple[object, tuple[AlikeSittings, ...]]] = {}
        found: dict[tuple[str, str], AlikeSittings] = {}
        for day, names in _days_of_several(known.glances.values()):
            stamps = tuple(known.stamp(name) for name in names)
            before = self._held.get(day)
            if before is None or before[0] != stamps:
                sittings = known.read_each(names)
                before = stamps, alike_sittings(sittings, lambda _one, _other: True)
            held[day] = before
            for alike in before[1]:
                if clients.may_suggest(*alike.codes):
                    found.setdefault(alike.codes, alike)
        self._held = held
        return tuple(found[codes] for codes in sorted(found))


def _days_of_several(glances: Iterable[Glance]) -> list[tuple[date, list[str]]]:
    """Return the days on which several laptops measured several clients, and their sessions."""
    days: defaultdict[date, list[Glance]] = defaultdict(list)
    for glance in glances:
        if glance.measured_at is not None and glance.client and glance.was_measured:
            days[glance.measured_at.date()].append(glance)
    return [
        (day, [glance.id for glance in held])
        for day, held in sorted(days.items())
        if len({written.laptop for glance in held for written in glance.written}) > 1
        and len({glance.client for glance in held}) > 1
    ]
