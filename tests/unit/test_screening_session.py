"""Screening out of a session: disputed answers, changes of mind, holds and linked codes."""

from __future__ import annotations

import pytest
from screening_cases import TODAY, Sitting, answers, fired, legs, ordinary, pressures, screened

from fitcore.points import Side
from fitcore.problems import ReadingError
from fitcore.record.edits import draft_withdrawal
from fitcore.record.entries import Draft
from fitcore.record.session import join
from fitcore.safety.decisions import Assessment, draft_assessment
from fitcore.safety.screening_result import join_results


def ordinary_sitting() -> Sitting:
    sitting = Sitting()
    sitting.answer_all(**ordinary())
    return sitting


def assessed(what: str, **changed: object) -> Assessment:
    given = {
        "finding": "No swelling seen, both calves soft.",
        "on": Sitting().at.date(),
        "by": "Dr-7",
        "answers": {what: "no"},
    }
    return Assessment(**(given | changed))  # type: ignore[arg-type]


def test_nobody_asked_is_not_screened() -> None:
    result = Sitting().screened()
    assert (result.outcome, legs(result)) == ("not_screened", ("not_screened", "not_screened"))
    sitting = Sitting()
    sitting.answer("screen.skin", "no")
    assert sitting.screened().outcome == "not_screened"


def test_a_stop_counts_before_every_line_is_asked() -> None:
    sitting = Sitting()
    sitting.answer("screen.emergency", "yes")
    result = sitting.screened()
    assert (result.complete, result.outcome, legs(result)) == (False, "hold", ("hold", "hold"))


def test_every_line_asked_and_none_is_go_for_the_legs_wanted() -> None:
    sitting = ordinary_sitting()
    assert (sitting.screened().outcome, sitting.screened().max_mmhg) == ("go", 20)
    sitting.answer("sides", ["right"])
    assert legs(sitting.screened()) == ("not_screened", "cleared")


def test_pressures_and_purpose_are_read_from_the_session() -> None:
    sitting = ordinary_sitting()
    sitting.answer("purpose", "travel")
    sitting.answer("forms", ["below_knee", "footless_sleeve"])
    given = {"arm_left": 130, "arm_right": 128, "left_dp": 125, "right_dp": "would_not_compress"}
    for name, value in given.items():
        sitting.answer(f"pressure.{name}", value)
    result = sitting.screened()
    assert result.as_json()["abpi"] == {"left": "0.96", "right": ">1.3"}
    assert legs(result) == ("cleared", "stop")
    assert "travel_sleeve" in fired(result)
    sitting.answer("pressure.taken_on", "2025-01-02")
    assert [leg.abpi.clears for leg in sitting.screened().legs] == [False, False]
    sitting.answer("pressure.taken_on", "some day last year")
    assert sitting.screened().legs[0].limit_mmhg == 20
    for today in (TODAY, sitting.at):
        sitting.answer("pressure.taken_on", today)
        assert sitting.screened().legs[0].limit_mmhg is None


def test_what_cannot_be_understood_counts_as_not_known() -> None:
    sitting = ordinary_sitting()
    sitting.answer("screen.pregnant", "perhaps")
    assert "pregnant" in fired(sitting.screened())
    other = ordinary_sitting()
    other.answer("screen.skin", value=True)
    assert "weeping_skin" in fired(other.screened())
    third = ordinary_sitting()
    third.answer("pressure.left_dp", 4_000)
    assert fired(third.screened()) == {"abpi_not_obtained"}


def test_while_two_laptops_differ_the_careful_answer_rules() -> None:
    sitting = Sitting()
    sitting.answer_all(**{k: v for k, v in ordinary().items() if k != "under_18"})
    other = sitting.elsewhere()
    sitting.answer("screen.under_18", "no")
    other.answer("screen.under_18", "yes")
    joined = Sitting(join(sitting.session, other.session))
    assert joined.session.answer("screen.under_18").disputed
    assert joined.screened().outcome == "stop"
    joined.answer("screen.under_18", "no")
    assert joined.screened().outcome == "go", "a stop goes when the question is settled"


def test_a_change_of_mind_puts_a_later_answer_right_and_keeps_the_earlier() -> None:
    sitting = ordinary_sitting()
    sitting.answer("screen.lymph", "yes")
    assert sitting.screened().outcome == "ask"
    sitting.answer("screen.lymph", "no")
    assert sitting.screened().outcome == "go"
    values = [entry.fields["is"] for entry in sorted(
        (e for e in sitting.session.entries if e.text("what") == "screen.lymph"),
        key=lambda entry: entry.by.number,
    )]  # fmt: skip
    assert values == ["no", "yes", "no"]


@pytest.mark.parametrize("first", ["yes", "unknown"])
@pytest.mark.parametrize(
    "name", ["emergency", "leg_swelling", "limb_at_risk", "infection_or_wound", "heart"]
)
def test_a_hold_stays_whatever_is_answered_later(name: str, first: str) -> None:
    sitting = ordinary_sitting()
    sitting.answer(f"screen.{name}", first)
    assert sitting.screened().outcome == "hold"
    sitting.answer(f"screen.{name}", "no")
    result = sitting.screened()
    assert (result.outcome, legs(result)) == ("hold", ("hold", "hold"))


def test_striking_the_answer_out_does_not_lift_a_hold() -> None:
    sitting = ordinary_sitting()
    sitting.answer("screen.emergency", "yes")
    (head,) = sitting.session.answer("screen.emergency").heads
    sitting.add(draft_withdrawal([str(head.by)], "typed by mistake", sitting.at))
    assert sitting.screened().outcome == "hold"
    sitting.answer("screen.emergency", "no")
    assert sitting.screened().outcome == "hold"


def test_a_coordinators_choice_does_not_lift_a_hold() -> None:
    sitting = ordinary_sitting()
    other = sitting.elsewhere()
    other.answer("screen.emergency", "yes")
    joined = Sitting(join(sitting.session, other.session), "petrel-z9wa")
    seen = joined.session.answer("screen.emergency").seen
    choice = {"what": "screen.emergency", "is": "no", "who": "C-1", "why": "asked again"}
    joined.add(Draft("decisions", joined.at, {**choice, "instead_of": list(seen)}))
    assert joined.session.value("screen.emergency") == "no"
    assert joined.screened().outcome == "hold"


def test_only_an_assessment_lifts_a_hold() -> None:
    sitting = ordinary_sitting()
    sitting.answer_all(leg_swelling="yes", swelling_new_left="yes", swelling_new_right="no")
    sitting.answer_all(
        hot_or_painful_left="no",
        hot_or_painful_right="no",
        swelling_unexplained_left="no",
        swelling_unexplained_right="no",
        heart_swelling="no",
    )
    assert sitting.screened().outcome == "hold"
    what = "screen.swelling_new_left"
    sitting.add(*draft_assessment(sitting.session, assessed(what), sitting.at))
    result = sitting.screened()
    assert (result.outcome, fired(result)) == ("go", {"swelling_known"})
    (head,) = sitting.session.answer(what).heads
    assert head.text("finding") == "No swelling seen, both calves soft."
    assert (head.text("assessed_by"), head.text("assessed_on")) == ("Dr-7", "2026-03-04")
    sitting.answer(what, "yes")
    assert sitting.screened().outcome == "hold", "a new yes is a new hold"
    sitting.answer(what, "no")
    assert sitting.screened().outcome == "hold"


def test_a_pressure_that_held_goes_only_with_an_assessment() -> None:
    sitting = ordinary_sitting()
    for name, value in {"arm_left": 140, "arm_right": 140, "left_dp": 58}.items():
        sitting.answer(f"pressure.{name}", value)
    assert fired(sitting.screened()) >= {"ankle_pressure", "abpi_hold"}
    sitting.answer("pressure.left_dp", 158)
    assert sitting.screened().outcome == "hold"
    taken = assessed("pressure.left_dp", answers={"pressure.left_dp": 158})
    sitting.add(*draft_assessment(sitting.session, taken, sitting.at))
    assert sitting.screened().outcome == "go"


def test_an_assessment_seen_by_one_laptop_only_does_not_silence_the_other() -> None:
    sitting = ordinary_sitting()
    other = sitting.elsewhere()
    sitting.answer("screen.emergency", "yes")
    given = assessed("screen.emergency")
    sitting.add(*draft_assessment(sitting.session, given, sitting.at))
    assert sitting.screened().outcome == "go"
    other.answer("screen.emergency", "yes")
    both = Sitting(join(sitting.session, other.session))
    assert both.screened().outcome == "hold"


def test_a_struck_out_assessment_lifts_nothing() -> None:
    sitting = ordinary_sitting()
    sitting.answer("screen.emergency", "yes")
    given = assessed("screen.emergency")
    sitting.add(*draft_assessment(sitting.session, given, sitting.at))
    (head,) = sitting.session.answer("screen.emergency").heads
    sitting.add(draft_withdrawal([str(head.by)], "wrong client", sitting.at))
    assert sitting.screened().outcome == "hold"
    sitting.answer("screen.emergency", "no")
    assert sitting.screened().outcome == "hold"


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        ({"finding": " "}, "finding"),
        ({"by": ""}, "by"),
        ({"answers": {}}, "answers"),
        ({"answers": {"screen.skin_graft_left": "no"}}, "screen.skin_graft_left"),
        ({"answers": {"posture": "lying"}}, "posture"),
        ({"on": Sitting().at.date().replace(day=5)}, "date"),
        ({"on": Sitting().at.date().replace(day=3)}, "date"),
    ],
)
def test_an_assessment_that_says_too_little_is_refused(
    changed: dict[str, object], key: str
) -> None:
    sitting = ordinary_sitting()
    sitting.answer("screen.emergency", "yes")
    with pytest.raises(ReadingError) as caught:
        draft_assessment(sitting.session, assessed("screen.emergency", **changed), sitting.at)
    assert caught.value.problem.key == key


def test_a_stop_under_one_code_holds_under_the_other() -> None:
    clean, stopped = screened(), screened(answers(bypass_left="yes"))
    for joined in (join_results(clean, stopped), join_results(stopped, clean)):
        assert (joined.outcome, legs(joined)) == ("stop", ("stop", "cleared"))
    assert join_results(clean) == clean
    nobody = Sitting().screened()
    assert legs(join_results(nobody, clean)) == ("not_screened", "not_screened")
    right = screened(answers(bypass_right="yes"))
    assert legs(join_results(stopped, right)) == ("stop", "stop")
    clot = screened(answers(leg_swelling="yes"))
    assert not join_results(clean, clot).leg(Side.LEFT).may_take_abpi
    high = screened(taken=pressures(arm_left=200, arm_right=200, left_dp=90))
    assert legs(join_results(clean, high)) == ("hold", "cleared")
