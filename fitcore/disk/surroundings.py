"""The world around a run: clock, chance and folders, bundled so that tests can replace them."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs
import tzlocal

import fitcore

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

APPLICATION = "anklefirst"


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a run reads from outside its data."""

    now: Callable[[], datetime]
    """The present instant in the laptop's zone, with its offset."""
    random_bytes: Callable[[int], bytes]
    state_folder: Path
    """Outside every data folder: remembers how far each laptop's numbers had come."""
    zone: str
    """IANA name of the laptop's zone."""
    monotonic: Callable[[], float] | None = None
    """Seconds of a clock that nobody can set; where it starts says nothing. None: there is none."""
    built_on: date = date.min
    """When this version was made: a clock that shows an earlier day is wrong."""
    cache_folder: Path | None = None
    """Holds only what can be made again at any time; None: nothing is remembered."""
    drives: Callable[[], Sequence[Path]] | None = None
    """What is plugged in, to be offered; None: only typed folders are taken."""


def real_surroundings() -> Surroundings:
    """Return the machine's own clock, chance and folders."""
    zone = tzlocal.get_localzone_name() or "UTC"
    return Surroundings(
        now=lambda: datetime.now(tzlocal.get_localzone()),  # noqa: TID251 - the one clock
        random_bytes=os.urandom,
        state_folder=Path(platformdirs.user_state_dir(APPLICATION)),
        zone=zone,
        monotonic=time.monotonic,
        built_on=fitcore.BUILT_ON,
        cache_folder=Path(platformdirs.user_cache_dir(APPLICATION)),
        drives=_drives,
    )


def _drives() -> Sequence[Path]:
    # Imported when somebody merges on the screen: measuring starts without it.
    from fitcore.disk.drives import plugged_in

    return plugged_in()


def default_data_folder() -> Path:
    """Return where this user's sessions are kept unless `--data` says otherwise."""
    return Path(platformdirs.user_data_dir(APPLICATION))
