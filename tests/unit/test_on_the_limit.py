"""One case on each limit that decides what is said of a chart or offered from it. All invented."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from screening_cases import TODAY, Sitting, about, ordinary

from fitcore.certainty.certainty_words import Summary, certainty_words, summarise
from fitcore.charts.chart import Chart
from fitcore.charts.outcome import Verdict
from fitcore.charts.sizing import SizeAnswer
from fitcore.disk.profile_files import load_profiles
from fitcore.fit import SessionFit, fit_session
from fitcore.lint.chart_lint import lint_chart
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.ranking import rank_charts
from fitcore.record.edits import draft_reading, parse_typed
from fitcore.safety.decisions import Decision, draft_decision
from fitcore.safety.outcomes import Clearance

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.leg_fit import ChartFit

PROFILES = load_profiles()

HEAD: dict[str, Any] = tomllib.loads(
    """
format = 1
id = "mill-nine-limits"
maker = "Invented Mill Nine"
line = "Limits"
invented = true
form = "below_knee"
toe = "open"
purposes = ["work"]
unit = "cm"
step_mm = 0
posture = "standing"
source = { status = "invented", text = "Made up for this test." }
pressure = { mmhg = [10, 14], standard = "invented scale", class = "light" }
dimensions = [
  { id = "ankle", point = "B", kind = "girth" },
  { id = "calf", point = "C", kind = "girth" },
]
""",
    parse_float=Decimal,
)


def chart_of(rows: Sequence[Mapping[str, tuple[str, str]]], **head: object) -> Chart:
    """A chart of ankle and calf in cm; its sizes are S, M, L."""
    sizes = [
        {"size": size} | {name: list(map(Decimal, pair)) for name, pair in row.items()}
        for size, row in zip(("S", "M", "L"), rows, strict=False)
    ]
    return Chart.model_validate(HEAD | head | {"sizes": sizes})


def told(chart: Chart) -> dict[str, str]:
    """Code to place of what is remarked of a chart's figures."""
    return {remark.code: remark.key for remark in lint_chart(chart, PROFILES.ranges, on=None)}


# --- remarks on a chart --------------------------------------------------------------------------

CALVES = [("31", "34"), ("34", "38"), ("38", "42")]


def test_one_small_gap_is_a_gap_and_only_two_alike_look_like_a_step() -> None:
    ankles = [("19", "20.8"), ("21", "22.8"), ("23", "24.8")]
    rows = [{"ankle": a, "calf": c} for a, c in zip(ankles, CALVES, strict=True)]
    two = told(chart_of(rows))
    assert "step_not_set" in two
    assert "gap" not in two
    one = told(chart_of(rows[:2]))
    assert "step_not_set" not in one
    assert one["gap"] == "sizes.1.ankle"


@pytest.mark.parametrize(("edge", "lost"), [("300", True), ("300.1", False)])
def test_a_point_is_lost_up_to_half_the_other_edge_away(edge: str, lost: bool) -> None:  # noqa: FBT001
    """20 to 300 may mean 20 to 30.0, half as much again; anything wider is no range of a size."""
    found = told(chart_of([{"ankle": ("20", edge), "calf": ("34", "38")}]))
    assert ("point_lost" in found) is lost
    assert ("impossible_edge" in found) is not lost


@pytest.mark.parametrize(("ankle", "nobody"), [("27", True), ("26.9", False)])
def test_an_ankle_that_begins_where_the_calf_ends_fits_nobody(ankle: str, nobody: bool) -> None:  # noqa: FBT001
    found = told(chart_of([{"ankle": (ankle, "29"), "calf": ("24", "27")}]))
    assert ("ankle_not_below_calf" in found) is nobody


# --- how sure ------------------------------------------------------------------------------------


def test_from_its_limit_on_a_size_is_clear_of_the_edge() -> None:
    """The limit is taken as a fraction of two here, so that it is met exactly."""
    words = PROFILES.rules.certainty.words
    limit = words.clear_from.model_copy(update={"share": Decimal("0.875")})
    rules = PROFILES.rules.certainty.model_copy(
        update={"words": words.model_copy(update={"clear_from": limit})}
    )
    answer = SizeAnswer(Verdict.FITS, "S", complete=True)
    chart = chart_of([{"ankle": ("19", "21"), "calf": ("31", "34")}])

    def code(share: float) -> str:
        found = summarise(
            chart, answer, rules, share=share, change=None, spreads={}, prescribed=False
        )
        return found.code

    assert [code(share) for share in (0.8749, 0.875, 0.8751)] == ["edge", "clear", "clear"]
    said = [certainty_words(share, rules).partition(" (")[0] for share in (0.8749, 0.875)]
    assert said == ["on the edge", "clear of the edge"]


# --- the order -----------------------------------------------------------------------------------

USUAL = {Point.B: "22.4", Point.C: "36.2"}
WIDE = [{"ankle": ("19", "26"), "calf": ("31", "42")}]


def sitting(**answers: Any) -> Sitting:
    """A client screened clean but for these answers, with both legs read."""
    made = Sitting()
    made.answer("purpose", "work")
    made.answer("forms", ["below_knee"])
    made.answer("sides", ["left", "right"])
    made.answer_all(**ordinary(**answers))
    for side in LEGS:
        for point, cm in USUAL.items():
            place = (side, point, Kind.GIRTH)
            made.add(draft_reading(place, 1, parse_typed(Kind.GIRTH, cm, "cm"), made.at))
    return made


def fit(made: Sitting, *charts: Chart) -> SessionFit:
    return fit_session(made.session, charts, PROFILES.rules, on=TODAY)


def ranked(first: Mapping[str, Any], second: Mapping[str, Any]) -> list[str]:
    """Rank two charts alike, `A` and `B`, once the answers of each are changed so."""
    charts = [chart_of(WIDE, id=name.lower(), line=name) for name in ("A", "B")]
    found = fit(sitting(), *charts)
    legs = []
    for leg in found.legs:
        (one, other) = leg.charts
        legs.append(replace(leg, charts=(changed(one, first), changed(other, second))))
    return [row.chart.line for row in rank_charts(replace(found, legs=tuple(legs), pairs=()))]


def changed(fitted: ChartFit, changes: Mapping[str, Any]) -> ChartFit:
    own = {k: v for k, v in changes.items() if k in ("summary", "certainty")}
    of_answer = {k: v for k, v in changes.items() if k not in own}
    return replace(fitted, answer=replace(fitted.answer, **of_answer), **own)


EDGE = Summary("edge", "On the edge.")
CLEAR = Summary("clear", "Clear of the edge.")
NO_CAUTION: dict[str, Any] = {"cautions": ()}
CAUTION = {"cautions": ("Measured sitting, meant for standing.",)}


def test_of_two_charts_alike_the_name_decides() -> None:
    assert ranked({}, {}) == ["A", "B"]


def test_what_is_clear_of_the_edge_stands_before_what_is_surer() -> None:
    sure = {"summary": EDGE, "certainty": 0.99}
    clear = {"summary": CLEAR, "certainty": 0.91}
    assert ranked(sure, clear) == ["B", "A"]
    assert ranked(clear, sure) == ["A", "B"]


def test_what_wants_no_caution_stands_before_the_greater_distance_to_an_edge() -> None:
    near = NO_CAUTION | {"margins": ()}  # taken as a distance of 0
    assert ranked(CAUTION, near) == ["B", "A"]
    assert ranked(near, CAUTION) == ["A", "B"]
    assert ranked(near, NO_CAUTION) == ["B", "A"]


def test_a_caution_weighs_less_than_certainty() -> None:
    assert ranked(NO_CAUTION | {"certainty": 0.9}, CAUTION | {"certainty": 0.99}) == ["B", "A"]


# --- a firmer hold -------------------------------------------------------------------------------

TWO_HOLD = [
    {"ankle": ("20", "24"), "calf": ("33", "39")},
    {"ankle": ("21", "26"), "calf": ("35", "42")},
]
PRESSURES = {"arm_left": 138, "arm_right": 134, "left_dp": 138, "right_dp": 138}


def firmer_of(made: Sitting) -> tuple[ChartFit, Clearance]:
    (chart,) = fit(made, chart_of(TWO_HOLD)).legs[0].charts
    return chart, chart.offer.clearance


def with_pressures(made: Sitting) -> Sitting:
    for name, mmhg in PRESSURES.items():
        made.answer(f"pressure.{name}", mmhg)
    made.answer("pressure.taken_on", TODAY)
    return made


def test_a_leg_without_a_question_open_may_have_a_firmer_hold() -> None:
    chart, clearance = firmer_of(with_pressures(sitting()))
    assert (clearance, chart.offered, chart.answer.size) == (Clearance.CLEARED, True, "M")
    assert chart.firmer == "S"


def test_a_leg_that_was_to_be_asked_about_never_has_a_firmer_hold() -> None:
    """A prescriber's decision lets a size be offered; it does not make the leg a cleared one."""
    made = with_pressures(sitting(previous_clot="yes"))
    asked, clearance = firmer_of(made)
    assert (clearance, asked.offered, asked.firmer) == (Clearance.ASK, False, None)
    decision = Decision(
        Side.LEFT, "Dr-7", "prescriber", "written", Decimal(24), TODAY, date(2026, 9, 1),
        "seen in clinic", ("previous_clot",),
    )  # fmt: skip
    whole = about(decision, fit(made, chart_of(TWO_HOLD)).clearance.result)
    made.add(draft_decision(made.session, whole, made.at))
    chart, clearance = firmer_of(made)
    assert (clearance, chart.offered, chart.answer.size) == (Clearance.ASK, True, "M")
    assert chart.firmer is None
