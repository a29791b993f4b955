"""`note`: the referral note of one session, as text."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.atomic import write_durably
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.session_files import session_path
from fitcore.fit import fit_session
from fitcore.referral import referral_lines
from fitcore.words import say
from tui.commands import ExitCode, Outcome, wrong_use
from tui.commands.finding import find_session
from tui.commands.session_reading import ReadSessions, read_all

if TYPE_CHECKING:
    from argparse import Namespace

    from fitcore.disk.surroundings import Surroundings
    from fitcore.session import Session


def note(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Write the referral note of one session; nothing in the session is changed."""
    read = read_all([_session_file(arguments.file, data)], data)
    session = _the_one(read)
    profiles = load_profiles(own=read.owners[session.id])
    now = surroundings.now()
    fit = fit_session(session, profiles.charts, profiles.rules, on=now.date())
    lines = referral_lines(fit, made_at=now)
    said = lines
    if arguments.out is not None:
        out = Path(arguments.out)
        if out.exists():
            raise wrong_use(
                say("{path} is there already.", path=visible(str(out))),
                say("Name another file; nothing was written."),
                key="--out",
            )
        write_durably(out, ("\n".join(lines) + "\n").encode(), expected=None)
        said = [say("Written to {path}.", path=visible(str(out)))]
    problems = [*read.problems, *profiles.problems]
    return Outcome(
        ExitCode.FINE,
        {
            "session": session.id,
            "client": fit.client,
            "urgency": fit.clearance.result.urgency.value,
            "text": lines,
        },
        said,
        [str(problem) for problem in problems],
    )


def _session_file(named: str, data: Path) -> Path:
    """Return the file a call names: by its path, or by the session's id in the data folder."""
    path = Path(named)
    if path.exists():
        return path
    return session_path(data, find_session(data, named))


def _the_one(read: ReadSessions) -> Session:
    sessions = list(read.sessions.values())
    if len(sessions) == 1:
        return sessions[0]
    if not sessions and read.problems:
        told = read.problems[0]
        raise wrong_use(told.text, told.mend, key=told.path)
    raise wrong_use(
        say("A note is made of one session; {count} were found.", count=len(sessions)),
        say("Name one session file, or the first 8 characters of a session's id."),
        key="FILE",
    )
