"""What the property tests draw: entries, copies of a session, charts and legs. All invented.

Lines are written here by hand, not by the program's own writer, so that a fault in that writer
cannot hide behind itself.
"""

from __future__ import annotations

import tomllib
import unicodedata
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING, Any, get_args

from hypothesis import strategies as st

from fitcore.charts.gap_rules import GapRule
from fitcore.record.entries import Entry
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

SESSION = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7"
LAPTOPS = ("dunlin-m4ex", "petrel-z9wa", "tern-k7qd")
NOT_ARRIVED = ("tern-k7qd:901", "puffin-h3vn:7")
"""Names of entries no copy holds."""

_ESCAPES = {'"': '\\"', "\\": "\\\\"}


def toml_value(value: object) -> str:
    """Write one value as TOML, by hand."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | Decimal):
        return str(value)
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, str):
        return f'"{"".join(_character(c) for c in value)}"'
    if isinstance(value, list | tuple):
        return f"[{', '.join(toml_value(item) for item in value)}]"
    raise TypeError(type(value))


def line_of(fields: Mapping[str, object]) -> str:
    """Write fields as a one-line inline table, by hand."""
    return "{ " + ", ".join(f"{key} = {toml_value(value)}" for key, value in fields.items()) + " }"


def entry_of(array: str, by: str, **fields: object) -> Entry:
    """Make an entry; `is_` stands for the key `is`, and `at` is filled in where it is missing."""
    table: dict[str, object] = {"by": by, "at": fields.pop("at", AT)}
    table |= {"is" if key == "is_" else key: value for key, value in fields.items()}
    return entry_from_line(array, line_of(table))


def entry_from_line(array: str, line: str) -> Entry:
    """Make an entry from its raw line."""
    return Entry(array, line, tomllib.loads(f"v = {line}", parse_float=Decimal)["v"])


def session_of(*entries: Entry) -> Session:
    """Make the session that holds exactly these entries."""
    return Session(SESSION, frozenset(entries))


def file_of(*arrays: tuple[str, Sequence[str]], head: str = "") -> bytes:
    """Write a session file without a seal, by hand, from raw lines."""
    parts = ["format = 1", f'session = "{SESSION}"', *([head] if head else [])]
    for name, lines in arrays:
        parts += [f"{name} = [", *(f"  {line}," for line in lines), "]"]
    return ("\n".join(parts) + "\n").encode()


AT = datetime(2026, 3, 4, 9, 12, 40, tzinfo=timezone(timedelta(hours=1)))

words = st.text(
    st.characters(codec="utf-8", exclude_categories=["C", "Zl", "Zp"]), max_size=12
).map(lambda text: unicodedata.normalize("NFC", text))
instants = st.datetimes(datetime(1970, 1, 2), datetime(2099, 12, 30)).map(  # noqa: DTZ001
    lambda instant: instant.replace(microsecond=0, tzinfo=UTC)
)
millimetres = st.integers(1, 15_000).map(lambda tenths: Decimal(tenths) / 10)

_answers = {
    "client": st.sampled_from(("tern-014-0", "KES 17/b", "petrel-003-Q")) | words.filter(bool),
    "posture": st.sampled_from(("standing", "sitting", "lying")),
    "forms": st.lists(st.sampled_from(("below_knee", "thigh")), max_size=2),
    "finished": st.booleans(),
    "rising_at": instants,
}
_extra = st.dictionaries(st.sampled_from(("device", "later_key")), words, max_size=1)


@st.composite
def _fields(draw: st.DrawFn, array: str, targets: Sequence[str]) -> dict[str, object]:
    names = st.lists(st.sampled_from(targets), max_size=3, unique=True)
    fields: dict[str, Any] = {}
    if array in ("answers", "decisions"):
        what = draw(st.sampled_from(sorted(_answers)))
        fields |= {"what": what, "is": draw(_answers[what])}
    elif array == "readings":
        fields |= {
            "side": draw(st.sampled_from(("left", "right"))),
            "point": draw(st.sampled_from(("B", "C", "D"))),
            "kind": "girth",
            "round": draw(st.integers(1, 3)),
        }
        mm = draw(millimetres)
        taken = {"typed": f"{mm}", "unit": "mm", "mm": mm}
        fields |= taken if draw(st.booleans()) else {"not_taken": draw(words.filter(bool))}
    elif array == "remarks":
        fields["text"] = draw(words)
    elif array == "withdrawn":
        fields |= {"takes_back": draw(names), "why": draw(words)}
    else:
        fields |= {"kg": draw(millimetres), "seen": draw(names)}
    if array in ("answers", "readings", "decisions") and draw(st.booleans()):
        fields["instead_of"] = draw(names)
    return fields | draw(_extra)


@st.composite
def pools(draw: st.DrawFn, *, most: int = 12, twins: bool = True) -> tuple[Entry, ...]:
    """Draw entries of several laptops; later ones point at earlier ones and at missing ones.

    Args:
        draw: Hypothesis's.
        most: longest pool.
        twins: whether one name may stand on two different lines; without them nothing can point
            in a circle.
    """
    arrays = st.sampled_from(
        ("answers", "readings", "remarks", "withdrawn", "decisions", "weights")
    )
    found: list[Entry] = []
    for _ in range(draw(st.integers(0, most))):
        taken = [str(entry.by) for entry in found]
        name = f"{draw(st.sampled_from(LAPTOPS))}:{draw(st.integers(1, 30))}"
        if taken and twins and draw(st.integers(0, 5)) == 0:
            name = draw(st.sampled_from(taken))
        if not twins and name in taken:
            continue
        array = draw(arrays)
        fields = draw(_fields(array, [*taken, *NOT_ARRIVED]))
        found.append(entry_from_line(array, line_of({"by": name, "at": draw(instants)} | fields)))
    return tuple(found)


_head_lines = st.dictionaries(
    st.sampled_from(("needs", "paper")),
    st.sampled_from(('["sketch"]', '["sketch", "skin"]', '"A4"')),
    max_size=2,
).map(lambda head: frozenset((key, f"{key} = {value}") for key, value in head.items()))


@st.composite
def copies(
    draw: st.DrawFn, count: int, *, most: int = 12, twins: bool = True
) -> tuple[Session, ...]:
    """Draw copies of one session, each holding some of the same pool of entries."""
    pool = draw(pools(most=most, twins=twins))
    some = st.frozensets(st.sampled_from(pool)) if pool else st.just(frozenset())
    return tuple(Session(SESSION, draw(some), draw(_head_lines)) for _ in range(count))


def sessions(*, twins: bool = True) -> st.SearchStrategy[Session]:
    """Draw one session with all entries of a pool."""
    return st.builds(
        lambda pool, head: Session(SESSION, frozenset(pool), head), pools(twins=twins), _head_lines
    )


DIMENSIONS = {"ankle": ("B", "girth"), "calf": ("C", "girth"), "length": ("D", "length")}
SIZES = ("S", "M", "L", "XL", "XXL")


@dataclass(frozen=True)
class Grid:
    """An invented chart in the test's own words: per column its ranges, in rising order, in mm."""

    step: Decimal
    overlap: str
    columns: Mapping[str, Sequence[tuple[Decimal, Decimal]]]
    rows: Sequence[tuple[str, str, Mapping[str, int]]]
    """Size, variant, and per column which of its ranges holds."""
    gaps: Mapping[str, str] = field(default_factory=dict)
    """Per column what the maker says of a gap; a column left out says nothing."""

    def table(self, unit: str = "mm") -> dict[str, object]:
        """Return the chart as its TOML file would be read; `in` only for whole sixteenths."""
        return {
            "format": 1,
            "id": "invented-mill-one",
            "maker": "Invented Mill One",
            "line": "Skerrow test line",
            "invented": True,
            "form": "below_knee",
            "toe": "closed",
            "purposes": ["work"],
            "unit": unit,
            "step_mm": self.step,
            "posture": "standing",
            "overlap": self.overlap,
            "source": {"text": "Made up for a test", "status": "invented"},
            "dimensions": [
                {"id": name, "point": DIMENSIONS[name][0], "kind": DIMENSIONS[name][1]}
                | ({"gap": self.gaps[name]} if name in self.gaps else {})
                for name in self.columns
            ],
            "sizes": [
                {"size": size, "variant": variant}
                | {
                    name: [_printed(edge, unit) for edge in self.columns[name][index]]
                    for name, index in places.items()
                }
                for size, variant, places in self.rows
            ],
        }


@st.composite
def grids(draw: st.DrawFn, *, wide: bool = True, inches: bool = False) -> Grid:
    """Draw a chart whose sizes rise; neighbours overlap, touch, or leave a gap, with a rule or not.

    Only neighbours come within a step of each other, so that what meets at a midpoint is beyond
    dispute. With `inches` every edge is a whole sixteenth of an inch.
    """
    scale = Decimal("1.5875") if inches else Decimal("0.1")
    steps = (0, 1) if inches else (0, 5, 10, 20)
    step = draw(st.sampled_from(steps))
    narrowest, gaps = (4, (-1, 0, 1, 2, 4)) if inches else (100, (-30, -20, 0, 5, 10, 11, 20, 60))
    wider = wide and draw(st.booleans())
    count = draw(st.integers(1, 5))
    columns: dict[str, list[tuple[Decimal, Decimal]]] = {}
    names = ("ankle", *draw(st.sampled_from((("calf",), (), ("calf", "length")))))
    for name in names:
        at, ranges = draw(st.integers(100, 200)) * (1 if inches else 15), []
        for _ in range(count + 1 if wider and name == "calf" else count):
            top = at + narrowest + draw(st.integers(0, narrowest))
            ranges.append((at * scale, top * scale))
            at = top + draw(st.sampled_from(gaps))
        columns[name] = ranges
    rows = []
    for index, size in enumerate(SIZES[:count]):
        rows.append((size, "", dict.fromkeys(names, index)))
        if wider and "calf" in names:
            rows.append((size, "wide", dict.fromkeys(names, index) | {"calf": index + 1}))
    overlap = draw(st.sampled_from(("larger", "smaller", "ankle")))
    said = {name: draw(st.sampled_from(("", *get_args(GapRule)))) for name in names}
    rules = {name: rule for name, rule in said.items() if rule}
    return Grid(step * scale, overlap, columns, rows, rules)


@st.composite
def legs(draw: st.DrawFn, grid: Grid) -> dict[str, Decimal]:
    """Draw a leg for a chart: on its edges, halfway between them, a hair beside, or anywhere.

    Half the legs keep to two neighbouring sizes, where overlaps and midpoints are.
    """
    leg = {}
    home = draw(st.none() | st.integers(0, len(grid.columns["ankle"]) - 1))
    for name, ranges in grid.columns.items():
        close = ranges if home is None else ranges[home : home + 2]
        edges = sorted({edge for pair in close for edge in pair})
        halves = [(one + other) / 2 for one, other in pairwise(edges)]
        near = st.builds(
            lambda at, aside: at + aside,
            st.sampled_from([*edges, *halves]),
            st.sampled_from((Decimal(0), Decimal("0.01"), Decimal("-0.01"))),
        )
        low, high = int(edges[0] * 10) - 200, int(edges[-1] * 10) + 200
        anywhere = st.integers(low, high).map(lambda tenths: Decimal(tenths) / 10)
        leg[name] = draw(near | anywhere if home is None else near)
    return leg


def _printed(edge: Decimal, unit: str) -> Decimal | str:
    if unit == "in":
        sixteenths = int(edge / Decimal("1.5875"))
        return f"{sixteenths // 16} {sixteenths % 16}/16"
    return edge / 10 if unit == "cm" else edge


def _character(character: str) -> str:
    if ord(character) < 0x20 or ord(character) == 0x7F:
        return f"\\u{ord(character):04X}"
    return _ESCAPES.get(character, character)
