"""Reading every session under the paths of a command; two copies of one are joined."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.disk.session_files import find_session_files, read_regular, read_session_file
from fitcore.merge.clients import by_code, codes_in, linked_sessions, other_codes
from fitcore.record.entries import render_value
from fitcore.record.last_time import sessions_before
from fitcore.record.session import Session, join
from tui.commands.finding import session_files_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fitcore.merge.clients import Clients
    from fitcore.problems import Problem


@dataclass(frozen=True, slots=True)
class ReadSessions:
    """The sessions under some paths."""

    sessions: dict[str, Session]
    """By id."""
    owners: dict[str, Path]
    """Session id to the data folder whose own profiles hold for it."""
    problems: list[Problem]
    """What could not be read."""


def read_all(paths: Sequence[Path], data: Path) -> ReadSessions:
    """Read every session under the paths.

    Args:
        paths: data folders, folders of such, or loose session files.
        data: the data folder in use; it owns loose files.
    """
    found = ReadSessions({}, {}, [])
    for path in paths:
        for file in map(read_session_file, session_files_of(path)):
            found.problems.extend(file.problems)
            if file.session is None:
                continue
            known = found.sessions.get(file.session.id)
            found.sessions[file.session.id] = join(known, file.session) if known else file.session
            found.owners.setdefault(file.session.id, _owner(file.path, data))
    return found


def read_before(owner: Path, session: Session) -> tuple[tuple[Session, ...], list[Problem]]:
    """Return the client's measured sessions before this one, newest first: what to compare with.

    Only files whose bytes hold the client's code are parsed. One that cannot be used is passed
    over, and told: what was to be compared with may have stood there.
    """
    client = session.text("client")
    if not client:
        return (), []
    found: list[Session] = []
    problems: list[Problem] = []
    written = render_value(client).encode()
    for path in find_session_files(owner):
        raw = read_regular(path) if path.stem < session.id else b""
        if isinstance(raw, bytes) and written not in raw:
            continue
        file = read_session_file(path)
        if file.session is None:
            problems += file.problems
        else:
            found.append(file.session)
    return sessions_before(session, client, found), problems


def read_linked(
    owner: Path, session: Session, clients: Clients
) -> tuple[tuple[Session, ...], list[Problem]]:
    """Return the person's other sessions, by id, to be judged together with one.

    Only files whose bytes hold one of the person's codes are parsed. One that cannot be used is
    told: a stop may stand there.
    """
    own = codes_in(session)
    codes = {*own, *other_codes(own, clients)}
    written = [render_value(code).encode() for code in sorted(codes)]
    found: list[Session] = []
    problems: list[Problem] = []
    for path in find_session_files(owner) if written else ():
        raw = b"" if path.stem == session.id else read_regular(path)
        if isinstance(raw, bytes) and not any(code in raw for code in written):
            continue
        file = read_session_file(path)
        problems += file.problems if file.session is None else ()
        found += [file.session] if file.session is not None else []
    return linked_sessions(session, clients, by_code(found)), problems


def read_beside(read: ReadSessions, links: Clients) -> tuple[list[Session], list[Problem]]:
    """Return what the data folders hold of the clients read, beside what was read.

    A session alone is judged as in its folder: what it is to be compared with stands there, and
    what was found in the person's other sessions.
    """
    found: list[Session] = []
    problems: list[Problem] = []
    for owner in dict.fromkeys(read.owners.values()):
        clients = {
            code
            for id_, o in read.owners.items()
            if o == owner
            for code in codes_in(read.sessions[id_])
        }
        clients |= other_codes(
            {code for s in read.sessions.values() for code in codes_in(s)}, links
        )
        written = [render_value(client).encode() for client in sorted(clients)]
        for path in find_session_files(owner):
            raw = b"" if path.stem in read.sessions else read_regular(path)
            if isinstance(raw, bytes) and not any(client in raw for client in written):
                continue
            file = read_session_file(path)
            problems += file.problems if file.session is None else ()
            found += [file.session] if file.session is not None else []
    return found, problems


def _owner(file: Path, data: Path) -> Path:
    """Return the data folder a session file is filed in; a loose one takes the one in use."""
    above = file.absolute().parents
    filed = len(above) > 2 and above[1].name == "sessions"
    return above[2] if filed else data
