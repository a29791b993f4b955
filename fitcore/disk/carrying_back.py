"""Carrying an archive back to the laptops: `to-laptops/` on a stick, written, read back, compared.

Only when every file was read back from the stick as it stands in the archive may it be pulled.
"""

from __future__ import annotations

import os
import stat
import sys
from contextlib import nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.archive import locked
from fitcore.disk.archive_scan import TO_LAPTOPS, spot_folder
from fitcore.disk.atomic import make_folder, read_bytes, write_durably
from fitcore.disk.data_folder import LAPTOP_FILE
from fitcore.disk.drives import hangs_nowhere
from fitcore.disk.manifest import MANIFEST, Listed, read_past_cache, write_manifest
from fitcore.disk.session_files import read_regular
from fitcore.disk.spotted import read_spotted
from fitcore.merge.found import Where, digest_bytes, read_found
from fitcore.problems import FileFault, Problem
from fitcore.record.document import LARGEST_FILE
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fitcore.disk.spotted import Spotted
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
    coordinator's. What the stick held besides is left as it is. A file of it that holds lines the
    archive lacks, as of another archive, is never written over: then nothing is.

    Args:
        archive: the coordinator's data folder.
        stick: the stick; `to-laptops` is made on it.
        surroundings: clock and folders.
        progress: told how many of all files are done; each is done three times: what the stick
            holds of it is looked at, it is written, and it is read back.
        is_held: whether the caller holds the archive already.

    Raises:
        FolderInUse: another program has the archive or `to-laptops` open.
        FileFault: the stick is gone or has left only its folder behind, is the archive itself or a
            laptop's own folder, `to-laptops` holds a link, another device or lines the archive
            lacks, there is nothing to carry, something could not be written, or was not read back
            as it was written.
    """
    folder = stick / TO_LAPTOPS
    drive = _drive(stick)
    if drive is None:
        raise FileFault(gone(stick))
    _refuse_left_behind(stick)
    _refuse_archive(archive, folder)
    _refuse_laptops_folder(stick)
    _refuse_elsewhere(folder, folder, drive)
    listed: list[Listed] = []
    left_out: list[Problem] = []
    written = 0
    with nullcontext() if is_held else locked(archive, surroundings):
        spotted = [f for f in spot_folder(archive, Where.ARCHIVE) if f.where is Where.ARCHIVE]
        if not spotted:
            raise FileFault(_nothing_to_carry(str(archive)))
        make_folder(folder)
        with locked(folder, surroundings):
            _refuse_to_lose(spotted, folder, progress)
            for done, file in enumerate(spotted, len(spotted) + 1):
                found, raw = read_spotted(file)
                if raw is None or not (found.is_whole or found.is_newer):
                    left_out.append(_left_out(str(file.path)))
                    continue
                target = folder / file.told
                _refuse_elsewhere(folder, target, drive)
                if read_bytes(target) != raw:
                    if _drive(stick) != drive:
                        raise FileFault(_pulled(stick))
                    make_folder(target.parent)
                    write_durably(target, raw)
                    written += 1
                listed.append(Listed(file.told, len(raw), len(found.entries), found.digest))
                if progress is not None:
                    progress(done, 3 * len(spotted))
            _refuse_elsewhere(folder, folder / MANIFEST, drive)
            content = write_manifest(folder, listed)
            if sys.platform != "win32":
                os.sync()
            for done, row in enumerate(listed, 1):
                _refuse_elsewhere(folder, folder / row.path, drive)
                _read_back(folder / row.path, row.digest)
                if progress is not None:
                    progress(2 * len(spotted) + done, 3 * len(spotted))
            _read_back(folder / MANIFEST, digest_bytes(content))
    return CarriedBack(folder, written, len(listed) - written, tuple(left_out))


def gone(stick: Path) -> Problem:
    """Say that a stick's folder is not there: making it anew would write to the hard disk."""
    return Problem(
        code="stick_gone",
        text=say("{stick} is gone; nothing was written.", stick=visible(str(stick))),
        mend=say("Plug it in and carry back again, or mark another stick."),
        path=str(stick),
    )


def _pulled(stick: Path) -> Problem:
    return Problem(
        code="stick_gone",
        text=say(
            "{stick} was pulled while it was written; it is not finished.",
            stick=visible(str(stick)),
        ),
        mend=say("Plug it in and carry back again; that finishes it."),
        path=str(stick),
    )


def _drive(stick: Path) -> int | None:
    """Return the device a stick's folder lies on; None where there is no such folder.

    A pulled stick may leave an empty folder of the hard disk behind, or none at all.
    """
    try:
        found = stick.stat()
    except OSError:
        return None
    return found.st_dev if stat.S_ISDIR(found.st_mode) else None


def _refuse_left_behind(stick: Path) -> None:
    """Refuse a folder where sticks hang and none does: it would be written to the hard disk.

    Raises:
        FileFault: it is such a folder, or it is gone by now.
    """
    try:
        is_left_behind = hangs_nowhere(stick)
    except OSError as error:
        raise FileFault(gone(stick)) from error
    if is_left_behind:
        raise FileFault(
            Problem(
                code="stick_gone",
                text=say(
                    "No stick is plugged in at {stick}; nothing was written.",
                    stick=visible(str(stick)),
                ),
                mend=say("Plug it in, and carry back to the folder where it then appears."),
                path=str(stick),
            )
        )


def _refuse_archive(archive: Path, folder: Path) -> None:
    """Refuse to write the archive into itself: no laptop would ever see that.

    Raises:
        FileFault: `to-laptops` would lie in the archive, or is the archive.
    """
    own = archive.resolve()
    target = folder.resolve()
    if own == target or own in target.parents:
        raise FileFault(
            Problem(
                code="same_folder",
                text=say("The stick named is the archive itself, or lies in it."),
                mend=say("Name the stick's own folder, and the archive with --data."),
                path=str(folder.parent),
            )
        )


def _nothing_to_carry(archive: str) -> Problem:
    return Problem(
        code="nothing_to_carry",
        text=say("There is no session and no ledger in it: nothing was written to the stick."),
        mend=say("Name the archive with --data, and merge the laptops' sticks into it first."),
        path=archive,
    )


def _refuse_laptops_folder(stick: Path) -> None:
    """Refuse a laptop's own folder: with `to-laptops` in it, no merge takes it for an archive.

    Raises:
        FileFault: a laptop is named in it.
    """
    if os.path.lexists(stick / LAPTOP_FILE):
        raise FileFault(
            Problem(
                code="laptops_folder",
                text=say(
                    "It is a laptop's own folder, not a stick: it holds {name}.", name=LAPTOP_FILE
                ),
                mend=say(
                    "Name the stick's own folder. Is it the stick all the same, make a new folder "
                    "on it and name that one."
                ),
                path=str(stick),
            )
        )


def _refuse_elsewhere(folder: Path, target: Path, drive: int) -> None:
    """Refuse what does not lie on the stick itself: it would be gone with the stick still in.

    Args:
        folder: `to-laptops`.
        target: a place in it, or the folder; it need not be there.
        drive: the device the stick lies on.

    Raises:
        FileFault: a link stands at the target or above it, or another device does.
    """
    below = [target, *target.parents]
    for place in reversed(below[: below.index(folder) + 1]):
        try:
            state = place.lstat()
        except FileNotFoundError:
            return
        except OSError as error:
            raise FileFault(_elsewhere(place)) from error
        is_place = stat.S_ISREG if place == target != folder else stat.S_ISDIR
        if not is_place(state.st_mode) or state.st_dev != drive:
            raise FileFault(_elsewhere(place))


def _elsewhere(place: Path) -> Problem:
    return Problem(
        code="not_on_stick",
        text=say("This is a link, or does not lie on the stick: nothing is written through it."),
        mend=say("Move it off the stick, then carry back again. Do not use the stick until then."),
        path=str(place),
    )


def _refuse_to_lose(
    spotted: list[Spotted], folder: Path, progress: Callable[[int, int], None] | None
) -> None:
    """Refuse to write over lines that the archive lacks: no laptop would ever get them.

    Args:
        spotted: the archive's files.
        folder: `to-laptops`.
        progress: as for `carry_back`.

    Raises:
        FileFault: the stick holds such lines.
    """
    lacking = []
    for done, file in enumerate(spotted, 1):
        target = folder / file.told
        if count := _count_lacking(file, target):
            lacking.append((target, count))
        if progress is not None:
            progress(done, 3 * len(spotted))
    if lacking:
        raise FileFault(_stick_has_more(lacking))


def _count_lacking(file: Spotted, target: Path) -> int:
    """Return how many lines a file on the stick holds that the archive's own lacks.

    0 where nothing would be lost: no file is there, it is the same, it cannot be read or is not
    whole, or the archive's own stays behind. What the archive has erased it does not lack.
    """
    there = read_regular(target)
    if isinstance(there, Problem) or len(there) > LARGEST_FILE or there == read_regular(file.place):
        return 0
    found = read_found(there, path=str(target), name=file.name, kind=file.kind)
    own, raw = read_spotted(file)
    if not found.is_whole or raw is None or not (own.is_whole or own.is_newer):
        return 0
    more = found.entries - own.entries
    return sum(entry.erase() not in own.entries for entry in more)


def _stick_has_more(lacking: list[tuple[Path, int]]) -> Problem:
    """Say that writing would lose lines: perhaps the stick comes from another archive.

    Args:
        lacking: files of the stick, and how many lines the archive lacks of each.
    """
    path, count = lacking[0]
    lines = say("1 line") if count == 1 else say("{count} lines", count=count)
    more = len(lacking) - 1
    text = say(
        "This stick carries lines this archive does not have: {lines} in {name}. "
        "Nothing was written.",
        lines=lines,
        name=path.name,
    )
    if more:
        text = say(
            "This stick carries lines this archive does not have: {lines} in {name}, "
            "{others} in {more} more. Nothing was written.",
            lines=lines,
            name=path.name,
            others=sum(count for _, count in lacking[1:]),
            more=say("1 file") if more == 1 else say("{count} files", count=more),
        )
    return Problem(
        code="stick_has_more",
        text=text,
        mend=say("Merge this stick into the archive first, then carry back."),
        path=str(path),
    )


def _read_back(path: Path, digest: str) -> None:
    if digest_bytes(read_past_cache(path)) != digest:
        raise FileFault(
            Problem(
                code="not_read_back",
                text=say("The stick does not give back what was written to it."),
                mend=say("Do not use this stick. Carry back with another one."),
                path=str(path),
            )
        )


def _left_out(path: str) -> Problem:
    return Problem(
        code="not_carried",
        text=say("This file was changed outside the program or cannot be read."),
        mend=say("It stays in the archive until its question is answered."),
        path=path,
    )
