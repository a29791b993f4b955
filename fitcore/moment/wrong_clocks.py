"""Stretches of a laptop's entries whose times are surely wrong: somebody said so at the time.

Nothing is corrected here. A coordinator may say what time it was; that is kept beside the times,
and the lines stay as they are.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.instants import hours_between, parse_instant
from fitcore.problems import Problem, UnitError
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

    from fitcore.record.entries import Entry
    from fitcore.record.session import Session


_DAY_ALONE = re.compile(r"[0-9]{4}-?(?:[0-9]{2}-?[0-9]{2}|W[0-9]{2}(?:-?[0-9])?)")
"""A date of ISO 8601 without a time."""


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


def parse_right_time(typed: str, now: datetime) -> datetime:
    """Read what time it was when a wrong clock showed another.

    Args:
        typed: date and time, such as `2026-03-04 15:10`; without an offset it is in this laptop's.
        now: the present instant, by this laptop's clock.

    Raises:
        UnitError: not a date and time, without an hour, or of a day that has not come.
    """
    right = parse_instant(typed, now.tzinfo)
    if _DAY_ALONE.fullmatch(typed.strip()):
        raise UnitError(
            Problem(
                code="no_hour",
                text=say("'{text}' is a day without an hour.", text=typed.strip()[:20]),
                mend=say("Type the hour too, such as 2026-03-04 15:10. Where nobody knows: F2."),
            )
        )
    # Days are compared by this laptop's wall: an hour's doubt between two zones is no other day.
    if right.date() > now.date() and hours_between(now, right) > 0:
        raise UnitError(
            Problem(
                code="day_to_come",
                text=say("{day} is later than today by this laptop's clock.", day=right.date()),
                mend=say("Look at the date again; if today's is wrong, set this laptop's clock."),
            )
        )
    return right
