"""What the result says, in which order and in which words: notes, headings, distances, the morning.

All charts and people are invented.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from screening_cases import TODAY, Sitting, ordinary

from fitcore.certainty.certainty import Change, Spread
from fitcore.certainty.certainty_words import summarise
from fitcore.charts.outcome import Outcome, Verdict
from fitcore.charts.sizing import Margin, SizeAnswer, dimension_words
from fitcore.disk.profile_files import load_profiles
from fitcore.fit import SessionFit, fit_session
from fitcore.flags import Level
from fitcore.moment.morning import morning_words
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.record.edits import draft_reading, draft_remark, parse_typed
from fitcore.safety.shape import shape_field
from fitcore.shoes import FOOT_UNCERTAINTY_MM
from tui.clearance_view import advice, legs_content, rule_content
from tui.result_words import morning_line, note_lines
from tui.screens.result import notes_content, offer_content, reasons_content

if TYPE_CHECKING:
    from fitcore.leg_fit import ChartFit

PROFILES = load_profiles()
BY_LINE = {chart.line: chart for chart in PROFILES.charts}
LOW_TIDE, SPINDRIFT, HAAR = BY_LINE["Low Tide"], BY_LINE["Spindrift"], BY_LINE["Haar"]
LEFT, RIGHT = Side.LEFT, Side.RIGHT
USUAL = {Point.B: "22.4", Point.C: "36.2"}


def sitting(
    left: dict[Point, str] | None = None,
    right: dict[Point, str] | None = None,
    *,
    hours_up: float = 1.0,
    **answers: Any,
) -> Sitting:
    told = Sitting()
    given: dict[str, Any] = {"purpose": "standing", "forms": ["below_knee"]}
    for what, value in (given | answers).items():
        told.answer(what, value)
    told.answer("sides", ["left", "right"])
    told.answer("rising_at", told.at - timedelta(hours=hours_up))
    told.answer_all(**ordinary())
    for side, girths in ((LEFT, left or USUAL), (RIGHT, right or USUAL)):
        for point, cm in girths.items():
            typed = parse_typed(Kind.GIRTH, cm, "cm")
            told.add(draft_reading((side, point, Kind.GIRTH), 1, typed, told.at))
    return told


def fit(told: Sitting, *charts: Any) -> SessionFit:
    return fit_session(told.session, charts or [LOW_TIDE], PROFILES.rules, on=TODAY)


def one(told: Sitting, *charts: Any) -> ChartFit:
    return fit(told, *charts).legs[0].charts[0]


# --- notes: the worst first, and for the leg shown -----------------------------------------------


def test_one_leg_newly_larger_is_the_first_note_for_either_leg() -> None:
    told = sitting(right={Point.B: "24.3", Point.C: "36.2"}, hours_up=9)
    told.add(draft_remark("came late", told.at))
    found = fit(told)
    for side in (None, *LEGS):
        first, *rest = note_lines(found, side)
        assert first.startswith("! RIGHT: round the ankle (B): 24.3 cm")
        assert "newly swollen? Ask the prescriber or a doctor today" in first
        assert rest[0] == "! remark: came late"
    assert found.flags[0].code == "other_leg"
    assert notes_content(found).plain.split("\n")[1].startswith("! RIGHT: round the ankle (B)")


def test_what_cannot_be_right_stands_before_all_and_its_own_leg_before_the_other() -> None:
    told = sitting(left={Point.B: "8.7", Point.C: "36.2"}, hours_up=9)
    found = fit(told)
    assert note_lines(found)[0].startswith("!! ")
    late = {side: [n for n in note_lines(found, side) if "Late in the day" in n] for side in LEGS}
    assert [note[:7] for note in late[LEFT]] == ["! LEFT:", "! RIGHT"]
    assert [note[:7] for note in late[RIGHT]] == ["! RIGHT", "! LEFT:"]
    levels = [flag.level for flag in found.flags]
    assert levels == sorted(levels, key=(Level.BLOCK, Level.WARN, Level.NOTE).index)


# --- may it be fitted: one answer, per leg, on both screens --------------------------------------


def test_a_leg_that_is_cleared_does_not_stand_under_the_other_ones_heading() -> None:
    told = sitting()
    told.answer(shape_field(RIGHT), ["deep_folds", "deformed_toes"])
    told.answer(shape_field(LEFT), ["nothing"])
    heading = offer_content(fit(told)).plain.split("\n")
    assert heading[0].strip() == "RIGHT: Size for information. Not cleared to fit."
    assert "a specialist first" in heading[1]
    assert heading[2].strip() == "LEFT: May be fitted, where the garment's pressure allows it."


def test_the_page_on_fitting_says_of_shape_what_the_result_says() -> None:
    told = sitting()
    for side in LEGS:
        told.answer(shape_field(side), ["deep_folds", "deformed_toes"])
    found = fit(told)
    why = found.legs[0].why
    cleared = found.clearance
    assert "a specialist first" in why
    assert why in offer_content(found).plain
    for text in (advice(cleared), rule_content(cleared, None).plain):
        assert why in text
        assert "No rule speaks against fitting" not in text
    assert "may be fitted" not in legs_content(cleared).plain
    assert legs_content(cleared).plain.count("shape, a specialist first") == 2


def test_a_shape_nobody_asked_about_is_said_not_to_be_asked() -> None:
    told = sitting()
    assert "Shape not asked: F8." in offer_content(fit(told)).plain
    told.answer(shape_field(LEFT), ["nothing"])
    assert "Shape not asked: F8." in offer_content(fit(told)).plain
    told.answer(shape_field(RIGHT), ["nothing"])
    assert "Shape not asked" not in offer_content(fit(told)).plain
    assert "No rule speaks against fitting." in rule_content(fit(told).clearance, None).plain


# --- both legs -----------------------------------------------------------------------------------


def test_two_sizes_of_one_pair_stand_in_the_second_line_of_the_reasons() -> None:
    girths = ({Point.B: "23.6", Point.C: "38.4"}, {Point.B: "27.0", Point.C: "39.4"})
    found = fit(sitting(*girths), LOW_TIDE)
    leg = found.legs[0]
    lines = reasons_content(leg, leg.charts[0], found.pairs[0]).plain.split("\n")
    assert lines[1].startswith("! Sold in pairs: LEFT 3 and RIGHT ")
    assert lines[1].endswith("are two pairs, or another make.")
    assert sum("Sold in pairs" in line for line in lines) == 1


# --- by the morning ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hours", "early"), [(0.95, True), (1.0, True), (1.04, True), (1.2, False)]
)
def test_a_leg_read_early_is_not_asked_to_be_read_earlier(hours: float, *, early: bool) -> None:
    """An ankle just above the edge between two sizes: up an hour, it may have been the smaller."""
    told = sitting(left={Point.B: "23.4", Point.C: "36.2"}, hours_up=hours)
    row = LOW_TIDE.sizes[0]
    sizes = tuple(
        row.model_copy(
            update={"size": name, "ranges": {"ankle": edges, "calf": (Decimal(300), Decimal(450))}}
        )
        for name, edges in (
            ("S", (Decimal(180), Decimal(230))),
            ("M", (Decimal(230), Decimal(280))),
        )
    )
    found = one(told, LOW_TIDE.model_copy(update={"sizes": sizes}))
    words = morning_words(found.morning)
    assert found.morning is not None
    assert not found.morning.holds
    assert ("Measure again soon after rising" in words) is not early
    assert ("there is nothing to read again" in words) is early
    assert (found.summary.code == "morning") is not early
    assert morning_line(found).startswith("- Right after rising") is early


def test_a_nurses_note_names_the_model_and_not_its_parameters() -> None:
    found = fit(sitting())
    model = PROFILES.swelling
    told = notes_content(found).plain
    assert f"{model.name}, version {model.version}" in told
    assert "tau" not in told
    assert "k ankle" not in told
    swelling = found.legs[0].as_json()["swelling"]
    assert "tau_hours" in str(swelling)


def test_what_is_our_own_judgement_is_called_that() -> None:
    told = notes_content(fit(sitting(purpose="work"))).plain
    assert "Our own judgement; no published source." in told
    assert "Ours." not in told


# --- how near the edge ---------------------------------------------------------------------------


def summary(mm: str, *, good_to: bool = True, share: float = 0.94) -> Any:
    """A foot of so many mm from the edge of its size, and how sure it is said to be."""
    margin = Margin("shoe", Decimal(247), Decimal(240), Decimal(254), Decimal(mm))
    answer = SizeAnswer(Verdict.FITS, size="M", complete=True, margins=(margin,))
    spread = Spread(0.5, good_to_mm=FOOT_UNCERTAINTY_MM if good_to else None)
    change = Change("shoe", Decimal(mm), 1.6, Outcome(Verdict.FITS, 7))
    return summarise(
        HAAR,
        answer,
        PROFILES.certainty,
        share=share,
        change=change,
        spreads={"shoe": spread},
        prescribed=False,
    )


def test_an_edge_nearer_than_a_shoe_size_tells_a_foot_is_no_clear_edge() -> None:
    near = summary("5.7")
    assert (near.code, near.foot_guessed) == ("edge", True)
    assert near.text == (
        "On the edge: shoe, as foot length, 0.6 cm from it, and a foot taken from a shoe size is "
        "good to about 0.7 cm. Measure the foot length."
    )
    assert summary("-5.7").code == "edge"
    assert summary("7.1").code == "clear"
    assert summary("5.7", good_to=False).code == "clear"


def test_a_size_converted_from_another_system_is_never_clear_within_its_doubt() -> None:
    """Haar prints EU sizes: a UK size goes through the foot, good to about 7 mm."""
    told = sitting()
    typed = parse_typed(Kind.SHOE, "UK 5.5", "cm")
    told.add(draft_reading((Side.BOTH, Point.FOOT, Kind.SHOE), 1, typed, told.at))
    found = one(told, HAAR)
    (shoe,) = (margin for margin in found.answer.margins if margin.dimension == "shoe")
    assert any("good to about 7 mm" in caution for caution in found.answer.cautions)
    assert shoe.margin_mm < FOOT_UNCERTAINTY_MM
    assert found.summary.foot_guessed
    assert "the same if measured again" not in found.summary.text


def test_a_distance_that_would_read_nothing_is_told_as_less_than_a_millimetre() -> None:
    from_edge = summary("0", good_to=False, share=0.5).text
    assert "shoe less than 1 mm from" in from_edge
    assert "0.0 cm" not in from_edge


def test_a_column_named_by_its_letter_is_told_in_words() -> None:
    assert dimension_words("length_d") == "floor to below the knee (D)"
    assert dimension_words("girth_b1") == "round the leg at B1"
    assert dimension_words("foot_length") == "foot length"
    assert dimension_words("length_x") == "length x"


def test_both_legs_are_not_called_independent() -> None:
    found = fit(sitting(), LOW_TIDE)
    assert "independent" not in found.pairs[0].text
    assert found.pairs[0].text.endswith("unless one slip was made at both.")
