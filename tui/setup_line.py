"""One question before measuring, and how each kind of it is laid out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

from fitcore.record.fields import FIELDS, UNKNOWN, field_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.record.entries import Value


@dataclass
class Line:
    """One question of the form."""

    what: str
    label: str
    choices: tuple[str, ...] = ()
    chosen: list[str] = field(default_factory=list)
    several: bool = False
    typed: str = ""
    """Text of a line that asks for a time."""
    given: Value | None = None
    """A time answered before, with its day; it holds until something is typed."""
    has_default: bool = False
    """Whether the shown answer counts without a visit to the line."""
    touched: bool = False
    """Whether a person changed or accepted it; only then is it kept when the form is left."""
    before: dict[str, list[str]] | None = None
    """All answers before numbers were typed here, to go back to when they were no answer."""
    refused: bool = False
    """Whether something typed here was no answer; nothing more is taken until it was seen."""
    asked_about: str = ""
    """A time that was asked about because it is long ago."""
    may_stay_empty: bool = False
    """Whether a time may be left unanswered."""
    was_answered: bool = False
    """Whether a time had been answered before: emptied, it is not known, not the old one."""

    @property
    def is_time(self) -> bool:
        """Whether a time of day is typed here."""
        return not self.choices


def choice_line(what: str, given: Mapping[str, Value], default: str) -> Line:
    """Return a question with one answer to choose, the given one or the default."""
    return Line(what, field_words(what), FIELDS[what].choices, [str(given.get(what, default))])


def given_list(given: Mapping[str, Value], what: str, default: Sequence[str]) -> list[str]:
    """Return the answers given before, or the default ones."""
    value = given.get(what)
    return [str(item) for item in value] if isinstance(value, list) else list(default)


def time_line(what: str, given: Mapping[str, Value]) -> Line:
    """Return a question a time is typed for."""
    value = given.get(what)
    typed = f"{value:%H:%M}" if isinstance(value, datetime) else "?" if value == UNKNOWN else ""
    return Line(
        what,
        field_words(what),
        typed=typed,
        given=value if typed else None,
        was_answered=bool(typed),
    )
