"""The file form sessions and ledgers share: head lines, arrays of one-line entries, a seal.

Bytes in, values out; text out. Reading never raises for what a file holds: it returns a document
or the problem that sets the file aside. The line form is read as lines, so an entry keeps its raw
text; a file somebody laid out anew is read through the TOML values and written in our form again.
"""

from __future__ import annotations

import re
import tomllib
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from fitcore.entries import Entry, entry_problem, render_line
from fitcore.problems import Problem
from fitcore.seal import digest_lines, seal_lines
from fitcore.session import Seal, array_order, entry_order
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

LARGEST_FILE = 1 << 20
"""Bytes; a session of a long day is under 20 kB. More is refused before it is read (ours)."""

_STRINGS_AND_COMMENTS = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*')
_DOTTED_KEY = re.compile(r"(?:[\w-]+\s*\.\s*){2,}[\w-]+\s*[=\]]")
_BRACKET = re.compile(r"[\[\]{}]")
_DEEPEST = 3
_HEAD_LINE = re.compile(r"([A-Za-z0-9_-]+) *= *\S.*")
_ARRAY_OPEN = re.compile(r"([A-Za-z0-9_-]+) *= *\[")
_ENTRY_LINE = re.compile(r"(\{.*\}),?")


@dataclass(frozen=True)
class Document:
    """One file as it was read."""

    head: Mapping[str, tuple[str, object]]
    """Key to (raw line, value) of the lines before the arrays."""
    entries: tuple[Entry, ...]
    seal: Seal
    lines: Mapping[str, int]
    """Raw line of each entry to its 1-based place in the file, where it is known."""


def read_document(raw: bytes) -> Document | Problem:
    """Read the bytes of a session or ledger file.

    Returns:
        The document with the state of its seal, or the problem for which the file is set aside.
    """
    text = _decode(raw)
    if isinstance(text, Problem):
        return text
    if problem := _judge_form(text):
        return problem
    try:
        values = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"line (\d+)", str(error))
        return _unreadable(
            "not_toml",
            say("The file breaks off or was changed: {error}.", error=str(error)),
            int(place[1]) if place else None,
        )
    except (RecursionError, ValueError, OverflowError):
        return _unreadable("bad_number", say("A value in the file cannot be read."))
    document = _from_lines(text, values) or _from_values(values)
    if isinstance(document, Problem):
        return document
    for entry in document.entries:
        if problem := entry_problem(entry):
            return problem.at(line=document.lines.get(entry.line))
    return document


def write_document(
    comments: Sequence[str],
    head: Iterable[str],
    entries: Iterable[Entry],
    arrays: tuple[str, ...],
) -> str:
    """Write a file canonically: the same entries always give the same bytes.

    Args:
        comments: lines for people, without the sign; they are not sealed.
        head: raw head lines in order.
        entries: in any order.
        arrays: the known arrays in their order; others follow by name.
    """
    by_array: defaultdict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        by_array[entry.array].append(entry)
    data = list(head)
    lines = [*(f"# {comment}" for comment in comments), *data]
    for array in sorted(by_array, key=lambda name: array_order(name, arrays)):
        rows = [f"{entry.line}," for entry in sorted(by_array[array], key=entry_order)]
        data += [f"{array} = [", *rows, "]"]
        lines += ["", f"{array} = [", *(f"  {row}" for row in rows), "]"]
    lines += ["", *seal_lines(data, sum(map(len, by_array.values()))), ""]
    return "\n".join(lines)


def _decode(raw: bytes) -> str | Problem:
    if not raw.strip():
        return _unreadable("empty", say("The file is empty."))
    if len(raw) > LARGEST_FILE:
        return _unreadable(
            "too_big",
            say(
                "The file has {size} bytes; at most {most} are read.",
                size=len(raw),
                most=LARGEST_FILE,
            ),
        )
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return _unreadable("utf16", say("The file was saved as UTF-16 by another program."))
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        return _unreadable("not_utf8", say("The file holds bytes that are not text."), line)


def _judge_form(text: str) -> Problem | None:
    """Refuse what would make a TOML reader slow or deep before it sees it."""
    if '"""' in text or "'''" in text:
        return _unreadable("wrong_shape", say("The file holds text over several lines."))
    bare = _STRINGS_AND_COMMENTS.sub('""', text)
    depth = 0
    for bracket in _BRACKET.finditer(bare):
        depth += 1 if bracket[0] in "[{" else -1
        if depth > _DEEPEST:
            line = bare.count("\n", 0, bracket.start()) + 1
            return _unreadable("too_deep", say("Lists within lists within lists."), line)
    for number, line_text in enumerate(bare.split("\n"), 1):
        if line_text.count(".") > 1 and _DOTTED_KEY.search(line_text[:4_000]):
            return _unreadable("too_deep", say("A key with more than one dot."), number)
        if len(line_text) > 20_000:
            return _unreadable("wrong_shape", say("A line longer than any of ours."), number)
    return None


def _from_lines(text: str, values: Mapping[str, Any]) -> Document | None:
    """Read our own line form; None where the file is laid out otherwise."""
    scanned = _scan_lines(text, values)
    if scanned is None or set(values) - {*scanned.head, *scanned.rows, "seal"}:
        return None
    entries: list[Entry] = []
    lines: dict[str, int] = {}
    for name, found in scanned.rows.items():
        tables = values.get(name)
        if not isinstance(tables, list) or len(tables) != len(found):
            return None
        for (line, number), fields in zip(found, tables, strict=True):
            if not _is_flat(fields):
                return None
            entries.append(Entry(name, line, fields))
            lines[line] = number
    seal = _judge_seal(values.get("seal"), scanned.data, entries)
    return Document(scanned.head, tuple(entries), seal, lines)


@dataclass(frozen=True)
class _Scanned:
    head: dict[str, tuple[str, object]]
    rows: dict[str, list[tuple[str, int]]]
    """Array to (raw entry, 1-based line)."""
    data: list[str]
    """All sealed lines, stripped."""


def _scan_lines(text: str, values: Mapping[str, Any]) -> _Scanned | None:
    scanned = _Scanned({}, {}, [])
    array: str | None = None
    for number, raw_line in enumerate(text.split("\n"), 1):
        line = raw_line.strip()
        if not line or line.startswith("#"):
            continue
        if line == "[seal]":
            break
        scanned.data.append(line)
        if array is not None and line == "]":
            array = None
        elif array is not None and (match := _ENTRY_LINE.fullmatch(line)):
            scanned.rows[array].append((match[1], number))
        elif array is None and (match := _ARRAY_OPEN.fullmatch(line)):
            array = match[1]
            scanned.rows[array] = []
        elif (
            array is None
            and not scanned.rows
            and (match := _HEAD_LINE.fullmatch(line))
            and match[1] in values
        ):
            scanned.head[match[1]] = (line, values[match[1]])
        else:
            return None
    return scanned


def _from_values(values: Mapping[str, Any]) -> Document | Problem:
    """Read a file laid out by another program; its seal cannot hold any more."""
    head: dict[str, tuple[str, object]] = {}
    entries: list[Entry] = []
    for name, value in values.items():
        if name == "seal":
            continue
        if isinstance(value, list) and all(isinstance(item, dict) for item in value):
            for fields in value:
                if not _is_flat(fields):
                    return _unreadable(
                        "wrong_shape", say("'{name}' holds something nested.", name=name)
                    )
                entries.append(Entry(name, render_line(fields), fields))
        elif isinstance(value, dict):
            return _unreadable("wrong_shape", say("'{name}' is not known here.", name=name))
        else:
            head[name] = (render_line({name: value})[2:-2], value)
    return Document(head, tuple(entries), Seal.BROKEN, {})


def _is_flat(fields: object) -> bool:
    scalars = (str, bool, int, Decimal, datetime, date, time)
    return isinstance(fields, dict) and all(
        isinstance(value, scalars)
        or (isinstance(value, list) and all(isinstance(item, scalars) for item in value))
        for value in fields.values()
    )


def _judge_seal(seal: object, data: Sequence[str], entries: Sequence[Entry]) -> Seal:
    if seal is None:
        return Seal.MISSING
    whole = {"lines": len(entries), "blake2b": digest_lines(data)}
    return Seal.WHOLE if seal == whole else Seal.BROKEN


def _unreadable(code: str, text: str, line: int | None = None) -> Problem:
    return Problem(
        code=code,
        text=text,
        mend=say("The file is left untouched. Ask for it again from the laptop that wrote it."),
        line=line,
    )
