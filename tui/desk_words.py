"""Readings and places in the words the measuring screen uses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.flags import Level
from fitcore.points import Kind, Place, Side, other_side, place_words, side_words
from fitcore.protocol import done_reading, is_done
from fitcore.record.last_time import LastTime
from fitcore.shoes import system_words
from fitcore.units import Unit, from_mm, plain, show_cm, show_length
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection
    from decimal import Decimal

    from fitcore.profile_models import PlausibleRange
    from fitcore.protocol import Step
    from fitcore.record.reading import Reading
    from fitcore.record.readings import Readings
    from tui.desk import Desk


def reading_words(reading: Reading) -> str:
    """Return a reading's value for people."""
    if reading.not_taken:
        return say("not taken ({why})", why=reading.not_taken)
    if reading.mm is not None and reading.unit is not None:
        return show_length(reading.mm, reading.typed, reading.unit)
    if reading.value is not None and reading.system is not None:
        return f"{system_words(reading.system)} {plain(reading.value)}"
    return ""


def where_words(place: Place) -> str:
    """Return leg and measure: *LEFT round the calf (C)*."""
    side, point, kind = place
    named = "" if side is Side.BOTH else f"{side_words(side)} "
    return f"{named}{place_words(point, kind)}"


def signed_cm(mm: Decimal) -> str:
    """Write a difference in cm with its sign."""
    return f"{'-' if mm < 0 else '+'}{show_cm(abs(mm))}"


def usual_words(known: PlausibleRange | None, unit: Unit) -> str:
    """Return the usual range of a measure, in the tape's unit; empty where none is known."""
    limits = known and (known.typical_cm or known.soft_cm)
    if not limits:
        return ""
    low, high = limits
    if unit == "in":
        return say(
            "usually {low:.1f} to {high:.1f} in",
            low=from_mm(low * 10, "in"),
            high=from_mm(high * 10, "in"),
        )
    return say("usually {low} to {high} cm", low=plain(low), high=plain(high))


def compare_words(desk: Desk, step: Step) -> str:
    """Return the other leg's and last time's value for a field that has been read.

    Shown only after Enter, so that nobody copies a number instead of reading the tape.
    """
    mine = desk.readings.adopted(step.side, step.point, step.kind)
    if mine is None or step.kind is Kind.SHOE:
        return ""
    parts = []
    there = (other_side(step.side), step.point, step.kind)
    other = desk.readings.adopted(*there)
    if other is not None and step.side is not Side.BOTH and desk.shows(there):
        parts.append(
            say(
                "{side} {cm} ({change}).",
                side=side_words(there[0]),
                cm=show_cm(other.mm),
                change=signed_cm(mine.mm - other.mm),
            )
        )
    before = LastTime(desk.earlier).of_place(*step.place)
    value, at = (before[1].adopted(*step.place), before[0].measured_at) if before else (None, None)
    if value is not None and at is not None:
        parts.append(
            say(
                "On {date} {cm} ({change}).",
                date=f"{at:%Y-%m-%d}",
                cm=show_cm(value.mm),
                change=signed_cm(mine.mm - value.mm),
            )
        )
    return " ".join(parts)


def saved_words(desk: Desk, step: Step, *, corrected: bool) -> str:
    """Return what was saved, without a value that must not be seen yet.

    Args:
        desk: the session, with the cursor on the next field already.
        step: the field that was filled.
        corrected: whether it had a reading before.
    """
    reading = done_reading(step, desk.readings)
    if reading is None:
        return ""
    place, value = where_words(reading.place), reading_words(reading)
    repeats = [s for s in desk.steps if s.place == step.place and not is_done(s, desk.readings)]
    if step.round == 2 and repeats:
        told = say("The two differ by more than they may: a third reading, please.")
        return say("Saved: {place}.", place=place) + f" {told}"
    if desk.step in repeats:
        told = say("Take the tape off and measure it once more.")
        return say("Saved: {place}.", place=place) + f" {told}"
    there = (other_side(step.side), step.point, step.kind)
    if desk.step.place == there or not desk.shows(step.place):
        # The same point is next: its field must not stand beside this value.
        return say("Saved: {place}.", place=place)
    adopted = desk.readings.adopted(*step.place)
    if adopted is not None and adopted.readings > 1 and adopted.spread_mm is not None:
        said = say(
            "Saved: {place} {value}. Used: {cm} cm of {count}, spread {mm} mm.",
            place=place,
            value=value,
            cm=show_cm(adopted.mm),
            count=adopted.readings,
            mm=plain(adopted.spread_mm),
        )
    elif corrected:
        said = say("Corrected: {place} {value}.", place=place, value=value)
    else:
        said = say("Saved: {place} {value}.", place=place, value=value)
    return f"{said} {compare_words(desk, step)}".strip()


def state_words(readings: Readings, place: Place) -> str:
    """Return a place's readings first to last, and the value used: *36.2, 36.4: 36.3 used*."""
    taken = readings.taken(place)
    if not taken:
        return say("not taken ({why})", why=readings.not_taken(place))
    if len(taken) == 1:
        return reading_words(taken[0])
    shown = ", ".join(
        show_cm(reading.mm) if reading.mm is not None else reading_words(reading)
        for reading in taken
    )
    adopted = readings.adopted(*place)
    if adopted is None:
        return say("{shown}: choose one", shown=shown)
    return say("{shown}: {cm} used", shown=shown, cm=show_cm(adopted.mm))


def doubt_words(codes: Collection[str]) -> str:
    """Return the doubt to show at a place, as one word behind its sign; empty where none is."""
    words = {
        "hard_range": say("impossible, kept"),
        "repeat_differs": say("repeats differ"),
        "neighbours_swapped": say("swapped?"),
        "unit_slip": say("unit?"),
        "decimal_slip": say("decimal point?"),
        "tape_slip": say("10 cm off?"),
        "digits_swapped": say("digits?"),
        "ankle_not_smaller": say("ankle not smaller"),
        "lengths_not_rising": say("heights do not rise"),
        "ratio": say("out of proportion"),
        "other_leg": say("unlike other leg"),
        "last_time": say("unlike last time"),
        "same_both_legs": say("same as other leg"),
        "tape_too_short": say("tape too short"),
        "shoe_step": say("no such size?"),
        "soft_range": say("unusual, kept"),
    }
    return next((f" ! {word}" for code, word in words.items() if code in codes), "")


def place_rows(desk: Desk, step: Step, width: int, *, here: bool) -> list[str]:
    """Return the row of one place in the list, and more where its values and doubt do not fit.

    Args:
        desk: the open session.
        step: the place's first field.
        width: cells there are.
        here: whether the cursor is on this place.
    """
    readings, place = desk.readings, step.place
    shoe = done_reading(step, readings)
    if shoe is not None and shoe.place != place:
        place = shoe.place
    steps = [s for s in desk.steps if s.place == step.place]
    done = sum(1 for s in steps if is_done(s, readings))
    sign = "+" if done == len(steps) else ("-" if done else " ")
    named = f"{'>' if here else ' '}{sign} {place_words(step.point, step.kind)}"
    if not done:
        return [named]
    if desk.shows(place):
        codes = {
            flag.code
            for flag in desk.flags
            if (flag.side, flag.point, flag.kind or Kind.GIRTH) == place
            and flag.level is not Level.NOTE
        }
        value, doubt = state_words(readings, place), doubt_words(codes)
    else:
        value, doubt = say("read {done} of {count}", done=done, count=len(steps)), ""
    row = f"{named:<32} {value}{doubt}"
    if len(row) <= width:
        return [row]
    second = f"     {value}{doubt}"
    return [named, second] if len(second) <= width else [named, f"     {value}", f"    {doubt}"]
