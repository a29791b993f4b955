"""What `check` says about the entries of one session, and about entries that share a name. Pure."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from datetime import datetime
from typing import TYPE_CHECKING

from fitcore.clean_text import is_unsafe
from fitcore.identity import judge_client_code
from fitcore.problems import Problem, ProblemLevel, ReadingError
from fitcore.record.fields import FIELDS, UNKNOWN, Field
from fitcore.record.reading import read_reading
from fitcore.record.session import Session, entry_order
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from fitcore.record.entries import Entry, Value


def entry_problems(session: Session, lines: Mapping[str, int]) -> list[Problem]:
    """Return what is wrong with a session's entries.

    Args:
        session: the session as it was read.
        lines: raw entry to its line in the file, where it is known.

    Returns:
        Readings that cannot be used, answers that are none, references to entries that are not
        there, and text that may not be shown as it is. What was struck out is left alone.
    """
    names = {str(entry.by) for entry in session.entries}
    found: list[Problem] = []
    for entry in sorted(session.entries, key=entry_order):
        line = lines.get(entry.line)
        judged = [*_dangling(entry, names), *_unsafe_text(entry)]
        if not session.heads.is_withdrawn(entry):
            judged += _bad_reading(entry) if entry.array == "readings" else _bad_answer(entry)
        found += [problem.at(line=line) for problem in judged]
    return found


class KnownEntries:
    """Entries met so far in a run, to find two contents under one name.

    A name holds one content for ever; two mean that a laptop was copied and both went on writing.
    """

    def __init__(self) -> None:
        self._met: defaultdict[str, dict[int, tuple[int, Path, int | None]]] = defaultdict(dict)

    def twins(
        self, entries: Iterable[Entry], path: Path, lines: Mapping[str, int]
    ) -> list[Problem]:
        """Remember a file's entries and return those met before with another content."""
        found = []
        for entry in sorted(entries, key=entry_order):
            line = lines.get(entry.line)
            content = hash((entry.array, entry.line))
            met = self._met[entry.by.laptop].setdefault(entry.by.number, (content, path, line))
            if met[0] == content:
                continue
            place = ":".join(str(part) for part in met[1:] if part is not None)
            found.append(
                Problem(
                    code="twin",
                    text=say(
                        "{name} stands here and in {place} with two contents.",
                        name=entry.by,
                        place=place,
                    ),
                    mend=say("Both are kept. Look whether a laptop's folder was copied."),
                    key=f"{entry.array}.{entry.by}",
                    line=line,
                )
            )
        return found


def _bad_reading(entry: Entry) -> Iterator[Problem]:
    try:
        read_reading(entry)
    except ReadingError as error:
        yield error.problem


def _bad_answer(entry: Entry) -> Iterator[Problem]:
    field = FIELDS.get(entry.text("what"))
    if entry.array not in ("answers", "decisions") or field is None:
        return
    value = entry.fields.get("is")
    key = f"{entry.array}.{entry.by}"
    if value is None or not _is_an_answer(field, value):
        allowed = ", ".join(field.choices) or say("a value of its kind")
        yield Problem(
            code="bad_answer",
            text=say("{what}: the answer here is none of its answers.", what=field.what),
            mend=say("Answer it again with set: {allowed}.", allowed=allowed),
            key=key,
            level=ProblemLevel.WARNING,
        )
    elif field.kind == "code" and (problem := judge_client_code(str(value))) is not None:
        yield problem.at(key=key)


def _is_an_answer(field: Field, value: Value) -> bool:
    if field.kind == "choice":
        return value in field.choices
    if field.kind == "choices":
        return isinstance(value, list) and all(item in field.choices for item in value)
    if field.kind == "instant":
        return value == UNKNOWN or (isinstance(value, datetime) and value.tzinfo is not None)
    if field.kind == "yes_no":
        return isinstance(value, bool)
    return field.what == "paused" or isinstance(value, str)


def _dangling(entry: Entry, names: set[str]) -> Iterator[Problem]:
    for key, wanted in (("instead_of", entry.replaces), ("takes_back", entry.takes_back)):
        for name in wanted:
            if name not in names:
                yield Problem(
                    code="dangling",
                    text=say("{key} names {name}, which is not in this file.", key=key, name=name),
                    mend=say("Fetch the copy of this session from the laptop that wrote it."),
                    key=f"{entry.array}.{entry.by}",
                    level=ProblemLevel.NOTE,
                )


def _unsafe_text(entry: Entry) -> Iterator[Problem]:
    if entry.line.isascii() and "\\" not in entry.line:
        return
    # The fields are cleaned as a file is read, so the line itself is looked at.
    for key, value in tomllib.loads(f"entry = {entry.line}")["entry"].items():
        texts = [value] if isinstance(value, str) else value if isinstance(value, list) else []
        unsafe = {c for text in texts for c in str(text) if c != "\n" and is_unsafe(c)}
        if unsafe:
            names = ", ".join(f"U+{ord(c):04X}" for c in sorted(unsafe))
            yield Problem(
                code="unsafe_text",
                text=say(
                    "{key} holds {names}, which is never shown as it is.", key=key, names=names
                ),
                mend=say("Nothing is lost; ask where the text came from."),
                key=f"{entry.array}.{entry.by}",
                level=ProblemLevel.WARNING,
            )
