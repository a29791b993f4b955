"""What the screen of clearance says to do, also where no leg is to be fitted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from screening_cases import TODAY, Sitting, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.fit import fit_session
from fitcore.points import LEGS, Side
from fitcore.safety.decisions import Decision, draft_decision
from tui.clearance_view import advice, is_stopped, legs_content

if TYPE_CHECKING:
    from fitcore.record.entries import Value
    from fitcore.safety.clearance import SessionClearance

PROFILES = load_profiles()
GONE = {f"{name}_{side}": value for side in LEGS
        for name, value in (("leg_state", "absent"), ("leg_why", "injury"))}  # fmt: skip
HELD = "Take only the readings the referral needs. Do not keep the client standing."


def sitting_of(**changed: Value) -> Sitting:
    sitting = Sitting()
    sitting.answer_all(**(ordinary() | changed))  # type: ignore[operator]
    return sitting


def cleared(sitting: Sitting) -> SessionClearance:
    return fit_session(sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY).clearance


def test_an_emergency_is_told_whether_or_not_there_is_a_leg_to_fit() -> None:
    for more in ({}, GONE, {"leg_state_left": "cannot_be_measured", "leg_why_left": "pain"}):
        found = cleared(sitting_of(emergency="yes", **more))
        assert is_stopped(found)
        assert advice(found) == "Call the emergency number NOW. F3 has the note to read out."
        assert found.needs_person


def test_a_hold_of_a_leg_that_is_not_fitted_stops_measuring_too() -> None:
    sitting = sitting_of(limb_at_risk="yes", cold_foot_left="no", cold_foot_right="no",
                         black_skin_left="no", black_skin_right="yes")  # fmt: skip
    sitting.answer("sides", ["left"])
    found = cleared(sitting)
    assert found.leg(Side.LEFT).clearance == "cleared"
    assert is_stopped(found)
    assert advice(found) == HELD
    assert found.needs_person


def test_with_no_leg_to_fit_and_nothing_found_that_is_said() -> None:
    found = cleared(sitting_of(**GONE))
    assert (is_stopped(found), advice(found)) == (False, "There is no leg to fit here.")
    assert not found.needs_person
    assert legs_content(found).plain.count("not to be fitted") == 2


@pytest.mark.parametrize(
    ("changed", "stopped", "words"),
    [
        ({}, False, ""),
        ({"heart": "yes", "breathless_at_rest": "yes"}, True, HELD),
        ({"under_18": "yes"}, True, HELD),
        ({"clot_risk": "yes"}, False, "Measuring may go on; no size is offered before"),
    ],
)
def test_what_is_to_be_done_with_legs_to_fit(
    changed: dict[str, Value],
    stopped: bool,  # noqa: FBT001
    words: str,
) -> None:
    found = cleared(sitting_of(**changed))
    assert is_stopped(found) is stopped
    assert advice(found).startswith(words) if words else advice(found) == ""
    assert found.needs_person is bool(changed)


def test_nothing_is_to_be_decided_for_a_leg_that_is_not_there() -> None:
    known = {"clot_risk": "yes", "previous_clot": "yes", "cancer": "no",
             "recent_operation": "no", "plaster_or_bed": "no"}  # fmt: skip
    found = cleared(sitting_of(**known, leg_state_right="absent", leg_why_right="injury"))
    assert [rule.id for rule in found.open_rules(Side.LEFT)] == ["previous_clot"]
    assert found.open_rules(Side.RIGHT) == ()


def test_notes_holds_and_what_nobody_lifts_are_not_to_be_decided() -> None:
    found = cleared(sitting_of(under_18="yes", lymph="yes", lymphoedema_left="yes",
                               lymphoedema_right="no", lipoedema="no", prescriber_knows="yes",
                               limb_at_risk="yes", pregnant="yes", pregnancy_warning="no",
                               gave_birth="no", midwife_knows="yes"))  # fmt: skip
    fired = {rule.id for rule in found.result.rules_of(Side.LEFT)}
    assert {"under_18", "lymph_known", "cold_foot", "pregnant"} <= fired
    assert [rule.id for rule in found.open_rules(Side.LEFT)] == ["pregnant"]


def test_what_a_decision_lifts_waits_for_nobody() -> None:
    sitting = sitting_of(clot_risk="yes", previous_clot="yes", cancer="no",
                         recent_operation="no", plaster_or_bed="no")  # fmt: skip
    for side in LEGS:
        assert cleared(sitting).needs_person
        (rule,) = cleared(sitting).open_rules(side)
        decision = Decision(
            side, "Dr-7", "prescriber", "written", 20, TODAY, TODAY, "seen",  # type: ignore[arg-type]
            (rule.id,), rule.rests_on(side),
        )  # fmt: skip
        sitting.add(draft_decision(sitting.session, decision, sitting.at))
    assert not cleared(sitting).needs_person


def test_in_a_session_nobody_screened_what_would_be_asked_waits_for_screening() -> None:
    sitting = Sitting()
    sitting.answer("purpose", "prescribed")
    sitting.answer("screen.prescribed_legs", "both")
    found = cleared(sitting)
    assert found.leg(Side.LEFT).clearance == "ask"
    assert not found.needs_person
    sitting.answer("screen.skin", "no")
    assert cleared(sitting).needs_person
    alone = Sitting()
    alone.answer("pressure.left_dp", 40)
    assert cleared(alone).needs_person, "a hold waits for nothing"


def test_a_pressure_stated_for_a_purpose_stands_with_the_people_it_is_for() -> None:
    sitting = sitting_of()
    sitting.answer("purpose", "travel")
    (told,) = cleared(sitting).purpose_notes()
    assert "15 to 30 mmHg: Journeys over 6 hours, people at increased risk of a clot only" in told
    sitting.answer("purpose", "sport")
    (told,) = cleared(sitting).purpose_notes()
    assert "mmHg" not in told
