"""What a standard's pressure classes in `profiles/pressure/` must look like. Loads pydantic."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fitcore.points import POINT_ORDER, Point
from fitcore.pressures.pressure import class_key
from fitcore.profile_models import (
    Exact,
    Identifier,
    PointField,
    ProfileModel,
    Sentence,
    Source,
)
from fitcore.words import say

Label = Annotated[str, Field(min_length=1, max_length=12)]
Name = Annotated[str, Field(min_length=1, max_length=48)]


class PrintedRange(ProfileModel):
    """A class's range as the standard prints it in another unit, rounded there, not here."""

    unit: Literal["kPa", "hPa"]
    low: Exact = Field(gt=0)
    high: Exact | None = None
    """None where the class is open upwards."""


class Residual(ProfileModel):
    """How much of the pressure at a lower point a class leaves at some points further up."""

    points: tuple[PointField, ...] = Field(min_length=1, strict=False)
    of: PointField = Point.B
    """The point the percentages are counted from."""
    low_percent: Exact | None = Field(default=None, gt=0)
    high_percent: Exact = Field(gt=0)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.low_percent is not None and self.low_percent > self.high_percent:
            raise ValueError(say("residual: the lowest percentage is above the highest"))
        if POINT_ORDER[self.of] < POINT_ORDER[Point.B]:
            raise ValueError(say("residual: percentages are counted from the ankle or above it"))
        if any(POINT_ORDER[point] <= POINT_ORDER[self.of] for point in self.points):
            raise ValueError(
                say("residual: a point lies no higher than the one it is counted from")
            )
        return self


class PressureClass(ProfileModel):
    """One class of a standard. Never shown alone: see `fitcore.pressures.pressure.NamedClass`."""

    label: Label
    word: Annotated[str, Field(max_length=24)] = ""
    """The standard's own word for it, such as *medium*."""
    low_mmhg: Exact = Field(gt=0)
    """Pressure at the ankle (B), lowest, in mmHg."""
    high_mmhg: Exact | None = None
    """Highest, in mmHg; None where the class is open upwards."""
    above: bool = False
    """Whether the class begins above its lowest figure instead of at it."""
    printed: PrintedRange | None = None
    called: tuple[Label, ...] = Field(default=(), strict=False)
    """Class names some papers give this band without a standard behind them."""
    source: Source
    residual: tuple[Residual, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _ranges_agree(self) -> Self:
        if self.high_mmhg is not None and self.low_mmhg > self.high_mmhg:
            raise ValueError(say("the lowest mmHg is above the highest"))
        if self.printed is not None:
            if (self.printed.high is None) is not (self.high_mmhg is None):
                raise ValueError(say("printed: open upwards in one unit and not in the other"))
            if self.printed.high is not None and self.printed.low > self.printed.high:
                raise ValueError(say("printed: the lowest is above the highest"))
        points = [point for rule in self.residual for point in rule.points]
        if len(set(points)) != len(points):
            raise ValueError(say("residual: a point stands in one rule only"))
        return self

    def residual_at(self, point: Point) -> Residual | None:
        """Return the rule for a point, or None where none is known."""
        return next((rule for rule in self.residual if point in rule.points), None)


class PressureStandard(ProfileModel):
    """The pressure classes of one standard, or of a convention that is none."""

    format: Literal[1]
    id: Identifier
    name: Name
    also_called: tuple[Name, ...] = Field(default=(), strict=False)
    """Other names it goes by on garments and prescriptions."""
    noun: Literal["class", "band"] = "class"
    unit_note: Sentence
    """Which units it prints, and what is computed."""
    step_mmhg: Exact | None = Field(default=None, gt=0)
    """Step of the printed figures; None where neighbouring ranges touch."""
    partial: bool = False
    """Whether it may have classes that are not known here."""
    notes: tuple[Sentence, ...] = Field(default=(), strict=False)
    source: Source
    residual_source: Source | None = None
    """Where the percentages up the leg come from."""
    classes: tuple[PressureClass, ...] = Field(min_length=1, strict=False)
    """Weakest first; neighbours may share an edge and no more."""

    @model_validator(mode="after")
    def _classes_rise(self) -> Self:
        for lower, higher in pairwise(self.classes):
            if lower.high_mmhg is None or higher.low_mmhg < lower.high_mmhg:
                raise ValueError(say("the classes do not rise one after the other"))
        keys = {class_key(one.label) for one in self.classes}
        if len(keys) != len(self.classes) or "" in keys:
            raise ValueError(say("two classes have the same label, or one has none"))
        if self.residual_source is None and any(one.residual for one in self.classes):
            raise ValueError(say("percentages up the leg need a 'residual_source'"))
        return self


class Levels(Source):
    """Levels of the leg something holds for, with where that comes from."""

    points: tuple[PointField, ...] = Field(min_length=1, strict=False)


class LeastPercent(Levels):
    """The least share of the ankle's pressure at some levels, in percent."""

    value: Exact = Field(gt=0, lt=100)


class IllustrationRules(ProfileModel):
    """What is said of a leg's shape beside the illustrated pressure."""

    format: Literal[1]
    id: Identifier
    name: Sentence
    source: Source
    least_calf_percent: LeastPercent
    """Less means a wide calf over a narrow ankle, whatever the class."""
    thinner_is_ordinary: Levels
    """Between these levels a leg becoming thinner suggests nothing."""
    more_is_ordinary: Levels
    """At these levels more than the class leaves suggests nothing."""
