"""A chart with something surely wrong in it: nothing it says is offered, and everybody is told.

All charts and people are invented.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from screening_cases import TODAY, Sitting, ordinary

from fitcore import suitability
from fitcore.charts.outcome import Verdict
from fitcore.disk.profile_files import load_profiles
from fitcore.fit import SessionFit, fit_session
from fitcore.lint.chart_lint import lint_chart
from fitcore.points import Kind, Point, Side
from fitcore.ranking import rank_charts
from fitcore.record.edits import draft_reading, parse_typed
from fitcore.suitability import chart_errors, wrong_charts
from tui.charts_list import chart_lines
from tui.commands.fit_words import fit_lines
from tui.result_words import cell_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.charts.chart import Chart

PROFILES = load_profiles()
LOW_TIDE = next(chart for chart in PROFILES.charts if chart.id == "mill-four-low-tide")
USUAL = {"S": (180, 220), "M": (210, 250), "L": (240, 280)}
CALVES = {"S": (280, 360), "M": (340, 420), "L": (400, 480)}


def own_chart(ankles: Mapping[str, tuple[int, int]], **values: Any) -> Chart:
    """A service's own chart by ankle and calf, its ranges in mm."""
    ankle, calf = LOW_TIDE.dimensions
    row = LOW_TIDE.sizes[0]
    sizes = tuple(
        row.model_copy(
            update={
                "size": name,
                "ranges": {
                    ankle.id: (Decimal(low), Decimal(high)),
                    calf.id: tuple(map(Decimal, CALVES[name])),
                },
            }
        )
        for name, (low, high) in ankles.items()
    )
    return LOW_TIDE.model_copy(
        update={"id": "own-skerry", "line": "Skerry", "sizes": sizes, **values}
    )


SOUND = own_chart(USUAL, id="own-sound", line="Sound")
SLIP = own_chart({**USUAL, "S": (80, 100)})
"""Ankle 8 to 10 typed for 18 to 20: where S and M overlapped, only M is left."""


def sitting(ankle: str = "21.5", calf: str = "35.0", **answers: Any) -> Sitting:
    told = Sitting()
    for what, value in ({"purpose": "standing", "forms": ["below_knee"]} | answers).items():
        told.answer(what, value)
    told.answer("sides", ["left", "right"])
    told.answer_all(**ordinary())
    for side in (Side.LEFT, Side.RIGHT):
        for point, cm in ((Point.B, ankle), (Point.C, calf)):
            draft = draft_reading(
                (side, point, Kind.GIRTH), 1, parse_typed(Kind.GIRTH, cm, "cm"), told.at
            )
            told.add(draft)
    return told


def fitted(charts: Sequence[Chart], own: Sequence[Chart] = (), **answers: Any) -> SessionFit:
    rules = replace(PROFILES.rules, own_charts=frozenset(chart.id for chart in own))
    return fit_session(sitting(**answers).session, charts, rules, on=TODAY)


def test_what_is_shipped_has_no_error() -> None:
    assert wrong_charts(PROFILES.rules, PROFILES.charts) == frozenset()


def test_a_slip_that_takes_an_overlap_away_makes_no_chart_surer() -> None:
    found = fitted([SLIP, SOUND])
    sound = next(fit for fit in found.legs[0].charts if fit.chart is SOUND)
    slip = next(fit for fit in found.legs[0].charts if fit.chart is SLIP)
    assert (sound.answer.verdict, sound.offered) == (Verdict.OVERLAP, True)
    assert (slip.answer.verdict, slip.answer.size, slip.offered) == (
        Verdict.NOT_SUITABLE,
        None,
        False,
    )
    assert slip.kept_back
    assert [row.chart.id for row in rank_charts(found)] == [SOUND.id, SLIP.id]


def test_it_is_said_which_chart_what_is_wrong_and_how_it_is_mended() -> None:
    found = fitted([SLIP])
    (error,) = chart_errors(PROFILES.rules, SLIP)
    (slip,) = found.legs[0].charts
    for words in (SLIP.title, error.text, error.mend, "F8", "chart lint"):
        assert words in slip.offered_why
    assert cell_words(slip) == "chart error"
    document = slip.as_json()
    assert (document["unsuitable"], document["offered"], document["size"]) == (
        "chart_error",
        False,
        None,
    )
    assert document["chart_errors"] == [error.as_json()]
    lines = fit_lines([found])
    assert f"  {SLIP.title} (own-skerry): chart error" in lines
    assert f"    ! {slip.offered_why}" in lines


def test_a_warning_keeps_nothing_back() -> None:
    gap = own_chart({"S": (180, 205), "M": (210, 250), "L": (240, 280)})
    found = lint_chart(gap, PROFILES.ranges, on=None)
    assert {remark.level.value for remark in found} == {"warning", "note"}
    assert fitted([gap], ankle="22.5").legs[0].charts[0].offered


def test_a_chart_is_judged_once(monkeypatch: pytest.MonkeyPatch) -> None:
    judged: list[str] = []

    def judge(chart: Chart, *args: Any, **named: Any) -> Any:
        judged.append(chart.id)
        return lint_chart(chart, *args, **named)

    monkeypatch.setattr(suitability, "lint_chart", judge)
    many = [own_chart(USUAL, id=f"own-{number}") for number in range(3)]
    for _ in range(3):
        fitted(many)
    assert judged == ["own-0", "own-1", "own-2"]


def test_the_list_of_charts_marks_it_and_shows_it_first() -> None:
    lines = chart_lines(
        [SOUND, SLIP],
        {},
        {},
        own={SOUND.id, SLIP.id},
        favourites={SOUND.id},
        on=TODAY,
        wanted="",
        wrong=wrong_charts(PROFILES.rules, [SOUND, SLIP]),
    )
    assert [line.id for line in lines] == [SLIP.id, SOUND.id]
    assert lines[0].state.startswith("! ERROR, not used: open to mend it, own")
    assert "ERROR" not in lines[1].state


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"valid_until": date(2026, 3, 3)}, "expired"),
        ({"valid_from": date(2026, 3, 5)}, "not yet valid"),
        ({"form": "thigh"}, "other form"),
        ({"purposes": ("sport",)}, "other purpose"),
    ],
)
def test_the_row_says_what_rules_a_garment_out(changed: dict[str, Any], words: str) -> None:
    (fit,) = fitted([own_chart(USUAL, **changed)]).legs[0].charts
    assert cell_words(fit) == words


def test_in_the_list_what_suits_stands_before_a_favourite_that_does_not() -> None:
    """Neither has a size: the one outside all sizes is the one to look at."""
    outside = own_chart({"M": (250, 270), "L": (270, 290)}, id="own-outside")
    favourite = own_chart(USUAL, id="own-favourite", form="thigh")
    rules = replace(PROFILES.rules, favourites=frozenset({favourite.id}))
    found = fit_session(sitting().session, [favourite, outside], rules, on=TODAY)
    assert [row.chart.id for row in rank_charts(found)] == ["own-outside", "own-favourite"]


def test_a_copy_saved_unchanged_is_told_from_the_shipped_chart() -> None:
    copy = LOW_TIDE.model_copy(update={"id": "mill-four-low-tide-copy"})
    found = fitted([LOW_TIDE, copy, SOUND], own=[copy, SOUND])
    titles = {row.chart.id: row.title for row in rank_charts(found)}
    assert titles == {
        LOW_TIDE.id: f"shipped: {LOW_TIDE.title}",
        copy.id: f"own copy: {LOW_TIDE.title} (mill-four-low-tide-copy)",
        SOUND.id: SOUND.title,
    }
    lines = chart_lines([LOW_TIDE, copy], {}, {}, own={copy.id}, favourites=(), on=TODAY, wanted="")
    assert [line.state.split(",")[0] for line in lines] == [
        "shipped",
        "own copy mill-four-low-tide-copy",
    ]
