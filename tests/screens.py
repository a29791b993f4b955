"""Drives the program by its keys on a screen without a terminal, and reads what stands there.

Nothing here waits for time: keys go in, and a test waits for a condition with a deadline. What was
saved is read back from the session files, never from the program's own state.
"""

from __future__ import annotations

import random
import re
import time
from asyncio import sleep
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.surroundings import Surroundings
from fitcore.record.codec import read_session
from fitcore.record.readings import Readings
from tui.app import AnklefirstApp

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable
    from pathlib import Path

    from textual.pilot import Pilot

    from fitcore.record.reading import Reading
    from fitcore.record.session import Session

MORNING = datetime(2026, 3, 5, 8, 40, tzinfo=UTC)
SMALL = (80, 24)
DEADLINE_SECONDS = 10.0
KEY = re.compile(r"<([a-z0-9+_]+)>|(.)", re.DOTALL)


class Clock:
    """A clock that moves on by a tick each time it is read."""

    def __init__(self, at: datetime = MORNING, tick: timedelta = timedelta(seconds=7)) -> None:
        self.at = at
        self.tick = tick

    def __call__(self) -> datetime:
        self.at += self.tick
        return self.at


@dataclass
class KeyCount:
    """How many keys were pressed: characters of values and codes, and everything else."""

    characters: int = 0
    others: int = 0


class Visit:
    """One running program: press keys, read the screen, read the files."""

    def __init__(self, app: AnklefirstApp, pilot: Pilot[int]) -> None:
        self.app = app
        self.pilot = pilot
        self.count = KeyCount()

    async def keys(self, typed: str) -> None:
        """Press keys one after another; `<enter>` is a key by its name, all else is itself."""
        pressed = KEY.findall(typed)
        self.count.characters += sum(1 for name, _ in pressed if not name)
        self.count.others += sum(1 for name, _ in pressed if name)
        await self.press(*(name or character for name, character in pressed))

    async def choose(self, digits: str) -> None:
        """Press numbers that choose an answer; they are no characters of a value."""
        self.count.others += len(digits)
        await self.press(*digits)

    async def press(self, *keys: str) -> None:
        """Press keys and let the program come to rest."""
        await self.pilot.press(*keys)
        await self.rest()

    async def rest(self) -> None:
        """Wait until every key pressed so far has been carried out to its end and is drawn."""
        await self.pilot._wait_for_screen()
        await until(None, lambda: keys_are_done(self.app))
        await self.pilot.pause()

    @property
    def rows(self) -> list[str]:
        """The screen, row by row."""
        return screen_rows(self.app)

    @property
    def text(self) -> str:
        """The whole screen; rows end without blanks."""
        return "\n".join(row.rstrip() for row in self.rows)

    @property
    def flow(self) -> str:
        """The screen's right part as running text, so that a broken line reads as one."""
        return " ".join(" ".join(row[31:] for row in self.rows).split())

    @property
    def words(self) -> str:
        """The screen as running text."""
        return " ".join(self.text.split())

    @property
    def marked(self) -> list[str]:
        """Rows that carry the mark `>` in front."""
        return [row.strip() for row in self.rows if row.lstrip().startswith("> ")]

    @property
    def screen(self) -> str:
        """Name of the present screen in the register of actions."""
        return str(getattr(self.app.screen, "KEYMAP", ""))

    async def until(self, *shown: str) -> None:
        """Wait until the screen shows all these words."""
        await until(
            self.pilot,
            lambda: all(words in self.words or words in self.flow for words in shown),
            lambda: f"{shown} not on\n{self.text}",
        )

    async def until_screen(self, name: str) -> None:
        """Wait until a screen is up and drawn."""
        await until(self.pilot, lambda: self.screen == name, lambda: f"not {name}:\n{self.text}")
        await self.rest()

    @property
    def saved(self) -> Saved:
        """The one session on disk."""
        sessions = saved_sessions(self.app.data)
        assert len(sessions) == 1, f"{len(sessions)} sessions on disk"
        return Saved(sessions[0])


@dataclass(frozen=True)
class Saved:
    """A session as it was read back from its file."""

    session: Session

    @property
    def readings(self) -> Readings:
        """Its readings, sorted out by place."""
        return Readings(self.session)

    def current(self) -> dict[str, Reading]:
        """Return the readings that hold, by a short name such as `left B girth`."""
        readings = self.readings
        assert readings.problems == []
        found = {}
        for place in readings.places():
            (found[" ".join(place)],) = readings.current(place)
        return found

    def values(self) -> dict[str, str]:
        """Return what holds at each place: exact mm, a shoe size, or why it was not taken."""
        return {name: meaning(reading) for name, reading in self.current().items()}

    def all_typed(self) -> list[str]:
        """Return what was typed in every reading ever saved, replaced ones too, in file order."""
        entries = [e for e in self.session.entries if e.array == "readings"]
        return [e.text("typed") for e in sorted(entries, key=lambda entry: entry.by)]

    def answer(self, what: str) -> Any:
        """Return a field's one value."""
        return self.session.value(what)


def meaning(reading: Reading) -> str:
    """Return a reading in one word."""
    if reading.not_taken:
        return f"not taken: {reading.not_taken}"
    if reading.mm is not None:
        return f"{reading.mm.normalize():f}"
    return f"{reading.system} {reading.value}"


def saved_sessions(data: Path) -> list[Session]:
    """Read every session file of a folder; each must be whole."""
    sessions = []
    for path in sorted((data / "sessions").rglob("*.toml")):
        session, problems = read_session(path.read_bytes())
        assert session is not None, problems
        assert problems == ()
        sessions.append(session)
    return sessions


def build_app(data: Path, clock: Clock | None = None, **more: Any) -> AnklefirstApp:
    """Build the program on a folder, with a clock and chance of the test's own."""
    chance = random.Random(1)  # noqa: S311 - the same letters in every run
    around = Surroundings(clock or Clock(), chance.randbytes, data.parent / "state", "UTC")
    return AnklefirstApp(data, around, **more)


@asynccontextmanager
async def opened(
    data: Path, *, clock: Clock | None = None, size: tuple[int, int] = SMALL
) -> AsyncIterator[Visit]:
    """Run the program on a folder; the folder is let go afterwards, as at a real end."""
    app = build_app(data, clock)
    try:
        async with app.run_test(size=size) as pilot:
            visit = Visit(app, pilot)
            await visit.rest()
            yield visit
    finally:
        app.close_folder()


@asynccontextmanager
async def named(
    data: Path, *, clock: Clock | None = None, size: tuple[int, int] = SMALL
) -> AsyncIterator[Visit]:
    """Run the program on a new folder whose laptop has been named already."""
    DataFolder(data, build_app(data).surroundings, label="tern", measurer="N-17").close()
    async with opened(data, clock=clock, size=size) as visit:
        await at_start(visit)
        yield visit


async def name_laptop(visit: Visit) -> None:
    """Answer the first run's two questions."""
    await visit.until_screen("first_run")
    await visit.keys("tern<enter>N-17<enter>")
    await at_start(visit)


async def at_start(visit: Visit) -> None:
    """Wait until the start screen has read its sessions."""
    await visit.until_screen("start")
    await until(
        visit.pilot,
        lambda: "Client's code >" in visit.text and "Reading the sessions" not in visit.text,
    )


async def to_setup(visit: Visit, code: str = "") -> None:
    """Begin with a new client: a code from the service's list, or this laptop's next."""
    await at_start(visit)
    if not code:
        await visit.keys("<f2>")
    else:
        await visit.keys(f"{code}<enter>")
        await visit.until("A new client with the code")
        await visit.keys("<enter>")
    await past_screening(visit)
    if "Date and time" in visit.text:  # asked once a day
        await visit.keys("<enter>")


async def past_screening(visit: Visit) -> None:
    """Answer the first page of screening as for a healthy client: every line asked, none."""
    await visit.until_screen("first_page")
    await visit.choose("N")
    await visit.keys("<enter>")
    await visit.until_screen("setup")


PRESCRIPTION = "P-04<enter>716<enter>22<enter>1132<enter>"
"""By whom, mmHg only, 16 to 22, below knee, open toe, both legs, two pairs."""


ANY_PRESSURE = "P-04<enter>71<enter>100<enter>??32<enter>"
"""1 to 100 mmHg, no length and no toe: it rules out no garment with a pressure."""


async def past_pages(visit: Visit, prescription: str = PRESCRIPTION) -> None:
    """Answer the pages between the questions and measuring: legs, prescription, no ABPI."""
    pages = ("questions", "clearance", "measure")
    await until(visit.pilot, lambda: visit.screen in pages, lambda: visit.text)
    while visit.screen != "measure":
        before = visit.text
        if visit.screen == "clearance":
            await visit.keys("<enter>")
        elif "The legs." in before:
            await visit.choose("1")
            await visit.keys("<enter>")
        elif "The prescription" in before:
            await visit.keys(prescription)
        elif "Blood pressures" in before:
            await visit.choose("n")
            await visit.keys("<enter>")
        await until(visit.pilot, lambda text=before: visit.text != text, lambda: visit.text)  # type: ignore[misc]
        await visit.rest()
    await visit.until_screen("measure")


async def to_measure(visit: Visit, code: str = "", up: str = "0630") -> None:
    """Begin with a new client and accept every default."""
    await to_setup(visit, code)
    await visit.keys(f"<enter><enter><enter><enter>{up}<enter>")
    await visit.until_screen("measure")


async def until(
    pilot: Pilot[int] | None, holds: Callable[[], bool], told: Callable[[], str] = str
) -> None:
    """Pump the program until a condition holds; fail at the deadline.

    Args:
        pilot: pumps the screen; None only looks again, for a screen that waits for the disk.
        holds: the condition.
        told: says what there was instead.
    """
    deadline = time.monotonic() + DEADLINE_SECONDS
    while not holds():
        if time.monotonic() > deadline:
            pytest.fail(f"it did not happen within {DEADLINE_SECONDS} s. {told()}")
        if pilot is None:
            await sleep(0.001)
        else:
            await pilot.pause()


def keys_are_done(app: AnklefirstApp) -> bool:
    """Whether the application waits for the next key, or has ended."""
    return app._exit or app.fault is not None or (app._keys.empty() and bool(app._keys._getters))


def screen_rows(app: AnklefirstApp) -> list[str]:
    """Return the text of the screen, one string per row."""
    strips = app.screen._compositor.render_strips()
    return ["".join(segment.text for segment in strip) for strip in strips]
