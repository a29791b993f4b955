"""The file form sessions and ledgers share: head lines, arrays of one-line entries, a seal.

Bytes in, values out; text out. Reading never raises for what a file holds: it returns a document
or the problem that sets the file aside. The line form is read as lines, so an entry keeps its raw
text; a file somebody laid out anew is read through the TOML values and written in our form again.
"""

from __future__ import annotations

import codecs
import re
import tomllib
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from fitcore.clean_text import visible, without_unsafe
from fitcore.problems import Problem, ProblemLevel
from fitcore.record.entries import Entry, entry_problem, render_key, render_line
from fitcore.record.seal import digest_lines, seal_lines
from fitcore.record.session import FORMAT, Seal, array_order, entry_order
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

LARGEST_FILE = 1 << 20
"""Bytes; a session of a long day is under 20 kB. More is refused before it is read (ours)."""

_STRINGS_AND_COMMENTS = re.compile(r'"(?:[^"\\\n]++|\\.)*+"?|\'[^\'\n]*+\'?|#[^\n]*+')
"""A string that never ends is taken up to its line's end, so that no text is scanned twice."""
_LONG_STRING = re.compile(r"\"\"[\"']")
"""What three quotes leave once single-line strings are folded to two."""
_DOTTED_KEY = re.compile(r"(?<![\w-])(?:(?:[\w-]++|\"\")[ \t]*+\.[ \t]*+){2}")
_BAD_NUMBER = re.compile(
    r"[=\[,]\s*+[+-]?(?:nan|inf|0[xob][0-9a-fA-F_]{14,}|[0-9_]{16,}+|[0-9][0-9_.]*+[eE][+-]?[0-9]++)"
    r"(?![\w-])(?!\s*+=)"
)
"""A value that is not finite, has an exponent, or is too long for a length, time or counter."""
_BRACKET = re.compile(r"[\[\]{}]")
_DEEPEST = 3
_KEY = r"([A-Za-z0-9_-]+|\"(?:[^\"\\]|\\.)*\")"
_HEAD_LINE = re.compile(rf"{_KEY} *= *\S.*")
_ARRAY_OPEN = re.compile(rf"{_KEY} *= *\[")
_FORMAT_LINE = re.compile(r"format *= *([1-9][0-9]{0,8})")
_NEWER_FORMAT = re.compile(rb"^[ \t]*+format *+= *+(?!1[\s#])", re.MULTILINE)
"""Whether a closer look at the head is worth it: no file of ours is read line by line twice."""
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
        A newer program's file gives the problem that says so as soon as its head is read: what
        follows may have a form nobody can read yet.
    """
    if (found := _newer_format_of(raw)) is not None:
        return newer_format(found)
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


def newer_format(found: int) -> Problem:
    """Return the problem that a newer program wrote a file: it is carried as it is."""
    return Problem(
        code="newer_format",
        text=say(
            "Written by a newer program (format {found}; this one reads {known}).",
            found=found,
            known=FORMAT,
        ),
        mend=say("It is carried as it is. Update anklefirst on this laptop to read it."),
        key="format",
        level=ProblemLevel.NOTE,
    )


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
    lines = [*(f"# {visible(comment)}" for comment in comments), *data]
    for array in sorted(by_array, key=lambda name: array_order(name, arrays)):
        rows = [f"{entry.line}," for entry in sorted(by_array[array], key=entry_order)]
        opening = f"{render_key(array)} = ["
        data += [opening, *rows, "]"]
        lines += ["", opening, *(f"  {row}" for row in rows), "]"]
    lines += ["", *seal_lines(data, sum(map(len, by_array.values()))), ""]
    return "\n".join(lines)


def _decode(raw: bytes) -> str | Problem:
    if not raw.strip():
        return _unreadable("empty", say("The file is empty."))
    if len(raw) > LARGEST_FILE:
        size = say(
            "The file has {size} bytes; at most {most} are read.", size=len(raw), most=LARGEST_FILE
        )
        return _unreadable("too_big", size)
    if not raw.strip(b"\0"):
        return _unreadable("zeros", say("The file holds only zeros, as a power cut leaves it."))
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in raw[:2]:
        return _unreadable("utf16", say("The file was saved as UTF-16 by another program."))
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        return _unreadable("not_utf8", say("The file holds bytes that are not text."), line)


def _newer_format_of(raw: bytes) -> int | None:
    """Return the format of a newer program's file by its head alone; None of any other file.

    The head is the lines of one key and its whole value at the top; only their bytes are looked at.
    """
    raw = raw.removeprefix(codecs.BOM_UTF8)
    if len(raw) > LARGEST_FILE or not _NEWER_FORMAT.search(raw):
        return None
    for line in raw.split(b"\n"):
        try:
            text = line.decode().strip()
        except UnicodeDecodeError:
            return None
        if not text or text.startswith("#"):
            continue
        if match := _FORMAT_LINE.fullmatch(text):
            found = int(match[1])
            return found if found > FORMAT else None
        if not _HEAD_LINE.fullmatch(text) or _judge_form(text) is not None:
            return None
        try:
            tomllib.loads(text)
        except (tomllib.TOMLDecodeError, RecursionError, ValueError, OverflowError):
            return None
    return None


def _judge_form(text: str) -> Problem | None:
    """Refuse what would make a TOML reader slow or deep before it sees it."""
    bare = _STRINGS_AND_COMMENTS.sub('""', text)

    def refuse(code: str, at: int, words: str) -> Problem:
        return _unreadable(code, words, bare.count("\n", 0, at) + 1)

    if match := _LONG_STRING.search(bare):
        return refuse("wrong_shape", match.start(), say("Text over several lines."))
    depth = 0
    for bracket in _BRACKET.finditer(bare):
        depth += 1 if bracket[0] in "[{" else -1
        if depth > _DEEPEST:
            return refuse("too_deep", bracket.start(), say("Lists within lists within lists."))
    if match := _DOTTED_KEY.search(bare):
        return refuse("too_deep", match.start(), say("A key with more than one dot."))
    if match := _BAD_NUMBER.search(bare):
        return refuse("bad_number", match.start(), say("A number no session holds."))
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
            entries.append(Entry(name, line, _clean_fields(fields)))
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
            array = _read_key(match[1])
            scanned.rows[array] = []
        elif (
            array is None
            and not scanned.rows
            and (match := _HEAD_LINE.fullmatch(line))
            and (key := _read_key(match[1])) in values
            and _is_flat({key: values[key]})
        ):
            scanned.head[key] = (line, _clean_value(values[key]))
        else:
            return None
    return scanned


def _read_key(written: str) -> str:
    return next(iter(tomllib.loads(f"{written} = 0"))) if written.startswith('"') else written


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
                        "wrong_shape", say("'{name}' holds something nested.", name=name[:40])
                    )
                entries.append(Entry(name, render_line(fields), _clean_fields(fields)))
        elif isinstance(value, dict):
            return _unreadable("wrong_shape", say("'{name}' is not known here.", name=name[:40]))
        else:
            head[name] = (render_line({name: value})[2:-2], _clean_value(value))
    return Document(head, tuple(entries), Seal.BROKEN, {})


def _is_flat(fields: object) -> bool:
    scalars = (str, bool, int, Decimal, datetime, date, time)
    return isinstance(fields, dict) and all(
        isinstance(value, scalars)
        or (isinstance(value, list) and all(isinstance(item, scalars) for item in value))
        for value in fields.values()
    )


def _clean_fields(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Clean the parsed view of text from a file; the raw line stays as it is."""
    return {key: _clean_value(value) for key, value in fields.items()}


def _clean_value(value: Any) -> Any:  # noqa: ANN401 - any TOML value
    if isinstance(value, str):
        return clean_stored(value)
    if isinstance(value, list):
        return [_clean_value(item) for item in value]
    return value


def clean_stored(text: str) -> str:
    """Clean the parsed view of one text from a file."""
    return text if text.isascii() and text.isprintable() else without_unsafe(text)


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
