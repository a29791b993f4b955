"""Codes of clients in words: what was said of them, and which may be one person's, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.merge.clients import LINKED, rival_codes
from fitcore.merge.ids import content_id
from fitcore.points import place_words, side_words
from fitcore.units import show_cm
from fitcore.words import say
from tui.wording.sittings import measured_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.disk.known_sessions import AlikeDays, KnownSessions
    from fitcore.doubts.same_person import AlikeSittings
    from fitcore.merge.clients import Clients
    from fitcore.record.session import Session


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Two codes that may be one person's."""

    id: str
    codes: tuple[str, str]
    evidence: tuple[str, ...]
    """Sentences, strongest first."""


def codes_words(codes: Sequence[str], value: str) -> str:
    """Say what was said of codes; no full stop.

    Args:
        codes: two or more.
        value: `linked` or `distinct`.
    """
    if value == LINKED:
        return say("{codes}: one person", codes=" = ".join(codes))
    return say("{codes}: not one person", codes=", ".join(codes))


def code_suggestions(
    known: KnownSessions, clients: Clients, days: AlikeDays
) -> tuple[Suggestion, ...]:
    """Return codes worth asking about: given to one sitting, or alike in their numbers.

    Args:
        known: all sessions that can be read.
        clients: what was said of codes so far.
        days: what was found alike before.
    """
    sessions = {session.id: session for session in known.where(lambda g: g.names_several)}
    given = {session.id: _codes_given(session) for session in sessions.values()}
    several = {name: codes for name, codes in given.items() if len(codes) > 1}
    rivals = rival_codes(several.values(), clients)
    like = {found.codes: found for found in days.look(known, clients)}
    found = []
    for codes in sorted({*rivals, *like}):
        evidence = [
            say("Both codes were given to one sitting: {sitting}.", sitting=measured_words(session))
            for name, both in several.items()
            if set(codes) <= set(both)
            for session in [sessions[name]]
        ]
        if codes in like:
            evidence += _alike_words(like[codes])
        found.append(Suggestion(content_id("codes", *codes), codes, tuple(evidence)))
    return tuple(found)


def _codes_given(session: Session) -> tuple[str, ...]:
    """Return the codes laptops gave a sitting without seeing each other's, answered or not.

    A code put right by whoever had seen it was a slip, and stands for nobody.
    """
    # Most sessions have one line about the client, and then there is nothing to find.
    lines = [e for e in session.entries if e.fields.get("what") == "client" and not e.erased]
    if len(lines) < 2:
        return ()
    replaced = {name for e in lines if e.array != "decisions" for name in e.replaces}
    codes = {
        entry.text("is")
        for entry in lines
        if entry.array != "decisions"
        and str(entry.by) not in replaced
        and not session.heads.is_withdrawn(entry)
    }
    return tuple(sorted(code for code in codes if code))


def _alike_words(found: AlikeSittings) -> list[str]:
    one, other = found.sittings
    same = [values for values in found.values if values[1] == values[2]]
    words = [
        say(
            "Measured the same day on two laptops: {one}; {other}.",
            one=measured_words(one),
            other=measured_words(other),
        ),
        say(
            "{same} of {count} values are the same to the millimetre:",
            same=len(same),
            count=len(found.values),
        ),
    ]
    for (side, point, kind), first, second in found.values:
        words.append(
            say(
                "  {side} {place}: {first} and {second} cm",
                side=side_words(side),
                place=place_words(point, kind),
                first=show_cm(first),
                second=show_cm(second),
            )
        )
    return words
