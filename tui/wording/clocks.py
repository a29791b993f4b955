"""Times by a laptop's own clock, how far they can be relied on, and clocks that were wrong."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.instants import parse_zone
from fitcore.merge.clock_notes import clock_notes, shown_at
from fitcore.moment.wrong_clocks import wrong_clocks
from fitcore.problems import UnitError
from fitcore.words import say
from tui.wording.sittings import sitting_line, when_words

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from fitcore.merge.clock_notes import ClockNote
    from fitcore.merge.ledger_lines import LedgerLines
    from fitcore.moment.wrong_clocks import WrongClock
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session


@dataclass(frozen=True, slots=True)
class KnownClocks:
    """What is known of the laptops' clocks."""

    notes: tuple[ClockNote, ...] = ()
    """By how much clocks were wrong."""
    wrong: tuple[WrongClock, ...] = ()
    """Clocks said to be wrong, and by how much nobody has noted."""

    @classmethod
    def of(cls, ledgers: LedgerLines, wrong: Iterable[WrongClock]) -> KnownClocks:
        """Return what ledgers note, beside the clocks nobody has noted."""
        return cls(clock_notes(ledgers), tuple(wrong))

    def shown(self, entry: Entry, zone: str = "") -> datetime | None:
        """Return when an entry was written, set right where one note says how.

        Args:
            entry: the entry.
            zone: IANA name of its session's zone, whose offset a time set right is told in: a
                clock that was years off also had another offset. Empty where it is not known.
        """
        at = shown_at(entry, self.notes)[0]
        if at is not None and zone and at != entry.at:
            with suppress(UnitError, OverflowError):
                return at.astimezone(parse_zone(zone))
        return at

    def notes_differ(self, entry: Entry) -> bool:
        """Whether notes disagree about the clock of an entry."""
        return shown_at(entry, self.notes)[1]

    def doubt(self, entry: Entry) -> str:
        """Say why the time of an entry cannot be relied on; empty where it can."""
        if self.notes_differ(entry):
            return say("clock notes differ")
        if self.shown(entry) != entry.at:
            return ""
        wrong = any(
            clock.laptop == entry.by.laptop and clock.first <= entry.by.number <= clock.last
            for clock in self.wrong
        )
        return say("clock was wrong") if wrong else ""

    def remark(self, entry: Entry) -> str:
        """Say what bears on the time of an entry; empty where it is as recorded, undoubted."""
        if doubt := self.doubt(entry):
            return doubt
        return say("clock set right by note") if self.shown(entry) != entry.at else ""


def clocks_not_noted(sessions: Iterable[Session], ledgers: LedgerLines) -> tuple[WrongClock, ...]:
    """Return the clocks said to be wrong by an amount nobody has noted."""
    notes = clock_notes(ledgers)
    return wrong_clocks(sessions, lambda entry: any(note.covers(entry) for note in notes))


def clock_id(found: WrongClock) -> str:
    """Return what a wrong clock is called by: its laptop and entries."""
    return f"{found.laptop}:{found.first}-{found.last}"


def clock_title(found: WrongClock) -> str:
    """Say whose clock was wrong; no full stop."""
    return say("{laptop}: the clock was wrong", laptop=found.laptop)


def clock_lines(found: WrongClock) -> tuple[str, ...]:
    """Say which session it is about, who said so, and what the clock showed."""
    return (
        sitting_line(found.session),
        say("Said at the time by {entry}: date and time are wrong.", entry=str(found.said_by.by)),
        say(
            "Entries {first} to {last}. At {entry} the clock showed {when}.",
            first=found.first,
            last=found.last,
            entry=str(found.example.by),
            when=when_words(found.shown),
        ),
    )
