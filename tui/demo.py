"""The demo: a throw-away copy of the sample sessions."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from fitcore.disk.profile_files import demo_folder
from fitcore.problems import FileFault, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator

DEMO_LAPTOP = "tern"
"""Whose day of the sample sessions the demo opens."""


@contextmanager
def demo_copy() -> Iterator[Path]:
    """Give a copy of one laptop's sample sessions, gone afterwards.

    Raises:
        FileFault: the sample sessions are not installed.
    """
    samples = demo_folder()
    if samples is None:
        raise FileFault(
            Problem(
                code="no_samples",
                text=say("The sample sessions are not installed."),
                mend=say("Install anklefirst again, or start it without --demo."),
            )
        )
    with tempfile.TemporaryDirectory(prefix="anklefirst-demo-") as place:
        copy = Path(place) / "demo"
        shutil.copytree(samples / DEMO_LAPTOP / "sessions", copy / "sessions")
        yield copy
