"""The referral note: what was found, asked and measured is in it, and it promises nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from screening_cases import TODAY, Sitting, about, ordinary

from fitcore.clean_text import is_unsafe
from fitcore.disk.profile_files import load_profiles
from fitcore.fit import fit_session
from fitcore.papers.referral import referral_lines
from fitcore.points import Kind, Point, Side
from fitcore.record.edits import (
    draft_not_taken,
    draft_reading,
    draft_remark,
    draft_withdrawal,
    parse_typed,
)
from fitcore.record.entries import Draft
from fitcore.record.session import Seal, join
from fitcore.safety.assessments import Assessment, draft_assessment
from fitcore.safety.clearance import cautions
from fitcore.safety.decisions import Decision, draft_decision

if TYPE_CHECKING:
    from datetime import date

    from fitcore.record.entries import Value
    from fitcore.record.session import Session

PROFILES = load_profiles()
MADE = datetime(2026, 3, 4, 11, 40, tzinfo=timezone(timedelta(hours=1)))
QUESTIONS = PROFILES.screening.questions
YES_OR_NO = [
    name
    for question in QUESTIONS.questions
    if question.kind == "yes_no_unknown"
    for name in question.ids
]
PRESSURES = [pressure.id for pressure in QUESTIONS.pressures]
BLANK = "Told: ______________________________ at ______________"


def lines_of(
    sitting: Sitting, *, width: int = 78, on: date = TODAY, earlier: Session | None = None
) -> list[str]:
    before = [earlier] if earlier is not None else []
    fit = fit_session(sitting.session, PROFILES.charts, PROFILES.rules, before, on=on)
    lines = referral_lines(fit, width=width, made_at=MADE)
    assert max(map(len, lines)) <= width
    assert [c for line in lines for c in line if is_unsafe(c)] == []
    return lines


def note(sitting: Sitting, *, on: date = TODAY, earlier: Session | None = None) -> str:
    """Return the note as one line, whatever its line breaks."""
    return " ".join(" ".join(lines_of(sitting, on=on, earlier=earlier)).split())


def section(sitting: Sitting, heading: str) -> str:
    lines = lines_of(sitting)
    start = lines.index(heading) + 1
    end = next((i for i in range(start, len(lines)) if not lines[i]), len(lines))
    return " ".join(" ".join(lines[start:end]).split())


def screened_sitting(**changed: Value) -> Sitting:
    sitting = Sitting()
    sitting.answer_all(**(ordinary() | changed))  # type: ignore[operator]
    return sitting


def measured(
    sitting: Sitting, typed: str, number: int = 1, side: Side = Side.LEFT, point: Point = Point.C
) -> str:
    """Record a girth and return its entry's name."""
    draft = draft_reading(
        (side, point, Kind.GIRTH), number, parse_typed(Kind.GIRTH, typed, "cm"), sitting.at
    )
    sitting.add(draft)
    return f"{sitting.laptop}:{sitting.number}"


# --- what stands on top --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"emergency": "yes"}, "NOW: call the emergency number."),
        ({"leg_swelling": "yes"}, "TODAY: somebody must act today."),
        ({"no_feeling": "yes", "numb_left": "yes"}, "BEFORE FITTING: somebody must be asked."),
        (
            {"infection_or_wound": "yes", "foot_wound_left": "yes", "foot_wound_right": "no"}
            | dict.fromkeys(("infection_spreading_left", "infection_spreading_right"), "no")
            | {"very_unwell": "no"},
            "BY THE NEXT WORKING DAY: somebody must act.",
        ),
    ],
)
def test_by_when_somebody_must_act_stands_first(answers: dict[str, Value], words: str) -> None:
    lines = lines_of(screened_sitting(**answers))
    assert lines[0] == "REFERRAL NOTE"
    assert set(lines[1]) == {"="}
    assert lines[2].startswith(words)


def test_without_a_stop_no_referral_follows_and_nothing_is_promised() -> None:
    told = note(screened_sitting())
    assert "No stop was found. No referral follows from screening." in told
    assert "That alone rules nothing out." in told
    assert "LEFT: no stop found. RIGHT: no stop found." in told
    assert "No rule fired." in told


def test_something_to_know_is_no_stop() -> None:
    told = note(
        screened_sitting(
            lymph="yes",
            lymphoedema_left="no",
            lymphoedema_right="no",
            lipoedema="no",
            prescriber_knows="yes",
        )
    )
    assert "No stop was found." in told
    assert "1. LEFT, RIGHT: to know. Lymphoedema or lipoedema:" in told


def test_nobody_asked_is_said_on_top() -> None:
    told = note(Sitting())
    assert "NOT SCREENED. Nothing here says that a leg may be fitted." in told
    assert "14 of 14 lines of the first page not answered." in told
    assert "LEFT: not screened. Screening not done" in told
    assert "No stop" not in told


def test_a_stop_before_all_was_asked_says_how_much_was_not() -> None:
    sitting = Sitting()
    sitting.answer("screen.emergency", "yes")
    told = note(sitting)
    assert "NOW: call the emergency number." in told
    assert "13 of 14 lines of the first page not answered." in told


def test_the_head_names_client_measurer_hour_with_its_offset_and_laptop() -> None:
    sitting = screened_sitting()
    sitting.at = datetime(2026, 3, 4, 9, 12, tzinfo=timezone(timedelta(hours=1)))
    sitting.answer("client", "SK-07")
    sitting.answer("measurer", "N-17")
    measured(sitting, "36.0")
    lines = lines_of(sitting)
    for line in (
        "Client: SK-07",
        "Measured by: N-17",
        "Date: 4 March 2026, 09:12 +01:00; laptop: tern-k7qd",
    ):
        assert line in lines


def test_two_codes_for_one_session_are_both_told() -> None:
    sitting = screened_sitting()
    other = sitting.elsewhere()
    sitting.answer("client", "SK-07")
    other.answer("client", "SK-08")
    both = Sitting(join(sitting.session, other.session))
    assert "Client: SK-08 / SK-07" in lines_of(both)


def test_a_leg_that_is_not_there_is_said() -> None:
    sitting = screened_sitting(leg_state_left="absent", leg_why_left="injury")
    told = note(sitting)
    assert "LEFT: not there, or not to be fitted. RIGHT: no stop found." in told
    assert "LEFT: Is this leg there, and can it be measured? Answer: not there." in told
    assert "RIGHT: Is this leg there" not in told


# --- what was found, and why ---------------------------------------------------------------------


def test_a_rule_stands_with_the_answers_that_made_it_and_its_source() -> None:
    told = note(screened_sitting(emergency="yes"))
    assert (
        "1. LEFT, RIGHT: stop: do not fit, no decision lifts this; NOW. Call the emergency number "
        "now. Do not measure, do not fit. - Now: chest pain, sudden breathlessness, or coughing "
        "blood? Answer: yes. Source (from memory): Possible clot in the lung: from memory."
    ) in told
    assert "Under 18" not in told, "fourteen times no is no news"
    assert told.count("coughing blood? Answer: yes.") == 1, "not told again among the others"


def test_an_open_question_nobody_answered_is_told_as_such() -> None:
    told = note(screened_sitting(leg_swelling="yes"))
    assert (
        "LEFT: Swelling new, or bigger than it was? Answer: not known. Nobody answered this."
    ) in told


def test_the_answer_a_hold_still_rests_on_is_told_after_it_was_changed() -> None:
    for last in ("no", None):
        sitting = screened_sitting(emergency="yes")
        if last is None:
            (head,) = sitting.session.answer("screen.emergency").heads
            sitting.add(draft_withdrawal([str(head.by)], "typed by mistake", sitting.at))
        sitting.answer("screen.emergency", "no")
        assert (
            "Do not measure, do not fit. - Now: chest pain, sudden breathlessness, or coughing "
            "blood? Answer: yes. Changed or struck out since, without an assessment. Source"
        ) in note(sitting)


def test_a_no_that_asks_for_somebody_is_told_and_a_harmless_yes_is_not() -> None:
    known = dict.fromkeys(("hot_foot_left", "hot_foot_right", "kidney_disease", "smoker"), "no")
    told = note(
        screened_sitting(
            diabetes_or_kidney="yes", diabetes="yes", touch_felt="no", foot_check="yes", **known
        )
    )
    assert "Is a light touch felt on the toes of both feet? Answer: no." in told
    assert "Were the feet checked" not in told


def test_a_number_that_made_a_rule_stands_below_it() -> None:
    sitting = screened_sitting(garment_high_mmhg=40)
    sitting.answer("purpose", "travel")
    asked = "Highest pressure printed on it, layers added, in mmHg? Answer: 40."
    for rule in ("states for travel: ask the prescriber.", "Take an ABPI, or ask the prescriber."):
        assert f"{rule} - {asked} Source" in note(sitting)


def test_an_answer_a_file_holds_and_nobody_can_use_is_shown_as_it_stands() -> None:
    told = note(screened_sitting(pregnant="perhaps"))
    assert "Answer: not known. What the file says cannot be used: perhaps." in told


def test_blood_pressures_stand_with_the_index_as_shown() -> None:
    sitting = screened_sitting()
    given = {"arm_left": 138, "arm_right": 134, "left_dp": 110, "right_pt": "would_not_compress"}
    for name, value in given.items():
        sitting.answer(f"pressure.{name}", value)
    told = note(sitting)
    for words in (
        "Left arm, systolic: 138 mmHg.",
        "(dorsalis pedis): 110 mmHg.",
        "(posterior tibial): would not compress.",
        "ABPI under 0.8: do not fit, refer. A specialist decides. - LEFT: ABPI 0.797. Source",
        "- LEFT: ABPI 0.797. - RIGHT: ABPI >1.3.",
    ):
        assert words in told
    assert section(screened_sitting(), "Blood pressures") == "None taken."


def test_a_pressure_that_cannot_be_right_is_never_shown_as_another() -> None:
    sitting = screened_sitting()
    sitting.answer("pressure.left_dp", 4_000)
    told = section(sitting, "Blood pressures")
    assert "4000 mmHg. This cannot be right: counts as not obtained." in told


def test_a_pressure_that_held_a_leg_is_told_after_it_was_changed() -> None:
    sitting = screened_sitting()
    for name, value in {"arm_left": 140, "arm_right": 140, "left_dp": 58}.items():
        sitting.answer(f"pressure.{name}", value)
    sitting.answer("pressure.left_dp", 158)
    told = section(sitting, "Blood pressures")
    assert "158 mmHg." in told
    assert "58 mmHg. Changed or struck out since, without an assessment." in told


def test_one_arm_and_the_day_are_told_and_why_an_index_does_not_count() -> None:
    sitting = screened_sitting()
    for name, value in {"arm_left": 130, "left_dp": 130, "one_arm_why": "plaster"}.items():
        sitting.answer(f"pressure.{name}", value)
    sitting.answer("pressure.taken_on", "2025-06-01")
    told = section(sitting, "Blood pressures")
    assert "One arm only, because: plaster." in told
    assert "Blood pressures taken on: 2025-06-01." in told
    assert "LEFT: ABPI 1.00. The ABPI is older than 90 days." in told


# --- the tape ------------------------------------------------------------------------------------


def test_a_value_used_stands_with_how_it_was_read() -> None:
    sitting = screened_sitting()
    sitting.answer("posture", "lying")
    measured(sitting, "40.2")
    sitting.at += timedelta(minutes=3)
    measured(sitting, "40.4", 2)
    measured(sitting, "37.0", side=Side.RIGHT)
    place = (Side.RIGHT, Point.B, Kind.GIRTH)
    sitting.add(draft_not_taken(place, 1, "wound", sitting.at))
    told = section(sitting, "Measured")
    assert (
        "LEFT - round the calf (C): 40.3 cm, of 2 readings 2 mm apart; lying; 09:00 to 09:03"
    ) in told
    assert "RIGHT - round the calf (C): 37.0 cm, read once; lying; 09:03" in told
    assert "- round the ankle (B) not taken (wound)" in told


def test_a_reading_of_another_posture_hand_or_day_says_so() -> None:
    sitting = screened_sitting()
    measured(sitting, "40.2")
    sitting.at += timedelta(days=1)
    place = (Side.LEFT, Point.B, Kind.GIRTH)
    typed = parse_typed(Kind.GIRTH, "22.4", "cm")
    sitting.add(draft_reading(place, 1, typed, sitting.at, posture="sitting", measurer="N-22"))
    told = section(sitting, "Measured")
    assert "read once; posture not recorded; 09:00" in told
    assert "22.4 cm, read once; sitting; 5 March 2026, 09:00 +00:00; by N-22" in told


def test_a_reading_corrected_later_keeps_the_hour_the_tape_was_read() -> None:
    sitting = screened_sitting()
    name = measured(sitting, "40.2")
    sitting.at += timedelta(hours=2)
    typed = parse_typed(Kind.GIRTH, "42.0", "cm")
    place = (Side.LEFT, Point.C, Kind.GIRTH)
    sitting.add(draft_reading(place, 1, typed, sitting.at, instead_of=[name], why="misread"))
    assert "42.0 cm, read once; posture not recorded; 09:00" in section(sitting, "Measured")


def test_values_side_by_side_are_both_shown_and_none_is_used() -> None:
    sitting = screened_sitting()
    name = measured(sitting, "22.4", point=Point.B)
    other = sitting.elsewhere()
    place = (Side.LEFT, Point.B, Kind.GIRTH)
    for one, text in ((sitting, "22.9"), (other, "23.9")):
        typed = parse_typed(Kind.GIRTH, text, "cm")
        one.add(draft_reading(place, 1, typed, one.at, instead_of=[name], why="misread"))
    told = section(Sitting(join(sitting.session, other.session)), "Measured")
    assert "23.9 cm / 22.9 cm; different values side by side, none is used" in told


def test_the_calves_are_told_and_not_doubted_twice() -> None:
    sitting = screened_sitting()
    for side, typed in ((Side.LEFT, "40.2"), (Side.RIGHT, "37.0")):
        measured(sitting, typed, 1, side)
        measured(sitting, typed, 2, side)
    found = "LEFT calf larger by 3.2 cm at the widest of the calf"
    assert section(sitting, "Calves").startswith(f"- {found}")
    assert "Is it new, or has it grown?" in section(sitting, "Calves")
    assert found not in section(sitting, "Doubts about what was measured")
    sitting.answer("screen.larger_leg_new", "yes")
    assert "Is the larger leg newly larger, or has it grown? Answer: yes." in note(sitting)
    assert section(screened_sitting(), "Calves") == "Not compared."


def test_a_calf_grown_since_last_time_is_a_stop_in_the_note() -> None:
    before, now = screened_sitting(), screened_sitting()
    for sitting, typed in ((before, "36.0"), (now, "39.5")):
        for side in (Side.LEFT, Side.RIGHT):
            measured(sitting, typed, 1, side)
            measured(sitting, typed, 2, side)
    assert "No stop was found." in note(now)
    told = note(now, earlier=before.session)
    assert "TODAY: somebody must act today." in told
    assert "LEFT calf 3.5 cm larger than last time." in told


def test_doubts_are_told_from_doubt_upwards() -> None:
    sitting = screened_sitting()
    measured(sitting, "8.7", point=Point.B)
    sitting.session = replace(sitting.session, seal=Seal.BROKEN)
    told = section(sitting, "Doubts about what was measured")
    assert "must be settled: LEFT: round the ankle (B): 8.7 cm" in told
    assert "doubt: Changed outside the program" in told


def test_nothing_measured_is_said() -> None:
    assert section(screened_sitting(), "Measured") == "Nothing was measured."
    sitting = screened_sitting()
    sitting.answer("sides", ["left"])
    assert section(sitting, "Measured") == "LEFT - nothing was measured"


# --- what people decided, said and did -----------------------------------------------------------


def test_a_refusal_is_told_as_such_on_whatever_day() -> None:
    sitting = screened_sitting(arteries="yes", bypass_left="yes")
    refusal = Decision(
        Side.LEFT, "S-02", "specialist", "written", Decimal(0), TODAY, TODAY, "too little flow",
        ("bypass",), ("screen.bypass_left=yes",),
    )  # fmt: skip
    sitting.add(draft_decision(sitting.session, refusal, sitting.at))
    for on in (TODAY, TODAY + timedelta(days=400)):
        told = note(sitting, on=on)
        assert "LEFT: S-02 (specialist): no compression. Decided on 2026-03-04, in writing." in told
        assert "Why: too little flow" in told
        assert "does not hold on" not in told


def test_a_decision_is_told_and_whether_it_holds() -> None:
    sitting = screened_sitting(pregnant="yes")
    covers = tuple(rule.id for rule in sitting.screened().rules)
    given = Decision(
        Side.LEFT, "Dr-3", "specialist", "read_back", 18, TODAY,  # type: ignore[arg-type]
        TODAY + timedelta(days=30), "swelling by evening", covers,
    )  # fmt: skip
    given = about(given, sitting.screened())
    assert section(sitting, "Decisions and assessments") == "None recorded."
    assert "A decision about this is recorded below." not in note(sitting)
    sitting.add(draft_decision(sitting.session, given, sitting.at))
    told = note(sitting)
    assert "LEFT: Dr-3 (specialist), up to 18 mmHg until 2026-04-03." in told
    assert "by telephone and read back. Why: swelling by evening" in told
    assert "A decision about this is recorded below." in told
    assert "does not hold" not in told
    later = TODAY + timedelta(days=31)
    assert "It does not hold on 2026-04-04." in note(sitting, on=later)


def test_a_decision_nobody_can_read_whole_allows_nothing() -> None:
    sitting = screened_sitting(pregnant="yes")
    fields = {"what": "prescriber.left", "is": "yes", "by_whom": "Dr-3"}
    sitting.add(Draft("answers", sitting.at, fields))
    assert section(sitting, "Decisions and assessments") == (
        "- LEFT: a decision that cannot be read whole: it allows nothing. Dr-3"
    )


def test_an_assessment_is_told_and_whether_it_still_stands() -> None:
    sitting = screened_sitting(emergency="yes")
    seen = Assessment("Seen, pulled muscle.", TODAY, "Dr-7", {"screen.emergency": "no"})
    sitting.add(*draft_assessment(sitting.session, seen, sitting.at))
    told = section(sitting, "Decisions and assessments")
    assert told == (
        "- Assessed on 2026-03-04 by Dr-7: Seen, pulled muscle. From then on: Now: chest pain, "
        "sudden breathlessness, or coughing blood? Answer: no."
    )
    sitting.answer("screen.emergency", "yes")
    again = section(sitting, "Decisions and assessments")
    assert again == f"{told} It was answered anew since."


def test_who_was_told_is_kept_when_somebody_else_is_told_too() -> None:
    sitting = screened_sitting()
    assert section(sitting, "Who was told") == BLANK
    sitting.answer("told", "doctor, by telephone")
    sitting.at += timedelta(minutes=5)
    sitting.answer("told", "emergency number")
    assert section(sitting, "Who was told") == (
        "- doctor, by telephone; recorded 4 March 2026, 09:00 +00:00 on tern-k7qd. "
        "- emergency number; recorded 4 March 2026, 09:05 +00:00 on tern-k7qd."
    )
    for entry in list(sitting.session.heads.live):
        if entry.text("what") == "told":
            sitting.add(draft_withdrawal([str(entry.by)], "wrong client", sitting.at))
    assert section(sitting, "Who was told") == BLANK


def test_remarks_keep_their_lines() -> None:
    sitting = screened_sitting()
    sitting.add(draft_remark("first line\nsecond line", sitting.at))
    lines = lines_of(sitting)
    at = lines.index("Remarks")
    assert lines[at + 1 : at + 3] == ["  - first line", "    second line"]


def test_the_foot_names_rules_and_cautions() -> None:
    sitting = screened_sitting()
    sitting.answer("screening_rules", "older 1 older.toml blake2b:00")
    told = note(sitting)
    assert "This note tells what was asked and measured. It is no diagnosis." in told
    assert cautions() in told
    assert f"Note made: 4 March 2026, 11:40 +01:00, of session {sitting.session.id}." in told
    assert f"Rules used: {PROFILES.screening.used.stamp}." in told
    assert "Rules in use when it was answered: older 1 older.toml blake2b:00." in told


# --- laws ----------------------------------------------------------------------------------------


def test_text_from_outside_cannot_steer_a_terminal() -> None:
    """`lines_of` looks through every line."""
    sitting = screened_sitting()
    hostile = "a\x1b[31mred\u202e\x9b\x07" + "x" * 300
    for what in ("client", "measurer", "posture", "told", "screen.prescriber", "prescriber.left"):
        sitting.add(Draft("answers", sitting.at, {"what": what, "is": hostile}))
    sitting.add(Draft("remarks", sitting.at, {"text": hostile}))
    assert "a<U+001B>[31mred<U+202E><U+009B><U+0007>" in note(sitting)


_changes = st.lists(
    st.one_of(
        st.tuples(
            st.sampled_from(YES_OR_NO).map("screen.{}".format),
            st.sampled_from(["yes", "no", "unknown"]),
        ),
        st.tuples(
            st.sampled_from(PRESSURES).map("pressure.{}".format),
            st.sampled_from([58, 100, 140, 190, "could_not_obtain", "would_not_compress"]),
        ),
        st.tuples(st.just("purpose"), st.sampled_from(["work", "travel", "prescribed"])),
        st.tuples(
            st.sampled_from(["screen.leg_state_left", "screen.leg_state_right"]),
            st.sampled_from(["present", "absent", "cannot_be_measured"]),
        ),
    ),
    max_size=12,
)


@settings(max_examples=60, deadline=None)
@given(_changes, st.sampled_from([ordinary(), {}]), st.integers(24, 100))
def test_whatever_is_answered_every_rule_that_fired_is_in_the_note(
    changes: list[tuple[str, Value]], first_page: dict[str, Value], width: int
) -> None:
    sitting = Sitting()
    sitting.answer_all(**first_page)
    for what, value in changes:
        sitting.answer(what, value)
    fit = fit_session(sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY)
    lines = referral_lines(fit, width=width, made_at=MADE)
    assert max(map(len, lines)) <= width
    told = "".join("".join(lines).split())
    asked = {rule.id for rule in PROFILES.screening.rules.rules if rule.questions}
    for rule in fit.clearance.result.rules:
        assert "".join(rule.text.split()) in told, rule.id
        text, source = ("".join(words.split()) for words in (rule.text, rule.source))
        between = told.partition(text)[2].partition(source)[0]
        if rule.id in asked:
            assert "Answer:" in between, f"{rule.id}: no answer stands below it"
    assert "noclot" not in told.casefold()


def test_garments_looked_at_stand_in_one_line() -> None:
    sitting = screened_sitting()
    sitting.answer("forms", ["below_knee", "mid_calf"])
    other = section(sitting, "Other answers")
    assert other.count("Which garment?") == 1
    assert "Which garment? Answer: below knee, mid-calf sock." in other
