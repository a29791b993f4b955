"""Sessions of nobody, as many as a benchmark asks for, by laptops that number without a gap.

Chance is fixed: the same calls give the same files. Every client, laptop and number is invented.
"""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.disk.session_files import read_session_file, session_path
from fitcore.identity import EntryId, make_uuid7, own_client_code
from fitcore.points import Kind, Point, Side
from fitcore.record.codec import write_session
from fitcore.record.edits import draft_answer, draft_reading, draft_remark
from fitcore.record.entries import Draft
from fitcore.record.session import Session
from fitcore.units import parse_length

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

LAPTOPS = ("dunlin-m4ex", "petrel-z9wa", "puffin-h3vn", "tern-k7qd")
START = datetime(2024, 1, 8, 8, 0, tzinfo=UTC)
_ANSWERS = (
    ("measurer", "N-17"),
    ("zone", "Etc/UTC"),
    ("protocol", "below-knee-short"),
    ("purpose", "work"),
    ("posture", "standing"),
)
_PLACES = tuple(
    (side, point, Kind.GIRTH)
    for side in (Side.LEFT, Side.RIGHT)
    for point in (Point.B, Point.B1, Point.C, Point.D)
)
_ABOUT_MM = {Point.B: 225, Point.B1: 280, Point.C: 370, Point.D: 350}


class Laptop:
    """One invented laptop, which goes on numbering from call to call."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._number = 0
        self._clients = 0
        self._chance = random.Random(name)  # noqa: S311 - a fixed sequence is what is wanted
        self._at = START + timedelta(seconds=LAPTOPS.index(name))

    def measure(self, data: Path, count: int) -> list[str]:
        """Write finished sessions of new clients, two rounds of eight readings each; their ids."""
        return [self._measure(data) for _ in range(count)]

    def edit(self, source: Path, data: Path, sessions: Iterable[str], *, posture: str) -> None:
        """Copy sessions of another folder with another posture and a remark of this laptop's."""
        for name in sessions:
            session = read_session_file(session_path(source, name)).session
            if session is None:
                raise ValueError(name)
            self._at += timedelta(minutes=2)
            changed = draft_answer(session, "posture", posture, self._at)
            remark = draft_remark(f"Seen again, {posture}, by {self.name}.", self._at)
            self._write(data, session, [remark, *([changed] if changed is not None else [])])

    def _measure(self, data: Path) -> str:
        self._clients += 1
        self._at += timedelta(minutes=17)
        name = make_uuid7(int(self._at.timestamp() * 1000), self._chance.randbytes(10))
        label = self.name.partition("-")[0]
        answers = (("client", own_client_code(label, self._clients)), *_ANSWERS)
        drafts = [
            Draft("answers", self._at, {"what": what, "is": value}) for what, value in answers
        ]
        legs = {place: _ABOUT_MM[place[1]] + self._chance.randrange(-40, 41) for place in _PLACES}
        for turn in (1, 2):
            for seconds, (place, mm) in enumerate(legs.items()):
                typed = str(Decimal(mm + self._chance.randrange(-1, 2)) / 10)
                at = self._at + timedelta(seconds=60 + 200 * turn + 20 * seconds)
                drafts.append(draft_reading(place, turn, parse_length(typed, "cm"), at))
        ended = self._at + timedelta(minutes=11)
        drafts.append(Draft("answers", ended, {"what": "finished", "is": True}))
        self._write(data, Session(name, frozenset()), drafts)
        return name

    def _write(self, data: Path, session: Session, drafts: Sequence[Draft]) -> None:
        entries = []
        for draft in drafts:
            self._number += 1
            entries.append(draft.entry(EntryId(self.name, self._number)))
        path = session_path(data, session.id)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(write_session(session.with_entries(*entries)), encoding="utf-8")


def make_sessions(data: Path, count: int) -> list[str]:
    """Fill a folder with finished sessions of one laptop; their ids."""
    return Laptop(LAPTOPS[0]).measure(data, count)
