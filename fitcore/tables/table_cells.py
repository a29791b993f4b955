"""One printed cell of a maker's table: `21 – 23 cm`, `8¼-9"`, `EU 36-38`, to a range of two ends.

Nothing is guessed: a cell that leaves an end, a unit or a dash open is refused with the mend.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from fitcore.clean_text import is_unsafe
from fitcore.problems import Problem, UnitError
from fitcore.shoes import ShoeSystem, parse_shoe_size
from fitcore.units import Unit, parse_length, plain
from fitcore.words import say

if TYPE_CHECKING:
    from typing import NoReturn

UNIT_WORDS: dict[str, Unit] = {
    **dict.fromkeys(("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("in", "ins", "inch", "inches", '"', "''"), "in"),
}
"""Words and signs a table prints for its unit."""

_LONGEST_SHOWN = 40
"""Characters of a cell that a fault quotes; ours."""
_SIGNS = str.maketrans(
    {
        **dict.fromkeys("‐‑‒–—―−﹣－", "-"),
        **dict.fromkeys("″”“", '"'),
        **dict.fromkeys("′’", "'"),
        "⁄": "/",
    }
)
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_NOTHING = frozenset({"", "n/a", "na", "none", "nil"})
_FROM_TO = re.compile(r"(?:from|between)\s+(.+?)\s*(?:\bto\b|\band\b|-)\s*(.+)")
_TO = re.compile(r"\s*\bto\b\s*|(?<=[0-9])to(?=[0-9])")
_OPEN = re.compile(
    r"(?:[≤≥<>-]|<=|>=)\s*[0-9][^-]*"
    r"|(?:under|below|less than|up to|max\b\.?|maximum|at most|from|over|above|more than|min\b\.?"
    r"|minimum|at least|smaller than|larger than)\s*[0-9][^-]*"
    r"|[^-]*[0-9][^-]*(?:\+|-|\b(?:or|and)\s+(?:more|less|over|under|above|below|up|larger|smaller))"
)
_FOOTNOTE = re.compile(r"[*†‡§¹²³⁴]|(?<=[0-9])\s*\([a-z0-9]\)$")
_END = re.compile(r"(.*[0-9])\s*([^0-9]*)")
_ONE = re.compile(r"[0-9.,]+|(?:[0-9]+ )?[0-9]+/(?:2|4|8|16|32|64)")


@dataclass(frozen=True, slots=True)
class PrintedRange:
    """A range as it is printed: its two ends in one writing, each a decimal or `8 1/4`."""

    low: str
    high: str
    unit: Unit | None = None
    """Unit written in the cell itself; None where the cell says none, and for shoes."""

    def mm(self, unit: Unit) -> tuple[Decimal, Decimal]:
        """Return both ends in exact mm; `unit` is the table's, used where the cell says none."""
        own = self.unit or unit
        return parse_length(self.low, own).mm, parse_length(self.high, own).mm


def parse_range(text: str, unit: Unit | None) -> PrintedRange:
    """Read one cell of lengths.

    Accepts `21-23`, `21 – 23`, `21 to 23 cm`, `21,5–23,5`, `8 1/4 - 9"`, `8¼-9 in`,
    `from 21 to 23`.

    Args:
        text: the cell.
        unit: the column's; None where nobody has said it yet, and then any number is let through.

    Returns:
        Both ends, and the unit the cell itself names.

    Raises:
        UnitError: no range of two ends; the problem says what would be.
    """
    low, high = _two_ends(text)
    ends = [_end_of(end, text) for end in (low, high)]
    named = {word for _, word in ends if word}
    own = _own_unit(named, text)
    provisional = own or unit or ("in" if "/" in low + high else "cm")
    numbers = [_number(number, provisional, text) for number, _ in ends]
    found = PrintedRange(numbers[0], numbers[1], own)
    _in_order(found.mm(provisional), text)
    return found


def parse_shoe_range(text: str, system: ShoeSystem) -> PrintedRange:
    """Read one cell of shoe sizes: `36-38`, `EU 36 – 38`, `4½ to 7`.

    Raises:
        UnitError: no range of two sizes, sizes no adult's shoe has, or another system.
    """
    sizes = []
    for end in _two_ends(text):
        halves = re.sub(r"(?:([0-9]+)\s+)?([0-9]+)/([0-9]+)", _as_decimal, end)
        written = halves.replace("eur", "eu").replace("mondopoint", "mondo").replace("'s", "")
        size = parse_shoe_size(written.strip(), system)
        if size.system != system:
            _refuse(
                "shoe_system_differs",
                say("'{cell}' is of another shoe system than its column.", cell=_shown(text)),
                say("Give each system a column of its own, and leave out all but one."),
            )
        sizes.append(size.value)
    _in_order((sizes[0], sizes[1]), text)
    return PrintedRange(plain(sizes[0]), plain(sizes[1]))


def without_unsafe_joins(text: str) -> tuple[str, tuple[str, ...]]:
    """Return a cell with every unsafe character as a blank, and the names of those.

    A blank, not nothing: a soft hyphen left out between 21 and 23 would make one number of two.
    """
    dropped = {f"U+{ord(c):04X}": None for c in text if is_unsafe(c) and c not in "\t\n\r\x0b\x0c"}
    blanked = "".join(" " if is_unsafe(c) else c for c in text)
    return " ".join(blanked.split()), tuple(dropped)


def _two_ends(text: str) -> tuple[str, str]:
    cell = _normal(text)
    if not any(c.isalnum() for c in cell) or cell in _NOTHING:
        _refuse(
            "empty_cell",
            say("There is no range here."),
            say("Write both ends, such as 21-23; a size needs a range in every column."),
        )
    if match := _FROM_TO.fullmatch(cell):
        cell = f"{match[1]}-{match[2]}"
    elif _OPEN.fullmatch(cell):
        _refuse(
            "open_ended",
            say("'{cell}' has one end only.", cell=_shown(text)),
            say("Ask the maker for the other end and write both, such as 19-23."),
        )
    if _FOOTNOTE.search(cell):
        _refuse(
            "footnote_mark",
            say("'{cell}' carries the mark of a footnote.", cell=_shown(text)),
            say("Read the footnote, then write the range without the mark."),
        )
    cell = _TO.sub("-", cell)
    parts = [part.strip() for part in cell.split("-")]
    if len(parts) > 2:
        _refuse(
            "two_ranges",
            say(
                "'{cell}' holds more than one dash: which ends belong together?", cell=_shown(text)
            ),
            say("Write one range, such as 8 1/4 - 9, in one unit."),
        )
    if len(parts) == 1:
        _refuse_one(cell, text)
    return parts[0], parts[1]


def _refuse_one(cell: str, text: str) -> NoReturn:
    match = _END.fullmatch(cell)
    if match and _ONE.fullmatch(match[1]):
        _refuse(
            "one_number",
            say("'{cell}' is one number; a range needs two.", cell=_shown(text)),
            say("Write the lowest and the highest, such as 22-24."),
        )
    _refuse(
        "not_a_range",
        say("'{cell}' is not a range.", cell=_shown(text)),
        say("Write it like 21-23 or 21 to 23 cm or 8 1/4 - 9 in."),
    )


def _end_of(end: str, text: str) -> tuple[str, str]:
    match = _END.fullmatch(end)
    if match is None:
        _refuse(
            "end_without_number",
            say("'{cell}': '{end}' holds no number.", cell=_shown(text), end=_shown(end)),
            say("Write a number on both sides of the dash."),
        )
    return match[1], match[2].strip(" .")


def _own_unit(named: set[str], text: str) -> Unit | None:
    unknown = sorted(word for word in named if word not in UNIT_WORDS)
    if unknown:
        _refuse(
            "unit_not_known",
            say(
                "'{cell}': '{word}' is no unit of length here.", cell=_shown(text), word=unknown[0]
            ),
            say("Use cm, mm or in; leave out every other word."),
        )
    units = {UNIT_WORDS[word] for word in named}
    if len(units) > 1:
        _refuse(
            "units_differ_in_cell",
            say("'{cell}' names two units.", cell=_shown(text)),
            say("Write both ends in one unit."),
        )
    return next(iter(units), None)


def _number(number: str, unit: Unit, text: str) -> str:
    try:
        parse_length(number if re.fullmatch(r"[0-9.,/ ]+", number) else "", unit)
    except UnitError as error:
        code = error.problem.code
        if code == "length_not_positive":
            _refuse(
                "zero_end",
                say("'{cell}' begins at nothing: that end is open.", cell=_shown(text)),
                say("Ask the maker for the lowest value and write it."),
            )
        if code == "not_a_length":
            _refuse(
                "not_a_number",
                say("'{cell}': '{end}' is not a number.", cell=_shown(text), end=_shown(number)),
                say("Write it like 21.5 or 21,5 or 8 1/4."),
            )
        raise
    if "/" in number:
        return number
    return f"{Decimal(number.replace(',', '.')):f}"


def _in_order(ends: tuple[Decimal, Decimal], text: str) -> None:
    if ends[0] > ends[1]:
        _refuse(
            "reversed",
            say("'{cell}': the lowest is above the highest.", cell=_shown(text)),
            say("Look at the leaflet: the ends may be swapped, or a digit is missing."),
        )


def _normal(text: str) -> str:
    cell = without_unsafe_joins(text)[0].casefold().translate(_SIGNS)
    for sign, words in _VULGAR.items():
        cell = cell.replace(sign, f" {words}")
    return " ".join(cell.split())


def _as_decimal(match: re.Match[str]) -> str:
    whole, upper, lower = match.groups()
    if int(lower) not in (2, 4, 8):
        return match[0]
    amount = Fraction(int(upper), int(lower)) + int(whole or 0)
    return plain(Decimal(amount.numerator) / Decimal(amount.denominator))


def _shown(text: str) -> str:
    return without_unsafe_joins(text)[0][:_LONGEST_SHOWN]


def _refuse(code: str, text: str, mend: str) -> NoReturn:
    raise UnitError(Problem(code=code, text=text, mend=mend))
