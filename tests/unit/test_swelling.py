"""How much larger a leg may be than after rising: published working, laws, and what is withheld.

The figures stand in the model's file; those asserted here were worked out apart from this code from
the same formula and are quoted with their digits.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from strategies import AT, entry_of, millimetres, session_of

from fitcore.disk.profile_reading import read_profile
from fitcore.moment.swelling import (
    growth,
    model_json,
    model_words,
    morning_range,
    morning_scenarios,
    site_of,
    why_withheld,
)
from fitcore.moment.swelling_model import SwellingModel
from fitcore.points import Kind, Point, Side
from fitcore.record.readings import Adopted, Readings
from fitcore.units import Millimetre

ROOT = Path(__file__).resolve().parents[2]
FILE = ROOT / "profiles" / "swelling" / "day-swelling.toml"
MODEL = read_profile(FILE.read_bytes(), SwellingModel, FILE.name)
assert isinstance(MODEL, SwellingModel), MODEL
SCENARIOS = ("low", "central", "high")
SITES = ("ankle", "calf", "thigh")
COVERED = {
    Point.Y: "ankle",
    Point.B: "ankle",
    Point.B1: "ankle",
    Point.C: "calf",
    Point.D: "calf",
    Point.E: "thigh",
    Point.F: "thigh",
    Point.G: "thigh",
}


# --- figures worked out apart from this code ---------------------------------------------------


@pytest.mark.parametrize(
    ("scenario", "site", "hours", "g"),
    [
        ("high", "ankle", 8, 1.064469624178985),
        ("central", "calf", 4, 1.0115306105045598),
        ("low", "thigh", 12, 1.0011743046718642),
        ("high", "calf", 0.5, 1.0059405565869497),
    ],
)
def test_growth_to_full_precision(scenario: Any, site: Any, hours: float, g: float) -> None:
    assert growth(MODEL, scenario, site, hours) == pytest.approx(g, rel=4e-16)


_TABLE = """
0.5 | 0.01/0.05/0.23 | 0.02/0.09/0.22 | 0.01/0.07/0.30 | 1.0003/1.0024/1.0107 | 1.0006/1.0024/1.0059 | 1.0002/1.0012/1.0053
1   | 0.01/0.10/0.43 | 0.04/0.16/0.41 | 0.02/0.13/0.56 | 1.0006/1.0044/1.0197 | 1.0011/1.0044/1.0110 | 1.0003/1.0022/1.0099
2   | 0.02/0.17/0.74 | 0.07/0.28/0.70 | 0.03/0.22/0.97 | 1.0010/1.0076/1.0337 | 1.0019/1.0076/1.0188 | 1.0006/1.0038/1.0170
4   | 0.03/0.25/1.12 | 0.11/0.43/1.06 | 0.05/0.33/1.47 | 1.0014/1.0115/1.0509 | 1.0029/1.0115/1.0286 | 1.0009/1.0058/1.0258
6   | 0.04/0.30/1.32 | 0.13/0.50/1.25 | 0.06/0.39/1.73 | 1.0017/1.0136/1.0598 | 1.0034/1.0136/1.0337 | 1.0010/1.0068/1.0303
8   | 0.04/0.32/1.42 | 0.14/0.54/1.34 | 0.06/0.42/1.87 | 1.0018/1.0147/1.0645 | 1.0037/1.0147/1.0363 | 1.0011/1.0074/1.0327
10  | 0.04/0.34/1.47 | 0.14/0.56/1.39 | 0.07/0.44/1.94 | 1.0019/1.0152/1.0669 | 1.0038/1.0152/1.0377 | 1.0012/1.0077/1.0340
12  | 0.04/0.34/1.50 | 0.14/0.58/1.42 | 0.07/0.44/1.98 | 1.0020/1.0155/1.0682 | 1.0039/1.0155/1.0384 | 1.0012/1.0078/1.0346
"""  # noqa: E501 - a table is read across
_EXAMPLE_CM = {"ankle": 22, "calf": 37, "thigh": 57}
_ROWS = [
    (float(cells[0]), site, scenario, cm, g)
    for cells in ([part.strip() for part in row.split("|")] for row in _TABLE.strip().splitlines())
    for at, site in enumerate(SITES)
    for scenario, cm, g in zip(
        SCENARIOS, cells[1 + at].split("/"), cells[4 + at].split("/"), strict=True
    )
]


@pytest.mark.parametrize(("hours", "site", "scenario", "cm", "g"), _ROWS)
def test_growth_of_an_example_leg_hour_by_hour(
    hours: float, site: Any, scenario: Any, cm: str, g: str
) -> None:
    """Rounded to the table's digits; centimetres above the girth after rising."""
    found = growth(MODEL, scenario, site, hours)
    assert f"{found:.4f}" == g
    assert f"{(found - 1) * _EXAMPLE_CM[site]:.2f}" == cm


@pytest.mark.parametrize(
    ("scenario", "site", "hours"),
    [
        ("central", "ankle", 3.07),
        ("central", "calf", 3.07),
        ("high", "ankle", 0.47),
        ("high", "calf", 0.90),
        ("high", "thigh", 1.01),
    ],
)
def test_when_a_girth_is_one_percent_larger(scenario: Any, site: Any, hours: float) -> None:
    assert growth(MODEL, scenario, site, hours - 0.01) < 1.01
    assert growth(MODEL, scenario, site, hours + 0.01) > 1.01


def test_a_thigh_as_most_swell_never_gets_one_percent_larger() -> None:
    assert growth(MODEL, "central", "thigh", 24) < 1.01


def test_a_calf_of_38_6_after_six_hours() -> None:
    found = morning_range(MODEL, Point.C, Kind.GIRTH, Decimal(386), 6)
    assert found is not None
    assert found.as_read_mm == Decimal(386)
    assert round(found.most_mm, 1) == Decimal("373.4")
    assert round(found.central_mm, 1) == Decimal("380.8")
    assert found.most_mm != round(found.most_mm, 1), "derived values are kept unrounded"


# --- laws --------------------------------------------------------------------------------------

_hours = st.floats(0, 24)
_more = st.integers(1, 900).map(lambda n: Decimal(n) / 1000)


def _model(gain: list[Decimal], k: list[Decimal], tau: Decimal) -> SwellingModel:
    """Return the shipped model with other parameters; `k` holds for all sites."""

    def three(values: list[Decimal]) -> dict[str, object]:
        return {
            scenario: {"value": value, "status": "invented", "text": "Made up for a test"}
            for scenario, value in zip(SCENARIOS, values, strict=True)
        }

    table = MODEL.model_dump()
    table |= {"gain": three(gain), "tau_hours": three([tau] * 3)}
    table["sites"] = [site | {"k": three(k)} for site in table["sites"]]
    return SwellingModel.model_validate(table)


@st.composite
def _models(draw: st.DrawFn) -> SwellingModel:
    gain = sorted(draw(st.lists(_more, min_size=3, max_size=3)))
    k = sorted(draw(st.lists(_more, min_size=3, max_size=3)))
    return _model(gain, [3 * one for one in k], draw(st.integers(1, 200)) / Decimal(10))


@given(_models(), st.sampled_from(SCENARIOS), st.sampled_from(SITES))
def test_nothing_has_grown_at_rising(model: SwellingModel, scenario: Any, site: Any) -> None:
    assert growth(model, scenario, site, 0) == 1


@given(_models(), st.sampled_from(SCENARIOS), st.sampled_from(SITES), _hours, st.floats(0.01, 12))
def test_a_leg_grows_by_the_hour_and_never_past_its_limit(
    model: SwellingModel, scenario: Any, site: Any, hours: float, later: float
) -> None:
    gain = getattr(model.gain, scenario).value
    k = getattr(model.site(site).k, scenario).value
    limit = math.sqrt(1 + float(k * gain))
    now, then = (growth(model, scenario, site, at) for at in (hours, hours + later))
    assert 1 <= now <= then <= limit
    if hours + later < 10 * float(model.tau_hours.low.value):
        assert now < then < limit


@given(_more, _more, _more, st.floats(0.1, 24))
def test_it_grows_with_gain_and_with_k(
    gain: Decimal, k: Decimal, more: Decimal, hours: float
) -> None:
    def g(gain: Decimal, k: Decimal) -> float:
        return growth(_model([gain] * 3, [k] * 3, Decimal("3.1")), "central", "calf", hours)

    larger_gain = gain + (1 - gain) * more / 2
    assert g(gain, k) < g(larger_gain, k)
    assert g(gain, k) < g(gain, k + more)


@given(_models(), st.sampled_from(SITES), _hours)
def test_low_is_never_above_central_nor_central_above_high(
    model: SwellingModel, site: Any, hours: float
) -> None:
    low, central, high = (growth(model, scenario, site, hours) for scenario in SCENARIOS)
    assert low <= central <= high


@given(_models(), st.sampled_from(sorted(COVERED)), millimetres, _hours)
def test_the_range_ends_at_the_reading_and_encloses_what_is_likely(
    model: SwellingModel, point: Point, mm: Decimal, hours: float
) -> None:
    found = morning_range(model, point, Kind.GIRTH, mm, hours)
    assert found is not None
    assert 0 < found.most_mm <= found.central_mm <= found.as_read_mm
    assert found.as_read_mm is mm


def _adopted(point: Point, kind: Kind, mm: Decimal) -> Adopted:
    return Adopted(point, kind, Millimetre(mm), 1, None, ("tern-k7qd:1",))


_places = st.sampled_from([(p, k) for p in Point for k in (Kind.GIRTH, Kind.LENGTH)])


@given(_models(), st.lists(st.tuples(_places, millimetres), unique_by=lambda one: one[0]), _hours)
def test_all_places_move_together_and_none_past_its_reading(
    model: SwellingModel, values: list[tuple[tuple[Point, Kind], Decimal]], hours: float
) -> None:
    adopted = [_adopted(*place, mm) for place, mm in values]
    found = morning_scenarios(model, adopted, hours)
    assert list(found) == ["as_read", "central", "high"]
    read = dict(values)
    assert found["as_read"] == read
    for place, mm in read.items():
        assert found["high"][place] <= found["central"][place] <= mm
        if site_of(model, *place) is None:
            assert found["high"][place] == found["central"][place] == mm
        else:
            moved = morning_range(model, *place, mm, hours)
            assert moved is not None
            assert found["central"][place] == moved.central_mm
            assert found["high"][place] == moved.most_mm


@pytest.mark.parametrize("hours", [-0.01, math.nan, -math.inf])
def test_hours_before_rising_are_refused(hours: float) -> None:
    with pytest.raises(ValueError, match="since rising"):
        growth(MODEL, "central", "calf", hours)


# --- what it covers ----------------------------------------------------------------------------


@pytest.mark.parametrize("point", list(Point))
@pytest.mark.parametrize("kind", list(Kind))
def test_only_girths_from_heel_to_thigh_belong_to_a_site(point: Point, kind: Kind) -> None:
    wanted = COVERED.get(point) if kind is Kind.GIRTH else None
    assert site_of(MODEL, point, kind) == wanted
    assert (morning_range(MODEL, point, kind, Decimal(300), 6) is None) == (wanted is None)


def _reading(number: int = 50, **more: object) -> Any:
    table = {"side": "left", "point": "C", "kind": "girth", "round": 1, "at": AT} | more
    return entry_of("readings", f"tern-k7qd:{number}", **table, typed="38.6", unit="cm", mm=386)


def _answer(number: int, what: str, value: object) -> Any:
    return entry_of("answers", f"tern-k7qd:{number}", what=what, is_=value)


UP = _answer(1, "rising_at", AT - timedelta(hours=6))
USUAL = (
    _answer(2, "swollen", "none"),
    _answer(3, "swelling_known", "none"),
    _answer(4, "long_ride", "none"),
    _answer(5, "dent", "none"),
    _answer(6, "compression", "none"),
)


def _why(*answers: Any, side: Side = Side.LEFT) -> str:
    return why_withheld(session_of(*answers), side, MODEL)


def test_an_ordinary_leg_is_covered() -> None:
    assert _why(UP, _reading(), *USUAL) == ""
    assert _why(UP, _reading(), _answer(7, "long_ride", "within_three_days")) == ""
    assert _why(UP, _reading(), _answer(7, "dent", "not_tried")) == ""


@pytest.mark.parametrize(
    ("what", "value", "reason"),
    [
        ("swollen", "left", "swollen"),
        ("swollen", "both", "swollen"),
        ("dent", "left", "dent"),
        ("dent", "both", "dent"),
        ("swelling_known", "oedema", "oedema"),
        ("swelling_known", "late_pregnancy", "late_pregnancy"),
        ("swelling_known", "heart_failure", "heart_failure"),
        ("long_ride", "within_day", "long_ride"),
        ("compression", "off", "compression_off"),
        ("compression", "on", "compression_on"),
    ],
)
def test_nothing_is_said_of_a_leg_that_is_not_covered(what: str, value: str, reason: str) -> None:
    sentence = getattr(MODEL.not_covered, reason)
    others = [entry for entry in USUAL if entry.fields["what"] != what]
    assert _why(UP, _reading(), *others, _answer(9, what, value)) == sentence
    assert sentence.endswith(".")


@pytest.mark.parametrize("what", ["swollen", "dent"])
def test_the_other_leg_may_still_be_covered(what: str) -> None:
    answers = (UP, _reading(), _answer(9, what, "right"))
    assert _why(*answers) == ""
    assert _why(*answers, _reading(51, side="right"), side=Side.RIGHT) != ""


@pytest.mark.parametrize(
    ("what", "careless", "careful"),
    [
        ("swollen", "none", "left"),
        ("swelling_known", "none", "oedema"),
        ("long_ride", "none", "within_day"),
        ("dent", "not_tried", "left"),
        ("compression", "none", "off"),
    ],
)
def test_of_two_different_answers_the_more_careful_one_rules(
    what: str, careless: str, careful: str
) -> None:
    two = (_answer(9, what, careless), _answer(10, what, careful))
    assert session_of(*two).answer(what).disputed
    assert _why(UP, _reading(), *two) != ""


def test_compression_off_since_whenever_is_not_covered() -> None:
    off = (_answer(9, "compression", "off"), _answer(10, "compression_off_at", AT))
    assert _why(UP, _reading(), *off) == MODEL.not_covered.compression_off


def test_a_leg_of_unknown_hours_is_not_covered() -> None:
    told = MODEL.not_covered
    assert _why(_reading()) == told.rising_unknown
    assert "time of rising not known" in told.rising_unknown
    assert _why(_reading(), _answer(1, "rising_at", "unknown")) == told.rising_unknown
    two = (UP, _answer(7, "rising_at", AT - timedelta(hours=3)))
    assert _why(_reading(), *two) == told.rising_unknown
    assert _why(UP) == told.reading_time_unknown


@pytest.mark.parametrize(
    ("hours", "reason"),
    [(-1, "rising_later"), (0, None), (24, None), (24.1, "too_long_up")],
)
def test_hours_that_cannot_be_are_not_covered(hours: float, reason: str | None) -> None:
    up = _answer(1, "rising_at", AT - timedelta(hours=hours))
    wanted = "" if reason is None else getattr(MODEL.not_covered, reason)
    assert _why(up, _reading()) == wanted


def test_readings_already_sorted_out_are_taken() -> None:
    session = session_of(UP, _reading())
    assert why_withheld(session, Side.LEFT, MODEL, Readings(session)) == ""
    nothing = Readings(session_of(UP))
    assert (
        why_withheld(session, Side.LEFT, MODEL, nothing) == MODEL.not_covered.reading_time_unknown
    )


# --- the file and how it is shown --------------------------------------------------------------


def test_the_model_says_what_it_is_in_one_line() -> None:
    assert model_words(MODEL) == (
        "Swelling over the day, version 1 (judgement, not validated): A 0.8/3.2/8 %, tau 3.1 h, "
        "k ankle 0.5/1/1.8, calf 1, thigh 0.3/0.5/0.9"
    )


def test_the_model_as_json_gives_every_parameter_exactly() -> None:
    found = json.loads(json.dumps(model_json(MODEL)))
    assert found["validation"] == "judgement, not validated"
    assert found["gain"] == {"low": "0.008", "central": "0.032", "high": "0.08"}
    assert found["tau_hours"] == dict.fromkeys(SCENARIOS, "3.1")
    assert found["k"]["thigh"] == {"low": "0.3", "central": "0.5", "high": "0.9"}
    assert (found["id"], found["version"]) == ("day-swelling", "1")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"gain": ("high", "0.001")}, "rise"),
        ({"gain": ("central", "0.5")}, "rise"),
        ({"gain": ("high", "1")}, "below 1"),
        ({"gain": ("low", "0")}, "greater than 0"),
        ({"tau_hours": ("high", "9")}, "more slowly"),
        ({"sites": ("site", "calf")}, "once each"),
        ({"sites": ("points", ["C"])}, "one site only"),
    ],
)
def test_parameters_that_contradict_themselves_are_refused(
    change: dict[str, tuple[str, Any]], said: str
) -> None:
    table = MODEL.model_dump()
    [(name, (key, value))] = change.items()
    if name == "sites":
        table["sites"] = list(table["sites"])
        table["sites"][0] = table["sites"][0] | {key: value}
    else:
        table[name] = table[name] | {key: table[name][key] | {"value": Decimal(value)}}
    with pytest.raises(ValidationError, match=said):
        SwellingModel.model_validate(table)


def test_the_sums_load_no_reader_of_charts() -> None:
    code = "import sys, fitcore.moment.swelling; print('pydantic' in sys.modules)"
    ran = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert ran.stdout.strip() == "False"
