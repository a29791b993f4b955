"""What a column of a maker's table can mean, and how people say it: `B girth`, `skip`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitcore.points import Kind, Point, place_words
from fitcore.shoes import SHOE_SYSTEMS
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.problems import Problem
    from fitcore.shoes import ShoeSystem

Use = Literal["size", "variant", "measure", "skip"]

_GIRTH_IDS = {
    Point.FOOT: "foot", Point.A: "ball", Point.Y: "heel", Point.B: "ankle", Point.B1: "b1",
    Point.C: "calf", Point.D: "below_knee", Point.E: "knee", Point.F: "mid_thigh",
    Point.G: "thigh", Point.K: "crotch", Point.H: "hip", Point.T: "waist",
}  # fmt: skip
_SPEC = re.compile(r"(foot|b1|[aybcdefgkht]) (girth|length)")


@dataclass(frozen=True, slots=True)
class Meaning:
    """What one column is for."""

    use: Use
    point: Point | None = None
    kind: Kind | None = None
    system: ShoeSystem | None = None

    @property
    def id(self) -> str:
        """Name of the dimension in a chart file."""
        if self.kind is Kind.SHOE:
            return "shoe"
        if self.point is None:
            return self.use
        if self.kind is Kind.LENGTH:
            return "foot_length" if self.point is Point.FOOT else f"length_{self.point.lower()}"
        return _GIRTH_IDS[self.point]

    @property
    def words(self) -> str:
        """The same for people: `round the ankle (B)`."""
        if self.point is None or self.kind is None:
            words = {"size": say("the size"), "variant": say("wide, long and the like")}
            return words.get(self.use, say("left out"))
        place = place_words(self.point, self.kind)
        return f"{place} {self.system}" if self.system else place


@dataclass(frozen=True, slots=True)
class Question:
    """Something only the maker or the leaflet can answer."""

    problem: Problem
    heading: str = ""
    """The heading asked about; empty where the whole table is."""
    choices: tuple[str, ...] = ()
    """Answers `read_meaning` understands, or units."""


def read_meaning(text: str) -> Meaning | None:
    """Read what somebody says a column means; None where it is none of these.

    `B girth`, `D length`, `foot length`, `shoe eu` (or uk, us_men, us_women, mondo), `size`,
    `variant`, `skip`.
    """
    spec = " ".join(text.casefold().split())
    for use in ("size", "variant", "skip"):
        if spec == use:
            return Meaning(use)
    for system in SHOE_SYSTEMS:
        if spec in (f"shoe {system}", f"shoe {system.replace('_', ' ')}"):
            return shoe_meaning(system)
    if match := _SPEC.fullmatch(spec):
        point = Point.FOOT if match[1] == "foot" else Point(match[1].upper())
        return Meaning("measure", point, Kind(match[2]))
    return None


def shoe_meaning(system: ShoeSystem) -> Meaning:
    """Return the meaning of a column of shoe sizes."""
    return Meaning("measure", Point.FOOT, Kind.SHOE, system)
