"""Reading again what the result asks about: what was asked in measuring, and both readings kept.

All charts and people are invented.
"""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from screening_cases import TODAY, ordinary
from screening_cases import Sitting as Told

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.surroundings import Surroundings
from fitcore.fit import fit_session
from fitcore.points import Kind, Point, Side
from fitcore.record.edits import draft_reading, parse_typed
from tui.desk import Desk
from tui.desk_again import arrival_words, go_to_measure, rounds_paused_at
from tui.judging import judge_typed, opening_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from fitcore.charts.chart import Chart
    from fitcore.leg_fit import ChartFit

    Sit = Callable[..., "Sitting"]

SHIPPED = load_profiles()
LOW_TIDE = next(chart for chart in SHIPPED.charts if chart.id == "mill-four-low-tide")
SPINDRIFT = next(chart for chart in SHIPPED.charts if chart.id == "mill-two-spindrift")
LEFT, RIGHT = Side.LEFT, Side.RIGHT
ANKLE, CALF = (LEFT, Point.B, Kind.GIRTH), (LEFT, Point.C, Kind.GIRTH)
MORNING = datetime(2026, 3, 5, 8, 40, tzinfo=UTC)


def user_chart(overlap: str = "larger", calf_shift: int = 0, **values: Any) -> Chart:
    """S 18 to 22, M 22 to 26, L 24 to 28 round the ankle, the calf likewise."""
    ankle, calf = LOW_TIDE.dimensions
    sizes = [
        LOW_TIDE.sizes[0].model_copy(
            update={
                "size": name,
                "ranges": {
                    ankle.id: (Decimal(low), Decimal(low + 40)),
                    calf.id: (Decimal(at + calf_shift), Decimal(at + calf_shift + 80)),
                },
            }
        )
        for name, low, at in (("S", 180, 280), ("M", 220, 340), ("L", 240, 400))
    ]
    update = {"id": "own-l", "line": "Own L", "overlap": overlap, "sizes": tuple(sizes), **values}
    return LOW_TIDE.model_copy(update=update)


class Sitting:
    """A desk whose chart is the user's, and the nurse's way through one field."""

    def __init__(self, folder: Path, *charts: Chart, favourites: frozenset[str]) -> None:
        self.now = MORNING
        around = Surroundings(
            self.clock,
            random.Random(1).randbytes,  # noqa: S311 - the same letters in every run
            folder / "state",
            "UTC",
        )
        self.folder = DataFolder(folder / "data", around, label="tern", measurer="N-17")
        self.profiles = replace(SHIPPED, charts=charts, favourites=favourites)
        self.desk = Desk(self.folder, self.profiles, self.folder.new_session(), now=self.clock)
        screened = {f"screen.{name}": value for name, value in ordinary().items()}
        self.desk.answer(screened)  # type: ignore[arg-type]
        self.desk.start_measuring(
            {
                "purpose": "standing",
                "forms": ["below_knee"],
                "sides": ["left", "right"],
                "protocol": "below-knee-short",
                "rising_at": MORNING - timedelta(hours=1),
                "posture": "standing",
                "bare_skin": "yes",
                "compression": "none",
                "tape": "cm",
                "dent": "none",
                "swollen": "none",
                "repeats": "where_doubtful",
            }
        )

    def clock(self) -> datetime:
        self.now += timedelta(seconds=20)
        return self.now

    def read(self, *typed: str) -> Sitting:
        """Type and press Enter, twice where something is doubted."""
        for text in typed:
            judged = judge_typed(self.desk, text, seen=False)
            if judged.outcome == "look_again":
                judged = judge_typed(self.desk, text, seen=True)
            assert judged.outcome == "ready", judged
            self.desk.store(judged)
        return self

    def fit(self, chart: str = "own-l", leg: int = 0) -> ChartFit:
        return next(f for f in self.desk.result().legs[leg].charts if f.chart.id == chart)

    def values(self, place: tuple[Side, Point, Kind]) -> list[tuple[int, Decimal | None]]:
        taken = self.desk.readings.taken(place)
        return [(reading.round, reading.mm) for reading in taken]


@pytest.fixture
def sit(tmp_path: Path) -> Iterator[Sit]:
    folders: list[DataFolder] = []

    def begin(*charts: Chart, favourites: frozenset[str] = frozenset()) -> Sitting:
        sitting = Sitting(tmp_path / str(len(folders)), *charts, favourites=favourites)
        folders.append(sitting.folder)
        return sitting

    yield begin
    for folder in folders:
        folder.close()


WIDE = {**user_chart().sizes[1].ranges, LOW_TIDE.dimensions[0].id: (Decimal(200), Decimal(260))}
CLEAR = user_chart(
    id="own-clear",
    line="Clear",
    sizes=(user_chart().sizes[1].model_copy(update={"ranges": WIDE}),),
)
"""One wide size."""


# --- what is asked in measuring ------------------------------------------------------------------


@given(
    st.sampled_from(["larger", "smaller", "ankle"]),
    st.integers(180, 280),
    st.integers(290, 470),
    st.integers(-15, 15),
    st.sampled_from([None, 5.0]),
)
def test_what_the_result_calls_measure_again_was_asked_for_in_measuring(
    overlap: str, ankle: int, calf: int, shift: int, error: float | None
) -> None:
    charts = [user_chart(overlap, shift), SPINDRIFT]
    told = Told()
    told.answer_all(**ordinary())
    told.answer("sides", ["left"])
    places = {(LEFT, Point.B, Kind.GIRTH): ankle, (LEFT, Point.C, Kind.GIRTH): calf,
              (LEFT, Point.D, Kind.LENGTH): 400}  # fmt: skip
    for place, mm in places.items():
        told.add(draft_reading(place, 1, parse_typed(place[2], str(mm / 10), "cm"), told.at))
    own = None if error is None else lambda *_: error
    found = fit_session(told.session, charts, SHIPPED.rules, on=TODAY, own_error=own)
    for fit in found.legs[0].charts:
        if fit.asks_again:
            assert set(fit.places_named(LEFT)) <= found.doubtful


def test_an_ankle_on_the_edge_is_read_again_before_the_result(sit: Sit) -> None:
    sitting = sit(user_chart()).read(
        "22.0", "35.0", "41.0", "EU 39", "23.0", "36.5", "41.0", "EU 39"
    )
    assert sitting.fit().summary.code == "measure_again"
    assert not sitting.desk.all_done
    assert (sitting.desk.step.place, sitting.desk.step.round) == (ANKLE, 2)
    sitting.read("22.1")
    assert sitting.desk.all_done
    assert sitting.fit().summary.code != "measure_again"


def test_of_favourites_alone_an_edge_is_asked_about_and_the_rest_from_the_result(sit: Sit) -> None:
    sitting = sit(user_chart(), CLEAR, favourites=frozenset({CLEAR.id}))
    sitting.read("22.0", "35.0", "41.0", "EU 39", "23.0", "36.5", "41.0", "EU 39")
    assert (sitting.desk.all_done, sitting.fit().summary.code) == (True, "measure_again")
    go_to_measure(sitting.desk, LEFT, sitting.fit())
    assert (sitting.desk.step.place, sitting.desk.step.round) == (ANKLE, 2)


# --- from the result back to the tape ------------------------------------------------------------


def measured_on_an_edge(sit: Sit) -> Sitting:
    sitting = sit(user_chart(), CLEAR, favourites=frozenset({CLEAR.id}))
    return sitting.read("22.0", "35.0", "41.0", "EU 39", "23.0", "36.5", "41.0", "EU 39")


def test_the_second_reading_is_blind_and_stands_beside_the_first(sit: Sit) -> None:
    sitting = measured_on_an_edge(sit)
    desk = sitting.desk
    go_to_measure(desk, LEFT, sitting.fit())
    assert desk.reading_here is None
    assert not desk.shows(ANKLE)
    assert "as if for the first time: both readings are kept" in opening_words(desk)[0]
    sitting.read("22.2")
    assert sitting.values(ANKLE) == [(1, Decimal("220")), (2, Decimal("222"))]
    adopted = desk.readings.adopted(*ANKLE)
    assert adopted is not None
    assert adopted.mm == 221
    assert desk.all_done


def test_the_first_reading_can_still_be_corrected_at_its_own_field(sit: Sit) -> None:
    sitting = measured_on_an_edge(sit)
    go_to_measure(sitting.desk, LEFT, sitting.fit())
    sitting.desk.go_to(next(step for step in sitting.desk.steps if step.place == ANKLE))
    assert "Type a new value to correct it" in arrival_words(sitting.desk)
    sitting.read("22.4")
    assert sitting.values(ANKLE) == [(1, Decimal("224"))]


def test_what_was_half_typed_at_a_second_reading_is_there_after_a_pause(sit: Sit) -> None:
    sitting = measured_on_an_edge(sit)
    go_to_measure(sitting.desk, LEFT, sitting.fit())
    sitting.desk.half_typed[sitting.desk.step.name] = "22."
    sitting.desk.pause()
    again = Desk(sitting.folder, sitting.profiles, sitting.desk.session, now=sitting.clock)
    assert (again.step.name, again.half_typed) == ("left B girth 2", {"left B girth 2": "22."})


def test_the_leg_shown_decides_which_leg_is_read(sit: Sit) -> None:
    sitting = sit(user_chart(), CLEAR, favourites=frozenset({CLEAR.id}))
    sitting.read("23.0", "36.5", "41.0", "EU 39", "22.0", "35.0", "41.0", "EU 39")
    go_to_measure(sitting.desk, RIGHT, sitting.fit(leg=1))
    assert sitting.desk.step.place == (RIGHT, Point.B, Kind.GIRTH)


def test_where_nothing_is_named_the_first_doubt_is_gone_to_else_the_first_field(sit: Sit) -> None:
    sitting = sit(CLEAR).read("23.0", "38.0", "41.0", "EU 39", "23.1", "38.2", "41.0", "EU 39")
    clear = sitting.fit("own-clear")
    assert clear.summary.code == "clear"
    go_to_measure(sitting.desk, LEFT, clear)
    assert sitting.desk.step == sitting.desk.steps[0]
    doubted = sit(CLEAR).read("23.0", "38.0", "41.0", "EU 34.6")
    doubted.read("23.1", "38.2", "41.0", "EU 39")
    go_to_measure(doubted.desk, LEFT, doubted.fit("own-clear"))
    assert doubted.desk.step.place == (LEFT, Point.FOOT, Kind.LENGTH)


def test_a_measure_the_chart_lacks_is_gone_to(sit: Sit) -> None:
    sitting = sit(user_chart()).read("23.0")
    sitting.desk.move(3)
    go_to_measure(sitting.desk, LEFT, sitting.fit())
    assert sitting.desk.step.place == CALF


@pytest.mark.parametrize(
    ("paused", "found"),
    [
        (["left B girth 2", "22."], {ANKLE: 2}),
        (["left B girth 2", "", "left B girth 3", "1"], {ANKLE: 3}),
        (["left B girth 1", "22."], {}),
        (["setup", ""], {}),
        (["girth left B 2", "", "left B girth x", "", "", ""], {}),
        (None, {}),
    ],
)
def test_further_rounds_are_read_from_where_a_session_paused(
    paused: object, found: dict[Any, int]
) -> None:
    assert rounds_paused_at(paused) == found


# --- corrections and shoe sizes are doubted as first readings are --------------------------------


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        (0, "32.5", "32.5 cm"),
        (0, "8.7", "cannot be right"),
        (2, "22.1", ("outside 30 to 56 cm", "the other leg 41.0 cm")),
        (3, "EU 34.6", "sizes are whole or half"),
        (3, "EU 24", "a foot of about 14.7 cm"),
        (3, "34.6", "outside 21 to 31 cm"),
    ],
)
def test_a_correction_is_doubted_as_a_first_reading_is(
    field: int, typed: str, words: str | tuple[str, ...], sit: Sit
) -> None:
    sitting = sit(user_chart())
    first = ("23.0", "38.0", "41.0", "EU 39")
    fresh = sit(user_chart()).read(*first[:field])
    sitting.read(*first, "23.0", "38.1", "41.0", "EU 39")
    sitting.desk.go_to(sitting.desk.steps[field])
    for desk in (fresh.desk, sitting.desk):
        judged = judge_typed(desk, typed, seen=False)
        assert judged.outcome == "look_again"
        either = (words,) if isinstance(words, str) else words
        assert any(each in judged.message for each in either)
        assert {"soft_range", "hard_range", "shoe_step"} & {*judged.doubts}


def test_a_foot_corrected_to_quite_another_is_asked_about(sit: Sit) -> None:
    """22.6 is a usual foot and a usual ankle: only what it would replace tells them apart."""
    sitting = sit(CLEAR).read("23.0", "38.0", "41.0", "EU 39", "23.1", "38.2", "41.0", "EU 39")
    desk = sitting.desk
    desk.go_to(desk.steps[-1])
    judged = judge_typed(desk, "22.6", seen=False)
    assert judged.outcome == "look_again"
    assert judged.message.startswith(
        "Recorded here: EU 39, a foot of about 24.7 cm. Is 22.6 cm meant for another field?"
    )
    assert judge_typed(desk, "22.6", seen=True).outcome == "ready"
    assert judge_typed(desk, "24.5", seen=False).outcome == "ready"
    assert judge_typed(desk, "EU 38", seen=False).outcome == "ready"
    assert judge_typed(desk, "EU 33", seen=False).outcome == "ready"
