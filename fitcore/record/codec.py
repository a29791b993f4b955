"""Session file text to `Session` and back. Bytes in, text out; no file is opened here."""

from __future__ import annotations

from fitcore.identity import SESSION_ID
from fitcore.instants import long_date
from fitcore.problems import Problem, ProblemLevel
from fitcore.record.canonical import read_file
from fitcore.record.document import Document, newer_format, write_document
from fitcore.record.entries import SESSION_ARRAYS
from fitcore.record.session import FORMAT, Seal, Session
from fitcore.words import say


def read_session(raw: bytes) -> tuple[Session | None, tuple[Problem, ...]]:
    """Read one session file.

    Returns:
        The session (None where the file must be set aside or is of a newer format) and what is
        wrong with it. A broken or missing seal gives the session and a problem: its values are
        shown marked, and nothing is written until a person has answered.
    """
    document = read_file(raw)
    if isinstance(document, Problem):
        return None, (document,)
    if problem := judge_head(document, "session"):
        return None, (problem,)
    session_id = str(document.head["session"][1])
    session = Session(
        session_id, frozenset(document.entries), extra_head(document, "session"), document.seal
    )
    return session, seal_problems(document.seal)


def write_session(session: Session) -> str:
    """Write a session canonically; equal sets of entries give equal text."""
    head = [f"format = {FORMAT}", f'session = "{session.id}"']
    head += [line for _, line in sorted(session.extra_head)]
    return write_document(_heading(session), head, session.entries, SESSION_ARRAYS)


def extra_head(document: Document, kind: str) -> frozenset[tuple[str, str]]:
    """Return (key, raw line) of the head lines this program does not know."""
    own = ("format", kind)
    return frozenset((key, line) for key, (line, _) in document.head.items() if key not in own)


def judge_head(document: Document, kind: str) -> Problem | None:
    """Return why a document is not one of ours of this kind, or None."""
    file_format = document.head.get("format", ("", None))[1]
    name = document.head.get(kind, ("", None))[1]
    if not isinstance(file_format, int) or isinstance(file_format, bool) or file_format < 1:
        return Problem(
            code="wrong_shape",
            text=say("No 'format = 1' at the head: this is no {kind} file.", kind=kind),
            mend=say("Ask for the file again from the laptop that wrote it."),
            key="format",
        )
    if file_format > FORMAT:
        return newer_format(file_format)
    if not isinstance(name, str) or (kind == "session" and not SESSION_ID.fullmatch(name)):
        return Problem(
            code="wrong_shape",
            text=say("'{kind}' at the head is missing or not a valid name.", kind=kind),
            mend=say("Ask for the file again from the laptop that wrote it."),
            key=kind,
        )
    return None


def seal_problems(seal: Seal) -> tuple[Problem, ...]:
    """Return what a person must be told about a seal: nothing where it is whole."""
    if seal is Seal.WHOLE:
        return ()
    broken = seal is Seal.BROKEN
    return (
        Problem(
            code="seal_broken" if broken else "seal_missing",
            text=say("Changed outside the program: the lines are not those that were sealed.")
            if broken
            else say("The seal is missing: the end of the file may be lost."),
            mend=say("Compare with the laptop that wrote it. Nothing is written to it until then."),
            key="seal",
            level=ProblemLevel.WARNING,
        ),
    )


def _heading(session: Session) -> tuple[str, ...]:
    client = session.text("client") or say("no client yet")
    at = session.measured_at
    if at is None:
        return (say("{client} (headings are only for reading)", client=client),)
    laptops = ", ".join(sorted({entry.by.laptop.split("-")[0] for entry in session.entries}))
    return (
        say(
            "{client} · measured {date} on {laptops} (headings are only for reading)",
            client=client,
            date=long_date(at),
            laptops=laptops,
        ),
    )
