"""Certainty by hand: a normal table, one edge at a time; errors, limits and words from the data."""

from __future__ import annotations

import math
import tomllib
from decimal import Decimal
from importlib.resources import files
from typing import TYPE_CHECKING

import pytest
from pydantic import ValidationError

from fitcore.certainty.certainty import (
    Change,
    Spread,
    certainty,
    nearest_change,
    outcome_probabilities,
)
from fitcore.certainty.certainty_errors import error_of_middle, size_errors
from fitcore.certainty.certainty_model import CertaintyRules
from fitcore.certainty.certainty_words import (
    Summary,
    certainty_words,
    firmer_size,
    pair_certainty,
    pair_words,
    percent_words,
    summarise,
)
from fitcore.charts.chart import Chart
from fitcore.charts.outcome import Outcome, Verdict
from fitcore.charts.sizing import SizeAnswer, chart_values, decide_size
from fitcore.points import Kind, Point
from fitcore.record.readings import Adopted
from fitcore.units import Millimetre

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitcore.shoes import ShoeSystem
    from fitcore.units import Unit

SHIPPED = files("profiles") / "certainty" / "size-certainty.toml"
TEXT = SHIPPED.read_text(encoding="utf-8")


def rules_of(text: str = TEXT) -> CertaintyRules:
    return CertaintyRules.model_validate(tomllib.loads(text, parse_float=Decimal))


RULES = rules_of()

COLUMNS: dict[str, dict[str, object]] = {
    "ankle": {"point": "B", "kind": "girth"},
    "calf": {"point": "C", "kind": "girth"},
    "length": {"point": "D", "kind": "length"},
    "foot": {"point": "foot", "kind": "length"},
    "shoe": {"point": "foot", "kind": "shoe", "system": "eu", "step": 1},
}


def chart_of(
    rows: dict[str, dict[str, tuple[object, object]]],
    *,
    overlap: str = "larger",
    step: int = 0,
    made: str = "off_the_shelf",
) -> Chart:
    """Return an invented chart in mm; columns as in its first row."""
    first = next(iter(rows.values()))
    return Chart.model_validate(
        {
            "format": 1,
            "id": "invented",
            "maker": "Invented Mill",
            "line": "Skerrow",
            "invented": True,
            "form": "below_knee",
            "toe": "open",
            "purposes": ["work"],
            "unit": "mm",
            "step_mm": step,
            "posture": "standing",
            "overlap": overlap,
            "made": made,
            "source": {"text": "Made up for a test", "status": "invented"},
            "dimensions": [{"id": name} | COLUMNS[name] for name in first],
            "sizes": [
                {"size": name.split()[0], "variant": " ".join(name.split()[1:])}
                | {column: list(pair) for column, pair in ranges.items()}
                for name, ranges in rows.items()
            ],
        }
    )


def leg_of(**mm: object) -> dict[str, Decimal]:
    return {name: Decimal(str(value)) for name, value in mm.items()}


TWO = chart_of({"S": {"ankle": (200, 220)}, "M": {"ankle": (221, 240)}}, step=1)

FITS_S, FITS_M = Outcome(Verdict.FITS, 0), Outcome(Verdict.FITS, 1)
OFF = Outcome(Verdict.OFF_CHART)

# From a printed table of the normal distribution.
PHI = {0.25: 0.5987, 0.5: 0.6915, 0.75: 0.7734, 1.0: 0.8413, 1.5: 0.9332, 2.0: 0.9772}


def test_an_ankle_near_one_edge_stays_as_often_as_the_normal_table_says() -> None:
    """219 mm with an error of 2: the sizes meet at 220.5, that is 0.75 errors away."""
    found = outcome_probabilities(TWO, leg_of(ankle=219), {"ankle": Spread(2.0)})
    assert found[FITS_S] == pytest.approx(PHI[0.75], abs=5e-5)
    assert found[FITS_M] == pytest.approx(1 - PHI[0.75], abs=5e-5)
    assert certainty(TWO, leg_of(ankle=219), {"ankle": Spread(2.0)}) == found[FITS_S]


@pytest.mark.parametrize(
    ("ankle", "error", "step", "share"),
    [
        # On marks of 1 mm, 220 is the last of S: it takes in all below 220.5.
        ("220", 1.0, "1", PHI[0.5]),
        ("219", 1.0, "1", PHI[1.5]),
        # On marks of 2 mm, 220 takes in all below 221.
        ("220", 1.0, "2", PHI[1.0]),
        # On marks of 5 mm, 220 takes in all below 222.5.
        ("220", 10.0, "5", PHI[0.25]),
    ],
)
def test_rounding_to_the_tapes_marks_moves_the_edge_to_half_way(
    ankle: str, error: float, step: str, share: float
) -> None:
    below = chart_of({"S": {"ankle": (20, 220)}, "M": {"ankle": (221, 900)}}, step=1)
    spreads = {"ankle": Spread(error, Decimal(step))}
    assert certainty(below, leg_of(ankle=ankle), spreads) == pytest.approx(share, abs=5e-5)


def test_an_edge_itself_is_inside_where_the_tape_has_marks() -> None:
    """240 mm is the chart's last; 240.5 is rounded up and off the chart."""
    spreads = {"ankle": Spread(0.5, Decimal(1))}
    found = outcome_probabilities(TWO, leg_of(ankle=240), spreads)
    assert found[FITS_M] == pytest.approx(PHI[1.0], abs=5e-5)
    assert found[OFF] == pytest.approx(1 - PHI[1.0], abs=5e-5)


def test_two_dimensions_that_decide_alone_multiply() -> None:
    chart = chart_of({"S": {"ankle": (100, 220), "calf": (100, 350)}})
    leg = leg_of(ankle=218, calf=344)
    spreads = {"ankle": Spread(2.0), "calf": Spread(3.0)}
    found = outcome_probabilities(chart, leg, spreads)
    assert found == {
        FITS_S: pytest.approx(PHI[1.0] * PHI[2.0], abs=1e-4),
        OFF: pytest.approx(1 - PHI[1.0] * PHI[2.0], abs=1e-4),
    }


def test_the_room_at_the_ankle_decides_up_to_its_balance_exactly() -> None:
    """S ends at 240, M begins at 220: as much room in both at 230, which goes to M."""
    chart = chart_of(
        {"S": {"ankle": (180, 240)}, "M": {"ankle": (220, 280)}},
        overlap="ankle",
    )
    found = outcome_probabilities(chart, leg_of(ankle=229), {"ankle": Spread(2.0)})
    small, large = Outcome(Verdict.OVERLAP, 0), Outcome(Verdict.OVERLAP, 1)
    assert found[small] == pytest.approx(PHI[0.5], abs=5e-5)
    assert found[large] == pytest.approx(1 - PHI[0.5], abs=5e-5)


def test_sizes_to_choose_between_are_one_outcome_for_a_prescribed_garment() -> None:
    chart = chart_of({"S": {"ankle": (180, 240)}, "M": {"ankle": (220, 280)}})
    leg, spreads = leg_of(ankle=239), {"ankle": Spread(1.0)}
    found = outcome_probabilities(chart, leg, spreads, prescribed=True)
    assert found[Outcome(Verdict.OVERLAP, among=(0, 1))] == pytest.approx(PHI[1.0], abs=5e-5)
    assert found[FITS_M] == pytest.approx(1 - PHI[1.0], abs=5e-5)


def test_the_same_size_is_the_same_whether_or_not_another_holds_beside_it() -> None:
    """M from 22 cm up, from 24 cm alone: at 23.9 cm it is M however the tape comes out."""
    chart = chart_of({"S": {"ankle": (180, 240)}, "M": {"ankle": (220, 280)}})
    leg, spreads = leg_of(ankle=239), {"ankle": Spread(1.0)}
    assert certainty(chart, leg, spreads) == pytest.approx(1.0, abs=1e-9)
    assert certainty(chart, leg, spreads, prescribed=True) == pytest.approx(PHI[1.0], abs=5e-5)
    near = nearest_change(chart, leg, spreads)
    assert near is not None
    assert (near.mm, near.becomes) == (Decimal(-19), FITS_S)
    choice = nearest_change(chart, leg, spreads, prescribed=True)
    assert choice is not None
    assert (choice.mm, choice.becomes) == (Decimal(1), FITS_M)


def test_no_size_counts_as_the_same_only_with_the_same_verdict() -> None:
    chart = chart_of({"S": {"ankle": (180, 200)}, "M": {"ankle": (220, 240)}})
    spreads = {"ankle": Spread(2.0)}
    assert certainty(chart, leg_of(ankle=202), spreads) == pytest.approx(PHI[1.0], abs=5e-5)


@pytest.mark.parametrize("error", [-1.0, math.nan, math.inf])
def test_an_error_that_is_none_is_refused(error: float) -> None:
    with pytest.raises(ValueError, match="standard error"):
        Spread(error)
    with pytest.raises(ValueError, match="shared standard error"):
        outcome_probabilities(TWO, leg_of(ankle=219), {"ankle": Spread(1.0)}, shared_mm=error)


def test_the_nearest_change_is_by_standard_errors_and_signed() -> None:
    chart = chart_of(
        {
            "S": {"ankle": (200, 220), "length": (300, 400)},
            "M": {"ankle": (220, 240), "length": (300, 400)},
        }
    )
    leg = leg_of(ankle=217, length=396)
    near = nearest_change(chart, leg, {"ankle": Spread(2.0), "length": Spread(4.0)})
    assert near == Change("length", Decimal(4), 1.0, OFF)
    near = nearest_change(chart, leg, {"ankle": Spread(2.0), "length": Spread(2.0)})
    assert near == Change("ankle", Decimal(3), 1.5, Outcome(Verdict.OVERLAP, 1))
    near = nearest_change(chart, leg_of(ankle=223, length=350), {"ankle": Spread(2.0)} | LONG)
    assert near is not None
    assert (near.dimension, near.mm) == ("ankle", Decimal(-3))


LONG = {"length": Spread(2.0)}


# How far a fresh value lies: from the data file.


def adopted(
    point: Point,
    kind: Kind,
    mm: str,
    readings: int = 1,
    *,
    value: str | None = None,
    system: ShoeSystem | None = None,
) -> Adopted:
    return Adopted(
        point,
        kind,
        Millimetre(Decimal(mm)),
        readings,
        None,
        ("tern-k7qd:1",),
        Decimal(value) if value else None,
        system,
    )


def errors_of(
    column: str,
    value: Adopted,
    *,
    own: float | None = None,
    unit: Unit | None = None,
    rules: CertaintyRules = RULES,
) -> Spread:
    chart = chart_of({"S": {column: (35, 400)}})

    def measured(point: Point, kind: Kind) -> Adopted | None:
        return value if (point, kind) == (value.point, value.kind) else None

    found = size_errors(
        chart, measured, rules, repeat_error=lambda _p, _k: own, unit_of=lambda _: unit
    )
    return found[column]


GIRTH = (Point.B, Kind.GIRTH)


@pytest.mark.parametrize(
    ("own", "readings", "error", "again"),
    [
        (None, 1, 2.9, 2.9 / math.sqrt(2)),
        (None, 2, 2.9 / math.sqrt(2), None),  # a third is asked only where the two differ
        (None, 3, 2.9 * 0.670, None),
        (4.0, 1, 4.0, 4.0 / math.sqrt(2)),
        (2.0, 1, 2.0, 1.5),
        (2.0, 2, 1.5, None),  # the floor: another reading makes nothing better
        (0.0, 1, 1.5, None),
    ],
)
def test_the_measurers_own_error_shrinks_with_repeats_down_to_the_floor(
    own: float | None, readings: int, error: float, again: float | None
) -> None:
    found = errors_of("ankle", adopted(*GIRTH, "225", readings), own=own)
    assert found.error == pytest.approx(error, abs=2e-3)
    assert found.again == (None if again is None else pytest.approx(again, abs=2e-3))


def test_a_repeat_error_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="repeat error"):
        errors_of("ankle", adopted(*GIRTH, "225"), own=-0.1)


@pytest.mark.parametrize(
    ("mm", "readings", "unit", "step"),
    [
        ("225", 1, "cm", "1"),
        ("225.5", 1, "cm", "0.5"),
        ("225.5", 2, "cm", "0.5"),
        ("225", 2, None, "0.5"),
        ("384.175", 1, "in", "3.175"),
        ("220.6625", 1, "in", "1.5875"),  # 8 11/16 in: from a tape of sixteenths
        ("225.01", 1, "cm", "0"),
    ],
)
def test_a_fresh_value_is_rounded_as_the_tape_it_was_read_from(
    mm: str, readings: int, unit: Unit | None, step: str
) -> None:
    found = errors_of("ankle", adopted(*GIRTH, mm, readings), unit=unit)
    assert found.step == Decimal(step)
    assert not found.step or Decimal(mm) % found.step == 0


def test_lengths_and_the_foot_have_errors_of_their_own() -> None:
    assert errors_of("length", adopted(Point.D, Kind.LENGTH, "410")).error == 5
    assert errors_of("foot", adopted(Point.FOOT, Kind.LENGTH, "240")).error == 3


def test_a_shoe_size_asked_in_the_charts_own_system_is_nearly_sure() -> None:
    value = adopted(Point.FOOT, Kind.SHOE, "246.67", value="39", system="eu")
    found = errors_of("shoe", value)
    assert (found.error, found.step, found.again) == (pytest.approx(0.15), Decimal("0.5"), None)
    quarter = chart_of({"S": {"shoe": (38, 39)}, "M": {"shoe": (40, 42)}})
    assert certainty(quarter, leg_of(shoe=39), {"shoe": found}) == pytest.approx(0.952, abs=1e-3)


@pytest.mark.parametrize(
    ("column", "value", "error"),
    [
        ("shoe", adopted(Point.FOOT, Kind.SHOE, "246", value="6", system="uk"), 3.5 * 0.15),
        ("foot", adopted(Point.FOOT, Kind.SHOE, "246.67", value="39", system="eu"), 3.5),
        ("shoe", adopted(Point.FOOT, Kind.LENGTH, "246"), 3 * 0.15),
    ],
)
def test_a_size_worked_out_from_another_carries_the_error_of_the_foot(
    column: str, value: Adopted, error: float
) -> None:
    found = errors_of(column, value)
    assert (found.error, found.step) == (pytest.approx(error), 0)


def test_what_was_not_measured_has_no_error() -> None:
    assert size_errors(TWO, lambda _p, _k: None, RULES) == {}


@pytest.mark.parametrize(("readings", "part"), [(1, 1), (2, 0.7071), (3, 0.6698), (4, 0.6267)])
def test_the_error_of_a_middle_value(readings: int, part: float) -> None:
    assert error_of_middle(readings) == pytest.approx(part, abs=1e-4)
    with pytest.raises(ValueError, match="0 readings"):
        error_of_middle(0)


# Words.


def summary(
    chart: Chart,
    *,
    error: float = 2.9,
    again: float | None = 2.0,
    prescribed: bool = False,
    differing: tuple[str, ...] = (),
    impossible: tuple[str, ...] = (),
    morning: str = "",
    withheld: str = "",
    **leg: object,
) -> Summary:
    values = leg_of(**leg)
    places = {Point.B: "ankle", Point.C: "calf"}

    def measured(point: Point, kind: Kind) -> Adopted | None:
        name = places.get(point, "")
        return adopted(point, kind, str(values[name])) if name in values else None

    answer = decide_size(chart, measured, prescribed=prescribed)
    spreads = {name: Spread(error, again=again) for name in values}
    known = chart_values(chart, measured)[1] == []
    return summarise(
        chart,
        answer,
        RULES,
        share=certainty(chart, values, spreads, prescribed=prescribed) if known else None,
        change=nearest_change(chart, values, spreads, prescribed=prescribed) if known else None,
        spreads=spreads,
        prescribed=prescribed,
        differing=differing,
        impossible=impossible,
        morning=morning,
        withheld=withheld,
    )


WIDE = chart_of(
    {"S": {"ankle": (180, 220)}, "M": {"ankle": (221, 260)}, "L": {"ankle": (280, 300)}},
    step=1,
)
TO_MEASURE = chart_of({"limits": {"ankle": (180, 220)}}, made="to_measure")


def test_a_leg_in_the_middle_of_a_size_is_clear_of_the_edge() -> None:
    assert summary(WIDE, ankle=200) == Summary(
        "clear",
        "Clear of the edge: ankle 2.0 cm from where no size fits; "
        "over 99 % the same if measured again.",
        "ankle",
        Decimal(-20),
    )


def test_a_leg_on_the_edge_is_measured_again_where_that_helps() -> None:
    found = summary(WIDE, ankle="218.5")
    assert (found.code, found.dimension, found.mm) == ("measure_again", "ankle", Decimal(2))
    assert found.text == (
        "Measure again: ankle 0.2 cm from the next size (M); about 75 % the same if measured again."
    )
    found = summary(WIDE, ankle="218.5", again=None)
    assert (found.code, found.mm) == ("edge", Decimal(2))
    assert found.text == (
        "On the edge: ankle 0.2 cm from the next size (M); about 75 % the same if measured again."
    )


def test_the_distance_is_signed_below_and_above() -> None:
    found = summary(WIDE, ankle=223, again=None)
    assert (found.code, found.mm) == ("edge", Decimal("-2.5"))
    assert "ankle 0.25 cm from the next size (S)" in found.text


def test_readings_that_differ_are_measured_again_whatever_they_come_to() -> None:
    found = summary(WIDE, ankle=200, differing=("ankle",))
    assert found.code == "measure_again"
    assert found.text == "Measure again: ankle. The readings differ."


def test_a_reading_that_cannot_be_right_is_not_told_as_readings_that_differ() -> None:
    found = summary(WIDE, ankle=200, impossible=("ankle",))
    assert (found.code, found.text) == (
        "measure_again",
        "Measure again: ankle. What was read cannot be right.",
    )


def test_clear_of_a_leg_the_swelling_model_refuses_is_clear_as_measured_alone() -> None:
    found = summary(WIDE, ankle=200, withheld="The model does not cover known oedema.")
    assert (found.code, found.only_now) == ("clear", True)
    assert found.text.endswith("if measured again. The model does not cover known oedema.")
    assert not summary(WIDE, ankle=200).only_now
    assert not summary(WIDE, ankle=219, withheld="Not covered.", again=None).only_now


def test_another_size_by_morning_is_told_before_the_edge() -> None:
    assert summary(WIDE, ankle="224", morning="By morning it may be size S.").code == "morning"
    both = summary(WIDE, ankle="218.5", morning="By morning it may be size S.")
    assert both.code == "measure_again"
    assert both.text.endswith("By morning it may be size S.")


def test_a_leg_in_no_size_is_made_to_measure_only_where_prescribed() -> None:
    assert summary(WIDE, ankle=330).code == "none"
    assert summary(WIDE, ankle=330, prescribed=True).code == "made_to_measure"
    assert summary(WIDE, ankle=270, prescribed=True).code == "made_to_measure"
    assert summary(WIDE, ankle=302, again=None, prescribed=True).code == "edge"
    assert summary(TO_MEASURE, ankle=330, prescribed=True).code == "none"


def test_where_nothing_could_be_judged_the_reason_stands_instead() -> None:
    chart = chart_of({"S": {"ankle": (180, 220), "calf": (300, 400)}})
    assert summary(chart, ankle=200) == Summary("none", "Not measured: calf.")


def test_a_size_that_holds_already_is_no_next_size() -> None:
    chart = chart_of({"S": {"ankle": (180, 240)}, "M": {"ankle": (220, 280)}})
    assert "1.9 cm from the next size (S)" not in summary(chart, ankle=239, again=None).text
    assert "1.9 cm from where only S holds" in summary(chart, ankle=239, again=None).text
    chosen = summary(chart, ankle=239, again=None, prescribed=True)
    assert "0.1 cm from where only M holds" in chosen.text
    assert "2.1 cm from the next size (S)" in summary(chart, ankle=241, again=None).text
    by_room = chart_of({"S": {"ankle": (180, 240)}, "M": {"ankle": (220, 280)}}, overlap="ankle")
    assert "0.1 cm from where M is the one taken" in summary(by_room, ankle=229, again=None).text
    choice = summary(chart, ankle=219, again=None, prescribed=True)
    assert "ankle 0.1 cm from a choice of sizes (S / M)" in choice.text


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (1.0, "over 99 %"),
        (0.99, "over 99 %"),
        (0.9899, "about 98 %"),
        (0.57, "about 57 %"),
        (0.01, "about 1 %"),
        (0.0099, "under 1 %"),
        (0.0, "under 1 %"),
    ],
)
def test_a_percentage_is_never_all_and_never_rounded_up(share: float, words: str) -> None:
    assert percent_words(share, RULES).startswith(words)


def test_words_come_first_and_a_pair_says_on_what_it_rests() -> None:
    assert certainty_words(0.93, RULES) == (
        "clear of the edge (about 93 % the same if measured again)"
    )
    assert pair_certainty(0.9, 0.8) == pytest.approx(0.72)
    assert pair_words(0.9, 0.8, RULES) == (
        "Both legs: on the edge (about 72 % the same if measured again), unless one slip was made "
        "at both."
    )


# Preference.

BOTH = chart_of(
    {
        "S": {"ankle": (180, 240), "calf": (300, 390)},
        "M": {"ankle": (220, 280), "calf": (300, 420)},
    }
)


def firmer(answer: SizeAnswer, **other: object) -> str | None:
    asked: dict[str, object] = {"purpose": "work", "cleared": True, "abpi_known": True} | other
    values = asked.pop("values", leg_of(ankle=230, calf=350))
    return firmer_size(BOTH, answer, values, RULES, **asked)  # type: ignore[arg-type]


OVERLAPPING = SizeAnswer(Verdict.OVERLAP, "M", alternatives=("S",))


def test_a_firmer_size_is_only_one_that_holds_for_a_healthy_leg() -> None:
    assert firmer(OVERLAPPING) == "S"
    assert firmer(OVERLAPPING, purpose="prescribed") is None
    assert firmer(OVERLAPPING, purpose="") is None
    assert firmer(OVERLAPPING, cleared=False) is None
    assert firmer(OVERLAPPING, abpi_known=False) is None
    assert firmer(OVERLAPPING, values=leg_of(ankle=230, calf="387.1")) is None
    assert firmer(SizeAnswer(Verdict.FITS, "M")) is None
    assert firmer(SizeAnswer(Verdict.OVERLAP, "S", alternatives=("M",))) is None
    assert firmer(SizeAnswer(Verdict.OVERLAP, alternatives=("S", "M"))) is None


@pytest.mark.parametrize(
    ("shorter", "firmer"),
    [
        ({"ankle": (220, 260), "calf": (300, 420)}, False),  # the same round the leg
        (
            {"ankle": (210, 250), "calf": (300, 430)},
            False,
        ),  # lower at the ankle, higher at the calf
        ({"ankle": (210, 250), "calf": (300, 420)}, True),
    ],
)
def test_a_size_that_is_only_shorter_or_longer_holds_no_firmer(
    shorter: dict[str, tuple[int, int]], *, firmer: bool
) -> None:
    chart = chart_of({"S": shorter, "S long": {"ankle": (220, 260), "calf": (300, 420)}})
    answer = SizeAnswer(Verdict.OVERLAP, "S long", alternatives=("S",))
    found = firmer_size(
        chart, answer, leg_of(ankle=230, calf=350), RULES,
        purpose="work", cleared=True, abpi_known=True,
    )  # fmt: skip
    assert (found == "S") is firmer


# The data file.


def test_every_number_of_the_shipped_file_names_its_source() -> None:
    told = [
        *(each.usual for each in RULES.errors),
        *(each.floor for each in RULES.errors),
        RULES.shoe.asked,
        RULES.shoe.inferred,
        RULES.tape,
        RULES.words.clear_from,
        RULES.words.measure_again_below,
        RULES.preference,
    ]
    assert len(told) == 12
    assert all(each.text and each.status for each in told)


def test_the_computed_errors_are_what_their_source_comes_to() -> None:
    """Within 0.6 cm in so many of a hundred: the error of one reading behind it."""
    from statistics import NormalDist

    def error_cm(agreeing: float) -> float:
        return 0.6 / (math.sqrt(2) * NormalDist().inv_cdf((1 + agreeing) / 2))

    girth = RULES.error_of(*GIRTH)
    assert float(girth.usual.cm) == math.ceil(100 * max(error_cm(0.88), error_cm(0.86))) / 100
    assert float(girth.floor.cm) == math.ceil(100 * error_cm(0.96) / math.sqrt(2)) / 100


def _once(old: str, new: str) -> str:
    assert TEXT.count(old) >= 1
    return TEXT.replace(old, new, 1)


BROKEN: dict[str, tuple[Callable[[], str], str]] = {
    "a floor above the usual error": (
        lambda: _once("floor = { cm = 0.15", "floor = { cm = 0.30"),
        "the floor is above the usual error",
    ),
    "no floor": (lambda: _once("floor = { cm = 0.15", "floor = { cm = 0"), "must be above 0"),
    "an error below none": (
        lambda: _once("usual = { cm = 0.29", "usual = { cm = -1"),
        "greater than or equal to 0",
    ),
    "mm for cm": (lambda: _once("usual = { cm = 0.29", "usual = { cm = 29"), "less than or equal"),
    "nothing for girths": (lambda: _once('kind = "girth"', 'kind = "length"'), "one entry without"),
    "two for one point": (
        lambda: _once('kind = "length"\nusual', 'kind = "length"\npoints = ["foot"]\nusual'),
        "one entry without points",
    ),
    "a shoe": (lambda: _once('kind = "girth"', 'kind = "shoe"'), "a section of their own"),
    "limits crossed": (
        lambda: _once(
            "measure_again_below = { share = 0.8", "measure_again_below = { share = 0.95"
        ),
        "would be measured again",
    ),
    "a limit of 1": (lambda: _once("share = 0.9", "share = 1"), "less than 1"),
    "a hundred percent": (lambda: _once("most_percent = 99", "most_percent = 100"), "equal to 99"),
    "preference for a treatment": (
        lambda: _once('"sport"]', '"prescribed"]'),
        "no matter of preference",
    ),
}


@pytest.mark.parametrize("fault", list(BROKEN))
def test_nonsense_in_the_file_is_refused_with_its_reason(fault: str) -> None:
    text, message = BROKEN[fault]
    with pytest.raises(ValidationError, match=message):
        rules_of(text())
