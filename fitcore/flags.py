"""Flags: what a person should know of a session, with a code, a level and one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.points import Kind, Point, Side


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
