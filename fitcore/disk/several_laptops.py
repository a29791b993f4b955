"""The sessions in which one laptop may have found a stop where another had given a size.

Most people have one session, written by one laptop. So each file's bytes are only glanced at for
whom it is about and who wrote it, and nothing is parsed but the sessions of people with a finished
session and lines of several laptops. Reads only; takes no lock.
"""

from __future__ import annotations

from sys import intern
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from fitcore.disk.archive_batch import join_one, merge_first
from fitcore.disk.archive_seen import Seen
from fitcore.disk.session_files import read_regular
from fitcore.merge.clients import careful_clients
from fitcore.record.glance import glance_of, quick_glance

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable
    from pathlib import Path

    from fitcore.disk.archive_seen import Copies
    from fitcore.merge.clients import Clients
    from fitcore.merge.ledger_lines import LedgerLines
    from fitcore.record.glance import Glance
    from fitcore.record.session import Session

_K = TypeVar("_K", bound="Hashable")


class Told(NamedTuple):
    """What a session tells of itself without being parsed; an archive has many."""

    codes: tuple[str, ...]
    laptops: tuple[str, ...]
    is_finished: bool
    """Whether a line may say so."""


def sessions_of_several(
    archive: Path, sticks: Iterable[Path] = ()
) -> tuple[tuple[Session, ...], Clients]:
    """Return the sessions a stop after a size may stand in, by id, and which codes are linked.

    A session counts although no copy of it is sealed, and so do links of a changed ledger.

    Args:
        archive: a data folder; it may be missing.
        sticks: what is to be looked at as if it was merged already.
    """
    seen = Seen(archive)
    for stick in dict.fromkeys(sticks):
        seen.look_at_stick(stick)
    seen.look_at_archive()
    _, merged_ledgers, ledgers = merge_first(seen.besides())
    proposals = (p for merged in merged_ledgers.values() for p in merged.proposals)
    clients = careful_clients(ledgers, proposals)
    told = [(copies.key, _told_at(copies, ledgers)) for copies in seen.sessions()]
    known = [(key, session) for key, session in told if session is not None]
    found = []
    for copies in seen.copies(worth_reading(lambda: known, clients)):
        merged = join_one(copies, ledgers)
        if merged is not None and merged.session is not None:
            found.append(merged.session)
    return tuple(found), clients


def told_by(glance: Glance) -> Told:
    """Return the same of a session that was looked at by itself."""
    laptops = {written.laptop for written in glance.written}
    return _told(set(glance.codes), laptops, is_finished=glance.says_finished)


def worth_reading(told: Callable[[], Iterable[tuple[_K, Told]]], clients: Clients) -> set[_K]:
    """Return the sessions of people with a finished one and lines of several laptops.

    Args:
        told: what is known of all sessions, each with what names it; gone through twice, so that
            nothing need be held of each.
        clients: which codes are one person's.
    """
    written_by: dict[tuple[str, ...], str] = {}
    several: set[tuple[str, ...]] = set()
    finished: set[tuple[str, ...]] = set()
    for _, session in told():
        for person in {clients.codes_of(code) for code in session.codes}:
            first = written_by.setdefault(person, session.laptops[0] if session.laptops else "")
            if any(laptop != first for laptop in session.laptops):
                several.add(person)
            if session.is_finished:
                finished.add(person)
    people = several & finished
    return {
        name
        for name, session in told()
        if any(clients.codes_of(code) in people for code in session.codes)
    }


def _told_at(copies: Copies, ledgers: LedgerLines) -> Told | None:
    """Return what all copies of a session tell together; None where none can be read."""
    told = []
    for file in (*copies.own, *copies.brought):
        raw = read_regular(file.place)
        one = quick_glance(raw) if isinstance(raw, bytes) else None
        if one is None or one.id != copies.key.name:
            return _parsed(copies, ledgers)
        told.append(told_by(one))
    if copies.kept or not told:
        return _parsed(copies, ledgers)
    return _told(
        {code for one in told for code in one.codes},
        {laptop for one in told for laptop in one.laptops},
        is_finished=any(one.is_finished for one in told),
    )


def _parsed(copies: Copies, ledgers: LedgerLines) -> Told | None:
    merged = join_one(copies, ledgers)
    session = merged.session if merged is not None else None
    return told_by(glance_of(session)) if session is not None else None


def _told(codes: set[str], laptops: set[str], *, is_finished: bool) -> Told:
    return Told(
        tuple(sorted(codes - {""})), tuple(sorted(map(intern, laptops))), is_finished=is_finished
    )
