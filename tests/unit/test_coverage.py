"""Coverage: counts, the picture in the terminal, the SVG, and the sets of legs they are made of.

Charts and legs are invented; the shipped set is synthetic and made anew here, byte for byte.
"""

from __future__ import annotations

import importlib.util
import statistics
import tomllib
import xml.etree.ElementTree as ET
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from fitcore.charts.chart import Chart
from fitcore.coverage.coverage import cover
from fitcore.coverage.coverage_picture import coverage_picture
from fitcore.coverage.coverage_svg import coverage_svg
from fitcore.coverage.leg_set import SetNotes
from fitcore.disk.leg_sets import load_set, table_set
from fitcore.points import Kind, Point
from fitcore.problems import FileFault, ReadingError
from fitcore.record.readings import Adopted
from fitcore.units import Millimetre

if TYPE_CHECKING:
    from types import ModuleType

    from fitcore.coverage.leg_set import LegValues

ROOT = Path(__file__).resolve().parents[2]
SETS = ROOT / "profiles" / "sets"
SAMPLES = ROOT / "sample_sessions"


def chart_of(columns: dict[str, tuple[str, str]], *rows: dict[str, Any], **more: object) -> Chart:
    table: dict[str, Any] = {
        "format": 1,
        "id": "mill-nine-cover",
        "maker": "Invented Mill Nine",
        "line": "Cover",
        "invented": True,
        "form": "below_knee",
        "toe": "open",
        "purposes": ["work"],
        "unit": "cm",
        "step_mm": 1,
        "posture": "standing",
        "source": {"status": "invented", "text": "Invented for this test."},
        "dimensions": [
            {"id": name, "point": point, "kind": kind}
            | ({"system": "eu", "step": 1} if kind == "shoe" else {})
            for name, (point, kind) in columns.items()
        ],
        "sizes": list(rows),
    }
    return Chart.model_validate(table | more)


ANKLE_CALF = {"ankle": ("B", "girth"), "calf": ("C", "girth")}
TWO = chart_of(
    ANKLE_CALF,
    {"size": "S", "ankle": [19, 22], "calf": [31, 35]},
    {"size": "M", "ankle": [21, 24], "calf": [34, 39]},
    {"size": "L", "ankle": [26, 28], "calf": [39, 43]},
)


def leg(**cm: str) -> LegValues:
    """One leg: `B` for a girth, `D_length` for a length, in cm."""
    values = {}
    for name, text in cm.items():
        point, _, kind = name.partition("_")
        place = (Point(point), Kind(kind or "girth"))
        mm = Millimetre(Decimal(text) * 10)
        values[place] = Adopted(*place, mm, 1, None, ())
    return values


LEGS = (
    leg(B="20", C="33"),  # S
    leg(B="21.5", C="34.5"),  # S and M: M
    leg(B="23", C="36"),  # M
    leg(B="25", C="36"),  # an ankle in the gap
    leg(B="30", C="36"),  # beyond every ankle
    leg(B="20", C="38"),  # an S ankle and an M calf
    leg(B="20"),  # no calf
)


def test_each_leg_is_counted_once_and_for_what_became_of_it() -> None:
    counts = cover(TWO, LEGS)
    assert counts.as_json() == {
        "legs": 7,
        "one_size": 2,
        "several": 1,
        "none": {"between": 1, "off_chart": 1, "proportions": 1},
        "by_size": {"S": 1, "M": 2, "L": 0},
        "not_measured": 1,
    }
    assert counts.holds == {"S": 2, "M": 2, "L": 0}
    assert counts.none == 3


def test_where_every_leg_was_measured_only_the_promised_keys_are_there() -> None:
    document = cover(TWO, LEGS[:6]).as_json()
    assert set(document) == {"legs", "one_size", "several", "none", "by_size"}


def test_the_charts_rule_says_which_of_several_gets_the_leg() -> None:
    for rule, size in (("larger", "M"), ("smaller", "S"), ("ankle", "M")):
        chart = TWO.model_copy(update={"overlap": rule})
        # 21.5 lies 0.5 cm inside either at the ankle: of equals the larger.
        assert cover(chart, LEGS[1:2]).by_size[size] == 1


def test_no_legs_are_no_shares() -> None:
    counts = cover(TWO, [])
    assert (counts.legs, counts.none, sum(counts.by_size.values())) == (0, 0, 0)


# --- the picture ---------------------------------------------------------------------------------


def fields(picture: list[str]) -> list[str]:
    """Return the rows of the picture itself, without figures and axis."""
    return [
        line[7:] for line in picture if line[6:7] in ("|", "+") and not line.startswith("      +")
    ]


@pytest.mark.parametrize(("width", "height"), [(78, 22), (60, 18), (118, 34), (32, 16)])
@pytest.mark.parametrize("plain", [False, True])
def test_the_picture_keeps_to_its_width_and_height(
    width: int,
    height: int,
    plain: bool,  # noqa: FBT001 - a table's column
) -> None:
    picture = coverage_picture(TWO, LEGS, width, height, ascii=plain)
    assert max(len(line) for line in picture) <= width
    if width >= 60:
        assert len(picture) <= height
    if plain:
        assert "".join(picture).isascii()


def test_sizes_are_letters_several_a_capital_and_people_signs_beside_them() -> None:
    picture = coverage_picture(TWO, LEGS, 78, 24, ascii=True)
    rows = fields(picture)
    letters = {field for row in rows for field in row[::2]}
    assert letters == {" ", "a", "b", "c", "B"}
    people = [sign for row in rows for sign in row[1::2] if sign != " "]
    # Six legs have both measures; the one at 30 lies beyond the picture, and is told.
    assert len(people) == 5
    assert "Legs beyond the picture: 1." in picture
    assert "Legs without these measures: 1." in picture
    assert "Sizes: a = S  b = M  c = L." in picture
    assert picture[0] == "Up: calf, cm. Across: ankle, cm."


def test_a_place_in_the_picture_is_where_the_axes_say() -> None:
    """The leg of 23 by 36 cm stands in the column over 23 and the row of 36."""
    picture = coverage_picture(TWO, [leg(B="23", C="36")], 78, 24, ascii=True)
    [row] = [line for line in picture if "#" in line[7:] and line[6] in "|+"]
    column = row.index("#", 7)
    across = next(n for n, line in enumerate(picture) if line.startswith("      +"))
    figures = picture[across + 1]
    at = {int(text): figures.index(text) for text in figures.split()}
    assert at[22] < column < at[24]
    ups = {line[:5].strip(): n for n, line in enumerate(picture) if line[:5].strip().isdigit()}
    assert ups["38"] < picture.index(row) < ups["34"]


def test_many_people_in_one_field_are_a_darker_sign_and_the_legend_counts_them() -> None:
    crowd = [leg(B="23", C="36")] * 8 + [leg(B="20", C="33")]
    picture = coverage_picture(TWO, crowd, 78, 24, ascii=True)
    body = "".join(fields(picture))
    assert (body.count("#"), body.count(".")) == (1, 1)
    assert "People in a field: . 1-2  : 3-4  o 5-6  # 7-8." in picture


def test_measures_that_are_not_drawn_are_named() -> None:
    chart = chart_of(
        ANKLE_CALF | {"length": ("D", "length")},
        {"size": "S", "ankle": [19, 22], "calf": [31, 35], "length": [35, 44]},
    )
    picture = coverage_picture(chart, LEGS, 78, 22)
    assert any("Not drawn: length" in line for line in picture)


SHOE_CALF = chart_of(
    {"shoe": ("foot", "shoe"), "calf": ("C", "girth")},
    {"size": "S", "shoe": [35, 38], "calf": [30, 36]},
    {"size": "M", "shoe": [39, 42], "calf": [33, 40]},
)


@pytest.mark.parametrize(
    ("chart", "head", "why"),
    [
        (
            chart_of(
                {"thigh": ("G", "girth"), "hips": ("H", "girth")},
                {"size": "S", "thigh": [50, 60], "hips": [90, 100]},
            ),
            "Up: hips, cm. Across: thigh, cm.",
            "first two girths",
        ),
        (SHOE_CALF, "Up: calf, cm. Across: shoe, EU sizes.", "drawn with the foot"),
        (
            chart_of(
                {"calf": ("C", "girth"), "length": ("D", "length")},
                {"size": "S", "calf": [30, 36], "length": [34, 40]},
            ),
            "Up: length, cm. Across: calf, cm.",
            "drawn with a length",
        ),
        (
            chart_of({"calf": ("C", "girth")}, {"size": "S", "calf": [30, 36]}),
            "Up: people. Across: calf, cm.",
            "one measure only",
        ),
    ],
)
def test_charts_without_ankle_and_calf_say_what_is_drawn_instead(
    chart: Chart, head: str, why: str
) -> None:
    legs = [leg(B="22", C="35", G="55", H="95", foot_length="24.5", D_length="38")]
    picture = coverage_picture(chart, legs, 78, 22, ascii=True)
    assert picture[0] == head
    assert any(why in line for line in picture)
    assert "#" in "".join(picture[:-4])
    ET.fromstring(coverage_svg(chart, legs, set_name="a set"))  # noqa: S314 - our own text


# --- the SVG -------------------------------------------------------------------------------------


def svg_texts(svg: str) -> list[str]:
    root = ET.fromstring(svg)  # noqa: S314 - our own text
    return [element.text or "" for element in root.iter() if element.text]


def test_the_svg_is_well_formed_and_told_in_words_to_those_who_cannot_see_it() -> None:
    svg = coverage_svg(TWO, LEGS, set_name="a set", about=("SYNTHETIC: nobody is real.",))
    root = ET.fromstring(svg)  # noqa: S314 - our own text
    space = "{http://www.w3.org/2000/svg}"
    assert root.attrib["role"] == "img"
    title, description = root.find(f"{space}title"), root.find(f"{space}desc")
    assert title is not None
    assert description is not None
    assert root.attrib["aria-labelledby"] == f"{title.attrib['id']} {description.attrib['id']}"
    assert title.text == "Invented Mill Nine Cover: which of a set get a size"
    assert "7 legs: 2 get one size, 1 have several, 3 get none." in (description.text or "")
    assert "SYNTHETIC" in (description.text or "")
    assert "SYNTHETIC: nobody is real." in svg_texts(svg)[2:]
    assert len(list(root.iter(f"{space}circle"))) == 5
    assert [e.text for e in root.iter(f"{space}title")][1:] == ["S", "M", "L"]
    assert not any(name in svg for name in ("<script", "<style", "href"))


def test_names_from_a_foreign_file_cannot_break_the_svg() -> None:
    chart = chart_of(
        ANKLE_CALF,
        {"size": '<&"\x1b>', "ankle": [19, 22], "calf": [31, 35]},
    ).model_copy(update={"maker": "<script>&\x00"})  # loaded, it would be clean
    texts = svg_texts(coverage_svg(chart, LEGS, set_name="<b>"))
    assert any("<script>&<U+0000>" in text for text in texts)
    assert any("\x1b" in text for text in texts) is False


# --- the synthetic set ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make", SAMPLES / "make_synthetic_set.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def notes() -> SetNotes:
    text = (SETS / "synthetic-adults.toml").read_text(encoding="utf-8")
    return SetNotes.model_validate(tomllib.loads(text, parse_float=Decimal))


def test_making_the_synthetic_set_again_gives_the_same_bytes(
    maker: ModuleType, tmp_path: Path
) -> None:
    maker.main([str(tmp_path / "again.csv")])
    again = (tmp_path / "again.csv").read_bytes()
    assert again == (SETS / "synthetic-adults.csv").read_bytes()


def columns_of(sex: str) -> dict[str, list[float]]:
    lines = (SETS / "synthetic-adults.csv").read_text(encoding="utf-8").splitlines()
    head, *rows = [line.split(",") for line in lines if not line.startswith("#")]
    own = [row for row in rows if row[1] == sex]
    return {name: [float(row[n]) for row in own] for n, name in enumerate(head) if n > 1}


@pytest.mark.parametrize(("sex", "at"), [("woman", 0), ("man", 1)])
def test_the_synthetic_set_has_the_published_percentiles_and_correlations(
    sex: str, at: int, notes: SetNotes
) -> None:
    columns = columns_of(sex)
    for measure in notes.measures:
        own = columns[f"{measure.point.value} {measure.kind.value} cm"]
        wanted = [float(cm - measure.less_cm) for cm in (measure.women_cm, measure.men_cm)[at]]
        cuts = statistics.quantiles(own, n=100, method="inclusive")
        spread = (wanted[3] - wanted[1]) / 3.29
        # The 5th, 50th and 95th of 400 people scatter by a tenth of the spread or so.
        for share, cm in ((5, wanted[1]), (50, wanted[2]), (95, wanted[3])):
            assert abs(cuts[share - 1] - cm) < 0.25 * spread, (measure.point, share)
    for pair in notes.correlations:
        one, other = (columns[f"{point.value} girth cm"] for point in pair.points)
        wanted_r = float((pair.women, pair.men)[at])
        assert abs(statistics.correlation(one, other) - wanted_r) < 0.08, pair.points


@pytest.mark.parametrize(
    ("sex", "ratios"), [("woman", (1.54, 1.73, 1.95)), ("man", (1.55, 1.71, 1.90))]
)
def test_the_ratio_of_calf_to_ankle_comes_out_as_published_though_nothing_was_fitted_to_it(
    sex: str, ratios: tuple[float, float, float]
) -> None:
    """P1, P50 and P99 of ANSUR II (computed) are no input of the set."""
    columns = columns_of(sex)
    pairs = zip(columns["C girth cm"], columns["B girth cm"], strict=True)
    cuts = statistics.quantiles([calf / ankle for calf, ankle in pairs], n=100, method="inclusive")
    for share, wanted in zip((1, 50, 99), ratios, strict=True):
        assert cuts[share - 1] == pytest.approx(wanted, abs=0.03)


def test_the_synthetic_set_says_that_nobody_in_it_is_real(notes: SetNotes) -> None:
    assert (SETS / "synthetic-adults.csv").read_text("utf-8").startswith("# Synthetic: nobody")
    legs = load_set("synthetic", Path("nowhere"))
    assert len(legs.legs) == notes.women + notes.men == 800
    assert legs.about[0].startswith("SYNTHETIC: nobody in this set is real.")
    assert legs.refused == ()
    assert set(legs.stand_ins) == {
        (Point.G, Kind.GIRTH), (Point.D, Kind.LENGTH), (Point.G, Kind.LENGTH)
    }  # fmt: skip


# --- tables and archives -------------------------------------------------------------------------


def table(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "legs.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_table_with_points_for_headings_is_read_in_the_units_it_names(tmp_path: Path) -> None:
    legs = table_set(
        table(
            tmp_path,
            "# ours\nclient;side;b;C girth in;D length mm;foot length;shoe uk;mood\n"
            "SK-1;left;22,4;15 1/8;412;24,6;6,5;fine\n\nSK-1;right;22.0;;;;;\n",
        )
    )
    first, second = legs.legs
    assert {place: value.mm for place, value in first.items() if place[1] is not Kind.SHOE} == {
        (Point.B, Kind.GIRTH): Decimal(224),
        (Point.C, Kind.GIRTH): Decimal("384.175"),
        (Point.D, Kind.LENGTH): Decimal(412),
        (Point.FOOT, Kind.LENGTH): Decimal(246),
    }
    shoe = first[Point.FOOT, Kind.SHOE]
    assert (shoe.value, shoe.system) == (Decimal("6.5"), "uk")
    assert set(second) == {(Point.B, Kind.GIRTH)}
    assert legs.about == ("Columns passed over: mood.",)
    assert legs.refused == ()


def test_rows_that_cannot_be_read_are_told_with_their_line_and_the_others_count(
    tmp_path: Path,
) -> None:
    legs = table_set(table(tmp_path, "B,C\n22,36\n22,big\n22\n,\n0,36\n23,37\n"))
    assert len(legs.legs) == 2
    assert [refusal.line for refusal in legs.refused] == [3, 4, 5, 6]
    assert all(refusal.why for refusal in legs.refused)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "bad_headings"),
        ("name,height\nx,1\n", "bad_headings"),
        ("B,b girth\n1,2\n", "bad_headings"),
    ],
)
def test_a_table_whose_headings_say_nothing_is_refused(
    text: str, code: str, tmp_path: Path
) -> None:
    with pytest.raises(ReadingError) as refused:
        table_set(table(tmp_path, text))
    assert refused.value.problem.code == code
    assert refused.value.problem.path == str(tmp_path / "legs.csv")


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    for raw, code in ((b"B\n\xff\n", "not_utf8"), (b"B\n\0\n", "binary")):
        path = tmp_path / "legs.csv"
        path.write_bytes(raw)
        with pytest.raises(FileFault) as refused:
            table_set(path)
        assert refused.value.problem.code == code


HEADER = "client,measured_at,measurer,side,point,kind,round,value,unit,posture,rising_at"


def test_a_measuring_sheet_gives_the_values_an_import_would_use(tmp_path: Path) -> None:
    """The mean of two, the median of three; a shoe size for both legs; doubts change nothing."""
    start = "SK-7,2026-03-04T09:00+01:00,N-1"
    rows = [
        f"{start},left,B,girth,,22.0,cm,,",
        f"{start},left,B,girth,,22.3,cm,,",
        f"{start},left,C,girth,,36.0,cm,,",
        f"{start},left,C,girth,,36.9,cm,,",
        f"{start},left,C,girth,,36.2,cm,,",
        f"{start},right,B,girth,,21.8,cm,,",
        f"{start},right,foot,shoe,,39,eu,,",
        f"{start},left,B,girth,x,22.3,cm,,",
    ]
    legs = table_set(table(tmp_path, "\n".join([HEADER, *rows]) + "\n"))
    left, right = legs.legs
    assert left[Point.B, Kind.GIRTH].mm == Decimal("221.5")
    assert left[Point.C, Kind.GIRTH].mm == Decimal(362)
    assert right[Point.B, Kind.GIRTH].mm == Decimal(218)
    assert [refusal.line for refusal in legs.refused] == [9]


def test_the_own_archive_gives_the_values_used_of_every_leg() -> None:
    legs = load_set("archive", SAMPLES / "tern")
    same = load_set(str(SAMPLES / "tern"), Path("nowhere"))
    assert legs.legs == same.legs
    # Six sessions of the demo day on tern, two legs each.
    assert len(legs.legs) == 12
    assert "6 sessions" in legs.about[0]
