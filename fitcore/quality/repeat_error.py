"""Repeat error: how well two readings of one place by one measurer agree. Pure.

The technical error of measurement (TEM) is the usual error of a single reading, worked out from
places that were read twice. Left and right leg of a person count as two places of one person.

Source: TEM = sqrt(sum d^2 / 2n), %TEM = 100 TEM / mean, R = 1 - TEM^2 / SD^2: Ulijaszek and Kerr
1999, from memory.
"""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

from fitcore.points import POINT_ORDER, Kind, Place, Point, Side
from fitcore.units import plain

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fitcore.record.reading import Reading
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session

Measure = tuple[Point, Kind]
"""A point and what is read there."""


@dataclass(frozen=True, slots=True)
class Pair:
    """One place read twice, in mm."""

    measurer: str
    """Who read it both times; empty where that is not recorded."""
    person: str
    """The client's code; the session's id where there is none."""
    side: Side
    point: Point
    kind: Kind
    first_mm: Decimal
    second_mm: Decimal


@dataclass(frozen=True, slots=True)
class RepeatError:
    """How well one measurer's two readings of one measure agree."""

    measurer: str | None
    """None for all measurers together, each against himself; empty where it is not recorded."""
    point: Point
    kind: Kind
    pairs: int
    people: int
    tem_mm: float
    tem_percent: float
    """Of the mean of all readings."""
    reliability: float | None
    """1 - TEM^2 / SD^2, where SD is the sample standard deviation of all these readings; None for
    fewer than three pairs or where all are equal."""

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `quality --json` prints."""
        return {
            "measurer": self.measurer,
            "point": self.point.value,
            "kind": self.kind.value,
            "pairs": self.pairs,
            "people": self.people,
            "tem_mm": write_mm(self.tem_mm),
            "tem_percent": round(self.tem_percent, 3),
            "reliability": None if self.reliability is None else round(self.reliability, 4),
        }


def pairs_of(session: Session, readings: Readings) -> tuple[Pair, ...]:
    """Return every place one measurer read in the first and again in the second time round.

    A third reading is left out: it is taken where two differ, so it is no fresh repeat.
    """
    pairs = []
    for place, taken in measured_places(readings):
        first = next((reading for reading in taken if reading.round == 1), None)
        second = next((reading for reading in taken if reading.round == 2), None)
        if first is None or second is None or first.mm is None or second.mm is None:
            continue
        measurer = measurer_of(session, first)
        if measurer == measurer_of(session, second):
            values = kept_once(first.mm), kept_once(second.mm)
            pairs.append(Pair(measurer, person_of(session), *place, *values))
    return tuple(pairs)


def repeat_errors(pairs: Iterable[Pair]) -> tuple[RepeatError, ...]:
    """Work out repeat error by measurer and measure, and of all measurers together.

    Returns:
        By measurer, all together last; foot upwards.
    """
    groups: defaultdict[tuple[str | None, Measure], list[Pair]] = defaultdict(list)
    for pair in pairs:
        for measurer in (pair.measurer, None):
            groups[measurer, (pair.point, pair.kind)].append(pair)
    in_order = sorted(groups, key=lambda key: (key[0] is None, key[0] or "", measure_rank(key[1])))
    return tuple(_repeat_error(*key, groups[key]) for key in in_order)


def technical_error(pairs: Sequence[tuple[Decimal, Decimal]]) -> float:
    """Return the technical error of measurement, in the unit of the values.

    Raises:
        ValueError: there are no pairs.

    Source: sqrt(sum d^2 / 2n), Ulijaszek and Kerr 1999, from memory.
    """
    if not pairs:
        raise ValueError("no pairs")
    squares = sum(((one - other) ** 2 for one, other in pairs), Decimal(0))
    return math.sqrt(squares / (2 * len(pairs)))


def percent_error(pairs: Sequence[tuple[Decimal, Decimal]]) -> float:
    """Return the technical error in percent of the mean of all values.

    Raises:
        ValueError: there are no pairs.
    """
    tem = technical_error(pairs)
    total = sum((one + other for one, other in pairs), Decimal(0))
    return 100 * tem / float(total / (2 * len(pairs)))


def measured_places(readings: Readings) -> Iterable[tuple[Place, Sequence[Reading]]]:
    """Yield each girth and length nobody disputes, with the readings that have a value."""
    for place in readings.places():
        if place[2] is not Kind.SHOE and not readings.disputed(place):
            yield place, readings.taken(place)


def measurer_of(session: Session, reading: Reading) -> str:
    """Return who held the tape; empty where that is not recorded."""
    return reading.measurer or session.text("measurer")


def person_of(session: Session) -> str:
    """Return the client's code; the session's id where there is none or two stand side by side."""
    return session.text("client") or session.id


@lru_cache(maxsize=1 << 16)
def kept_once(mm: Decimal) -> Decimal:
    """Return the same object for equal values: many sessions hold the same few thousand."""
    return mm


def measure_rank(measure: Measure) -> tuple[int, str]:
    """Sort key of measures: foot upwards, girths before lengths."""
    return (POINT_ORDER[measure[0]], measure[1].value)


def write_mm(error: float) -> str:
    """Write an error in mm as documents print it: a decimal, to the micrometre."""
    return plain(Decimal(f"{error:.3f}"))


def _repeat_error(measurer: str | None, measure: Measure, pairs: Sequence[Pair]) -> RepeatError:
    values = [(pair.first_mm, pair.second_mm) for pair in pairs]
    tem = technical_error(values)
    variance = statistics.variance([value for pair in values for value in pair])
    return RepeatError(
        measurer=measurer,
        point=measure[0],
        kind=measure[1],
        pairs=len(pairs),
        people=len({pair.person for pair in pairs}),
        tem_mm=tem,
        tem_percent=percent_error(values),
        reliability=None if len(pairs) < 3 or not variance else 1 - tem**2 / float(variance),
    )
