"""Draws the illustrated pressure up a leg: as rows of text, and as SVG. Pure.

Every bar has its figures and a word beside it: nothing hangs on a colour or a shade. Both drawings
begin with the sentence that it is no measurement.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from fitcore.clean_text import clean
from fitcore.points import Point, Side, side_words
from fitcore.pressures.pressure_profile import (
    band_words,
    caveat_words,
    heading_words,
    percent_words,
)
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.pressures.pressure_profile import PressureProfile, ProfileRow

COLUMNS = 76
"""Cells of the longest row: what 80 columns leave inside a screen's margins."""
BAR_CELLS = 16


@dataclass(frozen=True, slots=True)
class _Glyphs:
    """One cell: filled outside and inside what the class leaves, the rest of that, half filled."""

    filled: str
    filled_inside: str
    inside: str
    half: str


_BLOCKS = _Glyphs("█", "▓", "░", "▌")
_ASCII = _Glyphs("#", "+", ".", "-")


def draw_profile(
    profile: PressureProfile, *, side: Side, garment: str, ascii_only: bool = False
) -> list[str]:
    """Draw a profile as text, the top of the leg first.

    Args:
        profile: the profile.
        side: the client's leg.
        garment: what the pressure is taken from, with standard and mmHg.
        ascii_only: use no character outside ASCII for the bars.

    Returns:
        Rows of at most `COLUMNS` cells.
    """
    glyphs = _ASCII if ascii_only else _BLOCKS
    rows = [heading_words(), *_wrap(_start_words(profile, side, garment)), ""]
    if profile.rows:
        heads = (say("girth cm"), say("mmHg"), say("% of B"))
        rows.append(f"{'':14}{heads[0]:>8} {heads[1]:>6} {heads[2]:>6}".rstrip())
        scale = _scale(profile)
        for row in reversed(profile.rows):
            rows += _text_row(row, scale, glyphs)
        rows += [*_wrap(_legend(profile, glyphs)), "", *_wrap(caveat_words())]
    return rows + [line for remark in profile.remarks for line in _wrap(remark, mark="! ")]


def draw_profile_svg(
    profile: PressureProfile, *, side: Side, garment: str, name: str = "pressure"
) -> str:
    """Draw a profile as an SVG picture, the top of the leg first.

    Args:
        profile: the profile.
        side: the client's leg.
        garment: what the pressure is taken from, with standard and mmHg.
        name: begins the ids in the picture; another for each picture on one page.

    Returns:
        The picture as text: a title and a description for those who cannot see it, no script, no
        style sheet, nothing fetched from elsewhere.
    """
    start = _start_words(profile, side, garment)
    notes = [caveat_words(), *profile.remarks] if profile.rows else list(profile.remarks)
    described = " ".join([start, *(_row_words(row) for row in profile.rows), *notes])
    parts = [_svg_text(16, 26, heading_words(), bold=True)]
    y = 50
    for line in textwrap.wrap(start, _SVG_WRAP):
        parts.append(_svg_text(16, y, line))
        y += 18
    scale = _scale(profile)
    for row in reversed(profile.rows):
        parts += _svg_row(row, y, scale)
        y += _SVG_ROW
    y += 16
    if _banded(profile):
        parts.append(_svg_text(16, y, _svg_legend(profile)))
        y += 24
    for note in notes:
        for line in textwrap.wrap(note, _SVG_WRAP):
            parts.append(_svg_text(16, y, line))
            y += 18
        y += 4
    return _svg_frame(parts, y + 4, name, heading_words(), described)


def _start_words(profile: PressureProfile, side: Side, garment: str) -> str:
    return say(
        "{side} leg. {garment}. Taken at the ankle: {mmhg} mmHg.",
        side=side_words(side),
        garment=clean(garment).text,
        mmhg=_one_place(profile.nominal_mmhg),
    )


def _row_words(row: ProfileRow) -> str:
    """Write one level in a sentence, for those who hear the picture."""
    return say(
        "{place}, {girth} cm: {mmhg} mmHg, {percent} %, {band}.",
        place=f"{_short_words(row.point)} {row.point.value}".strip(),
        girth=_girth(row.girth_mm),
        mmhg=_one_place(row.mmhg),
        percent=percent_words(row),
        band=band_words(row),
    )


def _text_row(row: ProfileRow, scale: Decimal, glyphs: _Glyphs) -> list[str]:
    place = f"{_short_words(row.point):<12}{row.point.value:<2}"
    figures = f"{_girth(row.girth_mm):>8} {_one_place(row.mmhg):>6} {percent_words(row):>6}"
    start = f"{place}{figures}  {_bar(row, scale, glyphs)} "
    words = band_words(row)
    if len(start) + len(words) <= COLUMNS:
        return [start + words]
    # Words cut short would be other words.
    return [start.rstrip(), f"{'':14}{words}"]


def _bar(row: ProfileRow, scale: Decimal, glyphs: _Glyphs) -> str:
    halves = _nearest(row.mmhg / scale * 2 * BAR_CELLS)
    inside = range(0)
    if row.band is not None:
        low = row.band.low_mmhg or Decimal(0)
        inside = range(
            _nearest(low / scale * BAR_CELLS), _nearest(row.band.high_mmhg / scale * BAR_CELLS)
        )
    cells = []
    for cell in range(BAR_CELLS):
        if 2 * cell + 1 < halves:
            cells.append(glyphs.filled_inside if cell in inside else glyphs.filled)
        elif 2 * cell < halves:
            cells.append(glyphs.half)
        else:
            cells.append(glyphs.inside if cell in inside else " ")
    return "".join(cells)


def _legend(profile: PressureProfile, glyphs: _Glyphs) -> str:
    bars = say(
        "{filled} {inside} pressure by this rule.",
        filled=glyphs.filled,
        inside=glyphs.filled_inside,
    )
    if not _banded(profile):
        return bars
    left = say(
        "{inside} {rest} what the class leaves there ({status}).",
        inside=glyphs.filled_inside,
        rest=glyphs.inside,
        status=_status(profile),
    )
    return f"{bars} {left}"


def _svg_legend(profile: PressureProfile) -> str:
    return say(
        "Bar: pressure by this rule. Dashed box: what the class leaves there ({status}).",
        status=_status(profile),
    )


def _banded(profile: PressureProfile) -> bool:
    return any(row.band is not None for row in profile.rows)


def _status(profile: PressureProfile) -> str:
    """Return how the class's percentages are known; a standard without them draws no band."""
    source = profile.named.standard.residual_source if profile.named is not None else None
    return source.status if source is not None else ""


def _scale(profile: PressureProfile) -> Decimal:
    """Return the mmHg of a full bar: the largest figure drawn."""
    highs = [row.band.high_mmhg for row in profile.rows if row.band is not None]
    return max([row.mmhg for row in profile.rows] + highs, default=profile.nominal_mmhg)


def _short_words(point: Point) -> str:
    words = {
        Point.B: say("ankle"),
        Point.C: say("calf"),
        Point.D: say("below knee"),
        Point.E: say("knee"),
        Point.F: say("mid-thigh"),
        Point.G: say("top thigh"),
    }
    return words.get(point, "")


def _girth(mm: Decimal) -> str:
    """Write a girth in cm; one with more decimals than fit is marked as about."""
    text = show_cm(mm)
    return text if len(text) <= 6 else f"~{mm.scaleb(-1).quantize(Decimal('0.1'), ROUND_HALF_UP)}"


def _one_place(mmhg: Decimal) -> str:
    return f"{mmhg.quantize(Decimal('0.1'), ROUND_HALF_UP):f}"


def _nearest(amount: Decimal) -> int:
    return int(amount.quantize(Decimal(1), ROUND_HALF_UP))


def _wrap(text: str, *, mark: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        COLUMNS,
        initial_indent=mark,
        subsequent_indent=" " * len(mark),
        break_on_hyphens=False,
    )


_SVG_WIDTH = 860
_SVG_ROW = 34
_SVG_WRAP = 116
"""Characters that fit one line at the text size used, measured on a rendered picture."""
_SVG_BAR = (190, 300)
"""Left edge and full length of a bar."""


def _svg_row(row: ProfileRow, y: int, scale: Decimal) -> list[str]:
    left, length = _SVG_BAR
    place = f"{_short_words(row.point)} {row.point.value}".strip()
    parts = [_svg_text(16, y + 20, f"{place}, {_girth(row.girth_mm)} cm")]
    width = _one_place(row.mmhg / scale * length)
    parts.append(f'<rect x="{left}" y="{y + 8}" width="{width}" height="14" fill="#335577"/>')
    if row.band is not None:
        low = (row.band.low_mmhg or Decimal(0)) / scale * length
        high = row.band.high_mmhg / scale * length
        parts.append(
            f'<rect x="{_one_place(left + low)}" y="{y + 3}" width="{_one_place(high - low)}" '
            'height="24" fill="none" stroke="#000000" stroke-width="1.5" stroke-dasharray="4 3"/>'
        )
    figures = say(
        "{mmhg} mmHg, {percent} %, {band}",
        mmhg=_one_place(row.mmhg),
        percent=percent_words(row),
        band=band_words(row),
    )
    return [*parts, _svg_text(left + length + 14, y + 20, figures)]


def _svg_text(x: int, y: int, text: str, *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x}" y="{y}"{weight}>{escape(text)}</text>'


def _svg_frame(parts: Sequence[str], height: int, name: str, title: str, description: str) -> str:
    ids = quoteattr(f"{name}-title {name}-desc")
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby={ids} '
            f'viewBox="0 0 {_SVG_WIDTH} {height}" font-family="sans-serif" font-size="13">',
            f"<title id={quoteattr(f'{name}-title')}>{escape(title)}</title>",
            f"<desc id={quoteattr(f'{name}-desc')}>{escape(description)}</desc>",
            f'<rect width="{_SVG_WIDTH}" height="{height}" fill="#ffffff"/>',
            *parts,
            "</svg>",
            "",
        ]
    )
