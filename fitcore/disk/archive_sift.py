"""Telling the sessions that surely stay as they are from those that must be read.

A session stays where the archive's file is the one the last merge noted, and every copy on a stick
holds the same bytes. Such a session is counted by what was noted and not parsed; on most days that
is nearly all of an archive, so a month is gone through at once.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitcore.disk.archive_index import DIGEST_SIGNS
from fitcore.disk.session_files import read_regular
from fitcore.merge.found import digest_bytes

if TYPE_CHECKING:
    from collections.abc import Container, Mapping

    from fitcore.disk.archive_seen import Shelf


@dataclass(frozen=True)
class Sifted:
    """The sessions of one month, told apart."""

    quiet: dict[str, str] = field(default_factory=dict)
    """Those that stay, with what was noted of each, by id."""
    again: dict[str, str] = field(default_factory=dict)
    """Stamps of the quiet ones that were not known by their stamp, by id: their bytes were read,
    and they may be noted anew."""
    left: list[str] = field(default_factory=list)
    """Ids of those that must be read, sorted."""
    gone: list[str] = field(default_factory=list)
    """Ids of those that were noted and do not lie in the archive any more."""


def sift(shelf: Shelf, noted: Mapping[str, str], erased: Container[str] = ()) -> Sifted:
    """Tell the sessions of a month apart; reads what lies on sticks.

    Args:
        shelf: where their copies lie.
        noted: what the last merge noted of the archive's files, by id.
        erased: ids of sessions something is erased in; they are always read.
    """
    sifted = Sifted()
    apart = {key.name for key in shelf.apart}
    on_sticks = shelf.on_sticks
    for name, stamp in shelf.stamps.items():
        line = noted.get(name)
        if line is None or name in apart or name in erased:
            sifted.left.append(name)
            continue
        months = on_sticks.get(name, ())
        is_known = line.startswith(f"{stamp} ", DIGEST_SIGNS + 1)
        if not is_known and shelf.own is not None:
            months = (*months, shelf.own)
        digest = line[:DIGEST_SIGNS]
        for month in months:
            if _digest(f"{month.folder}{name}.toml") != digest:
                sifted.left.append(name)
                break
        else:
            sifted.quiet[name] = line
            if not is_known:
                sifted.again[name] = stamp
    sifted.left.extend(name for name in {*on_sticks, *apart} if name not in shelf.stamps)
    sifted.left.sort()
    sifted.gone.extend(name for name in noted if name not in shelf.stamps)
    return sifted


def _digest(place: str) -> str:
    raw = read_regular(place)
    return digest_bytes(raw) if isinstance(raw, bytes) else ""
