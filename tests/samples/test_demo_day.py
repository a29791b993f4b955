"""The demo day: made by the program's own functions, whole, and each case as it is told."""

from __future__ import annotations

import importlib.util
import sys
from decimal import Decimal
from pathlib import Path

import pytest

from fitcore.codec import read_session, write_session
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.session_files import find_session_files
from fitcore.fit import SessionFit, fit_session
from fitcore.points import Kind, Point, Side
from fitcore.readings import Readings
from fitcore.session import Session, join
from tui.__main__ import main

SAMPLES = Path(__file__).parents[2] / "sample_sessions"
LAPTOPS = ("dunlin", "petrel", "tern")
FILES = [path for laptop in LAPTOPS for path in find_session_files(SAMPLES / laptop)]
PROFILES = load_profiles()


def load(path: Path) -> Session:
    session, problems = read_session(path.read_bytes())
    assert session is not None
    assert problems == ()
    return session


def of_client(laptop: str, code: str) -> Session:
    found = [load(path) for path in find_session_files(SAMPLES / laptop)]
    return next(session for session in found if session.text("client") == code)


def fitted(laptop: str, code: str) -> SessionFit:
    session = of_client(laptop, code)
    return fit_session(session, PROFILES.charts, PROFILES.ranges, PROFILES.time_rules)


def sizes(fit: SessionFit, chart: str) -> list[tuple[str, str | None]]:
    return [
        (
            found.answer.verdict.value,
            f"{found.answer.size or ''} {found.answer.variant or ''}".strip(),
        )
        for leg in fit.legs
        for found in leg.charts
        if found.chart.id == chart
    ]


def flags(fit: SessionFit) -> set[tuple[str, str]]:
    return {(flag.code, flag.level.value) for flag in fit.flags}


def test_making_the_day_again_gives_the_same_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spec = importlib.util.spec_from_file_location("make_day", SAMPLES / "make_day.py")
    assert spec is not None
    assert spec.loader is not None
    make_day = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, spec.name, make_day)
    spec.loader.exec_module(make_day)
    make_day.make_day(tmp_path)
    committed = {
        path.relative_to(SAMPLES): path.read_bytes()
        for laptop in LAPTOPS
        for path in (SAMPLES / laptop).rglob("*.toml")
    }
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*.toml")}
    assert made == committed
    assert len(FILES) == 17


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parts[-4]}-{path.stem[:8]}")
def test_each_session_is_whole_and_is_saved_unchanged(path: Path) -> None:
    session = load(path)
    assert Readings(session).problems == []
    assert write_session(session).encode() == path.read_bytes()
    assert path.stem == session.id


@pytest.mark.parametrize("laptop", LAPTOPS)
def test_each_laptops_folder_checks_without_a_fault(laptop: str) -> None:
    assert main(["check", str(SAMPLES / laptop)]) == 0


def test_numbers_of_each_laptop_have_no_gap() -> None:
    for laptop in LAPTOPS:
        entries = {
            e.by for path in FILES for e in load(path).entries if e.by.laptop[:3] == laptop[:3]
        }
        numbers = sorted(by.number for by in entries)
        assert numbers == list(range(1, len(numbers) + 1))


def test_nobody_is_ever_offered_a_size() -> None:
    for path in FILES:
        fit = fit_session(load(path), PROFILES.charts, PROFILES.ranges, PROFILES.time_rules)
        for leg in fit.legs:
            assert leg.offer.clearance.value == "not_screened"
            assert not leg.offer.offered
            assert "not cleared to fit" in leg.offer.why


def test_case_1_shop_worker_is_clear_of_the_edges() -> None:
    fit = fitted("tern", "tern-001-9")
    assert sizes(fit, "mill-one-haar") == [("fits", "M"), ("fits", "M")]
    margins = [
        m.margin_mm
        for leg in fit.legs
        for c in leg.charts
        if c.chart.id == "mill-one-haar"
        for m in c.answer.margins
    ]
    assert min(margins) >= Decimal(10)
    assert flags(fit) == set()


def test_case_2_night_baker_is_not_late() -> None:
    fit = fitted("tern", "tern-002-7")
    assert ("late_in_day", "warn") not in flags(fit)
    assert all(
        leg.times is not None and leg.times.hours_up is not None and leg.times.hours_up < 1
        for leg in fit.legs
    )


def test_case_3_teacher_is_late_and_the_file_says_so() -> None:
    session = of_client("tern", "tern-003-5")
    assert ("late_in_day", "warn") in flags(fitted("tern", "tern-003-5"))
    readings = Readings(session)
    (ankle,) = readings.current((Side.LEFT, Point.B, Kind.GIRTH))
    assert "late_in_day" in ankle.doubts


def test_case_4_the_ankle_read_in_inches_is_corrected_and_the_calf_needs_the_wide_line() -> None:
    session = of_client("tern", "tern-004-3")
    (ankle,) = Readings(session).current((Side.LEFT, Point.B, Kind.GIRTH))
    assert (ankle.typed, ankle.unit) == ("8 11/16 in", "in")
    assert ankle.mm == Decimal("220.6625")  # 8 11/16 x 25.4 (16 CFR 500.19)
    first = Readings(session).by_name(ankle.instead_of[0])
    assert first is not None
    assert (first.typed, first.doubts) == ("8.7", ("hard_range",))
    assert sizes(fitted("tern", "tern-004-3"), "mill-two-spindrift")[0] == ("fits", "M wide")


def test_case_6_measured_straight_after_the_bandage_says_so_instead_of_late() -> None:
    codes = {code for code, _ in flags(fitted("dunlin", "dunlin-001-W"))}
    assert "compression_just_off" in codes
    assert "late_in_day" not in codes


def test_case_11_one_leg_alone_is_judged() -> None:
    fit = next(
        fit_session(load(p), PROFILES.charts, PROFILES.ranges, PROFILES.time_rules)
        for p in find_session_files(SAMPLES / "petrel")
        if load(p).text("client").startswith("petrel-001")
    )
    assert [leg.side for leg in fit.legs] == [Side.RIGHT]


def test_case_12_a_lying_leg_gets_the_posture_caution() -> None:
    fit = next(
        fit_session(load(p), PROFILES.charts, PROFILES.ranges, PROFILES.time_rules)
        for p in find_session_files(SAMPLES / "petrel")
        if load(p).text("client").startswith("petrel-002")
    )
    cautions = [c for leg in fit.legs for chart in leg.charts for c in chart.answer.cautions]
    assert any("Measured lying" in caution for caution in cautions)


def test_case_14_both_postures_are_kept_when_the_two_copies_are_joined() -> None:
    copies = [
        p
        for p in FILES
        if p.stem in {q.stem for q in FILES if q != p and q.parts[-4] != p.parts[-4]}
    ]
    one, other = (load(path) for path in copies)
    joined = join(one, other)
    assert set(joined.answer("posture").values) == {"sitting", "lying"}
    assert joined.value("posture") is None
    assert joined == join(other, one)
    ankles = {
        reading.mm
        for code in ("tern-006-0", "dunlin-006-M")
        for path in FILES
        if load(path).text("client") == code
        for reading in Readings(load(path)).current((Side.LEFT, Point.B, Kind.GIRTH))
    }
    assert ankles == {Decimal("223.0"), Decimal("224.0")}


def test_case_14_a_clock_at_1970_files_the_session_in_1970_and_loses_nothing() -> None:
    (path,) = (p for p in FILES if p.parent.name == "1970-01")
    remarks = [e.text("text") for e in load(path).heads.heads_of("remarks")]
    assert any("heel sore" in text for text in remarks)
