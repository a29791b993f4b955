"""What the application reads in a thread: codes of one person, profiles, own repeat error.

The readers are imported inside, in the thread: they are heavy, and the screen is drawn meanwhile.
"""

from __future__ import annotations

import asyncio
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import date, datetime
    from pathlib import Path

    from fitcore.certainty.certainty_errors import RepeatErrorOf
    from fitcore.disk.profile_files import Profiles
    from fitcore.disk.session_book import SessionBook
    from fitcore.merge.clients import Clients
    from fitcore.record.session import Session
    from fitcore.rules import Rules

_SESSIONS_OF_ERROR = 200
"""Newest sessions of a measurer that tell her repeat error: enough, and quickly read."""


def read_codes(own: Path) -> tuple[Clients, int]:
    """Read which codes are one person's from a data folder, and how many ledgers it cannot."""
    from fitcore.disk.links import read_links

    links, problems = read_links([own])
    return links, len({problem.path for problem in problems})


def look_at_sessions(
    own: Path, before: SessionBook | None, now: datetime, laptop: str
) -> tuple[SessionBook, int]:
    """Look at a data folder's sessions; return them and the highest number of a laptop in them."""
    from fitcore.disk.session_book import look_through

    book = look_through(own, before, int(now.timestamp() * 1_000_000_000))
    return book, book.highest_number(laptop)


@dataclass(frozen=True, slots=True)
class OfPerson:
    """A person's other sessions, as far as they bear on one."""

    earlier: tuple[Session, ...]
    """The client's measured ones before it, newest first."""
    linked: tuple[Session, ...]
    """All that are to be judged together with it, by id."""


def read_person(
    book: SessionBook, session: Session, client: str, links: Clients | None
) -> OfPerson:
    """Read a person's other sessions from a data folder.

    Args:
        book: the folder's sessions.
        session: the session looked at.
        client: the code it stands under, or is begun with.
        links: which codes are one person's; None where that is not known.
    """
    from fitcore.merge.clients import by_code, codes_in, linked_sessions, other_codes
    from fitcore.record.last_time import sessions_before

    own = codes_in(session, client)
    linked = other_codes(own, links) if links is not None else ()
    theirs = list(book.read_each(book.of_codes({client, *own, *linked})))
    return OfPerson(
        sessions_before(session, client, theirs),
        linked_sessions(session, links, by_code(theirs), client),
    )


def read_stopped(
    book: SessionBook, ids: Collection[str], links: Clients | None, rules: Rules, on: date
) -> frozenset[str]:
    """Return in which of some sessions of a folder a stop or a hold stands."""
    from fitcore.merge.clients import other_codes
    from tui.clearance_view import stopped_among

    seen = (book.glances.get(name) for name in ids)
    codes = {code for glance in seen if glance is not None for code in glance.codes}
    linked = other_codes(tuple(codes), links) if links is not None else ()
    theirs = {s.id: s for s in book.read_each(book.of_codes({*codes, *linked}))}
    return stopped_among([name for name in ids if name in theirs], theirs, rules, on, links)


def read_late_stops(
    book: SessionBook, links: Clients | None, rules: Rules, on: date
) -> tuple[tuple[str, ...], ...]:
    """Return whose stops one laptop found after another gave a size: the codes of each person."""
    from fitcore.disk.several_laptops import told_by, worth_reading
    from fitcore.merge.clients import Clients
    from fitcore.merge.ledger_lines import LedgerLines
    from tui.merge_memory import late_stop_codes

    clients = links if links is not None else Clients(LedgerLines())
    some = sorted(
        worth_reading(lambda: ((g.id, told_by(g)) for g in book.glances.values()), clients)
    )
    return late_stop_codes(book.read_each(some), clients, rules, on)


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


class OwnErrors:
    """A measurer's own repeat error, read anew only where her sessions have changed."""

    def __init__(self) -> None:
        self._held: tuple[object, RepeatErrorOf] | None = None

    def read(self, book: SessionBook, measurer: str) -> RepeatErrorOf:
        """Return it, from the newest sessions she measured."""
        from fitcore.disk.profile_files import load_quality_rules
        from fitcore.quality.quality_report import error_of, report_quality

        hers = [name for name, glance in book.glances.items() if glance.measurer == measurer]
        newest = hers[-_SESSIONS_OF_ERROR:]
        asked = measurer, [(name, book.files[name]) for name in newest]
        if self._held is None or self._held[0] != asked:
            rules, _ = load_quality_rules(book.root)
            report = report_quality(book.read_each(newest), rules)
            self._held = asked, error_of(report, measurer)
        return self._held[1]
