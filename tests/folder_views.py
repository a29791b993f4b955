"""What stands in a data folder, for tests: its sessions, their entries, their bytes."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from fitcore.record.codec import read_session

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.record.session import Session


def content(folder: Path) -> dict[str, bytes]:
    """Return the bytes of every session file by its path."""
    return {str(path): path.read_bytes() for path in folder.glob("sessions/*/*.toml")}


def sessions(folder: Path) -> list[Session]:
    """Return every session in order of its path; fails on one that is not whole."""
    return [whole(path) for path in sorted(folder.glob("sessions/*/*.toml"))]


def whole(path: Path) -> Session:
    """Return the session of a file; fails where anything is wrong with it."""
    session, problems = read_session(path.read_bytes())
    assert session is not None
    assert problems == ()
    return session


def rows(path: Path, array: str) -> list[dict[str, Any]]:
    """Return the entries of one array of a session file, as a TOML reader sees them."""
    text = path.read_text(encoding="utf-8")
    found: list[dict[str, Any]] = tomllib.loads(text, parse_float=Decimal).get(array, [])
    return found


def readings(folder: Path) -> list[dict[str, Any]]:
    """Return the readings of every session, in order of path and line."""
    paths = sorted(folder.glob("sessions/*/*.toml"))
    return [row for path in paths for row in rows(path, "readings")]
