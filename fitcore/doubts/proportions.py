"""Whether the girths of one leg go together, and which one is most likely misread.

Ratios and lines are data. Two limits are used: what is impossible is doubted as it stands; what is
only rare is doubted where a slip of the tape explains it, so that a rare leg is left in peace. That
girths rise up the leg is never asked: the calf is as large as the knee in nearly half of all legs
(Heinz 2003, computed).
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.doubts.slips import slip_words, tape_slips
from fitcore.points import POINT_ORDER, Kind, Point, place_words
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal

    from fitcore.doubts.slips import Value
    from fitcore.profile_models import Line, Ranges, Ratio


@dataclass(frozen=True, slots=True)
class Misfit:
    """One girth that does not go with others of its leg."""

    point: Point
    """The reading most likely wrong."""
    other: Point
    """The neighbour it goes with least, or the other one of two swapped."""
    codes: tuple[str, ...]
    """All that is doubted for this one cause, the most telling first."""
    meant: Decimal | None = None
    """What it reads like, in mm, where a slip explains it."""

    def says_more_than(self, older: Misfit | None) -> bool:
        """Whether it is worth telling after an older doubt about the same reading."""
        if older is None:
            return True
        other_meaning = self.meant is not None and self.meant != older.meant
        return other_meaning or not set(self.codes) <= set(older.codes)

    @property
    def is_explained(self) -> bool:
        """Whether a slip of the tape or of the field explains it."""
        return self.meant is not None or self.codes[0] == "neighbours_swapped"

    def text(self, leg: Mapping[Point, Value]) -> str:
        """Return one sentence: what does not fit, and what to do."""
        what = place_words(self.point, Kind.GIRTH)
        other = place_words(self.other, Kind.GIRTH)
        value, beside = leg[self.point].shown, leg[self.other].shown
        match self.codes[0]:
            case "neighbours_swapped":
                return say(
                    "{what}, {value}, and {other}, {beside}: each fits the other's place. Swapped? "
                    "Measure both again.",
                    what=what,
                    value=value,
                    other=other,
                    beside=beside,
                )
            case "ankle_not_smaller":
                return say(
                    "{ankle}, {value}, is not smaller than {calf}, {beside}. Measure both again.",
                    ankle=place_words(Point.B, Kind.GIRTH),
                    value=leg[Point.B].shown,
                    calf=place_words(Point.C, Kind.GIRTH),
                    beside=leg[Point.C].shown,
                )
            case "ratio":
                return say(
                    "{what}: {value} does not go with {beside} {other}. Measure both again.",
                    what=what,
                    value=value,
                    other=other,
                    beside=beside,
                )
            case _:
                return say(
                    "{what}: {value} does not go with {beside} {other}. {slip}",
                    what=what,
                    value=value,
                    other=other,
                    beside=beside,
                    slip=slip_words(self.codes[0], self.meant),
                )


def judge_leg(
    ranges: Ranges, leg: Mapping[Point, Value], latest: Point | None = None
) -> tuple[Misfit, ...]:
    """Find the girths of one leg that do not go with the others.

    Args:
        ranges: ratios, lines and ranges, in cm.
        leg: the girths known so far.
        latest: the one read last: of two equally doubtful it is the one looked at again.

    Returns:
        Each cause once, the clearest first; empty where nothing is impossible and no slip
        explains what is rare.
    """
    found: list[Misfit] = []
    rest = dict(leg)
    while True:
        judged = _Leg(ranges, {point: value.mm for point, value in rest.items()})
        misfit = judged.swapped() or judged.explained(rest) or judged.impossible(latest)
        if misfit is None:
            return tuple(found)
        found.append(misfit)
        # Each further doubt must stand without what is doubted already.
        del rest[misfit.point]
        if misfit.codes[0] == "neighbours_swapped":
            del rest[misfit.other]


def goes_with(ranges: Ranges, leg: Mapping[Point, Value], point: Point, mm: Decimal) -> bool:
    """Whether a value at a point would be usual beside the other girths of the leg."""
    values = {p: value.mm for p, value in leg.items()} | {point: mm}
    return not any(point in pair for pair in _Leg(ranges, values).rare)


class _Leg:
    """The girths of one leg in mm, and the pairs of them that do not go together."""

    def __init__(self, ranges: Ranges, mm: Mapping[Point, Decimal]) -> None:
        self._ranges = ranges
        self._mm = mm
        self._ratios = [r for r in ranges.ratios if r.point in mm and r.to in mm]
        self._lines = [line for line in ranges.lines if line.point in mm and line.given in mm]
        impossible = [
            (ratio.point, ratio.to)
            for ratio in self._ratios
            if not ratio.possible[0] <= mm[ratio.point] / mm[ratio.to] <= ratio.possible[1]
        ]
        self.not_smaller = Point.B in mm and Point.C in mm and mm[Point.B] >= mm[Point.C]
        if self.not_smaller and (Point.C, Point.B) not in impossible:
            impossible.append((Point.C, Point.B))
        self.beyond = tuple(impossible)
        """Pairs no healthy leg has."""
        self.rare = (
            *impossible,
            *((r.point, r.to) for r in self._ratios if _is_rare(r, mm)),
            *((line.point, line.given) for line in self._lines if _is_off(line, mm)),
        )
        """Pairs few healthy legs have, the impossible ones included."""

    def swapped(self) -> Misfit | None:
        """Find two readings that each fit the other's place."""
        for one, other in (pair.points for pair in self._ranges.swaps):
            if one not in self._mm or other not in self._mm or not self.is_doubted(one, other):
                continue
            turned = self._with({one: self._mm[other], other: self._mm[one]})
            if all(
                turned.is_usual(point) and not turned.is_doubted(point) for point in (one, other)
            ):
                return Misfit(one, other, self._codes("neighbours_swapped", one, other))
        return None

    def explained(self, leg: Mapping[Point, Value]) -> Misfit | None:
        """Find the one reading that a slip of the tape explains best."""
        best: tuple[tuple[int, float], Misfit] | None = None
        for point in leg:
            if not self.is_doubted(point):
                continue
            for slip in tape_slips(self._mm[point], leg[point].unit, self._ranges.tape_slip_cm):
                other = self._with({point: slip.mm})
                if not other.is_usual(point) or other.is_doubted(point):
                    continue
                rank = (len(other.rare), other.strain())
                if best is None or rank < best[0]:
                    codes = self._codes(slip.code, point)
                    best = (rank, Misfit(point, self._doubted_beside(point), codes, slip.mm))
        return best[1] if best else None

    def impossible(self, latest: Point | None) -> Misfit | None:
        """Find the reading most at odds with the others where a pair is impossible."""
        if not self.beyond:
            return None
        votes = Counter(point for pair in self.beyond for point in pair)
        wider = Counter(point for pair in self.rare for point in pair)
        point = max(
            votes,
            key=lambda p: (
                votes[p],
                wider[p],
                not self.is_usual(p),
                p is latest,
                POINT_ORDER[p],
            ),
        )
        return Misfit(point, self._doubted_beside(point), self._codes("ratio", point))

    def _with(self, changed: Mapping[Point, Decimal]) -> _Leg:
        return _Leg(self._ranges, {**self._mm, **changed})

    def is_doubted(self, *points: Point) -> bool:
        return any(set(pair) & set(points) for pair in self.rare)

    def is_usual(self, point: Point) -> bool:
        known = self._ranges.of(point, Kind.GIRTH)
        return known is None or known.reads_right(self._mm[point])

    def _codes(self, code: str, *points: Point) -> tuple[str, ...]:
        """Add to a cause what else is doubted for it."""
        codes: list[str] = [code]
        if self.not_smaller and {Point.B, Point.C} & set(points):
            # Of the two plain doubts the one anybody can see comes first.
            codes.insert(0 if code == "ratio" else 1, "ankle_not_smaller")
        if any(set(pair) & set(points) for pair in self.beyond):
            codes.append("ratio")
        return tuple(dict.fromkeys(codes))

    def _doubted_beside(self, point: Point) -> Point:
        """Return the nearest neighbour a reading does not go with: of the impossible ones first."""
        pairs = [pair for pair in self.beyond if point in pair] or [
            pair for pair in self.rare if point in pair
        ]
        others = [pair[0] if pair[1] is point else pair[1] for pair in pairs]
        near = POINT_ORDER[point]
        return min(others, key=lambda p: (abs(POINT_ORDER[p] - near), POINT_ORDER[p]))

    def strain(self) -> float:
        """Return how far the ratios lie from the middle of what is usual; no unit."""
        return sum(_distance(ratio, self._mm) ** 2 for ratio in self._ratios)


def _is_rare(ratio: Ratio, mm: Mapping[Point, Decimal]) -> bool:
    usual = ratio.usual
    return usual is not None and not usual[0] <= mm[ratio.point] / mm[ratio.to] <= usual[1]


def _is_off(line: Line, mm: Mapping[Point, Decimal]) -> bool:
    expected = line.cm + line.rise * (mm[line.given] / 10 - line.given_cm)
    return not -line.below_cm <= mm[line.point] / 10 - expected <= line.above_cm


def _distance(ratio: Ratio, mm: Mapping[Point, Decimal]) -> float:
    low, high = (math.log(limit) for limit in ratio.usual or ratio.possible)
    return (math.log(mm[ratio.point] / mm[ratio.to]) * 2 - low - high) / (high - low)
