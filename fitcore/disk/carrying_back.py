"""Carrying an archive back to the laptops: `to-laptops/` on a stick, written, read back, compared.

Only when every file was read back from the stick as it stands in the archive may it be pulled.
"""

from __future__ import annotations

import os
import sys
from contextlib import nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.disk.archive import locked
from fitcore.disk.archive_scan import TO_LAPTOPS, read_spotted, spot_folder
from fitcore.disk.atomic import make_folder, read_bytes, write_durably
from fitcore.disk.manifest import MANIFEST, Listed, read_past_cache, write_manifest
from fitcore.merge.found import Where, digest_bytes
from fitcore.problems import FileFault, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings


@dataclass(frozen=True, slots=True)
class CarriedBack:
    """What was written."""

    folder: Path
    """`to-laptops` of the stick."""
    written: int
    unchanged: int
    """Files the stick held already."""
    left_out: tuple[Problem, ...]
    """Files of the archive that are not carried: a person must see to them first."""


def carry_back(
    archive: Path,
    stick: Path,
    surroundings: Surroundings,
    progress: Callable[[int, int], None] | None = None,
    *,
    is_held: bool = False,
) -> CarriedBack:
    """Write an archive's sessions and ledgers to a stick for the laptops, and read them back.

    Files changed outside and files that cannot be read stay behind: their question is the
    coordinator's. What the stick held besides is left as it is.

    Args:
        archive: the coordinator's data folder.
        stick: the stick; `to-laptops` is made on it.
        surroundings: clock and folders.
        progress: told how many of all files are done; each is done twice, written and read back.
        is_held: whether the caller holds the archive already.

    Raises:
        FolderInUse: another program has the archive or `to-laptops` open.
        FileFault: something could not be written, or was not read back as it was written.
    """
    folder = stick / TO_LAPTOPS
    listed: list[Listed] = []
    left_out: list[Problem] = []
    written = 0
    with nullcontext() if is_held else locked(archive, surroundings):
        make_folder(folder)
        with locked(folder, surroundings):
            spotted = [f for f in spot_folder(archive, Where.ARCHIVE) if f.where is Where.ARCHIVE]
            for done, file in enumerate(spotted, 1):
                found, raw = read_spotted(file)
                if raw is None or not (found.is_whole or found.is_newer):
                    left_out.append(_left_out(str(file.path)))
                    continue
                target = folder / file.told
                if read_bytes(target) != raw:
                    make_folder(target.parent)
                    write_durably(target, raw)
                    written += 1
                listed.append(Listed(file.told, len(raw), len(found.entries), found.digest))
                if progress is not None:
                    progress(done, 2 * len(spotted))
            write_manifest(folder, listed)
            if sys.platform != "win32":
                os.sync()
            for done, row in enumerate(listed, 1):
                _read_back(folder, row)
                if progress is not None:
                    progress(len(spotted) + done, 2 * len(spotted))
            _ = read_past_cache(folder / MANIFEST)
    return CarriedBack(folder, written, len(listed) - written, tuple(left_out))


def _read_back(folder: Path, row: Listed) -> None:
    if digest_bytes(read_past_cache(folder / row.path)) != row.digest:
        raise FileFault(
            Problem(
                code="not_read_back",
                text=say("The stick does not give back what was written to it."),
                mend=say("Do not use this stick. Carry back with another one."),
                path=str(folder / row.path),
            )
        )


def _left_out(path: str) -> Problem:
    return Problem(
        code="not_carried",
        text=say("This file was changed outside the program or cannot be read."),
        mend=say("It stays in the archive until its question is answered."),
        path=path,
    )
