"""What a service's list of favourite charts must look like. Loads pydantic."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from fitcore.profile_models import Identifier, ProfileModel


class Favourites(ProfileModel):
    """The charts a service uses most."""

    format: Literal[1]
    id: Literal["charts"]
    charts: tuple[Identifier, ...] = Field(strict=False)
    """Ids; one that is not here does no harm, its chart may come back."""
