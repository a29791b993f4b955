"""What protocols, ranges and rules in `profiles/` must look like, and what all profiles share.

The models check shape and types; what the numbers mean is judged where they are used. pydantic is
loaded with this module, so nothing on the way to the first frame may import it.
"""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from fitcore.points import Kind, Point
from fitcore.problems import Problem
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
        raise ValueError(say("'{number}' is not a number of any use here", number=value))
    return exact


def _point(value: object) -> object:
    return Point(value) if isinstance(value, str) and value in set(Point) else value


def _kind(value: object) -> object:
    return Kind(value) if isinstance(value, str) and value in set(Kind) else value


Exact = Annotated[Decimal, BeforeValidator(_exact)]
"""A decimal; an integer in the file is taken as one."""
PointField = Annotated[Point, BeforeValidator(_point)]
KindField = Annotated[Kind, BeforeValidator(_kind)]
Identifier = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,47}$")]
Sentence = Annotated[str, Field(min_length=1, max_length=400)]


class ProfileModel(BaseModel):
    """Base of all profile files: frozen, strict, and no key we do not know."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", defer_build=True)


class Source(ProfileModel):
    """Where a file's numbers come from."""

    text: Sentence
    """Document and clause, or in plain words whose practice or judgement it is."""
    status: Literal[
        "read", "second hand", "computed", "from memory", "common practice", "judgement", "invented"
    ]
    printed: date | None = None


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
    rounds: int = Field(default=1, ge=1, le=3)
    usual: bool = False
    """Whether it is offered first where several protocols are enough."""
    source: Source
    steps: tuple[ProtocolStep, ...] = Field(min_length=1, strict=False)


class PlausibleRange(ProfileModel):
    """What one measure of an adult leg usually reads, in cm."""

    point: PointField
    kind: KindField
    typical_cm: tuple[Exact, Exact] | None = Field(default=None, strict=False)
    soft_cm: tuple[Exact, Exact] | None = Field(default=None, strict=False)
    """Outside: asked to look again."""
    hard_cm: tuple[Exact, Exact] | None = Field(default=None, strict=False)
    """Outside: surely a slip of unit or typing."""
    source: Sentence

    @model_validator(mode="after")
    def _nested(self) -> Self:
        for inner, outer in ((self.typical_cm, self.hard_cm), (self.soft_cm, self.hard_cm)):
            if inner and outer and not outer[0] <= inner[0] < inner[1] <= outer[1]:
                raise ValueError(say("a range lies outside the hard range"))
        return self


class Ranges(ProfileModel):
    """Plausible ranges for the people the program is for."""

    format: Literal[1]
    id: Identifier
    people: Sentence
    source: Source
    ranges: tuple[PlausibleRange, ...] = Field(strict=False)

    def of(self, point: Point, kind: Kind) -> PlausibleRange | None:
        """Return the range of one measure, or None where there is none."""
        return next((r for r in self.ranges if (r.point, r.kind) == (point, kind)), None)


class TimeRules(ProfileModel):
    """Thresholds of the checks on time and conditions."""

    format: Literal[1]
    id: Identifier
    late_after_hours: Exact
    fresh_after_compression_minutes: Exact
    ask_after_hours: Exact
    """A time of day that long ago is asked about once: today's may have been meant."""
    source: Source


def validation_problems(error: ValidationError) -> tuple[Problem, ...]:
    """Turn what pydantic found into problems with the key and a mend each."""
    problems = []
    for fault in error.errors(include_url=False, include_context=False):
        key = ".".join(str(part) for part in fault["loc"]) or None
        message = re.sub(r"^Value error, ", "", fault["msg"])
        if key is None and (place := re.match(r"(\w+\.\d+(?:\.\w+)?): ", message)):
            # A chart's rows are judged before pydantic sees them one by one.
            key, message = place[1], message.removeprefix(place[0])
        mends = {
            "missing": say("Add this key."),
            "extra_forbidden": say("Remove this key, or check its spelling."),
            "value_error": say("Correct it in the file."),
        }
        problems.append(
            Problem(
                code=f"profile_{fault['type']}",
                text=f"{message.removesuffix('.')}.",
                mend=mends.get(fault["type"], say("Write a value of the kind asked for.")),
                key=key,
            )
        )
    return tuple(problems)
