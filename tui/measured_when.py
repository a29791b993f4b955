"""When a session was measured, for people: by its laptop's clock, set right where a note says how.

Lines stay as they are, and nothing is judged by it: only the time shown changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.words import say
from tui.wording.clocks import KnownClocks
from tui.wording.sittings import when_words

if TYPE_CHECKING:
    from datetime import datetime

    from fitcore.merge.clients import Clients
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session

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
    for array in ("readings", "answers"):
        timed = [
            (at, entry)
            for entry in session.heads.heads_of(array)
            if (at := clocks.shown(entry)) is not None
        ]
        if timed:
            return _of_entry(*min(timed, key=lambda pair: pair[0]), clocks)
    return MeasuredWhen(recorded, recorded)


def _of_entry(at: datetime, entry: Entry, clocks: KnownClocks) -> MeasuredWhen:
    return MeasuredWhen(at, entry.at, clocks.remark(entry), clocks.notes_differ(entry))
