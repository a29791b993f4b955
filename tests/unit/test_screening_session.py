"""Screening out of a session: disputed answers, changes of mind, holds and linked codes."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from screening_cases import (
    TODAY,
    Sitting,
    answers,
    book,
    fired,
    legs,
    ordinary,
    pressures,
    screened,
)

from fitcore.points import Side
from fitcore.problems import ReadingError
from fitcore.record.edits import draft_withdrawal
from fitcore.record.entries import Draft
from fitcore.record.session import join
from fitcore.safety.abpi import Missing
from fitcore.safety.assessments import Assessment, draft_assessment
from fitcore.safety.screening import answers_of, screen_session
from fitcore.safety.screening_result import join_results

if TYPE_CHECKING:
    from fitcore.record.entries import Value


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


def test_pressures_are_as_old_as_their_entries_where_nobody_says_on_which_day() -> None:
    sitting = ordinary_sitting()
    for name, value in {"arm_left": 130, "arm_right": 128, "left_dp": 125, "right_dp": 125}.items():
        sitting.answer(f"pressure.{name}", value)
    sitting.answer("screen.abpi_taken", "yes")

    def valid(days: int) -> list[bool]:
        told = answers_of(sitting.session, book())
        result = screen_session(told, book(), on=TODAY + timedelta(days=days))
        return [leg.abpi.valid for leg in result.legs]

    assert valid(0) == [True, True]
    assert valid(1) == [False, False], "nobody was asked about new symptoms"
    sitting.answer("screen.new_symptoms_since_abpi", "no")
    assert valid(90) == [True, True]
    assert valid(91) == valid(3650) == [False, False]
    sitting.answer("pressure.taken_on", (TODAY + timedelta(days=60)).isoformat())
    assert valid(91) == [True, True], "somebody said on which day"


def test_of_several_entries_the_oldest_tells_how_old_the_pressures_are() -> None:
    sitting = ordinary_sitting()
    sitting.answer("pressure.left_dp", 125)
    sitting.at += timedelta(days=100)
    for name, value in {"arm_left": 130, "arm_right": 128}.items():
        sitting.answer(f"pressure.{name}", value)
    told = answers_of(sitting.session, book())
    assert {taken.taken_on for _, taken in (told.present, told.ever)} == {TODAY}
    assert answers_of(Sitting().session, book()).present[1].taken_on is None


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
        swelling_old="yes",
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


HELD = {
    "pressure.left_toe": 25,
    "pressure.left_dp": 50,
    "screen.rest_pain_left": "yes",
}


def held_by(what: str) -> Sitting:
    sitting = ordinary_sitting()
    taken = {"arm_left": 130, "arm_right": 130, "left_dp": 125, "right_dp": 125}
    for name, mmhg in taken.items():
        if f"pressure.{name}" != what:
            sitting.answer(f"pressure.{name}", mmhg)
    sitting.answer(what, HELD[what])
    assert sitting.screened().leg(Side.LEFT).clearance == "hold"
    return sitting


NOTHING_FOUND: list[tuple[str, Value]] = [
    ("pressure.left_toe", "unknown"),
    ("pressure.left_toe", "could_not_obtain"),
    ("pressure.left_toe", "would_not_compress"),
    ("pressure.left_toe", "rubbish"),
    ("pressure.left_toe", True),
    ("pressure.left_dp", "unknown"),
    ("pressure.left_dp", "could_not_obtain"),
    ("pressure.left_dp", "would_not_compress"),
    ("screen.rest_pain_left", "unknown"),
    ("screen.rest_pain_left", "Unknown"),
]


@pytest.mark.parametrize(("what", "value"), NOTHING_FOUND)
def test_an_assessment_that_found_nothing_out_is_refused(what: str, value: Value) -> None:
    sitting = held_by(what)
    given = assessed(what, answers={what: value})
    with pytest.raises(ReadingError, match="lifts no hold") as caught:
        draft_assessment(sitting.session, given, sitting.at)
    assert caught.value.problem.key == what


@pytest.mark.parametrize(
    ("what", "value"), [*NOTHING_FOUND, ("pressure.left_toe", 4_000), ("pressure.left_dp", 0)]
)
def test_one_written_into_the_file_lifts_nothing_either(what: str, value: Value) -> None:
    sitting = held_by(what)
    good = {"pressure.left_toe": 80, "pressure.left_dp": 125, "screen.rest_pain_left": "no"}[what]
    (draft,) = draft_assessment(sitting.session, assessed(what, answers={what: good}), sitting.at)
    lifted = Sitting(sitting.session, "dunlin-m4ex")
    lifted.add(draft)
    assert lifted.screened().leg(Side.LEFT).clearance == "cleared"
    sitting.add(replace(draft, fields={**draft.fields, "is": value}))
    assert sitting.screened().leg(Side.LEFT).clearance == "hold"


@pytest.mark.parametrize("key", ["finding", "assessed_by", "assessed_on"])
def test_an_assessment_lacks_nothing(key: str) -> None:
    sitting = held_by("pressure.left_toe")
    given = assessed("pressure.left_toe", answers={"pressure.left_toe": 80})
    (draft,) = draft_assessment(sitting.session, given, sitting.at)
    sitting.add(replace(draft, fields={**draft.fields, key: ""}))
    assert sitting.screened().leg(Side.LEFT).clearance == "hold"


def test_an_assessment_cannot_be_its_own_reason() -> None:
    """An entry that lists itself replaces nothing: a damaged file lifts no hold."""
    sitting = held_by("pressure.left_toe")
    given = assessed("pressure.left_toe", answers={"pressure.left_toe": 29})
    (draft,) = draft_assessment(sitting.session, given, sitting.at)
    own = f"tern-k7qd:{sitting.number + 1}"
    names = draft.fields["instead_of"]
    assert isinstance(names, list)
    sitting.add(replace(draft, fields={**draft.fields, "instead_of": [*names, own]}))
    sitting.answer("pressure.left_toe", 80)
    assert sitting.screened().leg(Side.LEFT).clearance == "hold"


@pytest.mark.parametrize("value", ["could_not_obtain", "would_not_compress"])
def test_a_toe_pressure_tried_in_vain_asks(value: str) -> None:
    sitting = ordinary_sitting()
    sitting.answer("pressure.left_toe", value)
    result = sitting.screened()
    assert (legs(result), fired(result)) == (("ask", "cleared"), {"abpi_not_obtained"})
    sitting.answer("pressure.left_toe", "unknown")
    assert sitting.screened().outcome == "go", "not tried is not tried in vain"


def test_a_slip_on_the_first_page_is_put_right_by_answering_what_was_never_asked() -> None:
    sitting = ordinary_sitting()
    sitting.answer("screen.leg_swelling", "yes")
    sitting.answer("screen.leg_swelling", "no")
    holds = [rule for rule in sitting.screened().rules if rule.action == "hold"]
    rests_on = {what.partition("=")[0] for rule in holds for what in rule.rests_on(Side.LEFT)}
    assert {f"screen.swelling_new_{side}" for side in ("left", "right")} <= rests_on
    given = assessed("", answers=dict.fromkeys(sorted(rests_on), "no"))
    with pytest.raises(ReadingError, match="an answer that is there"):
        draft_assessment(sitting.session, given, sitting.at)
    sitting.add(*draft_assessment(sitting.session, given, sitting.at, never_asked=rests_on))
    assert sitting.screened().outcome == "go"
    for name in rests_on:
        (head,) = sitting.session.answer(name).heads
        assert head.text("finding")


def test_no_abpi_is_taken_while_a_suspected_clot_holds_from_before() -> None:
    sitting = ordinary_sitting()
    harmless = {
        f"{name}_{side}": "no"
        for name in ("hot_or_painful", "swelling_unexplained", "swelling_new")
        for side in ("left", "right")
    }
    sitting.answer_all(leg_swelling="yes", swelling_old="yes", heart_swelling="no", **harmless)
    sitting.answer("screen.swelling_new_left", "yes")
    assert [leg.may_take_abpi for leg in sitting.screened().legs] == [False, False]
    sitting.answer("screen.swelling_new_left", "no")
    result = sitting.screened()
    assert (result.outcome, [leg.may_take_abpi for leg in result.legs]) == ("hold", [False, False])
    what = "screen.swelling_new_left"
    sitting.add(*draft_assessment(sitting.session, assessed(what), sitting.at))
    assert [leg.may_take_abpi for leg in sitting.screened().legs] == [True, True]


# ---- blood pressures that stand side by side ---------------------------------------------------


def abpi_of(**side_by_side: tuple[Value, Value]) -> tuple[bool, bool]:
    """Take an ordinary ABPI, with some values different on two laptops; return what is valid."""
    sitting = ordinary_sitting()
    taken = {"arm_left": 130, "arm_right": 130, "left_dp": 125, "right_dp": 125}
    for name, mmhg in taken.items():
        if name not in side_by_side:
            sitting.answer(f"pressure.{name}", mmhg)
    other = sitting.elsewhere()
    for name, (one, another) in side_by_side.items():
        sitting.answer(f"pressure.{name}", one)
        other.answer(f"pressure.{name}", another)
    left, right = Sitting(join(sitting.session, other.session)).screened().legs
    return left.abpi.valid, right.abpi.valid


def test_a_value_that_one_laptop_does_not_know_is_not_known() -> None:
    assert abpi_of() == (True, True)
    assert abpi_of(arm_right=(130, "unknown")) == (False, False)
    assert abpi_of(left_dp=(125, "unknown")) == (False, True)
    assert abpi_of(left_dp=(125, "could_not_obtain")) == (False, True)
    assert abpi_of(left_toe=(60, "unknown")) == (True, True)


@pytest.mark.parametrize(
    ("one", "other", "valid"),
    [
        ("plaster", "plaster", True),
        ("plaster", "fistula", True),
        ("plaster", "unknown", False),
        ("plaster", " ", False),
        ("unknown", "unknown", False),
    ],
)
def test_one_arm_needs_a_reason_that_nobody_doubts(one: str, other: str, valid: bool) -> None:  # noqa: FBT001
    assert abpi_of(arm_right=("unknown", "unknown"), one_arm_why=(one, other))[0] == valid


def test_an_arm_that_would_not_compress_is_explained_by_nothing() -> None:
    stiff: tuple[Value, Value] = ("would_not_compress", "would_not_compress")
    assert abpi_of(arm_right=stiff, one_arm_why=("stiff", "stiff")) == (False, False)


def test_of_two_days_the_earlier_one_counts() -> None:
    old, day = "2025-01-02", TODAY.isoformat()
    assert abpi_of(taken_on=(day, day)) == (True, True)
    assert abpi_of(taken_on=(day, old)) == (False, False)
    assert abpi_of(taken_on=(old, day)) == (False, False)


def test_a_low_artery_beside_one_that_would_not_compress_holds() -> None:
    taken = pressures(arm_left=140, arm_right=140, left_dp=Missing.NOT_COMPRESSIBLE, left_pt=69)
    result = screened(taken=taken)
    assert result.leg(Side.LEFT).clearance == "hold"
    assert {"abpi_hold", "abpi_high"} <= fired(result)


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
