"""What the result would be with other values: tried out, never saved. No screen is known here.

A try-out is a session of its own in memory, judged by what judges the real one. In it the readings
of a place are all moved alike, so that how many there are and how well they agree stays as it is:
trying what was measured comes to the result exactly.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING

from fitcore.doubts.range_doubts import cannot_be
from fitcore.doubts.repeats import swollen_sides
from fitcore.points import Side, place_words
from fitcore.problems import Problem, ReadingError, UnitError
from fitcore.ranking import rank_charts
from fitcore.record.edits import parse_typed
from fitcore.record.entries import Entry, render_line
from fitcore.record.reading import read_reading
from fitcore.record.readings import Readings
from fitcore.shoes import ShoeSize, judge_shoe_size, system_words
from fitcore.units import Length, Millimetre, plain, show_cm, to_mm
from fitcore.words import say
from tui.result_words import cell_words

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from fitcore.fit import SessionFit
    from fitcore.leg_fit import ChartFit, LegFit
    from fitcore.points import Place
    from fitcore.ranking import RankedChart
    from fitcore.record.edits import Typed
    from fitcore.record.entries import Value
    from fitcore.record.reading import Reading
    from fitcore.record.readings import Adopted
    from fitcore.record.session import Session
    from fitcore.shoes import ShoeSystem
    from fitcore.units import Unit
    from tui.desk import Desk

    Judge = Callable[[Session], SessionFit]

_TAPE_STEPS: dict[Unit, tuple[Decimal, Decimal]] = {
    "cm": (Decimal("0.1"), Decimal(1)),
    "in": (Decimal("0.125"), Decimal(1)),
}
"""A small and a large step on each tape, in its unit: its marks and its numbers."""
_SHOE_STEPS = (Decimal("0.5"), Decimal(1))
_MONDO_STEPS = (Decimal(5), Decimal(10))
_FINEST_DIVISION = 64
"""Of an inch, on any tape or rule; what does not come out in it is shown in cm."""


@dataclass(frozen=True, slots=True)
class TriedValue:
    """One value used for the leg, and what is tried instead of it."""

    place: Place
    measured: Adopted
    unit: Unit
    """Unit printed on the tape it was read with: cm or in."""
    tried: Typed | None = None
    """None where nothing else is tried."""

    @property
    def name(self) -> str:
        """What is measured, in words."""
        return place_words(self.measured.point, self.measured.kind)

    @property
    def unit_words(self) -> str:
        """The unit in which a value is typed here; a shoe size's system."""
        system = self.measured.system
        return self.unit if system is None else system_words(system)

    def words(self) -> str:
        """Return the value, or both where another is tried: *36.2 -> 38.0 cm (+1.8)*."""
        if self.tried is None:
            return f"{self._now()[0]} {self._now()[1]}".strip()
        if isinstance(self.tried, ShoeSize):
            return f"{self._now()[0]} -> {_shoe_words(self.tried.system, self.tried.value)}"
        (was, unit), (now, other) = self._now(), _tape_words(self.tried.mm, self.unit)
        shown = f"{was} -> {now} {other}" if unit == other else f"{was} {unit} -> {now} {other}"
        change = self.tried.mm - self.measured.mm
        if other == "in":
            return f"{shown} = {show_cm(self.tried.mm)} cm"
        return f"{shown} ({'-' if change < 0 else '+'}{show_cm(abs(change))})"

    def _now(self) -> tuple[str, str]:
        system, value = self.measured.system, self.measured.value
        if system is not None and value is not None:
            return _shoe_words(system, value), ""
        return _tape_words(self.measured.mm, self.unit)

    def stepped(self, by: int, *, large: bool = False) -> Typed:
        """Return the value moved on by steps of its tape, or by half sizes of a shoe.

        Args:
            by: how many steps, negative downwards.
            large: whether the steps are the tape's numbers instead of its marks.
        """
        now = self.tried
        system, value = self.measured.system, self.measured.value
        if system is not None and value is not None:
            if isinstance(now, ShoeSize):
                system, value = now.system, now.value
            step = (_MONDO_STEPS if system == "mondo" else _SHOE_STEPS)[large]
            return ShoeSize("", system, value + by * step)
        mm = now.mm if isinstance(now, Length) else self.measured.mm
        step_mm = to_mm(_TAPE_STEPS[self.unit][large], self.unit)
        return Length("", self.unit, Millimetre(mm + by * step_mm))


@dataclass(frozen=True, slots=True)
class TriedChart:
    """One chart's answer as measured and as tried."""

    ranked: RankedChart
    measured: ChartFit
    tried: ChartFit
    """As judged with the values tried, but never offered where the result does not offer it."""

    @property
    def measured_words(self) -> str:
        """The result's words."""
        return cell_words(self.measured)

    @property
    def words(self) -> str:
        """The same of what is tried."""
        return cell_words(self.tried)

    @property
    def changed(self) -> bool:
        """Whether the answer reads differently."""
        return self.words != self.measured_words


class TryOut:
    """Values tried for one leg, and what every chart says to them."""

    def __init__(self, measured: SessionFit, side: Side, judge: Judge) -> None:
        """Begin with what was measured.

        Args:
            measured: the result; its session is never changed.
            side: the leg.
            judge: judges a session as the result was judged.
        """
        self.measured = measured
        self.side = side
        self._judge = judge
        self._at = [leg.side for leg in measured.legs].index(side)
        self._readings = Readings(measured.session)
        self.values = tuple(map(self._value, self._leg(measured).adopted))
        self._rows = rank_charts(measured)
        self._fit = measured
        self.charts = self._charts()
        """Every chart, in the result's order: what changes does so where it stands."""

    @property
    def fit(self) -> SessionFit:
        """Everything judged with the values tried."""
        return self._fit

    def warning(self) -> str:
        """Say why the leg would be kept back if it measured so; empty where it would not."""
        if not self._leg(self.measured).may_be_fitted or self._leg(self._fit).may_be_fitted:
            return ""
        return say("Measured so, it would be kept back: {why}", why=self._leg(self._fit).why)

    def type(self, index: int, text: str) -> None:
        """Try what is typed instead of a value, read as the measuring screen reads it.

        Raises:
            UnitError: it is no such value, or none a leg has; nothing changes.
        """
        value = self.values[index]
        # Without a system a shoe size is meant in the one that was measured.
        system: ShoeSystem = value.measured.system or "eu"
        self._try(index, parse_typed(value.measured.kind, text, value.unit, system))

    def step(self, index: int, by: int, *, large: bool = False) -> None:
        """Move a value on by steps of its tape.

        Raises:
            UnitError: no leg has such a value; nothing changes.
        """
        self._try(index, self.values[index].stepped(by, large=large))

    def put_back(self, index: int) -> None:
        """Take one value as it was measured again."""
        self._set(index, None)

    def put_all_back(self) -> None:
        """Take every value as it was measured again."""
        self.values = tuple(replace(value, tried=None) for value in self.values)
        self._judge_again()

    def _leg(self, fit: SessionFit) -> LegFit:
        return fit.legs[self._at]

    def _value(self, adopted: Adopted) -> TriedValue:
        place = (self.side, adopted.point, adopted.kind)
        if not self._readings.taken(place):  # one shoe size for both feet
            place = (Side.BOTH, adopted.point, adopted.kind)
        tape = self.measured.session.text("tape")
        # A sheet that was read in may not say which tape it was; its readings do.
        inches = tape == "in" or (
            not tape and any(r.unit == "in" for r in self._readings.taken(place))
        )
        return TriedValue(place, adopted, "in" if inches else "cm")

    def _try(self, index: int, tried: Typed) -> None:
        problem = self._why_not(self.values[index], tried)
        if problem is not None:
            raise UnitError(problem)
        self._set(index, tried)

    def _set(self, index: int, tried: Typed | None) -> None:
        self.values = tuple(
            replace(value, tried=tried) if number == index else value
            for number, value in enumerate(self.values)
        )
        self._judge_again()

    def _judge_again(self) -> None:
        wanted = {v.place: v for v in self.values if v.tried is not None}
        self._fit = self._judge(what_if(self.measured.session, wanted)) if wanted else self.measured
        self.charts = self._charts()

    def _charts(self) -> tuple[TriedChart, ...]:
        tried = {fit.chart.id: fit for fit in self._leg(self._fit).charts}
        return tuple(
            TriedChart(
                row,
                was := row.legs[self._at],
                _kept_back_alike(was, tried[row.chart.id]),
            )
            for row in self._rows
        )

    def _why_not(self, value: TriedValue, tried: Typed) -> Problem | None:
        """Return why a value is not tried: no leg has it, so that no chart need answer it."""
        if isinstance(tried, ShoeSize):
            return judge_shoe_size(tried.value, tried.system)
        ranges, place = self.measured.clearance.rules.ranges, value.place
        impossible = partial(cannot_be, ranges, place[1], place[2])
        # A leg that is swollen, or whose odd reading was kept, may well be beyond the range.
        free = place[0] in swollen_sides(self.measured.session) or impossible(value.measured.mm)
        change = tried.mm - value.measured.mm
        lowest = min(
            (r.mm for r in self._readings.taken(place) if r.mm is not None), default=Decimal(0)
        )
        if lowest + change > 0 and (free or not impossible(tried.mm)):
            return None
        return Problem(
            code="not_tried",
            text=say("{what}: {cm} cm cannot be right.", what=value.name, cm=show_cm(tried.mm)),
            mend=say("The value stays as it was."),
        )


def _kept_back_alike(was: ChartFit, tried: ChartFit) -> ChartFit:
    """Return what is tried, kept back by all that keeps the result back.

    Whether it may be offered is the result's to say: a value that is only typed here mends no
    reading that cannot be right, and no leg's shape.
    """
    return replace(
        tried,
        offer=was.offer,
        shape=was.shape or tried.shape,
        untrusted=was.untrusted or tried.untrusted,
    )


def begin(desk: Desk, measured: SessionFit, side: Side) -> TryOut:
    """Begin a try-out at an open session; it never writes.

    Args:
        desk: the open session.
        measured: its result.
        side: the leg.
    """

    def judge(session: Session) -> SessionFit:
        beside = copy(desk)
        beside.session = session
        return beside.result()

    return TryOut(measured, side, judge)


def what_if(session: Session, values: Mapping[Place, TriedValue]) -> Session:
    """Return a session that reads as if other values had been measured. It must not be written.

    Every reading of such a place is moved by as much as the value used is, replaced ones too;
    a shoe size takes the place of each.

    Args:
        session: what was measured; nothing in it is changed.
        values: what is tried, by place.
    """
    return replace(session, entries=frozenset(_tried(e, values) for e in session.entries))


def _tried(entry: Entry, values: Mapping[Place, TriedValue]) -> Entry:
    if entry.array != "readings" or entry.erased:
        return entry
    try:
        reading = read_reading(entry)
    except ReadingError:
        return entry
    value = values.get(reading.place)
    if value is None or value.tried is None:
        return entry
    changed = _changed(reading, value.measured, value.tried)
    fields = {key: kept for key, kept in entry.fields.items() if key != "typed"} | changed
    # Never written: this line only keeps the entry apart from the one it stands for.
    return Entry(entry.array, render_line({"by": str(entry.by), **changed}), fields)


def _changed(reading: Reading, measured: Adopted, tried: Typed) -> dict[str, Value]:
    if isinstance(tried, ShoeSize):
        return {"system": tried.system, "value": tried.value}
    mm = reading.mm or measured.mm
    moved = mm + tried.mm - measured.mm
    # Only one replaced long ago can be too small to be moved; it counts for nothing any more.
    return {"mm": moved if moved > 0 else mm}


def _shoe_words(system: str, value: Decimal) -> str:
    return f"{system_words(system)} {plain(value)}"


def _tape_words(mm: Decimal, unit: Unit) -> tuple[str, str]:
    """Return a length as its tape shows it, and the unit: cm, or inches in fractions."""
    if unit != "in":
        return show_cm(mm), "cm"
    inches = Fraction(mm) / Fraction(to_mm(Decimal(1), "in"))
    part = inches % 1
    if part.denominator & (part.denominator - 1) or part.denominator > _FINEST_DIVISION:
        return show_cm(mm), "cm"
    whole = str(inches // 1) if inches >= 1 else ""
    return f"{whole} {part if part else ''}".strip(), "in"
