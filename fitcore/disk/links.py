"""Which codes are one person's, read from the ledgers of data folders. Reads only; takes no lock.

Without any link nothing is parsed. A ledger that cannot be read is told: a link may stand there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.disk.session_files import read_regular
from fitcore.merge.clients import Clients
from fitcore.merge.ledger_lines import gather
from fitcore.problems import Problem
from fitcore.record.ledger import read_ledger
from fitcore.record.session import Seal

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

_LINKS = b"links"
"""Stands in every ledger that links codes: the name of the array."""


def read_links(folders: Iterable[Path]) -> tuple[Clients, tuple[Problem, ...]]:
    """Return which codes are one person's by all ledgers of some folders together.

    Of a ledger changed outside the program only the links count, and nothing that parts codes: the
    more careful of both.

    Args:
        folders: data folders; one without a ledger links nothing.

    Returns:
        The codes, and the ledgers that could not be read or whose seal does not hold.
    """
    problems: list[Problem] = []
    read: list[tuple[Path, bytes]] = []
    for path in (path for folder in folders for path in _ledger_files(folder)):
        raw = read_regular(path)
        if isinstance(raw, Problem):
            problems.append(raw.at(path=str(path)))
        else:
            read.append((path, raw))
    linking = any(_LINKS in raw for _, raw in read)
    ledgers = []
    for path, raw in read:
        if not linking and _is_whole_text(raw):
            continue
        ledger, found = read_ledger(raw)
        problems += [problem.at(path=str(path)) for problem in found]
        if ledger is not None:
            trusted = ledger.seal is Seal.WHOLE
            ledgers.append(
                frozenset(e for e in ledger.entries if trusted or e.array == _LINKS.decode())
            )
    return Clients(gather(ledgers)), tuple(problems)


def _ledger_files(folder: Path) -> list[Path]:
    return sorted((folder / "ledger").glob("*.toml"))


def _is_whole_text(raw: bytes) -> bool:
    """Whether the bytes can be text with a seal at all: else a link in them would not be seen."""
    return b"[seal]" in raw and b"\0" not in raw
