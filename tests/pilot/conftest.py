"""What tests of the screen share: an empty data folder and a quick pilot."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(autouse=True)
def quick_pilot(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the pilot press keys as quickly as a terminal hands them on, and look often for rest.

    The application queues them and carries each out to its end; `Visit.rest` waits for the last.
    """

    async def hand_on(*_: float) -> None:
        for _turn in range(4):  # a key reaches the application's queue within as many turns
            await asyncio.sleep(0)

    monkeypatch.setattr("textual.app.wait_for_idle", hand_on)
    monkeypatch.setattr("textual._wait.SLEEP_GRANULARITY", 0.001)
    monkeypatch.setattr("textual._wait.SLEEP_IDLE", 0.0005)


@pytest.fixture(autouse=True)
def plain_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take away what the shell says about colours and themes; the program sets its own."""
    monkeypatch.setenv("TERM", "xterm-256color")
    for variable in ("NO_COLOR", "COLORTERM", "TEXTUAL_COLOR_SYSTEM"):
        monkeypatch.delenv(variable, raising=False)
    # The program sets this one by itself; set here first, so that it is put back afterwards.
    monkeypatch.setenv("TEXTUAL_THEME", "")
    monkeypatch.delenv("TEXTUAL_THEME")


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder that does not exist yet."""
    return tmp_path / "data"
