"""Watches the laptop's clock against what is saved, against itself, and against somebody's watch.

Nothing is changed and nothing waits: what is doubtful is told and stored beside the reading.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clock import ClockState, judge_clock
from fitcore.instants import EPOCH, hours_between

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime, timedelta

    from fitcore.disk.surroundings import Surroundings
    from fitcore.flags import Flag
    from fitcore.session import Session
    from fitcore.time_rules import TimeRules

_NEWEST = 20
"""Sessions looked at for the newest record: ids sort by time, and only a wrong clock misplaces."""


class ClockWatch:
    """The laptop's clock since the program was opened."""

    def __init__(self, surroundings: Surroundings) -> None:
        self._around = surroundings
        self._opened_at = surroundings.now()
        self._opened = self._seconds(self._opened_at)

    def confirmed_today(self, sessions: Iterable[Session], laptop: str) -> bool:
        """Whether somebody at this laptop said today that date and time are right."""
        today = self._around.now().date()
        return any(
            entry.fields.get("is") == "correct"
            and entry.at is not None
            and entry.at.date() == today
            and entry.by.laptop == laptop
            for session in _newest(sessions)
            for entry in session.answer("clock").heads
        )

    def _seconds(self, now: datetime) -> float:
        """Return seconds of the clock nobody can set; where there is none, of the wall clock."""
        steady = self._around.monotonic
        return steady() if steady is not None else hours_between(EPOCH, now) * 3600

    def flags(self, sessions: Iterable[Session], laptop: str, rules: TimeRules) -> tuple[Flag, ...]:
        """Return what is doubtful about the clock at this moment.

        Args:
            sessions: the folder's sessions, the open one among them.
            laptop: this laptop's id.
            rules: the thresholds.
        """
        recent = _newest(sessions)
        instants = [
            entry.at for session in recent for entry in session.entries if entry.by.laptop == laptop
        ]
        newest = _latest(instants)
        now = self._around.now()
        state = ClockState(
            now=now,
            newest_record=newest,
            build_date=self._around.built_on,
            confirmed_on=now.date() if self.confirmed_today(recent, laptop) else None,
            opened_at=self._opened_at,
            elapsed_monotonic_seconds=self._seconds(now) - self._opened,
            zone=self._around.zone,
            last_offset=_offset(newest),
            newest_reading=_latest(
                entry.at
                for session in recent
                for entry in session.entries
                if entry.array == "readings"
            ),
        )
        return judge_clock(state, rules)


def _newest(sessions: Iterable[Session]) -> list[Session]:
    return sorted(sessions, key=lambda session: session.id)[-_NEWEST:]


def _latest(instants: Iterable[datetime | None]) -> datetime | None:
    known = (at for at in instants if at is not None)
    return max(known, key=lambda at: hours_between(EPOCH, at), default=None)


def _offset(instant: datetime | None) -> timedelta | None:
    return None if instant is None else instant.utcoffset()
