"""Which line of screening is asked when, without a screen: pressures, legs, second thoughts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, cast

import pytest
from screening_cases import TODAY, Sitting, ordinary

from fitcore.disk.profile_files import Profiles, load_profiles
from fitcore.points import LEGS, Side
from fitcore.problems import ReadingError
from fitcore.record.readings import Readings
from fitcore.record.session import join
from fitcore.safety.clearance import judge_clearance
from tui.screening_stages import Stage, at_once, make_form, next_stage, parse_day

if TYPE_CHECKING:
    from datetime import datetime

    from fitcore.record.entries import Value
    from fitcore.record.session import Session
    from fitcore.safety.clearance import SessionClearance
    from tui.desk import Desk
    from tui.question_form import Ask

PROFILES = load_profiles()
ARMS = {"arm_left": 138, "arm_right": 134}
ANKLES = {"left_dp": 130, "right_dp": 130}


@dataclass
class AtDesk:
    """What the pages look at, of a sitting that lies in no folder."""

    sitting: Sitting
    sides: tuple[Side, ...] = LEGS
    in_setup: bool = False
    profiles: Profiles = PROFILES

    @property
    def session(self) -> Session:
        return self.sitting.session

    @property
    def clearance(self) -> SessionClearance:
        return judge_clearance(self.session, Readings(self.session), PROFILES.rules, on=TODAY)

    def now(self) -> datetime:
        return self.sitting.at


def desk(sides: tuple[Side, ...] = LEGS, **changed: Value) -> AtDesk:
    sitting = Sitting()
    sitting.answer("purpose", "prescribed")
    sitting.answer("sides", [side.value for side in sides])
    sitting.answer_all(**(ordinary() | changed))  # type: ignore[operator]
    return AtDesk(sitting, sides)


def lines(at: AtDesk, stage: Stage) -> dict[str, Ask]:
    return {line.what: line for line in make_form(cast("Desk", at), stage).lines}


def taken(at: AtDesk, **pressures: Value) -> AtDesk:
    at.sitting.answer("screen.abpi_taken", "yes")
    for name, value in pressures.items():
        at.sitting.answer(f"pressure.{name}", value)
    return at


def test_what_one_of_two_purposes_opens_is_asked() -> None:
    """Two laptops, neither of which had seen the other's answer."""
    alone = lines(desk(), Stage.PRESCRIPTION)
    here = Sitting()
    here.answer("sides", [side.value for side in LEGS])
    here.answer_all(**ordinary())
    there = here.elsewhere()
    here.answer("purpose", "prescribed")
    there.answer("purpose", "work")
    both = AtDesk(Sitting(join(here.session, there.session)))
    assert both.session.answer("purpose").disputed
    assert lines(both, Stage.PRESCRIPTION).keys() == alone.keys()
    assert lines(AtDesk(there), Stage.PRESCRIPTION).keys() < alone.keys()


@pytest.mark.parametrize(
    ("arms", "asked"),
    [
        ({"arm_left": 138}, True),
        ({"arm_right": 138}, True),
        (ARMS, False),
        ({}, False),
    ],
)
def test_one_arm_alone_is_asked_why(arms: dict[str, Value], asked: bool) -> None:  # noqa: FBT001
    found = lines(taken(desk(), **arms, **ANKLES), Stage.PRESSURES)
    assert ("pressure.one_arm_why" in found) is asked
    if asked:
        why = found["pressure.one_arm_why"]
        assert (why.may_stay_open, why.knows_unknown) == (False, False)


def test_new_symptoms_are_asked_of_pressures_of_another_day_and_may_not_stay_open() -> None:
    at = taken(desk(), **ARMS, **ANKLES)
    what = "screen.new_symptoms_since_abpi"
    assert what not in lines(at, Stage.PRESSURES)
    at.sitting.answer("pressure.taken_on", TODAY.isoformat())
    assert what not in lines(at, Stage.PRESSURES)
    at.sitting.answer("pressure.taken_on", (TODAY - timedelta(days=1)).isoformat())
    assert not lines(at, Stage.PRESSURES)[what].may_stay_open
    parts = ("standard", "class", "low_mmhg", "high_mmhg", "length", "toe", "legs", "pairs")
    prescription = {f"prescribed_{part}": "unknown" for part in parts}
    at.sitting.answer_all(prescriber="Dr-7", **prescription)
    assert next_stage(cast("Desk", at)) is Stage.PRESSURES, "it is asked before going on"
    at.sitting.answer(what, "no")
    assert next_stage(cast("Desk", at)) is None


def test_no_pressure_is_asked_of_a_leg_a_clot_is_suspected_in() -> None:
    def of_legs(at: AtDesk) -> set[str]:
        found = lines(at, Stage.PRESSURES)
        return {what[9:] for what in found if what.startswith(("pressure.left", "pressure.right"))}

    both = {"left_dp", "left_pt", "left_toe", "right_dp", "right_pt", "right_toe"}
    assert of_legs(taken(desk())) == both
    details = {f"{name}_{side}": "no" for side in LEGS
               for name in ("swelling_new", "hot_or_painful", "swelling_unexplained")}  # fmt: skip
    known = {**details, "leg_swelling": "yes", "heart_swelling": "no", "swelling_old": "yes"}
    assert of_legs(taken(desk(**known))) == both
    clot = desk(**{**known, "swelling_new_left": "yes"})
    assert lines(taken(clot), Stage.PRESSURES) == {}, "it bears on both legs"
    legs = OneSided(clot.sitting).clearance.result.legs
    assert [leg.may_take_abpi for leg in legs] == [False, True]
    half = taken(OneSided(clot.sitting))
    assert of_legs(half) == {"right_dp", "right_pt", "right_toe"}


class OneSided(AtDesk):
    """A desk of a service whose suspected clot bears on its own leg only."""

    @property
    def clearance(self) -> SessionClearance:
        one_leg = tuple(
            rule.model_copy(update={"both_legs": False}) for rule in PROFILES.screening.rules.rules
        )
        rules = PROFILES.screening.rules.model_copy(update={"rules": one_leg})
        own = replace(PROFILES.rules, screening=replace(PROFILES.screening, rules=rules))
        return judge_clearance(self.session, Readings(self.session), own, on=TODAY)


@pytest.mark.parametrize(
    ("answers", "now"),
    [
        ({}, False),
        ({"emergency": "yes"}, True),
        ({"emergency": "unknown"}, True),
        ({"pregnant": "yes"}, False),
        ({"leg_swelling": "unknown"}, False),
    ],
)
def test_the_first_page_alone_says_to_call_at_once(
    answers: dict[str, Value],
    now: bool,  # noqa: FBT001
) -> None:
    assert at_once(desk(**answers).session, PROFILES.screening) is now


def test_what_threatens_the_other_leg_is_asked_where_one_leg_is_to_be_fitted() -> None:
    found = lines(desk((Side.LEFT,), leg_swelling="yes", skin="yes"), Stage.MORE)
    assert {"screen.swelling_new_left", "screen.swelling_new_right"} <= set(found)
    assert "screen.fragile_skin_left" in found
    assert "screen.fragile_skin_right" not in found
    gone = desk((Side.LEFT,), leg_swelling="yes", leg_state_right="absent")
    assert "screen.swelling_new_right" not in lines(gone, Stage.MORE)


def test_answers_that_count_though_nothing_opens_them_any_more_are_shown() -> None:
    found = lines(desk(bypass_left="yes", bypass_right="no", midwife_knows="no"), Stage.MORE)
    assert set(found) == {"screen.bypass_left", "screen.midwife_knows"}


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        ("today", date(2026, 3, 1)),
        ("Yesterday", date(2026, 2, 28)),
        ("3 days ago", date(2026, 2, 26)),
        ("1 day ago", date(2026, 2, 28)),
        ("28.2.26", date(2026, 2, 28)),
        ("28/2/2026", date(2026, 2, 28)),
        ("2026-02-28", date(2026, 2, 28)),
    ],
)
def test_a_day_is_read_as_people_type_it(typed: str, day: date) -> None:
    assert parse_day(typed, date(2026, 3, 1)) == day


@pytest.mark.parametrize("typed", ["", "29.2.2026", "soon", "-1 days ago", "3 days", "1.2"])
def test_what_is_no_day_is_refused_with_the_ways_to_type_one(typed: str) -> None:
    with pytest.raises(ReadingError, match="yesterday"):
        parse_day(typed, date(2026, 3, 1))
