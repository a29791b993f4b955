"""Faults as values: where, what was found, what it means and the mend.

Readers collect problems and read on to the end; only a call that cannot go on raises `FitError`,
which carries the same value.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from fitcore.clean_text import visible


class ProblemLevel(StrEnum):
    """How much a problem in a file matters."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault, told so that the person reading it can mend it."""

    code: str
    """Short fixed name, for programs and tests."""
    text: str
    """What was found and what is allowed."""
    mend: str
    """What to do about it."""
    path: str | None = None
    line: int | None = None
    """1-based line in the file; None where it cannot be told for certain."""
    key: str | None = None
    level: ProblemLevel = ProblemLevel.ERROR

    def __post_init__(self) -> None:
        """Make visible whatever in the words could steer a terminal: they quote foreign text."""
        for name in ("text", "mend", "path", "key"):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, visible(value))

    def at(
        self, *, path: str | None = None, line: int | None = None, key: str | None = None
    ) -> Problem:
        """Return the same problem with its place filled in; a place already known stays."""
        return replace(
            self,
            path=self.path or path,
            line=self.line if self.line is not None else line,
            key=self.key or key,
        )

    def as_json(self) -> dict[str, str | int | None]:
        """Return the problem in the shape `check --json` prints."""
        return {
            "path": self.path,
            "line": self.line,
            "key": self.key,
            "level": self.level.value,
            "code": self.code,
            "text": self.text,
            "mend": self.mend,
        }

    def __str__(self) -> str:
        place = ":".join(str(part) for part in (self.path, self.line) if part is not None)
        key = f"{self.key}: " if self.key else ""
        return f"{place}{': ' if place else ''}{key}{self.text} Mend: {self.mend}"


class FitError(Exception):
    """Something that cannot go on; carries the problem to show."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(str(problem))
        self.problem = problem


class UnitError(FitError, ValueError):
    """Typed text that is not a length, a shoe size or a time."""


class ReadingError(FitError, ValueError):
    """An entry that cannot be recorded as it is."""


class ProfileError(FitError, ValueError):
    """A chart, protocol or rule file that cannot be used."""


class FileFault(FitError, OSError):  # noqa: N818 - an everyday word for it
    """A file that cannot be read or written as it stands."""


class ChangedOnDisk(FileFault):
    """The file is not the version that was read: somebody else wrote it."""


class FolderInUse(FileFault):
    """Another program is writing in this data folder."""
