"""One thing only a person can see to, as the merge desk shows it: what to know, what to choose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from fitcore.merge.conflicts import Conflict
    from fitcore.merge.late_stops import LateStop
    from fitcore.merge.proposals import Proposal
    from fitcore.moment.wrong_clocks import WrongClock
    from tui.merge_facts import SetAsideFile
    from tui.wording.codes import Suggestion

    Subject = (
        LateStop
        | Conflict
        | Suggestion
        | Proposal
        | tuple[Proposal, ...]
        | WrongClock
        | SetAsideFile
    )

Needs = Literal["why", "told", "time", ""]
"""What is asked once a value is chosen: why, who was told, the right time and why, nothing."""

TOLD, NOTED, SEEN, LATER = "told", "noted", "seen", "later"
"""Answers of items that are no choice between values; `later` puts the item off."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One value to choose, with everybody who brought it."""

    key: str
    """What is meant: the number of the candidate, or a word of the merge."""
    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Item:
    """One thing only a person can see to."""

    id: str
    kind: Literal["stop", "question", "codes", "changed", "lines", "clock", "file"]
    title: str
    lines: tuple[str, ...]
    """What to know before choosing."""
    choices: tuple[Choice, ...]
    needs: Needs
    subject: Subject
