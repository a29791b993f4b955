"""Last time: a client's older sessions, and the newest of them that knows a place or a leg."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.record.readings import Readings

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from decimal import Decimal

    from fitcore.points import Kind, Point, Side
    from fitcore.record.session import Session


class LastTime:
    """What is known of a client from before. Each place is looked up on its own.

    Last month's visit measured the right leg only: for the left, last time is the one before.
    """

    def __init__(self, sessions: Iterable[Session] = ()) -> None:
        """Take a client's measured sessions before the present one, newest first."""
        self.sessions = tuple(sessions)
        self._read: list[Readings] = []

    @property
    def _readings(self) -> Iterator[tuple[Session, Readings]]:
        """Each session and its readings; of those further back than is asked for, none are read."""
        for place, session in enumerate(self.sessions):
            if place == len(self._read):
                self._read.append(Readings(session))
            yield session, self._read[place]

    def of_place(self, side: Side, point: Point, kind: Kind) -> tuple[Session, Readings] | None:
        """Return the newest session with a reading of a place that counts, and its readings."""
        place = (side, point, kind)
        return next((pair for pair in self._readings if pair[1].taken(place)), None)

    def of_leg(self, side: Side) -> tuple[Session, Readings] | None:
        """Return the newest session with a reading of a leg, and its readings."""
        return next(
            (pair for pair in self._readings if any(p[0] is side for p in pair[1].places())), None
        )

    def value_mm(self, side: Side, point: Point, kind: Kind) -> Decimal | None:
        """Return the value used in mm, from the newest session that has one; else None."""
        values = (readings.adopted(side, point, kind) for _, readings in self._readings)
        return next((value.mm for value in values if value is not None), None)


def before_each(known: Iterable[Session]) -> dict[str, tuple[Session, ...]]:
    """Return `sessions_before` of each of some clients' sessions, by session id."""
    measured: dict[str, list[Session]] = {}
    found: dict[str, tuple[Session, ...]] = {}
    for session in sorted(known, key=lambda s: s.id):
        client = session.text("client")
        found[session.id] = tuple(reversed(measured.get(client, ())))
        if client and session.was_measured:
            measured.setdefault(client, []).append(session)
    return found


def sessions_before(session: Session, client: str, known: Iterable[Session]) -> tuple[Session, ...]:
    """Return a client's measured sessions before this one, newest first.

    Before is by the time in their ids. One begun and left without a reading is no last time.
    """
    older = [s for s in known if client and s.id < session.id and s.text("client") == client]
    return tuple(sorted((s for s in older if s.was_measured), key=lambda s: s.id, reverse=True))
