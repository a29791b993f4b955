"""Flags: what a person should know of a session, with a code, a level and one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Literal

from fitcore.points import Kind

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.points import Point, Side


class Level(StrEnum):
    """How much a flag asks for."""

    NOTE = "note"
    WARN = "warn"
    BLOCK = "block"


@dataclass(frozen=True, slots=True)
class Flag:
    """One thing to know."""

    code: str
    level: Level
    about: Literal["reading", "conditions", "clock", "screening", "chart", "file"]
    text: str
    side: Side | None = None
    point: Point | None = None
    kind: Kind | None = None
    """Girth or length, where the point alone does not say which reading is meant."""

    def as_json(self) -> dict[str, str | None]:
        """Return it in the shape `fit --json` prints."""
        return {
            "code": self.code,
            "level": self.level.value,
            "about": self.about,
            "side": self.side.value if self.side else None,
            "point": self.point.value if self.point else None,
            "kind": self.kind.value if self.kind else None,
            "text": self.text,
        }


_ASKED_TODAY = ("calves_differ", "other_leg")
"""Differences between the legs: new swelling of one leg is for somebody to see today."""


def urgency(flag: Flag) -> int:
    """Return how soon somebody must act on a flag, among those of its level: 0 first.

    Notes are alike: what is explained and noted waits for nobody.
    """
    if flag.level is Level.NOTE:
        return 2
    if flag.code in _ASKED_TODAY and flag.kind is not Kind.LENGTH:
        return 0
    return 1 if flag.about in ("screening", "reading") else 2


def bears_on(flag: Flag, side: Side) -> bool:
    """Whether a flag is of one leg: a difference between the legs is of both."""
    return flag.side is None or flag.side == side or flag.code in _ASKED_TODAY


def worst_first(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Sort flags by level, then by how soon somebody must act; the rest as it stands."""
    levels = (Level.BLOCK, Level.WARN, Level.NOTE)
    return tuple(sorted(flags, key=lambda flag: (levels.index(flag.level), urgency(flag))))


def told_once(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Leave out flags whose sentence was told already: several codes may carry one.

    A number that cannot be right and the slip that explains it are two codes and one sentence.
    """
    first: dict[tuple[Side | None, str], Flag] = {}
    for flag in flags:
        first.setdefault((flag.side, flag.text), flag)
    return tuple(first.values())


def codes_to_store(flags: Iterable[Flag]) -> tuple[str, ...]:
    """Return the codes to store beside a reading: what asked for a look when it was accepted.

    Notes on the hour are left out: they follow from the recorded times.
    """
    asked = (flag for flag in flags if flag.level is not Level.NOTE or flag.about == "reading")
    return tuple(dict.fromkeys(flag.code for flag in asked))
