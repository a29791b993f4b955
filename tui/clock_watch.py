"""Watches the laptop's clock against what is saved, against itself, and against somebody's watch.

Nothing is changed and nothing waits: what is doubtful is told and stored beside the reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.instants import EPOCH, hours_between
from fitcore.moment.clock import ClockState, judge_clock

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime, timedelta

    from fitcore.disk.surroundings import Surroundings
    from fitcore.flags import Flag
    from fitcore.moment.time_rules import TimeRules
    from fitcore.record.session import Session


@dataclass(frozen=True, slots=True)
class _Glance:
    """What one session says about a laptop's clock."""

    session: Session
    laptop: str
    newest_record: datetime | None
    """The newest entry of this laptop."""
    newest_reading: datetime | None
    """The newest reading of any laptop."""
    confirmed: frozenset[date]
    """Days for which somebody at this laptop said that date and time are right."""


class ClockWatch:
    """The laptop's clock since the program was opened."""

    def __init__(self, surroundings: Surroundings) -> None:
        self._around = surroundings
        self._opened_at = surroundings.now()
        self._opened = self._seconds(self._opened_at)
        self._glances: dict[str, _Glance] = {}
        """Sessions by id, each looked through once for as long as it does not change."""

    def confirmed_today(self, sessions: Iterable[Session], laptop: str) -> bool:
        """Whether somebody at this laptop said today that date and time are right."""
        today = self._around.now().date()
        return any(today in glance.confirmed for glance in self._look(sessions, laptop))

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
        glances = self._look(sessions, laptop)
        newest = _latest(glance.newest_record for glance in glances)
        now = self._around.now()
        today = now.date()
        state = ClockState(
            now=now,
            newest_record=newest,
            build_date=self._around.built_on,
            confirmed_on=today if any(today in glance.confirmed for glance in glances) else None,
            opened_at=self._opened_at,
            elapsed_monotonic_seconds=self._seconds(now) - self._opened,
            zone=self._around.zone,
            last_offset=_offset(newest),
            newest_reading=_latest(glance.newest_reading for glance in glances),
        )
        return judge_clock(state, rules)

    def _look(self, sessions: Iterable[Session], laptop: str) -> list[_Glance]:
        found: dict[str, _Glance] = {}
        for session in sessions:
            known = self._glances.get(session.id)
            same = known is not None and known.session is session and known.laptop == laptop
            found[session.id] = known if known and same else _glance(session, laptop)
        self._glances = found
        return list(found.values())


def _glance(session: Session, laptop: str) -> _Glance:
    # An imported row carries its sheet's time, which no laptop's clock showed.
    shown = [entry for entry in session.entries if "row" not in entry.fields]
    return _Glance(
        session,
        laptop,
        _latest(entry.at for entry in shown if entry.by.laptop == laptop),
        _latest(entry.at for entry in shown if entry.array == "readings"),
        _confirmed(session, laptop),
    )


def _confirmed(session: Session, laptop: str) -> frozenset[date]:
    # Asked first of the plain entries: what holds of a session is costly, and few sessions say so.
    if not any(entry.fields.get("what") == "clock" for entry in session.entries):
        return frozenset()
    return frozenset(
        entry.at.date()
        for entry in session.answer("clock").heads
        if entry.fields.get("is") == "correct"
        and entry.at is not None
        and entry.by.laptop == laptop
    )


def _latest(instants: Iterable[datetime | None]) -> datetime | None:
    # Compared as they are: entries' times carry a fixed offset, and those of one offset that never
    # changes are in the order of their instants.
    return max((at for at in instants if at is not None), default=None)


def _offset(instant: datetime | None) -> timedelta | None:
    return None if instant is None else instant.utcoffset()
