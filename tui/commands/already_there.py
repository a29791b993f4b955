"""Which rows of a sheet a data folder holds already, hand-entered ones too."""

from __future__ import annotations

import re
from collections import defaultdict
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.session_files import find_session_files, read_regular, read_session_file
from fitcore.record.entries import render_value
from fitcore.record.readings import Readings
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from fitcore.record.reading import Reading
    from fitcore.record.session import Session
    from fitcore.record.sheet import RowKey, SheetRow

Meaning = tuple[str, str]

_CLIENT_ANSWER = re.compile(rb'what = "client",[^\n]*?\bis = ("(?:[^"\\\n]|\\.)*")')


class AlreadyThere:
    """The readings of some clients in a folder, by row key; grows with the rows being added."""

    def __init__(self, folder: Path, clients: Collection[str]) -> None:
        """Read the sessions of these clients.

        Args:
            folder: a data folder.
            clients: codes; sessions of others are passed over without parsing them.
        """
        self._meanings: defaultdict[RowKey, dict[Meaning, str]] = defaultdict(dict)
        """Row key to what was read there and where it stands."""
        self._digests: set[str] = set()
        """Of every row ever imported for them, also those corrected or struck out since."""
        wanted = {render_value(client).encode() for client in clients}
        for path in find_session_files(folder):
            raw = read_regular(path)
            if isinstance(raw, bytes) and _may_be_of(raw, wanted):
                session = read_session_file(path).session
                if session is not None:
                    self._take(session, clients)

    def note(self, row: SheetRow) -> None:
        """Remember a row that is about to be added."""
        self._digests.add(row.digest)
        self._meanings[row.key][row.meaning] = say("line {line}", line=row.line)

    def judge(self, row: SheetRow) -> str | None:
        """Compare a row with what is there.

        Returns:
            None where it is new, an empty text where it is there already, else why it cannot be
            taken.
        """
        there = self._meanings.get(row.key, {})
        if row.digest in self._digests or row.meaning in there:
            return ""
        if not there:
            return None
        meaning, where = next(iter(there.items()))
        return say(
            "{place}, time {round}: {found} is there already ({where}). Nothing was changed; use "
            "correct if this one is right.",
            place=" ".join(row.place),
            round=row.round,
            found=_meaning_words(meaning),
            where=where,
        )

    def _take(self, session: Session, clients: Collection[str]) -> None:
        own = [c for c in session.answer("client").values if isinstance(c, str) and c in clients]
        measurers = [str(value) for value in session.answer("measurer").values] or [""]
        self._digests |= {e.text("row") for e in session.entries if e.text("row")}
        readings = Readings(session)
        for place in readings.places():
            for reading in readings.current(place):
                read_at = readings.read_at(reading)  # a correction made later moves no day
                if read_at is None:
                    continue
                day = read_at.date().isoformat()
                for client in own:
                    for measurer in measurers:
                        key = (client, day, measurer, place, reading.round)
                        self._meanings[key][_meaning(reading)] = reading.name


def _may_be_of(raw: bytes, wanted: Collection[bytes]) -> bool:
    """Whether a session file may be of one of these clients; True where it cannot be told."""
    found = {match[1] for match in _CLIENT_ANSWER.finditer(raw)}
    return not found or not found.isdisjoint(wanted)


def _meaning(reading: Reading) -> Meaning:
    if reading.not_taken:
        return ("not_taken", reading.not_taken)
    if reading.system is not None and reading.value is not None:
        return (reading.system, plain(reading.value))
    return ("mm", plain(reading.mm) if reading.mm is not None else "")


def _meaning_words(meaning: Meaning) -> str:
    what, value = meaning
    if what == "not_taken":
        return say("not taken ({why})", why=visible(value))
    return f"{value} mm" if what == "mm" else f"{what} {value}"
