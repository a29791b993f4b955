"""What keeps a size back: the place it was really judged by, what it is for, the day, the posture.

All charts and people are invented.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from screening_cases import TODAY, Sitting, ordinary

from fitcore.charts.outcome import Verdict
from fitcore.charts.sizing import Margin
from fitcore.disk.profile_files import load_profiles
from fitcore.fit import SessionFit, fit_session
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.ranking import rank_charts
from fitcore.record.edits import draft_reading, parse_typed
from fitcore.record.session import Session, join
from tui.result_words import cell_words, margin_words

if TYPE_CHECKING:
    from fitcore.charts.chart import Chart
    from fitcore.leg_fit import ChartFit

PROFILES = load_profiles()
CHARTS = {chart.id: chart for chart in PROFILES.charts}
LOW_TIDE, HAAR = CHARTS["mill-four-low-tide"], CHARTS["mill-one-haar"]
SQUALL = CHARTS["mill-two-squall"]
LEFT, RIGHT, BOTH = Side.LEFT, Side.RIGHT, Side.BOTH
SHOE = (BOTH, Point.FOOT, Kind.SHOE)


def foot(side: Side) -> tuple[Side, Point, Kind]:
    return (side, Point.FOOT, Kind.LENGTH)


def sitting(*, hours_up: float | None = 1.0, screened: bool = True, **answers: Any) -> Sitting:
    """Both legs read once; nothing of the foot yet."""
    told = Sitting()
    given: dict[str, Any] = {"purpose": "standing", "forms": ["below_knee"]}
    for what, value in (given | answers).items():
        if value is not None:
            told.answer(what, value)
    told.answer("sides", ["left", "right"])
    if hours_up is not None:
        told.answer("rising_at", told.at - timedelta(hours=hours_up))
    if screened:
        told.answer_all(**ordinary())
    for side in LEGS:
        for point, kind, cm in (
            (Point.B, Kind.GIRTH, "23.4"), (Point.C, Kind.GIRTH, "37.2"),
            (Point.D, Kind.LENGTH, "41.0"),
        ):  # fmt: skip
            add(told, (side, point, kind), cm)
    return told


def add(told: Sitting, place: tuple[Side, Point, Kind], text: str, number: int = 1) -> None:
    told.add(draft_reading(place, number, parse_typed(place[2], text, "cm"), told.at))


def fit(told: Sitting | Session, *charts: Chart, on: date = TODAY) -> SessionFit:
    session = told if isinstance(told, Session) else told.session
    return fit_session(session, charts or [LOW_TIDE], PROFILES.rules, on=on)


def shoe_chart() -> Chart:
    """Haar, which goes by shoe and calf, with one size that holds every adult's leg."""
    ranges = {"shoe": (Decimal(24), Decimal(56)), "calf": (Decimal(220), Decimal(600))}
    row = HAAR.sizes[0].model_copy(update={"ranges": ranges})
    return HAAR.model_copy(update={"sizes": (row,)})


def left(found: SessionFit) -> ChartFit:
    return found.legs[0].charts[0]


# --- the place a shoe column was judged by -------------------------------------------------------


def test_a_foot_that_cannot_be_right_keeps_back_a_size_by_the_shoe() -> None:
    told = sitting()
    for side in LEGS:
        add(told, foot(side), "24.6")
    sound = left(fit(told, shoe_chart()))
    assert (sound.answer.verdict, sound.untrusted, sound.offered) == (Verdict.FITS, "", True)
    told = sitting()
    add(told, foot(LEFT), "14.9")
    add(told, foot(RIGHT), "24.6")
    wrong, other = (leg.charts[0] for leg in fit(told, shoe_chart()).legs)
    assert wrong.answer.size is not None
    assert "Measure again: foot length" in wrong.untrusted
    assert wrong.places_named(LEFT)[0] == foot(LEFT)
    assert not wrong.offered
    assert other.offered


def test_feet_that_do_not_agree_keep_back_a_size_by_the_shoe() -> None:
    told = sitting()
    for side in LEGS:
        add(told, foot(side), "24.6")
    add(told, foot(LEFT), "26.4", 2)
    unlike, other = (leg.charts[0] for leg in fit(told, shoe_chart()).legs)
    assert "Measure again: foot length" in unlike.untrusted
    assert "The readings differ." in unlike.summary.text
    assert "cannot be right" not in unlike.summary.text
    assert (unlike.offered, other.offered) == (False, True)


def test_a_shoe_asked_once_that_no_adult_has_keeps_both_legs_back() -> None:
    told = sitting()
    typed = parse_typed(Kind.SHOE, "EU 39", "cm")
    told.add(draft_reading(SHOE, 1, replace(typed, value=Decimal(58)), told.at))
    for leg in fit(told, shoe_chart()).legs:
        found = leg.charts[0]
        assert "Measure again: shoe size" in found.untrusted
        assert "What was read cannot be right." in found.summary.text
        assert found.places_named(leg.side)[0] == SHOE
        assert found.kept_back
    with_own = sitting()
    with_own.add(draft_reading(SHOE, 1, replace(typed, value=Decimal(58)), told.at))
    add(with_own, (LEFT, Point.FOOT, Kind.SHOE), "EU 39")
    own, asked_once = (leg.charts[0] for leg in fit(with_own, shoe_chart()).legs)
    assert (own.offered, asked_once.offered) == (True, False)


# --- shoe and foot side by side ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cm", "unlike"), [("22.0", True), ("23.9", True), ("24.0", False), ("25.3", False)]
)
def test_a_shoe_that_contradicts_the_foot_measured_is_told(cm: str, *, unlike: bool) -> None:
    """EU 39 is a foot of 24.7 cm, good to 0.7 cm."""
    told = sitting()
    add(told, SHOE, "EU 39")
    for side in LEGS:
        add(told, foot(side), cm)
    cautions = " ".join(left(fit(told, shoe_chart())).answer.cautions)
    words = f"EU 39 is a foot of about 24.7 cm, and the foot was measured as {cm} cm"
    assert (words in cautions) is unlike
    assert "find out which is right" not in " ".join(left(fit(told, LOW_TIDE)).answer.cautions)


def test_a_disputed_shoe_is_not_measured_and_no_foot_stands_for_it() -> None:
    told = sitting()
    for side in LEGS:
        add(told, foot(side), "24.6")
    assert left(fit(told, shoe_chart())).offered
    add(told, SHOE, "EU 39")
    add(told, SHOE, "EU 42")
    found = left(fit(told, shoe_chart()))
    assert (found.answer.verdict, found.offered) == (Verdict.NOT_MEASURED, False)
    assert found.certainty is None
    assert any("choose one first" in caution for caution in found.answer.cautions)


# --- what it is for ------------------------------------------------------------------------------


def disputed(what: str, one: Any, other: Any) -> Session:
    """One session answered differently on two laptops, neither having seen the other's answer."""
    base = sitting(**{what: None, **({} if what == "forms" else {"forms": ["below_knee"]})})
    here, there = base.elsewhere("tern-k7qd"), base.elsewhere("dunlin-m4ex")
    here.number = base.number
    here.answer(what, one)
    there.answer(what, other)
    session = join(here.session, there.session)
    assert session.answer(what).disputed
    return session


PRESCRIBED_ALONE = LOW_TIDE.model_copy(update={"purposes": ("prescribed",)})


def test_what_is_made_for_prescribed_use_alone_waits_for_the_answer_what_for() -> None:
    told = left(fit(sitting(purpose=None), PRESCRIBED_ALONE))
    assert (told.answer.size, told.offered) == ("3", False)
    assert told.offered_why.startswith("Made for prescribed use alone, and what it is for")
    assert left(fit(sitting(purpose=None), LOW_TIDE)).offered


@pytest.mark.parametrize("purpose", ["other", "standing", "sport"])
def test_what_is_made_for_prescribed_use_alone_is_for_nothing_else(purpose: str) -> None:
    found = left(fit(sitting(purpose=purpose), PRESCRIBED_ALONE))
    assert (found.answer.unsuitable, found.offered) == ("purpose", False)


@pytest.mark.parametrize(
    ("one", "other", "unsuitable"),
    [
        ("prescribed", "standing", "purpose"),
        ("standing", "prescribed", "purpose"),
        ("prescribed", "other", "purpose"),
    ],
)
def test_of_two_purposes_side_by_side_each_must_suit(one: str, other: str, unsuitable: str) -> None:
    session = disputed("purpose", one, other)
    assert left(fit(session, PRESCRIBED_ALONE)).answer.unsuitable == unsuitable
    sport = LOW_TIDE.model_copy(update={"purposes": ("sport", other, one)[:1]})
    assert left(fit(session, sport)).answer.unsuitable == "purpose"


def test_prescribed_by_one_of_two_answers_leaves_the_choice_of_a_size_to_people() -> None:
    told = disputed("purpose", "standing", "prescribed")
    both = LOW_TIDE.sizes[2].ranges | {"ankle": (Decimal(210), Decimal(260))}
    twice = tuple(
        LOW_TIDE.sizes[2].model_copy(update={"size": name, "ranges": both}) for name in ("3", "4")
    )
    found = left(fit(told, LOW_TIDE.model_copy(update={"sizes": twice})))
    assert (found.answer.size, found.answer.alternatives) == (None, ("3", "4"))
    alone = left(fit(sitting(), LOW_TIDE.model_copy(update={"sizes": twice})))
    assert alone.answer.size == "4"


def test_of_two_answers_on_the_form_each_must_suit() -> None:
    session = disputed("forms", ["below_knee"], ["thigh"])
    assert left(fit(session, LOW_TIDE)).answer.unsuitable == "form"
    same = disputed("forms", ["below_knee", "thigh"], ["below_knee"])
    assert left(fit(same, LOW_TIDE)).answer.unsuitable == ""


# --- the day -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dates", "on", "unsuitable"),
    [
        ({"valid_until": date(2026, 3, 4)}, date(2026, 3, 4), ""),
        ({"valid_until": date(2026, 3, 4)}, date(2026, 3, 5), "expired"),
        ({"valid_until": date(2026, 3, 3)}, date(2026, 3, 3), "expired"),
        ({"valid_from": date(2026, 3, 5)}, date(2026, 3, 5), "not_yet_valid"),
        ({"valid_from": date(2026, 3, 4)}, date(2026, 3, 3), "not_yet_valid"),
        ({"valid_from": date(2026, 3, 4)}, date(2026, 3, 9), ""),
    ],
)
def test_a_chart_holds_on_the_day_of_measuring_and_on_that_of_fitting(
    dates: dict[str, date], on: date, unsuitable: str
) -> None:
    chart = LOW_TIDE.model_copy(update={"valid_from": None, "valid_until": None, **dates})
    assert left(fit(sitting(), chart, on=on)).answer.unsuitable == unsuitable


def test_a_leg_of_no_known_day_is_sized_by_no_chart_that_has_dates() -> None:
    told = sitting()
    entries = frozenset(replace(entry, fields={k: v for k, v in entry.fields.items() if k != "at"})
                        for entry in told.session.entries)  # fmt: skip
    undated = replace(told.session, entries=entries)
    assert undated.measured_at is None
    found = left(fit(undated, LOW_TIDE))
    assert (found.answer.unsuitable, cell_words(found)) == ("undated", "day not known")
    always = LOW_TIDE.model_copy(update={"valid_from": None, "valid_until": None})
    assert left(fit(undated, always)).answer.unsuitable == ""


# --- words ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("posture", "columns", "told"),
    [
        ("sitting", ("ankle", "calf"), True),
        ("lying", ("ankle", "calf"), False),
        ("sitting", ("ankle",), False),
    ],
)
def test_how_much_a_calf_differs_is_said_of_a_calf_sitting_or_standing_alone(
    posture: str, columns: tuple[str, ...], *, told: bool
) -> None:
    kept = tuple(d for d in LOW_TIDE.dimensions if d.id in columns)
    rows = tuple(
        row.model_copy(update={"ranges": {name: row.ranges[name] for name in columns}})
        for row in LOW_TIDE.sizes
    )
    chart = LOW_TIDE.model_copy(update={"dimensions": kept, "sizes": rows, "posture": "standing"})
    (caution,) = left(fit(sitting(posture=posture), chart)).answer.cautions
    assert caution.startswith(f"Measured {posture}; this chart is meant for standing legs")
    assert ("a calf differs by about 1 %" in caution) is told


def test_a_value_on_an_edge_of_another_size_is_never_told_as_inside() -> None:
    far = ("ankle", Decimal(220), Decimal(200), Decimal(220), Decimal(0))
    for whose in ("larger", "smaller"):
        words = margin_words(LOW_TIDE, Margin(*far, edge_of=whose))  # type: ignore[arg-type]
        assert words.endswith(f", on an edge that is the {whose} size's")
        assert "inside" not in words
    assert margin_words(LOW_TIDE, Margin(*far)).endswith("0 cm inside")


def test_clear_is_no_bare_word_for_a_leg_the_swelling_model_refuses() -> None:
    plain = left(fit(sitting()))
    assert (plain.summary.code, cell_words(plain)) == ("clear", "3, clear")
    for refused in ({"hours_up": None}, {"swelling_known": "oedema"}, {"compression": "off"}):
        found = left(fit(sitting(**refused)))  # type: ignore[arg-type]
        assert (found.summary.code, found.morning) == ("clear", None)
        assert cell_words(found) == "3, clear now"
        withheld = fit(sitting(**refused)).legs[0].morning.withheld  # type: ignore[arg-type]
        assert withheld
        assert found.summary.text.endswith(withheld)


# --- the morning, and what falls away ------------------------------------------------------------


def near_the_top_of_two() -> Chart:
    """Two sizes that both hold at 23.4 cm round the ankle, and the smaller alone by the morning."""
    rows = tuple(
        LOW_TIDE.sizes[2].model_copy(
            update={"size": name, "ranges": {"ankle": edges, "calf": (Decimal(300), Decimal(450))}}
        )
        for name, edges in (
            ("S", (Decimal(180), Decimal(260))),
            ("M", (Decimal(233), Decimal(280))),
        )
    )
    return LOW_TIDE.model_copy(update={"sizes": rows, "overlap": "ask"})


def test_another_choice_by_the_morning_does_not_hold() -> None:
    found = left(fit(sitting(hours_up=9.0), near_the_top_of_two()))
    assert found.answer.alternatives == ("S", "M")
    assert found.morning is not None
    assert not found.morning.holds
    assert found.morning.as_json() == {
        "holds": False, "as_read": "overlap", "central": "S", "high": "S",
        "alternatives": {"as_read": ["S", "M"], "central": [], "high": []},
    }  # fmt: skip


def test_a_size_chosen_either_way_holds_though_another_falls_away_beside_it() -> None:
    smaller = near_the_top_of_two().model_copy(update={"overlap": "smaller"})
    found = left(fit(sitting(hours_up=9.0), smaller))
    assert (found.answer.size, found.answer.alternatives) == ("S", ("M",))
    assert found.morning is not None
    assert found.morning.holds
    assert set(found.morning.as_json()) == {"holds", "as_read", "central", "high"}


def test_what_may_not_be_offered_falls_away_with_the_reason() -> None:
    (row,) = rank_charts(fit(sitting()))
    assert row.fell_away == ""
    (row,) = rank_charts(fit(sitting(screened=False)))
    assert row.fell_away == row.legs[0].offered_why != ""
    strong = LOW_TIDE.pressure
    assert strong is not None
    upper = strong.model_copy(update={"mmhg": (Decimal(30), Decimal(40))})
    (row,) = rank_charts(fit(sitting(), LOW_TIDE.model_copy(update={"pressure": upper})))
    assert row.legs[0].answer.size is not None
    assert "mmHg" in row.fell_away
