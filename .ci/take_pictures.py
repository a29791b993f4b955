"""Make the README's picture from the program itself: an exported screen, turned into PNG."""

from __future__ import annotations

import asyncio
import random
import re
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cairosvg

from fitcore.disk.surroundings import Surroundings
from tui.app import AnklefirstApp
from tui.screens.measure import MeasureScreen

PICTURES = Path(__file__).parent.parent / ".pictures"
FONT = "DejaVu Sans Mono"
"""Installed where the picture is made; the export names a font from the web."""

KEYS = (
    *"tern", "enter", *"N-17", "enter", "f2", "N", "enter",
    *(["enter"] * 5), *"0630", "enter",
    *"22.4", "enter",
)  # fmt: skip


async def take(place: Path) -> None:
    """Drive the program to the measuring screen and write the picture."""
    instant = [datetime(2026, 3, 5, 8, 40, tzinfo=UTC)]
    chance = random.Random(1)  # noqa: S311 - fixed on purpose, no secret

    def now() -> datetime:
        instant[0] += timedelta(seconds=5)
        return instant[0]

    surroundings = Surroundings(now, chance.randbytes, place / "state", "Europe/London")
    app = AnklefirstApp(place / "data", surroundings)
    async with app.run_test(size=(80, 24)) as pilot:
        for key in KEYS:
            await pilot.press(key)
        while not (isinstance(app.screen, MeasureScreen) and app.screen.desk.index == 1):
            await pilot.pause()
        await pilot.pause()
        svg = app.export_screenshot(title="anklefirst")
    app.close_folder()
    svg = re.sub(r"@font-face\s*\{.*?\}", "", svg, flags=re.DOTALL).replace("Fira Code", FONT)
    cairosvg.svg2png(bytestring=svg.encode(), write_to=str(PICTURES / "measure.png"), scale=1.2)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(take(Path(folder)))
