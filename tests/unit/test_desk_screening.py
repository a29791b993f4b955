"""Decisions and assessments at the desk: what they are about, and what they ask."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.surroundings import Surroundings
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.problems import FitError
from fitcore.record.edits import draft_reading
from fitcore.units import Length, Millimetre
from tui.desk import Desk
from tui.desk_screening import (
    assessment_form,
    decidable_sides,
    replaceable,
    store_answers,
    store_assessment,
    store_decision,
)
from tui.screening_stages import Stage, make_form, next_stage

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fitcore.record.entries import Value
    from fitcore.safety.outcomes import FiredRule
    from tui.question_form import QuestionForm

PROFILES = load_profiles()
NOW = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
DECISION: dict[str, Value] = {
    "by": "S-02", "role": "specialist", "how": "written", "highest_mmhg": Decimal(24),
    "decided_on": "2026-03-04", "review_date": "2026-09-01", "why": "seen",
}  # fmt: skip
SEEN: dict[str, Value] = {"finding": "seen again", "by": "D-7", "on": "2026-03-04"}


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    chance = random.Random(1)  # noqa: S311 - fixed on purpose, no secret
    around = Surroundings(lambda: NOW, chance.randbytes, tmp_path / "state", "Europe/London")
    folder = DataFolder(tmp_path / "data", around, label="tern", measurer="N-17")
    opening: dict[str, Value] = {"client": "tern-001-9", "measurer": "N-17"}
    desk = Desk(folder, PROFILES, folder.new_session(), now=lambda: NOW, opening=opening)
    first = PROFILES.screening.questions.first_page
    store_answers(desk, {f"screen.{question.id}": "no" for question in first})
    yield desk
    folder.close()


def answered(desk: Desk, **given: Value) -> None:
    store_answers(desk, {name.replace("__", "."): value for name, value in given.items()})


def hold(desk: Desk, name: str) -> FiredRule:
    return next(rule for rule in desk.clearance.result.rules if rule.id == name)


def test_a_decision_on_both_legs_is_about_each_legs_own_rules(desk: Desk) -> None:
    answered(desk, screen__bypass_left="yes", screen__numb_right="yes")
    assert decidable_sides(desk) == LEGS
    store_decision(desk, {**DECISION, "side": "both"})
    covers = {d.side: (d.covers, d.rests_on) for d in desk.clearance.decisions}
    assert covers == {
        Side.LEFT: (("bypass",), ("screen.bypass_left=yes",)),
        Side.RIGHT: (("numb",), ("screen.numb_right=yes",)),
    }
    assert all(desk.clearance.leg(side).offered for side in LEGS)
    answered(desk, screen__numb_left="yes")
    assert [desk.clearance.leg(side).offered for side in LEGS] == [False, True]


def test_an_assessment_may_replace_both_arms_and_the_ankles_of_the_leg(desk: Desk) -> None:
    answered(
        desk, pressure__arm_left=240, pressure__arm_right=140, pressure__left_dp=100,
        pressure__left_pt=90, pressure__right_dp=236, pressure__left_toe=80,
    )  # fmt: skip
    rule = hold(desk, "abpi_hold")
    assert rule.sides == (Side.LEFT,)
    assert set(replaceable(rule)) == {
        "pressure.arm_left", "pressure.arm_right", "pressure.left_dp", "pressure.left_pt"
    }  # fmt: skip
    store_assessment(desk, {**SEEN, "pressure.arm_left": 104})
    assert desk.clearance.result.leg(Side.LEFT).clearance != "hold"


def test_what_is_no_hold_is_replaced_without_an_assessment(desk: Desk) -> None:
    answered(desk, screen__bypass_left="yes")
    assert replaceable(hold(desk, "bypass")) == ()


def test_an_assessment_asks_for_what_was_never_answered(desk: Desk) -> None:
    answered(desk, screen__leg_swelling="yes")
    answered(desk, screen__leg_swelling="no")
    holds = [r for r in desk.clearance.result.rules if r.action == "hold"]
    assert len(holds) > 1
    for rule in holds:
        lines = [line.what for line in assessment_form(desk, rule).lines]
        asked = [what for what in lines if what.startswith("screen.")]
        assert asked
        store_assessment(desk, {**SEEN, **dict.fromkeys(asked, "no")})
    assert desk.clearance.result.outcome == "go"


def test_calves_read_otherwise_are_asked_about_anew(desk: Desk) -> None:
    begun: dict[str, Value] = {
        "purpose": "standing", "protocol": "below-knee-short", "sides": ["left", "right"],
        "rising_at": "unknown",
    }  # fmt: skip
    desk.start_measuring(begun)
    read_calves(desk, {Side.LEFT: 402, Side.RIGHT: 362}, 1, 2)
    assert next_stage(desk) is Stage.CALVES
    form = make_form(desk, Stage.CALVES)
    assert [(line.what, line.side) for line in form.lines] == [("screen.larger_leg_new", Side.LEFT)]
    for key in "ny":
        form.type(key)
    store_answers(desk, form.answers())
    assert next_stage(desk) is None
    assert desk.clearance.leg(Side.LEFT).offered
    read_calves(desk, {Side.LEFT: 450}, 3, 4)
    assert next_stage(desk) is Stage.CALVES
    again = make_form(desk, Stage.CALVES)
    assert again.answer(again.line) is None
    assert [line.what for line in again.lines] == ["screen.larger_leg_new"]
    assert not desk.clearance.leg(Side.LEFT).offered


def test_growth_is_asked_of_its_own_leg(desk: Desk) -> None:
    begun: dict[str, Value] = {
        "purpose": "standing", "sides": ["left", "right"], "rising_at": "unknown"
    }  # fmt: skip
    desk.start_measuring(begun)
    read_calves(desk, {Side.LEFT: 362, Side.RIGHT: 362}, 1, 2)
    last = replace(desk.session, id="0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a6")
    desk.earlier = (last,)
    read_calves(desk, {Side.LEFT: 420, Side.RIGHT: 420}, 3, 4, 5, 6)
    asked = []
    while (stage := next_stage(desk)) is Stage.CALVES:
        form = make_form(desk, stage)
        for key in "ny":
            form.type(key)
        asked += [line.what for line in form.lines]
        store_answers(desk, form.answers())
    assert asked == [
        f"screen.grown_leg_{part}_{side}" for side in ("left", "right")
        for part in ("new", "explained")
    ]  # fmt: skip


def read_calves(desk: Desk, calves: dict[Side, int], *rounds: int) -> None:
    for side, mm in calves.items():
        for number in rounds:
            length = Length(str(mm / 10), "cm", Millimetre(Decimal(mm)))
            desk.append(draft_reading((side, Point.C, Kind.GIRTH), number, length, NOW))


def at_line(form: QuestionForm, what: str) -> QuestionForm:
    form.at = next(n for n, line in enumerate(form.lines) if line.what == what)
    return form


def test_not_known_is_no_answer_to_an_assessment(desk: Desk) -> None:
    answered(desk, screen__emergency="yes", pressure__left_toe=25)
    form = at_line(assessment_form(desk, hold(desk, "emergency")), "screen.emergency")
    assert form.type("?") == "Answer with y or n: not known is no answer here."
    assert form.answer(form.line) is None
    assert form.type("n") == ""
    toe = assessment_form(desk, hold(desk, "toe_pressure"))
    for typed in ("?", "unknown", "could_not_obtain", "would_not_compress", "abc"):
        at_line(toe, "pressure.left_toe")
        for sign in typed:
            toe.type(sign)
        assert toe.accept()[1]
        assert toe.answer(toe.line) is None
        for _ in typed:
            toe.erase()
    for sign in "80":
        toe.type(sign)
    toe.accept()
    assert toe.answers()["pressure.left_toe"] == Decimal(80)


def test_an_assessment_of_nothing_or_of_not_known_is_not_stored(desk: Desk) -> None:
    answered(desk, pressure__left_toe=25)
    for told in ({}, {"pressure.left_toe": "unknown"}):
        with pytest.raises(FitError):
            store_assessment(desk, {**SEEN, **told})
    assert desk.clearance.result.outcome == "hold"
