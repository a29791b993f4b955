"""The charts a service uses most: `favourites/charts.toml` in its data folder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.disk.atomic import make_folder, read_bytes, write_durably
from fitcore.record.entries import render_value

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
        FileFault: it could not be written; the old file is untouched.
    """
    make_folder(own / FOLDER)
    path = own / FOLDER / f"{FAVOURITES_ID}.toml"
    named = "".join(f"  {render_value(name)},\n" for name in sorted(set(charts)))
    text = (
        "# Charts shown first on the result, and the only ones that ask for repeats near an edge.\n"
        f'format = 1\nid = "{FAVOURITES_ID}"\ncharts = [\n{named}]\n'
    )
    write_durably(path, text.encode(), expected=read_bytes(path))
