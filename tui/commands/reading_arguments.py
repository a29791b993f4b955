"""The arguments that name a reading (side, point, kind, round), and a reading in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from fitcore.clean_text import clean
from fitcore.points import Kind, Place, Point, Side, place_words, side_words
from fitcore.shoes import ShoeSize, system_words
from fitcore.units import Unit, plain, show_length
from fitcore.words import say
from tui.commands import wrong_use

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.record.edits import Typed
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session

Choice = TypeVar("Choice", bound=str)

MOST_ROUNDS = 99
"""Highest round a reading may have (as `fitcore.record.readings` reads it)."""


def read_place(side: str, point: str, kind: str) -> Place:
    """Read the three words that name a place.

    Raises:
        FitError: one is not known, or they contradict each other.
    """
    place = (
        _one_of("SIDE", side, {str(item): item for item in Side}),
        _one_of("POINT", point, {item.casefold(): item for item in Point}),
        _one_of("KIND", kind, {str(item): item for item in Kind}),
    )
    if place[2] is Kind.SHOE and place[1] is not Point.FOOT:
        raise wrong_use(
            say("A shoe size belongs to point foot."), say("Write: foot shoe."), key="POINT"
        )
    if place[0] is Side.BOTH and place[2] is not Kind.SHOE:
        raise wrong_use(
            say("A girth or length belongs to one leg."), say("Write left or right."), key="SIDE"
        )
    return place


def free_round(readings: Readings, place: Place, asked: int | None) -> int:
    """Return the round to record: the one asked for, else the lowest that is free there.

    Raises:
        FitError: no such round, or there is a reading at it already.
    """
    taken = {reading.round: reading.name for reading in readings.current(place)}
    if asked is None:
        free = next(n for n in range(1, MOST_ROUNDS + 2) if n not in taken)
        if free <= MOST_ROUNDS:
            return free
        asked = free
    if not 1 <= asked <= MOST_ROUNDS:
        raise wrong_use(
            say("{number} is not a round.", number=asked),
            say("Rounds run from 1 to {most}.", most=MOST_ROUNDS),
            key="--round",
        )
    if asked in taken:
        raise wrong_use(
            say("Round {number} is there already: {name}.", number=asked, name=taken[asked]),
            say("Use correct {name} to replace it, or leave --round out.", name=taken[asked]),
            key="--round",
        )
    return asked


def tape_unit(session: Session) -> Unit:
    """Return the unit printed on the session's tape; cm where nobody said."""
    return "in" if session.text("tape") == "in" else "cm"


def value_words(typed: Typed) -> str:
    """Write what was typed and what it means."""
    if isinstance(typed, ShoeSize):
        return f"{system_words(typed.system)} {plain(typed.value)}"
    return show_length(typed.mm, typed.typed, typed.unit)


def reading_words(place: Place, number: int, value: str) -> str:
    """Write where and which time round a value was read."""
    side, point, kind = place
    return say(
        "{side} {what}, time {number}: {value}",
        side=side_words(side),
        what=place_words(point, kind),
        number=number,
        value=value,
    )


def _one_of(key: str, typed: str, choices: Mapping[str, Choice]) -> Choice:
    found = choices.get(typed.casefold())
    if found is None:
        raise wrong_use(
            say("'{typed}' is not known.", typed=clean(typed).text[:40]),
            say("Use one of: {allowed}.", allowed=", ".join(choices.values())),
            key=key,
        )
    return found
