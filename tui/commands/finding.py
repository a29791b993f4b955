"""Finding what a command names: a session by its id or the start of it, an entry, session files."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import clean, visible
from fitcore.disk.session_files import (
    SESSION_FILE,
    SessionFile,
    find_session_files,
    read_regular,
    read_session_file,
)
from fitcore.identity import EntryId
from fitcore.problems import FileFault, Problem, ReadingError
from fitcore.words import say
from tui.commands import wrong_use

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from fitcore.record.entries import Entry
    from fitcore.record.session import Session

SHORTEST_PREFIX = 8
"""Characters: the time of a session to about a minute; what is shorter often names several."""


def find_session(data: Path, typed: str) -> str:
    """Return the id of the one session of a data folder that a text names.

    Args:
        data: the data folder; it need not exist.
        typed: a session id, or at least its first eight characters.

    Raises:
        ReadingError: none or several are called so.
    """
    name = clean(typed).text.casefold()
    if len(name) < SHORTEST_PREFIX:
        raise ReadingError(
            Problem(
                code="session_name_short",
                text=say("'{name}' is too short to name a session.", name=name),
                mend=say("Give its first {count} characters or more.", count=SHORTEST_PREFIX),
                key="session",
            )
        )
    found = sorted({p.stem for p in find_session_files(data) if p.stem.startswith(name)})
    if len(found) == 1:
        return found[0]
    if found:
        text = say("'{name}' names {count} sessions.", name=name, count=len(found))
        mend = say("Give more of it: {ids}.", ids=", ".join(found[:5]))
    else:
        text = say(
            "There is no session '{name}' in {folder}.", name=name[:60], folder=visible(str(data))
        )
        mend = say("Check the id, or name the folder with --data.")
    code = "session_ambiguous" if found else "session_unknown"
    raise ReadingError(Problem(code=code, text=text, mend=mend, key="session"))


def find_entry_session(data: Path, typed: str) -> tuple[str, Entry]:
    """Return the session that holds an entry, and the entry.

    Only files whose bytes hold the entry's name are parsed.

    Args:
        data: the data folder.
        typed: a name such as `tern-k7qd:92`.

    Raises:
        ReadingError: not the name of an entry, of none, or of two different ones.
    """
    name = str(EntryId.parse(clean(typed).text))
    found: list[tuple[str, Entry]] = []
    unreadable: list[Path] = []
    for path in find_session_files(data):
        raw = read_regular(path)
        if isinstance(raw, bytes) and name.encode() not in raw:
            continue
        session = read_session_file(path).session
        if session is None:
            unreadable.append(path)
        else:
            found += [(session.id, entry) for entry in entries_named(session, name)]
    if len(found) == 1:
        return found[0]
    if found:
        text = say("{count} different entries are called {name}.", count=len(found), name=name)
        mend = say("Run check on the folder: two laptops may write under one name.")
        raise ReadingError(Problem(code="twin", text=text, mend=mend, key=name))
    text = say("There is no entry {name} in {folder}.", name=name, folder=visible(str(data)))
    mend = say("Check the name, or name the folder with --data.")
    if unreadable:
        mend = say("It may be in {path}, which cannot be read.", path=visible(str(unreadable[0])))
    raise ReadingError(Problem(code="entry_unknown", text=text, mend=mend, key=name))


def entries_named(session: Session, name: str) -> list[Entry]:
    """Return a session's entries of one name: one, or two where they are twins."""
    return [entry for entry in session.entries if str(entry.by) == name]


def readable(file: SessionFile) -> Session:
    """Return the session of a file.

    Raises:
        FileFault: it cannot be used as it stands.
    """
    if file.session is None:
        raise FileFault(file.problems[0])
    return file.session


def require_paths(paths: Iterable[Path]) -> None:
    """Refuse a call that names a path which is not there.

    Raises:
        FitError: for the first such path.
    """
    for path in paths:
        if not path.exists() and not path.is_symlink():
            raise wrong_use(
                say("There is no file or folder {path}.", path=visible(str(path))),
                say("Check the name; nothing was read."),
                key="PATH",
            )


def session_files_of(path: Path) -> list[Path]:
    """Return the session files a path stands for.

    Args:
        path: a data folder, a folder with session files or data folders below it, or one file.

    Returns:
        Files in order of their names; copies in `set-aside` are never among them.
    """
    if not path.is_dir():
        return [path]
    if (path / "sessions").is_dir():
        return list(find_session_files(path))
    return [file for file in toml_files(path) if SESSION_FILE.fullmatch(file.name)]


def toml_files(folder: Path) -> list[Path]:
    """Return all TOML files below a folder; hidden ones and copies set aside are passed over."""
    found = []
    for path in sorted(folder.rglob("*.toml")):
        parts = path.relative_to(folder).parts
        if "set-aside" not in parts and not any(part.startswith(".") for part in parts):
            found.append(path)
    return found
