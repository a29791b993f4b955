"""Remarks on what a chart says of itself: source, dates, toe, rules, columns."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

from fitcore.charts.sizing import dimension_words
from fitcore.lint.chart_remark import ChartRemark
from fitcore.points import Kind, Point, place_words
from fitcore.problems import ProblemLevel
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from fitcore.charts.chart import Chart

_NOT_FROM_THE_LEAFLET = ("from memory", "second hand", "judgement", "common practice", "computed")

_NOTHING_SAID = frozenset(
    {"", "n/a", "na", "none", "nil", "unknown", "not known", "no idea", "nothing"}
)
"""What stands in a source's place where nobody knows it; signs alone say nothing either. Ours."""

_USUAL: dict[str, tuple[tuple[Point, ...], ...]] = {
    # Below knee: ankle and calf; thigh length: the thigh as well (archived NHS CKS, read). Tights:
    # the hips as well (from memory). One point of each group is enough.
    "below_knee": ((Point.C,),),
    "half_thigh": ((Point.C,), (Point.F, Point.G)),
    "thigh": ((Point.C,), (Point.F, Point.G)),
    "tights": ((Point.C,), (Point.H,)),
}


def lint_facts(chart: Chart, on: date | None) -> Iterator[ChartRemark]:
    """Judge what a chart says of itself.

    Args:
        chart: the chart.
        on: the day it would be used; None judges no date.
    """
    yield from _source(chart)
    if on is not None:
        yield from _dates(chart, on)
    yield from _garment(chart)
    yield from _columns(chart)


def says_nothing(text: str) -> bool:
    """Whether the words of a source say none: `?`, a dash, `not known`."""
    return re.sub(r"[^\w/]+", " ", text.casefold()).strip(" _/") in _NOTHING_SAID


def _source(chart: Chart) -> Iterator[ChartRemark]:
    status = chart.source.status
    if chart.invented:
        yield ChartRemark(
            "invented",
            ProblemLevel.NOTE,
            "invented_chart",
            say("The chart is invented: it can never be ordered from."),
            say("Nothing to mend in a chart for practice."),
        )
    elif status == "invented":
        yield ChartRemark(
            "source.status",
            ProblemLevel.ERROR,
            "invented_not_marked",
            say("The source says invented, and the chart is not marked so: it could be ordered."),
            say("Write invented = true, or the leaflet the figures are from."),
            say("F2, line 'How you know the numbers': say it again."),
        )
    elif status in _NOT_FROM_THE_LEAFLET:
        yield ChartRemark(
            "source.status",
            ProblemLevel.WARNING,
            "not_from_leaflet",
            say("The figures were not read off the maker's leaflet: {status}.", status=status),
            say('Compare them with the leaflet, then write status = "read".'),
            say("Compare them with the leaflet; then F2, line 'How you know the numbers': 1."),
        )
    if says_nothing(chart.source.text):
        yield ChartRemark(
            "source.text",
            ProblemLevel.ERROR,
            "no_source",
            say(
                "'{text}' names no leaflet, so nobody can compare the figures with it.",
                text=chart.source.text[:40],
            ),
            say("Write text = and the leaflet's title and page."),
            say("F2, line 'The leaflet': its title and page."),
        )
    if not chart.invented and chart.source.printed is None:
        yield ChartRemark(
            "source",
            ProblemLevel.WARNING,
            "no_source_date",
            say("Nothing says when the leaflet was printed; makers change their tables."),
            say("Write printed = and the date on the leaflet."),
            say("F2, line 'When it was printed': the date on the leaflet, or its month or year."),
        )
    if not chart.invented and chart.valid_from is None and chart.valid_until is None:
        yield ChartRemark(
            "valid_from",
            ProblemLevel.NOTE,
            "no_validity",
            say("Nothing says from when or until when the chart holds."),
            say("Write valid_from, or valid_until where the leaflet names a day."),
            say("F2, lines 'First day' and 'Last day the table holds', where the leaflet says."),
        )


def _dates(chart: Chart, on: date) -> Iterator[ChartRemark]:
    if chart.valid_until is not None and chart.valid_until < on:
        yield ChartRemark(
            "valid_until",
            ProblemLevel.WARNING,
            "expired",
            say("The chart ran out on {date}.", date=chart.valid_until.isoformat()),
            say("Ask the maker for the leaflet that holds now."),
        )
    if chart.valid_from is not None and chart.valid_from > on:
        yield ChartRemark(
            "valid_from",
            ProblemLevel.WARNING,
            "not_yet_valid",
            say("The chart holds only from {date} on.", date=chart.valid_from.isoformat()),
            say("Use the maker's older chart until then."),
        )
    printed = "" if chart.source.printed is None else str(chart.source.printed)
    if printed > on.isoformat()[: len(printed)]:  # a month or a year is compared as such
        yield ChartRemark(
            "source.printed",
            ProblemLevel.WARNING,
            "printed_in_future",
            say("Printed {date}, which is still to come.", date=printed),
            say("Correct the date, or look at the laptop's clock."),
            say("F2, line 'When it was printed'; or look at the laptop's clock."),
        )


def _garment(chart: Chart) -> Iterator[ChartRemark]:
    places = {(dimension.point, dimension.kind) for dimension in chart.dimensions}
    girths = {point for point, kind in places if kind is Kind.GIRTH}
    if (chart.toe == "none") != (chart.form == "footless_sleeve"):
        yield ChartRemark(
            "toe",
            ProblemLevel.WARNING,
            "toe_and_form",
            say("A footless sleeve has no toe, and every other garment has one."),
            say("Correct 'toe' or 'form'."),
            say("F2, lines 'Form of the garment' and 'Its toe'."),
        )
    foot = {(Point.FOOT, Kind.LENGTH), (Point.FOOT, Kind.SHOE)}
    if chart.toe == "closed" and not places & foot:
        # Foot from heel to longest toe if closed toe: archived NHS CKS (read).
        yield ChartRemark(
            "toe",
            ProblemLevel.WARNING,
            "closed_toe_without_foot",
            say("The toe is closed, and no column is of foot length or shoe size."),
            say("Look whether the leaflet gives one: toes must not be pressed."),
        )
    if "prescribed" in chart.purposes and Point.B not in girths:
        # Every standard defines the class by the pressure at the ankle (RAL association, read).
        yield ChartRemark(
            "dimensions",
            ProblemLevel.WARNING,
            "prescribed_without_ankle",
            say(
                "Meant for prescribed garments, and no column is of the ankle, where the class is."
            ),
            say("Look whether the leaflet gives an ankle girth."),
        )
    for group in _USUAL.get(chart.form, ()):
        if not girths.intersection(group):
            yield ChartRemark(
                "dimensions",
                ProblemLevel.NOTE,
                "usual_girth_missing",
                say(
                    "Such a garment is usually sized by a girth this chart has not: {names}.",
                    names=" / ".join(place_words(point, Kind.GIRTH) for point in group),
                ),
                say("Nothing to mend if the leaflet has none."),
            )
    if chart.overlap == "ankle" and Point.B not in girths:
        yield ChartRemark(
            "overlap",
            ProblemLevel.WARNING,
            "ankle_rule_without_ankle",
            say("Where sizes overlap the ankle shall decide, and no column is of the ankle."),
            say(
                'Write overlap = "larger" or "smaller", as the leaflet says; "ask" if it says none.'
            ),
            say("F2, line 'Which size where two hold': as the leaflet says."),
        )


def _columns(chart: Chart) -> Iterator[ChartRemark]:
    count = Counter((dimension.point, dimension.kind) for dimension in chart.dimensions)
    for index, dimension in enumerate(chart.dimensions):
        name = dimension_words(dimension.id)
        if count[dimension.point, dimension.kind] > 1:
            yield ChartRemark(
                f"dimensions.{index}",
                ProblemLevel.ERROR,
                "same_measure_twice",
                say(
                    "More than one column means {what}: {name} is one.",
                    what=place_words(dimension.point, dimension.kind),
                    name=name,
                ),
                say("Say which point each column means."),
            )
        if dimension.kind is Kind.SHOE and dimension.step is None:
            yield ChartRemark(
                f"dimensions.{index}",
                ProblemLevel.WARNING,
                "shoe_without_step",
                say(
                    "{name}: nothing says whether whole or half sizes are printed, so a size "
                    "between two ranges gets none.",
                    name=name,
                ),
                say("Write step = 1 for whole sizes, step = 0.5 for half ones."),
                say("F2, line 'Step of the printed shoe sizes': 1 for whole sizes, 0.5 for half."),
            )
        if dimension.kind is not Kind.SHOE and dimension.step is not None:
            yield ChartRemark(
                f"dimensions.{index}.step",
                ProblemLevel.WARNING,
                "step_unused",
                say("{name}: a step belongs to shoe sizes; this one does nothing.", name=name),
                say("Write the table's step as step_mm at the top of the chart."),
                say("F2, line 'Step of the printed table'."),
            )
