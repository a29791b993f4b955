"""Session files written by hand, line for line as the program would, for tests of readers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.record.seal import seal_lines

if TYPE_CHECKING:
    from pathlib import Path

SESSION_ID = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7"


def write_session(folder: Path, *arrays: str, name: str = SESSION_ID, sealed: bool = True) -> Path:
    """Write a session by hand, line for line as the program would, with a true seal."""
    head = ["format = 1", f'session = "{name}"']
    lines = [*head, *(line for array in arrays for line in array.splitlines())]
    data = [line.strip() for line in lines if line.strip()]
    count = sum(line.startswith("{") for line in data)
    seal = seal_lines(data, count) if sealed else []
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.toml"
    path.write_text("\n".join([*lines, *seal]) + "\n", encoding="utf-8")
    return path


def array(name: str, *entries: str) -> str:
    rows = "\n".join(f"  {{ {entry} }}," for entry in entries)
    return f"{name} = [\n{rows}\n]"


def reading(number: int, typed: str = "22.4", mm: str = "224.0", more: str = "") -> str:
    return (
        f'by = "tern-k7qd:{number}", at = 2026-03-04T09:14:05+01:00, side = "left", point = "B", '
        f'kind = "girth", round = 1, typed = "{typed}", unit = "cm", mm = {mm}{more}'
    )


def answer(number: int, what: str, value: str) -> str:
    at = "2026-03-04T09:12:40+01:00"
    return f'by = "tern-k7qd:{number}", at = {at}, what = "{what}", is = {value}'
