"""Doubts about feet: shoe sizes that are none, and a foot unlike the one it would correct. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.flags import Flag, Level
from fitcore.points import Kind, Place, Point, Side
from fitcore.shoes import (
    FOOT_UNCERTAINTY_MM,
    ShoeSystem,
    foot_length_mm,
    judge_shoe_size,
    judge_shoe_step,
    system_words,
)
from fitcore.units import plain, show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from decimal import Decimal

    from fitcore.profile_models import Ranges
    from fitcore.record.reading import Reading


def doubt_shoe(ranges: Ranges, place: Place, size: Decimal, system: ShoeSystem) -> tuple[Flag, ...]:
    """Judge a shoe size: no adult's, one no shoe is printed with, or a foot few people have.

    Args:
        ranges: the foot's length among them, in cm.
        place: where it was asked; a size asked once is of both legs and names no side.
        size: in its system's own sizes.
        system: the system.

    Returns:
        Flags, the worst first.
    """
    side = None if place[0] is Side.BOTH else place[0]

    def flag(code: str, level: Level, text: str) -> Flag:
        return Flag(code, level, "reading", text, side, place[1], Kind.SHOE)

    problem = judge_shoe_size(size, system)
    if problem is not None:
        return (flag("hard_range", Level.BLOCK, problem.text),)
    found = []
    step = judge_shoe_step(size, system)
    if step is not None:
        found.append(flag("shoe_step", Level.WARN, f"{step.text} {step.mend}"))
    mm = foot_length_mm(size, system)
    known = ranges.of(Point.FOOT, Kind.LENGTH)
    # Only where the foot is rare however far off the shoe size tells it.
    off = (mm - FOOT_UNCERTAINTY_MM, mm + FOOT_UNCERTAINTY_MM)
    soft = known.soft_cm if known is not None else None
    if soft is not None and (off[1] < soft[0] * 10 or off[0] > soft[1] * 10):
        text = say(
            "{system} {size} is a foot of about {cm} cm; nearly all are {low} to {high} cm. Is it "
            "a shoe size at all?",
            system=system_words(system),
            size=plain(size),
            cm=show_cm(round(mm, 0)),
            low=soft[0],
            high=soft[1],
        )
        found.append(flag("soft_range", Level.WARN, text))
    return tuple(found)


def doubt_other_foot(recorded: Reading, mm: Decimal, shown: str) -> Flag | None:
    """Ask whether a foot is meant that is quite another than the one it would correct.

    A foot has no neighbour on the leg to be compared with, and 22.6 is a usual ankle, too.

    Args:
        recorded: what stands in the field: a foot length or a shoe size.
        mm: what would take its place, as a foot length in mm.
        shown: the same in words, as it was typed.
    """
    if recorded.mm is not None:
        was, words = recorded.mm, f"{show_cm(recorded.mm)} cm"
    elif recorded.value is not None and recorded.system is not None:
        was = foot_length_mm(recorded.value, recorded.system)
        words = say(
            "{system} {size}, a foot of about {cm} cm",
            system=system_words(recorded.system),
            size=plain(recorded.value),
            cm=show_cm(round(was, 0)),
        )
    else:
        return None
    if abs(mm - was) <= 2 * FOOT_UNCERTAINTY_MM:  # two shoe sizes, each as far off as it may be
        return None
    text = say(
        "Recorded here: {words}. Is {shown} meant for another field?", words=words, shown=shown
    )
    side, point, kind = recorded.place
    return Flag("other_foot", Level.WARN, "reading", text, side, point, kind)
