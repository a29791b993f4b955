"""Lint of the pressure a chart gives, against the standards that come with the program."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcore.charts.chart import Chart
from fitcore.disk.profile_files import load_profiles
from fitcore.lint.chart_lint import lint_chart
from fitcore.lint.lint_codes import OF_PRESSURE
from fitcore.lint.lint_pressure import lint_pressure
from fitcore.problems import ProblemLevel

if TYPE_CHECKING:
    from fitcore.lint.chart_remark import ChartRemark

PROFILES = load_profiles()
TABLE: dict[str, Any] = {
    "format": 1, "id": "mill-nine-lint", "maker": "Invented Mill Nine", "line": "Lint",
    "form": "below_knee", "toe": "open", "purposes": ["work"], "unit": "cm", "step_mm": 0,
    "posture": "standing", "source": {"status": "read", "text": "Made up for this test."},
    "dimensions": [{"id": "ankle", "point": "B", "kind": "girth"}],
    "sizes": [{"size": "S", "ankle": [19, 21]}, {"size": "M", "ankle": [21, 23]}],
}  # fmt: skip


def remarks(low: int, high: int, standard: str, grade: str, **more: Any) -> list[ChartRemark]:
    pressure = {"mmhg": [low, high], "standard": standard, "class": grade}
    chart = Chart.model_validate(copy.deepcopy(TABLE) | {"pressure": pressure} | more)
    return list(lint_pressure(chart, PROFILES.standards))


@pytest.mark.parametrize(
    ("low", "high", "standard", "grade"),
    [
        (23, 32, "RAL", "2"),
        (23, 32, "RAL-GZ 387/1", "CCL 2"),
        (24, 30, "RAL", "II"),
        (18, 21, "RAL", "I"),
        (15, 20, "NF", "2"),  # 15.1 to 20, printed in whole figures
        (50, 60, "RAL", "IV"),  # open upwards
    ],
)
def test_a_pressure_its_class_has_is_nothing_to_remark(
    low: int, high: int, standard: str, grade: str
) -> None:
    assert remarks(low, high, standard, grade) == []


@pytest.mark.parametrize(
    ("low", "high", "standard", "grade"),
    [(18, 21, "RAL", "2"), (23, 32, "RAL", "1"), (20, 30, "RAL", "2"), (23, 32, "BS 6612", "2")],
)
def test_a_pressure_that_contradicts_its_class_is_an_error(
    low: int, high: int, standard: str, grade: str
) -> None:
    (remark,) = remarks(low, high, standard, grade)
    assert (remark.code, remark.level) == ("pressure_not_of_class", ProblemLevel.ERROR)
    assert remark.key == "pressure.mmhg"
    assert f"{low} to {high} mmHg" in remark.text
    assert "F2" in remark.mend_in_form
    assert "F2" not in remark.mend


def test_the_class_it_would_be_is_named() -> None:
    (remark,) = remarks(18, 21, "RAL", "2")
    assert "class II, 23 to 32 mmHg" in remark.text
    assert "It would be RAL-GZ 387/1 class I, 18 to 21 mmHg." in remark.text


def test_an_unknown_standard_and_class_name_the_known_ones() -> None:
    (standard,) = remarks(18, 21, "Skerrow scale", "2")
    assert (standard.code, standard.level) == ("standard_unknown", ProblemLevel.WARNING)
    assert all(known.name in standard.mend for known in PROFILES.standards)
    (grade,) = remarks(18, 21, "RAL", "9")
    assert (grade.code, grade.level) == ("class_unknown", ProblemLevel.WARNING)
    assert "I (18 to 21 mmHg), II (23 to 32 mmHg)" in grade.mend


def test_a_scale_made_up_with_its_chart_is_not_looked_for() -> None:
    assert remarks(18, 21, "Skerrow scale", "2", invented=True) == []
    codes = {remark.code for remark in remarks(18, 21, "RAL", "2", invented=True)}
    assert codes == {"pressure_not_of_class"}


@given(low=st.integers(8, 80), wide=st.integers(0, 30), at=st.integers(0, 9999))
def test_every_pressure_is_in_its_class_or_an_error(low: int, wide: int, at: int) -> None:
    """Each class of each standard, against an own count of whole mmHg."""
    every = [(s, own) for s in PROFILES.standards for own in s.classes]
    standard, own = every[at % len(every)]
    found = remarks(low, low + wide, standard.name, own.label)
    least, most = float(own.low_mmhg), float(own.high_mmhg or 999)
    inside = low > least - 1 and low + wide < most + 1
    assert [remark.code for remark in found] == ([] if inside else ["pressure_not_of_class"])


def test_lint_judges_no_class_where_no_standard_is_given() -> None:
    pressure = {"mmhg": [18, 21], "standard": "RAL", "class": "2"}
    chart = Chart.model_validate(copy.deepcopy(TABLE) | {"pressure": pressure})
    for standards in ((), PROFILES.standards):
        found = lint_chart(chart, PROFILES.ranges, on=None, standards=standards)
        codes = {remark.code for remark in found} & OF_PRESSURE
        assert codes == ({"pressure_not_of_class"} if standards else set())
