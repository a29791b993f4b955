"""A prescription beside what screening found: what it rules out, what it leaves to be asked."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from screening_cases import TODAY, Sitting, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.fit import fit_session
from fitcore.papers.referral import referral_lines
from fitcore.points import LEGS, Side
from fitcore.record.readings import Readings
from fitcore.record.session import join
from fitcore.safety.clearance import judge_clearance
from fitcore.safety.decisions import Decision, draft_decision
from fitcore.safety.prescription import prescription_of
from fitcore.safety.screening import answers_of

if TYPE_CHECKING:
    from fitcore.charts.chart import Chart
    from fitcore.record.entries import Value
    from fitcore.safety.clearance import SessionClearance
    from fitcore.safety.prescription import Prescription

PROFILES = load_profiles()
CHARTS = {chart.id: chart for chart in PROFILES.charts}
OPEN_16_22 = CHARTS["mill-two-spindrift"]
"""16 to 22 mmHg, below the knee, open toe."""
GIVEN: dict[str, Value] = {
    "prescriber": "Dr-7",
    "prescribed_standard": "mmhg-only",
    "prescribed_low_mmhg": Decimal(16),
    "prescribed_high_mmhg": Decimal(22),
    "prescribed_length": "below_knee",
    "prescribed_toe": "open",
    "prescribed_legs": "both",
    "prescribed_pairs": Decimal(2),
}
NORMAL = {"arm_left": 130, "arm_right": 128, "left_dp": 130, "right_dp": 130}
CONTRADICTED = {"prescribed_standard": "bs-6612", "prescribed_class": "2"}
"""BS 6612 class 2 is 18 to 24 mmHg, and 16 to 22 stand beside it."""


def prescribed_sitting(**changed: Value) -> Sitting:
    sitting = Sitting()
    sitting.answer("purpose", "prescribed")
    sitting.answer_all(**ordinary(), **(GIVEN | changed))
    for name, value in NORMAL.items():
        sitting.answer(f"pressure.{name}", value)
    return sitting


def prescription(sitting: Sitting) -> Prescription:
    told = answers_of(sitting.session, PROFILES.screening)
    found = prescription_of(told.present[0], PROFILES.standards)
    assert found is not None
    return found


def cleared(sitting: Sitting) -> SessionClearance:
    return judge_clearance(sitting.session, Readings(sitting.session), PROFILES.rules, on=TODAY)


def why_not(sitting: Sitting, chart: Chart = OPEN_16_22) -> str:
    return prescription(sitting).why_not(chart, PROFILES.standards)


def test_the_very_garment_prescribed_is_offered_to_both_legs() -> None:
    sitting = prescribed_sitting()
    assert why_not(sitting) == ""
    assert all(cleared(sitting).offer(side, OPEN_16_22).offered for side in LEGS)
    assert cleared(sitting).result.outcome == "go"


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"prescribed_length": "thigh"}, "Another length is prescribed."),
        ({"prescribed_toe": "closed"}, "A closed toe is prescribed."),
        ({"prescribed_high_mmhg": Decimal(20)}, "may press harder than prescribed"),
        ({"prescribed_low_mmhg": Decimal(18)}, "may press less than prescribed"),
    ],
)
def test_another_garment_than_the_one_prescribed_is_ruled_out(
    changed: dict[str, Value], words: str
) -> None:
    assert words in why_not(prescribed_sitting(**changed))


def test_an_open_toe_is_no_closed_one_and_a_soft_cap_is_neither() -> None:
    soft = OPEN_16_22.model_copy(update={"toe": "soft_cap"})
    closed = OPEN_16_22.model_copy(update={"toe": "closed"})
    assert why_not(prescribed_sitting(), closed) == "An open toe is prescribed."
    assert why_not(prescribed_sitting(), soft) == "An open toe is prescribed."
    wanted = prescribed_sitting(prescribed_toe="closed")
    assert why_not(wanted, closed) == ""
    assert why_not(wanted, soft) == "A closed toe is prescribed."
    nobody_knows = prescribed_sitting(prescribed_toe="unknown")
    assert why_not(nobody_knows, closed) == ""
    assert cleared(nobody_knows).result.outcome == "ask", "so the prescriber is asked"


def test_a_toe_that_is_not_prescribed_is_not_suitable_in_fit() -> None:
    sitting = prescribed_sitting(prescribed_toe="closed")
    sitting.answer("sides", ["left", "right"])
    fit = fit_session(sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY)
    (found,) = (c for c in fit.legs[0].charts if c.chart.id == OPEN_16_22.id)
    assert (found.answer.verdict.value, found.answer.reasons) == (
        "not_suitable",
        ("A closed toe is prescribed.",),
    )


def test_figures_that_contradict_their_class_ask_everywhere_alike() -> None:
    sitting = prescribed_sitting(**CONTRADICTED)
    sitting.answer("sides", ["left", "right"])
    fit = fit_session(sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY)
    document = fit.as_json()
    screening = document["screening"]
    assert isinstance(screening, dict)
    assert (screening["outcome"], screening["legs"]) == ("ask", {"left": "ask", "right": "ask"})
    (rule,) = screening["rules"]
    assert (rule["id"], rule["action"]) == ("prescription_unclear", "ask")
    assert "Ask the prescriber which is meant." in rule["text"]
    assert rule["source"]
    note = " ".join(" ".join(referral_lines(fit, made_at=sitting.at)).split())
    assert "BEFORE FITTING: somebody must be asked." in note
    assert "No stop was found" not in note
    assert "16 to 22 mmHg are prescribed, but the class named beside them is" in note
    for leg in fit.legs:
        assert leg.offer.clearance == "ask"
        assert not any(chart.offered for chart in leg.charts)


def test_a_decision_answers_what_a_prescription_leaves_open_until_it_is_changed() -> None:
    sitting = prescribed_sitting(**CONTRADICTED)
    found = cleared(sitting)
    (rule,) = found.open_rules(Side.LEFT)
    decision = Decision(
        Side.LEFT, "Dr-7", "prescriber", "read_back", Decimal(22), TODAY, TODAY, "16 to 22 meant",
        (rule.id,), rule.rests_on(Side.LEFT),
    )  # fmt: skip
    sitting.add(draft_decision(sitting.session, decision, sitting.at))
    assert cleared(sitting).offer(Side.LEFT, OPEN_16_22).offered
    assert not cleared(sitting).offer(Side.RIGHT, OPEN_16_22).offered
    sitting.answer("screen.prescribed_high_mmhg", Decimal(30))
    assert not cleared(sitting).offer(Side.LEFT, OPEN_16_22).offered


@pytest.mark.parametrize(
    ("name", "here", "there"),
    [
        ("prescribed_length", "below_knee", "thigh"),
        ("prescribed_toe", "open", "closed"),
        ("prescribed_high_mmhg", Decimal(22), Decimal(24)),
        ("prescribed_legs", "both", "left"),
    ],
)
def test_what_laptops_differ_about_is_asked_and_offered_to_nobody(
    name: str, here: Value, there: Value
) -> None:
    sitting = prescribed_sitting()
    other = sitting.elsewhere()
    sitting.answer(f"screen.{name}", here if here != GIVEN[name] else there)
    other.answer(f"screen.{name}", "unknown")
    other.answer(f"screen.{name}", here)
    both = Sitting(join(sitting.session, other.session))
    assert both.session.answer(f"screen.{name}").disputed
    found = cleared(both)
    assert found.result.outcome == "ask"
    assert not any(found.offer(side, OPEN_16_22).offered for side in LEGS)
    assert "side by side" in prescription(both).question
    assert name != "prescribed_length" or prescription(both).length == ""
    assert name != "prescribed_toe" or prescription(both).toe == ""


def test_what_the_purpose_asks_about_a_prescription_already_is_not_asked_twice() -> None:
    found = cleared(prescribed_sitting(prescribed_high_mmhg="unknown"))
    assert found.prescription is not None
    assert found.prescription.question != ""
    assert [rule.id for rule in found.result.rules] == ["prescription_not_exact"]


def test_a_purpose_laptops_differ_about_still_has_its_prescription() -> None:
    sitting = prescribed_sitting()
    other = sitting.elsewhere()
    sitting.answer("purpose", "travel")
    other.answer("purpose", "other")
    other.answer("purpose", "prescribed")
    both = Sitting(join(sitting.session, other.session))
    assert both.session.value("purpose") is None
    assert cleared(both).prescription is not None
    assert why_not(both, CHARTS["mill-four-low-tide"]) != ""


def test_a_leg_nothing_is_prescribed_for_is_offered_nothing() -> None:
    found = cleared(prescribed_sitting(prescribed_legs="left"))
    assert found.offer(Side.LEFT, OPEN_16_22).offered
    right = found.offer(Side.RIGHT, OPEN_16_22)
    assert (right.offered, right.why) == (False, "Nothing is prescribed for this leg.")
    assert prescription_of(answers_of(Sitting().session, PROFILES.screening).present[0], ()) is None
