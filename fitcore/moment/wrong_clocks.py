"""Stretches of a laptop's entries whose times are surely wrong: somebody said so at the time.

Nothing is corrected here. A coordinator may say by how much; then times are shown right, and the
lines stay as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

    from fitcore.record.entries import Entry
    from fitcore.record.session import Session


@dataclass(frozen=True)
class WrongClock:
    """One sitting of one laptop whose clock was wrong."""

    session: Session
    laptop: str
    first: int
    last: int
    """Numbers of the laptop's entries in the sitting, ends included."""
    example: Entry
    """The first of them with a time."""
    said_by: Entry
    """The line that says so."""

    @property
    def shown(self) -> datetime | None:
        """What the clock showed for the example."""
        return self.example.at


def wrong_clocks(
    sessions: Iterable[Session], is_noted: Callable[[Entry], bool]
) -> tuple[WrongClock, ...]:
    """Return sittings whose clock was said to be wrong and that nobody has noted yet, in order.

    Args:
        sessions: all sessions.
        is_noted: whether a clock note is about an entry already.
    """
    found = []
    for session in sessions:
        # Asked first of the plain entries: what holds of a session is costly.
        if not any(entry.fields.get("what") == "clock" for entry in session.entries):
            continue
        for said in session.answer("clock").heads:
            laptop = said.by.laptop
            own = [e for e in session.entries if e.by.laptop == laptop and "row" not in e.fields]
            timed = sorted((e for e in own if e.at is not None), key=lambda e: e.by)
            if said.fields.get("is") == "wrong" and timed and not is_noted(said):
                numbers = [entry.by.number for entry in own]
                first, last = min(numbers), max(numbers)
                found.append(WrongClock(session, laptop, first, last, timed[0], said))
    return tuple(sorted(found, key=lambda clock: (clock.laptop, clock.first, clock.session.id)))
