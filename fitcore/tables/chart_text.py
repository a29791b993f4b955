"""Writing a chart file: the values of a chart to canonical TOML, numbers as they are printed."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.record.entries import render_value

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

_HEAD = (
    "format", "id", "maker", "line", "invented", "form", "toe", "purposes", "unit", "step_mm",
    "posture", "overlap", "made", "sold", "valid_from", "valid_until",
)  # fmt: skip
_TABLES = {
    "source": ("status", "text", "printed"),
    "pressure": ("mmhg", "standard", "class"),
}
_DIMENSION = ("id", "point", "kind", "system", "step", "posture", "gap")
_SIZE = ("size", "variant")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


def write_chart(
    values: Mapping[str, object], remarks: Mapping[int, Sequence[str]] | None = None
) -> str:
    """Write a chart file.

    Args:
        values: the chart as its file is read (`tomllib` with Decimals): what `Chart` is made of.
            Keys set to None are left out; keys this module does not know are written after those
            it does.
        remarks: lines of comment above a size, by the size's index.

    Returns:
        UTF-8 text with LF: the same values, the same text. Read again it gives an equal `Chart`.
    """
    told = {key: value for key, value in values.items() if value is not None}
    plain = {key: value for key, value in told.items() if not _is_table(value)}
    blocks = [_lines(plain, _HEAD)]
    for name in _ordered(told, ("source", "pressure")):
        value = told[name]
        if isinstance(value, dict):
            blocks.append([f"[{_key(name)}]", *_lines(value, _TABLES.get(name, ()))])
    for name in _ordered(told, ("dimensions", "sizes")):
        rows = told[name]
        if not _is_table(rows) or not isinstance(rows, list | tuple):
            continue
        columns = [str(row.get("id")) for row in _tables(told.get("dimensions"))]
        order = (*_SIZE, *columns) if name == "sizes" else _DIMENSION
        for index, row in enumerate(rows):
            above = (remarks or {}).get(index, ()) if name == "sizes" else ()
            comments = [f"# {visible(' '.join(text.split()))}" for text in above]
            blocks.append([*comments, f"[[{_key(name)}]]", *_lines(row, order)])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _lines(table: Mapping[str, object], order: Sequence[str]) -> list[str]:
    return [
        f"{_key(key)} = {_rendered(table[key])}"
        for key in _ordered(table, order)
        if table[key] is not None
    ]


def _ordered(table: Mapping[str, object], order: Iterable[str]) -> list[str]:
    known = [key for key in order if key in table]
    return known + [key for key in table if key not in known]


def _is_table(value: object) -> bool:
    if isinstance(value, dict):
        return True
    return isinstance(value, list | tuple) and any(isinstance(item, dict) for item in value)


def _tables(value: object) -> list[Mapping[str, object]]:
    rows = value if isinstance(value, list | tuple) else []
    return [row for row in rows if isinstance(row, dict)]


def _key(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else render_value(key)


def _rendered(value: object) -> str:
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(_rendered(item) for item in value)}]"
    return render_value(value)  # type: ignore[arg-type]  # what TOML holds besides the above
