"""A set of legs to try a chart on: what a leg is, and what a made-up set says of itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

from pydantic import Field

from fitcore.points import Kind, Point
from fitcore.profile_models import (
    Exact,
    Identifier,
    KindField,
    PointField,
    ProfileModel,
    Sentence,
    Source,
)
from fitcore.record.readings import Adopted

if TYPE_CHECKING:
    from fitcore.problems import Problem
    from fitcore.record.sheet import Refusal

LegValues = Mapping[tuple[Point, Kind], Adopted]
"""The values used for one leg, by point and kind."""

Percentiles = tuple[Exact, Exact, Exact, Exact, Exact]
"""The 1st, 5th, 50th, 95th and 99th, in cm."""


@dataclass(frozen=True, slots=True)
class LegSet:
    """Legs to try a chart on, and what must be said of them."""

    name: str
    """What it is called for people."""
    legs: tuple[LegValues, ...]
    about: tuple[str, ...] = ()
    """What must be known of all of it: that nobody in it is real, whose legs were counted."""
    stand_ins: Mapping[tuple[Point, Kind], str] = field(default_factory=dict)
    """Measures that stand for another, with the sentence that says so."""
    refused: tuple[Refusal, ...] = ()
    """Rows of its file that could not be read."""
    problems: tuple[Problem, ...] = ()
    """Files that could not be read."""


class SetMeasure(ProfileModel):
    """How one measure is spread over the people of a made-up set."""

    point: PointField
    kind: KindField
    women_cm: Percentiles = Field(strict=False)
    men_cm: Percentiles = Field(strict=False)
    less_cm: Exact = Field(default=Decimal(0), ge=0)
    """Taken off every value, where the summary is of a landmark higher up."""
    with_height: tuple[Exact, Exact] = Field(strict=False)
    """Correlation with body height, women and men."""
    stand_in: str = ""
    """What to tell people where the summary is of another measure."""
    source: Sentence


class SetCorrelation(ProfileModel):
    """How two girths go together."""

    points: tuple[PointField, PointField] = Field(strict=False)
    women: Exact = Field(gt=-1, lt=1)
    men: Exact = Field(gt=-1, lt=1)
    source: Sentence


class SetNotes(ProfileModel):
    """The file beside a made-up set: that it is made up, from what, and how."""

    format: Literal[1]
    id: Identifier
    name: Sentence
    synthetic: Literal[True]
    people: Sentence
    women: int = Field(ge=1)
    men: int = Field(ge=1)
    seed: int
    source: Source
    measures: tuple[SetMeasure, ...] = Field(min_length=1, strict=False)
    correlations: tuple[SetCorrelation, ...] = Field(default=(), strict=False)
