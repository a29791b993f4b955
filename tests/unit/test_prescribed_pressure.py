"""What was prescribed, what must be asked first, and which garments lie within it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from pressure_files import ALL, printed

from fitcore.pressures.prescribed_pressure import (
    PrescribedPressure,
    complete_prescription,
    matches_prescription,
)


def prescribed(low: str, high: str | None, standard: str = "", label: str = "") -> Any:
    """Return a prescription in mmHg."""
    return PrescribedPressure(Decimal(low), Decimal(high) if high else None, standard, label)


@pytest.mark.parametrize(
    ("low", "high", "matches", "why"),
    [
        ("18", "24", True, "lies within"),
        ("19", "23", True, "lies within"),
        ("18", "24.1", False, "may press harder"),
        ("17.9", "24", False, "may press less"),
        ("17", "25", False, "below and above"),
        ("25", "35", False, "may press harder"),
        ("10", "15", False, "may press less"),
    ],
)
def test_a_garment_matches_only_with_its_whole_printed_range(
    low: str,
    high: str,
    matches: bool,  # noqa: FBT001
    why: str,
) -> None:
    found = matches_prescription(printed(low, high), prescribed("18", "24"))
    assert found.matches is matches
    assert why in found.why
    assert "invented scale class x" in found.why
    assert "18 to 24 mmHg" in found.why


def test_a_chart_without_a_printed_pressure_never_matches() -> None:
    found = matches_prescription(None, prescribed("18", "24"))
    assert found == (
        False,
        "This chart names no pressure, so it cannot be compared with 18 to 24 mmHg.",
    )


def test_an_open_class_takes_what_begins_in_it() -> None:
    ral = complete_prescription(ALL, standard="RAL", label="4").prescribed
    nf = complete_prescription(ALL, standard="NF", label="IV").prescribed
    assert ral is not None
    assert nf is not None
    assert matches_prescription(printed("49", "60"), ral).matches
    assert not matches_prescription(printed("48", "60"), ral).matches
    assert not matches_prescription(printed("36", "42"), nf).matches
    assert matches_prescription(printed("36.1", "42"), nf).matches


def test_another_class_of_the_same_standard_is_ruled_out_whatever_its_mmhg() -> None:
    wanted = complete_prescription(ALL, standard="RAL", label="II").prescribed
    assert wanted is not None
    misprint = printed("23", "32", "ral-gz 387", "III")
    found = matches_prescription(misprint, wanted, ALL)
    assert not found.matches
    assert "is not the class prescribed" in found.why
    assert matches_prescription(printed("23", "32", "RAL", "CCL2"), wanted, ALL) == (
        True,
        "RAL-GZ 387/1 class CCL2, 23 to 32 mmHg lies within what is prescribed: RAL-GZ 387/1 class "
        "II, 23 to 32 mmHg.",
    )


def test_another_standard_with_the_same_mmhg_matches_and_asks() -> None:
    wanted = complete_prescription(ALL, standard="RAL", label="II").prescribed
    assert wanted is not None
    found = matches_prescription(printed("23", "32", "ENV 12718", "II"), wanted, ALL)
    assert found.matches
    assert found.why.endswith("The standards differ: ask the prescriber whether that is accepted.")
    # The same label of another standard is weaker: the mmHg decide, never the label.
    weak = matches_prescription(printed("18", "24", "BS 6612", "2"), wanted, ALL)
    assert not weak.matches


@pytest.mark.parametrize(
    ("given", "question"),
    [
        ({}, "No pressure or class is prescribed"),
        ({"standard": "RAL"}, "No pressure or class is prescribed"),
        ({"label": "2"}, "ask the prescriber which standard"),
        ({"label": "2", "standard": "Moon 1"}, "'Moon 1' is not known here"),
        ({"label": "7", "standard": "RAL"}, "RAL-GZ 387/1 has no class '7'"),
        ({"low_mmhg": Decimal(20)}, "Only one figure"),
        ({"high_mmhg": Decimal(20)}, "Only one figure"),
        ({"low_mmhg": Decimal(20), "high_mmhg": Decimal(20)}, "Only one figure"),
        ({"low_mmhg": Decimal(32), "high_mmhg": Decimal(23)}, "not below the highest"),
        ({"low_mmhg": Decimal(0), "high_mmhg": Decimal(23)}, "not below the highest"),
        (
            {"label": "II", "standard": "RAL", "low_mmhg": Decimal(18), "high_mmhg": Decimal(24)},
            "18 to 24 mmHg are prescribed, but the class named beside them is RAL-GZ 387/1 class "
            "II, 23 to 32 mmHg",
        ),
        (
            {"label": "7", "standard": "RAL", "low_mmhg": Decimal(18), "high_mmhg": Decimal(24)},
            "RAL-GZ 387/1 has no class '7'",
        ),
    ],
)
def test_what_a_prescription_leaves_open_is_asked(given: dict[str, Any], question: str) -> None:
    completed = complete_prescription(ALL, **given)
    assert completed.prescribed is None
    assert question in completed.question


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"label": "2", "standard": "BS"}, "BS 6612:1985 class 2, 18 to 24 mmHg"),
        ({"label": "IV", "standard": "RAL"}, "RAL-GZ 387/1 class IV, 49 mmHg or more"),
        (
            {"label": "4", "standard": "RAL", "low_mmhg": Decimal(49)},
            "RAL-GZ 387/1 class IV, 49 mmHg or more",
        ),
        (
            {"label": "20-30", "standard": "trade"},
            "US trade bands (no standard) band 20-30, 20 to 30 mmHg",
        ),
        ({"low_mmhg": Decimal(18), "high_mmhg": Decimal(24)}, "18 to 24 mmHg"),
        (
            {"low_mmhg": Decimal(18), "high_mmhg": Decimal(24), "label": "2"},
            "18 to 24 mmHg (class 2, standard not named)",
        ),
        (
            {"low_mmhg": Decimal(23), "high_mmhg": Decimal(32), "label": "2", "standard": "RAL"},
            "RAL-GZ 387/1 class II, 23 to 32 mmHg",
        ),
    ],
)
def test_a_complete_prescription_is_written_with_its_mmhg(
    given: dict[str, Any], words: str
) -> None:
    completed = complete_prescription(ALL, **given)
    assert completed.question == ""
    assert completed.prescribed is not None
    assert completed.prescribed.words == words
