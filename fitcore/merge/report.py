"""What a merge did and what is left for a person, in counts and sorted lists."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.merge.gaps import Clone, Gap


@dataclass(frozen=True, slots=True, order=True)
class SetAside:
    """One file that is kept as a copy and not read."""

    path: str
    """As told to people: stick and path in it."""
    reason: str
    """Code of the problem."""
    text: str
    digest: str = ""
    """Of its bytes."""

    def as_json(self) -> dict[str, str]:
        """Return it in the shape `merge --json` prints."""
        return {"path": self.path, "reason": self.reason, "text": self.text}


@dataclass(frozen=True)
class MergeReport:
    """What a merge did; the same input gives the same report."""

    added: int
    """Sessions the archive did not have."""
    updated: int
    """Sessions of the archive that changed."""
    unchanged: int
    """Sessions of the archive that stayed as they were."""
    proposals: int
    """Sessions and ledgers with lines changed outside that nobody has answered for."""
    conflicts_open: int
    conflicts_settled: int
    """Questions that were open in the archive and are not any more."""
    set_aside: tuple[SetAside, ...]
    gaps: tuple[Gap, ...]
    clones: tuple[Clone, ...]
    new_lines: Mapping[str, int] = field(default_factory=dict)
    """Lines the archive did not have, by the array they stand in."""

    @property
    def needs_person(self) -> bool:
        """Whether there is anything only a person can see to."""
        lists = (self.set_aside, self.gaps, self.clones)
        return bool(self.proposals or self.conflicts_open or any(lists))

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `merge --json` prints."""
        return {
            "added": self.added,
            "updated": self.updated,
            "unchanged": self.unchanged,
            "proposals": self.proposals,
            "conflicts_open": self.conflicts_open,
            "conflicts_settled": self.conflicts_settled,
            "set_aside": [file.as_json() for file in self.set_aside],
            "gaps": [gap.as_json() for gap in self.gaps],
            "clones": [clone.as_json() for clone in self.clones],
            "new_lines": dict(sorted(self.new_lines.items())),
        }
