"""What one line of the register of actions says."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Action:
    """One thing a screen can do."""

    name: str
    """The screen's method is `do_<name>`."""
    keys: tuple[str, ...]
    """Key names as the framework calls them; the first is shown."""
    label: str
    """Footer word, short."""
    help: str
    """What it does, for the help screen."""
    shown: bool = True
    """Whether the footer shows it."""
    spared: bool = False
    """Whether a footer that is too narrow for all leaves it out; the help tells it always."""
