"""How well the readings of a set of sessions agree: the report on measuring quality. Pure.

By one measurer twice, between two measurers of one person on one day, and how often readings end in
a round figure. From how many readings on something is said: the thresholds' own file.
"""

from __future__ import annotations

import statistics
from collections import Counter, defaultdict
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from itertools import combinations
from typing import TYPE_CHECKING

from fitcore.points import Kind
from fitcore.quality.repeat_error import (
    Measure,
    Pair,
    RepeatError,
    kept_once,
    measure_rank,
    measured_places,
    measurer_of,
    pairs_of,
    percent_error,
    person_of,
    repeat_errors,
    technical_error,
    write_mm,
)
from fitcore.record.readings import Readings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from datetime import date

    from fitcore.points import Place, Point
    from fitcore.quality.quality_rules import QualityRules
    from fitcore.record.session import Session

    _Day = tuple[str, date | None, str]
    """Person, local day, and the session's id where no time is known."""


@dataclass(frozen=True, slots=True)
class BetweenError:
    """How well values used by two measurers for one person on one day agree."""

    point: Point
    kind: Kind
    pairs: int
    people: int
    measurers: tuple[str, ...]
    tem_mm: float
    tem_percent: float

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `quality --json` prints."""
        return {
            "point": self.point.value,
            "kind": self.kind.value,
            "pairs": self.pairs,
            "people": self.people,
            "measurers": list(self.measurers),
            "tem_mm": write_mm(self.tem_mm),
            "tem_percent": round(self.tem_percent, 3),
        }


@dataclass(frozen=True, slots=True)
class EndDigits:
    """How often one measurer's readings in cm end in .0 or .5: one in five by chance."""

    measurer: str
    readings: int
    zeros: int
    fives: int

    @property
    def round_percent(self) -> float:
        """Share of readings that end in .0 or .5, in percent."""
        return 100 * (self.zeros + self.fives) / self.readings

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `quality --json` prints."""
        return {
            "measurer": self.measurer,
            "readings": self.readings,
            "zero_or_five_percent": round(self.round_percent, 1),
        }


@dataclass(frozen=True)
class QualityReport:
    """What a set of sessions says of how well its readings agree."""

    rules: QualityRules
    repeat_error: tuple[RepeatError, ...]
    """By measurer, all together last; foot upwards."""
    between: tuple[BetweenError, ...]
    end_digits: tuple[EndDigits, ...]
    disputed: int
    """Places left out because different values stand side by side."""
    unusable: int
    """Readings left out because their entries cannot be used."""

    def enough(self, row: RepeatError | BetweenError) -> bool:
        """Whether a figure rests on enough pairs to be told."""
        return row.pairs >= self.rules.least_pairs

    def too_round(self) -> tuple[EndDigits, ...]:
        """Return the measurers with more round readings than chance explains."""
        return tuple(
            digits
            for digits in self.end_digits
            if digits.readings >= self.rules.least_readings
            and digits.round_percent > float(self.rules.most_round_percent)
        )

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `quality --json` prints."""
        return {
            "repeat_error": [row.as_json() for row in self.repeat_error],
            "between": [row.as_json() for row in self.between],
            "end_digits": [digits.as_json() for digits in self.end_digits],
            "left_out": {"disputed_places": self.disputed, "unusable_readings": self.unusable},
        }


@dataclass(frozen=True, slots=True)
class _Sitting:
    """What one measurer used for one person on one day."""

    measurer: str
    person: str
    values: Mapping[Place, Decimal]


class Gathered:
    """The numbers a report needs of the sessions gone through.

    No session or reading is kept: those of a large archive would not fit into memory.
    """

    def __init__(self) -> None:
        self.sessions = 0
        """How many were gone through."""
        self._twice: list[Pair] = []
        self._days: defaultdict[_Day, list[_Sitting]] = defaultdict(list)
        self._ends: defaultdict[str, Counter[Decimal]] = defaultdict(Counter)
        """Measurer to how often each last digit of cm was read, in mm."""
        self._disputed = 0
        self._unusable = 0

    def add(self, session: Session) -> None:
        """Take over the numbers of one session; two copies of one are joined before."""
        readings = Readings(session)
        self.sessions += 1
        self._twice += pairs_of(session, readings)
        self._days[_day_of(session)] += _sittings(session, readings)
        for _, taken in measured_places(readings):
            for reading in taken:
                if reading.unit == "cm" and reading.mm is not None:
                    self._ends[measurer_of(session, reading)][reading.mm % 10] += 1
        self._disputed += _disputed_places(readings)
        self._unusable += len(readings.problems)

    def report(self, rules: QualityRules) -> QualityReport:
        """Work out repeat error, error between measurers and round figures."""
        return QualityReport(
            rules=rules,
            repeat_error=repeat_errors(self._twice),
            between=_between_errors(self._days.values()),
            end_digits=tuple(
                EndDigits(name, ends.total(), ends[Decimal(0)], ends[Decimal(5)])
                for name, ends in sorted(self._ends.items())
            ),
            disputed=self._disputed,
            unusable=self._unusable,
        )


def gather(sessions: Iterable[Session]) -> Gathered:
    """Go through sessions once; each is let go before the next is asked for.

    Args:
        sessions: one object for each session; two copies of one are joined before.
    """
    gathered = Gathered()
    for session in sessions:
        gathered.add(session)
        del session  # else it would stay until the next has been read
    return gathered


def report_quality(sessions: Iterable[Session], rules: QualityRules) -> QualityReport:
    """Work out repeat error, error between measurers and round figures.

    Args:
        sessions: one object for each session; two copies of one are joined before. They are gone
            through once, and none is kept.
        rules: from how many readings on something is said.
    """
    return gather(sessions).report(rules)


def error_of(report: QualityReport, measurer: str) -> Callable[[Point, Kind], float | None]:
    """Return how to look up a measurer's own repeat error, in mm: one standard deviation.

    It rests on repeats within one sitting. Another day's mark on the skin may lie elsewhere, which
    this does not hold. With too few pairs of a measure nothing is known.
    """
    known = {
        (row.point, row.kind): row.tem_mm
        for row in report.repeat_error
        if measurer and row.measurer == measurer and report.enough(row)
    }
    return lambda point, kind: known.get((point, kind))


def _day_of(session: Session) -> _Day:
    at = session.measured_at
    # A session without a time is still one sitting, which two measurers may have shared.
    return person_of(session), at.date() if at else None, "" if at else session.id


def _between_errors(days: Iterable[Sequence[_Sitting]]) -> tuple[BetweenError, ...]:
    found: defaultdict[Measure, list[tuple[_Sitting, _Sitting, Place]]] = defaultdict(list)
    for sittings in days:
        for one, other in combinations(sittings, 2):
            if one.measurer != other.measurer:
                for place in one.values.keys() & other.values.keys():
                    found[place[1], place[2]].append((one, other, place))
    return tuple(
        _between_error(measure, found[measure]) for measure in sorted(found, key=measure_rank)
    )


def _sittings(session: Session, readings: Readings) -> list[_Sitting]:
    """Return what each measurer of a session used; readings of nobody known are left out."""
    values: defaultdict[str, dict[Place, Decimal]] = defaultdict(dict)
    for place, taken in measured_places(readings):
        own: defaultdict[str, list[Decimal]] = defaultdict(list)
        for reading in taken:
            if reading.mm is not None:
                own[measurer_of(session, reading)].append(reading.mm)
        for measurer, read in own.items():
            # The rule of `Readings.adopted`: mean of two, median of three.
            values[measurer][_place_once(place)] = kept_once(statistics.median(read))
    return [_Sitting(name, person_of(session), values[name]) for name in sorted(values) if name]


@cache
def _place_once(place: Place) -> Place:
    """Return the same object for equal places: there are hardly more than a hundred."""
    return place


def _between_error(
    measure: Measure, found: Sequence[tuple[_Sitting, _Sitting, Place]]
) -> BetweenError:
    values = [(one.values[place], other.values[place]) for one, other, place in found]
    return BetweenError(
        point=measure[0],
        kind=measure[1],
        pairs=len(found),
        people=len({one.person for one, _, _ in found}),
        measurers=tuple(sorted({s.measurer for one, other, _ in found for s in (one, other)})),
        tem_mm=technical_error(values),
        tem_percent=percent_error(values),
    )


def _disputed_places(readings: Readings) -> int:
    places = (place for place in readings.places() if place[2] is not Kind.SHOE)
    return sum(map(readings.disputed, places))
