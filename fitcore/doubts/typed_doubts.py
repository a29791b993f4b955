"""What is doubtful about a length just typed, beside everything the session knows already."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.doubts.neighbours import Context
from fitcore.doubts.plausibility import doubt_reading
from fitcore.doubts.repeats import differing, explained_sides, swollen_sides
from fitcore.identity import EntryId
from fitcore.record.last_time import LastTime
from fitcore.record.readings import Readings

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from decimal import Decimal

    from fitcore.flags import Flag
    from fitcore.points import Kind, Place, Point, Side
    from fitcore.profile_models import Ranges, RepeatRule
    from fitcore.record.session import Session
    from fitcore.units import Length, Unit


def doubt_typed(
    session: Session,
    place: Place,
    typed: Length,
    ranges: Ranges,
    *,
    laptop: str,
    tape_unit: Unit = "cm",
    earlier: Sequence[Session] = (),
    repeat: RepeatRule | None = None,
    hidden: Collection[Place] = (),
) -> tuple[Flag, ...]:
    """Judge a length before it is stored, by the same checks on screen and command line.

    Args:
        session: the session as it stands.
        place: what was measured.
        typed: the text and what it means exactly.
        ranges: plausible ranges and proportions.
        laptop: id of this laptop: what was typed right before was typed here.
        tape_unit: unit printed on the tape.
        earlier: the client's sessions before this one, newest first.
        repeat: which readings of one place agree; nothing is compared with ones that do not.
        hidden: places whose value must not be named yet: their repeat is still to come.

    Returns:
        The doubts, worst first.
    """
    readings = Readings(session)
    apart = differing(readings, repeat) if repeat is not None else frozenset()

    def known(side: Side, point: Point, kind: Kind) -> Decimal | None:
        if (side, point, kind) in apart or (side, point, kind) in hidden:
            return None
        value = readings.adopted(side, point, kind)
        return None if value is None else value.mm

    context = Context(
        known=known,
        before=LastTime(earlier).value_mm,
        just_typed=_just_typed(readings, laptop),
        swollen=swollen_sides(session),
        tape_unit=tape_unit,
        explained=explained_sides(session),
    )
    return doubt_reading(ranges, place, typed.mm, typed.typed, typed.unit, context)


def _just_typed(readings: Readings, laptop: str) -> tuple[Place, str, Decimal] | None:
    """Return the reading accepted right before this one on this laptop."""
    own = [
        (EntryId.parse(reading.name).number, reading)
        for place in readings.places()
        for reading in readings.taken(place)
        if EntryId.parse(reading.name).laptop == laptop
    ]
    if not own:
        return None
    _, last = max(own, key=lambda pair: pair[0])
    return (last.place, last.typed, last.mm) if last.mm is not None else None
