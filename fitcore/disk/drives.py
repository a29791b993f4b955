"""Drives that are plugged in: where each system puts sticks, looked at, nothing opened.

Only offered, never taken by itself: a person marks what is merged. What a pulled stick leaves
behind is told apart from a stick.
"""

from __future__ import annotations

import os
import string
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fitcore.disk.archive_scan import LEDGERS, SESSIONS, folders_of_stick

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence


@dataclass(frozen=True, slots=True)
class DriveRoot:
    """A folder below which a system puts drives."""

    path: Path
    depth: int
    """How far below: 1 for its own folders, 2 for those of each user's folder."""


LINUX_ROOTS = (
    DriveRoot(Path("/media"), 2),
    DriveRoot(Path("/run/media"), 2),
    DriveRoot(Path("/mnt"), 1),
)
MACOS_ROOTS = (DriveRoot(Path("/Volumes"), 1),)


def plugged_in() -> list[Path]:
    """Return what is plugged into this machine, by path."""
    if sys.platform == "win32":
        return windows_drives(string.ascii_uppercase, os.environ.get("SYSTEMDRIVE", "C:"))
    return drives_below(system_roots())


def system_roots() -> tuple[DriveRoot, ...]:
    """Return the folders below which this system puts drives; Windows has none, only letters."""
    if sys.platform == "win32":
        return ()
    return MACOS_ROOTS if sys.platform == "darwin" else LINUX_ROOTS


def lies_on_no_drive(place: Path, devices: Mapping[Path, int], roots: Iterable[DriveRoot]) -> bool:
    """Whether a folder lies where drives hang, and no drive hangs there: it is on the hard disk.

    A stick that was pulled may leave its empty folder behind.

    Args:
        place: the folder, as an absolute path without links.
        devices: the number of the device that it, and each folder above it, lies on.
        roots: the folders below which drives hang; a folder elsewhere is taken as it is.
    """
    line = [place, *place.parents]
    for root in roots:
        if root.path not in line:
            continue
        # A whole drive may hang at `/mnt` itself. At a root with folders of users that is no
        # drive: it may be a disk of the memory, made so that nothing is left behind at a restart.
        below = line.index(root.path) + (1 if root.depth == 1 else 0)
        if not any(devices[each] != devices[each.parent] for each in line[:below]):
            return True
    return False


def hangs_nowhere(folder: Path, roots: Iterable[DriveRoot] | None = None) -> bool:
    """Whether a folder lies where drives hang, and no drive hangs there; looked at now.

    Args:
        folder: the folder; links on the way are followed.
        roots: as for `lies_on_no_drive`; None takes this system's.

    Raises:
        OSError: it is gone, or cannot be looked at.
    """
    place = folder.resolve(strict=True)
    own = [
        replace(root, path=root.path.resolve())
        for root in (system_roots() if roots is None else roots)
    ]
    devices = {each: _device(each) for each in (place, *place.parents)}
    return lies_on_no_drive(place, devices, own)


def is_left_behind(folder: Path) -> bool:
    """Whether a folder is only what a pulled stick left: empty, and no drive hangs there.

    A folder of the hard disk that holds something can be read like any other.
    """
    try:
        with os.scandir(folder) as entries:
            if next(entries, None) is not None:
                return False
        return hangs_nowhere(folder)
    except OSError:  # gone, or no folder: whoever asks looks for that
        return False


def drives_below(roots: Sequence[DriveRoot]) -> list[Path]:
    """Return the folders that stand for drives, by path; links and hidden ones are none.

    A drive that hangs directly below a root of depth 2 is found as well. A folder no drive hangs
    at is none: a pulled stick may have left it behind.
    """
    found: set[Path] = set()
    for root in roots:
        for folder in _folders(root.path):
            if root.depth == 1 or folder.is_mount():
                found.add(folder)
            else:
                found.update(_folders(folder))
    return sorted(folder for folder in found if _is_drive(folder, roots))


def windows_drives(letters: Iterable[str], system: str) -> list[Path]:
    """Return the drives of a Windows machine but the system's own and the two floppy letters.

    Args:
        letters: what to look for.
        system: the drive the system is on, such as `C:`.
    """
    skipped = {"A", "B", system[:1].upper()}
    roots = (Path(f"{letter}:\\") for letter in letters if letter.upper() not in skipped)
    return sorted(root for root in roots if _is_there(root))


def data_folders_on(stick: Path) -> Sequence[str]:
    """Return the names of our data folders on a stick, `.` where it is one itself.

    Looks at names only. A stick that cannot be read has none.
    """
    try:
        folders = folders_of_stick(stick)
    except OSError:
        return ()
    own = [stick, *(folder for folder in folders if folder != stick)]
    names = ["." if folder == stick else folder.name for folder in own if _holds_ours(folder)]
    return tuple(names)


def _is_drive(folder: Path, roots: Sequence[DriveRoot]) -> bool:
    try:
        return not hangs_nowhere(folder, roots)
    except OSError:
        return False


def _device(folder: Path) -> int:
    """Return the number of the device a folder lies on.

    Raises:
        OSError: it cannot be looked at.
    """
    return folder.stat().st_dev


def _holds_ours(folder: Path) -> bool:
    return any(_is_there(folder / name) for name in (SESSIONS, LEDGERS))


def _is_there(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:
        return False


def _folders(root: Path) -> list[Path]:
    try:
        with os.scandir(root) as entries:
            return [
                Path(entry.path)
                for entry in entries
                if entry.is_dir(follow_symlinks=False) and not entry.name.startswith(".")
            ]
    except OSError:
        return []
