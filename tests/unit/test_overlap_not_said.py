"""A chart whose leaflet does not say which of two sizes is taken: a person chooses, each time."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from fitcore.certainty.certainty import Spread, outcome_probabilities
from fitcore.charts.boxes import chart_boxes
from fitcore.charts.chart import Chart
from fitcore.charts.outcome import Outcome, Verdict, outcome
from fitcore.charts.reach import is_ever_chosen
from fitcore.charts.sizing import decide_size
from fitcore.coverage.coverage import cover
from fitcore.coverage.coverage_picture import coverage_picture
from fitcore.lint.lint_rows import lint_rows
from fitcore.points import Kind, Point
from fitcore.record.readings import Adopted
from fitcore.units import Millimetre

TABLE: dict[str, Any] = {
    "format": 1, "id": "mill-nine", "maker": "Invented Mill Nine", "line": "Neap",
    "invented": True, "form": "below_knee", "toe": "open", "purposes": ["work"], "unit": "cm",
    "step_mm": 0, "posture": "standing", "source": {"status": "invented", "text": "Made up."},
    "dimensions": [{"id": "ankle", "point": "B", "kind": "girth"}],
    "sizes": [{"size": "S", "ankle": [19, 22]}, {"size": "M", "ankle": [21, 24]}],
}  # fmt: skip


def chart(**more: str) -> Chart:
    return Chart.model_validate(TABLE | more)


def ankle(mm: int) -> Adopted:
    return Adopted(Point.B, Kind.GIRTH, Millimetre(Decimal(mm)), 1, None, ())


def test_no_size_is_chosen_and_both_are_named() -> None:
    answer = decide_size(chart(overlap="ask"), lambda *_: ankle(215))
    assert (answer.verdict, answer.size, answer.alternatives) == (
        Verdict.OVERLAP, None, ("S", "M"),
    )  # fmt: skip
    assert "The chart does not say which to take" in " ".join(answer.reasons)
    alone = decide_size(chart(overlap="ask"), lambda *_: ankle(200))
    assert (alone.verdict, alone.size) == (Verdict.FITS, "S")


def test_a_rule_the_chart_does_not_name_is_not_called_the_charts() -> None:
    unsaid = decide_size(chart(), lambda *_: ankle(215))
    said = decide_size(chart(overlap="larger"), lambda *_: ankle(215))
    assert unsaid.size == said.size == "M"
    assert "The chart's rule" not in " ".join(unsaid.reasons)
    assert "the chart names no rule" in " ".join(unsaid.reasons)
    assert "The chart's rule takes the larger." in said.reasons


def test_a_choice_is_an_outcome_of_its_own_and_probabilities_sum_to_one() -> None:
    own = chart(overlap="ask")
    found = outcome_probabilities(own, {"ankle": Decimal(212)}, {"ankle": Spread(2.0, Decimal(1))})
    assert abs(sum(found.values()) - 1) < 1e-9
    boxes = chart_boxes(own)
    both = outcome(own, boxes, {"ankle": Decimal(215)})
    assert both == Outcome(Verdict.OVERLAP, among=(0, 1))
    assert 0.5 < found[both] < 1


def test_every_size_can_be_chosen() -> None:
    inside = {**TABLE, "overlap": "ask", "sizes": [
        {"size": "S", "ankle": [20, 21]}, {"size": "M", "ankle": [19, 24]},
    ]}  # fmt: skip
    own = Chart.model_validate(inside)
    assert [is_ever_chosen(own, chart_boxes(own), row) for row in range(2)] == [True, True]
    ruled = Chart.model_validate(inside | {"overlap": "larger"})
    assert not is_ever_chosen(ruled, chart_boxes(ruled), 0)


def test_coverage_gives_an_open_choice_to_no_size() -> None:
    legs = [{(Point.B, Kind.GIRTH): ankle(mm)} for mm in (200, 215, 218, 235, 300)]
    counts = cover(chart(overlap="ask"), legs)
    assert (counts.one_size, counts.several, counts.off_chart) == (2, 2, 1)
    assert counts.by_size == {"S": 1, "M": 1}
    assert counts.holds == {"S": 3, "M": 3}
    drawn = " ".join(coverage_picture(chart(overlap="ask"), legs, 60, 12))
    assert "does not say which is taken" in " ".join(drawn.split())
    assert "rule takes" not in drawn


def test_lint_says_that_the_rule_is_open() -> None:
    (remark,) = [r for r in lint_rows(chart(overlap="ask")) if r.code == "overlap"]
    assert "which is taken is not said, so a person chooses" in remark.text
    assert "F2" in remark.mend_in_form
