"""What is doubtful beside the numbers, each told once: hour, conditions, clock. No screen here.

Nothing is stored as told that was not, and nothing is left out because there is no room: what does
not fit is told at the next Enter.
"""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from fitcore.flags import Level
from fitcore.points import Side, side_words
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fitcore.flags import Flag

ROWS, COLUMNS = 10, 46
"""Room for what is told beside the field, at 80x24."""


class Telling:
    """Which doubts were told since the questions before measuring."""

    def __init__(self) -> None:
        self._told: dict[tuple[str, Side | None], Level] = {}
        """Code and leg to the worst level told."""

    def forget(self) -> None:
        """Begin anew: after the questions all is told again."""
        self._told.clear()

    def note(self, flags: Iterable[Flag]) -> None:
        """Take flags as told."""
        for flag in flags:
            if not self._is_told(flag):
                self._told[flag.code, flag.side] = flag.level

    def told(self, flags: Iterable[Flag]) -> list[Flag]:
        """Return those of the flags that were told, as badly as they are now or worse."""
        return [flag for flag in flags if self._is_told(flag)]

    def untold(self, flags: Iterable[Flag]) -> list[Flag]:
        """Return what must still be told, the worst first; a note is not."""
        asked = [f for f in flags if f.level is not Level.NOTE and not self._is_told(f)]
        return sorted(asked, key=lambda flag: flag.level is not Level.BLOCK)

    def _is_told(self, flag: Flag) -> bool:
        told = self._told.get((flag.code, flag.side))
        return told is not None and (told is flag.level or told is Level.BLOCK)


def flag_words(flag: Flag) -> str:
    """Return a doubt in words, behind the leg where it is about one."""
    return f"{side_words(flag.side)}: {flag.text}" if flag.side else flag.text


def page(flags: Sequence[Flag], before: str = "") -> list[Flag]:
    """Return the first flags there is room for below another paragraph; at least one."""
    used = rows(before) + 1  # below it stands what Enter does
    fitting: list[Flag] = []
    for flag in flags:
        used += rows(flag_words(flag))
        if fitting and used > ROWS:
            break
        fitting.append(flag)
    return fitting


def rows(text: str) -> int:
    """Return how many rows a paragraph takes behind its sign."""
    return len(wrap(f"! {text}", COLUMNS)) if text else 0


def more_words(count: int) -> str:
    """Return that there is more to tell; empty where there is not."""
    return say("Enter shows {count} more.", count=count) if count else ""
