"""Sets of whole numbers as ranges: a laptop's numbers are many and nearly without gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True, slots=True)
class Ranges:
    """A set of whole numbers from 1."""

    spans: tuple[tuple[int, int], ...] = ()
    """First and last number of each range, rising, at least one number apart."""

    @classmethod
    def of(cls, numbers: Iterable[int]) -> Ranges:
        """Make the set of these numbers."""
        return cls(_united((number, number) for number in numbers))

    @classmethod
    def united(cls, spans: Iterable[tuple[int, int]]) -> Ranges:
        """Make the set of all numbers of some ranges, which may overlap; ends included."""
        return cls(_united(spans))

    @property
    def highest(self) -> int:
        """The highest number; 0 where there is none."""
        return self.spans[-1][1] if self.spans else 0

    def __contains__(self, number: object) -> bool:
        return isinstance(number, int) and any(low <= number <= high for low, high in self.spans)

    def __or__(self, other: Ranges) -> Ranges:
        return Ranges(_united([*self.spans, *other.spans]))

    def __and__(self, other: Ranges) -> Ranges:
        found = []
        mine, theirs = iter(self.spans), iter(other.spans)
        one, two = next(mine, None), next(theirs, None)
        while one is not None and two is not None:
            low, high = max(one[0], two[0]), min(one[1], two[1])
            if low <= high:
                found.append((low, high))
            if one[1] <= two[1]:
                one = next(mine, None)
            else:
                two = next(theirs, None)
        return Ranges(tuple(found))

    def missing(self, last: int) -> tuple[tuple[int, int], ...]:
        """Return the ranges from 1 to `last`, ends included, that are not in the set."""
        gaps = []
        free = 1
        for low, high in self.spans:
            if low > last:
                break
            if low > free:
                gaps.append((free, low - 1))
            free = high + 1
        return (*gaps, (free, last)) if free <= last else tuple(gaps)


def _united(spans: Iterable[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    united: list[tuple[int, int]] = []
    for low, high in sorted(spans):
        if united and low <= united[-1][1] + 1:
            united[-1] = (united[-1][0], max(high, united[-1][1]))
        else:
            united.append((low, high))
    return tuple(united)
