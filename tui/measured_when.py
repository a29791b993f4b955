"""When a session was measured, for people: by its laptop's clock, set right where a note says how.

Lines stay as they are, and nothing is judged by it: only the time shown changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from fitcore.words import say
from tui.wording.clocks import KnownClocks
from tui.wording.sittings import when_words

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from fitcore.merge.clients import Clients
    from fitcore.merge.clock_notes import ClockNote
    from fitcore.record.entries import Entry
    from fitcore.record.glance import Glance
    from fitcore.record.session import Session

_A_DAY = timedelta(days=1)
_SET_RIGHT, _IN_DOUBT = "*", "?"
"""Signs behind a time; what each means is told beside the times."""


@dataclass(frozen=True, slots=True)
class MeasuredWhen:
    """When a session was measured, and what bears on that time."""

    at: datetime | None
    """The time to show; None where no line has one."""
    recorded: datetime | None = None
    """What the laptop's clock showed."""
    remark: str = ""
    """What clock notes say of it; empty where it is as recorded, undoubted."""
    in_doubt: bool = False
    """Whether the notes differ: then the recorded time is shown."""

    @property
    def words(self) -> str:
        """The time with its sign; empty where there is none."""
        return f"{when_words(self.at)}{self.sign}" if self.at is not None else ""

    @property
    def sign(self) -> str:
        """The sign behind the time; empty where nothing bears on it."""
        if not self.remark:
            return ""
        return _IN_DOUBT if self.in_doubt else _SET_RIGHT

    @property
    def legend(self) -> str:
        """What the sign means; empty where there is none."""
        return f"{self.sign} {self.remark}" if self.sign else ""

    @property
    def note(self) -> str:
        """A line that tells of it, with what the laptop's clock showed; empty where nothing is."""
        if not self.remark:
            return ""
        if self.in_doubt:
            return say("! {when} by the laptop: {remark}.", when=self.words, remark=self.remark)
        return say(
            "- {when}: {remark}; the laptop had {recorded}.",
            when=self.words,
            remark=self.remark,
            recorded=when_words(self.recorded),
        )


def known_clocks(links: Clients | None) -> KnownClocks:
    """Return what ledgers note of wrong clocks.

    Args:
        links: what was read of the ledgers; None where nothing was.
    """
    return KnownClocks.of(links.ledgers, ()) if links is not None else KnownClocks()


def measured_when(session: Session, clocks: KnownClocks) -> MeasuredWhen:
    """Return when a session was measured: the earliest reading that counts, else answer.

    Args:
        session: the session.
        clocks: what is noted of the laptops' clocks.
    """
    recorded = session.measured_at
    noted = {note.laptop for note in clocks.notes}
    if not noted or not any(entry.by.laptop in noted for entry in session.entries):
        return MeasuredWhen(recorded, recorded)
    from fitcore.merge.conflicts import zone_of  # few folders have such a note: the start is quick

    for array in ("readings", "answers"):
        timed = [
            (at, entry)
            for entry in session.heads.heads_of(array)
            if (at := clocks.shown(entry, zone_of(session.entries, entry))) is not None
        ]
        if timed:
            return _of_entry(*min(timed, key=lambda pair: pair[0]), clocks)
    return MeasuredWhen(recorded, recorded)


def when_of_glance(
    glance: Glance, clocks: KnownClocks, read: Callable[[str], Session | None]
) -> MeasuredWhen:
    """Return the same of a session that is not read, unless a note on clocks may bear on it.

    Args:
        glance: what is known of the session.
        clocks: what is noted of the laptops' clocks.
        read: reads a session by its id; None where it cannot be read any more.
    """
    session = read(glance.id) if _notes_on(glance, clocks) else None
    if session is None:
        return MeasuredWhen(glance.measured_at, glance.measured_at)
    return measured_when(session, clocks)


def may_be_of_day(glance: Glance, clocks: KnownClocks, day: date) -> bool:
    """Whether a session may have been measured on a day, by any clock note that may bear on it.

    A cheap first look: True too often does no harm.
    """
    at = glance.measured_at
    if at is None:
        return False
    notes = _notes_on(glance, clocks)
    if not notes:
        return at.date() == day
    newest = max((each.newest for each in glance.written if each.newest is not None), default=at)
    if len(glance.written) > 1 or newest - at > _A_DAY:
        return True  # notes may make another line the first one
    away = (datetime.combine(day, at.timetz()) - at).total_seconds()
    # In seconds: a note may add more than a calendar holds.
    shifts = (0, *(note.add_seconds for note in notes))
    return any(abs(away - shift) <= 2 * _A_DAY.total_seconds() for shift in shifts)


def _notes_on(glance: Glance, clocks: KnownClocks) -> list[ClockNote]:
    """Return the notes that may bear on a session's times."""
    return [
        note
        for note in clocks.notes
        if any(w.laptop == note.laptop and note.first <= w.highest for w in glance.written)
    ]


def _of_entry(at: datetime, entry: Entry, clocks: KnownClocks) -> MeasuredWhen:
    return MeasuredWhen(at, entry.at, clocks.remark(entry), clocks.notes_differ(entry))
