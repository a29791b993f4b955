"""The charts a service uses most: `favourites/charts.toml` in its data folder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.charts.favourites_model import Favourites
from fitcore.disk.atomic import make_folder, read_bytes, write_durably
from fitcore.disk.profile_reading import read_profile, toml_files
from fitcore.problems import FileFault, Problem
from fitcore.record.entries import render_value
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

FOLDER = "favourites"
FAVOURITES_ID = "charts"


def write_favourites(own: Path, charts: Iterable[str]) -> None:
    """Write which charts a service uses most; what it named that is not here stays named.

    Args:
        own: the data folder, locked by this program.
        charts: ids of charts.

    Raises:
        FileFault: it could not be written, or the list that lies there cannot be read, so that
            nobody knows what would be lost; the old file is untouched.
    """
    make_folder(own / FOLDER)
    path = own / FOLDER / f"{FAVOURITES_ID}.toml"
    before = read_bytes(path)
    if before is not None:
        _require_readable(before, path)
    for other in toml_files(own / FOLDER):
        if other.name != path.name:
            raise FileFault(_second_list(own / FOLDER / other.name, path.name))
    named = "".join(f"  {render_value(name)},\n" for name in sorted(set(charts)))
    text = (
        "# Charts shown first on the result, and the only ones that ask for repeats near an edge.\n"
        f'format = 1\nid = "{FAVOURITES_ID}"\ncharts = [\n{named}]\n'
    )
    write_durably(path, text.encode(), expected=before)


def _require_readable(raw: bytes, path: Path) -> None:
    judged = read_profile(raw, Favourites, str(path))
    if not isinstance(judged, tuple):
        return
    fault = judged[0]
    problem = Problem(
        code="favourites_unreadable",
        text=say(
            "The list of favourites that lies there cannot be read: {fault} Nothing was changed.",
            fault=fault.text,
        ),
        mend=say("Mend {path}, or take it away, then mark the chart again.", path=path),
        path=str(path),
        line=fault.line,
        key=fault.key,
    )
    raise FileFault(problem)


def _second_list(other: Path, wanted: str) -> Problem:
    return Problem(
        code="second_favourites",
        text=say("Another list of favourites lies there. Nothing was changed."),
        mend=say(
            "Keep one list, named {wanted}: {other} is the other.", wanted=wanted, other=other
        ),
        path=str(other),
    )
