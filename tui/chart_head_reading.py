"""Typed lines of the leaflet's page, read: short names, purposes, standards, steps, pressure."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.lint.lint_facts import says_nothing
from fitcore.problems import Problem, UnitError
from fitcore.tables.leaflet import read_pressure
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.record.entries import Value

PURPOSES = ("work", "standing", "travel", "sport", "prescribed", "other")
NOT_KNOWN = "?"
"""Stands in the place of a source nobody knows."""


def read_words(text: str) -> Value:
    """Read words as they are printed."""
    kept = clean(text).text
    if not kept:
        raise _wrong("empty", say("Nothing is left of that."), say("Type it in letters."))
    return kept


def read_id(text: str) -> Value:
    """Read the short name of a chart."""
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,47}", text):
        raise _wrong(
            "not_an_id",
            say("'{text}' is no short name.", text=clean(text).text[:40]),
            say("Use small letters, digits and hyphens, such as mill-nine-neap."),
        )
    return text


def read_source(text: str) -> Value:
    """Read what the leaflet is; `?` and the like are kept as not known."""
    return NOT_KNOWN if says_nothing(text) else read_words(text)


def read_purposes(text: str) -> Value:
    """Read purposes by number or name: `1 3`, `13`, `work, travel`."""
    named = []
    for word in re.split(r"[\s,;]+", text.casefold()):
        numbers = word if word.isascii() and word.isdigit() else ""
        if numbers and all(1 <= int(digit) <= len(PURPOSES) for digit in numbers):
            named += [PURPOSES[int(digit) - 1] for digit in numbers]
        elif word in PURPOSES:
            named.append(word)
        elif word:
            raise _wrong(
                "not_a_purpose",
                say("'{word}' is no purpose.", word=clean(word).text[:40]),
                purpose_hint(),
            )
    if not named:
        raise _wrong("no_purpose", say("Nothing was chosen."), purpose_hint())
    return ", ".join(dict.fromkeys(named))


def purpose_hint() -> str:
    """Say which purposes there are, by number."""
    numbered = [f"{number} {name}" for number, name in enumerate(PURPOSES, 1)]
    return say("one number or more: {choices}", choices="  ".join(numbered))


def standard_reader(standards: Sequence[PressureStandard]) -> Callable[[str], Value]:
    """Return the reader of a standard's name: a number of the list, or the name as printed."""

    def read(text: str) -> Value:
        if text.isascii() and text.isdigit():
            if not 1 <= int(text) <= len(standards):
                raise _wrong(
                    "no_such_standard",
                    say("There is no {number} in the list.", number=text[:9]),
                    say("Choose by number, 1 to {most}, or type its name.", most=len(standards)),
                )
            return standards[int(text) - 1].name
        return read_words(text)

    return read


def read_mmhg(text: str) -> Value:
    """Read a printed pressure; it is kept as `18-21`."""
    low, high = read_pressure(text)
    return f"{plain(low)}-{plain(high)}"


def read_step(text: str) -> Value:
    """Read the step of a printed table."""
    try:
        number = Decimal(text.replace(",", "."))
    except InvalidOperation:
        number = Decimal("NaN")
    if not number.is_finite() or not 0 <= number <= 100:
        raise _wrong(
            "not_a_step",
            say("'{text}' is not a step.", text=clean(text).text[:40]),
            say("Type it like 1 or 0.5; 0 where the maker means a gap."),
        )
    return number


def _wrong(code: str, text: str, mend: str) -> UnitError:
    return UnitError(Problem(code=code, text=text, mend=mend))
