"""Flags: what a person should know of a session, with a code, a level and one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
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

    def as_json(self) -> dict[str, str | None]:
        """Return it in the shape `fit --json` prints."""
        return {
            "code": self.code,
            "level": self.level.value,
            "about": self.about,
            "side": self.side.value if self.side else None,
            "point": self.point.value if self.point else None,
            "text": self.text,
        }
