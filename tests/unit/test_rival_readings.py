"""Corrections and strikings-out that meet: one reading, and what several laptops made of it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from strategies import entry_of, session_of

from fitcore.points import Kind, Point, Side
from fitcore.record.readings import Readings

if TYPE_CHECKING:
    from fitcore.record.entries import Entry
    from fitcore.record.readings import Adopted

ANKLE = (Side.LEFT, Point.B, Kind.GIRTH)
SHOE = (Point.FOOT, Kind.SHOE)
TERN, DUNLIN, PETREL = "tern-k7qd", "dunlin-m4ex", "petrel-z9wa"


def _girth(by: str, cm: str, *, side: str = "left", **more: object) -> Entry:
    place = {"side": side, "point": "B", "kind": "girth", "round": 1}
    return entry_of("readings", by, **place, typed=cm, unit="cm", mm=Decimal(cm) * 10, **more)


def _shoe(by: str, size: str) -> Entry:
    place = {"side": "both", "point": "foot", "kind": "shoe", "round": 1}
    return entry_of("readings", by, **place, typed=size, system="eu", value=Decimal(size))


def _struck(by: str, *names: str) -> Entry:
    return entry_of("withdrawn", by, takes_back=list(names), why="tape had slipped")


def _ankle(*entries: Entry) -> Adopted | None:
    return Readings(session_of(*entries)).adopted(*ANKLE)


def test_two_different_corrections_of_one_reading_leave_no_value_until_somebody_chooses() -> None:
    rivals = [
        _girth(f"{TERN}:1", "63.1"),
        _girth(f"{TERN}:2", "36.1", instead_of=[f"{TERN}:1"]),
        _girth(f"{DUNLIN}:5", "31.6", instead_of=[f"{TERN}:1"]),
    ]
    readings = Readings(session_of(*rivals))
    assert readings.disputed(ANKLE)
    assert readings.adopted(*ANKLE) is None
    chosen = _girth(f"{PETREL}:1", "36.1", instead_of=[f"{TERN}:2", f"{DUNLIN}:5"])
    settled = Readings(session_of(*rivals, chosen))
    assert not settled.disputed(ANKLE)
    assert settled.adopted(*ANKLE) is not None


def test_corrections_that_disagree_about_the_leg_are_disputed_too() -> None:
    """Two different corrections of one reading are a conflict, wherever they put it."""
    readings = Readings(
        session_of(
            _girth(f"{TERN}:1", "22.4"),
            _girth(f"{TERN}:2", "22.4", side="right", instead_of=[f"{TERN}:1"]),
            _girth(f"{DUNLIN}:5", "24.2", instead_of=[f"{TERN}:1"]),
        )
    )
    assert readings.disputed(ANKLE)
    assert readings.adopted(*ANKLE) is None
    assert readings.adopted(Side.RIGHT, Point.B, Kind.GIRTH) is None


def test_the_same_correction_made_on_two_laptops_is_one_reading_not_a_repeat() -> None:
    """The same value twice is shown as one value with two origins."""
    readings = Readings(
        session_of(
            _girth(f"{TERN}:1", "63.1"),
            _girth(f"{TERN}:2", "36.1", instead_of=[f"{TERN}:1"]),
            _girth(f"{DUNLIN}:5", "36.1", instead_of=[f"{TERN}:1"]),
        )
    )
    adopted = readings.adopted(*ANKLE)
    assert not readings.disputed(ANKLE)
    assert adopted is not None
    assert (adopted.mm, adopted.readings, adopted.spread_mm) == (Decimal(361), 1, None)


def test_a_reading_withdrawn_here_and_corrected_there_is_disputed() -> None:
    """Withdrawn and corrected concurrently is a conflict, shown."""
    readings = Readings(
        session_of(
            _girth(f"{TERN}:1", "63.1"),
            _girth(f"{DUNLIN}:5", "36.1", instead_of=[f"{TERN}:1"]),
            _struck(f"{TERN}:2", f"{TERN}:1"),
        )
    )
    assert readings.disputed(ANKLE)


def test_two_laptops_shoe_sizes_that_differ_have_no_winner_nobody_chose() -> None:
    """Concurrent different values are a conflict with all values kept."""
    readings = Readings(session_of(_shoe(f"{TERN}:1", "39"), _shoe(f"{DUNLIN}:1", "41")))
    assert readings.disputed((Side.BOTH, *SHOE)) or readings.adopted(Side.LEFT, *SHOE) is None


def test_correcting_one_copy_of_an_imported_row_corrects_the_row() -> None:
    """Equal digests count once; a mean of the wrong and the right is neither."""
    adopted = _ankle(
        _girth(f"{TERN}:1", "63.1", row="9f2c"),
        _girth(f"{DUNLIN}:7", "63.1", row="9f2c"),
        _girth(f"{TERN}:2", "36.1", instead_of=[f"{TERN}:1"], why="digits swapped"),
    )
    assert adopted is not None
    assert (adopted.readings, adopted.mm) == (1, Decimal(361))


ROWS = [_girth(f"{TERN}:1", "63.1", row="9f2c"), _girth(f"{DUNLIN}:7", "63.1", row="9f2c")]
"""One row of one sheet, imported on two laptops: one reading."""


def test_copies_of_a_row_corrected_differently_are_disputed() -> None:
    readings = Readings(
        session_of(
            *ROWS,
            _girth(f"{TERN}:2", "36.1", instead_of=[f"{TERN}:1"]),
            _girth(f"{DUNLIN}:8", "31.6", instead_of=[f"{DUNLIN}:7"]),
        )
    )
    assert readings.disputed(ANKLE)
    assert readings.adopted(*ANKLE) is None


def test_copies_of_a_row_corrected_alike_are_one_reading() -> None:
    adopted = _ankle(
        *ROWS,
        _girth(f"{TERN}:2", "36.1", instead_of=[f"{TERN}:1"]),
        _girth(f"{DUNLIN}:8", "36.1", instead_of=[f"{DUNLIN}:7"]),
    )
    assert adopted is not None
    assert (adopted.readings, adopted.spread_mm) == (1, None)


def test_a_row_struck_out_here_and_corrected_there_is_disputed() -> None:
    readings = Readings(
        session_of(
            *ROWS,
            _struck(f"{TERN}:2", f"{TERN}:1"),
            _girth(f"{DUNLIN}:8", "36.1", instead_of=[f"{DUNLIN}:7"]),
        )
    )
    assert readings.disputed(ANKLE)


STRUCK_AND_CORRECTED = [
    _girth(f"{TERN}:1", "63.1"),
    _struck(f"{TERN}:2", f"{TERN}:1"),
    _girth(f"{DUNLIN}:5", "36.1", instead_of=[f"{TERN}:1"]),
]
ALL_HEADS = [f"{DUNLIN}:5", f"{TERN}:1", f"{TERN}:2"]


@pytest.mark.parametrize(
    ("answer", "mm"),
    [
        (_girth(f"{PETREL}:1", "36.2", instead_of=ALL_HEADS), "362"),
        (_girth(f"{PETREL}:1", "36.2", instead_of=ALL_HEADS[:2]), "362"),
        (_struck(f"{PETREL}:1", f"{TERN}:2"), "361"),
        (_struck(f"{PETREL}:1", f"{DUNLIN}:5"), None),
    ],
    ids=["read anew", "corrected again", "not struck out after all", "struck out as well"],
)
def test_a_reading_struck_out_here_and_corrected_there_is_settled_by_an_answer(
    answer: Entry, mm: str | None
) -> None:
    """A line instead of all heads closes the question, and closes it everywhere."""
    readings = Readings(session_of(*STRUCK_AND_CORRECTED, answer))
    adopted = readings.adopted(*ANKLE)
    assert not readings.disputed(ANKLE)
    assert (None if adopted is None else str(adopted.mm.normalize())) == mm


def test_a_corrected_reading_struck_out_whole_leaves_room_for_a_new_one() -> None:
    adopted = _ankle(
        _girth(f"{TERN}:1", "63.1"),
        _girth(f"{TERN}:2", "36.1", instead_of=[f"{TERN}:1"]),
        _struck(f"{TERN}:3", f"{TERN}:2", f"{TERN}:1"),
        _girth(f"{TERN}:4", "36.0"),
    )
    assert adopted is not None
    assert adopted.names == (f"{TERN}:4",)


def test_a_chain_of_corrections_is_no_dispute() -> None:
    adopted = _ankle(
        _girth(f"{TERN}:1", "63.1"),
        _girth(f"{TERN}:2", "31.6", instead_of=[f"{TERN}:1"]),
        _girth(f"{TERN}:3", "36.1", instead_of=[f"{TERN}:1", f"{TERN}:2"]),
    )
    assert adopted is not None
    assert (adopted.mm, adopted.readings) == (Decimal(361), 1)
