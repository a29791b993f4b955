"""What the tests of the command line share: a fixed clock, fixed chance, and one way to call it.

Everybody in these tests is invented: codes on the made-up Skerrow Isles, never a name.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from fitcore.clean_text import is_unsafe
from fitcore.disk.surroundings import Surroundings
from tui.command_line import run

REPOSITORY = Path(__file__).resolve().parents[2]
HEADER = "client,measured_at,measurer,side,point,kind,round,value,unit,posture,rising_at"


@dataclass
class World:
    """A clock that stands still until it is moved, and chance that is counted."""

    state: Path
    instant: datetime = datetime(2026, 3, 4, 9, 12, 40, tzinfo=ZoneInfo("Europe/Berlin"))
    drawn: int = 0

    def surroundings(self) -> Surroundings:
        return Surroundings(
            now=lambda: self.instant,
            random_bytes=self._draw,
            state_folder=self.state,
            zone="Europe/Berlin",
        )

    def later(self, **delta: float) -> None:
        self.instant += timedelta(**delta)

    def _draw(self, count: int) -> bytes:
        self.drawn += 1
        return self.drawn.to_bytes(count, "big")


@dataclass(frozen=True)
class Ran:
    """What one command line came to."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The document; fails where stdout holds anything but exactly one."""
        assert self.out.endswith("\n")
        return json.loads(self.out)


@dataclass
class Anklefirst:
    """Calls the command line in this process, in one data folder."""

    data: Path
    world: World
    capture: pytest.CaptureFixture[str]

    def __call__(self, *words: str | Path) -> Ran:
        """Run with `--data`; unsafe characters may never come out, whatever went in."""
        return self.bare("--data", str(self.data), *words)

    def bare(self, *words: str | Path) -> Ran:
        self.capture.readouterr()
        code = run([str(word) for word in words], self.world.surroundings())
        shown = self.capture.readouterr()
        for stream in shown:
            assert [c for c in stream if c != "\n" and is_unsafe(c)] == []
        assert "Traceback" not in shown.err
        return Ran(code, shown.out, shown.err)

    def new(self, client: str = "SK-07") -> str:
        """Begin a session and return its id."""
        ran = self("new", "--client", client, "--json")
        assert ran.code == 0, ran
        session: str = ran.json["session"]
        return session

    def record(self, session: str, *words: str) -> str:
        """Record one reading and return its entry's name."""
        ran = self("record", session, *words, "--json")
        assert ran.code in (0, 1), ran
        entry: str = ran.json["entries"][0]
        return entry

    def sheet(self, *rows: str, name: str = "sheet.csv", header: str = HEADER) -> Path:
        """Write a sheet beside the data folder."""
        path = self.data.parent / name
        path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
        return path

    def session_file(self, session: str) -> Path:
        found = list(self.data.glob(f"sessions/*/{session}.toml"))
        assert len(found) == 1
        return found[0]

    def found(self, *paths: Path) -> list[dict[str, Any]]:
        """Return what `check` finds; with and without --json it must say the same."""
        ran = self("check", *paths, "--json")
        assert list(ran.json) == ["problems"]
        problems: list[dict[str, Any]] = ran.json["problems"]
        for problem in problems:
            assert set(problem) == {"path", "line", "key", "level", "code", "text", "mend"}
            assert problem["path"]
            assert problem["text"]
            assert problem["mend"]
        serious = any(problem["level"] != "note" for problem in problems)
        assert ran.code == (1 if serious else 0)
        plain = self("check", *paths)
        assert plain.code == ran.code
        if problems:
            levels = [line.split(": ")[0] for line in plain.out.splitlines()]
            assert levels == [problem["level"] for problem in problems]
        return problems


@pytest.fixture
def world(tmp_path: Path) -> World:
    return World(tmp_path / "state")


@pytest.fixture
def anklefirst(tmp_path: Path, world: World, capsys: pytest.CaptureFixture[str]) -> Anklefirst:
    return Anklefirst(tmp_path / "tern", world, capsys)
