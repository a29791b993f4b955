"""A chart's coverage as an SVG picture with a text alternative. Pure."""

from __future__ import annotations

import textwrap
from collections import Counter
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from fitcore.clean_text import visible
from fitcore.coverage.coverage import cover
from fitcore.coverage.coverage_plane import Axis, Plane, Region
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fitcore.charts.chart import Chart
    from fitcore.coverage.leg_set import LegValues

_WIDTH, _HEIGHT = 860, 520
_LEFT, _TOP = 70, 20
_LINE = 18
_WRAP = 116
"""Characters that fit one line at the text size used, as in the other drawings."""
_DASHES = ("", "7 3", "2 3", "9 3 2 3")
"""Sizes beside each other have different outlines, so that none hangs on a colour."""
_BINS = 60
_LONGEST_LABEL = 9
"""Characters of a size's name that fit into a narrow box."""


def coverage_svg(
    chart: Chart,
    legs: Iterable[LegValues],
    *,
    set_name: str,
    about: Sequence[str] = (),
    name: str = "coverage",
) -> str:
    """Draw a chart and a set of legs as SVG.

    Args:
        chart: the chart.
        legs: the values used of each.
        set_name: what the set is called.
        about: what must be said of it, such as that nobody in it is real; shown in the picture.
        name: begins the ids in the picture; another for each picture on one page.

    Returns:
        The picture as text: a title and a description for those who cannot see it, no script, no
        style sheet, nothing fetched from elsewhere.
    """
    every = tuple(legs)
    plane = Plane(chart, every)
    title = say("{chart}: which of {set} get a size", chart=chart.title, set=set_name)
    counts = cover(chart, every)
    told = [
        say(
            "{legs} legs: {one} get one size, {several} have several, {none} get none.",
            legs=counts.legs,
            one=counts.one_size,
            several=counts.several,
            none=counts.none,
        ),
        *about,
        *plane.remarks(),
    ]
    regions = say(
        "Sizes: {names}.",
        names=", ".join(f"{region.sign} = {region.words}" for region in plane.regions),
    )
    drawn = _flat(plane) if plane.y is None else _planar(plane, plane.y)
    parts = [*drawn, *_axis_across(plane.x)]
    y = _TOP + _HEIGHT + 60
    for text in (title, *told, regions):
        for line in textwrap.wrap(text, _WRAP, break_on_hyphens=False):
            parts.append(_text(16, y, line, bold=text is title))
            y += _LINE
    return _frame(parts, y + 6, name, (title, " ".join([*told, regions])))


def _planar(plane: Plane, up: Axis) -> list[str]:
    parts = []
    for number, region in enumerate(plane.regions):
        left, right = (_across(plane.x, edge) for edge in region.x)
        bottom, top = (_up(up, edge) for edge in region.y or (up.low, up.high))
        parts.append(
            _box(left, top, right, bottom, dash=_DASHES[number % len(_DASHES)], title=region.words)
        )
        parts.append(_text(left + 4, top + 15, _label(region), bold=True))
    parts += [
        f'<circle cx="{_across(plane.x, x):.1f}" cy="{_up(up, y):.1f}" r="2" fill="#000000" '
        'fill-opacity="0.35"/>'
        for x, y in plane.points
    ]
    for tick in up.ticks(12):
        y = _up(up, tick)
        parts.append(f'<path d="M{_LEFT - 5} {y:.1f}H{_LEFT}" stroke="#000000"/>')
        parts.append(_text(_LEFT - 10, y + 4, f"{tick:g}", anchor="end"))
    turned = f"rotate(-90 20 {_TOP + _HEIGHT / 2:g})"
    parts.append(
        f'<text x="20" y="{_TOP + _HEIGHT / 2:g}" text-anchor="middle" '
        f'transform="{turned}">{_escaped(up.words)}</text>'
    )
    return parts


def _flat(plane: Plane) -> list[str]:
    """Draw one measure: people piled up in bars, the sizes as bands below them."""
    width = (plane.x.high - plane.x.low) / _BINS
    count = Counter(min(int((x - plane.x.low) / width), _BINS - 1) for x, _ in plane.points)
    most = max(count.values(), default=1)
    room = _HEIGHT * 0.75
    parts = []
    for number in sorted(count):
        left, right = (_across(plane.x, plane.x.low + (number + n) * width) for n in (0, 1))
        top = _TOP + room - count[number] / most * room
        parts.append(
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" '
            f'height="{_TOP + room - top:.1f}" fill="#335577"/>'
        )
    parts.append(_text(_LEFT - 10, _TOP + 8, str(most), anchor="end"))
    for number, region in enumerate(plane.regions):
        left, right = (_across(plane.x, edge) for edge in region.x)
        top = _TOP + room + 10 + 26 * (number % 4)
        dash = _DASHES[number % len(_DASHES)]
        parts.append(_box(left, top, right, top + 22, dash=dash, title=region.words))
        parts.append(_text(left + 4, top + 16, _label(region), bold=True))
    return parts


def _label(region: Region) -> str:
    """Return a size's own name where it has room, else its sign, which the legend explains."""
    return region.words if len(region.words) <= _LONGEST_LABEL else region.sign


def _axis_across(axis: Axis) -> list[str]:
    bottom = _TOP + _HEIGHT
    parts = [f'<path d="M{_LEFT} {_TOP}V{bottom}H{_WIDTH - 20}" fill="none" stroke="#000000"/>']
    for tick in axis.ticks(16):
        x = _across(axis, tick)
        parts.append(f'<path d="M{x:.1f} {bottom}v5" stroke="#000000"/>')
        parts.append(_text(x, bottom + 18, f"{tick:g}", anchor="middle"))
    return [*parts, _text((_LEFT + _WIDTH) / 2, bottom + 36, axis.words, anchor="middle")]


def _across(axis: Axis, place: float) -> float:
    share = (place - axis.low) / (axis.high - axis.low)
    return _LEFT + share * (_WIDTH - 20 - _LEFT)


def _up(axis: Axis, place: float) -> float:
    return _TOP + (axis.high - place) / (axis.high - axis.low) * _HEIGHT


def _box(left: float, top: float, right: float, bottom: float, *, dash: str, title: str) -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" '
        f'height="{bottom - top:.1f}" fill="#335577" fill-opacity="0.06" stroke="#335577" '
        f'stroke-width="1.5"{dashed}><title>{_escaped(title)}</title></rect>'
    )


def _text(x: float, y: float, text: str, *, bold: bool = False, anchor: str = "start") -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{weight}>{_escaped(text)}</text>'


def _escaped(text: str) -> str:
    """Return text as XML may hold it: sizes and makers come from foreign files."""
    return escape(visible(text))


def _frame(parts: Sequence[str], height: float, name: str, told: tuple[str, str]) -> str:
    ids = quoteattr(f"{name}-title {name}-desc")
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby={ids} '
            f'viewBox="0 0 {_WIDTH} {height:g}" font-family="sans-serif" font-size="13">',
            f"<title id={quoteattr(f'{name}-title')}>{_escaped(told[0])}</title>",
            f"<desc id={quoteattr(f'{name}-desc')}>{_escaped(told[1])}</desc>",
            f'<rect width="{_WIDTH}" height="{height:g}" fill="#ffffff"/>',
            *parts,
            "</svg>",
            "",
        ]
    )
