"""Why a leg gets a size or none: gaps and their rules, steps, edges of a neighbour.

All charts are invented.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any, get_args

import pytest

from fitcore.charts.boxes import Edges, printed_step
from fitcore.charts.chart import Chart, Dimension
from fitcore.charts.gap_rules import GapRule, rule_words, sizes_meet
from fitcore.charts.outcome import Verdict
from fitcore.charts.sizing import SizeAnswer, decide_size
from fitcore.points import Kind, Point
from fitcore.record.readings import Adopted
from fitcore.units import Millimetre
from tui.chart_head_form import _gap

if TYPE_CHECKING:
    from collections.abc import Mapping

PLACES = {
    "ankle": (Point.B, Kind.GIRTH),
    "calf": (Point.C, Kind.GIRTH),
    "foot": (Point.FOOT, Kind.LENGTH),
}


def chart_of(
    sizes: Mapping[str, Mapping[str, tuple[str, str]]], gap: str | None = None, step_mm: int = 1
) -> Chart:
    """A chart in cm whose columns all have one rule for gaps, or say nothing of them."""
    columns = list(next(iter(sizes.values())))
    rule = {} if gap is None else {"gap": gap}
    table: dict[str, Any] = {
        "format": 1,
        "id": "mill-nine-reasons",
        "maker": "Invented Mill Nine",
        "line": "Reasons",
        "invented": True,
        "form": "below_knee",
        "toe": "open",
        "purposes": ["work"],
        "unit": "cm",
        "step_mm": step_mm,
        "posture": "standing",
        "source": {"text": "Made up for a test", "status": "invented"},
        "dimensions": [
            {"id": name, "point": PLACES[name][0], "kind": PLACES[name][1], **rule}
            for name in columns
        ],
        "sizes": [
            {"size": size} | {name: list(map(Decimal, pair)) for name, pair in ranges.items()}
            for size, ranges in sizes.items()
        ],
    }
    return Chart.model_validate(table)


def decide(chart: Chart, **cm: str) -> SizeAnswer:
    values = {PLACES[name]: Decimal(value) * 10 for name, value in cm.items()}

    def measured(point: Point, kind: Kind) -> Adopted | None:
        mm = values.get((point, kind))
        return None if mm is None else Adopted(point, kind, Millimetre(mm), 1, None, ("a-aaaa:1",))

    return decide_size(chart, measured)


GAPPED = {"S": {"ankle": ("19", "20.9")}, "M": {"ankle": ("22.9", "24")}}
"""Between the sizes lie 2 cm, far more than the step."""
STEPPED = {
    "S": {"ankle": ("19", "20.9"), "calf": ("30", "32.9")},
    "M": {"ankle": ("22", "24"), "calf": ("33", "36")},
}

NEARER = "ankle {} cm lies in a gap: the chart's rule takes the nearer size."
LARGER = "ankle {} cm lies in a gap: the chart's rule takes the larger size."

# --- the rules for gaps --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gap", "ankle", "size", "said"),
    [
        (None, "21.5", None, "ankle 21.5 cm falls in a gap between sizes."),
        ("none", "21.5", None, "ankle 21.5 cm falls in a gap between sizes."),
        ("nearest", "20.9", "S", None),
        ("nearest", "21.8", "S", NEARER.format("21.8")),
        ("nearest", "21.9", "M", NEARER.format("21.9")),
        ("nearest", "22.9", "M", None),
        ("larger", "20.9", "S", None),
        ("larger", "20.95", "M", LARGER.format("20.95")),
        ("larger", "22.8", "M", LARGER.format("22.8")),
        ("larger", "22.9", "M", None),
    ],
)  # fmt: skip
def test_a_value_in_a_gap_goes_where_the_maker_says_and_the_reason_says_so(
    gap: str | None, ankle: str, size: str | None, said: str | None
) -> None:
    answer = decide(chart_of(GAPPED, gap), ankle=ankle)
    assert answer.size == size
    assert answer.verdict is (Verdict.FITS if size else Verdict.BETWEEN)
    assert [reason for reason in answer.reasons if " gap" in reason] == ([said] if said else [])


def test_every_rule_for_gaps_has_a_meaning_and_words_of_its_own() -> None:
    below, above = Decimal(209), Decimal(229)
    assert get_args(GapRule) == get_args(Dimension.model_fields["gap"].annotation)
    met = {rule: sizes_meet(rule, below, above) for rule in get_args(GapRule)}
    assert met == {"none": None, "nearest": 219, "larger": 209}
    words = {rule_words(rule, "ankle", "21.5 cm") for rule in get_args(GapRule)}
    assert len(words) == len(met)


def test_the_chart_editor_offers_every_rule() -> None:
    offered = {stored for stored, _ in _gap("ankle", "round the ankle (B)").choices}
    assert offered == set(get_args(GapRule)), "tui/chart_head_form.py: _gap lacks a rule"


def test_a_rule_nobody_wrote_down_is_an_error_and_never_another_rule() -> None:
    with pytest.raises(AssertionError):
        sizes_meet("smaller", Decimal(1), Decimal(2))  # type: ignore[arg-type]
    with pytest.raises(AssertionError):
        rule_words("smaller", "ankle", "21.5 cm")  # type: ignore[arg-type]


def test_the_step_is_that_of_the_column() -> None:
    chart = chart_of(GAPPED, step_mm=2)
    assert printed_step(chart, chart.dimensions[0]) == 2
    shoe: dict[str, Any] = {"id": "shoe", "point": "foot", "kind": "shoe", "system": "eu"}
    assert printed_step(chart, Dimension.model_validate(shoe)) == 0
    assert printed_step(chart, Dimension.model_validate(shoe | {"step": Decimal("0.5")})) == (
        Decimal("0.5")
    )


def test_every_measure_that_was_stretched_is_told() -> None:
    sizes = {
        "S": {"ankle": ("19", "20.9"), "calf": ("30", "32.9")},
        "M": {"ankle": ("21", "23"), "calf": ("33", "36")},
    }
    answer = decide(chart_of(sizes), ankle="20.96", calf="32.97")
    assert answer.size == "M"
    assert answer.reasons[1:] == (
        "ankle 20.96 cm lies in the printed table's step: sizes meet at the midpoint.",
        "calf 32.97 cm lies in the printed table's step: sizes meet at the midpoint.",
    )


# --- none holds ----------------------------------------------------------------------------------


def test_an_edge_that_is_the_larger_sizes_is_called_so_and_not_0_short() -> None:
    answer = decide(chart_of(STEPPED), ankle="20", calf="32.95")
    assert (answer.verdict, answer.nearest) == (Verdict.PROPORTIONS, ("S",))
    assert answer.reasons[-2:] == (
        "calf 32.95 cm is the upper edge of S, and that edge belongs to the larger size.",
        "Nearest: S. Not chosen.",
    )
    assert [m.edge_of for m in answer.margins] == [None, "larger"]


def test_an_edge_that_is_the_smaller_sizes_is_called_so() -> None:
    sizes = {
        "S": {"ankle": ("19", "20.9"), "calf": ("30", "32.9")},
        "M": {"ankle": ("22", "24"), "calf": ("35", "36")},
    }
    answer = decide(chart_of(sizes, "larger"), ankle="23", calf="32.9")
    assert answer.nearest == ("M",)
    assert answer.reasons[-2:] == (
        "calf 32.9 cm is the lower edge of M, and that edge belongs to the smaller size.",
        "Nearest: M. Not chosen.",
    )
    assert [m.edge_of for m in answer.margins] == [None, "smaller"]


@pytest.mark.parametrize(
    ("ankle", "short"),
    [("24.3", "3"), ("24.01", "0.1"), ("24.005", "less than 0.1"), ("24.001", "less than 0.1")],
)
def test_a_shortfall_is_never_rounded_away(ankle: str, short: str) -> None:
    answer = decide(chart_of(GAPPED), ankle=ankle)
    assert answer.verdict is Verdict.OFF_CHART
    assert answer.reasons[-1] == f"Nearest: M, {short} mm short in all. Not chosen."
    assert all(margin.edge_of is None for margin in answer.margins)


def test_whose_an_edge_is() -> None:
    own = Edges(Decimal(190), Decimal(209))
    assert [own.edge_of_another(Decimal(v)) for v in (190, 200, 209, 300)] == [None] * 4
    others = Edges(Decimal(190), Decimal(209), high_inside=False, low_inside=False)
    assert [others.edge_of_another(Decimal(v)) for v in (190, 200, 209, 300)] == [
        "smaller", None, "larger", None,
    ]  # fmt: skip


def test_every_measure_outside_is_told_and_so_is_where_the_others_point() -> None:
    answer = decide(chart_of(STEPPED), ankle="18", calf="36.1")
    assert answer.verdict is Verdict.OFF_CHART
    assert answer.reasons[:2] == (
        "ankle 18.0 cm is below every size (19.0 cm to 24.0 cm).",
        "calf 36.1 cm is above every size (30.0 cm to 36.0 cm).",
    )
    answer = decide(chart_of(STEPPED), ankle="23", calf="31")
    assert answer.reasons[:2] == ("ankle 23.0 cm points to M.", "calf 31.0 cm points to S.")
