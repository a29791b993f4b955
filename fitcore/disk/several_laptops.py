"""The sessions in which one laptop may have found a stop where another had given a size.

Most people have one session, written by one laptop. So each file's bytes are only glanced at for
whom it is about and who wrote it, and nothing is parsed but the sessions of people with a finished
session and lines of several laptops. Reads only; takes no lock.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from fitcore.disk.archive_batch import join_one, merge_first
from fitcore.disk.archive_seen import Seen
from fitcore.disk.session_files import read_regular
from fitcore.merge.clients import careful_clients, codes_in

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Mapping
    from pathlib import Path

    from fitcore.disk.archive_seen import Copies
    from fitcore.merge.clients import Clients
    from fitcore.merge.found import Key
    from fitcore.merge.ledger_lines import LedgerLines
    from fitcore.record import glance as session_glance
    from fitcore.record.session import Session

_K = TypeVar("_K", bound="Hashable")

_ENTRY = re.compile(rb'\{ by = "([a-z0-9]+-[a-z0-9]{4}):')
_CLIENT = re.compile(rb'what = "client", is = "([^"\\]*)"')
_LINES = re.compile(rb"^lines = ([0-9]+)\s*$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Glance:
    """What a file's bytes tell without being parsed."""

    codes: frozenset[str]
    laptops: frozenset[str]
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
    glances: dict[Key, Glance] = {}
    for copies in seen.sessions():
        if (glance := _glance_at(copies, ledgers)) is not None:
            glances[copies.key] = glance
    found = []
    for copies in seen.copies(worth_reading(glances, clients)):
        merged = join_one(copies, ledgers)
        if merged is not None and merged.session is not None:
            found.append(merged.session)
    return tuple(found), clients


def glance(raw: bytes) -> Glance | None:
    """Return what a session file's bytes tell; None where only parsing them does.

    Args:
        raw: the bytes. Each line must begin as a program writes it, or nothing is said.
    """
    entries, codes = _ENTRY.findall(raw), _CLIENT.findall(raw)
    lines = _LINES.findall(raw)
    if len(lines) != 1 or int(lines[0]) != len(entries) or len(codes) != raw.count(b'"client"'):
        return None
    try:
        named = frozenset(code.decode() for code in codes)
    except UnicodeDecodeError:
        return None
    laptops = frozenset(name.decode() for name in entries)
    return Glance(named - {""}, laptops, b'"finished"' in raw)


def _glance_at(copies: Copies, ledgers: LedgerLines) -> Glance | None:
    """Return what all copies of a session tell together; None where none can be read."""
    glances = []
    for file in (*copies.own, *copies.brought):
        raw = read_regular(file.place)
        one = glance(raw) if isinstance(raw, bytes) else None
        if one is None:
            return _parsed(copies, ledgers)
        glances.append(one)
    if copies.kept or not glances:
        return _parsed(copies, ledgers)
    return Glance(
        frozenset[str]().union(*(one.codes for one in glances)),
        frozenset[str]().union(*(one.laptops for one in glances)),
        any(one.is_finished for one in glances),
    )


def _parsed(copies: Copies, ledgers: LedgerLines) -> Glance | None:
    merged = join_one(copies, ledgers)
    session = merged.session if merged is not None else None
    if session is None:
        return None
    return Glance(
        frozenset(codes_in(session)),
        frozenset(entry.by.laptop for entry in session.entries),
        any(entry.fields.get("what") == "finished" for entry in session.entries),
    )


def told_by(glance: session_glance.Glance) -> Glance:
    """Return the same of a session that was looked at by itself."""
    laptops = frozenset(written.laptop for written in glance.written)
    return Glance(frozenset(glance.codes), laptops, glance.says_finished)


def worth_reading(glances: Mapping[_K, Glance], clients: Clients) -> set[_K]:
    """Return the sessions of people with a finished one and lines of several laptops.

    Args:
        glances: what is known of all sessions, each under what names it.
        clients: which codes are one person's.
    """
    people: defaultdict[tuple[str, ...], set[_K]] = defaultdict(set)
    for key, found in glances.items():
        for person in {clients.codes_of(code) for code in found.codes}:
            people[person].add(key)
    return {
        key
        for keys in people.values()
        if any(glances[each].is_finished for each in keys)
        and len(frozenset[str]().union(*(glances[each].laptops for each in keys))) > 1
        for key in keys
    }
