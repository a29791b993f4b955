"""The lines of the start screen: paused sessions, today's, then every client. No screen here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitcore.record.session import Seal, Session
from fitcore.words import say
from tui.measured_when import measured_when
from tui.wording.clocks import KnownClocks

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable
    from datetime import date

    from tui.measured_when import MeasuredWhen

MOST_LINES = 200
"""More are not drawn; typing part of a code narrows the list (ours)."""
NOTHING_NOTED = KnownClocks()
Kind = Literal["paused", "today", "client", "new"]


@dataclass(frozen=True, slots=True)
class StartLine:
    """One line of the start screen."""

    kind: Kind
    client: str
    session: Session | None
    """The session the line opens, or the client's newest."""
    when: str
    state: str
    legend: str = ""
    """What the sign behind the time means; empty where there is none."""

    @property
    def session_id(self) -> str:
        """The session's id; empty where there is none."""
        return self.session.id if self.session is not None else ""

    def same_as(self, other: StartLine) -> bool:
        """Whether another list's line stands for the same."""
        mine = (self.kind, self.client, self.session_id)
        return mine == (other.kind, other.client, other.session_id)


def start_lines(
    sessions: Iterable[Session],
    today: date,
    typed: str,
    stopped: Collection[str] = (),
    *,
    clocks: KnownClocks = NOTHING_NOTED,
) -> list[StartLine]:
    """Return the lines to show.

    Args:
        sessions: all sessions of the folder.
        today: the local day.
        typed: part of a code to look for; empty shows all.
        stopped: ids of sessions a stop is known to stand in.
        clocks: what is noted of the laptops' clocks; times are shown set right by it.

    Returns:
        Paused sessions newest first, today's finished ones, then clients by code. Where a code is
        typed, lines of exactly that client stand first, or an offer to start a new client.
    """
    paused: list[StartLine] = []
    finished_today: list[StartLine] = []
    clients: dict[str, Session] = {}
    for session in sorted(sessions, key=_newest, reverse=True):
        client = session.text("client")
        if not client or typed.casefold() not in client.casefold():
            continue
        clients.setdefault(client, session)
        when = measured_when(session, clocks)
        if session.value("finished") is not True:
            if session.seal is Seal.WHOLE and _was_begun(session):
                told = _paused(session, stopped=session.id in stopped)
                paused.append(_line("paused", session, when, told))
        elif when.at is not None and when.at.date() == today:
            told = say("finished today: see the result")
            if session.id in stopped:
                told = say("finished today (STOP): see the result")
            finished_today.append(_line("today", session, when, told))
    rest = [
        _line("client", session, measured_when(session, clocks), _state(session))
        for _, session in sorted(clients.items())
    ]
    lines = [*paused, *finished_today, *rest]
    if typed:
        # Enter on a typed code never opens another client: a longer code that merely holds it
        # has to be marked with the arrow first.
        exact = [line for line in lines if line.client.casefold() == typed.casefold()]
        others = [line for line in lines if line not in exact]
        new = StartLine("new", typed, None, "", say("new client: start here"))
        lines = [*(exact or [new]), *others]
    return lines[:MOST_LINES]


def _was_begun(session: Session) -> bool:
    """Whether somebody began it on a screen; an imported sheet has no protocol to go on with."""
    return any(session.answer(what).heads for what in ("protocol", "paused"))


def _paused(session: Session, *, stopped: bool) -> str:
    remark = last_remark(session)
    told = say("PAUSED: go on (STOP)") if stopped else say("PAUSED: go on")
    return told + (f" ! {remark}" if remark else "")


def last_remark(session: Session) -> str:
    """Return the newest remark: what was noted when a session was stopped must greet the next."""
    remarks = session.heads.heads_of("remarks")
    return " ".join(remarks[-1].text("text").split()) if remarks else ""


def _newest(session: Session) -> tuple[str, str]:
    # The id's own time bits order the list; a wrong clock can only misplace a line, never lose it.
    return (session.id, session.text("client"))


def _line(kind: Kind, session: Session, when: MeasuredWhen, state: str) -> StartLine:
    words = when.words or say("no readings")
    return StartLine(kind, session.text("client"), session, words, state, when.legend)


def _state(session: Session) -> str:
    if session.seal is not Seal.WHOLE:
        return say("new session (! last changed outside)")
    if session.value("finished") is True or not _was_begun(session):
        return say("new session")
    return say("new session (last left open)")
