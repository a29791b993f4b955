"""What the file on certainty in `profiles/certainty/` must look like. Loads pydantic."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fitcore.points import Kind, Point
from fitcore.profile_models import (
    Exact,
    Identifier,
    KindField,
    PointField,
    ProfileModel,
    Purpose,
    Source,
)
from fitcore.words import say


class ErrorCm(Source):
    """One standard error of a length, in cm, with where it comes from."""

    cm: Exact = Field(ge=0, le=5)

    @property
    def mm(self) -> float:
        """The same in mm."""
        return float(self.cm) * 10


class MeasureError(ProfileModel):
    """How far readings of one kind scatter, everywhere or at some points."""

    kind: KindField
    points: tuple[PointField, ...] = Field(default=(), strict=False)
    """Where it holds; empty for all points no other entry of this kind names."""
    usual: ErrorCm
    """Of one reading, where the measurer's own repeat error is not known."""
    floor: ErrorCm
    """Least error of a value used, however often it was read."""

    @model_validator(mode="after")
    def _is_sound(self) -> Self:
        if self.kind is Kind.SHOE:
            raise ValueError(say("shoe sizes have a section of their own"))
        if not self.floor.cm > 0:
            raise ValueError(say("no reading is without error: the floor must be above 0"))
        if self.floor.cm > self.usual.cm:
            raise ValueError(say("the floor is above the usual error"))
        return self


class ShoeError(ProfileModel):
    """How good a shoe size is."""

    asked: ErrorCm
    """Of the foot, where the size asked for is in the chart's own system."""
    inferred: ErrorCm
    """Of the foot, where the size comes from another system, or a foot length from a size."""
    step: Exact = Field(gt=0, le=5)
    """Sizes are told in such steps."""
    mondo_step: Exact = Field(gt=0, le=20)
    """The same for Mondopoint, in mm."""


class Tape(Source):
    """From mark to mark."""

    cm: Exact = Field(ge=0, le=1)
    inch: Exact = Field(ge=0, le=Decimal("0.5"))


class Limit(Source):
    """One probability from which on something is said."""

    share: Exact = Field(gt=0, lt=1)


class CertaintyWords(ProfileModel):
    """When a size is called clear of the edge, and when another reading is asked for."""

    clear_from: Limit
    measure_again_below: Limit
    most_percent: Annotated[int, Field(ge=50, le=99)]
    """No percentage above it is shown: more is told as *over*."""

    @model_validator(mode="after")
    def _again_is_not_clear(self) -> Self:
        if self.measure_again_below.share > self.clear_from.share:
            raise ValueError(say("what is clear of the edge would be measured again"))
        return self


class Preference(Source):
    """Who may choose a firmer size, and by how much it must hold."""

    purposes: tuple[Purpose, ...] = Field(strict=False)
    least_inside_cm: Exact = Field(ge=0)
    """Every girth lies at least so far inside the firmer size."""

    @model_validator(mode="after")
    def _never_prescribed(self) -> Self:
        if "prescribed" in self.purposes:
            raise ValueError(say("a prescribed garment is no matter of preference"))
        return self


class CertaintyRules(ProfileModel):
    """Errors, limits and words of the certainty of a size."""

    format: Literal[1]
    id: Identifier
    source: Source
    most_readings: Annotated[int, Field(ge=1, le=9)]
    """Readings of one place after which another would not be asked for."""
    errors: tuple[MeasureError, ...] = Field(min_length=2, strict=False)
    shared: ErrorCm | None = None
    """An error common to all girths of a sitting, such as a tape always pulled alike."""
    shoe: ShoeError
    tape: Tape
    words: CertaintyWords
    preference: Preference

    def error_of(self, point: Point, kind: Kind) -> MeasureError:
        """Return what holds for one measure; the file is checked to have an entry for each."""
        named = (each for each in self.errors if each.kind is kind and point in each.points)
        rest = (each for each in self.errors if each.kind is kind and not each.points)
        return next(named, None) or next(rest)

    @model_validator(mode="after")
    def _each_measure_once(self) -> Self:
        for kind in (Kind.GIRTH, Kind.LENGTH):
            entries = [each for each in self.errors if each.kind is kind]
            if sum(not each.points for each in entries) != 1:
                raise ValueError(
                    say("{kind}: one entry without points must hold for the rest", kind=kind.value)
                )
            points = [point for each in entries for point in each.points]
            if len(set(points)) != len(points):
                raise ValueError(say("{kind}: a point stands in two entries", kind=kind.value))
        return self
