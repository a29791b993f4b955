"""SIGKILL after each accepted reading of one session: nothing that was accepted is lost."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

import pytest

pytest.importorskip("termios", reason="needs a pseudo-terminal")

from crash.terminal import ENTER, Terminal, program
from crash.visit import (
    FIELDS,
    begin_measuring,
    entries,
    expected,
    half_type,
    leave_session,
    measure,
    measuring,
    name_laptop,
    open_paused,
    readings,
    session_files,
)

if TYPE_CHECKING:
    from pathlib import Path


def test_killed_after_each_reading_it_goes_on_at_the_next_field(tmp_path: Path) -> None:
    """Killed eight times in one visit, at the start list it offers the same session each time."""
    data = tmp_path / "data"
    with Terminal(program(data)) as terminal:
        name_laptop(terminal)
        begin_measuring(terminal, data)
        measure(terminal, data, FIELDS[:1])
        terminal.kill()
    lines_before = _entry_lines(data)
    for done in range(1, len(FIELDS)):
        assert readings(data) == expected(FIELDS[:done])
        with Terminal(program(data)) as terminal:
            open_paused(terminal, done + 1)
            measure(terminal, data, FIELDS[done : done + 1])
            terminal.kill()
        assert readings(data) == expected(FIELDS[: done + 1])
        lines = _entry_lines(data)
        assert lines_before < lines, "an entry changed or was lost"
        lines_before = lines
    with Terminal(program(data)) as terminal:
        terminal.until_shown("PAUSED: go on")
        at = terminal.mark()
        terminal.type(ENTER)
        terminal.until_shown("finish", after=at)  # every field has its reading: the result
        terminal.kill()
    assert readings(data) == expected(FIELDS)
    assert _unexplained_numbers(data) == set()


def test_killed_with_half_typed_text_the_accepted_readings_are_whole(tmp_path: Path) -> None:
    data = tmp_path / "data"
    leave_session(data, FIELDS[:2])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:2])
        half_type(terminal, "41.3")
        terminal.kill()
    with Terminal(program(data)) as terminal:
        open_paused(terminal, 3)
        measure(terminal, data, FIELDS[2:3])
        terminal.kill()
    assert readings(data) == expected(FIELDS[:3])


def test_killed_while_the_last_enter_may_still_be_saving(tmp_path: Path) -> None:
    """Whatever the moment, the file holds a prefix of what was typed, and all that was shown."""
    data = tmp_path / "data"
    leave_session(data, FIELDS[:1])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:1])
        for field in FIELDS[1:5]:  # typed ahead, without waiting for the disk
            terminal.type(field.typed, ENTER)
        terminal.until(lambda: len(readings(data)) >= 2, "reading 2 on disk")
        terminal.kill()
    done = len(readings(data))
    assert readings(data) == expected(FIELDS[:done])
    with Terminal(program(data)) as terminal:
        open_paused(terminal, done + 1)
        measure(terminal, data, FIELDS[done : done + 1])
        terminal.kill()
    assert readings(data) == expected(FIELDS[: done + 1])
    assert _unexplained_numbers(data) == set()


def _entry_lines(data: Path) -> set[str]:
    (file,) = session_files(data)
    text = file.read_text(encoding="utf-8")
    return {line for line in text.splitlines() if line.startswith("  { by = ")}


def _unexplained_numbers(data: Path) -> set[int]:
    """Numbers below the newest reservation that neither an entry nor the ledger accounts for."""
    laptop = tomllib.loads((data / "laptop.toml").read_text(encoding="utf-8"))
    used = {
        int(entry["by"].rpartition(":")[2])
        for array in ("answers", "readings")
        for entry in entries(data, array)
    }
    ledger = data / "ledger" / f"{laptop['id']}.toml"
    if ledger.exists():
        voided = tomllib.loads(ledger.read_text(encoding="utf-8")).get("voided", [])
        used |= {int(entry["by"].rpartition(":")[2]) for entry in voided}
        used |= {entry["number"] for entry in voided}
    return set(range(1, laptop["reserved_from"])) - used
