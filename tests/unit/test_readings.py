"""Readings of a session: what replaced what, and the value used at each place."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from strategies import entry_from_line, entry_of, session_of

from fitcore.points import Kind, Point, Side
from fitcore.problems import ReadingError
from fitcore.record.reading import read_reading
from fitcore.record.readings import Adopted, Readings

if TYPE_CHECKING:
    from fitcore.record.entries import Entry

ANKLE = (Side.LEFT, Point.B, Kind.GIRTH)
SHOE = (Point.FOOT, Kind.SHOE)
TERN, DUNLIN, PETREL = "tern-k7qd", "dunlin-m4ex", "petrel-z9wa"


def _girth(by: str, cm: str, *, side: str = "left", number: int = 1, **more: object) -> Entry:
    mm = Decimal(cm) * 10
    place = {"side": side, "point": "B", "kind": "girth", "round": number}
    return entry_of("readings", by, **place, typed=cm, unit="cm", mm=mm, **more)


def _shoe(by: str, size: str, *, side: str = "both", number: int = 1, **more: object) -> Entry:
    place = {"side": side, "point": "foot", "kind": "shoe", "round": number}
    value = Decimal(size)
    return entry_of("readings", by, **place, typed=size, system="eu", value=value, **more)


def _struck(by: str, *names: str) -> Entry:
    return entry_of("withdrawn", by, takes_back=list(names), why="tape had slipped")


def _ankle(*entries: Entry) -> Adopted | None:
    return Readings(session_of(*entries)).adopted(*ANKLE)


@pytest.mark.parametrize(
    ("values", "mm", "spread"),
    [
        (["22.4"], "224", None),
        (["22.4", "22.6"], "225", "2"),
        (["22.4", "22.5"], "224.5", "1"),
        (["22.4", "22.4"], "224", "0"),
        (["22.4", "22.6", "23.9"], "226", "15"),
        (["23.9", "22.4", "22.6"], "226", "15"),
        (["22.4", "22.4", "63.1"], "224", "407"),
        (["22.25", "22.3"], "222.75", "0.5"),
    ],
)
def test_the_value_used_is_the_mean_of_two_and_the_median_of_three(
    values: list[str], mm: str, spread: str | None
) -> None:
    entries = [_girth(f"{TERN}:{n}", cm, number=n) for n, cm in enumerate(values, 1)]
    adopted = _ankle(*entries)
    assert adopted is not None
    assert adopted.mm == Decimal(mm)
    assert adopted.readings == len(values)
    assert adopted.spread_mm == (None if spread is None else Decimal(spread))
    assert set(adopted.names) == {str(entry.by) for entry in entries}


def test_two_laptops_reading_one_point_are_two_readings_never_a_conflict() -> None:
    readings = Readings(session_of(_girth(f"{TERN}:1", "22.3"), _girth(f"{DUNLIN}:1", "22.4")))
    adopted = readings.adopted(*ANKLE)
    assert adopted is not None
    assert (adopted.mm, adopted.readings) == (Decimal("223.5"), 2)
    assert not readings.disputed(ANKLE)


def test_nothing_read_gives_no_value() -> None:
    assert _ankle() is None
    assert _ankle(_girth(f"{TERN}:1", "22.4", side="right")) is None


def test_a_correction_replaces_the_reading_and_both_are_kept() -> None:
    session = session_of(
        _girth(f"{TERN}:1", "63.1"),
        _girth(f"{TERN}:2", "36.1", instead_of=[f"{TERN}:1"], why="digits swapped"),
    )
    readings = Readings(session)
    adopted = readings.adopted(*ANKLE)
    assert adopted is not None
    assert (adopted.mm, adopted.readings, adopted.names) == (Decimal(361), 1, (f"{TERN}:2",))
    assert readings.by_name(f"{TERN}:1") is not None


def test_a_withdrawn_correction_gives_the_first_reading_back() -> None:
    adopted = _ankle(
        _girth(f"{TERN}:1", "22.4"),
        _girth(f"{TERN}:2", "24.2", instead_of=[f"{TERN}:1"]),
        _struck(f"{TERN}:3", f"{TERN}:2"),
    )
    assert adopted is not None
    assert adopted.names == (f"{TERN}:1",)


def test_a_withdrawn_reading_no_longer_counts_and_restoring_brings_it_back() -> None:
    one, two = _girth(f"{TERN}:1", "22.4"), _girth(f"{TERN}:2", "63.1", number=2)
    struck = _struck(f"{TERN}:3", f"{TERN}:2")
    back = _struck(f"{DUNLIN}:9", f"{TERN}:3")
    after, restored = _ankle(one, two, struck), _ankle(one, two, struck, back)
    assert after is not None
    assert restored is not None
    assert (after.mm, after.readings) == (Decimal(224), 1)
    assert restored.readings == 2


@pytest.mark.parametrize("side", [Side.LEFT, Side.RIGHT])
def test_a_shoe_size_given_once_counts_for_either_leg(side: Side) -> None:
    adopted = Readings(session_of(_shoe(f"{TERN}:1", "39"))).adopted(side, *SHOE)
    assert adopted is not None
    assert (adopted.value, adopted.system, adopted.spread_mm) == (Decimal(39), "eu", None)
    assert Readings(session_of(_shoe(f"{TERN}:1", "39"))).adopted_of_leg(side) == (adopted,)


def test_a_legs_own_shoe_size_goes_before_the_one_for_both() -> None:
    readings = Readings(session_of(_shoe(f"{TERN}:1", "39"), _shoe(f"{TERN}:2", "41", side="left")))
    left, right = readings.adopted(Side.LEFT, *SHOE), readings.adopted(Side.RIGHT, *SHOE)
    assert left is not None
    assert right is not None
    assert (left.value, right.value) == (Decimal(41), Decimal(39))


def test_a_row_imported_on_two_laptops_counts_once() -> None:
    adopted = _ankle(
        _girth(f"{TERN}:1", "22.4", row="9f2c"),
        _girth(f"{DUNLIN}:7", "22.4", row="9f2c"),
        _girth(f"{DUNLIN}:8", "22.6", number=2, row="77aa"),
    )
    assert adopted is not None
    assert (adopted.readings, adopted.mm) == (2, Decimal(225))


def test_two_equal_values_that_were_typed_are_two_readings() -> None:
    adopted = _ankle(_girth(f"{TERN}:1", "22.4"), _girth(f"{DUNLIN}:7", "22.4"))
    assert adopted is not None
    assert (adopted.readings, adopted.spread_mm) == (2, 0)


def test_readings_of_one_round_stand_in_the_order_they_were_written() -> None:
    """The counter sorts as an integer."""
    readings = Readings(session_of(_girth(f"{TERN}:10", "22.6"), _girth(f"{TERN}:9", "22.4")))
    assert [reading.name for reading in readings.current(ANKLE)] == [f"{TERN}:9", f"{TERN}:10"]


def test_a_reason_for_not_taking_a_reading_stands_in_its_place() -> None:
    entry = entry_of(
        "readings", f"{TERN}:1", side="left", point="B", kind="girth", round=1, not_taken="dressing"
    )
    readings = Readings(session_of(entry))
    assert (readings.not_taken(ANKLE), readings.adopted(*ANKLE)) == ("dressing", None)
    assert readings.places() == (ANKLE,)
    taken = Readings(session_of(entry, _girth(f"{TERN}:2", "22.4", number=2)))
    assert taken.not_taken(ANKLE) == ""
    assert taken.adopted(*ANKLE) is not None


def test_twins_are_both_kept() -> None:
    readings = Readings(session_of(_girth(f"{TERN}:1", "22.4"), _girth(f"{TERN}:1", "24.2")))
    assert {reading.mm for reading in readings.current(ANKLE)} == {Decimal(224), Decimal(242)}


GOOD = 'by = "tern-k7qd:1", side = "left", point = "B", kind = "girth", round = 1, '


@pytest.mark.parametrize(
    ("fields", "mm"),
    [
        ('typed = "22.40", unit = "cm", mm = 224.0', "224"),
        ('typed = "15 1/8", unit = "in", mm = 384.175', "384.175"),  # and the second
        ('typed = "385mm", unit = "mm", mm = 385', "385"),
        ('unit = "cm", mm = 224', "224"),
    ],
)
def test_a_readings_line_is_read_exactly(fields: str, mm: str) -> None:
    assert read_reading(entry_from_line("readings", f"{{ {GOOD}{fields} }}")).mm == Decimal(mm)


@pytest.mark.parametrize(
    "fields",
    [
        *('typed = "22.40", unit = "cm", mm = 242.0', 'typed = "22.40", unit = "in", mm = 224.0'),
        *('unit = "cm"', "mm = 224", 'unit = "ell", mm = 224', 'unit = "cm", mm = 0'),
        *('unit = "cm", mm = -224', 'unit = "cm", mm = true', 'unit = "cm", mm = "224"'),
        'typed = "about 22", unit = "cm", mm = 220',
    ],
)
def test_a_line_that_contradicts_itself_is_a_problem_and_no_value(fields: str) -> None:
    entry = entry_from_line("readings", f"{{ {GOOD}{fields} }}")
    with pytest.raises(ReadingError):
        read_reading(entry)
    readings = Readings(session_of(entry))
    assert (len(readings.problems), readings.places()) == (1, ())


def test_adopted_values_are_printed_as_documented() -> None:
    girth = _ankle(_girth(f"{TERN}:1", "22.4"), _girth(f"{TERN}:2", "22.6", number=2))
    shoe = Readings(session_of(_shoe(f"{TERN}:1", "39.5"))).adopted(Side.LEFT, *SHOE)
    assert girth is not None
    assert shoe is not None
    keys = {"point", "kind", "value_mm", "value", "system", "readings", "spread_mm"}
    assert set(girth.as_json()) == keys
    assert girth.as_json() | {"value_mm": "225", "readings": 2, "spread_mm": "2"} == girth.as_json()
    expected = {"point": "foot", "kind": "shoe", "system": "eu", "value": "39.5", "spread_mm": None}
    assert shoe.as_json() | expected == shoe.as_json()
    assert shoe.as_json().get("value_mm") is None
