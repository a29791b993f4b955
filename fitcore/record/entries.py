"""Entries: the immutable lines a session or ledger is made of.

An entry is its raw line plus a parsed view. Two entries are equal when array and line are equal;
the view only helps to read. Writing an entry again emits the raw line, so what we do not
understand in it survives.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from functools import cached_property

import tomli_w

from fitcore.clean_text import is_unsafe
from fitcore.identity import EntryId
from fitcore.instants import fixed_offset
from fitcore.problems import Problem, ReadingError
from fitcore.units import plain

Scalar = str | bool | int | Decimal | datetime | date | time
Value = Scalar | Sequence[str]

SESSION_ARRAYS = ("answers", "readings", "remarks", "withdrawn", "decisions")
"""Arrays of a session file, in the order they are written."""
LEDGER_ARRAYS = (
    "notes", "voided", "links", "distincts", "clock_notes", "erasures", "outside", "withdrawn"
)  # fmt: skip
"""Arrays of a ledger, in the order they are written."""

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_PLAIN_CHARACTERS = re.compile(r"[^\x00-\x1f\x7f\\\"]*")


@dataclass(frozen=True)
class Entry:
    """One line somebody recorded, never changed afterwards."""

    array: str
    """Which array of the file it stands in: `answers`, `readings`, ..."""
    line: str
    """The inline table exactly as it stands in the file, without indentation or comma."""
    fields: Mapping[str, Value] = field(compare=False, repr=False)
    """The parsed view: what a TOML reader makes of the line, decimals as `Decimal`."""

    @cached_property
    def by(self) -> EntryId:
        """Who wrote it and its number there."""
        return EntryId.parse(str(self.fields.get("by", "")))

    @property
    def at(self) -> datetime | None:
        """When the writing laptop's clock says it was written; never used to order anything."""
        at = self.fields.get("at")
        return at if isinstance(at, datetime) and at.tzinfo is not None else None

    @property
    def replaces(self) -> tuple[str, ...]:
        """Names of the entries this one was written instead of."""
        return self.names("instead_of")

    @property
    def takes_back(self) -> tuple[str, ...]:
        """Names of the entries this one withdraws."""
        return self.names("takes_back")

    @property
    def erased(self) -> bool:
        """Whether its content was erased by law: only its name and what it replaced are left."""
        return self.fields.get("erased") is True

    def erase(self) -> Entry:
        """Return what is left once the content is erased; erasing that again changes nothing.

        Names of other entries stay, so that what it replaced or took back does not come back.
        """
        if self.erased:
            return self
        left: dict[str, Value] = {"by": str(self.by), "erased": True}
        for key, names in (("instead_of", self.replaces), ("takes_back", self.takes_back)):
            if names:
                left[key] = list(names)
        return Entry(self.array, render_line(left), left)

    def names(self, key: str) -> tuple[str, ...]:
        """Return a flat list of strings, empty where there is none."""
        value = self.fields.get(key)
        if value is None or isinstance(value, str) or not isinstance(value, Sequence):
            return ()
        return tuple(str(name) for name in value)

    def text(self, key: str) -> str:
        """Return a text field, empty where there is none."""
        value = self.fields.get(key)
        return value if isinstance(value, str) else ""


@dataclass(frozen=True)
class Draft:
    """What an entry will say, before its number is reserved."""

    array: str
    at: datetime
    """The instant, from the caller's clock."""
    fields: Mapping[str, Value | None]
    """In the order to write them; None leaves a key out."""

    def entry(self, by: EntryId) -> Entry:
        """Make the entry under a name that was reserved durably before."""
        kept: dict[str, Value] = {"by": str(by), "at": fixed_offset(self.at)}
        for key, value in self.fields.items():
            if isinstance(value, datetime):
                kept[key] = fixed_offset(value)
            elif value is not None:
                kept[key] = value
        return Entry(self.array, render_line(kept), kept)


def render_line(fields: Mapping[str, Value]) -> str:
    """Write fields as a one-line inline table, in their own order."""
    body = ", ".join(f"{render_key(key)} = {render_value(value)}" for key, value in fields.items())
    return f"{{ {body} }}"


def render_value(value: Value) -> str:
    """Write one value as TOML on one line, with every unsafe character escaped."""
    if isinstance(value, bool | int):
        return tomli_w.dumps({"v": value})[4:].strip()
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Decimal):
        text = plain(value)
        return text if "." in text else f"{text}.0"
    if isinstance(value, str):
        return _render_text(value)
    return "[" + ", ".join(render_value(item) for item in value) + "]"


def _render_text(text: str) -> str:
    if text.isascii() and _PLAIN_CHARACTERS.fullmatch(text):
        return f'"{text}"'
    written = tomli_w.dumps({"v": text}, multiline_strings=False)[4:].rstrip("\n")
    return "".join(_escape(c) if is_unsafe(c) else c for c in written)


def _escape(character: str) -> str:
    code = ord(character)
    return f"\\u{code:04X}" if code <= 0xFFFF else f"\\U{code:08X}"


def render_key(key: str) -> str:
    """Write a key, in quotes where it needs them."""
    return key if _BARE_KEY.fullmatch(key) else _render_text(key)


def entry_problem(entry: Entry) -> Problem | None:
    """Return why an entry cannot be used by us, or None.

    Only what every entry must have is judged here; a kind we do not know is fine and is carried.
    """
    try:
        _ = entry.by
    except ReadingError as error:
        return error.problem.at(key=f"{entry.array}.by")
    return None
