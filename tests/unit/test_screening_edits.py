"""Answers of screening as somebody typed them, and as drafts with the rules beside them."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from screening_cases import Sitting, book

from fitcore.problems import ReadingError
from fitcore.record.entries import Draft
from fitcore.record.fields import field_words, is_working_state
from fitcore.record.session import join
from fitcore.safety.abpi import Missing
from fitcore.safety.screening_edits import draft_screening, parse_screening, screening_words
from fitcore.safety.session_answers import answers_from_session

if TYPE_CHECKING:
    from fitcore.record.entries import Value

NAMES = (
    *(f"screen.{name}" for q in book().questions.questions for name in q.ids),
    *(f"pressure.{pressure.id}" for pressure in book().questions.pressures),
    "pressure.one_arm_why",
    "pressure.taken_on",
)
SESSIONS_OWN = {"screen.purpose": "purpose", "screen.garment_form": "forms"}


def store(sitting: Sitting, answers: dict[str, Value], rules: str = "strictest") -> list[str]:
    """Store answers as screen and commands do, and return what was written, in order."""
    drafts = draft_screening(sitting.session, book(rules), answers, sitting.at)
    for draft in drafts:
        sitting.add(draft)
    return [str(draft.fields["what"]) for draft in drafts]


# ---- what is typed ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("what", "typed", "value"),
    [
        ("screen.under_18", " Yes", "yes"),
        ("screen.under_18", "unknown", "unknown"),
        ("screen.cold_foot_right", "no", "no"),
        ("screen.leg_state_left", "absent", "absent"),
        ("screen.weeks_pregnant", "12,5", Decimal("12.5")),
        ("screen.weeks_pregnant", "UNKNOWN", "unknown"),
        ("screen.prescriber", "Dr Whimbrel, off [duty]", "Dr Whimbrel, off [duty]"),
        ("pressure.arm_left", "134", Decimal(134)),
        ("pressure.left_dp", "Could_not_obtain", "could_not_obtain"),
        ("pressure.right_toe", "would_not_compress", "would_not_compress"),
        ("pressure.right_pt", "unknown", "unknown"),
        ("pressure.one_arm_why", " fistula ", "fistula"),
        ("pressure.taken_on", "2026-03-04", "2026-03-04"),
        ("pressure.taken_on", "20260304", "2026-03-04"),
        ("pressure.taken_on", "Unknown", "unknown"),
    ],
)
def test_an_answer_is_stored_as_what_it_is(what: str, typed: str, value: Value) -> None:
    found = parse_screening(book(), what, typed)
    assert found == value
    assert isinstance(found, Decimal) == isinstance(value, Decimal)


@pytest.mark.parametrize(
    ("what", "typed", "code"),
    [
        ("screen.under_18", "none", "bad_answer"),
        ("screen.under_18", "", "bad_answer"),
        ("screen.leg_state_left", "yes", "bad_answer"),
        ("screen.weeks_pregnant", "45", "bad_answer"),
        ("screen.prescriber", " ", "bad_answer"),
        ("pressure.arm_left", "", "bad_pressure"),
        ("pressure.arm_left", "39", "bad_pressure"),
        ("pressure.left_dp", "none", "bad_pressure"),
        ("pressure.one_arm_why", "\u200b ", "bad_answer"),
        ("pressure.taken_on", "4.3.2026", "bad_answer"),
        ("pressure.taken_on", "2026-02-29", "bad_answer"),
        ("screen.cold_foot", "no", "unknown_answer"),
        ("screen.heart_left", "no", "unknown_answer"),
        ("screen.arm_left", "134", "unknown_answer"),
        ("pressure.under_18", "no", "unknown_answer"),
        ("arm_left", "134", "unknown_answer"),
        ("under_18", "no", "unknown_answer"),
    ],
)
def test_what_is_no_answer_or_no_question_is_refused(what: str, typed: str, code: str) -> None:
    with pytest.raises(ReadingError) as caught:
        parse_screening(book(), what, typed)
    assert caught.value.problem.code == code
    if code == "unknown_answer":
        assert f"'{what}'" in caught.value.problem.text
        assert "screen --questions prints all" in caught.value.problem.mend


@pytest.mark.parametrize(("what", "field"), SESSIONS_OWN.items())
def test_what_a_field_of_the_session_answers_is_not_answered_twice(what: str, field: str) -> None:
    """Screening reads it from the field: an answer beside it would never be looked at."""
    with pytest.raises(ReadingError) as caught:
        parse_screening(book(), what, "work" if field == "purpose" else "tights")
    assert caught.value.problem.code == "answered_elsewhere"
    assert field in caught.value.problem.mend


@settings(max_examples=60)
@given(
    st.sampled_from([name for name in NAMES if name not in SESSIONS_OWN]),
    st.one_of(st.integers(1, 400).map(str), st.sampled_from(["yes", "no", "unknown"]), st.text()),
)
def test_whatever_is_taken_is_read_back_from_a_session_as_it_was_given(
    what: str, typed: str
) -> None:
    try:
        value = parse_screening(book(), what, typed)
    except ReadingError:
        return
    sitting = Sitting()
    assert store(sitting, {what: value}) == [what, "screening_rules"]
    assert store(sitting, {what: value}) == []
    answered, taken = answers_from_session(sitting.session, book().questions)
    name = what.partition(".")[2]
    if what.startswith("screen."):
        assert answered.of(name) == (value,)
    elif name == "one_arm_why":
        assert taken.one_arm_why == value
    elif name == "taken_on":
        assert taken.taken_on is not None
        assert value in ("unknown", taken.taken_on.isoformat())
    else:
        assert taken.of(name) == ((None,) if value == "unknown" else (value,))


# ---- what is written --------------------------------------------------------------------------


def test_the_rules_stand_beside_the_first_answer_only() -> None:
    sitting = Sitting()
    first: dict[str, Value] = {"screen.heart": "no", "pressure.arm_left": Decimal(134)}
    assert store(sitting, first) == ["screen.heart", "pressure.arm_left", "screening_rules"]
    assert sitting.session.value("screening_rules") == book().used.stamp
    assert store(sitting, {**first, "screen.under_18": "no"}) == ["screen.under_18"]
    assert store(sitting, first) == []


def test_other_rules_are_named_with_the_next_answer_and_not_before() -> None:
    sitting = Sitting()
    store(sitting, {"screen.heart": "no"})
    assert store(sitting, {"screen.heart": "no"}, "nice-cks") == []
    assert store(sitting, {"screen.heart": "yes"}, "nice-cks") == [
        "screen.heart",
        "screening_rules",
    ]
    assert sitting.session.value("screening_rules") == book("nice-cks").used.stamp
    kept = [e.fields["is"] for e in sitting.session.entries if e.text("what") == "screen.heart"]
    assert sorted(map(str, kept)) == ["no", "yes"]


def test_two_laptops_with_other_rules_pose_no_question_and_are_settled_by_the_next_answer() -> None:
    here, there = Sitting(), Sitting(laptop="dunlin-m4ex")
    store(here, {"screen.heart": "no"})
    store(there, {"screen.heart": "no"}, "nice-cks")
    both = join(here.session, there.session)
    assert both.answer("screening_rules").disputed
    assert is_working_state("screening_rules")
    assert field_words("screening_rules") == "Rules of screening"
    (answer, stamp) = draft_screening(both, book(), {"screen.under_18": "no"}, here.at)
    assert (answer.fields["what"], stamp.fields["is"]) == ("screen.under_18", book().used.stamp)
    assert len(stamp.fields["instead_of"] or ()) == 2  # type: ignore[arg-type]


def test_one_answer_told_by_two_laptops_differently_is_written_though_one_says_so() -> None:
    here, there = Sitting(), Sitting(laptop="dunlin-m4ex")
    store(here, {"screen.heart": "no"})
    store(there, {"screen.heart": "yes"})
    both = join(here.session, there.session)
    (draft,) = draft_screening(both, book(), {"screen.heart": "yes"}, here.at)
    assert isinstance(draft, Draft)
    assert len(draft.fields["instead_of"] or ()) == 2  # type: ignore[arg-type]


# ---- what is said -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("what", "value", "words"),
    [
        ("screen.under_18", "no", "Under 18 years old? Answer: no."),
        ("screen.weeks_pregnant", Decimal("31.0"), "How many weeks pregnant? Answer: 31."),
        (
            "screen.leg_state_right",
            "cannot_be_measured",
            "RIGHT: Is this leg there, and can it be measured? Answer: there, cannot be measured.",
        ),
        (
            "screen.leg_state_left",
            "unknown",
            "LEFT: Is this leg there, and can it be measured? Answer: not known.",
        ),
        ("screen.prescriber", "on", "Who prescribed it? A name or code. Answer: on."),
        ("pressure.arm_left", Decimal("134.0"), "Left arm, systolic: 134 mmHg."),
        ("pressure.arm_left", 134, "Left arm, systolic: 134 mmHg."),
        ("pressure.arm_left", "unknown", "Left arm, systolic: not known."),
        ("pressure.one_arm_why", "on", "One arm only, because: on."),
        ("pressure.taken_on", "2026-03-04", "Blood pressures taken on: 2026-03-04."),
        ("pressure.taken_on", "unknown", "Blood pressures taken on: not known."),
        ("screen.of_a_newer_program", "no", "screen.of_a_newer_program: no."),
    ],
)
def test_an_answer_is_said_with_what_was_asked(what: str, value: Value, words: str) -> None:
    assert screening_words(book(), what, value) == words


@pytest.mark.parametrize("missing", Missing)
def test_a_missing_pressure_is_said_in_words(missing: Missing) -> None:
    assert "_" not in screening_words(book(), "pressure.left_dp", missing.value)


def test_every_choice_of_every_question_is_said_in_words() -> None:
    for question in book().questions.questions:
        for name in question.ids:
            if f"screen.{name}" in SESSIONS_OWN:
                continue
            for choice in question.choices or ("yes", "no", "unknown"):
                said = screening_words(book(), f"screen.{name}", choice)
                assert question.text in said
                assert "_" not in said
