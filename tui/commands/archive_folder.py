"""The folder a merge writes into: whose it is, said first, and refused where it cannot be meant.

Whoever forgets the archive names a stick first; then the stick would be written into.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.archive_scan import LEDGERS, OWN_FOLDERS, SESSIONS, folders_of_stick
from fitcore.disk.data_folder import LAPTOP_FILE, is_named
from fitcore.disk.lock import LOCK_NAME
from fitcore.disk.manifest import MANIFEST
from fitcore.disk.session_files import read_regular
from fitcore.problems import FileFault
from fitcore.record.ledger import read_laptop
from fitcore.words import say
from tui.commands import wrong_use

if TYPE_CHECKING:
    from pathlib import Path

_OURS = frozenset(
    [
        LAPTOP_FILE,
        LOCK_NAME,
        MANIFEST,
        *OWN_FOLDERS,
    ]
)
"""What may lie in a data folder."""


def require_archive(archive: Path) -> None:
    """Refuse a folder that is surely no archive.

    Raises:
        FitError: it is a stick, or holds things of another kind and nothing of ours.
    """
    if not archive.is_dir():
        return
    if below := folders_of_stick(archive)[1:]:
        raise wrong_use(
            say(
                "{path} is a stick: it holds {name}. A merge would write into it.",
                path=visible(str(archive)),
                name=visible(below[0].name),
            ),
            say(
                "Name the archive first, then the sticks. Is it the archive all the same, move "
                "that folder out of it."
            ),
            key="ARCHIVE",
        )
    names = {path.name for path in archive.iterdir() if not path.name.startswith(".")}
    if names and not names & _OURS:
        raise wrong_use(
            say(
                "{path} holds other things and nothing of ours, such as {name}.",
                path=visible(str(archive)),
                name=visible(min(names)),
            ),
            say("Name the archive's own folder, or one that is empty or not there yet."),
            key="ARCHIVE",
        )


def require_no_stick(folder: Path) -> None:
    """Refuse to name a laptop on a stick: all that is measured would be written to it.

    Raises:
        FitError: it holds folders of laptops, and no laptop is named in it.
    """
    if is_named(folder):
        return
    if below := folders_of_stick(folder)[1:]:
        raise wrong_use(
            say(
                "{path} is a stick: it holds {name}.",
                path=visible(str(folder)),
                name=visible(below[0].name),
            ),
            say(
                "Name this laptop's own folder with --data, or leave --data out; then merge the "
                "stick at the merge desk."
            ),
            key="--data",
        )


def require_data_folder(folder: Path) -> None:
    """Refuse a folder that is no data folder: of a wrong one nobody may hear that all is well.

    Raises:
        FitError: it is no folder, a stick, or holds nothing a data folder has.
    """
    path = visible(str(folder))
    if not folder.is_dir():
        raise wrong_use(
            say("{path} is not a folder.", path=path),
            say("Name the folder, or the stick's folder."),
            key="PATH",
        )
    if below := folders_of_stick(folder)[1:]:
        raise wrong_use(
            say("{path} is a stick: it holds {name}.", path=path, name=visible(below[0].name)),
            say("Name the archive; or merge the stick into it first."),
            key="PATH",
        )
    if not any((folder / name).exists() for name in (SESSIONS, LEDGERS, LAPTOP_FILE, MANIFEST)):
        raise wrong_use(
            say("{path} is no data folder: it holds no session and no ledger.", path=path),
            say("Name the archive's own folder; 'anklefirst where' names this laptop's."),
            key="PATH",
        )


def archive_line(archive: Path, data: Path, *, dry_run: bool) -> str:
    """Say whose folder is written into; to be asked before it is.

    Args:
        archive: the folder.
        data: the data folder in use on this laptop.
        dry_run: whether nothing will be written.
    """
    path = visible(str(archive))
    if not archive.is_dir() or not any(archive.iterdir()):
        if dry_run:
            return say("{path} would be a new archive.", path=path)
        return say("New archive: {path}.", path=path)
    laptop = _laptop_of(archive)
    if laptop is None:
        return say("Archive: {path}.", path=path)
    known = (archive / MANIFEST).exists() or archive.resolve() == data.resolve()
    if known:
        return say("Archive: {path}, folder of laptop {laptop}.", path=path, laptop=laptop)
    return say(
        "{path} is laptop {laptop}'s own folder; what the others hold is written into it. Was it "
        "meant as a stick? Then name the archive before it.",
        path=path,
        laptop=laptop,
    )


def _laptop_of(folder: Path) -> str | None:
    raw = read_regular(folder / LAPTOP_FILE)
    if not isinstance(raw, bytes):
        return None
    try:
        return read_laptop(raw).id
    except FileFault:
        return "?"
