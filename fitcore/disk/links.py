"""Which codes are one person's, read from the ledgers of data folders. Reads only; takes no lock.

Without any link or clock note nothing is parsed. A ledger that cannot be read is told: a link may
stand there.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from fitcore.disk.session_files import read_regular
from fitcore.merge.clients import Clients
from fitcore.merge.found import FileKind, Key
from fitcore.merge.ledger_lines import gather
from fitcore.merge.proposals import id_of_line
from fitcore.problems import Problem
from fitcore.record.ledger import read_ledger
from fitcore.record.session import Seal
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from fitcore.merge.ledger_lines import LedgerLines
    from fitcore.record.entries import Entry
    from fitcore.record.ledger import Ledger

_LINKS = b"links"
"""Stands in every ledger that links codes: the name of the array."""
_CLOCK_NOTES = b"clock_notes"
"""Stands in every ledger that says how wrong a clock was."""


def read_links(folders: Iterable[Path]) -> tuple[Clients, tuple[Problem, ...]]:
    """Return which codes are one person's by all ledgers of some folders together.

    Of a ledger changed outside the program only the links count, and nothing that parts codes: the
    more careful of both, until somebody refuses a link. So does a merge, `careful_clients`.

    Args:
        folders: data folders; one without a ledger links nothing.

    Returns:
        The codes, with the lines they and notes of wrong clocks stand in, and the ledgers that
        could not be read or whose seal does not hold.
    """
    problems: list[Problem] = []
    read: list[tuple[Path, bytes]] = []
    paths: list[Path] = []
    for folder in folders:
        try:
            paths += _ledger_files(folder)
        except OSError as error:
            problems.append(
                Problem(
                    code="unreadable_io",
                    text=say(
                        "The ledgers cannot be read: {error}.", error=error.strerror or str(error)
                    ),
                    mend=say("Mend the folder's permissions or its disk: a link may stand there."),
                    path=str(folder / "ledger"),
                )
            )
    for path in paths:
        raw = read_regular(path)
        if isinstance(raw, Problem):
            problems.append(raw.at(path=str(path)))
        else:
            read.append((path, raw))
    telling = any(_LINKS in raw or _CLOCK_NOTES in raw for _, raw in read)
    ledgers: list[Ledger] = []
    for path, raw in read:
        if not telling and _is_whole_text(raw):
            continue
        ledger, found = read_ledger(raw)
        problems += [problem.at(path=str(path)) for problem in found]
        if ledger is not None:
            ledgers.append(ledger)
    sealed = gather(ledger.entries for ledger in ledgers if ledger.seal is Seal.WHOLE)
    changed = (ledger for ledger in ledgers if ledger.seal is not Seal.WHOLE)
    counting = [frozenset(_counting_links(ledger, sealed)) for ledger in changed]
    return Clients(gather([sealed.entries, *counting])), tuple(problems)


def _counting_links(changed: Ledger, sealed: LedgerLines) -> Iterator[Entry]:
    """Yield the links of a ledger changed outside that nobody refused.

    Args:
        changed: the ledger.
        sealed: what all sealed ledgers say together; no other may rule.
    """
    key = Key(FileKind.LEDGER, changed.laptop)
    for entry in changed.entries:
        if entry.array == _LINKS.decode():
            line = id_of_line(key, entry.by, entry)
            if sealed.is_taken(line) or not sealed.is_ruled(line):
                yield entry


def _ledger_files(folder: Path) -> list[Path]:
    """Return the ledgers of a folder, by name; none where there is no folder for them.

    Raises:
        OSError: it cannot be looked into.
    """
    try:
        with os.scandir(folder / "ledger") as entries:
            names = sorted(e.name for e in entries if e.name.casefold().endswith(".toml"))
    except (FileNotFoundError, NotADirectoryError):
        return []
    return [folder / "ledger" / name for name in names if not name.startswith(".")]


def _is_whole_text(raw: bytes) -> bool:
    """Whether the bytes can be text with a seal at all: else a link in them would not be seen."""
    return b"[seal]" in raw and b"\0" not in raw
