"""What the rules on a person's other sessions in `profiles/linked/` must look like."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from fitcore.profile_models import Exact, Identifier, ProfileModel, Source


class LinkedRules(ProfileModel):
    """From when on another session of the same person counts whole."""

    format: Literal[1]
    id: Identifier
    whole_hours: Exact = Field(ge=1)
    """Begun at most so many hours before a session, another of the person counts whole for it."""
    first_day: date
    """A session of an earlier day was begun by a clock that was wrong."""
    source: Source
