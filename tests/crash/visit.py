"""One invented visit, key by key, for every test that drives the real program."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from crash.terminal import ENTER, F2, Terminal

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.surroundings import real_surroundings
from tui.desk import Desk
from tui.desk_screening import store_answers
from tui.judging import judge_typed
from tui.setup_form import SetupForm

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


@dataclass(frozen=True)
class Field:
    """One field of the short set below the knee, with what is typed there."""

    side: str
    point: str
    kind: str
    typed: str

    @property
    def place(self) -> tuple[str, str, str]:
        """What a reading there says of itself."""
        return (self.side, self.point, self.kind)


FIELDS = (
    Field("left", "B", "girth", "22.4"),
    Field("left", "C", "girth", "36.2"),
    Field("left", "D", "length", "40"),
    Field("left", "foot", "length", "24.7"),
    Field("right", "B", "girth", "22.60"),
    Field("right", "C", "girth", "36,4"),
    Field("right", "D", "length", "402mm"),
    Field("right", "foot", "length", "24.6"),
)
"""The protocol's order: leg by leg, foot upwards as the short set has it. No value is doubtful."""


def session_files(data: Path) -> list[Path]:
    """Return the folder's session files."""
    return sorted((data / "sessions").glob("*/*.toml"))


def entries(data: Path, array: str) -> list[dict[str, Any]]:
    """Return one array of the folder's only session; empty where there is none yet."""
    files = session_files(data)
    if not files:
        return []
    (file,) = files
    values = tomllib.loads(file.read_text(encoding="utf-8"), parse_float=Decimal)
    found = values.get(array, [])
    assert isinstance(found, list)
    return found


def readings(data: Path) -> list[tuple[tuple[str, str, str], str]]:
    """Return (place, text as typed) of each reading on disk, in the order of their numbers."""
    found = sorted(entries(data, "readings"), key=lambda r: int(r["by"].rpartition(":")[2]))
    return [((r["side"], r["point"], r["kind"]), r["typed"]) for r in found]


def expected(fields: Sequence[Field]) -> list[tuple[tuple[str, str, str], str]]:
    """Return what `readings` gives where these fields have been accepted."""
    return [(field.place, field.typed) for field in fields]


def answer(data: Path, what: str) -> object:
    """Return the newest answer to one field, None where there is none."""
    given = [entry for entry in entries(data, "answers") if entry["what"] == what]
    given.sort(key=lambda entry: int(entry["by"].rpartition(":")[2]))
    return given[-1]["is"] if given else None


def name_laptop(terminal: Terminal) -> None:
    """Answer the first run's two questions."""
    terminal.until_shown("This laptop is called")
    terminal.type("t")
    terminal.until(lambda: terminal.cursor_row > 1, "cursor in the first question")
    column = terminal.cursor_column + len("ern")
    terminal.type("ern")
    terminal.until(lambda: terminal.cursor_column == column, "the label typed")
    row, column = terminal.cursor_row, column - len("tern")
    terminal.type(ENTER)
    terminal.until(
        lambda: terminal.cursor_row > row and terminal.cursor_column == column,
        "cursor in the second question",
    )
    terminal.type("N-17", ENTER)
    terminal.until_shown("Client's code")


def begin_measuring(terminal: Terminal, data: Path) -> None:
    """From the start screen: a new client, the questions before measuring, the first field.

    The first question of a laptop's day is whether its clock is right.
    """
    at = terminal.mark()
    terminal.type(F2)
    terminal.until_shown("Under 18 years old?", after=at)
    terminal.type("N", ENTER)  # screening: every line asked, none
    terminal.until_shown("Before measuring", after=at)
    terminal.type(ENTER * 5, "?", ENTER)
    terminal.until_shown(f"1 of {len(FIELDS)}", after=at)
    assert answer(data, "clock") == "correct"
    assert answer(data, "sides") == ["left", "right"]
    assert answer(data, "rising_at") == "unknown"


def measure(terminal: Terminal, data: Path, fields: Sequence[Field]) -> None:
    """Type readings one by one, each only after the one before is on disk."""
    for field in fields:
        count = len(readings(data)) + 1
        terminal.type(field.typed, ENTER)
        until_readings(terminal, data, count)


def until_readings(terminal: Terminal, data: Path, count: int) -> None:
    """Wait until the session's file holds so many readings."""
    terminal.until(lambda: len(readings(data)) == count, f"reading {count} on disk")


def half_type(terminal: Terminal, text: str) -> None:
    """Type into the field and wait until it shows; nothing is accepted."""
    at = terminal.mark()
    terminal.type(text)
    terminal.until_shown(text, after=at)


def leave_session(data: Path, fields: Sequence[Field]) -> None:
    """Leave a session as a kill after these readings leaves it, without a screen."""
    surroundings = real_surroundings()
    with DataFolder(data, surroundings, label="tern", measurer="N-17") as folder:
        opening = {"client": "tern-001-U", "measurer": "N-17", "zone": "Etc/UTC"}
        desk = Desk(
            folder,
            load_profiles(),
            folder.new_session(),
            now=surroundings.now,
            opening=opening,
        )
        form = SetupForm(
            desk.profiles.protocols, surroundings.now, {}, ask_after_hours=18, ask_clock=True
        )
        first_page = desk.profiles.screening.questions.first_page
        store_answers(desk, {f"screen.{question.id}": "no" for question in first_page})
        desk.start_measuring(form.answers() | {"rising_at": "unknown"})
        for field in fields:
            desk.store(judge_typed(desk, field.typed, seen=False))
    assert readings(data) == expected(fields)


def measuring(terminal: Terminal, data: Path, fields: Sequence[Field]) -> None:
    """Go on with the session of `leave_session`, at the field after these."""
    open_paused(terminal, len(fields) + 1)
    terminal.until(lambda: answer(data, "paused") in (None, []), "resumption on disk")


def open_paused(terminal: Terminal, at_field: int) -> None:
    """From a fresh start: Enter on the paused session; wait for the field it was left at."""
    terminal.until_shown("PAUSED: go on")
    at = terminal.mark()
    terminal.type(ENTER)
    terminal.until_shown(f"{at_field} of {len(FIELDS)}", after=at)
