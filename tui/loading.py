"""What the application reads in a thread: profiles, and a measurer's own repeat error.

The readers are imported inside, in the thread: they are heavy, and the screen is drawn meanwhile.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from fitcore.certainty.certainty_errors import RepeatErrorOf
    from fitcore.disk.profile_files import Profiles
    from fitcore.record.session import Session

_SESSIONS_OF_ERROR = 200
"""Newest sessions of a measurer that tell her repeat error: enough, and quickly read."""


def read_profiles(own: Path) -> Profiles:
    """Load the shipped profiles and those of a data folder beside them."""
    from fitcore.disk.profile_files import load_profiles

    return load_profiles(own)


def own_repeat_error(sessions: Iterable[Session], measurer: str, own: Path) -> RepeatErrorOf:
    """Return the measurer's own repeat error, from the newest sessions she measured."""
    from fitcore.disk.profile_files import load_quality_rules
    from fitcore.quality.quality_report import error_of, report_quality

    hers = sorted((s for s in sessions if s.text("measurer") == measurer), key=lambda s: s.id)
    rules, _ = load_quality_rules(own)
    return error_of(report_quality(hers[-_SESSIONS_OF_ERROR:], rules), measurer)
