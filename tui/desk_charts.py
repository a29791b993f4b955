"""What an open session says of its size charts: favourites, kept for the sessions to come, too."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.disk.favourites import write_favourites

if TYPE_CHECKING:
    from tui.desk import Desk


def toggle_favourite(desk: Desk, chart: str) -> None:
    """Take a chart among the service's favourites, or out of them.

    Raises:
        FileFault: that could not be written; nothing changed.
    """
    kept = desk.profiles.favourites ^ {chart}
    write_favourites(desk.folder.path, kept)
    desk.use_profiles(replace(desk.profiles, favourites=kept))
