"""The report on measuring quality, of sessions that come one by one and in any order.

An archive's sessions do not fit into memory together: none may be kept once it was looked at.
"""

from __future__ import annotations

import gc
import tracemalloc
import weakref
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hypothesis import given
from hypothesis import strategies as st
from strategies import AT, SESSION, entry_of

from fitcore.disk.profile_reading import read_profile
from fitcore.quality import quality_report
from fitcore.quality.quality_report import QualityReport, gather, report_quality
from fitcore.quality.quality_rules import QualityRules
from fitcore.record.readings import Readings
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import pytest

    from fitcore.record.entries import Entry

FILE = Path(__file__).resolve().parents[2] / "profiles" / "quality" / "repeat-error.toml"
RULES = read_profile(FILE.read_bytes(), QualityRules, FILE.name)
assert isinstance(RULES, QualityRules), RULES

TYPED = {
    "cm": ("22.0", "22.4", "22.40", "22.5", "23.15", "30"),
    "mm": ("224", "231.5"),
    "in": ("8.875", "9.0625"),
}
IN_MM = {"cm": Decimal(10), "mm": Decimal(1), "in": Decimal("25.4")}
_measurers = st.sampled_from(("N-17", "N-18", "N-19", ""))


@st.composite
def _readings(draw: st.DrawFn, number: int, day: int) -> Entry:
    often = draw(st.integers(0, 7)) > 0  # the rest is out of the ordinary
    unit = draw(st.sampled_from(("cm", "cm", "cm", "mm", "in")))
    typed = draw(st.sampled_from(TYPED[unit]))
    fields: dict[str, Any] = {
        "side": draw(st.sampled_from(("left", "left", "right"))),
        "point": draw(st.sampled_from(("B", "B", "C"))),
        "kind": "girth",
        "round": 1 + number % 2 if often else draw(st.sampled_from((1, 2, 3, 0))),
    }  # round nought cannot be used
    if often or draw(st.booleans()):
        fields |= {"typed": typed, "unit": unit, "mm": Decimal(typed) * IN_MM[unit]}
    else:
        fields["not_taken"] = "dressing"
    if number > 1 and not often:
        fields["instead_of"] = ["tern-k7qd:1"]
    if not often and (own := draw(_measurers)):
        fields["measurer"] = own
    at = AT + timedelta(days=day, hours=draw(st.integers(0, 8)))
    return entry_of("readings", f"tern-k7qd:{number}", at=at, **fields)


@st.composite
def _sittings(draw: st.DrawFn) -> list[Session]:
    """Draw sessions of few people and days, so that some are of one person on one day."""
    found = []
    for last in range(draw(st.integers(0, 6))):
        day = draw(st.sampled_from((0, 0, 1)))
        entries = [draw(_readings(number, day)) for number in range(1, draw(st.integers(2, 9)))]
        client = draw(st.sampled_from(("SK-1", "SK-1", "SK-2", "")))
        told = {900: ("client", client), 901: ("measurer", draw(_measurers))}
        entries += [
            entry_of("answers", f"tern-k7qd:{number}", what=what, is_=value)
            for number, (what, value) in told.items()
            if value
        ]
        found.append(Session(f"{SESSION[:-2]}{last:02x}", frozenset(entries)))
    return found


# --- in any order, once -----------------------------------------------------------------------


@given(_sittings(), st.randoms(use_true_random=False))
def test_the_order_of_sessions_changes_nothing(sessions: list[Session], chance: Any) -> None:
    shuffled = chance.sample(sessions, len(sessions))
    assert report_quality(shuffled, RULES) == report_quality(sessions, RULES)


@given(_sittings())
def test_sessions_that_come_one_by_one_give_the_report_of_a_list(sessions: list[Session]) -> None:
    of_list = report_quality(sessions, RULES)
    one_by_one = (session for session in sessions)
    assert report_quality(one_by_one, RULES) == of_list
    assert list(one_by_one) == [], "gone through to the end"
    assert gather(iter(sessions)).sessions == len(sessions)


@given(_sittings())
def test_what_is_left_out_and_the_end_digits_are_those_counted_by_hand(
    sessions: list[Session],
) -> None:
    report = report_quality(iter(sessions), RULES)
    assert (report.disputed, report.unusable, _digits(report)) == _counted(sessions)


def _digits(report: QualityReport) -> dict[str, tuple[int, int, int]]:
    return {row.measurer: (row.readings, row.zeros, row.fives) for row in report.end_digits}


def _counted(sessions: Sequence[Session]) -> tuple[int, int, dict[str, tuple[int, int, int]]]:
    disputed = unusable = 0
    ends: dict[str, tuple[int, int, int]] = {}
    for session in sessions:
        readings = Readings(session)
        unusable += len(readings.problems)
        for place in readings.places():
            if readings.disputed(place):
                disputed += 1
                continue
            for reading in readings.taken(place):
                if reading.unit != "cm" or reading.mm is None:
                    continue
                name = reading.measurer or session.text("measurer")
                count, zeros, fives = ends.get(name, (0, 0, 0))
                millimetres = reading.mm / 10 * 10 % 10
                ends[name] = (count + 1, zeros + (millimetres == 0), fives + (millimetres == 5))
    return disputed, unusable, ends


# --- none is kept -----------------------------------------------------------------------------


@dataclass
class _Stick:
    """Sessions made as they are asked for; each time it looks whether earlier ones still live."""

    made: list[weakref.ref[Session]]
    alive: list[int]

    def read(self, number: int) -> Session:
        gc.collect()  # so that a mere circle of references is no fault
        self.alive.append(sum(session() is not None for session in self.made))
        session = _twice_read(number)
        self.made.append(weakref.ref(session))
        return session


def _twice_read(number: int) -> Session:
    """Return a session by two measurers, with a reading that cannot be used and one disputed."""
    place = {"side": "left", "kind": "girth", "unit": "cm", "typed": "22.4", "mm": Decimal(224)}
    again = {"typed": "22.5", "mm": Decimal(225)}
    lines: list[dict[str, Any]] = [
        place | {"point": "B", "round": 1},
        place | {"point": "B", "round": 2} | again,
        place | {"point": "B", "round": 3, "measurer": "N-18"},
        place | {"point": "C", "round": 0},
        place | {"point": "D", "round": 1},
        place | {"point": "D", "round": 1, "instead_of": ["tern-k7qd:5"]},
        place | {"point": "D", "round": 1, "instead_of": ["tern-k7qd:5"]} | again,
    ]
    answers = {"client": f"SK-{number}", "measurer": "N-17"}
    entries = [entry_of("readings", f"tern-k7qd:{n}", **line) for n, line in enumerate(lines, 1)]
    entries += [
        entry_of("answers", f"tern-k7qd:{n}", what=what, is_=value)
        for n, (what, value) in enumerate(answers.items(), 900)
    ]
    return Session(f"{SESSION[:-4]}{number:04x}", frozenset(entries))


def test_each_session_is_let_go_before_the_next_is_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sorted_out: list[weakref.ref[Readings]] = []

    class Watched(Readings):
        def __init__(self, session: Session) -> None:
            super().__init__(session)
            sorted_out.append(weakref.ref(self))

    monkeypatch.setattr(quality_report, "Readings", Watched)
    stick = _Stick([], [])
    sessions: Iterator[Session] = map(stick.read, range(12))
    gathered = gather(sessions)
    assert stick.alive == [0] * 12
    gc.collect()
    assert len(sorted_out) == 12
    assert [readings for readings in sorted_out if readings() is not None] == []
    report = gathered.report(RULES)
    assert (report.disputed, report.unusable) == (12, 12)
    assert [row.pairs for row in report.repeat_error] == [12, 12]
    assert [(row.pairs, row.people) for row in report.between] == [(12, 12)]


def test_little_is_held_of_each_session() -> None:
    """Eight places read twice: equal values and places are held once, else it were 4.7 kB."""
    gather(_eight_places(number) for number in range(20))  # loads what is loaded once
    gc.collect()
    tracemalloc.start()
    try:
        gathered = gather(_eight_places(number) for number in range(100))
        gc.collect()
        held, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert [row.pairs for row in gathered.report(RULES).repeat_error] == [200] * 8
    assert held / 100 < 2_000


def _eight_places(number: int) -> Session:
    places = product(("left", "right"), ("B", "B1", "C", "D"), (1, 2))
    entries = [entry_of("answers", "tern-k7qd:900", what="client", is_=f"SK-{number}")]
    entries.append(entry_of("answers", "tern-k7qd:901", what="measurer", is_="N-17"))
    for name, (side, point, turn) in enumerate(places, 1):
        place = {"side": side, "point": point, "kind": "girth", "round": turn}
        mm = Decimal(2200 + 10 * (number % 20) + turn) / 10
        entry = entry_of("readings", f"tern-k7qd:{name}", **place, typed=f"{mm}", unit="mm", mm=mm)
        entries.append(entry)
    return Session(f"{SESSION[:-4]}{number:04x}", frozenset(entries))
