"""What the measure screen shows of a desk, as text and content: no widget is read or changed."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from textual.content import Content

from fitcore.flags import Level
from fitcore.instants import hours_between
from fitcore.moment.spacing import SET_TOOK_LONG
from fitcore.points import LEGS, Kind, Place, Point, Side, other_side, place_words, side_words
from fitcore.protocol import done_reading, is_done
from fitcore.words import say
from tui.desk_words import place_rows, reading_words, usual_words
from tui.leg_drawing import draw_leg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.flags import Flag
    from fitcore.protocol import Step
    from tui.desk import Desk
    from tui.leg_drawing import LegRow

LEG_COLUMNS = 30
LEAST_ROWS = 12
"""A leg lower than this cannot be drawn."""
_HOURS_COLUMNS = 47
"""Room for the line below the list, at 80x24."""


def beside_field(desk: Desk) -> str:
    """Return what stands right of the field: what is recorded here, else what is usual."""
    here = desk.reading_here
    if here is not None and (here.not_taken or desk.shows(here.place)):
        return say("recorded: {value}", value=reading_words(here))
    if here is not None:
        return say("recorded, not shown yet")
    if desk.step.kind is Kind.SHOE:
        return say("such as 39, UK 6, US W 8")
    known = desk.profiles.rules.ranges.of(desk.step.point, desk.step.kind)
    return usual_words(known, desk.unit)


def hint(desk: Desk) -> str:
    """Return the line above the field: how the tape is held, or what else may be typed."""
    if desk.step.round > 1:
        turn = say("Second time") if desk.step.round == 2 else say("Third time")
        told = say("tape off, then measure as if for the first time. F8 leaves repeats out.")
        return f"{turn}: {told}"
    if desk.step.or_shoe:
        return say("A shoe size will do: type EU 39, UK 6, US W 8.")
    return desk.protocol.tape_rule if desk.step.kind is Kind.GIRTH else ""


def leg_title(step: Step) -> str:
    """Return the title of the drawing: always the client's own side."""
    if step.side not in LEGS:
        return say("both feet")
    return say("client's {side} leg, front", side=side_words(step.side))


def leg_of(desk: Desk, rows: int) -> list[LegRow]:
    """Draw the leg of the present step with its own readings, in so many rows."""
    step, readings = desk.step, desk.readings
    drawn_side = step.side if step.side in LEGS else LEGS[0]
    girths = {
        value.point: float(value.mm) / 10
        for value in readings.adopted_of_leg(drawn_side)
        if value.kind is Kind.GIRTH and desk.shows((drawn_side, value.point, value.kind))
    }
    done = {
        s.point
        for s in desk.steps
        if s.side is drawn_side and s.kind is Kind.GIRTH and done_reading(s, readings) is not None
    }
    high = any(s.point in (Point.E, Point.F, Point.G) for s in desk.steps)
    return draw_leg(
        girths,
        side=drawn_side,
        current=step.point,
        kind=step.kind,
        done=done,
        rows=rows,
        columns=LEG_COLUMNS,
        top=Point.G if high else Point.D,
        asked={s.point for s in desk.steps},
    )


def steps_content(desk: Desk, width: int, height: int) -> Content:
    """List the leg's fields; the other leg shows only that it was read, never a value."""
    present = desk.step
    first_of: dict[Place, Step] = {}
    for step in desk.steps:
        if step.side in (present.side, Side.BOTH):
            first_of.setdefault(step.place, step)
    rows: list[tuple[str, bool]] = []
    for place, step in first_of.items():
        here = place == present.place
        rows += [(row, here) for row in place_rows(desk, step, width, here=here)]
    at = [here for _, here in rows].index(True)
    top = max(0, min(at - height // 2, len(rows) - height))
    parts: list[str | tuple[str, str]] = []
    for row, here in rows[top : top + max(height, 3)]:
        parts += [(row, "bold") if here else row, "\n"]
    return Content.assemble(*parts[:-1])


def moving_lines(desk: Desk) -> list[str]:
    """Return what would move to the other leg; empty where nothing is recorded."""
    lines = [
        f"{side_words(place[0])} {place_words(place[1], place[2])} "
        f"{reading_words(reading)}  ->  {side_words(other_side(place[0]))}"
        for place in desk.readings.places()
        if place[0] in LEGS
        for reading in desk.readings.current(place)
    ]
    if lines and len(desk.sides) == 1:
        leg = side_words(other_side(desk.sides[0]))
        lines.insert(0, say("{side} is the leg to measure from now on.", side=leg))
    return lines


def hours_content(desk: Desk) -> Content:
    """Return how much of the other leg is read, and how long the client has been up."""
    other = other_side(desk.step.side)
    read = sum(
        1
        for step in desk.steps
        if step.side is other and step.round == 1 and is_done(step, desk.readings)
    )
    told = (
        say("{side}: {done} read.  ", side=side_words(other), done=read)
        if other in desk.sides and other is not desk.step.side
        else ""
    )
    rising = desk.session.value("rising_at")
    hours = hours_between(rising, desk.now()) if isinstance(rising, datetime) else None
    flags = desk.time_flags()
    most = desk.profiles.rules.time.rising_time.block_after_hours
    if hours is not None and hours > float(most):
        return Content.assemble(told, (say("! Up since another day: F7, ask again."), "bold"))
    up = (
        say("Time of rising not known.") if hours is None else say("Up {hours:.1f} h.", hours=hours)
    )
    warned = _warned(flags)
    if len(told + up + warned) > _HOURS_COLUMNS:
        told = ""
    return Content.assemble(told, up, (warned, "bold"))


def _warned(flags: Sequence[Flag]) -> str:
    """Return the worst of hour, conditions and clock in a few words; whole it was told before."""
    doubts = {flag.code for flag in flags if flag.level is not Level.NOTE}
    if any(flag.level is Level.BLOCK and flag.code != SET_TOOK_LONG for flag in flags):
        return say(" ! time or clock: F7")
    if SET_TOOK_LONG in doubts:
        return say(" ! this leg took long")
    if "late_in_day" in doubts:
        return say(" ! late in the day")
    if "rising_time" in doubts:
        return say(" ! up so long? F7")
    if any(flag.about == "clock" for flag in flags):
        return say(" ! is the clock right?")
    if doubts:
        return say(" ! conditions: F7")
    just_off = any(flag.code == "compression_just_off" for flag in flags)
    return say(" Compression just off.") if just_off else ""
