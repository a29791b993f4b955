"""In which postures a leg's readings were taken, and whether they may stand beside each other.

A reading carries the posture it was taken in, so that another answer later gives it no other. One
without, as a sheet's row may be, stands for the session's answer; of two different ones for both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.flags import Flag
from fitcore.points import Kind, Side
from fitcore.record.fields import choice_words
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fitcore.moment.time_rules import TimeRules
    from fitcore.record.reading import Reading
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session


def posture_to_store(session: Session, kind: Kind) -> str:
    """Return the posture a reading taken now carries; empty where it has none or none is known."""
    return "" if kind is Kind.SHOE else session.text("posture")


def read_otherwise(session: Session, readings: Readings) -> tuple[Reading, ...]:
    """Return the tape readings that carry another posture than the session's answer is now.

    Empty where the posture is not answered or two people answered it differently.
    """
    answered = session.text("posture")
    return tuple(
        reading
        for place in readings.places()
        if place[2] is not Kind.SHOE
        for reading in readings.taken(place)
        if answered and reading.posture not in ("", answered)
    )


def leg_postures(session: Session, readings: Readings, side: Side) -> frozenset[str]:
    """Return the postures a leg's tape readings were taken in; "" stands for not recorded."""
    usual = [str(value) for value in session.answer("posture").values] or [""]
    return frozenset(
        posture
        for place in readings.places()
        if place[0] is side and place[2] is not Kind.SHOE
        for reading in readings.taken(place)
        for posture in ([reading.posture] if reading.posture else usual)
    )


def judge_postures(
    session: Session, readings: Readings, sides: Sequence[Side], rules: TimeRules
) -> list[Flag]:
    """Judge whether each leg was read in one recorded posture, both in the same, and as answered.

    Source: the thresholds' own file.
    """
    level = rules.posture_differs.level
    legs = {side: leg_postures(session, readings, side) for side in sides}
    flags: list[Flag] = []
    for side, postures in legs.items():
        if len(postures - {""}) > 1:
            text = say(
                "Read in different postures ({postures}): never averaged. Measure in one posture.",
                postures=postures_words(postures - {""}),
            )
        elif "" in postures:
            text = say("Posture not recorded: say which it was.")
        else:
            continue
        flags.append(Flag("posture_differs", level, "conditions", text, side))
    if not flags and len(set(legs.values()) - {frozenset()}) > 1:
        text = say("Left and right were read in different postures: they cannot be compared.")
        flags.append(Flag("posture_differs", level, "conditions", text))
    read = frozenset(posture for postures in legs.values() for posture in postures)
    answered = {str(value) for value in session.answer("posture").values}
    if not flags and read and answered and not answered & read:
        text = say(
            "Posture answered: {answered}; read and kept as {read}. Which is right? Strike out "
            "what was read otherwise and read it again.",
            answered=postures_words(answered),
            read=postures_words(read),
        )
        flags.append(Flag("posture_differs", level, "conditions", text))
    return flags


def postures_words(postures: Iterable[str]) -> str:
    """Write postures for people."""
    return ", ".join(choice_words(posture) for posture in sorted(postures))
