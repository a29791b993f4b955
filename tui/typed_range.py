"""What is typed into one cell of a size table, to the range it says: `2122.9` is `21-22.9`.

Nothing is guessed: digits without a separator are parted only where one way alone gives two
numbers that such a measure can have, and the editor shows that way before Enter takes it.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.problems import UnitError
from fitcore.shoes import ShoeSystem, parse_shoe_size
from fitcore.units import Unit, parse_length

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitcore.profile_models import Ranges
    from fitcore.tables.table_columns import TableColumn

_MOST_DECIMALS: dict[Unit, int] = {"cm": 1, "mm": 0, "in": 2}
"""Decimals a table prints at most; ours. What has more is never parted without a separator."""
_SHOE_DECIMALS = 1
_DIGITS = re.compile(r"[0-9][0-9.,]*")
_ENTIRE = r"[1-9][0-9]{0,3}"
_FRACTION = r"[0-9]{1,2}/[0-9]{1,2}"
_SPACED = re.compile(
    rf"(?P<low>[0-9.,]+(?: {_FRACTION})?|{_FRACTION}) +(?P<high>[0-9.,]+(?: {_FRACTION})?)"
)


def as_range(text: str, column: TableColumn, ranges: Ranges | None) -> str:
    """Return what was typed with its separator, or as it is where that is not certain.

    Args:
        text: as typed: `21-22.9`, `21 22.9`, `2122.9`, `8 1/4 9`.
        column: which measure, in which unit.
        ranges: what such measures can be; None parts nothing without a separator.

    Returns:
        `low-high` where the text says so in one way alone; otherwise the text.
    """
    typed = " ".join(text.split())
    if spaced := _SPACED.fullmatch(typed):
        return f"{spaced['low']}-{spaced['high']}"
    if ranges is None or not _DIGITS.fullmatch(typed):
        return typed
    system = column.meaning.system
    own = column.unit
    if system is not None:
        return _parted(typed, _SHOE_DECIMALS, lambda number: _is_shoe(number, system))
    limits = None
    if column.meaning.point is not None and column.meaning.kind is not None:
        limits = ranges.of(column.meaning.point, column.meaning.kind)
    if own is None or limits is None or limits.hard_cm is None:
        return typed
    low, high = (10 * edge for edge in limits.hard_cm)

    def can_be(number: str) -> bool:
        return low <= parse_length(number, own).mm <= high

    return _parted(typed, _MOST_DECIMALS[own], can_be)


def _parted(typed: str, decimals: int, can_be: Callable[[str], bool]) -> str:
    number = re.compile(rf"{_ENTIRE}(?:[.,][0-9]{{1,{decimals}}})?" if decimals else _ENTIRE)

    def holds(text: str) -> bool:
        return number.fullmatch(text) is not None and can_be(text)

    if holds(typed):
        return typed  # one number as it stands: its other end is still to come
    ways = [
        (typed[:at], typed[at:])
        for at in range(1, len(typed))
        if holds(typed[:at]) and holds(typed[at:]) and _amount(typed[:at]) <= _amount(typed[at:])
    ]
    return "-".join(ways[0]) if len(ways) == 1 else typed


def _is_shoe(number: str, system: ShoeSystem) -> bool:
    try:
        parse_shoe_size(number, system)
    except UnitError:
        return False
    return True


def _amount(number: str) -> Decimal:
    return Decimal(number.replace(",", "."))
