"""The list of size charts: unfinished ones first, then all, with what each one is. No screen."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.words import say
from tui.chart_head_form import title_of

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence
    from datetime import date

    from fitcore.charts.chart import Chart
    from tui.chart_grid import ChartGrid


@dataclass(frozen=True, slots=True)
class ChartLine:
    """One line of the list."""

    id: str
    """The chart's id, or the draft's name."""
    title: str
    state: str
    draft: bool = False
    favourite: bool = False


def chart_lines(
    charts: Sequence[Chart],
    drafts: Mapping[str, ChartGrid],
    broken: Mapping[str, str],
    *,
    own: Collection[str],
    favourites: Collection[str],
    on: date,
    wanted: str,
    wrong: Collection[str] = (),
) -> list[ChartLine]:
    """Return the lines whose names hold what is looked for.

    Args:
        charts: every chart that can be used.
        drafts: unfinished ones, by name.
        broken: id and title of own files that cannot be used as they are.
        own: ids of charts that lie in the data folder.
        favourites: ids of the charts used most; they stand first.
        on: today.
        wanted: part of a maker's, a line's or a chart's name.
        wrong: ids of charts with a surely wrong figure in them: no leg is offered a size of one.
    """
    lines = [
        ChartLine(
            name,
            title_of(grid.head) or say("new chart {name}", name=name.removeprefix("new-")),
            _unfinished(grid),
            draft=True,
        )
        for name, grid in sorted(drafts.items())
    ]
    lines += [
        ChartLine(name, title or name, say("! cannot be used: open to mend it"))
        for name, title in sorted(broken.items())
    ]
    sorted_charts = sorted(
        charts,
        key=lambda c: (c.id not in wrong, c.id not in favourites, c.title.casefold(), c.id),
    )
    shared = {title for title, count in Counter(c.title for c in charts).items() if count > 1}
    lines += [
        ChartLine(
            chart.id,
            chart.title,
            _state(chart, own, favourites, on, wrong=wrong, shared=shared),
            favourite=chart.id in favourites,
        )
        for chart in sorted_charts
    ]
    folded = wanted.casefold()
    return [line for line in lines if folded in f"{line.title} {line.id}".casefold()]


def free_draft_name(taken: Collection[str]) -> str:
    """Return a name for a new draft that no other has."""
    number = 1
    while f"new-{number}" in taken:
        number += 1
    return f"new-{number}"


def free_copy_id(chart_id: str, taken: Collection[str]) -> str:
    """Return an id for a copy of a chart that no other has."""
    stem = chart_id[:40].strip("-")
    number = 1
    while True:
        found = f"{stem}-copy" if number == 1 else f"{stem}-copy{number}"
        if found not in taken:
            return found
        number += 1


def _unfinished(grid: ChartGrid) -> str:
    return say("! not finished: {rows} sizes typed", rows=len(grid.table.rows))


def _state(
    chart: Chart,
    own: Collection[str],
    favourites: Collection[str],
    on: date,
    *,
    wrong: Collection[str],
    shared: Collection[str],
) -> str:
    told = [say("! ERROR, not used: open to mend it")] if chart.id in wrong else []
    mine = say("own copy {id}", id=chart.id) if chart.title in shared else say("own")
    told.append(mine if chart.id in own else say("shipped"))
    if chart.valid_until is not None and chart.valid_until < on:
        told.append(say("! EXPIRED {date}", date=chart.valid_until.isoformat()))
    if chart.valid_from is not None and chart.valid_from > on:
        told.append(say("! not valid before {date}", date=chart.valid_from.isoformat()))
    if chart.invented:
        told.append(say("invented"))
    if chart.id in favourites:
        told.append(say("favourite"))
    return visible(", ".join(told))
