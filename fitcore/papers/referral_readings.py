"""What a referral note says of the tape: each value used, how it was read, what was not. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.instants import EPOCH, fixed_offset, hours_between, long_date
from fitcore.points import Kind, Side, place_words, side_words
from fitcore.record.fields import choice_words
from fitcore.record.readings import Readings
from fitcore.shoes import system_words
from fitcore.units import plain, show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from fitcore.fit import SessionFit
    from fitcore.record.reading import Reading
    from fitcore.record.readings import Adopted
    from fitcore.record.session import Session
    from fitcore.safety.calves import Calves


def calf_lines(calves: Calves) -> Iterator[str]:
    """Tell the difference between the calves, and a calf larger than last time."""
    if not calves.findings:
        yield say("Not compared.")
    yield from (f"- {found.text}" for found in calves.findings)


def reading_lines(fit: SessionFit) -> Iterator[str]:
    """Tell the readings of each leg: those used, those in dispute, and those not taken."""
    if not fit.legs:
        yield say("Nothing was measured.")
    readings = Readings(fit.session)
    for leg in fit.legs:
        told = [
            *(_used_words(fit.session, readings, value) for value in leg.adopted),
            *_disputed(readings, leg.side),
            *leg.not_taken,
        ]
        yield side_words(leg.side)
        yield from (f"  - {line}" for line in told or [say("nothing was measured")])


def instant_words(at: datetime) -> str:
    """Write an instant with the offset of its zone: `4 March 2026, 09:12 +01:00`."""
    written = fixed_offset(at).isoformat(timespec="minutes")
    return f"{long_date(at)}, {written[11:16]} {written[16:]}"


def _used_words(session: Session, readings: Readings, value: Adopted) -> str:
    what = place_words(value.point, value.kind)
    found = [reading for name in value.names if (reading := readings.by_name(name)) is not None]
    how = [_hours(session, readings, found), *_other_measurers(found)]
    if value.kind is Kind.SHOE:
        size = _value_words(value)
        return "; ".join([say("{what}: {value}", what=what, value=size), *how])
    if value.spread_mm is None:
        told = say("{what}: {value}, read once", what=what, value=_value_words(value))
    else:
        told = say(
            "{what}: {value}, of {count} readings {spread} mm apart",
            what=what,
            value=_value_words(value),
            count=value.readings,
            spread=plain(value.spread_mm),
        )
    return "; ".join([told, _postures(session, found), *how])


def _disputed(readings: Readings, side: Side) -> Iterator[str]:
    """Tell values that stand side by side; a person must choose before one of them is used."""
    for place in readings.places():
        if place[0] in (side, Side.BOTH) and readings.disputed(place):
            yield say(
                "{what}: {values}; different values side by side, none is used",
                what=place_words(place[1], place[2]),
                values=" / ".join(_value_words(reading) for reading in readings.taken(place)),
            )


def _value_words(value: Adopted | Reading) -> str:
    if value.kind is Kind.SHOE and value.value is not None:
        return f"{system_words(value.system or '')} {plain(value.value)}"
    return f"{show_cm(value.mm)} cm" if value.mm is not None else ""


def _postures(session: Session, found: Sequence[Reading]) -> str:
    usual = [str(value) for value in session.answer("posture").values] or [""]
    postures = {
        posture
        for reading in found
        for posture in ([reading.posture] if reading.posture else usual)
    }
    return ", ".join(
        choice_words(posture) if posture else say("posture not recorded")
        for posture in sorted(postures)
    )


def _hours(session: Session, readings: Readings, found: Sequence[Reading]) -> str:
    """Tell when the tape was read: the hour where day and zone are those of the session."""
    known = (readings.read_at(reading) for reading in found)
    instants = sorted(
        (at for at in known if at is not None), key=lambda at: hours_between(EPOCH, at)
    )
    if not instants:
        return say("hour not known")
    usual = session.measured_at

    def words(at: datetime) -> str:
        same_day = usual is not None and at.date() == usual.date()
        if usual is not None and same_day and at.utcoffset() == usual.utcoffset():
            return f"{at:%H:%M}"
        return instant_words(at)

    first, last = words(instants[0]), words(instants[-1])
    return first if first == last else say("{first} to {last}", first=first, last=last)


def _other_measurers(found: Sequence[Reading]) -> list[str]:
    """Tell who held the tape where it was not the session's measurer."""
    others = dict.fromkeys(reading.measurer for reading in found if reading.measurer)
    return [say("by {who}", who=who) for who in others]
