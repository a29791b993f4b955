"""A child process that dies at the n-th step of a store's work, for every n. Run by the tests.

`python crash_points.py SCENARIO FOLDER` makes one sub-folder per step: `FOLDER/1`, `FOLDER/2`, ...
holds what the disk had when the process died before that step (a write dies half-way),
`FOLDER/whole` what it has when nobody dies. Prints the steps' names as JSON. No clock and no
chance: equal runs give equal bytes.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.surroundings import Surroundings
from fitcore.points import Kind, Point, Side
from fitcore.record.edits import draft_answer, draft_reading
from fitcore.record.entries import Draft
from fitcore.record.ledger import read_laptop, write_laptop
from fitcore.units import parse_length

if TYPE_CHECKING:
    from collections.abc import Callable

START = datetime(2026, 3, 5, 8, 40, tzinfo=UTC)
DIED = 77
CLIENT = "tern-001-U"
STEPS = ("open", "write", "fsync", "close", "replace", "unlink", "mkdir", "ftruncate")
"""Calls of `os` a store changes the disk by; the marker's `write_text` dies at three places."""


def surroundings_of(place: Path, seed: str = "first") -> Surroundings:
    """Return surroundings that are the same in every run: a clock that ticks, drawn bytes."""
    count = iter(range(1 << 30))
    ticks = iter(range(1 << 30))

    def draw(size: int) -> bytes:
        return hashlib.blake2b(f"{seed} {next(count)}".encode(), digest_size=size).digest()

    def now() -> datetime:
        return START + timedelta(seconds=next(ticks))

    return Surroundings(now, draw, place / "state", "Europe/London")


def open_folder(place: Path, seed: str = "first") -> DataFolder:
    """Open the data folder of one place."""
    return DataFolder(place / "data", surroundings_of(place, seed), label="tern", measurer="N-17")


def add_reading(folder: DataFolder, session_id: str, text: str) -> None:
    """Add one reading to a session of the folder."""
    session = folder.read(session_id)
    assert session is not None
    draft = draft_reading((Side.LEFT, Point.B, Kind.GIRTH), 1, parse_length(text, "cm"), START)
    folder.append(session, [draft])


def new_session(folder: DataFolder) -> str:
    """Begin a session and return its id."""
    session = folder.new_session()
    drafts = [draft_answer(session, "client", CLIENT, START)]
    return folder.append(session, [draft for draft in drafts if draft]).id


# --- scenarios: what is there before, and the work that dies ----------------------------------


def _first_start(place: Path) -> Callable[[], object]:
    return lambda: open_folder(place)


def _start_again(place: Path) -> Callable[[], object]:
    open_folder(place).close()
    return lambda: open_folder(place, "second")


def _first_save(place: Path) -> Callable[[], object]:
    folder = open_folder(place)
    return lambda: new_session(folder)


def _next_save(place: Path) -> Callable[[], object]:
    folder = open_folder(place)
    session_id = new_session(folder)
    add_reading(folder, session_id, "22.4")
    return lambda: add_reading(folder, session_id, "22.6")


def _save_to_ledger(place: Path) -> Callable[[], object]:
    folder = open_folder(place)
    new_session(folder)
    note = Draft("notes", START, {"what": "cleaned", "is": "the keys"})
    return lambda: folder.append_to_ledger([note])


def _change_measurer(place: Path) -> Callable[[], object]:
    folder = open_folder(place)
    new_session(folder)
    return lambda: folder.set_measurer("N-18")


def _close(place: Path) -> Callable[[], object]:
    folder = open_folder(place)
    new_session(folder)
    return folder.close


def _void_numbers(place: Path) -> Callable[[], object]:
    """Three numbers were reserved for a session and the program died before it used them."""
    with open_folder(place) as folder:
        session_id = new_session(folder)
        laptop = read_laptop((place / "data" / "laptop.toml").read_bytes())
    reserved = replace(
        laptop, next=laptop.next + 3, reserved_from=laptop.next, reserved_for=session_id
    )
    (place / "data" / "laptop.toml").write_text(write_laptop(reserved), encoding="utf-8")
    return lambda: open_folder(place, "second")


def _restore_backup(place: Path) -> Callable[[], object]:
    """The folder was copied, worked on, lost, and the copy put back in its place."""
    with open_folder(place) as folder:
        session_id = new_session(folder)
    shutil.copytree(place / "data", place / "backup")
    with open_folder(place, "second") as folder:
        add_reading(folder, session_id, "22.4")
    shutil.rmtree(place / "data")
    shutil.copytree(place / "backup", place / "data")
    return lambda: open_folder(place, "third")


SCENARIOS: dict[str, Callable[[Path], Callable[[], object]]] = {
    "first_start": _first_start,
    "start_again": _start_again,
    "first_save": _first_save,
    "next_save": _next_save,
    "save_to_ledger": _save_to_ledger,
    "change_measurer": _change_measurer,
    "close": _close,
    "void_numbers": _void_numbers,
    "restore_backup": _restore_backup,
}


# --- dying ------------------------------------------------------------------------------------


def _die_at(step: int, told: int) -> None:
    """Replace the calls that change a disk by ones that count, and end the process at one."""
    left = step

    def due(name: str) -> bool:
        nonlocal left
        left -= 1
        if not left:
            written(told, name.encode())
        return not left

    written = os.write

    def counted(name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def called(*arguments: Any, **named: Any) -> Any:
            if due(name):
                os._exit(DIED)
            return call(*arguments, **named)

        return called

    def write(descriptor: int, content: bytes) -> int:
        if due("write"):
            written(descriptor, bytes(content)[: len(content) // 2])
            os._exit(DIED)
        return written(descriptor, content)

    def write_text(path: Path, text: str, **_: object) -> int:
        for name, kept in (
            ("write_text: before", None),
            ("write_text: emptied", 0),
            ("write_text: half", len(text) // 2),
        ):
            if due(name):
                if kept is not None:
                    path.write_bytes(text[:kept].encode())
                os._exit(DIED)
        return path.write_bytes(text.encode())

    for name in STEPS:
        setattr(os, name, counted(name, getattr(os, name)))
    os.write = write  # type: ignore[assignment]
    Path.write_text = write_text  # type: ignore[method-assign,assignment]


def _run(place: Path, scenario: str, step: int | None) -> str | None:
    """Run the scenario in a fork that dies at a step; the step's name, None where none was due."""
    place.mkdir(parents=True)
    reading, telling = os.pipe()
    pid = os.fork()
    if not pid:
        # A dying process takes nothing back from the system; only a power cut does.
        setattr(os, "fsync", lambda _descriptor: None)  # noqa: B010 - mypy knows its type
        work = SCENARIOS[scenario](place)
        if step is not None:
            _die_at(step, telling)
        work()
        os._exit(0)
    os.close(telling)
    _, status = os.waitpid(pid, 0)
    name = os.read(reading, 100).decode()
    os.close(reading)
    code = os.waitstatus_to_exitcode(status)
    if code not in (0, DIED):
        raise SystemExit(f"step {step} ended with {code}")
    return name if code == DIED else None


def main() -> None:
    """Make every folder and print the steps."""
    scenario, root = sys.argv[1], Path(sys.argv[2])
    _run(root / "whole", scenario, None)
    names: list[str] = []
    while (name := _run(root / str(len(names) + 1), scenario, len(names) + 1)) is not None:
        names.append(name)
    shutil.rmtree(root / str(len(names) + 1))
    print(json.dumps(names))


if __name__ == "__main__":
    main()
