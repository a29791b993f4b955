"""A session in words: whose it is, when and where somebody was measured, and by whom."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.words import say

if TYPE_CHECKING:
    from datetime import datetime

    from fitcore.record.session import Session


def when_words(at: datetime | None) -> str:
    """Return when a line was written, by the local time of its laptop."""
    return f"{at:%Y-%m-%d %H:%M}" if at is not None else say("no time")


def person_words(name: str) -> str:
    """Return who wrote a line, by staff code; empty is nobody."""
    return name or say("nobody named")


def codes_of(session: Session | None) -> str:
    """Return the client's code of a session, several where they are in question; empty is none."""
    values = session.answer("client").values if session is not None else ()
    return " / ".join(str(value) for value in values)


def client_words(session: Session | None) -> str:
    """Return whose session it is."""
    return codes_of(session) or say("no client's code")


def measured_words(session: Session) -> str:
    """Return when, where and by whom somebody was measured."""
    laptops = ", ".join(sorted({e.by.laptop for e in session.answer("client").heads}))
    return say(
        "{when} on {laptop} by {who}",
        when=when_words(session.measured_at),
        laptop=laptops or "?",
        who=person_words(session.text("measurer")),
    )


def sitting_line(session: Session) -> str:
    """Say which session something is about: its codes, when, where and by whom."""
    sitting = say("{codes}, {sitting}", codes=codes_of(session), sitting=measured_words(session))
    return say("Session: {sitting}", sitting=sitting)
