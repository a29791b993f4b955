"""What the application reads in a thread: codes of one person, profiles, own repeat error.

The readers are imported inside, in the thread: they are heavy, and the screen is drawn meanwhile.
"""

from __future__ import annotations

import asyncio
import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from fitcore.certainty.certainty_errors import RepeatErrorOf
    from fitcore.disk.profile_files import Profiles
    from fitcore.merge.clients import Clients
    from fitcore.record.session import Session

_SESSIONS_OF_ERROR = 200
"""Newest sessions of a measurer that tell her repeat error: enough, and quickly read."""


def read_codes(own: Path) -> tuple[Clients, int]:
    """Read which codes are one person's from a data folder, and how many ledgers it cannot."""
    from fitcore.disk.links import read_links

    links, problems = read_links([own])
    return links, len({problem.path for problem in problems})


def linked_to(
    session: Session, client: str, links: Clients | None, known: Iterable[Session]
) -> tuple[Session, ...]:
    """Return the person's other sessions, to be judged together with one."""
    from fitcore.merge.clients import by_code, linked_sessions

    return linked_sessions(session, links, by_code(known), client)


class ProfileShelf:
    """The profiles in use: loaded once, and again where chart files have changed meanwhile."""

    def __init__(self, own: Path) -> None:
        self._own = own
        self._held: Profiles | None = None
        self._seen: Stamp = ()

    async def load(self, *, anew: bool = False) -> Profiles:
        """Return the profiles as they lie there now; read in a thread.

        A chart copied into the folder while the program runs is taken up at the next call.
        """
        stamp = await asyncio.to_thread(chart_stamp, self._own)
        if self._held is None or anew or stamp != self._seen:
            self._held = await asyncio.to_thread(read_profiles, self._own)
            self._seen = stamp
        return self._held

    def keep(self, profiles: Profiles) -> None:
        """Take profiles as they are by now."""
        self._held = profiles


Stamp = tuple[tuple[str, int, int], ...]
"""Name, size and time of each of a data folder's own chart files, by name."""


def read_profiles(own: Path) -> Profiles:
    """Load the shipped profiles and those of a data folder beside them, and judge the charts."""
    from fitcore.disk.profile_files import load_profiles
    from fitcore.suitability import wrong_charts

    profiles = load_profiles(own)
    wrong_charts(profiles.rules, profiles.charts)  # kept: the first leg need not wait for it
    return profiles


def chart_stamp(own: Path) -> Stamp:
    """Look which chart files lie in a data folder now; none is opened.

    A chart copied in while the program runs is taken up at the next look.
    """
    try:
        with os.scandir(own / "charts") as entries:
            files = [entry for entry in entries if entry.name.endswith(".toml")]
            found = [(entry.name, entry.stat()) for entry in files]
    except OSError:
        return ()
    return tuple(sorted((name, at.st_size, at.st_mtime_ns) for name, at in found))


def own_repeat_error(sessions: Iterable[Session], measurer: str, own: Path) -> RepeatErrorOf:
    """Return the measurer's own repeat error, from the newest sessions she measured."""
    from fitcore.disk.profile_files import load_quality_rules
    from fitcore.quality.quality_report import error_of, report_quality

    hers = sorted((s for s in sessions if s.text("measurer") == measurer), key=lambda s: s.id)
    rules, _ = load_quality_rules(own)
    return error_of(report_quality(hers[-_SESSIONS_OF_ERROR:], rules), measurer)
