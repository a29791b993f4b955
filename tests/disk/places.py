"""Invented surroundings and a folder to work in, the same in every run."""

from __future__ import annotations

import hashlib
import tomllib
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.session_files import find_session_files
from fitcore.disk.surroundings import Surroundings
from fitcore.points import Kind, Point, Side
from fitcore.record.edits import draft_answer, draft_reading
from fitcore.units import parse_length

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.record.entries import Draft
    from fitcore.record.session import Session

START = datetime(2026, 3, 5, 8, 40, tzinfo=UTC)
CLIENT = "tern-001-U"


@dataclass
class Place:
    """A data folder, what the laptop remembers outside it, a clock that ticks, drawn bytes."""

    root: Path
    clock: datetime = START
    data: Path = field(init=False)
    _draws: int = 0

    def __post_init__(self) -> None:
        self.data = self.root / "data"

    @property
    def state(self) -> Path:
        """Where the laptop remembers how far its numbers had come."""
        return self.root / "state"

    def surroundings(self) -> Surroundings:
        """Return clock, chance and folders."""

        def now() -> datetime:
            self.clock += timedelta(seconds=1)
            return self.clock

        def draw(size: int) -> bytes:
            self._draws += 1
            return hashlib.blake2b(str(self._draws).encode(), digest_size=size).digest()

        return Surroundings(now, draw, self.state, "Europe/London")

    def open(self, data: Path | None = None, label: str = "tern") -> DataFolder:
        """Open the folder, or another one on the same laptop."""
        return DataFolder(data or self.data, self.surroundings(), label=label, measurer="N-17")


def begin(folder: DataFolder, client: str = CLIENT) -> Session:
    """Begin a session."""
    session = folder.new_session()
    draft = draft_answer(session, "client", client, START)
    assert draft is not None
    return folder.append(session, [draft])


def reading(text: str = "22.4", point: Point = Point.B) -> Draft:
    """Return a reading to append."""
    return draft_reading((Side.LEFT, point, Kind.GIRTH), 1, parse_length(text, "cm"), START)


def laptop_file(data: Path) -> dict[str, Any]:
    """Return what `laptop.toml` says."""
    return tomllib.loads((data / "laptop.toml").read_text(encoding="utf-8"))


def ledger_entries(data: Path, array: str, laptop: str | None = None) -> list[dict[str, Any]]:
    """Return one array of all ledgers, or of one laptop's."""
    found: list[dict[str, Any]] = []
    for path in sorted((data / "ledger").glob(f"{laptop or '*'}.toml")):
        found += tomllib.loads(path.read_text(encoding="utf-8")).get(array, [])
    return found


def numbers(data: Path, laptop: str) -> Counter[int]:
    """Return how often each number of a laptop names an entry of the folder."""
    named: Counter[int] = Counter()
    for path in (*find_session_files(data), *sorted((data / "ledger").glob("*.toml"))):
        values = tomllib.loads(path.read_text(encoding="utf-8"))
        for entries in values.values():
            for entry in entries if isinstance(entries, list) else ():
                by, _, number = entry["by"].rpartition(":")
                if by == laptop:
                    named[int(number)] += 1
    return named


def unexplained(data: Path) -> dict[str, set[int]]:
    """Return what is wrong with the laptop's numbers: used twice, missing, voided though used."""
    laptop = laptop_file(data)
    used = numbers(data, laptop["id"])
    voided = {entry["number"] for entry in ledger_entries(data, "voided", laptop["id"])}
    wrong = {
        "twice": {number for number, count in used.items() if count > 1},
        "missing": set(range(1, laptop["next"])) - set(used) - voided,
        "voided though used": voided & set(used),
        "from the future": {number for number in used if number >= laptop["next"]},
    }
    return {what: which for what, which in wrong.items() if which}
