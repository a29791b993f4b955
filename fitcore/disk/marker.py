"""What a laptop remembers outside its data folder: how far its numbers had come, and where.

A folder restored from a backup or copied elsewhere differs from it, and must not go on under the
old name: a number would be used twice.
"""

from __future__ import annotations

import tomllib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import tomli_w


@dataclass(frozen=True, slots=True)
class Marker:
    """The memory of one laptop."""

    next: int
    """The next free number when it was written."""
    folder: Path | None
    """The data folder, resolved; None where it is not known any more."""


def marker_path(state_folder: Path, laptop_id: str) -> Path:
    """Return where a laptop's marker is kept."""
    return state_folder / "laptops" / f"{laptop_id}.toml"


def read_marker(path: Path) -> Marker | None:
    """Read a marker; None where there is none, which makes the folder a copy.

    One that is there but empty or torn, as a power cut can leave it, counts as lagging.
    """
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return None
    try:
        values = tomllib.loads(text)
        return Marker(int(values["next"]), Path(str(values["folder"])))
    except (ValueError, KeyError, TypeError, RecursionError):
        return Marker(0, None)


def write_marker(path: Path, marker: Marker) -> None:
    """Write a marker whole, without waiting for the disk.

    It need not survive a power cut: a marker that lags behind costs nothing. Without a place for
    it each start takes a new name, which is safe.
    """
    content = tomli_w.dumps({"next": marker.next, "folder": str(marker.folder)})
    temporary = path.with_name(f".{path.name}.tmp")
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary.write_text(content, encoding="utf-8")
        temporary.replace(path)
