"""A laptop's ledger: entries that belong to no session. And the laptop's own small file.

One ledger has one writer. Its notes tell of the laptop itself (named, restored from a copy); its
voided numbers were reserved but never used, so that a gap in the numbers always means loss.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace

import tomli_w

from fitcore.clean_text import clean
from fitcore.identity import LAPTOP_ID, SESSION_ID
from fitcore.problems import FileFault, Problem, ReadingError
from fitcore.record.canonical import read_file
from fitcore.record.codec import extra_head, judge_head, seal_problems
from fitcore.record.document import write_document
from fitcore.record.entries import LEDGER_ARRAYS, Entry
from fitcore.record.session import FORMAT, Seal, join_entries, join_heads, worse_seal
from fitcore.words import say

MANY_SESSIONS = "*"
"""Stands in `reserved_for` where unused numbers may belong to any session."""

_MOST_ENTRIES = 10**15 - 1
"""More than any laptop writes; a larger number is damage (ours)."""


@dataclass(frozen=True)
class Ledger:
    """What one laptop noted outside sessions."""

    laptop: str
    entries: frozenset[Entry] = frozenset()
    seal: Seal = Seal.WHOLE
    extra_head: frozenset[tuple[str, str]] = frozenset()
    """(key, raw line) of head lines this program does not know."""

    def with_entries(self, *entries: Entry) -> Ledger:
        """Return a ledger that holds these entries too."""
        return replace(self, entries=self.entries.union(entries))


def join_ledgers(one: Ledger, other: Ledger) -> Ledger:
    """Join two copies of one laptop's ledger, as sessions are joined.

    Raises:
        ReadingError: they are two laptops' ledgers.
    """
    if one.laptop != other.laptop:
        raise ReadingError(
            Problem(
                code="different_ledgers",
                text=say("{one} and {other} are two laptops.", one=one.laptop, other=other.laptop),
                mend=say("Only copies of the same ledger are joined."),
            )
        )
    return Ledger(
        one.laptop,
        join_entries(one.entries, other.entries),
        worse_seal(one.seal, other.seal),
        join_heads(one.extra_head, other.extra_head),
    )


def read_ledger(raw: bytes) -> tuple[Ledger | None, tuple[Problem, ...]]:
    """Read one ledger file; None where it must be set aside."""
    document = read_file(raw)
    if isinstance(document, Problem):
        return None, (document,)
    if problem := judge_head(document, "laptop"):
        return None, (problem,)
    laptop = str(document.head["laptop"][1])
    if not LAPTOP_ID.fullmatch(laptop):
        return None, (
            Problem(
                code="wrong_shape",
                text=say("'{name}' is not a laptop's id.", name=laptop[:40]),
                mend=say("Ask for the file again from the laptop that wrote it."),
                key="laptop",
            ),
        )
    ledger = Ledger(
        laptop, frozenset(document.entries), document.seal, extra_head(document, "laptop")
    )
    return ledger, seal_problems(document.seal)


def write_ledger(ledger: Ledger) -> str:
    """Write a ledger canonically."""
    comments = [say("Ledger of {laptop}: what belongs to no session", laptop=ledger.laptop)]
    head = [f"format = {FORMAT}", f'laptop = "{ledger.laptop}"']
    head += [line for _, line in sorted(ledger.extra_head)]
    return write_document(comments, head, ledger.entries, LEDGER_ARRAYS)


@dataclass(frozen=True)
class Laptop:
    """`laptop.toml`: who this laptop is and which entry number comes next."""

    id: str
    next: int = 1
    """The next free number; written durably before an entry uses the one before it."""
    zone: str = "UTC"
    measurer: str = ""
    """Staff code of whoever holds the tape now."""
    reserved_from: int = 1
    """First number of the newest reservation; it and later ones may lack their entry."""
    reserved_for: str = ""
    """The session the newest reservation is for; empty for the ledger."""

    @property
    def label(self) -> str:
        """What the team calls it."""
        return self.id.rpartition("-")[0]


def read_laptop(raw: bytes) -> Laptop:
    """Read `laptop.toml`.

    Raises:
        FileFault: it cannot be used; numbers must never be guessed.
    """
    try:
        values = tomllib.loads(raw.decode("utf-8-sig"))
        laptop = Laptop(
            id=str(values["id"]),
            next=_number(values["next"]),
            zone=str(values.get("zone", "UTC")),
            measurer=clean(str(values.get("measurer", ""))).text,
            reserved_from=_number(values.get("reserved_from", values["next"])),
            reserved_for=str(values.get("reserved_for", "")),
        )
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise _unusable(str(error)) from error
    known = laptop.reserved_for in ("", MANY_SESSIONS) or SESSION_ID.fullmatch(laptop.reserved_for)
    if not (known and LAPTOP_ID.fullmatch(laptop.id) and 1 <= laptop.reserved_from <= laptop.next):
        raise _unusable(say("id or numbers are not valid"))
    return laptop


def write_laptop(laptop: Laptop) -> str:
    """Write `laptop.toml`."""
    heading = say("This laptop's name and its next entry number. Written by the program.")
    return f"# {heading}\n" + tomli_w.dumps(
        {
            "id": laptop.id,
            "next": laptop.next,
            "zone": laptop.zone,
            "measurer": laptop.measurer,
            "reserved_from": laptop.reserved_from,
            "reserved_for": laptop.reserved_for,
        }
    )


def _number(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= _MOST_ENTRIES:
        raise ValueError(say("a number is not a whole number from 1"))
    return value


def _unusable(why: str) -> FileFault:
    return FileFault(
        Problem(
            code="laptop_file_unusable",
            text=say("laptop.toml cannot be used: {why}.", why=why),
            mend=say(
                "Move laptop.toml aside and start again: the laptop gets a new name, and every "
                "session stays."
            ),
            path="laptop.toml",
        )
    )
