"""Watches the laptop's clock against what is saved, against itself, and against somebody's watch.

Nothing is changed and nothing waits: what is doubtful is told and stored beside the reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.instants import EPOCH, hours_between
from fitcore.moment.clock import ClockState, judge_clock
from fitcore.record.glance import glance_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date, datetime, timedelta

    from fitcore.disk.surroundings import Surroundings
    from fitcore.flags import Flag
    from fitcore.moment.time_rules import TimeRules
    from fitcore.record.glance import Glance
    from fitcore.record.session import Session


@dataclass(frozen=True, slots=True)
class _Records:
    """What sessions say about a laptop's clock."""

    newest_record: datetime | None = None
    """The newest entry of this laptop."""
    newest_reading: datetime | None = None
    """The newest reading of any laptop."""
    confirmed: frozenset[date] = frozenset()
    """Days for which somebody at this laptop said that date and time are right."""

    def __or__(self, other: _Records) -> _Records:
        return _Records(
            _latest((self.newest_record, other.newest_record)),
            _latest((self.newest_reading, other.newest_reading)),
            self.confirmed | other.confirmed,
        )


class ClockWatch:
    """The laptop's clock since the program was opened."""

    def __init__(self, surroundings: Surroundings) -> None:
        self._around = surroundings
        self._opened_at = surroundings.now()
        self._opened = self._seconds(self._opened_at)
        self._summed: tuple[Mapping[str, Glance], str, str, _Records] | None = None
        """What was summed up last: of what, without which session, for which laptop."""

    def confirmed_today(
        self, known: Mapping[str, Glance], here: Session | None, laptop: str
    ) -> bool:
        """Whether somebody at this laptop said today that date and time are right.

        Args:
            known: the folder's sessions, by id.
            here: the open one as it stands; None where none is.
            laptop: this laptop's id.
        """
        return self._around.now().date() in self._look(known, here, laptop).confirmed

    def _seconds(self, now: datetime) -> float:
        """Return seconds of the clock nobody can set; where there is none, of the wall clock."""
        steady = self._around.monotonic
        return steady() if steady is not None else hours_between(EPOCH, now) * 3600

    def flags(
        self, known: Mapping[str, Glance], here: Session | None, laptop: str, rules: TimeRules
    ) -> tuple[Flag, ...]:
        """Return what is doubtful about the clock at this moment.

        Args:
            known: the folder's sessions, by id.
            here: the open one as it stands; None where none is.
            laptop: this laptop's id.
            rules: the thresholds.
        """
        records = self._look(known, here, laptop)
        now = self._around.now()
        today = now.date()
        state = ClockState(
            now=now,
            newest_record=records.newest_record,
            build_date=self._around.built_on,
            confirmed_on=today if today in records.confirmed else None,
            opened_at=self._opened_at,
            elapsed_monotonic_seconds=self._seconds(now) - self._opened,
            zone=self._around.zone,
            last_offset=_offset(records.newest_record),
            newest_reading=records.newest_reading,
        )
        return judge_clock(state, rules)

    def _look(self, known: Mapping[str, Glance], here: Session | None, laptop: str) -> _Records:
        """Look at the open session as it stands, and at the others once while they do not change.

        A reading is judged right after it was typed, however many sessions there are.
        """
        but = here.id if here is not None else ""
        last = self._summed
        if last is None or last[0] is not known or last[1:3] != (but, laptop):
            others = (glance for name, glance in known.items() if name != but)
            last = self._summed = (known, but, laptop, _records(others, laptop))
        if here is None:
            return last[3]
        return last[3] | _records([glance_of(here)], laptop)


def _records(glances: Iterable[Glance], laptop: str) -> _Records:
    held = list(glances)
    written = (each for glance in held for each in glance.written if each.laptop == laptop)
    return _Records(
        _latest(each.newest for each in written),
        _latest(glance.newest_reading for glance in held),
        frozenset(day for glance in held for who, day in glance.confirmed if who == laptop),
    )


def _latest(instants: Iterable[datetime | None]) -> datetime | None:
    # Compared as they are: entries' times carry a fixed offset, and those of one offset that never
    # changes are in the order of their instants.
    return max((at for at in instants if at is not None), default=None)


def _offset(instant: datetime | None) -> timedelta | None:
    return None if instant is None else instant.utcoffset()
