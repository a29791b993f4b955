"""In which postures a leg's readings were taken, and whether they may stand beside each other.

An answer two people gave differently stands for both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.fields import choice_words
from fitcore.flags import Flag
from fitcore.points import Kind, Side
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fitcore.readings import Readings
    from fitcore.session import Session
    from fitcore.time_rules import TimeRules


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
    """Judge whether each leg was read in one recorded posture, and both legs in the same.

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
    return flags


def postures_words(postures: Iterable[str]) -> str:
    """Write postures for people."""
    return ", ".join(choice_words(posture) for posture in sorted(postures))
