"""The referral note: everything that was found is in it, and it promises nothing."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from screening_cases import TODAY, Sitting, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.entries import Draft
from fitcore.fit import fit_session
from fitcore.referral import referral_lines

PROFILES = load_profiles()
MADE = datetime(2026, 3, 4, 11, 40, tzinfo=UTC)
QUESTIONS = PROFILES.screening.questions.questions
ASKED = [
    name for question in QUESTIONS if question.kind == "yes_no_unknown" for name in question.ids
]


def note(sitting: Sitting) -> str:
    fit = fit_session(sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY)
    lines = referral_lines(fit, made_at=MADE)
    assert max(map(len, lines)) <= 78
    return " ".join(" ".join(lines).split())


def test_nobody_asked() -> None:
    told = note(Sitting())
    assert "Screening was not completed." in told
    assert "LEFT: not screened." in told


def test_a_clean_client_has_a_note_without_a_referral() -> None:
    sitting = Sitting()
    sitting.answer_all(**ordinary())
    told = note(sitting)
    assert "Screening found no stop; no referral follows from it." in told
    assert "What was found" not in told
    assert "Told: ____" in told


def test_a_stop_tells_answers_pressures_and_who_was_told() -> None:
    sitting = Sitting()
    sitting.answer_all(**(ordinary() | {"emergency": "yes"}))
    for name, value in {"arm_left": 140, "left_dp": 190, "right_pt": "could_not_obtain"}.items():
        sitting.answer(f"pressure.{name}", value)
    sitting.answer("told", "doctor, by telephone")
    told = note(sitting)
    assert "URGENT: NOW. Call the emergency number." in told
    assert "Now: chest pain, sudden breathlessness, or coughing blood? yes" in told
    assert "Left arm, systolic: 140 mmHg" in told
    assert "posterior tibial): could not be obtained" in told
    assert "LEFT: ABPI 1.36. One arm only, and no reason" in told
    assert "- doctor, by telephone, 4 March 2026" in told
    assert "Under 18" not in told, "fourteen times no is no news"


def test_text_from_outside_cannot_steer_a_terminal() -> None:
    sitting = Sitting()
    sitting.add(Draft("remarks", sitting.at, {"text": "a\x1b[31mred"}))
    assert "\x1b" not in note(sitting)


@settings(max_examples=40, deadline=None)
@given(st.dictionaries(st.sampled_from(ASKED), st.sampled_from(["yes", "no", "unknown"])))
def test_every_rule_that_fired_is_in_the_note(answers: dict[str, str]) -> None:
    sitting = Sitting()
    sitting.answer_all(**(ordinary() | answers))
    fit = fit_session(sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY)
    told = note(sitting)
    for rule in fit.clearance.result.rules:
        assert " ".join(rule.text.split()) in told, rule.id
    assert "no clot" not in told.casefold()


@pytest.mark.parametrize("width", [40, 78, 120])
def test_a_note_fits_its_paper(width: int) -> None:
    sitting = Sitting()
    sitting.answer_all(**(ordinary() | {"under_18": "yes"}))
    fit = fit_session(sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY)
    assert max(map(len, referral_lines(fit, made_at=MADE, width=width))) <= width
