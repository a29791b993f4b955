"""What a session's file itself gives reason to ask: changed outside, unusable, in conflict."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.flags import Flag, Level
from fitcore.points import Side, place_words
from fitcore.record.fields import field_words, is_working_state
from fitcore.record.session import Seal
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session


def file_flags(session: Session, readings: Readings) -> list[Flag]:
    """Return the flags on a session's file: its seal, readings it cannot use, open conflicts."""
    flags = []
    if session.seal is not Seal.WHOLE:
        flags.append(
            Flag(
                f"seal_{session.seal.value}",
                Level.WARN,
                "file",
                say("Changed outside the program: compare with the laptop that wrote it."),
            )
        )
    flags += [
        Flag("bad_reading", Level.WARN, "file", problem.text) for problem in readings.problems
    ]
    flags += [
        Flag(
            "conflict",
            Level.WARN,
            "file",
            say(
                "{what}: different answers stand side by side; all are kept.",
                what=field_words(what),
            ),
        )
        for what in session.heads.fields
        if session.answer(what).disputed and not is_working_state(what)
    ]
    flags += [
        Flag(
            "conflict",
            Level.WARN,
            "file",
            say(
                "{what}: different values stand side by side; none is used.",
                what=place_words(place[1], place[2]),
            ),
            None if place[0] is Side.BOTH else place[0],
            place[1],
            place[2],
        )
        for place in readings.places()
        if readings.disputed(place)
    ]
    return flags
