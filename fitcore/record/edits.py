"""What people do to a session, as drafts of entries: pure, and the same for screen and commands.

Nothing is ever changed in place: a correction is a new reading written instead of the old one, a
withdrawal is an entry of its own, and an answer names the answers it replaces.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.points import Kind, Place, Side, other_side
from fitcore.problems import Problem, ReadingError
from fitcore.record.entries import Draft, Value
from fitcore.shoes import ShoeSize, ShoeSystem, parse_shoe_size
from fitcore.units import Length, Unit, parse_length
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from fitcore.record.reading import Reading
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session

Typed = Length | ShoeSize

_SHOE_SYSTEM = re.compile(r"eu|uk|us|mondo")


def draft_answer(session: Session, what: str, value: Value, at: datetime) -> Draft | None:
    """Answer a field; None where it already says so and nobody disagrees."""
    register = session.answer(what)
    if register.value is not None and register.value == value:
        return None
    return Draft(
        "answers", at, {"what": what, "is": value, "instead_of": list(register.seen) or None}
    )


def parse_typed(
    kind: Kind, text: str, unit: Unit, system: ShoeSystem = "eu", *, or_shoe: bool = False
) -> Typed:
    """Read the text of a reading: a length, or a shoe size for a shoe step.

    Args:
        kind: what the step asks for.
        text: as typed.
        unit: unit printed on the tape.
        system: shoe-size system where none is typed.
        or_shoe: whether a size with its system named may stand for a foot length.

    Raises:
        UnitError: it is neither.
    """
    names_a_shoe = or_shoe and _SHOE_SYSTEM.search(text.casefold())
    if kind is Kind.SHOE or names_a_shoe:
        return parse_shoe_size(text, system)
    return parse_length(text, unit)


def draft_reading(
    place: Place,
    number: int,
    typed: Typed,
    at: datetime,
    *,
    instead_of: Sequence[str] = (),
    why: str = "",
    why_for: Sequence[str] = (),
    doubts: Sequence[str] = (),
    posture: str = "",
    measurer: str = "",
) -> Draft:
    """Record a reading, or a correction where `instead_of` names what it replaces.

    Args:
        place: leg, point and kind.
        number: which time round.
        typed: the text and what it means exactly.
        at: the instant, from the caller's clock.
        instead_of: names of the readings this one replaces.
        why: the reason for a correction, or for keeping a doubtful value.
        why_for: codes of the doubts the reason was asked for, so that it answers no other.
        doubts: codes of what the nurse was told when she accepted it.
        posture: the posture it was taken in; empty where that is not known.
        measurer: who holds the tape, where it is not the session's measurer.
    """
    meaning: dict[str, Value | None] = (
        {"system": typed.system, "value": typed.value}
        if isinstance(typed, ShoeSize)
        else {"unit": typed.unit, "mm": typed.mm}
    )
    return Draft(
        "readings",
        at,
        {
            **_where(place, number),
            "typed": typed.typed,
            **meaning,
            "instead_of": list(instead_of) or None,
            "why": clean(why).text or None,
            "why_for": list(why_for) or None,
            "doubts": list(doubts) or None,
            "posture": posture or None,
            "measurer": measurer or None,
        },
    )


def draft_not_taken(
    place: Place,
    number: int,
    reason: str,
    at: datetime,
    *,
    instead_of: Sequence[str] = (),
) -> Draft:
    """Record that a reading was not taken, and why.

    Raises:
        ReadingError: no reason was given.
    """
    return Draft(
        "readings",
        at,
        {
            **_where(place, number),
            "not_taken": reason_text(reason),
            "instead_of": list(instead_of) or None,
        },
    )


def draft_withdrawal(names: Sequence[str], why: str, at: datetime) -> Draft:
    """Strike entries out: they are kept, and no longer count.

    Raises:
        ReadingError: no reason was given.
    """
    return Draft("withdrawn", at, {"takes_back": list(names), "why": reason_text(why)})


def draft_remark(text: str, at: datetime) -> Draft:
    """Add a remark.

    Raises:
        ReadingError: it is empty.
    """
    return Draft("remarks", at, {"text": reason_text(text)})


def draft_other_leg(readings: Readings, sides: Sequence[Side], at: datetime) -> tuple[Draft, ...]:
    """Move readings that were taken on the wrong leg, as corrections.

    Args:
        readings: the session's readings.
        sides: one leg, whose readings go to the other; or both, whose readings change places.
        at: the instant, from the caller's clock.

    Returns:
        One correction for each current reading of those legs; empty where there is none.
    """
    moved = [
        reading
        for place in readings.places()
        if place[0] in sides
        for reading in readings.current(place)
    ]
    why = say("taken on the other leg")
    return tuple(_again(reading, at, why, side=other_side(reading.side).value) for reading in moved)


def draft_postures(readings: Sequence[Reading], posture: str, at: datetime) -> tuple[Draft, ...]:
    """Say of readings that they were taken in another posture than was answered, as corrections.

    Args:
        readings: those it is about.
        posture: the one they were taken in.
        at: the instant, from the caller's clock.
    """
    why = say("posture had been answered wrongly")
    return tuple(_again(reading, at, why, posture=posture) for reading in readings)


def draft_kept(reading: Reading, why: str, why_for: Sequence[str], at: datetime) -> Draft:
    """Give the reason why a reading is kept after it was taken: the same reading, with the reason.

    Args:
        reading: the one that is kept.
        why: the reason.
        why_for: codes of the doubts it answers.
        at: the instant, from the caller's clock.

    Raises:
        ReadingError: no reason was given.
    """
    return _again(reading, at, reason_text(why), why_for=list(why_for))


def draft_chosen(
    reading: Reading, instead_of: Sequence[str], who: str, why: str, at: datetime
) -> Draft:
    """Choose one of several rival readings: the same reading again, instead of all of them.

    Args:
        reading: the one chosen.
        instead_of: names of all rivals and of what they had replaced.
        who: who chose.
        why: why.
        at: the instant, from the caller's clock.

    Raises:
        ReadingError: no reason was given.
    """
    return _again(reading, at, reason_text(why), instead_of=list(instead_of), who=reason_text(who))


def _again(reading: Reading, at: datetime, why: str, **changed: Value) -> Draft:
    """Write a reading again instead of itself, with what is changed about it and why."""
    fields: dict[str, Value | None] = {
        **_where(reading.place, reading.round),
        "typed": reading.typed or None,
        "system": reading.system,
        "value": reading.value,
        "unit": reading.unit,
        "mm": reading.mm,
        "not_taken": reading.not_taken or None,
        "instead_of": list(reading.lineage),
        "why": why,
        "why_for": None,
        "doubts": list(reading.doubts) or None,
        "posture": reading.posture or None,
        "measurer": reading.measurer or None,
    }
    return Draft("readings", at, {**fields, **changed})


def _where(place: Place, number: int) -> dict[str, Value | None]:
    side, point, kind = place
    return {"side": side.value, "point": point.value, "kind": kind.value, "round": number}


def who_text(text: str) -> str:
    """Return who says something, cleaned.

    Raises:
        ReadingError: nobody is named.
    """
    cleaned = clean(text).text.strip()
    if not cleaned:
        raise ReadingError(
            Problem(
                code="who_missing",
                text=say("Nobody is named."),
                mend=say("Say who answers: a staff code or a name; it is kept beside the entry."),
                key="who",
            )
        )
    return cleaned


def reason_text(text: str) -> str:
    """Return a reason, cleaned.

    Raises:
        ReadingError: there is none.
    """
    cleaned = clean(text, keep_newlines=True).text
    if not cleaned:
        raise ReadingError(
            Problem(
                code="reason_missing",
                text=say("No reason was given."),
                mend=say("Say why in a word or two; it is kept beside the entry."),
            )
        )
    return cleaned
