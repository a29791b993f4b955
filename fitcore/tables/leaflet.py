"""What a leaflet says in figures beside its table: when it was printed, days, the pressure. Pure.

A day is never made up: where only a month or a year is printed, that is what is kept.
"""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.problems import Problem, UnitError
from fitcore.words import say

if TYPE_CHECKING:
    from typing import NoReturn

_YEAR_FIRST = re.compile(r"([12][0-9]{3})(?:[-/.]([0-9]{1,2})(?:[-/.]([0-9]{1,2}))?)?")
_YEAR_LAST = re.compile(r"(?:([0-9]{1,2})([-/.]))?([0-9]{1,2})[-/.]([12][0-9]{3})")
_NUMBER = r"([0-9]{1,3}(?:[.,][0-9]+)?)"
_UNIT = r"(?:mm\s?hg)?"
_PRESSURE = re.compile(
    rf"{_NUMBER}\s*{_UNIT}\s*(?:[-–—−‑]|to)\s*{_NUMBER}\s*{_UNIT}", re.IGNORECASE
)
_LONGEST_SHOWN = 40
_MONTHS = 12


def read_printed(text: str) -> date | str:
    """Read when a leaflet was printed: `2026-03-04`, `31/12/2025`, `03/2025`, `2025-03`, `2025`.

    Returns:
        The day, or the month as `2025-03`, or the year as `2025`.

    Raises:
        UnitError: it is none of these, or day and month could be either way round.
    """
    typed = " ".join(text.split())
    year, month, day = "", "", ""
    if match := _YEAR_FIRST.fullmatch(typed):
        year, month, day = (part or "" for part in match.groups())
    elif match := _YEAR_LAST.fullmatch(typed):
        day, sign, month, year = (part or "" for part in match.groups())
        if sign == "/" and int(day) <= _MONTHS and int(month) <= _MONTHS and int(day) != int(month):
            _refuse(
                "day_or_month",
                say("'{text}' may be read two ways.", text=_shown(text)),
                say(
                    "Type it like {year}-{month}-{day}: year, month, day.",
                    year=year,
                    month=f"{int(month):02}",
                    day=f"{int(day):02}",
                ),
            )
        if sign == "/" and int(month) > _MONTHS:
            day, month = month, day  # 12/31/2025: there is no month 31
    else:
        _no_day(text)
    if not month:
        return year
    try:
        whole = date(int(year), int(month), int(day or "1"))
    except ValueError:
        _no_day(text)
    return whole if day else f"{whole:%Y-%m}"


def read_day(text: str) -> date:
    """Read a day, as `read_printed` does.

    Raises:
        UnitError: it is no day, or only a month or a year.
    """
    found = read_printed(text)
    if isinstance(found, str):
        _refuse(
            "not_a_whole_day",
            say("'{text}' names no day.", text=_shown(text)),
            say("Type the day too, like 2026-03-04, or leave it out where none is printed."),
        )
    return found


def read_pressure(text: str) -> tuple[Decimal, Decimal]:
    """Read a printed pressure: `18-21`, `18 – 21.5`, `23-32 mmHg`, `23 mmHg to 32 mmHg`.

    Returns:
        Both ends in mmHg.

    Raises:
        UnitError: it is no such range, another unit, or its ends are the wrong way round.
    """
    match = _PRESSURE.fullmatch(text.strip())
    if match is None:
        _refuse(
            "not_a_pressure",
            say("'{text}' is not a pressure.", text=_shown(text)),
            say("Type both ends in mmHg, such as 18-21."),
        )
    low, high = (Decimal(end.replace(",", ".")) for end in match.groups())
    if not 0 < low <= high:
        _refuse(
            "pressure_reversed",
            say("'{text}': the lower figure stands first, and is above 0.", text=_shown(text)),
            say("Look at the garment and type it like 18-21."),
        )
    return low, high


def _no_day(text: str) -> NoReturn:
    _refuse(
        "not_a_day",
        say("'{text}' is not a day.", text=_shown(text)),
        say("Type it like 2026-03-04, or 2026-03 where only the month is printed."),
    )


def _shown(text: str) -> str:
    return clean(text).text[:_LONGEST_SHOWN]


def _refuse(code: str, text: str, mend: str) -> NoReturn:
    raise UnitError(Problem(code=code, text=text, mend=mend))
