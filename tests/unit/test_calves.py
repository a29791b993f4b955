"""A session's calves: compared whenever both were read; answers hold for these readings only."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from screening_cases import TODAY, Sitting, about, book, fired, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.record.edits import draft_not_taken, draft_reading, draft_withdrawal
from fitcore.record.last_time import LastTime
from fitcore.record.readings import Readings
from fitcore.record.session import join
from fitcore.safety.clearance import SessionClearance, judge_clearance
from fitcore.safety.decisions import Decision, draft_decision
from fitcore.safety.screening_edits import draft_screening
from fitcore.units import Length, Millimetre

if TYPE_CHECKING:
    from fitcore.record.session import Session

PROFILES = load_profiles()
CALF = (Point.C, Kind.GIRTH)


def read(sitting: Sitting, side: Side, mm: int, rounds: int = 2, *, first: int = 1) -> None:
    """Read a calf so often, each time the same."""
    for number in range(first, first + rounds):
        length = Length(str(mm / 10), "cm", Millimetre(Decimal(mm)))
        sitting.add(draft_reading((side, *CALF), number, length, sitting.at))


def sitting_with(left: int | None, right: int | None, **answers: str) -> Sitting:
    sitting = Sitting()
    sitting.answer_all(**ordinary(**answers))
    sitting.answer("sides", ["left", "right"])
    for side, mm in zip(LEGS, (left, right), strict=True):
        if mm is not None:
            read(sitting, side, mm)
    return sitting


def judged(sitting: Sitting, *earlier: Session) -> SessionClearance:
    session = sitting.session
    last = LastTime(earlier)
    return judge_clearance(session, Readings(session), PROFILES.rules, on=TODAY, last=last)


def say_of(sitting: Sitting, *earlier: Session, **told: str) -> None:
    """Answer the questions about the calves as the screen stores them."""
    about_readings = judged(sitting, *earlier).calves.answers_rest_on
    answers = {f"screen.{name}": value for name, value in told.items()}
    drafts = draft_screening(sitting.session, book(), answers, sitting.at, rest_on=about_readings)
    sitting.add(*drafts)


def steps(sitting: Sitting, *earlier: Session) -> list[str]:
    return [found.step for found in judged(sitting, *earlier).calves.findings]


def offered(sitting: Sitting, *earlier: Session) -> tuple[bool, bool]:
    cleared = judged(sitting, *earlier)
    return cleared.leg(Side.LEFT).offered, cleared.leg(Side.RIGHT).offered


EXPLAINED = {"larger_leg_new": "no", "larger_leg_explained": "yes"}


def test_an_explained_difference_is_a_note_and_lets_both_legs_be_offered() -> None:
    sitting = sitting_with(402, 362)
    assert (steps(sitting), offered(sitting)) == (["ask"], (False, False))
    say_of(sitting, **EXPLAINED)
    assert (steps(sitting), offered(sitting)) == (["note"], (True, True))


def test_calves_whose_readings_disagree_are_read_a_third_time_before_anything_is_asked() -> None:
    """The difference may be a slip of the tape: its mean is compared with nothing yet."""
    sitting = sitting_with(402, None)
    read(sitting, Side.RIGHT, 362, rounds=1)
    read(sitting, Side.RIGHT, 372, rounds=1, first=2)
    assert (steps(sitting), offered(sitting)) == (["repeat"], (False, False))
    read(sitting, Side.RIGHT, 363, rounds=1, first=3)
    assert (steps(sitting), offered(sitting)) == (["ask"], (False, False))


def test_three_readings_that_never_agree_are_asked_about_and_not_read_for_ever() -> None:
    sitting = sitting_with(402, None)
    for number, mm in enumerate((340, 350, 360), 1):
        read(sitting, Side.RIGHT, mm, rounds=1, first=number)
    assert (steps(sitting), offered(sitting)) == (["ask"], (False, False))


def test_an_answer_about_one_difference_settles_no_other() -> None:
    """Left larger by 8 cm of old; now the right has grown by 4 cm: asked for itself."""
    last = sitting_with(400, 320).session
    sitting = sitting_with(400, 362)
    say_of(sitting, last, **EXPLAINED)
    first, grown = judged(sitting, last).calves.findings
    assert (first.step, grown.step, grown.larger) == ("note", "ask", Side.RIGHT)
    assert grown.text.startswith("RIGHT calf 4.2 cm larger than last time.")
    assert offered(sitting, last) == (False, False)
    say_of(sitting, last, grown_leg_new_left="no", grown_leg_explained_left="yes")
    assert steps(sitting, last) == ["note", "ask"], "the left did not grow"
    say_of(sitting, last, grown_leg_new_right="yes")
    assert steps(sitting, last) == ["note", "stop"]
    say_of(sitting, last, grown_leg_new_right="no")
    assert judged(sitting, last).calves.asks is not None
    say_of(sitting, last, grown_leg_explained_right="yes")
    assert (steps(sitting, last), offered(sitting, last)) == (["note", "note"], (True, True))


def test_an_answer_is_void_once_a_calf_was_read_otherwise() -> None:
    sitting = sitting_with(402, 362)
    say_of(sitting, **EXPLAINED)
    read(sitting, Side.LEFT, 480, 2, first=3)
    assert (steps(sitting), offered(sitting)) == (["ask"], (False, False))
    say_of(sitting, **EXPLAINED)
    assert steps(sitting) == ["note"], "the same answer about other readings is one anew"
    assert len(sitting.session.answer("screen.larger_leg_new").heads) == 1
    read(sitting, Side.RIGHT, 540, 4, first=3)
    found = judged(sitting).calves.findings[0]
    assert (found.step, found.larger) == ("ask", Side.RIGHT)


def test_an_answer_is_void_once_a_reading_was_struck_out() -> None:
    sitting = sitting_with(402, 362)
    read(sitting, Side.LEFT, 402, 1, first=3)
    say_of(sitting, **EXPLAINED)
    name = Readings(sitting.session).current((Side.LEFT, *CALF))[-1].name
    sitting.add(draft_withdrawal([name], "slipped", sitting.at))
    assert steps(sitting) == ["ask"]


@pytest.mark.parametrize("new", ["unknown", "perhaps"])
def test_an_answer_nobody_understands_counts_as_not_known(new: str) -> None:
    sitting = sitting_with(402, 362)
    say_of(sitting, larger_leg_new=new)
    assert steps(sitting) == ["stop"]


def test_each_calf_is_read_twice_before_anything_is_asked() -> None:
    sitting = sitting_with(402, None)
    read(sitting, Side.RIGHT, 362, 1)
    assert steps(sitting) == ["repeat"]
    assert judged(sitting).calves.repeats == {(side, *CALF) for side in LEGS}
    read(sitting, Side.RIGHT, 362, 1, first=2)
    assert steps(sitting) == ["ask"]


def test_an_answer_that_names_no_readings_settles_nothing() -> None:
    sitting = sitting_with(402, 362)
    sitting.answer_all(**EXPLAINED)
    assert (steps(sitting), offered(sitting)) == (["ask"], (False, False))


def test_growth_is_asked_anew_where_last_time_is_another() -> None:
    before, other = sitting_with(362, 362), sitting_with(350, 362)
    other.session = replace(other.session, id="0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a6")
    sitting = sitting_with(400, 395)
    for side in LEGS:
        told = {f"grown_leg_new_{side}": "no", f"grown_leg_explained_{side}": "yes"}
        say_of(sitting, before.session, **told)
    assert steps(sitting, before.session) == ["small", "note", "note"]
    read(other, Side.LEFT, 350, 1, first=3)
    assert steps(sitting, other.session) == ["small", "ask", "note"]
    read(sitting, Side.RIGHT, 395, 1, first=3)
    assert steps(sitting, before.session) == ["small", "note", "ask"]


def test_of_two_laptops_the_more_careful_answer_rules() -> None:
    sitting = sitting_with(402, 362)
    other = sitting.elsewhere()
    say_of(sitting, **EXPLAINED)
    say_of(other, larger_leg_new="yes")
    joined = Sitting(join(sitting.session, other.session))
    assert (steps(joined), offered(joined)) == (["stop"], (False, False))
    strange = sitting.elsewhere("petrel-z9wa")
    say_of(strange, larger_leg_explained="perhaps")
    assert steps(strange) == ["stop"]


def test_an_old_answer_elsewhere_counts_beside_one_about_these_readings() -> None:
    sitting = sitting_with(402, 362)
    other = sitting.elsewhere()
    say_of(other, larger_leg_new="yes")
    read(sitting, Side.LEFT, 402, 1, first=3)
    say_of(sitting, **EXPLAINED)
    assert steps(sitting) == ["note"]
    joined = Sitting(join(sitting.session, other.session))
    assert steps(joined) == ["stop"]


# ---- which legs are compared -------------------------------------------------------------------


@pytest.mark.parametrize("answered", [
    {"sides": ["left"]},
    {"screen.leg_state_right": "cannot_be_measured", "screen.leg_why_right": "dressing"},
    {"screen.leg_state_right": "absent", "screen.leg_why_right": "injury"},
])  # fmt: skip
@pytest.mark.parametrize(("left", "right"), [(402, 362), (362, 402)])
def test_two_calves_that_were_read_are_compared_whatever_was_said_of_the_legs(
    answered: dict[str, str], left: int, right: int
) -> None:
    sitting = sitting_with(left, right)
    for what, value in answered.items():
        sitting.answer(what, value)
    assert steps(sitting) == ["ask"]
    assert offered(sitting) == (False, False)


def test_growth_of_a_leg_not_to_be_fitted_counts() -> None:
    last = sitting_with(362, 362).session
    sitting = sitting_with(380, 395)
    sitting.answer("sides", ["left"])
    assert steps(sitting, last) == ["small", "ask"]
    assert offered(sitting, last) == (False, False)


@pytest.mark.parametrize("missing", LEGS)
@pytest.mark.parametrize("not_taken", [False, True])
def test_one_calf_of_two_legs_is_said_and_asked(missing: Side, not_taken: bool) -> None:  # noqa: FBT001
    left, right = (None if side is missing else 362 for side in LEGS)
    sitting = sitting_with(left, right)
    if not_taken:
        sitting.add(draft_not_taken((missing, *CALF), 1, "pain", sitting.at))
    cleared = judged(sitting)
    assert (steps(sitting), fired(cleared.result)) == (["one_calf"], {"one_calf"})
    assert offered(sitting) == (False, False)
    why = cleared.leg(Side.LEFT).why
    assert f"{missing.value.upper()} calf not read" in why
    assert "no reassurance" in why
    prescriber = Decision(
        Side.LEFT, "P-04", "prescriber", "written", Decimal(18), TODAY, TODAY, "seen", ("one_calf",)
    )
    sitting.add(draft_decision(sitting.session, prescriber, sitting.at))
    assert offered(sitting) == (True, False)
    read(sitting, missing, 420)
    assert offered(sitting) == (False, False), "now they can be compared, and differ"


def test_where_nobody_screened_that_is_said_and_not_the_calf() -> None:
    sitting = Sitting()
    read(sitting, Side.LEFT, 362)
    assert steps(sitting) == ["one_calf"]
    assert judged(sitting).result.outcome == "not_screened"
    assert offered(sitting) == (False, False)
    assert judged(sitting).leg(Side.LEFT).why.startswith("Screening not done")


@pytest.mark.parametrize("state", ["absent", "cannot_be_measured"])
def test_with_one_leg_there_is_nothing_to_compare(state: str) -> None:
    sitting = sitting_with(362, None, leg_state_right=state, leg_why_right="injury")
    assert (steps(sitting), offered(sitting)[0]) == (["one_leg"], True)
    alone = sitting_with(362, None)
    alone.answer("sides", ["left"])
    assert steps(alone) == ["one_leg"]


def test_where_laptops_differ_about_a_leg_it_is_there() -> None:
    sitting = sitting_with(362, None)
    other = sitting.elsewhere()
    sitting.answer("screen.leg_state_right", "present")
    other.answer("screen.leg_state_right", "absent")
    joined = Sitting(join(sitting.session, other.session))
    assert steps(joined) == ["one_calf"]


def test_nothing_is_asked_before_a_calf_was_read() -> None:
    assert steps(sitting_with(None, None)) == []
    assert offered(sitting_with(None, None)) == (True, True)


def test_both_findings_count_and_neither_hides_the_other() -> None:
    last = sitting_with(362, 362).session
    sitting = sitting_with(400, None)
    assert steps(sitting, last) == ["one_calf", "ask"]
    assert fired(judged(sitting, last).result) == {"one_calf", "side_difference"}


# ---- values that stand side by side ------------------------------------------------------------


def corrected_twice(sitting: Sitting, side: Side, one: int, other: int) -> Sitting:
    """Correct each reading of a calf on two laptops, differently."""
    elsewhere = sitting.elsewhere()
    for laptop, mm in ((sitting, one), (elsewhere, other)):
        for old in Readings(laptop.session).current((side, *CALF)):
            length = Length(str(mm / 10), "cm", Millimetre(Decimal(mm)))
            laptop.add(
                draft_reading((side, *CALF), old.round, length, laptop.at, instead_of=[old.name])
            )
    return Sitting(join(sitting.session, elsewhere.session), "petrel-z9wa")


def test_of_rival_corrections_the_pair_furthest_apart_is_judged() -> None:
    joined = corrected_twice(sitting_with(362, 362), Side.RIGHT, 364, 402)
    found = judged(joined).calves.findings[0]
    assert (found.step, found.difference_mm, found.larger) == ("ask", Decimal(40), Side.RIGHT)
    say_of(joined, **EXPLAINED)
    assert steps(joined) == ["note"]


def test_growth_is_from_the_least_of_last_time_to_the_most_of_now() -> None:
    last = corrected_twice(sitting_with(362, 362), Side.LEFT, 352, 380).session
    now = corrected_twice(sitting_with(380, 380), Side.LEFT, 370, 383)
    grown = judged(now, last).calves.findings[1]
    assert (grown.difference_mm, grown.larger) == (Decimal(31), Side.LEFT)


# ---- a decision on a difference ----------------------------------------------------------------


def test_a_decision_on_a_difference_is_none_on_a_greater_one() -> None:
    sitting = sitting_with(400, 362)
    say_of(sitting, larger_leg_new="unknown")
    specialist = Decision(
        Side.LEFT, "S-02", "specialist", "written", Decimal(18), TODAY, TODAY,
        "scan clear", ("side_difference",),
    )  # fmt: skip
    made = about(specialist, judged(sitting).result)
    sitting.add(draft_decision(sitting.session, made, sitting.at))
    assert offered(sitting) == (True, False)
    read(sitting, Side.LEFT, 480, 2, first=3)
    assert offered(sitting) == (False, False)
    say_of(sitting, larger_leg_new="unknown")
    assert offered(sitting) == (False, False)
    again = about(specialist, judged(sitting).result)
    sitting.add(draft_decision(sitting.session, again, sitting.at))
    assert offered(sitting) == (True, False)
    say_of(sitting, larger_leg_new="yes")
    assert offered(sitting) == (False, False), "not known, and now said to be new"
