"""What the swelling model's file in `profiles/swelling/` must look like. Loads pydantic."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fitcore.profile_models import (
    Exact,
    Identifier,
    PointField,
    ProfileModel,
    Sentence,
    Source,
)
from fitcore.words import say

SiteName = Literal["ankle", "calf", "thigh"]


class Parameter(Source):
    """One number of the model with where it comes from."""

    value: Exact = Field(gt=0)


class Scenarios(ProfileModel):
    """One parameter three times: for a leg that swells little, as most do, and as much as any."""

    low: Parameter
    central: Parameter
    high: Parameter


class SwellingSite(ProfileModel):
    """A part of the leg, the points that belong to it, and how its girth follows the lower leg."""

    site: SiteName
    points: tuple[PointField, ...] = Field(min_length=1, strict=False)
    points_source: Sentence
    k: Scenarios
    """Growth of the site's section for each unit the lower leg's volume grows by."""


class NotCovered(ProfileModel):
    """What is said of a leg the model does not cover, by reason."""

    swollen: Sentence
    dent: Sentence
    oedema: Sentence
    late_pregnancy: Sentence
    heart_failure: Sentence
    long_ride: Sentence
    compression_off: Sentence
    compression_on: Sentence
    rising_unknown: Sentence
    reading_time_unknown: Sentence
    rising_later: Sentence
    too_long_up: Sentence


class SwellingModel(ProfileModel):
    """How much larger a leg may be than just after rising, in three scenarios."""

    format: Literal[1]
    id: Identifier
    name: Sentence
    version: Annotated[str, Field(min_length=1, max_length=20)]
    validation: Sentence
    """What stands behind the model, in words, shown with every figure it gives."""
    longest_hours: Exact = Field(gt=0)
    """Hours since rising beyond which it says nothing."""
    source: Source
    gain: Scenarios
    """A: fraction of the lower leg's volume gained if the day never ended."""
    tau_hours: Scenarios
    """Hours in which about 63 % of the gain is there."""
    sites: tuple[SwellingSite, ...] = Field(min_length=3, max_length=3, strict=False)
    not_covered: NotCovered

    def site(self, name: SiteName) -> SwellingSite:
        """Return one of the three sites; the file is checked to have each once."""
        return next(site for site in self.sites if site.site == name)

    @model_validator(mode="after")
    def _each_site_and_point_once(self) -> Self:
        if len({site.site for site in self.sites}) != len(self.sites):
            raise ValueError(say("ankle, calf and thigh stand once each"))
        points = [point for site in self.sites for point in site.points]
        if len(set(points)) != len(points):
            raise ValueError(say("a point belongs to one site only"))
        return self

    @model_validator(mode="after")
    def _low_is_never_above_high(self) -> Self:
        """Refuse parameters with which a scenario could overtake the next one at some hour."""
        rising = [self.gain, *(site.k for site in self.sites)]
        for few in rising:
            if not few.low.value <= few.central.value <= few.high.value:
                raise ValueError(say("low, central and high must rise"))
        tau = self.tau_hours
        if not tau.low.value >= tau.central.value >= tau.high.value:
            raise ValueError(say("tau_hours: what swells more must not swell more slowly"))
        if self.gain.high.value >= 1:
            raise ValueError(say("gain is a fraction of the leg's volume, below 1"))
        return self
