"""Pressure classes: both ways, with gaps and shared edges, never without standard and mmHg.

The figures are written out from the published tables, not read from the program's own files, so
that a slip in a file is found. Those known from memory show that the program holds what is
believed, no more.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pint
import pytest
from pressure_files import ALL, CLASSES, NAMES, PROFILES, STANDARDS, named

from fitcore.disk.profile_reading import read_profile
from fitcore.pressures.pressure import (
    class_key,
    class_words,
    find_class,
    find_standard,
    from_mmhg,
    look_up,
    show_beside,
    standard_question,
    to_mmhg,
    which_standard,
)
from fitcore.pressures.pressure_model import PressureStandard
from fitcore.problems import Problem


def labels(standard: str, amount: str, unit: Any = "mmHg") -> list[str]:
    """Return the labels of the classes a pressure falls in."""
    return [one.own.label for one in look_up(STANDARDS[standard], Decimal(amount), unit).classes]


def test_every_published_class_is_in_the_files_and_no_other() -> None:
    told = {(name, own.label) for name, one in STANDARDS.items() for own in one.classes}
    assert told == {(standard, label) for standard, label, *_ in CLASSES}
    assert len(CLASSES) == 23


@pytest.mark.parametrize("row", CLASSES)
def test_a_class_gives_its_range_and_the_range_gives_the_class(
    row: tuple[str, str, str, str | None, str | None, str | None],
) -> None:
    standard, label, low, high, low_hpa, high_hpa = row
    own = named(standard, label).own
    assert own.low_mmhg == Decimal(low)
    assert own.high_mmhg == (None if high is None else Decimal(high))
    inside = [high, str((Decimal(low) + Decimal(high)) / 2)] if high else ["60", "90.5"]
    if not own.above:
        inside.append(low)
    for amount in inside:
        assert amount is not None
        assert label in labels(standard, amount), amount
    # NF prints whole hPa from memory, so half a unit of its last digit and a little more.
    near = Decimal("0.4") if standard == "nf-g30-102" else Decimal("0.05")
    for mmhg, hpa in ((low, low_hpa), (high, high_hpa)):
        if mmhg is not None and hpa is not None:
            assert abs(from_mmhg(Decimal(mmhg), "hPa") - Decimal(hpa)) <= near


@pytest.mark.parametrize("standard", ["ral-gz-387-1", "env-12718"])
@pytest.mark.parametrize(
    ("amount", "between"),
    [("22", "I and II"), ("33", "II and III"), ("47", "III and IV"), ("48", "III and IV")],
)
def test_a_gap_belongs_to_no_class_and_says_between_which(
    standard: str, amount: str, between: str
) -> None:
    answer = look_up(STANDARDS[standard], Decimal(amount))
    assert answer.classes == ()
    assert f"between class {between} of {STANDARDS[standard].name}" in answer.words


def test_whole_pressures_from_15_to_60_leave_exactly_the_published_gaps() -> None:
    gaps = {
        name: [mmhg for mmhg in range(15, 61) if not labels(name, str(mmhg))] for name in STANDARDS
    }
    assert gaps == {
        "ral-gz-387-1": [15, 16, 17, 22, 33, 47, 48],
        "env-12718": [22, 33, 47, 48],
        "bs-6612": list(range(36, 61)),
        "nf-g30-102": [],
        "trade-bands": list(range(51, 61)),
        "etg-australia": [*range(15, 20), *range(41, 61)],
    }


def test_whole_pressures_in_two_classes_are_the_shared_edges_of_the_trade_bands() -> None:
    shared = {
        (name, mmhg)
        for name in STANDARDS
        for mmhg in range(8, 61)
        if len(labels(name, str(mmhg))) > 1
    }
    assert shared == {("trade-bands", edge) for edge in (15, 20, 30, 40)}
    answer = look_up(STANDARDS["trade-bands"], Decimal(30))
    assert answer.words == (
        "30 mmHg is an edge that two share: US trade bands (no standard) band 20-30, 20 to 30 "
        "mmHg; US trade bands (no standard) band 30-40, 30 to 40 mmHg. Ask which one is meant."
    )


def test_a_figure_between_two_printed_steps_is_said_to_be_one() -> None:
    words = look_up(STANDARDS["bs-6612"], Decimal("17.5")).words
    assert words.endswith("The standard is printed in steps of 1 mmHg.")
    assert labels("nf-g30-102", "15.05") == []
    assert "steps of 0.1 mmHg" in look_up(STANDARDS["nf-g30-102"], Decimal("15.05")).words
    assert "steps" not in look_up(STANDARDS["ral-gz-387-1"], Decimal(22)).words


def test_what_lies_outside_all_classes_says_on_which_side() -> None:
    ral, bs = STANDARDS["ral-gz-387-1"], STANDARDS["bs-6612"]
    assert look_up(ral, Decimal(10)).words == (
        "10 mmHg is below RAL-GZ 387/1 class I, 18 to 21 mmHg."
    )
    assert look_up(bs, Decimal(36)).words == "36 mmHg is above BS 6612:1985 class 3, 25 to 35 mmHg."
    words = look_up(STANDARDS["etg-australia"], Decimal(15)).words
    assert words.endswith("There may be classes that are not known here.")


def test_a_class_that_begins_above_a_figure_does_not_hold_it() -> None:
    assert labels("nf-g30-102", "36") == ["III"]
    assert labels("nf-g30-102", "36.001") == ["IV"]
    assert named("nf-g30-102", "4").words == "NF G30-102 class IV, above 36 mmHg"
    nf = STANDARDS["nf-g30-102"]
    alone = nf.model_copy(update={"classes": nf.classes[-1:]})
    assert (
        look_up(alone, Decimal(36)).words == "36 mmHg is below NF G30-102 class IV, above 36 mmHg."
    )


@pytest.mark.parametrize("amount", ["0", "-3", "NaN", "Infinity"])
def test_what_is_no_pressure_is_refused(amount: str) -> None:
    with pytest.raises(ValueError, match="pressure"):
        look_up(ALL[0], Decimal(amount))


# --- other units ---


@pytest.mark.parametrize("unit", ["mmHg", "hPa", "kPa"])
@pytest.mark.parametrize("amount", ["1", "22.5", "30.66", "133.322387415"])
def test_units_agree_with_pint_and_with_ucum(amount: str, unit: Any) -> None:
    registry = pint.UnitRegistry(non_int_type=Decimal)
    exact = Decimal(amount)
    told = registry.Quantity(exact, unit).to("mmHg").magnitude
    assert float(to_mmhg(exact, unit)) == pytest.approx(float(told), rel=1e-12)
    back = registry.Quantity(exact, "mmHg").to(unit).magnitude
    assert float(from_mmhg(exact, unit)) == pytest.approx(float(back), rel=1e-12)
    # UCUM: m[Hg] is 133.3220 kPa.
    ucum = {"mmHg": 1.0, "hPa": 100 / 133.322, "kPa": 1000 / 133.322}[unit]
    assert float(to_mmhg(exact, unit)) == pytest.approx(float(exact) * ucum, rel=1e-5)


@pytest.mark.parametrize(
    ("label", "low", "high"),
    [("I", "2.4", "2.8"), ("II", "3.1", "4.3"), ("III", "4.5", "6.1"), ("IV", "6.5", None)],
)
def test_ral_is_looked_up_by_the_kpa_it_prints(label: str, low: str, high: str | None) -> None:
    for edge in filter(None, (low, high)):
        assert labels("ral-gz-387-1", edge, "kPa") == [label]
        assert labels("ral-gz-387-1", str(Decimal(edge) * 10), "hPa") == [label]


def test_printed_and_exact_edges_that_differ_are_both_told() -> None:
    answer = look_up(STANDARDS["ral-gz-387-1"], Decimal("2.8"), "kPa")
    assert answer.words == (
        "2.8 kPa = 21.002 mmHg is between class I and II of RAL-GZ 387/1: class I is 18 to 21 "
        "mmHg, class II is 23 to 32 mmHg. By its own printed figures it is RAL-GZ 387/1 class I, "
        "18 to 21 mmHg."
    )
    other = look_up(STANDARDS["ral-gz-387-1"], Decimal("3.07"), "kPa")
    assert other.classes == ()
    assert "class II, 23 to 32 mmHg" in other.words
    assert other.words.endswith("By its own printed figures it belongs to no class.")


def test_a_standard_that_prints_mmhg_only_is_looked_up_by_the_exact_mmhg() -> None:
    assert labels("bs-6612", "3.2", "kPa") == []  # 24.002 mmHg
    assert labels("bs-6612", "31.9", "hPa") == ["2"]
    assert "= 24.002 mmHg is between" in look_up(STANDARDS["bs-6612"], Decimal("3.2"), "kPa").words


def test_a_figure_is_never_rounded_onto_or_across_its_limit() -> None:
    limits = [Decimal(50), Decimal(80)]
    assert show_beside(Decimal("79.96"), limits, places=0) == "79.96"
    assert show_beside(Decimal("80.0004"), limits, places=1) == "80.0004"
    assert show_beside(Decimal("63.42"), limits, places=0) == "63"
    assert show_beside(Decimal(80), limits, places=1) == "80"


# --- never alone ---


def test_a_class_is_written_with_standard_and_mmhg() -> None:
    words = "RAL-GZ 387/1 class II, 23 to 32 mmHg"
    assert class_words("RAL-GZ 387/1", "II", Decimal(23), Decimal(32)) == words
    assert str(named("ral-gz-387-1", "2")) == words
    assert named("ral-gz-387-1", "IV").words == "RAL-GZ 387/1 class IV, 49 mmHg or more"
    assert class_words("", "2", Decimal(18), Decimal(24)) == (
        "18 to 24 mmHg (class 2, standard not named)"
    )


@pytest.mark.parametrize(
    "written", ["2", "II", "ii", "class 2", "Class II", "CCL2", "ccl II", "Klasse II", " 2 "]
)
def test_a_class_is_found_however_it_is_written(written: str) -> None:
    assert named("ral-gz-387-1", written).own.label == "II"


@pytest.mark.parametrize("written", ["20-30", "20 - 30", "20 to 30", "20–30 mmHg", "20-30mmHg"])
def test_a_band_is_found_however_it_is_written(written: str) -> None:
    assert named("trade-bands", written).own.label == "20-30"


@pytest.mark.parametrize("written", ["", "22", "III.", "class", "IIII", "2a"])
def test_what_is_no_class_is_not_taken_for_one(written: str) -> None:
    assert find_class(STANDARDS["ral-gz-387-1"], written) is None


def test_a_class_alone_asks_which_standard() -> None:
    found = {(one.standard.id, one.own.label) for one in which_standard(ALL, "class 2")}
    assert found == {
        ("ral-gz-387-1", "II"),
        ("bs-6612", "2"),
        ("nf-g30-102", "II"),
        ("env-12718", "II"),
        ("etg-australia", "II"),
        ("trade-bands", "20-30"),
        ("trade-bands", "30-40"),
    }
    question = standard_question(ALL, "class 2")
    for words in ("23 to 32", "18 to 24", "15.1 to 20", "20 to 29", "20 to 30", "30 to 40"):
        assert f"{words} mmHg" in question
    assert {one.standard.id for one in which_standard(ALL, "A")} == {"env-12718"}
    assert which_standard(ALL, "7") == ()
    assert "No standard known here has a class '7'" in standard_question(ALL, "7")


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("RAL-GZ 387/1", "ral-gz-387-1"),
        ("ral", "ral-gz-387-1"),
        ("BS 6612", "bs-6612"),
        ("bs6612:1985", "bs-6612"),
        ("HAS 2010", "nf-g30-102"),
        ("env-12718", "env-12718"),
        ("invented scale", None),
        ("", None),
        ("/", None),
    ],
)
def test_a_standard_is_found_by_its_names(name: str, found: str | None) -> None:
    standard = find_standard(ALL, name)
    assert (standard.id if standard else None) == found


def test_no_name_stands_for_two_standards() -> None:
    names = [
        re.sub(r"[^a-z0-9]", "", name.casefold())
        for one in ALL
        for name in {one.id, one.name, *one.also_called}
    ]
    owners = {name: {one.id for one in ALL if find_standard([one], name)} for name in names}
    assert {name for name, ids in owners.items() if len(ids) != 1} == set()


# --- files ---


@pytest.mark.parametrize("name", NAMES)
def test_every_shipped_class_names_its_source_and_how_it_is_known(name: str) -> None:
    standard = STANDARDS[name]
    assert standard.source.text
    assert all(own.source.text and own.source.status for own in standard.classes)
    assert (standard.residual_source is None) is not any(own.residual for own in standard.classes)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("low_mmhg = 23", "low_mmhg = 33", "lowest mmHg is above the highest"),
        ("low_mmhg = 23", "low_mmhg = 20", "do not rise"),
        ("high_mmhg = 21", "", "open upwards in one unit"),
        (
            'high_mmhg = 21\nprinted = { unit = "kPa", low = 2.4, high = 2.8 }',
            "",
            "do not rise",
        ),
        ('label = "II"', 'label = "class 1"', "same label"),
        ('label = "II"', 'label = "class"', "same label"),
        ('points = ["C", "D"]', 'points = ["C", "B1"]', "one rule only"),
        ('points = ["C", "D"]', 'points = ["A"]', "lies no higher"),
        ('points = ["C", "D"]', 'of = "Y", points = ["C"]', "from the ankle"),
        ("low_percent = 50", "low_percent = 90", "percentage is above"),
        ("low = 3.1, high = 4.3", "low = 4.4, high = 4.3", "printed: the lowest"),
        ("[residual_source]", "[left_out]", "means nothing here"),
        ('unit = "kPa"', 'unit = "psi"', "'psi' is not allowed"),
        ("format = 1", "format = 2", "'2' is not allowed"),
    ],
)
def test_a_file_that_contradicts_itself_is_refused(old: str, new: str, told: str) -> None:
    text = (PROFILES / "pressure" / "ral-gz-387-1.toml").read_text(encoding="utf-8")
    assert old in text
    loaded = read_profile(text.replace(old, new, 1).encode(), PressureStandard, "own.toml")
    assert isinstance(loaded, tuple)
    assert any(isinstance(problem, Problem) and told in problem.text for problem in loaded)


def test_percentages_without_a_source_are_refused() -> None:
    text = (PROFILES / "pressure" / "bs-6612.toml").read_text(encoding="utf-8")
    start, end = text.index("[residual_source]"), text.index("[[classes]]")
    loaded = read_profile((text[:start] + text[end:]).encode(), PressureStandard, "own.toml")
    assert isinstance(loaded, tuple)
    assert "residual_source" in loaded[0].text


def test_labels_are_compared_by_one_key() -> None:
    assert {class_key(text) for text in ("II", "class II", "2", "CCL 2", "ccl2")} == {"2"}
    assert class_key("class") == class_key("") == ""
    assert which_standard(ALL, "class") == ()
