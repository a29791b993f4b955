"""Copies set aside: bytes nobody can use as they stand, kept unchanged with a note that says why.

`set-aside/<digest>.copy` holds the bytes, `<digest>.toml` the note. The source is never moved or
deleted. Copies are looked at again at every merge: a newer program may read them.
"""

from __future__ import annotations

import os
import re
import tomllib
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import tomli_w

from fitcore.clean_text import visible
from fitcore.disk.archive_scan import SET_ASIDE
from fitcore.disk.atomic import make_folder, read_bytes, remove, write_durably
from fitcore.disk.session_files import has_month, read_regular
from fitcore.disk.spotted import read_spotted, spotted_copy
from fitcore.identity import LAPTOP_ID
from fitcore.merge.found import FileKind, Found
from fitcore.problems import Problem
from fitcore.record.codec import read_session, seal_problems
from fitcore.record.ledger import read_ledger
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

COPY = re.compile(r"([0-9a-f]{32})\.copy")
"""Name of a copy: the digest of its bytes."""

_FILE = re.compile(r"([0-9a-f]{32})\.(?:copy|toml)")


@dataclass(frozen=True, slots=True)
class Kept:
    """One copy set aside, or the note of a file that could not be copied."""

    found: Found
    raw: bytes | None
    """None where it was not copied: a link, a device, too big, or something was erased."""
    found_in: tuple[str, ...]
    """Where it was found, as told to people, sorted."""


@dataclass(frozen=True, slots=True)
class _Note:
    copies_of: frozenset[tuple[str, str]]
    """Kind and name it was found under: equal bytes may be found under several."""
    found_in: frozenset[str]
    reason: Problem
    is_erased: bool = False
    """Whether no copy is kept because something in its session was erased."""

    @property
    def told(self) -> Problem:
        """Why it lies here, with the mend there is."""
        if not self.is_erased:
            return self.reason
        mend = say("Something in its session was erased: no copy is kept. Look where it was found.")
        return replace(self.reason, mend=mend)


def read_kept(folder: Path) -> Iterator[Kept]:
    """Yield what a data folder has set aside, by digest, once for each name it was found under."""
    place = folder / SET_ASIDE
    if not place.is_dir() or place.is_symlink():
        return
    digests = {match[1] for path in place.iterdir() if (match := _FILE.fullmatch(path.name))}
    for digest in sorted(digests):
        note, copy = _read_note(place, digest), place / f"{digest}.copy"
        found_in = tuple(sorted(note.found_in))
        told = found_in[0] if found_in else f"{SET_ASIDE}/{copy.name}"
        for kind, name in sorted(note.copies_of):
            unread = not name or not os.path.lexists(copy)
            spotted = spotted_copy(FileKind(kind), name, copy, told)
            if unread:
                spotted = spotted._replace(problem=note.told)
            found, raw = read_spotted(spotted)
            if spotted.problem is not None:
                found = replace(found, digest=digest)
                raw = _bytes(copy) if os.path.lexists(copy) else None
            yield Kept(found, raw, found_in)


def keep(
    folder: Path,
    found: Iterable[Found],
    raw: bytes | None,
    found_in: Iterable[str],
    *,
    is_copied: bool = True,
) -> list[Path]:
    """Set bytes aside durably, the copy first, then the note; what was noted before stays.

    Args:
        folder: the archive.
        found: the file under each name it was found under; all of one digest.
        raw: its bytes; None where there are none to copy.
        found_in: where it was found, as told to people.
        is_copied: whether its bytes may be kept; if not, something in its session was erased: only
            the note is written, and a copy kept earlier is removed.

    Returns:
        The files that stand for it now.

    Raises:
        FileFault: it could not be written.
    """
    files = list(found)
    place, digest = folder / SET_ASIDE, files[0].digest
    before = _read_note(place, digest) if (place / f"{digest}.toml").exists() else None
    copies_of = {(file.kind.value, file.name) for file in files}
    copies_of |= before.copies_of if before else set()
    # A copy whose note a crash prevented has no name; any name says more than none.
    copies_of = {told for told in copies_of if told[1]} or copies_of
    was_erased = before is not None and before.is_erased
    if raw is not None:
        reason = _reason(raw, copies_of)
    else:
        reason = before.reason if before is not None and was_erased else _problem(files[0])
    note = _Note(
        frozenset(copies_of),
        frozenset({*map(visible, found_in), *(before.found_in if before else ())}),
        reason,
        is_erased=was_erased if raw is None else not is_copied,
    )
    copy = place / f"{digest}.copy"
    contents = {copy: raw} if raw is not None and is_copied else {}
    has_copy = bool(contents)
    contents[place / f"{digest}.toml"] = _write_note(note, is_copied=has_copy)
    for path, content in contents.items():
        if read_bytes(path) != content:
            make_folder(place)
            write_durably(path, content)
    if not is_copied:
        remove(copy)
    return list(contents)


def let_go(folder: Path, digest: str) -> None:
    """Remove a copy and its note: they stand under another digest without what was erased.

    Raises:
        FileFault: one could not be removed.
    """
    for ending in ("copy", "toml"):
        remove(folder / SET_ASIDE / f"{digest}.{ending}")


def _problem(found: Found) -> Problem:
    if isinstance(found.content, Problem):
        return found.content
    return seal_problems(found.content.seal)[0]


def _reason(raw: bytes, copies_of: Iterable[tuple[str, str]]) -> Problem:
    """Say what is wrong with bytes, whatever they were called: no order of sticks matters."""
    is_ledger = all(kind == FileKind.LEDGER for kind, _ in copies_of)
    _, problems = read_ledger(raw) if is_ledger else read_session(raw)
    return next(
        iter(problems),
        Problem(
            code="name_mismatch",
            text=say("The file's name is not the one of what it holds."),
            mend=say("If it is a copy, give it back the name it had, and merge again."),
        ),
    )


def _write_note(note: _Note, *, is_copied: bool) -> bytes:
    heading = (
        say("Set aside, not read as a session. The bytes beside this note are as they were found.")
        if is_copied
        else say("Set aside and not copied: the file is only where it was found.")
    )
    if note.is_erased:
        heading = say(
            "Set aside and not copied, because something in its session was erased by law: the "
            "file is only where it was found."
        )
    reason = note.reason
    values: dict[str, object] = {
        "reason": reason.code,
        "text": reason.text,
        "mend": reason.mend,
    }
    if reason.line is not None:
        values["line"] = reason.line
    if note.is_erased:
        values["erased"] = True
    values["copies_of"] = sorted(f"{kind}/{name}" for kind, name in note.copies_of)
    values["found_in"] = sorted(note.found_in)
    return f"# {heading}\n{tomli_w.dumps(values)}".encode()


def _read_note(place: Path, digest: str) -> _Note:
    """Read a note; where only the note is lost, the copy still says what it is."""
    raw = read_regular(place / f"{digest}.toml")
    values: dict[str, object] = {}
    if isinstance(raw, bytes):
        with suppress(ValueError, RecursionError):
            values = tomllib.loads(raw.decode())
    copies_of = [text.partition("/") for text in _texts(values.get("copies_of"))]
    known = {(kind, name) for kind, _, name in copies_of if _is_name(kind, name)}
    line = values.get("line")
    reason = Problem(
        code=str(values.get("reason", "unreadable_io")),
        text=str(values.get("text", "")) or say("The note beside the copy cannot be read."),
        mend=str(values.get("mend", "")) or say("Look for the file where it came from."),
        line=line if isinstance(line, int) else None,
    )
    return _Note(
        frozenset(known or {_own_name(place / f"{digest}.copy")}),
        frozenset(_texts(values.get("found_in"))),
        reason,
        is_erased=values.get("erased") is True,
    )


def _own_name(copy: Path) -> tuple[str, str]:
    raw = _bytes(copy)
    session, ledger = read_session(raw)[0], read_ledger(raw)[0]
    if ledger is not None:
        return FileKind.LEDGER.value, ledger.laptop
    name = session.id if session is not None else ""
    return FileKind.SESSION.value, name if has_month(name) else ""


def _bytes(path: Path) -> bytes:
    raw = read_regular(path)
    return raw if isinstance(raw, bytes) else b""


def _is_name(kind: str, name: str) -> bool:
    if kind == FileKind.SESSION.value:
        return not name or has_month(name)
    return kind == FileKind.LEDGER.value and (not name or bool(LAPTOP_ID.fullmatch(name)))


def _texts(value: object) -> list[str]:
    return [str(item) for item in value] if isinstance(value, list) else []
