"""Repeat error against analysis of variance, its laws, and which readings make a pair.

The ratings are a published example (Shrout and Fleiss 1979: six targets, four judges) whose mean
squares are widely quoted; numpy works them out here from the table, sharing no code with ours.
"""

from __future__ import annotations

import math
from datetime import timedelta
from decimal import Decimal
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import AT, SESSION, entry_from_line, entry_of, millimetres

from fitcore.certainty.certainty_errors import error_of_middle
from fitcore.disk.profile_reading import read_profile
from fitcore.points import Kind, Point, Side
from fitcore.quality.quality_report import QualityReport, error_of, report_quality
from fitcore.quality.quality_rules import QualityRules
from fitcore.quality.repeat_error import (
    Pair,
    pairs_of,
    percent_error,
    repeat_errors,
    technical_error,
)
from fitcore.record.readings import Readings
from fitcore.record.session import Session

if TYPE_CHECKING:
    from fitcore.record.entries import Entry

ROOT = Path(__file__).resolve().parents[2]
FILE = ROOT / "profiles" / "quality" / "repeat-error.toml"
RULES = read_profile(FILE.read_bytes(), QualityRules, FILE.name)
assert isinstance(RULES, QualityRules), RULES

RATINGS = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float
)
"""Shrout and Fleiss 1979, table 2: targets by judges."""


# --- against analysis of variance --------------------------------------------------------------


def _mean_squares(table: np.ndarray[Any, Any]) -> dict[str, float]:
    """Return the mean squares between targets, within them, between judges, and what is left."""
    targets, judges = table.shape
    mean = table.mean()
    rows, columns = table.mean(axis=1), table.mean(axis=0)
    between = judges * ((rows - mean) ** 2).sum() / (targets - 1)
    within = ((table - rows[:, None]) ** 2).sum() / (targets * (judges - 1))
    judge = targets * ((columns - mean) ** 2).sum() / (judges - 1)
    left = ((table - rows[:, None] - columns[None, :] + mean) ** 2).sum()
    return {
        "targets": between,
        "within": within,
        "judges": judge,
        "left": left / ((targets - 1) * (judges - 1)),
    }


def test_the_analysis_of_variance_gives_the_published_mean_squares() -> None:
    found = _mean_squares(RATINGS)
    assert round(found["targets"], 4) == 11.2417
    assert round(found["judges"], 4) == 32.4861
    assert round(found["left"], 4) == 1.0194


def _columns(one: int, other: int) -> list[tuple[Decimal, Decimal]]:
    return [(Decimal(str(row[one])), Decimal(str(row[other]))) for row in RATINGS.tolist()]


@pytest.mark.parametrize(("one", "other"), list(combinations(range(4), 2)))
def test_the_square_of_the_repeat_error_is_the_mean_square_within(one: int, other: int) -> None:
    squares = _mean_squares(RATINGS[:, [one, other]])
    pairs = _columns(one, other)
    assert technical_error(pairs) ** 2 == pytest.approx(squares["within"], rel=1e-14)
    assert percent_error(pairs) == pytest.approx(
        100 * math.sqrt(squares["within"]) / RATINGS[:, [one, other]].mean(), rel=1e-14
    )


@pytest.mark.parametrize(("one", "other"), list(combinations(range(4), 2)))
def test_reliability_is_one_less_the_share_of_variance_within(one: int, other: int) -> None:
    two = RATINGS[:, [one, other]]
    [row, all_of_them] = repeat_errors(
        _pair(*values, person=f"SK-{n}") for n, values in enumerate(_columns(one, other))
    )
    wanted = 1 - _mean_squares(two)["within"] / two.var(ddof=1)
    assert row.reliability == pytest.approx(wanted, rel=1e-12)
    assert (row.pairs, row.people) == (all_of_them.pairs, all_of_them.people) == (6, 6)


def test_a_sum_done_by_hand() -> None:
    """Differences 2, 0, 4 mm: 20 / 6, the root of it; the mean is 223 mm."""
    pairs = [(Decimal(a), Decimal(b)) for a, b in ((221, 223), (225, 225), (220, 224))]
    assert technical_error(pairs) == pytest.approx(1.8257418583505538, rel=1e-15)
    assert percent_error(pairs) == pytest.approx(0.8187183221302035, rel=1e-15)


# --- laws --------------------------------------------------------------------------------------

_two = st.lists(st.tuples(millimetres, millimetres), min_size=1, max_size=12)


@given(_two)
def test_swapping_the_rounds_changes_nothing(pairs: list[tuple[Decimal, Decimal]]) -> None:
    assert technical_error([(b, a) for a, b in pairs]) == technical_error(pairs)
    assert percent_error([(b, a) for a, b in pairs]) == percent_error(pairs)


@given(_two, st.randoms(use_true_random=False))
def test_the_order_of_the_pairs_changes_nothing(
    pairs: list[tuple[Decimal, Decimal]], chance: Any
) -> None:
    shuffled = chance.sample(pairs, len(pairs))
    assert technical_error(shuffled) == technical_error(pairs)


@given(_two, st.integers(1, 400))
def test_it_scales_with_the_readings_and_the_percentage_stays(
    pairs: list[tuple[Decimal, Decimal]], times: int
) -> None:
    larger = [(a * times, b * times) for a, b in pairs]
    assert technical_error(larger) == pytest.approx(times * technical_error(pairs), rel=1e-12)
    assert percent_error(larger) == pytest.approx(percent_error(pairs), rel=1e-12)


@given(_two, millimetres)
def test_moving_both_readings_alike_changes_nothing(
    pairs: list[tuple[Decimal, Decimal]], by: Decimal
) -> None:
    assert technical_error([(a + by, b + by) for a, b in pairs]) == technical_error(pairs)


@given(_two)
def test_it_is_nought_where_all_pairs_are_equal_and_only_there(
    pairs: list[tuple[Decimal, Decimal]],
) -> None:
    assert (technical_error(pairs) == 0) == all(a == b for a, b in pairs)


def test_no_pairs_have_no_error() -> None:
    with pytest.raises(ValueError, match="no pairs"):
        technical_error([])


# --- which readings make a pair ----------------------------------------------------------------


def _pair(first: Decimal, second: Decimal, *, person: str, measurer: str = "N-17") -> Pair:
    return Pair(measurer, person, Side.LEFT, Point.B, Kind.GIRTH, first, second)


def _read(number: int, cm: str, *, times: int = 1, by: str = "tern-k7qd", **more: Any) -> Entry:
    table = {"side": "left", "point": "B", "kind": "girth", "round": times} | more
    mm = Decimal(cm) * 10
    return entry_of("readings", f"{by}:{number}", **table, typed=cm, unit="cm", mm=mm)


def _answer(number: int, what: str, value: Any) -> Entry:
    return entry_of("answers", f"tern-k7qd:{number}", what=what, is_=value)


def _session(
    *entries: Entry, client: str = "SK-07", measurer: str = "N-17", last: int = 0
) -> Session:
    """Return a session of one client and measurer; `last` tells sessions apart."""
    told = [_answer(900, "client", client)] if client else []
    told += [_answer(901, "measurer", measurer)] if measurer else []
    name = f"{SESSION[:-4]}{last:04x}" if last else SESSION
    return Session(name, frozenset([*told, *entries]))


def _pairs(session: Session) -> list[tuple[str, str, str]]:
    found = pairs_of(session, Readings(session))
    return [(pair.measurer, str(pair.first_mm), str(pair.second_mm)) for pair in found]


def test_the_first_two_times_round_make_a_pair_and_the_third_none() -> None:
    session = _session(_read(1, "22.4"), _read(2, "22.9", times=2), _read(3, "22.5", times=3))
    assert _pairs(session) == [("N-17", "224.0", "229.0")]


def test_a_place_read_once_makes_no_pair() -> None:
    assert _pairs(_session(_read(1, "22.4"))) == []
    assert _pairs(_session(_read(1, "22.4"), _read(2, "22.5", side="right"))) == []
    assert _pairs(_session(_read(1, "22.4"), _read(2, "22.5"))) == [], "the same time round"


def test_a_corrected_reading_counts_as_corrected_and_a_struck_one_not_at_all() -> None:
    corrected = _read(3, "22.6", times=2, instead_of=["tern-k7qd:2"])
    two = (_read(1, "22.4"), _read(2, "26.2", times=2))
    assert _pairs(_session(*two, corrected)) == [("N-17", "224.0", "226.0")]
    struck = entry_of("withdrawn", "tern-k7qd:4", takes_back=["tern-k7qd:2"], why="slipped")
    assert _pairs(_session(*two, struck)) == []
    third = _read(5, "22.5", times=3)
    assert _pairs(_session(*two, struck, third)) == [], "a third reading is no fresh repeat"


def test_a_reading_not_taken_makes_no_pair() -> None:
    place = {"side": "left", "point": "B", "kind": "girth", "round": 2}
    refused = entry_of("readings", "tern-k7qd:2", **place, not_taken="pain")
    assert _pairs(_session(_read(1, "22.4"), refused)) == []


def test_a_disputed_place_is_left_out_and_counted() -> None:
    rivals = (
        _read(3, "22.6", times=2, instead_of=["tern-k7qd:2"]),
        _read(3, "22.7", times=2, instead_of=["tern-k7qd:2"], by="dunlin-m4ex"),
    )
    session = _session(_read(1, "22.4"), _read(2, "26.2", times=2), *rivals)
    assert _pairs(session) == []
    report = report_quality([session], RULES)
    assert (report.disputed, report.unusable) == (1, 0)
    assert report.end_digits == ()


def test_a_shoe_size_in_dispute_is_no_place_left_out() -> None:
    shoe = {"side": "both", "point": "foot", "kind": "shoe", "system": "eu", "round": 1}
    sizes = [entry_of("readings", f"tern-k7qd:{n}", **shoe, value=Decimal(n)) for n in (39, 40)]
    session = _session(*sizes)
    assert Readings(session).disputed((Side.BOTH, Point.FOOT, Kind.SHOE))
    assert report_quality([session], RULES).disputed == 0


def test_a_reading_that_cannot_be_used_is_counted() -> None:
    broken = _read(2, "22.5", times=0)
    report = report_quality([_session(_read(1, "22.4"), broken)], RULES)
    assert (report.disputed, report.unusable) == (0, 1)


def test_lengths_count_and_shoe_sizes_do_not() -> None:
    shoe = {"side": "both", "point": "foot", "kind": "shoe", "system": "eu", "value": Decimal(39)}
    shoes = [entry_of("readings", f"tern-k7qd:{n}", **shoe, round=n) for n in (1, 2)]
    lengths = [
        _read(n, cm, kind="length", point="D", times=n - 2) for n, cm in ((3, "41.0"), (4, "41.5"))
    ]
    session = _session(*shoes, *lengths)
    assert _pairs(session) == [("N-17", "410.0", "415.0")]


def test_the_readings_own_measurer_goes_before_the_sessions() -> None:
    two = (_read(1, "22.4", measurer="N-18"), _read(2, "22.6", times=2, measurer="N-18"))
    assert _pairs(_session(*two)) == [("N-18", "224.0", "226.0")]
    mixed = (_read(1, "22.4"), _read(2, "22.6", times=2, measurer="N-18"))
    assert _pairs(_session(*mixed)) == [], "that is no repeat by one measurer"


def test_a_session_without_a_measurer_makes_pairs_of_nobody_known() -> None:
    session = _session(_read(1, "22.4"), _read(2, "22.6", times=2), measurer="")
    [alone, together] = report_quality([session], RULES).repeat_error
    assert (alone.measurer, together.measurer) == ("", None)
    assert alone.tem_mm == together.tem_mm == math.sqrt(2)


# --- the report --------------------------------------------------------------------------------


def _sessions(*differences: int, measurer: str = "N-17", first: int = 1) -> list[Session]:
    """Return sessions of one client each whose second ankle reading differs by so many mm."""
    return [
        _session(
            _read(1, "22.0"),
            _read(2, str(Decimal(220 + differs) / 10), times=2),
            client=f"SK-{first + n}",
            measurer=measurer,
            last=first + n + (0 if measurer == "N-17" else 500),
        )
        for n, differs in enumerate(differences)
    ]


def test_rows_stand_by_measurer_with_all_together_last() -> None:
    ours = _sessions(2, 2, first=1)
    theirs = _sessions(4, 4, 4, measurer="N-18", first=50)
    report = report_quality([*theirs, *ours], RULES)
    rows = [(row.measurer, row.pairs, row.people) for row in report.repeat_error]
    assert rows == [("N-17", 2, 2), ("N-18", 3, 3), (None, 5, 5)]
    one, other, both = (row.tem_mm for row in report.repeat_error)
    assert one == pytest.approx(math.sqrt(2))
    assert other == pytest.approx(math.sqrt(8))
    assert both == pytest.approx(math.sqrt((2 * 4 + 3 * 16) / 10))


def test_both_legs_of_one_person_are_two_pairs_of_one_person() -> None:
    right = (_read(3, "22.0", side="right"), _read(4, "22.4", side="right", times=2))
    session = _session(_read(1, "22.4"), _read(2, "22.6", times=2), *right)
    row = report_quality([session], RULES).repeat_error[0]
    assert (row.pairs, row.people) == (2, 1)


def test_rows_stand_foot_upwards_girths_before_lengths() -> None:
    def at(point: str, kind: str, number: int) -> list[Entry]:
        return [_read(number + n, "30.0", point=point, kind=kind, times=1 + n) for n in (0, 1)]

    session = _session(*at("G", "girth", 1), *at("B", "length", 3), *at("B", "girth", 5))
    rows = [(row.point, row.kind) for row in report_quality([session], RULES).repeat_error]
    order = [(Point.B, Kind.GIRTH), (Point.B, Kind.LENGTH), (Point.G, Kind.GIRTH)]
    assert rows == order + order


@pytest.mark.parametrize(("differences", "known"), [((1, 2), False), ((1, 2, 3), True)])
def test_reliability_needs_three_pairs(differences: tuple[int, ...], known: bool) -> None:  # noqa: FBT001
    row = report_quality(_sessions(*differences), RULES).repeat_error[0]
    assert (row.reliability is not None) is known


def test_reliability_of_readings_that_are_all_equal_is_not_known() -> None:
    row = report_quality(_sessions(0, 0, 0), RULES).repeat_error[0]
    assert (row.tem_mm, row.reliability) == (0, None)


def test_the_report_does_not_depend_on_the_order_of_sessions() -> None:
    sessions = [*_sessions(1, 5, 2), *_sessions(4, 0, measurer="N-18", first=2)]
    assert report_quality(sessions, RULES) == report_quality(sessions[::-1], RULES)


# --- between measurers -------------------------------------------------------------------------


def test_two_sessions_of_one_client_on_one_day_are_compared_by_the_values_used() -> None:
    ours = _session(_read(1, "22.4"), _read(2, "22.6", times=2), last=1)
    theirs = _session(_read(1, "22.9"), measurer="N-18", last=2)
    [row] = report_quality([ours, theirs], RULES).between
    assert Readings(ours).adopted(Side.LEFT, Point.B, Kind.GIRTH).mm == 225  # type: ignore[union-attr]
    assert row.tem_mm == pytest.approx(4 / math.sqrt(2))
    assert row.tem_percent == pytest.approx(100 * 4 / math.sqrt(2) / 227)
    assert (row.pairs, row.people, row.measurers) == (1, 1, ("N-17", "N-18"))


def test_one_session_with_readings_by_two_measurers_is_compared() -> None:
    session = _session(
        _read(1, "22.4"), _read(2, "22.8", times=2, measurer="N-18"), _read(3, "22.6", times=3)
    )
    report = report_quality([session], RULES)
    assert report.repeat_error == ()
    assert [(row.pairs, row.tem_mm) for row in report.between] == [
        (1, pytest.approx(3 / math.sqrt(2)))
    ]


@pytest.mark.parametrize(
    "other",
    [
        {"client": "SK-08", "measurer": "N-18"},
        {"client": "", "measurer": "N-18"},
        {"measurer": "N-17"},
        {"measurer": ""},
    ],
)
def test_other_people_and_the_same_measurer_are_not_compared(other: dict[str, str]) -> None:
    sessions = [_session(_read(1, "22.4"), last=1), _session(_read(1, "22.9"), **other, last=2)]  # type: ignore[arg-type]
    assert report_quality(sessions, RULES).between == ()


@pytest.mark.parametrize(("hours", "compared"), [(14, True), (15, False), (-10, False)])
def test_only_the_same_local_day_is_compared(hours: int, compared: bool) -> None:  # noqa: FBT001
    """The first was measured at 09:12 local time, an hour ahead of UTC."""
    later = _read(1, "22.9", at=AT + timedelta(hours=hours))
    sessions = [_session(_read(1, "22.4"), last=1), _session(later, measurer="N-18", last=2)]
    assert bool(report_quality(sessions, RULES).between) is compared


def test_sessions_without_a_time_are_compared_with_no_other() -> None:
    def timeless(session: Session) -> Session:
        lines = [entry.line.replace(AT.isoformat(), '"unknown"') for entry in session.entries]
        arrays = [entry.array for entry in session.entries]
        entries = map(entry_from_line, arrays, lines)
        return Session(session.id, frozenset(entries))

    ours = timeless(_session(_read(1, "22.4"), last=1))
    theirs = timeless(_session(_read(1, "22.9"), measurer="N-18", last=2))
    assert (ours.measured_at, ours.text("client")) == (None, "SK-07")
    assert report_quality([ours, theirs], RULES).between == ()
    shared = timeless(_session(_read(1, "22.4"), _read(2, "22.9", times=2, measurer="N-18")))
    assert report_quality([shared], RULES).between != ()


def test_another_leg_or_point_is_not_compared() -> None:
    ours = _session(_read(1, "22.4"), last=1)
    others = [
        _read(1, "22.9", side="right"),
        _read(2, "36.0", point="C"),
        _read(3, "9.0", kind="length"),
    ]
    theirs = _session(*others, measurer="N-18", last=2)
    assert report_quality([ours, theirs], RULES).between == ()


# --- round figures -----------------------------------------------------------------------------


def _many(*centimetres: str, unit: str = "cm", last: int = 0) -> Session:
    entries = []
    for number, typed in enumerate(centimetres, 1):
        mm = Decimal(typed) * {"cm": Decimal(10), "mm": Decimal(1), "in": Decimal("25.4")}[unit]
        place = {"side": "left", "point": "C", "kind": "girth", "round": number}
        entries.append(
            entry_of("readings", f"tern-k7qd:{number}", **place, typed=typed, unit=unit, mm=mm)
        )
    return _session(*entries, last=last)


def test_readings_in_cm_that_end_in_nought_or_five_are_counted() -> None:
    session = _many("38", "38.0", "38.5", "38.50", "38.4", "38.25", "37.05", "40")
    [digits] = report_quality([session], RULES).end_digits
    assert (digits.readings, digits.zeros, digits.fives) == (8, 3, 2)
    assert digits.as_json() == {"measurer": "N-17", "readings": 8, "zero_or_five_percent": 62.5}


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_readings_in_other_units_are_not_counted(unit: str) -> None:
    assert report_quality([_many("385", "390", unit=unit)], RULES).end_digits == ()


@pytest.mark.parametrize(
    ("rounded", "others", "told"),
    [(13, 7, True), (12, 8, False), (13, 6, False), (19, 0, False), (20, 0, True)],
)
def test_round_figures_are_told_from_enough_readings_on(
    rounded: int,
    others: int,
    told: bool,  # noqa: FBT001
) -> None:
    """More than 60 % of at least 20."""
    report = report_quality([_many(*["38.5"] * rounded, *["38.4"] * others)], RULES)
    assert bool(report.too_round()) is told


def test_field_behaviour_in_an_open_data_set_is_told() -> None:
    """184 women's calves: 43.5 % end in .0 and 35.9 % in .5 (Johnson 2021, counted)."""
    calves = ["38"] * 80 + ["38.5"] * 66 + ["38.4"] * 38
    sessions = [_many(*calves[at : at + 46], last=1 + at) for at in range(0, 184, 46)]
    report = report_quality(sessions, RULES)
    [digits] = report.too_round()
    assert (digits.readings, round(digits.round_percent, 1)) == (184, 79.3)


# --- the error of a value used -----------------------------------------------------------------


def _error(report: QualityReport, measurer: str = "N-17") -> float | None:
    return error_of(report, measurer)(Point.B, Kind.GIRTH)


def test_a_measurers_own_error_holds_from_enough_pairs_on() -> None:
    few = report_quality(_sessions(*[4] * (RULES.least_pairs - 1)), RULES)
    assert _error(few) is None
    many = report_quality(_sessions(*[4] * RULES.least_pairs), RULES)
    assert _error(many) == pytest.approx(math.sqrt(8))
    assert _error(many, measurer="N-18") is None, "nobody takes another's error"
    assert error_of(many, "N-17")(Point.C, Kind.GIRTH) is None


def test_readings_of_nobody_named_are_nobodys_error() -> None:
    nobody = report_quality(_sessions(*[4] * RULES.least_pairs, measurer=""), RULES)
    assert _error(nobody, "") is None


def _median_of(count: int) -> float:
    """Return the standard deviation of the median of normal readings, by integration."""
    x = np.linspace(-9, 9, 200_001)
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    below = np.cumsum(density) * (x[1] - x[0])
    half = count // 2
    of_median = math.comb(count, half) * (half + 1) * density * (below * (1 - below)) ** half
    return math.sqrt(np.trapezoid(x**2 * of_median, x))


def test_the_error_of_a_mean_of_two_and_of_a_median_of_three() -> None:
    assert error_of_middle(2) == pytest.approx(1 / math.sqrt(2))
    assert error_of_middle(3) == pytest.approx(_median_of(3), abs=1e-4)
    for count in (5, 7, 9):
        assert _median_of(count) <= error_of_middle(count) < 1.06 * _median_of(count)


def test_more_readings_never_make_the_error_larger() -> None:
    errors = [error_of_middle(n) for n in range(1, 4)]
    assert errors == sorted(errors, reverse=True)


def test_no_readings_have_no_error() -> None:
    with pytest.raises(ValueError, match="0 readings"):
        error_of_middle(0)


# --- the document ------------------------------------------------------------------------------


def test_the_document_has_the_documented_shape() -> None:
    report = report_quality([*_sessions(2, 4, 3), *_sessions(1, measurer="N-18")], RULES)
    assert report.as_json() == {
        "repeat_error": [
            {
                "measurer": "N-17",
                "point": "B",
                "kind": "girth",
                "pairs": 3,
                "people": 3,
                "tem_mm": "2.198",
                "tem_percent": 0.993,
                "reliability": -0.5591,
            },
            {
                "measurer": "N-18",
                "point": "B",
                "kind": "girth",
                "pairs": 1,
                "people": 1,
                "tem_mm": "0.707",
                "tem_percent": 0.321,
                "reliability": None,
            },
            {
                "measurer": None,
                "point": "B",
                "kind": "girth",
                "pairs": 4,
                "people": 3,
                "tem_mm": "1.936",
                "tem_percent": 0.875,
                "reliability": -0.5,
            },
        ],
        "between": [
            {
                "point": "B",
                "kind": "girth",
                "pairs": 1,
                "people": 1,
                "measurers": ["N-17", "N-18"],
                "tem_mm": "0.354",
                "tem_percent": 0.16,
            }
        ],
        "end_digits": [
            {"measurer": "N-17", "readings": 6, "zero_or_five_percent": 50.0},
            {"measurer": "N-18", "readings": 2, "zero_or_five_percent": 50.0},
        ],
        "left_out": {"disputed_places": 0, "unusable_readings": 0},
    }
