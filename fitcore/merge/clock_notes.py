"""Clock notes: how wrong a laptop's clock was for some of its entries, said by a person.

Lines stay as they are; only the time shown changes. Nothing else in a merge looks at times.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from fitcore.record.entries import Draft

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from fitcore.merge.ledger_lines import LedgerLines
    from fitcore.record.entries import Entry


@dataclass(frozen=True, slots=True)
class ClockNote:
    """What is to be added to the times of some entries."""

    name: str
    """The note's own entry."""
    laptop: str
    first: int
    last: int
    """Numbers it is about, ends included."""
    add_seconds: int
    who: str
    why: str

    def covers(self, entry: Entry) -> bool:
        """Whether it is about this entry."""
        return entry.by.laptop == self.laptop and self.first <= entry.by.number <= self.last


def clock_notes(ledgers: LedgerLines) -> tuple[ClockNote, ...]:
    """Return the notes that stand, in the order of their names; an unusable one says nothing."""
    found = []
    for entry in ledgers.heads.heads_of("clock_notes"):
        first, last, add = (entry.fields.get(key) for key in ("from", "to", "add_seconds"))
        if isinstance(first, int) and isinstance(last, int) and isinstance(add, int):
            laptop, who, why = (entry.text(key) for key in ("laptop", "who", "why"))
            found.append(ClockNote(str(entry.by), laptop, first, last, add, who, why))
    return tuple(found)


def shown_at(entry: Entry, notes: Iterable[ClockNote]) -> tuple[datetime | None, bool]:
    """Return when an entry was written, for people, and whether that is doubtful.

    Returns:
        The recorded instant, corrected where one note or several alike say by how much. Where
        notes differ the recorded one stays and is doubtful.
    """
    at = entry.at
    adds = {note.add_seconds for note in notes if note.covers(entry)}
    if at is None or not adds:
        return at, False
    if len(adds) > 1:
        return at, True
    try:
        return at + timedelta(seconds=adds.pop()), False
    except OverflowError:
        return at, True


def draft_clock_note(
    laptop: str, numbers: tuple[int, int], add_seconds: int, *, who: str, why: str, at: datetime
) -> Draft:
    """Say how wrong a laptop's clock was, for the ledger.

    Args:
        laptop: its id.
        numbers: first and last entry number it is about.
        add_seconds: what to add to the recorded times to get the right ones.
        who: who found it.
        why: how.
        at: the instant, from the caller's clock.
    """
    first, last = numbers
    return Draft(
        "clock_notes",
        at,
        {
            "laptop": laptop,
            "from": first,
            "to": last,
            "add_seconds": add_seconds,
            "who": who,
            "why": why,
        },
    )
