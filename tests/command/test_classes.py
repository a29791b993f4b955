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
    [("classes",), ("classes", "abc"), ("classes", "0"), ("classes", "22", "--unit", "bar")],
)
def test_what_is_no_pressure_is_refused(words: tuple[str, ...], anklefirst: Anklefirst) -> None:
    ran = anklefirst(*words)
    assert (ran.code, bool(ran.err)) == (2, True)
