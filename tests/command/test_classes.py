"""`classes`: a class never without its standard and mmHg, gaps and shared edges told."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Anklefirst


@pytest.mark.parametrize(
    ("amount", "unit", "standard", "labels"),
    [
        ("22", "mmHg", "ral-gz-387-1", []),  # between class I, 18 to 21, and class II, 23 to 32
        ("33", "mmHg", "ral-gz-387-1", []),
        ("23", "mmHg", "ral-gz-387-1", ["II"]),
        ("20", "mmHg", "bs-6612", ["2"]),
        ("17", "mmHg", "bs-6612", ["1"]),
        ("30", "mmHg", "trade-bands", ["20-30", "30-40"]),
    ],
)
def test_a_pressure_in_every_standard(
    amount: str, unit: str, standard: str, labels: list[str], anklefirst: Anklefirst
) -> None:
    found = anklefirst("classes", amount, "--unit", unit, "--json").json
    (own,) = [one for one in found["standards"] if one["standard"] == standard]
    assert own["classes"] == labels, own


def test_hpa_are_turned_into_mmhg(anklefirst: Anklefirst) -> None:
    ran = anklefirst("classes", "30.7", "--unit", "hPa")
    assert ran.code == 0
    assert "23" in ran.out


def test_a_class_alone_asks_for_its_standard(anklefirst: Anklefirst) -> None:
    ran = anklefirst("classes", "--class", "2")
    assert "ask the prescriber which standard and how many mmHg are meant" in ran.out
    assert "23 to 32 mmHg" in ran.out
    assert "18 to 24 mmHg" in ran.out


@pytest.mark.parametrize(
    "words",
    [
        ("classes",),
        ("classes", "abc"),
        ("classes", "0"),
        ("classes", "22", "--unit", "bar"),
        ("classes", "1e999999", "--unit", "kPa"),
        ("classes", "1e999999"),
        ("classes", "1e-999999"),
        ("classes", "10001"),
        ("classes", "0.009"),
        ("classes", "nan"),
        ("classes", "snan"),
        ("classes", "inf"),
        ("classes", f"22.{'0' * 5000}1"),
    ],
)
def test_what_is_no_pressure_is_refused(words: tuple[str, ...], anklefirst: Anklefirst) -> None:
    ran = anklefirst(*words)
    assert (ran.code, bool(ran.err)) == (2, True)
    assert len(ran.err) < 400, "what was typed is not printed whole"
    assert any(told in ran.err for told in ("is no pressure", "is no unit", "No pressure"))


def test_a_pressure_is_told_in_every_unit(anklefirst: Anklefirst) -> None:
    assert anklefirst("classes", "22").out.startswith("22 mmHg = 29.33 hPa = 2.93 kPa\n")
    found = anklefirst("classes", "40", "--unit", "hPa", "--json").json
    assert found["same_as"] == {"mmHg": "30", "hPa": "40", "kPa": "4"}
    assert anklefirst("classes", "10000").code == anklefirst("classes", "0.01").code == 0
