"""SIGKILL in the middle of a size table: every cell that was taken is there again."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

pytest.importorskip("termios", reason="needs a pseudo-terminal")

from crash.terminal import ENTER, F2, Terminal, program
from crash.visit import name_laptop

from fitcore.disk.chart_files import draft_values, drafts

if TYPE_CHECKING:
    from pathlib import Path

F8 = "\x1b[19~"
CELLS = ("1920.9", "3035.9", "2122.9", "3640")


def test_killed_after_each_cell_the_table_is_there_again(tmp_path: Path) -> None:
    data = tmp_path / "data"
    with Terminal(program(data)) as terminal:
        name_laptop(terminal)
        terminal.type(F8)
        terminal.until_shown("Invented Mill Two Squall")
        terminal.type(F2)
        terminal.until_shown("Which unit is the printed table in?")
        terminal.type("1", "b", ENTER, "c", ENTER, ENTER, "S", ENTER)
        terminal.until_shown("size S, round the ankle (B), cm")
        terminal.kill()
    for done, cell in enumerate(CELLS):
        with Terminal(program(data)) as terminal:
            terminal.until_shown("Client's code")
            terminal.type(F8)
            terminal.until_shown("not finished")
            terminal.type(ENTER)
            terminal.until_shown("F6 save")
            at = terminal.mark()
            terminal.type(cell, ENTER)
            terminal.until(lambda number=done + 1: kept_cells(data) == number, "the cell kept")
            terminal.until(lambda before=at: terminal.mark() > before, "the cell drawn")
            terminal.kill()
    (rows,) = (draft_values(raw)["rows"] for raw in drafts(data).values())
    assert [(row["size"], *row["cells"]) for row in rows] == [
        ("S", "19-20.9", "30-35.9"),
        ("M", "21-22.9", "36-40"),
    ]
    assert not list((data / "charts").glob("*.toml"))


def kept_cells(data: Path) -> int:
    """Return how many ranges the draft on disk holds."""
    found = [draft_values(raw).get("rows") for raw in drafts(data).values()]
    return sum(
        1 for rows in found if isinstance(rows, list) for row in rows for c in row["cells"] if c
    )
