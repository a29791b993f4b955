"""Other values tried out: judged as if measured so, offered never, kept nowhere. All invented."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from screening_cases import TODAY, Sitting, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.fit import SessionFit, fit_session
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.problems import UnitError
from fitcore.ranking import rank_charts
from fitcore.record.edits import draft_reading, draft_withdrawal, parse_typed
from fitcore.record.readings import Readings
from fitcore.safety.shape import shape_field
from fitcore.units import show_cm
from tui.result_words import cell_words
from tui.try_out import TryOut, what_if

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.record.session import Session

PROFILES = load_profiles()
ANKLE = (Point.B, Kind.GIRTH)
CALF = (Point.C, Kind.GIRTH)
LENGTH = (Point.D, Kind.LENGTH)
SHOE = (Point.FOOT, Kind.SHOE)
FOOT = (Point.FOOT, Kind.LENGTH)
LEG: Mapping[tuple[Point, Kind], Sequence[str]] = {
    ANKLE: ["22.4"],
    CALF: ["36.2"],
    LENGTH: ["40"],
    SHOE: ["EU 39"],
}


def judge(session: Session, **changed: Any) -> SessionFit:
    profiles = replace(PROFILES, **changed)
    return fit_session(session, profiles.charts, profiles.rules, on=TODAY)


def sitting(
    left: Mapping[tuple[Point, Kind], Sequence[str]] = LEG,
    right: Mapping[tuple[Point, Kind], Sequence[str]] = LEG,
    **answers: Any,
) -> Sitting:
    """Measure both legs of an ordinary client."""
    measured = Sitting()
    given_answers = {
        "purpose": "work",
        "forms": ["below_knee"],
        "sides": ["left", "right"],
        "posture": "standing",
        "tape": "cm",
    } | answers
    for what, value in given_answers.items():
        measured.answer(what, value)
    measured.answer_all(**{name: str(value) for name, value in ordinary().items()})
    for side, leg in zip(LEGS, (left, right), strict=True):
        for (point, kind), texts in leg.items():
            for number, text in enumerate(texts, 1):
                read(measured, (side, point, kind), text, number)
    return measured


def read(
    measured: Sitting, place: tuple[Side, Point, Kind], text: str, number: int = 1, **more: Any
) -> None:
    unit = "in" if measured.session.text("tape") == "in" else "cm"
    typed = parse_typed(place[2], text, unit)  # type: ignore[arg-type]
    measured.add(draft_reading(place, number, typed, measured.at, **more))


def begun(measured: Sitting, side: Side = Side.LEFT) -> TryOut:
    return TryOut(judge(measured.session), side, judge)


def at(trial: TryOut, what: tuple[Point, Kind]) -> int:
    """Return which of the values this is."""
    return [(v.measured.point, v.measured.kind) for v in trial.values].index(what)


def words(trial: TryOut) -> list[str]:
    return [value.words() for value in trial.values]


def answers_of(trial: TryOut) -> dict[str, str]:
    return {row.tried.chart.id: row.words for row in trial.charts}


# --- one law: it is judged as if it had been measured so -----------------------------------------

_tenths = {ANKLE: (170, 340), CALF: (260, 520), LENGTH: (330, 480)}


@st.composite
def _legs(draw: st.DrawFn, *, most: int = 1) -> dict[tuple[Point, Kind], list[str]]:
    leg = {}
    for what, (low, high) in _tenths.items():
        first = draw(st.integers(low, high))
        apart = draw(st.lists(st.integers(-4, 4), max_size=most - 1))
        leg[what] = [show_cm(Decimal(tenths)) for tenths in (first, *(first + d for d in apart))]
    if draw(st.booleans()):
        leg[SHOE] = [f"EU {draw(st.integers(34, 48))}"]
    return leg


@settings(max_examples=15, deadline=None)
@given(_legs(most=3), _legs())
def test_trying_what_was_measured_comes_to_the_result_exactly(
    left: dict[tuple[Point, Kind], list[str]], right: dict[tuple[Point, Kind], list[str]]
) -> None:
    trial = begun(sitting(left, right))
    result = trial.measured.legs[0]
    for index, value in enumerate(trial.values):
        shown = value.measured
        text = show_cm(shown.mm) if shown.value is None else f"{shown.system} {shown.value}"
        trial.type(index, text)
    assert all(value.tried is not None for value in trial.values)
    assert trial.fit is not trial.measured
    assert trial.fit.legs[0].as_json() == result.as_json()
    assert answers_of(trial) == {fit.chart.id: cell_words(fit) for fit in result.charts}
    assert not any(row.changed for row in trial.charts)
    assert not trial.warning()


@settings(max_examples=15, deadline=None)
@given(_legs(), _legs(), _legs())
def test_what_is_tried_is_judged_as_if_it_had_been_measured(
    left: dict[tuple[Point, Kind], list[str]],
    other: dict[tuple[Point, Kind], list[str]],
    right: dict[tuple[Point, Kind], list[str]],
) -> None:
    other = {what: other.get(what, texts) for what, texts in left.items()}
    trial = begun(sitting(left, right))
    for what, (text,) in other.items():
        trial.type(at(trial, what), text)
    measured_so = judge(sitting(other, right).session)
    assert [leg.as_json() for leg in trial.fit.legs] == [leg.as_json() for leg in measured_so.legs]
    assert trial.fit.clearance.as_json() == measured_so.clearance.as_json()


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 3), st.integers(-3, 3), st.booleans()), max_size=8))
def test_steps_there_and_back_lead_nowhere(steps: list[tuple[int, int, bool]]) -> None:
    trial = begun(sitting())
    before = answers_of(trial)
    for way in (1, -1):
        for index, by, large in steps:
            trial.step(index, by * way, large=large)
    assert answers_of(trial) == before
    trial.put_all_back()
    assert trial.fit is trial.measured


# --- values --------------------------------------------------------------------------------------


def test_the_values_used_stand_foot_upwards_as_they_were_measured() -> None:
    trial = begun(sitting())
    assert [value.name for value in trial.values] == [
        "shoe size",
        "round the ankle (B)",
        "round the calf (C)",
        "floor to below the knee (D)",
    ]
    assert words(trial) == ["EU 39", "22.4 cm", "36.2 cm", "40.0 cm"]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("38", "36.2 -> 38.0 cm (+1.8)"),
        ("35,95", "36.2 -> 35.95 cm (-0.25)"),
        ("380mm", "36.2 -> 38.0 cm (+1.8)"),
        ("15 in", "36.2 -> 38.1 cm (+1.9)"),
        ("36.2", "36.2 -> 36.2 cm (+0.0)"),
    ],
)
def test_a_value_is_typed_as_at_measuring(text: str, shown: str) -> None:
    trial = begun(sitting())
    trial.type(at(trial, CALF), text)
    assert trial.values[at(trial, CALF)].words() == shown


@pytest.mark.parametrize(
    ("tape", "leg", "by", "large", "shown"),
    [
        ("cm", {CALF: ["36.2"]}, 1, False, "36.2 -> 36.3 cm (+0.1)"),
        ("cm", {CALF: ["36.2"]}, -1, True, "36.2 -> 35.2 cm (-1.0)"),
        ("cm", {CALF: ["36.2", "36.3"]}, 1, False, "36.25 -> 36.35 cm (+0.1)"),
        ("cm", {CALF: ["362mm"]}, 1, False, "36.2 -> 36.3 cm (+0.1)"),
        ("in", {CALF: ["14 1/4"]}, 1, False, "14 1/4 -> 14 3/8 in = 36.5125 cm"),
        ("in", {CALF: ["14 7/8"]}, 1, False, "14 7/8 -> 15 in = 38.1 cm"),
        ("in", {CALF: ["14 1/4"]}, -1, True, "14 1/4 -> 13 1/4 in = 33.655 cm"),
        ("in", {CALF: ["36.2 cm"]}, 1, False, "36.2 -> 36.5175 cm (+0.3175)"),
        ("cm", {SHOE: ["EU 39"]}, 1, False, "EU 39 -> EU 39.5"),
        ("cm", {SHOE: ["UK 6.5"]}, -1, True, "UK 6.5 -> UK 5.5"),
        ("cm", {SHOE: ["mondo 250"]}, 1, False, "Mondopoint 250 -> Mondopoint 255"),
        ("cm", {SHOE: ["mondo 250"]}, -1, True, "Mondopoint 250 -> Mondopoint 240"),
    ],
)
def test_a_step_is_a_mark_or_a_number_of_the_tape(
    tape: str,
    leg: dict[tuple[Point, Kind], list[str]],
    by: int,
    large: bool,  # noqa: FBT001
    shown: str,
) -> None:
    trial = begun(sitting(leg, {}, tape=tape))
    trial.step(0, by, large=large)
    assert words(trial) == [shown]


def test_a_step_goes_on_from_what_was_typed() -> None:
    trial = begun(sitting())
    shoe, calf = at(trial, SHOE), at(trial, CALF)
    trial.type(shoe, "uk 6")
    trial.step(shoe, 1)
    assert trial.values[shoe].words() == "EU 39 -> UK 6.5"
    trial.type(calf, "38.05")
    trial.step(calf, 1)
    assert trial.values[calf].words() == "36.2 -> 38.15 cm (+1.95)"


def test_inches_typed_where_no_tape_was_named_are_inches() -> None:
    measured = sitting({}, {}, tape="in")
    read(measured, (Side.LEFT, *CALF), "14 1/4")
    unsaid = replace(
        measured.session,
        entries=frozenset(e for e in measured.session.entries if e.text("what") != "tape"),
    )
    trial = TryOut(judge(unsaid), Side.LEFT, judge)
    trial.type(0, "15")
    assert words(trial) == ["14 1/4 -> 15 in = 38.1 cm"]


def test_readings_of_one_place_are_moved_alike() -> None:
    trial = begun(sitting({CALF: ["36.0", "36.4"]}, {}))
    trial.type(0, "38")
    (value,) = trial.fit.legs[0].adopted
    assert (value.mm, value.readings, value.spread_mm) == (380, 2, 4)


def test_a_correction_stays_one_and_what_was_struck_out_stays_out() -> None:
    measured = sitting({}, {})
    place = (Side.LEFT, *ANKLE)
    read(measured, place, "2.21")
    (first,) = Readings(measured.session).current(place)
    read(measured, place, "22.1", instead_of=[first.name])
    read(measured, place, "30.0", number=2)
    (_, wrong) = Readings(measured.session).current(place)
    measured.add(draft_withdrawal([wrong.name], "tape had slipped", measured.at))
    trial = begun(measured)
    trial.type(0, "19")
    (value,) = trial.fit.legs[0].adopted
    assert (value.mm, value.readings) == (190, 1)
    session = what_if(measured.session, {v.place: v for v in trial.values})
    assert Readings(session).problems == []


def test_one_shoe_size_for_both_feet_can_be_tried() -> None:
    measured = sitting({ANKLE: ["22.4"]}, {})
    read(measured, (Side.BOTH, *SHOE), "EU 39")
    trial = begun(measured)
    trial.type(at(trial, SHOE), "43")
    shoe = next(v for v in trial.fit.legs[0].adopted if v.kind is Kind.SHOE)
    assert (shoe.system, shoe.value) == ("eu", 43)


def test_a_value_put_back_leaves_the_others() -> None:
    trial = begun(sitting())
    trial.type(at(trial, ANKLE), "25")
    trial.type(at(trial, CALF), "40")
    trial.put_back(at(trial, ANKLE))
    assert words(trial) == ["EU 39", "22.4 cm", "36.2 -> 40.0 cm (+3.8)", "40.0 cm"]
    trial.put_back(at(trial, CALF))
    assert trial.fit is trial.measured


# --- what is refused -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("what", "text", "told"),
    [
        (CALF, "abc", "'abc' is not a length."),
        (CALF, "eu 39", "'eu 39' is not a length."),
        (CALF, "0", "'0' is not more than zero."),
        (CALF, "362", "round the calf (C): 362.0 cm cannot be right."),
        (ANKLE, "2.2", "round the ankle (B): 2.2 cm cannot be right."),
        (SHOE, "39 cm", "'39 cm' is not a shoe size."),
        (SHOE, "99", "EU 99: sizes run from 24 to 56."),
    ],
)
def test_what_no_leg_has_is_refused_and_nothing_changes(
    what: tuple[Point, Kind], text: str, told: str
) -> None:
    trial = begun(sitting())
    trial.type(at(trial, ANKLE), "25")
    before, shown = answers_of(trial), words(trial)
    with pytest.raises(UnitError) as raised:
        trial.type(at(trial, what), text)
    assert raised.value.problem.text == told
    assert (answers_of(trial), words(trial)) == (before, shown)


def test_steps_end_where_no_leg_goes() -> None:
    trial = begun(sitting())
    ankle = at(trial, ANKLE)
    low, _ = PROFILES.rules.ranges.of(*ANKLE).hard_cm  # type: ignore[union-attr,misc]
    for _ in range(int(Decimal("22.4") - low)):
        trial.step(ankle, -1, large=True)
    smallest = trial.values[ankle]
    with pytest.raises(UnitError):
        trial.step(ankle, -1, large=True)
    assert trial.values[ankle] is smallest


def test_an_odd_value_that_was_kept_can_be_moved() -> None:
    trial = begun(sitting({ANKLE: ["8.7"]}, {}))
    trial.step(0, 1)
    assert words(trial) == ["8.7 -> 8.8 cm (+0.1)"]
    with pytest.raises(UnitError):
        trial.step(0, -9, large=True)


# --- nothing is offered, nothing is changed ------------------------------------------------------


def test_the_session_measured_is_never_changed() -> None:
    measured = sitting()
    lines = sorted(entry.line for entry in measured.session.entries)
    fields = {entry.line: dict(entry.fields) for entry in measured.session.entries}
    trial = begun(measured)
    trial.type(at(trial, CALF), "40")
    trial.type(at(trial, SHOE), "42")
    assert trial.fit.session is not measured.session
    assert trial.measured.session is measured.session
    assert sorted(entry.line for entry in measured.session.entries) == lines
    assert {entry.line: dict(entry.fields) for entry in measured.session.entries} == fields


def test_a_leg_kept_back_is_not_cleared_by_trying_smaller() -> None:
    """One calf 3 cm larger is a stop; a calf tried like the other lifts nothing."""
    trial = begun(sitting({**LEG, CALF: ["40.2"]}))
    before = [row.measured.offered for row in trial.charts]
    trial.type(at(trial, CALF), "36.2")
    assert not any(before)
    assert [row.tried.offer for row in trial.charts] == [row.measured.offer for row in trial.charts]
    assert not any(row.tried.offered for row in trial.charts)
    assert not trial.warning()


def test_what_keeps_the_result_back_keeps_back_what_is_tried() -> None:
    """A typed value mends no reading that cannot be right and no shape of a leg."""
    measured = sitting(left={**LEG, ANKLE: ["22.4", "25.4"]})
    out = TryOut(judge(measured.session), Side.LEFT, judge)
    kept = [chart for chart in out.charts if chart.measured.untrusted]
    assert kept
    out.type(0, "EU 40")
    tried = {chart.ranked.chart.id: chart.tried for chart in out.charts}
    for chart in kept:
        found = tried[chart.ranked.chart.id]
        assert found.untrusted
        assert not found.offered
    shaped = sitting()
    shaped.answer(shape_field(Side.LEFT), ["deep_folds"])
    bare = sitting().session
    of_shape = TryOut(judge(shaped.session), Side.LEFT, lambda _session: judge(bare))
    of_shape.step(0, 1)
    assert any(chart.measured.shape for chart in of_shape.charts)
    for chart in of_shape.charts:
        if chart.measured.shape:
            assert chart.tried.kept_back


def test_it_is_told_where_the_leg_would_be_kept_back() -> None:
    trial = begun(sitting())
    trial.type(at(trial, CALF), "39.1")
    assert not trial.warning()
    trial.type(at(trial, CALF), "39.2")
    assert "Measured so, it would be kept back: Stop" in trial.warning()
    trial.put_all_back()
    assert not trial.warning()


def test_what_changes_is_marked_where_it_stands_in_the_result() -> None:
    trial = begun(sitting())
    order = [row.chart.id for row in rank_charts(trial.measured)]
    before = answers_of(trial)
    assert [row.tried.chart.id for row in trial.charts] == order
    trial.type(at(trial, ANKLE), "27.5")
    assert [row.tried.chart.id for row in trial.charts] == order
    after = answers_of(trial)
    changed = {row.tried.chart.id for row in trial.charts if row.changed}
    assert changed == {chart for chart in order if before[chart] != after[chart]}
    assert set() < changed < set(order)


def test_favourites_come_first() -> None:
    favourite = sorted(chart.id for chart in PROFILES.charts)[-1]
    result = judge(sitting().session)
    favoured = judge(sitting().session, favourites=frozenset({favourite}))
    trial = TryOut(favoured, Side.RIGHT, judge)
    (row,) = [row for row in trial.charts if row.ranked.favourite]
    assert row.tried.chart.id == favourite
    assert [row.tried.chart.id for row in trial.charts] == [
        row.chart.id for row in rank_charts(favoured)
    ]
    assert {row.chart.id for row in rank_charts(result)} == set(answers_of(trial))
