"""Two codes that may be one person's: measured the same day on two laptops, to the same numbers.

Only a guess to ask about; nothing is linked by it. Day and numbers are evidence for a person's
eyes: whoever knows the client answers.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.points import POINT_ORDER, Kind, Side
from fitcore.record.readings import Readings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from datetime import date
    from decimal import Decimal

    from fitcore.points import Place
    from fitcore.record.session import Session

    Places = tuple[tuple[Place, Decimal, Decimal], ...]

FEWEST_PLACES = 5
"""Lengths and girths read under both codes (ours): one leg alone is like too many others."""
MOST_APART_MM = 1
"""One mark of a tape in mm (ours): the same leg read twice by two people."""
FEWEST_SAME = 4
"""Of those, values that are the same to the mm (ours)."""


@dataclass(frozen=True)
class AlikeSittings:
    """Two sittings under two codes that look like one person's."""

    codes: tuple[str, str]
    """Sorted."""
    sittings: tuple[Session, Session]
    """In the order of the codes."""
    day: date
    """The local day of both, by their laptops' clocks."""
    values: Places
    """Place and both values in mm, left leg first, floor upwards."""


def alike_sittings(
    sessions: Iterable[Session], may_suggest: Callable[[str, str], bool]
) -> tuple[AlikeSittings, ...]:
    """Return pairs of codes worth asking about, sorted by codes; one pair of sittings for each.

    Args:
        sessions: all sessions; only those of one undisputed code are looked at.
        may_suggest: whether two codes may still be asked about.
    """
    days: defaultdict[date, list[Session]] = defaultdict(list)
    for session in sessions:
        at = session.measured_at
        if at is not None and session.text("client") and session.was_measured:
            days[at.date()].append(session)
    found: dict[tuple[str, str], AlikeSittings] = {}
    for day, sittings in sorted(days.items()):
        for one, other, both in _alike(sittings):
            codes = (one.text("client"), other.text("client"))
            if codes not in found and may_suggest(*codes):
                found[codes] = AlikeSittings(codes, (one, other), day, both)
    return tuple(found[codes] for codes in sorted(found))


def _alike(sittings: list[Session]) -> Iterator[tuple[Session, Session, Places]]:
    """Yield pairs of one day's sittings that are alike, in the order of their codes and ids."""
    in_order = sorted(sittings, key=lambda session: (session.text("client"), session.id))
    values = [_values(session) for session in in_order]
    with_value: defaultdict[tuple[Place, Decimal], list[int]] = defaultdict(list)
    same: Counter[tuple[int, int]] = Counter()
    # A busy day has many sittings: only those that share a value are ever held side by side.
    for number, told in enumerate(values):
        for value in told.items():
            same.update((other, number) for other in with_value[value])
            with_value[value].append(number)
    for (one, other), count in sorted(same.items()):
        if count < FEWEST_SAME or _laptops(in_order[one]) & _laptops(in_order[other]):
            continue  # one laptop does not give one person two codes in a day
        both = _same_places(values[one], values[other])
        if both:
            yield in_order[one], in_order[other], both


def _laptops(session: Session) -> frozenset[str]:
    """Return the laptops that gave the code."""
    return frozenset(entry.by.laptop for entry in session.answer("client").heads)


def _values(session: Session) -> Mapping[Place, Decimal]:
    readings = Readings(session)
    found = {}
    for place in readings.places():
        side, point, kind = place
        adopted = readings.adopted(side, point, kind) if kind is not Kind.SHOE else None
        if adopted is not None:
            found[place] = adopted.mm
    return found


def _same_places(one: Mapping[Place, Decimal], other: Mapping[Place, Decimal]) -> Places:
    """Return the places of two alike sittings; none where they are not alike."""
    places = one.keys() & other.keys()
    if len(places) < FEWEST_PLACES:
        return ()
    if max(abs(one[place] - other[place]) for place in places) > MOST_APART_MM:
        return ()
    sides = list(Side)
    in_order = sorted(places, key=lambda p: (sides.index(p[0]), POINT_ORDER[p[1]], p[2]))
    return tuple((place, one[place], other[place]) for place in in_order)
