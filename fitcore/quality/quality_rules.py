"""What the thresholds of the report on repeat error must look like. Loads pydantic."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from fitcore.profile_models import Exact, Identifier, ProfileModel, Source


class QualityRules(ProfileModel):
    """From how many readings on something is said of how well they agree."""

    format: Literal[1]
    id: Identifier
    least_pairs: Annotated[int, Field(ge=2)]
    least_readings: Annotated[int, Field(ge=2)]
    most_round_percent: Exact = Field(gt=20, le=100)
    """Share of readings ending in .0 or .5 cm above which it is told; 20 % is chance."""
    source: Source
