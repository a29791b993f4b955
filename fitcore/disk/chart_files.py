"""Chart files as they are written, and drafts of charts that are being typed.

Drafts lie in `charts/.drafts/` of the data folder and end in `.draft`: no reader of charts ever
takes one for a chart.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal
from hashlib import blake2b
from typing import TYPE_CHECKING

from fitcore.disk.atomic import flush_folder, make_folder, read_bytes, write_durably
from fitcore.disk.profile_reading import profile_bytes, toml_files
from fitcore.disk.session_files import read_regular
from fitcore.problems import FileFault, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

FOLDER = "charts"
DRAFTS = ".drafts"
_ENDING = ".draft"
_ID = re.compile(r"""\A(?:(?![ \t]*\[).*\n)*?[ \t]*id[ \t]*=[ \t]*["']([^"'\n]+)["']""")
"""The id of a file that is no TOML as a whole: the first line before any heading that gives one."""
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,63}")


@dataclass(frozen=True, slots=True)
class ChartFile:
    """One chart file as it lies there, whether it can be used or not."""

    id: str
    raw: bytes
    path: Path | None
    """Where it lies in the data folder; None for a shipped one."""

    @property
    def digest(self) -> str:
        """What tells this file from the same one changed: blake2b, 128 bit, in hexadecimal."""
        return digest_of(self.raw)

    @property
    def values(self) -> Mapping[str, object]:
        """The file's own keys, numbers as they are printed; empty where it is no TOML."""
        return _toml(self.raw)


def chart_files(own: Path) -> dict[str, ChartFile]:
    """Read the shipped chart files and those of a data folder, by the id each one names.

    A file of the data folder takes the place of a shipped one with its id, as when charts are
    loaded. Files that name no id are left out; loading charts tells what is wrong with them.
    """
    shipped, _ = profile_bytes(FOLDER)
    found: dict[str, ChartFile] = {}
    for _, raw in shipped.values():
        _keep(found, raw, None)
    for entry in toml_files(own / FOLDER):
        path = own / FOLDER / entry.name
        held = read_regular(path)
        if isinstance(held, bytes):
            _keep(found, held, path)
    return found


def digest_of(raw: bytes) -> str:
    """Return what tells a chart file from the same one changed."""
    return blake2b(raw, digest_size=16).hexdigest()


def is_file_name(name: str) -> bool:
    """Whether a chart or a draft of this name can be written; an id may be any text."""
    return _NAME.fullmatch(name) is not None


def named_id(raw: bytes) -> str | None:
    """Return the id a chart file names, as far as it can be told of a damaged one.

    Returns:
        None where it names none; then its own name is all there is to go by.
    """
    values = _toml(raw)
    name = values.get("id")
    if not values and (line := _ID.search(raw.decode("utf-8-sig", "replace"))):
        name = line[1]
    return name if isinstance(name, str) and name else None


def own_chart_path(own: Path, chart_id: str) -> Path:
    """Return where a chart of a data folder is written.

    Raises:
        FileFault: the id cannot be the name of a file.
    """
    return own / FOLDER / f"{_checked(chart_id)}.toml"


def write_own_chart(path: Path, text: str, *, expected: bytes | None) -> None:
    """Write a chart file into a data folder that is locked by this program.

    Args:
        path: of the chart file.
        text: the whole file.
        expected: what the file held when somebody agreed to write over it; None for a new one.

    Raises:
        FileFault: it could not be written, or there is another file by now; nothing changed.
    """
    make_folder(path.parent)
    write_durably(path, text.encode(), expected=expected)


def drafts(own: Path) -> dict[str, bytes]:
    """Return the drafts of a data folder, by name."""
    folder = own / FOLDER / DRAFTS
    if not folder.is_dir():
        return {}
    found = {}
    for path in sorted(folder.glob(f"*{_ENDING}")):
        held = read_regular(path)
        if isinstance(held, bytes) and _NAME.fullmatch(path.stem):
            found[path.stem] = held
    return found


def write_draft(own: Path, name: str, text: str) -> None:
    """Write a draft durably.

    Raises:
        FileFault: it could not be written; the draft from before is untouched.
    """
    make_folder(own / FOLDER / DRAFTS)
    write_durably(_draft(own, name), text.encode())


def drop_draft(own: Path, name: str) -> None:
    """Take a draft away; one that is not there does no harm.

    Raises:
        FileFault: it cannot be taken away.
    """
    path = _draft(own, name)
    if read_bytes(path) is None:
        return
    try:
        path.unlink()
        flush_folder(path.parent)
    except OSError as error:
        problem = Problem(
            code="not_removed",
            text=say("The draft cannot be removed: {error}.", error=error.strerror),
            mend=say("Remove the file by hand; it is no chart."),
            path=str(path),
        )
        raise FileFault(problem) from error


def draft_values(raw: bytes) -> Mapping[str, object]:
    """Return what a draft holds; empty where it is damaged."""
    return _toml(raw)


def _draft(own: Path, name: str) -> Path:
    return own / FOLDER / DRAFTS / f"{_checked(name)}{_ENDING}"


def _checked(name: str) -> str:
    if is_file_name(name):
        return name
    problem = Problem(
        code="not_a_file_name",
        text=say("'{name}' cannot be the name of a file.", name=name[:60]),
        mend=say("Use small letters, digits and hyphens."),
    )
    raise FileFault(problem)


def _keep(found: dict[str, ChartFile], raw: bytes, path: Path | None) -> None:
    name = _toml(raw).get("id")
    if isinstance(name, str) and name:
        found[name] = ChartFile(name, raw, path)


def _toml(raw: bytes) -> Mapping[str, object]:
    try:
        return tomllib.loads(raw.decode("utf-8-sig"), parse_float=Decimal)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError, ValueError):
        return {}
