"""The pressure a chart prints: above 0, and the lower figure first."""

from __future__ import annotations

from decimal import Decimal
from importlib.resources import files

import pytest

from fitcore.charts.chart import Chart, Pressure
from fitcore.disk.profile_reading import read_profile

SHIPPED = files("profiles") / "charts" / "mill-two-spindrift.toml"


@pytest.mark.parametrize(
    ("low", "high"), [("16", "22"), ("20", "20"), ("0.5", "1"), ("17.9", "22.0001")]
)
def test_a_range_that_rises_is_taken(low: str, high: str) -> None:
    table = {"mmhg": [Decimal(low), Decimal(high)], "standard": "x", "class": "1"}
    assert Pressure.model_validate(table).mmhg == (Decimal(low), Decimal(high))


@pytest.mark.parametrize(
    ("low", "high"), [("40", "10"), ("0", "0"), ("-5", "10"), ("0", "10"), ("-20", "-10")]
)
def test_a_range_that_cannot_be_printed_is_refused_with_its_line(low: str, high: str) -> None:
    text = SHIPPED.read_text(encoding="utf-8")
    assert "mmhg = [16, 22]" in text
    raw = text.replace("mmhg = [16, 22]", f"mmhg = [{low}, {high}]").encode()
    (problem,) = read_profile(raw, Chart, "ours.toml")  # type: ignore[misc]
    assert (problem.key, problem.path) == ("pressure.mmhg", "ours.toml")
    assert problem.line is not None
    assert "above 0, and the lower figure stands first" in problem.text
