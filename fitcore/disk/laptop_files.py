"""How far laptops have numbered, by the `laptop.toml` that lies beside their sessions on a stick.

A session that was never copied leaves no gap where it was a laptop's last: only this file tells of
it. It is derived anew from the sticks of each merge; an archive remembers nothing of it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitcore.disk.archive_scan import LEDGERS, folders_of_stick
from fitcore.disk.data_folder import LAPTOP_FILE
from fitcore.disk.session_files import read_regular, session_path
from fitcore.merge.gaps import Gap, find_ends
from fitcore.problems import FileFault
from fitcore.record.ledger import MANY_SESSIONS, Laptop, read_laptop

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from fitcore.disk.archive_parts import Merging
    from fitcore.merge.gaps import Numbers


@dataclass(frozen=True, slots=True)
class LaptopEnd:
    """How far one laptop had numbered when its folder was looked at."""

    laptop: Laptop
    folder: Path


def read_ends(sticks: Iterable[Path]) -> tuple[LaptopEnd, ...]:
    """Return how far the laptops had numbered whose own folders lie on some sticks.

    A file that cannot be used tells nothing; its laptop is told of when it starts.

    Args:
        sticks: to be called before any session is read: numbers are given before they are used,
            so whoever measures on meanwhile is never said to have lost anything.
    """
    found = []
    for folder in (one for stick in dict.fromkeys(sticks) for one in folders_of_stick(stick)):
        raw = read_regular(folder / LAPTOP_FILE)
        if isinstance(raw, bytes):
            try:
                found.append(LaptopEnd(read_laptop(raw), folder))
            except FileFault:
                continue
    return tuple(found)


def with_ends(merging: Merging, ends: Iterable[LaptopEnd]) -> Merging:
    """Return what a merge came to, with what is missing after a laptop's last entry here."""
    gaps = sorted([*merging.report.gaps, *missing_ends(merging.numbers, ends)])
    return replace(merging, report=replace(merging.report, gaps=tuple(gaps)))


def missing_ends(numbers: Numbers, ends: Iterable[LaptopEnd]) -> tuple[Gap, ...]:
    """Return what laptops have numbered after their last entry known here, sorted.

    The newest reservation may lack its entries: a crash left them, or they are being written now.
    Alone it counts only where the file it was for is not there either.

    Args:
        numbers: those of all files together.
        ends: how far the laptops say they are.
    """
    given: dict[str, int] = {}
    for end in ends:
        laptop = end.laptop
        surely = {laptop.id: laptop.reserved_from - 1}
        if find_ends(numbers, surely) or not _may_lack(end):
            surely = {laptop.id: laptop.next - 1}
        given[laptop.id] = max(surely[laptop.id], given.get(laptop.id, 0))
    return find_ends(numbers, given)


def _may_lack(end: LaptopEnd) -> bool:
    laptop = end.laptop
    if laptop.reserved_for == MANY_SESSIONS:
        return True
    if not laptop.reserved_for:
        return os.path.lexists(end.folder / LEDGERS / f"{laptop.id}.toml")
    try:
        return os.path.lexists(session_path(end.folder, laptop.reserved_for))
    except FileFault:
        return True
