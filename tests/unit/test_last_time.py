"""Last time: which older session a place, a leg and a client are compared with."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from strategies import entry_of, session_of

from fitcore.points import Kind, Point, Side
from fitcore.record.last_time import LastTime, sessions_before

if TYPE_CHECKING:
    from fitcore.record.session import Session

CLIENT = "guest-7"
C = (Point.C, Kind.GIRTH)


def visit(number: int, client: str = CLIENT, **girths: str) -> Session:
    """A session filed as the number-th; girths of the calf in mm by leg, `_` for a second round."""
    laptop = f"tern-k7{number}d"
    entries = [entry_of("answers", f"{laptop}:1", what="client", is_=client)]
    for count, (side, mm) in enumerate(girths.items(), start=2):
        where = {"side": side, "point": "C", "kind": "girth", "round": 1}
        value = {"typed": mm, "unit": "mm", "mm": Decimal(mm)} if mm else {"not_taken": "pain"}
        entries.append(entry_of("readings", f"{laptop}:{count}", **where, **value))
    return replace(session_of(*entries), id=f"019c{number:04x}-f000-7153-8582-e9bfec1dcd37")


def test_each_leg_is_looked_up_in_the_newest_session_that_measured_it() -> None:
    both, right = visit(1, left="362", right="364"), visit(2, right="371")
    last = LastTime([right, both])
    assert last.value_mm(Side.RIGHT, *C) == Decimal(371)
    assert last.value_mm(Side.LEFT, *C) == Decimal(362)
    assert [last.of_leg(side)[0] for side in (Side.LEFT, Side.RIGHT)] == [both, right]  # type: ignore[index]
    assert last.of_place(Side.LEFT, *C)[0] is both  # type: ignore[index]
    assert last.of_place(Side.LEFT, Point.B, Kind.GIRTH) is None
    assert last.value_mm(Side.LEFT, Point.B, Kind.GIRTH) is None


def test_a_reading_not_taken_hides_no_older_one() -> None:
    last = LastTime([visit(2, left=""), visit(1, left="362")])
    assert last.value_mm(Side.LEFT, *C) == Decimal(362)
    assert last.of_place(Side.LEFT, *C) is not None


def test_nothing_from_before_is_nothing() -> None:
    assert LastTime().value_mm(Side.LEFT, *C) is None
    assert LastTime().of_leg(Side.LEFT) is None


def test_sessions_before_are_the_clients_own_measured_ones_newest_first() -> None:
    one, two, now, later = (visit(n, left="360") for n in (1, 2, 3, 4))
    left_early, other = visit(0), visit(1, "guest-8", left="360")
    known = [later, one, now, other, two, left_early]
    assert sessions_before(now, CLIENT, known) == (two, one)
    assert sessions_before(now, "", known) == ()
