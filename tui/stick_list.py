"""Sticks and folders to mark: what is offered, what was typed, what is marked. No screen here."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path


_LONGEST = 44
"""Signs of a path that are shown, so that what is on it still fits at 80 columns (ours)."""


@dataclass
class StickList:
    """Drives that are plugged in, and folders somebody typed."""

    folders: list[Path] = field(default_factory=list)
    marked: list[Path] = field(default_factory=list)
    """In the order they were marked."""
    _holds: dict[Path, tuple[str, ...]] = field(default_factory=dict)
    _typed: list[Path] = field(default_factory=list)

    @property
    def typed(self) -> tuple[Path, ...]:
        """The folders somebody typed that are still offered."""
        return tuple(self._typed)

    def offer(
        self,
        found: Mapping[Path, Sequence[str]],
        typed: Mapping[Path, Sequence[str]] | None = None,
    ) -> None:
        """Offer what is plugged in now, with our folders on it.

        What was pulled is neither offered nor marked any more.

        Args:
            found: drives, with the names of our folders on each.
            typed: typed folders that are still there, the same way; None where nobody looked.
        """
        if typed is not None:
            self._typed = [path for path in self._typed if path in typed]
            self._holds |= {path: tuple(names) for path, names in typed.items()}
        self._holds |= {path: tuple(names) for path, names in found.items()}
        self.folders = [*found, *(path for path in self._typed if path not in found)]
        self.marked = [path for path in self.marked if path in self.folders]

    def add(self, path: Path, names: Iterable[str]) -> int:
        """Offer a typed folder and mark it; return its line."""
        self._holds[path] = tuple(names)
        if path not in self.folders:
            self._typed.append(path)
            self.folders.append(path)
        if path not in self.marked:
            self.marked.append(path)
        return self.folders.index(path)

    def toggle(self, index: int) -> None:
        """Mark a line, or take its mark away."""
        if 0 <= index < len(self.folders):
            path = self.folders[index]
            if path in self.marked:
                self.marked.remove(path)
            else:
                self.marked.append(path)

    def rows(self) -> list[str]:
        """Return a line for each folder: its mark, where it is, what of ours is on it."""
        marks = ["[x]" if path in self.marked else "[ ]" for path in self.folders]
        return [
            f"{mark} {_short(visible(str(path)))}  {self._told(path)}"
            for mark, path in zip(marks, self.folders, strict=True)
        ]

    def _told(self, path: Path) -> str:
        names = self._holds.get(path, ())
        if not names:
            return say("(nothing of ours yet)")
        told = ", ".join(say("a data folder") if name == "." else name for name in names)
        return f"({told})"


def _short(path: str) -> str:
    """Return the end of a path where it is long: that tells folders apart."""
    return path if len(path) <= _LONGEST else "…" + path[1 - _LONGEST :]
