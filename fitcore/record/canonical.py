"""A fast reader for files that are whole and exactly as this program writes them.

It takes a file only where every line has the canonical shape and the seal verifies; at anything
else it answers None, and `document.read_document` reads the file instead. What it takes it reads
as that does: same raw lines, same values. `tests/property/test_canonical_reader.py` holds the two
against each other.
"""

from __future__ import annotations

import re
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from fitcore.problems import ReadingError
from fitcore.record.document import LARGEST_FILE, Document, clean_stored, read_document
from fitcore.record.entries import Entry
from fitcore.record.seal import digest_lines
from fitcore.record.session import FORMAT, Seal

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from fitcore.problems import Problem

# Each rule below is narrower than TOML's: whatever matches has one reading there. A number is
# short enough for `document` to take it, times have whole seconds, keys stand without quotes. All
# repetitions are possessive, so that no text is scanned twice. After a comma the next field or
# item must begin, so that a loop cannot end there.
_KEY = r"[A-Za-z0-9_-]++"
_ESCAPE = r"\\(?:[btnfr\"\\]|u[0-9A-Fa-f]{4}|U00(?:0[0-9A-Fa-f]|10)[0-9A-Fa-f]{4})"
_TEXT = rf"\"[^\"\\\x00-\x1f\x7f]*+(?:{_ESCAPE}[^\"\\\x00-\x1f\x7f]*+)*+\""
_DATE = r"[0-9]{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12][0-9]|3[01])"
_HOUR = r"(?:[01][0-9]|2[0-3]):[0-5][0-9]"
_BARE = (
    rf"true|false|{_DATE}(?:T{_HOUR}:[0-5][0-9](?:Z|[+-]{_HOUR}))?+"
    r"|-?(?:0|[1-9][0-9]{0,14}+)(?:\.[0-9]{1,30}+)?+"
)
_SCALAR = rf"(?:{_TEXT}|{_BARE})"
_LIST = rf"\[(?:{_SCALAR}(?:, (?=[\"0-9tf-])|(?=\])))*+\]"
_FIELD = rf"{_KEY} = (?:{_SCALAR}|{_LIST})"
_ROWS = re.compile(rf"(?:  \{{ (?:{_FIELD}(?:, (?=[A-Za-z0-9_-])|(?= \}},\n)))++ \}},\n)++")
_FRAME = re.compile(
    r"(?:#[^\x00-\x1f\x7f]*+\n)*+"
    r"(?P<head>(?:[^\n#\[][^\n]*+\n)++)"
    rf"(?P<arrays>(?:\n{_KEY} = \[\n(?:  \{{[^\n]*+\n)++\]\n)*+)"
    r"\n\[seal\]\nlines = (?P<lines>0|[1-9][0-9]{0,8})\nblake2b = \"(?P<digest>[0-9a-f]{32})\"\n"
)
# For rows that have passed `_ROWS`, where a quote opens and closes and nothing else needs telling.
_QUOTED = r"\"([^\"\\]*+(?:\\.[^\"\\]*+)*+)\""
_FIELDS = re.compile(rf"({_KEY}) = (?:{_QUOTED}|([^\"\[ ,]++)|(\[(?:[^\"\]]|{_QUOTED})*+\]))")
_ITEMS = re.compile(rf"{_QUOTED}|([^\"\[\] ,]++)")
_ESCAPES = re.compile(_ESCAPE)
_SHORT = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def read_file(raw: bytes) -> Document | Problem:
    """Read the bytes of a session or ledger file, the quick way where that is safe.

    Returns:
        The document with the state of its seal, or the problem for which the file is set aside.
        Where each line stands is left out of a document that was read the quick way.
    """
    return read_canonical(raw) or read_document(raw)


def read_canonical(raw: bytes) -> Document | None:
    """Read a whole, canonical file; None where it is anything else, whatever that may be."""
    try:
        sealed = open_sealed(raw)
        if sealed is None:
            return None
        head = read_head(sealed["head"])
        if head.get("format", ("", None))[1] != FORMAT:
            return None
        entries = _read_arrays(sealed["arrays"], head)
    except (ReadingError, ValueError):
        # No UTF-8, a day of no calendar, a key given twice, an entry without a name.
        return None
    if len(entries) != int(sealed["lines"]):
        return None
    return Document(head, tuple(entries), Seal.WHOLE, {})


def open_sealed(raw: bytes) -> re.Match[str] | None:
    """Return the parts of a file whose frame is canonical and whose seal verifies, else None.

    Returns:
        `head` and `arrays`, whose lines nobody has judged yet, and `lines`, how many entries the
        seal counts.

    Raises:
        ValueError: the bytes are no UTF-8.
    """
    if len(raw) > LARGEST_FILE:
        return None
    match = _FRAME.fullmatch(raw.decode())
    if match is None or digest_lines([_sealed(match)]) != match["digest"]:
        return None
    return match


def split_arrays(block: str, head: Collection[str]) -> Iterator[tuple[str, str]]:
    """Yield each array's name and its rows, each row ended by a line feed and not judged yet.

    Raises:
        ValueError: a name is taken already.
    """
    taken = {"seal", *head}
    for array in block.split("\n]\n")[:-1]:
        opening, _, rows = array.partition(" = [\n")
        name = opening[1:]
        if name in taken:
            raise ValueError(name)
        taken.add(name)
        yield name, f"{rows}\n"


def read_row(array: str, row: str) -> Entry:
    """Read one row of an array, which nobody has judged yet.

    Raises:
        ValueError: it is not canonical.
        ReadingError: it has no valid name.
    """
    _judge(f"{row}\n")
    entry = Entry(array, row[2:-1], _read_fields(row, simple=False))
    _ = entry.by  # raises where it has no valid name
    return entry


def _sealed(match: re.Match[str]) -> str:
    """Return the sealed lines: no text holds a line break, so blank lines are what they seem."""
    lines = (match["head"] + match["arrays"]).replace("\n\n", "\n").replace("\n  {", "\n{")
    return lines[:-1]


def read_head(block: str) -> dict[str, tuple[str, object]]:
    """Return key to (raw line, value) of the head lines.

    Raises:
        ValueError: a line is not canonical, or a key stands twice.
    """
    simple = _is_simple(block)
    head: dict[str, tuple[str, object]] = {}
    for line in block[:-1].split("\n"):
        _judge(f"  {{ {line} }},\n")
        ((key, value),) = _read_fields(line, simple=simple).items()
        if key == "seal" or key in head:
            raise ValueError(key)
        head[key] = (line, value)
    return head


def _read_arrays(block: str, head: Collection[str]) -> list[Entry]:
    simple = _is_simple(block)
    entries: list[Entry] = []
    for name, rows in split_arrays(block, head):
        _judge(rows)
        for row in rows[:-1].split("\n"):
            entry = Entry(name, row[2:-1], _read_fields(row, simple=simple))
            _ = entry.by  # raises where it has no valid name
            entries.append(entry)
    return entries


def _judge(rows: str) -> None:
    if _ROWS.fullmatch(rows) is None:
        raise ValueError(rows)


def _is_simple(block: str) -> bool:
    """Whether no text in it can need an escape undone or a character taken out."""
    return block.isascii() and "\\" not in block


def _read_fields(line: str, *, simple: bool) -> dict[str, Any]:
    found = _FIELDS.findall(line)
    fields: dict[str, Any] = {}
    for key, text, bare, items, _ in found:
        if bare:
            fields[key] = _bare(bare)
        elif items:
            fields[key] = [_bare(b) if b else _text(t) for t, b in _ITEMS.findall(items)]
        else:
            fields[key] = text if simple else _text(text)
    if len(fields) != len(found):
        raise ValueError(line)
    return fields


def _bare(written: str) -> bool | int | Decimal | datetime | date:
    if ":" in written:
        return datetime.fromisoformat(written)
    if "." in written:
        return Decimal(written)
    if written in ("true", "false"):
        return written == "true"
    return date.fromisoformat(written) if "-" in written[1:] else int(written)


def _text(written: str) -> str:
    text = _ESCAPES.sub(_unescape, written) if "\\" in written else written
    return clean_stored(text)


def _unescape(match: re.Match[str]) -> str:
    sign = match[0][1]
    if sign not in "uU":
        return _SHORT[sign]
    character = chr(int(match[0][2:], 16))
    character.encode()  # raises for half of a surrogate pair, which is no character
    return character
