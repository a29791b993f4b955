"""What protocols, ranges and rules in `profiles/` must look like, and what all profiles share.

The models check shape and types; what the numbers mean is judged where they are used. pydantic is
loaded with this module, so nothing on the way to the first frame may import it.
"""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainValidator,
    ValidationError,
    model_validator,
)

from fitcore.clean_text import without_unsafe
from fitcore.points import Kind, Point
from fitcore.problems import Problem
from fitcore.profile_faults import IDENTIFIER, fault_words, quoted
from fitcore.words import say

Form = Literal["below_knee", "mid_calf", "half_thigh", "thigh", "tights", "footless_sleeve"]
Purpose = Literal["work", "standing", "travel", "sport", "prescribed", "other"]
Posture = Literal["standing", "sitting", "lying"]


def is_sensible(number: Decimal) -> bool:
    """Whether a number is finite and of a size that sums can be done with."""
    return number.is_finite() and -9 <= number.adjusted() <= 9


def _exact(value: object) -> object:
    exact = Decimal(value) if isinstance(value, int) and not isinstance(value, bool) else value
    if isinstance(exact, Decimal) and not is_sensible(exact):
        raise ValueError(say("{number} is not a number of any use here", number=quoted(exact)))
    return exact


def _point(value: object) -> object:
    return Point(value) if isinstance(value, str) and value in set(Point) else value


def _kind(value: object) -> object:
    return Kind(value) if isinstance(value, str) and value in set(Kind) else value


def _readable(text: str) -> str:
    """Take out what could steer a terminal or make a line read other than it is."""
    # Nearly all text is plain; what is not may need composing.
    kept = text if text.isascii() and text.isprintable() else without_unsafe(text)
    if not kept.strip():
        raise ValueError(say("nothing that can be seen stands here"))
    return kept


Exact = Annotated[Decimal, BeforeValidator(_exact)]
"""A decimal; an integer in the file is taken as one."""
PointField = Annotated[Point, BeforeValidator(_point)]
KindField = Annotated[Kind, BeforeValidator(_kind)]
Identifier = Annotated[str, Field(pattern=IDENTIFIER)]
Sentence = Annotated[str, Field(min_length=1, max_length=400), AfterValidator(_readable)]


class ProfileModel(BaseModel):
    """Base of all profile files: frozen, strict, and no key we do not know."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", defer_build=True)


def _printed(value: object) -> date | str:
    """Take a day, or a month or year alone as text: no day is invented where none is printed."""
    if type(value) is date:
        return value
    if isinstance(value, str) and re.fullmatch(r"[12][0-9]{3}(?:-(?:0[1-9]|1[0-2]))?", value):
        return value
    raise ValueError(say('write a day like 2025-03-04, or "2025-03" or "2025" in quotes'))


class Source(ProfileModel):
    """Where a file's numbers come from."""

    text: Sentence
    """Document and clause, or in plain words whose practice or judgement it is."""
    status: Literal[
        "read", "second hand", "computed", "from memory", "common practice", "judgement", "invented"
    ]
    printed: Annotated[date | str, PlainValidator(_printed)] | None = None
    """When it was printed: the day, or `2025-03` or `2025` where no more is said."""


class ProtocolStep(ProfileModel):
    """One thing to measure."""

    point: PointField
    kind: KindField
    where: Sentence
    """One sentence of ours: where the tape goes."""
    once: bool = False
    """Asked once for both legs (a shoe size)."""
    or_shoe: bool = False
    """A foot length for which a shoe size may be given instead."""

    @model_validator(mode="after")
    def _shoes_are_of_the_foot(self) -> Self:
        """Refuse what would take a reading in and never use it, or ask one and never take it."""
        foot = self.point is Point.FOOT
        if self.kind is Kind.SHOE and not foot:
            raise ValueError(say("a shoe size is of the foot"))
        if self.once and self.kind is not Kind.SHOE:
            raise ValueError(say("only a shoe size is asked once for both legs"))
        if self.or_shoe and not (foot and self.kind is Kind.LENGTH):
            raise ValueError(say("a shoe size stands for a foot length only"))
        return self


class RepeatRule(ProfileModel):
    """Where a second reading is taken, and when two agree."""

    way: Literal["where_doubtful", "each_point", "second_round"] = "where_doubtful"
    differ_cm: Exact = Decimal("0.3")
    differ_percent: Exact = Decimal(1)
    """Two readings agree up to the larger of the two limits; a percentage of their mean."""
    source: Sentence = (
        "Third reading beyond 1 %, mean of two, median of three: ISAK, from memory. The floor of "
        "0.3 cm is our judgement: 1 % of an ankle is two marks of the tape."
    )


class Protocol(ProfileModel):
    """What to measure, in which order, under which conditions."""

    format: Literal[1]
    id: Identifier
    name: Sentence
    forms: tuple[Form, ...] = Field(min_length=1, strict=False)
    """Garment forms this set of readings is enough for."""
    posture: Posture
    tape_rule: Sentence
    """How the tape lies: tension, and where it stands to the mark."""
    order: Literal["leg_by_leg", "point_by_point"] = "leg_by_leg"
    repeat: RepeatRule = RepeatRule()
    usual: bool = False
    """Whether it is offered first where several protocols are enough."""
    source: Source
    steps: tuple[ProtocolStep, ...] = Field(min_length=1, strict=False)

    @model_validator(mode="after")
    def _each_measure_once(self) -> Self:
        met: set[tuple[Point, Kind]] = set()
        for step in self.steps:
            what = (step.point, step.kind)
            if what in met:
                raise ValueError(
                    say(
                        "{point} {kind} stands twice; repeats are no steps of their own",
                        point=step.point.value,
                        kind=step.kind.value,
                    )
                )
            met.add(what)
        return self


Limits = tuple[Exact, Exact]
"""Lowest and highest, both allowed."""


class PlausibleRange(ProfileModel):
    """What one measure of an adult leg reads, in cm."""

    point: PointField
    kind: KindField
    typical_cm: Limits | None = Field(default=None, strict=False)
    """Nine legs in ten; shown beside the field."""
    soft_cm: Limits | None = Field(default=None, strict=False)
    """Nearly all legs; outside: asked to look again."""
    hard_cm: Limits | None = Field(default=None, strict=False)
    """Outside: surely a slip of unit or typing."""
    source: Sentence

    @model_validator(mode="after")
    def _nested(self) -> Self:
        for inner, outer in ((self.typical_cm, self.hard_cm), (self.soft_cm, self.hard_cm)):
            if inner and outer and not outer[0] <= inner[0] < inner[1] <= outer[1]:
                raise ValueError(say("a range lies outside the hard range"))
        return self

    @staticmethod
    def holds(limits: Limits | None, mm: Decimal) -> bool:
        """Whether a value in mm lies inside limits in cm, both ends included; in none it does."""
        return limits is None or limits[0] * 10 <= mm <= limits[1] * 10

    def reads_right(self, mm: Decimal) -> bool:
        """Whether a value in mm is what nearly all legs read, as far as that is known."""
        return self.holds(self.soft_cm or self.typical_cm or self.hard_cm, mm)


class Ratio(ProfileModel):
    """How many times one girth goes into another of the same leg."""

    point: PointField
    to: PointField
    """The girth it is divided by."""
    possible: Limits = Field(strict=False)
    """Outside: doubted as it stands."""
    usual: Limits | None = Field(default=None, strict=False)
    """Outside: doubted only where a slip of the tape would bring it inside."""
    source: Sentence

    @model_validator(mode="after")
    def _nested(self) -> Self:
        low, high = self.possible
        inner = self.usual or self.possible
        if self.point is self.to or not 0 < low <= inner[0] < inner[1] <= high:
            raise ValueError(say("the ratios are of one point, not above zero, or not nested"))
        return self


class Line(ProfileModel):
    """What one girth is expected to be beside another of the same leg, as a straight line."""

    point: PointField
    given: PointField
    given_cm: Exact
    """At this girth of the other ..."""
    cm: Exact
    """... this one is expected to be so many cm ..."""
    rise: Exact
    """... and so many cm more for each cm more."""
    below_cm: Exact = Field(gt=0)
    above_cm: Exact = Field(gt=0)
    """Farther below or above: doubted only where a slip of the tape would bring it inside."""
    source: Sentence


class Swap(ProfileModel):
    """Two neighbouring girths whose fields may be mistaken for each other."""

    points: tuple[PointField, PointField] = Field(strict=False)
    source: Sentence


class Difference(ProfileModel):
    """From which difference on two readings of one measure are doubted."""

    code: Literal["other_leg", "last_time"]
    kind: KindField
    cm: Exact = Field(ge=0)
    percent: Exact = Field(ge=0)
    """Beyond the larger of the two limits; a percentage of the mean of both readings."""
    source: Sentence

    def allows(self, one: Decimal, other: Decimal) -> bool:
        """Whether two readings in mm differ no more than they may without a doubt."""
        limit = max(self.cm * 10, (one + other) / 2 * self.percent / 100)
        return abs(one - other) <= limit


class Ranges(ProfileModel):
    """Plausible readings of the people the program is for, alone and beside each other."""

    format: Literal[1]
    id: Identifier
    people: Sentence
    source: Source
    tape_cm: Exact | None = Field(default=None, gt=0)
    """Length of the service's tape: no girth above it can have been read."""
    tape_slip_cm: Exact = Field(default=Decimal(10), gt=0)
    """How far off a tape read at a wrong ten is."""
    alone_factor: Exact = Field(default=Decimal("1.25"), ge=1)
    """Swapped digits are asked about without a neighbour only this many times outside soft."""
    ask_same_both_legs: bool = True
    """Whether the same number for both legs, one right after the other, is asked about."""
    ranges: tuple[PlausibleRange, ...] = Field(strict=False)
    ratios: tuple[Ratio, ...] = Field(default=(), strict=False)
    lines: tuple[Line, ...] = Field(default=(), strict=False)
    swaps: tuple[Swap, ...] = Field(default=(), strict=False)
    differences: tuple[Difference, ...] = Field(default=(), strict=False)

    def of(self, point: Point, kind: Kind) -> PlausibleRange | None:
        """Return the range of one measure, or None where there is none."""
        return next((r for r in self.ranges if (r.point, r.kind) == (point, kind)), None)

    @property
    def points_compared(self) -> frozenset[Point]:
        """Points whose girths are compared along the leg."""
        pairs = [
            *((ratio.point, ratio.to) for ratio in self.ratios),
            *((line.point, line.given) for line in self.lines),
            *(swap.points for swap in self.swaps),
        ]
        return frozenset(point for pair in pairs for point in pair)

    def difference(self, code: str, kind: Kind) -> Difference | None:
        """Return the limit of one comparison, or None where there is none."""
        return next((d for d in self.differences if (d.code, d.kind) == (code, kind)), None)


def validation_problems(error: ValidationError) -> tuple[Problem, ...]:
    """Turn what pydantic found into problems with the key and a mend each, in plain words."""
    faults = error.errors(include_url=False)
    problems = []
    for fault in faults:
        place = fault["loc"]
        if fault["type"] == "too_short" and any(
            len(other["loc"]) > len(place) and other["loc"][: len(place)] == place
            for other in faults
        ):
            continue  # it is too short only because what is wrong in it was left out
        key = ".".join(str(part) for part in place) or None
        limits = fault.get("ctx", {})
        if fault["type"] == "value_error":
            message, mend = f"{limits['error']}".removesuffix("."), say("Correct it in the file.")
            if key is None and (row := re.match(r"(\w+\.\d+(?:\.\w+)?): ", message)):
                # A chart's rows are judged before pydantic sees them one by one.
                key, message = row[1], message.removeprefix(row[0])
            text = f"{message}."
        else:
            part = fault["type"] == "missing" and isinstance(place[-1], int)
            kind = "missing_part" if part else fault["type"]
            text, mend = fault_words(kind, fault["input"], limits)
        problems.append(Problem(code=f"profile_{fault['type']}", text=text, mend=mend, key=key))
    return tuple(problems)
