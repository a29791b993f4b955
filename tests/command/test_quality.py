"""quality: the documented JSON, the text for people, and what is left out."""

from __future__ import annotations

import gc
import shutil
import weakref
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from session_lines import SESSION_ID, array, reading, write_session

from fitcore.disk.profile_files import load_quality_rules
from fitcore.disk.session_files import SessionFile, read_session_file
from fitcore.points import Kind, Point, place_words
from fitcore.quality.quality_report import BetweenError, EndDigits, QualityReport
from fitcore.quality.repeat_error import RepeatError
from tui.commands import session_reading
from tui.wording.quality import WIDTH, quality_rows

if TYPE_CHECKING:
    from conftest import Anklefirst

    from fitcore.record.session import Session

ROOT = Path(__file__).resolve().parents[2]
QUALITY = ROOT / "profiles" / "quality" / "repeat-error.toml"


def _sheet(anklefirst: Anklefirst, *rows: tuple[str, str, str, str, str]) -> Path:
    """Import a sheet of left-leg girths: client, measurer, point, first and second reading."""
    lines = [
        f"{client},2026-03-04T09:12:00,{measurer},left,{point},girth,{number},{value},cm,standing,"
        for client, measurer, point, *values in rows
        for number, value in enumerate(values, 1)
    ]
    path = anklefirst.sheet(*lines)
    ran = anklefirst("import", path, "--zone", "Europe/Berlin")
    assert ran.code in (0, 1), ran
    assert not ran.err or "zone" in ran.err.casefold() or ran.code == 0, ran
    return anklefirst.data


@pytest.fixture
def folder(anklefirst: Anklefirst) -> Path:
    """Ten ankles by N-17, two by N-18, one of them of the same client."""
    ours = [(f"SK-{n}", "N-17", "B", "22.1", "22.3") for n in range(1, 11)]
    theirs = [(f"SK-{n}", "N-18", "B", "22.6", "22.9") for n in (10, 11)]
    return _sheet(anklefirst, *ours, *theirs)


def _quality(anklefirst: Anklefirst, *paths: Path) -> Any:
    ran = anklefirst("quality", *paths, "--json")
    assert ran.err == "", ran
    return ran.json


def test_the_document_has_the_documented_shape(anklefirst: Anklefirst, folder: Path) -> None:
    found = _quality(anklefirst, folder)
    assert list(found) == ["repeat_error", "between", "end_digits", "left_out", "problems"]
    ours, theirs, together = found["repeat_error"]
    assert ours == {
        "measurer": "N-17",
        "point": "B",
        "kind": "girth",
        "pairs": 10,
        "people": 10,
        "tem_mm": "1.414",
        "tem_percent": 0.637,
        "reliability": -0.9,
    }
    assert (theirs["measurer"], theirs["pairs"], theirs["tem_mm"]) == ("N-18", 2, "2.121")
    assert theirs["reliability"] is None
    assert (together["measurer"], together["pairs"], together["people"]) == (None, 12, 11)
    assert found["between"] == [
        {
            "point": "B",
            "kind": "girth",
            "pairs": 1,
            "people": 1,
            "measurers": ["N-17", "N-18"],
            "tem_mm": "3.889",
            "tem_percent": 1.73,
        }
    ]
    assert found["end_digits"] == [
        {"measurer": "N-17", "readings": 20, "zero_or_five_percent": 0.0},
        {"measurer": "N-18", "readings": 4, "zero_or_five_percent": 0.0},
    ]
    assert found["left_out"] == {"disputed_places": 0, "unusable_readings": 0}
    assert found["problems"] == []


def test_people_read_a_table_for_each_measurer(anklefirst: Anklefirst, folder: Path) -> None:
    ran = anklefirst("quality", folder)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.splitlines() == [
        "Repeat error: by how much one reading usually misses, seen where one",
        "measurer read the same place twice.",
        "",
        "Measured by N-17",
        "  place                                pairs   people       error    percent",
        "  round the ankle (B)                     10       10      1.4 mm      0.6 %",
        "  It rests on 10 pairs of readings.",
        "",
        "Measured by N-18",
        "  place                                pairs   people       error    percent",
        "  round the ankle (B)                      2        2   too few pairs to say",
        "  It rests on 2 pairs of readings.",
        "",
        "All measurers",
        "  place                                pairs   people       error    percent",
        "  round the ankle (B)                     12       11      1.6 mm      0.7 %",
        "  It rests on 12 pairs of readings.",
        "",
        "Where only doubtful readings were repeated, the error comes out too large.",
        "",
        "Between measurers (same client, same day)",
        "  place                                pairs   people       error    percent",
        "  round the ankle (B)                      1        1   too few pairs to say",
        "  Measured by N-17, N-18. Legs may have swollen in between.",
    ]


def test_one_measurer_alone_is_not_told_twice(anklefirst: Anklefirst) -> None:
    folder = _sheet(anklefirst, ("SK-1", "N-17", "C", "36.1", "36.4"))
    out = anklefirst("quality", folder).out
    assert out.count("round the calf (C)") == 1
    assert "All measurers" not in out
    assert [row["measurer"] for row in _quality(anklefirst, folder)["repeat_error"]] == [
        "N-17",
        None,
    ]


def test_round_figures_are_told_to_people(anklefirst: Anklefirst) -> None:
    rows = [(f"SK-{n}", "N-17", "C", "36.0", "36.5") for n in range(10)]
    out = anklefirst("quality", _sheet(anklefirst, *rows)).out
    said = " ".join(out.split())
    assert "N-17: 100 % of 20 readings in cm end in .0 or .5; by chance it would be 20 %." in said


def test_the_same_sessions_in_two_folders_count_once(
    anklefirst: Anklefirst, folder: Path, tmp_path: Path
) -> None:
    copy = tmp_path / "stick"
    shutil.copytree(folder, copy)
    assert _quality(anklefirst, folder, copy) == _quality(anklefirst, folder)
    assert _quality(anklefirst, copy, folder) == _quality(anklefirst, folder)


def test_two_copies_that_each_hold_a_reading_are_joined(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    again = reading(2, "22.6", "226.0").replace("round = 1", "round = 2")
    copies = [
        write_session(tmp_path / name, array("readings", entry))
        for name, entry in (("tern", reading(1)), ("dunlin", again))
    ]
    for paths in (copies, copies[::-1]):
        found = _quality(anklefirst, *paths)
        assert [row["tem_mm"] for row in found["repeat_error"]] == ["1.414", "1.414"]


def test_a_copy_under_another_name_is_joined_too(anklefirst: Anklefirst, tmp_path: Path) -> None:
    again = reading(2, "22.6", "226.0").replace("round = 1", "round = 2")
    ours = write_session(tmp_path / "tern", array("readings", reading(1)))
    theirs = write_session(tmp_path / "dunlin", array("readings", again))
    renamed = theirs.rename(theirs.with_name("copy of it.toml"))
    for paths in ((ours, renamed), (renamed, ours)):
        found = _quality(anklefirst, *paths)
        assert [row["tem_mm"] for row in found["repeat_error"]] == ["1.414", "1.414"]


def test_a_folder_called_like_a_session_file_is_told(anklefirst: Anklefirst, folder: Path) -> None:
    [month] = (folder / "sessions").iterdir()
    odd = month / f"{SESSION_ID}.toml"
    odd.mkdir()
    write_session(odd, array("readings", reading(1)))
    ran = anklefirst("quality", folder, "--json")
    assert ran.code == 1
    told = [(problem["code"], problem["path"]) for problem in ran.json["problems"]]
    assert told == [("not_a_regular_file", str(odd))]
    pairs = [row["pairs"] for row in ran.json["repeat_error"] if row["measurer"] is None]
    assert pairs == [12]


def test_sessions_are_not_all_held_at_once(
    anklefirst: Anklefirst, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A large archive's would not fit into memory: here at most the one before still lives."""
    made: list[weakref.ref[Session]] = []
    alive: list[int] = []

    def read(path: Path) -> SessionFile:
        gc.collect()
        alive.append(sum(session() is not None for session in made))
        file = read_session_file(path)
        assert file.session is not None
        made.append(weakref.ref(file.session))
        return file

    monkeypatch.setattr(session_reading, "read_session_file", read)
    assert anklefirst("quality", folder).code == 0
    assert len(made) == 12
    assert max(alive) <= 1


def test_nothing_read_twice_and_nothing_at_all(anklefirst: Anklefirst, tmp_path: Path) -> None:
    ran = anklefirst("quality", tmp_path)
    assert (ran.code, ran.out) == (0, "There are no sessions here.\n")
    session = anklefirst.new()
    anklefirst.record(session, "left", "B", "girth", "22.4")
    ran = anklefirst("quality", anklefirst.data)
    assert ran.code == 0
    assert "No place was read twice by one measurer." in ran.out
    found = _quality(anklefirst, anklefirst.data)
    assert (found["repeat_error"], found["between"]) == ([], [])


def test_a_path_that_is_not_there_is_wrong_use(anklefirst: Anklefirst, tmp_path: Path) -> None:
    assert anklefirst("quality", tmp_path / "nowhere").code == 2
    assert anklefirst("quality").code == 2


def test_nothing_is_written(anklefirst: Anklefirst, folder: Path) -> None:
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    anklefirst("quality", folder)
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_a_file_that_cannot_be_read_is_told_and_the_others_count(
    anklefirst: Anklefirst, folder: Path
) -> None:
    broken = sorted(folder.glob("sessions/*/*.toml"))[0]
    broken.write_bytes(b"")
    ran = anklefirst("quality", folder, "--json")
    assert ran.code == 1
    assert [problem["path"] for problem in ran.json["problems"]] == [str(broken)]
    assert str(broken) in ran.err
    pairs = [row["pairs"] for row in ran.json["repeat_error"] if row["measurer"] is None]
    assert pairs == [11]


def test_what_is_left_out_asks_for_a_person(anklefirst: Anklefirst, tmp_path: Path) -> None:
    """One reading corrected twice, differently; another whose millimetres are not what it says."""
    instead = ', instead_of = ["tern-k7qd:1"]'
    disputed = [reading(1), reading(2, "22.6", "226", instead), reading(3, "22.7", "227", instead)]
    path = write_session(tmp_path / "one", array("readings", *disputed))
    ran = anklefirst("quality", path, "--json")
    assert (ran.code, ran.json["problems"]) == (1, [])
    assert ran.json["left_out"] == {"disputed_places": 1, "unusable_readings": 0}
    said = " ".join(anklefirst("quality", path).out.split())
    assert "different values side by side: 1." in said

    path = write_session(tmp_path / "two", array("readings", reading(1, "22.4", "225")))
    ran = anklefirst("quality", path, "--json")
    assert ran.code == 1
    assert ran.json["left_out"] == {"disputed_places": 0, "unusable_readings": 1}
    said = " ".join(anklefirst("quality", path).out.split())
    assert "readings that cannot be used: 1." in said


def test_the_services_own_thresholds_hold(
    anklefirst: Anklefirst, folder: Path, tmp_path: Path
) -> None:
    """Those of the one folder all sessions are from; else those of the folder in use."""
    stick = tmp_path / "stick"
    shutil.copytree(folder, stick)
    text = QUALITY.read_text(encoding="utf-8").replace("least_pairs = 10", "least_pairs = 2")
    own = stick / "quality" / "ours.toml"
    own.parent.mkdir()
    own.write_text(text, encoding="utf-8")
    assert "2.1 mm" in anklefirst("quality", stick).out
    assert "2.1 mm" not in anklefirst("quality", folder).out
    own.write_text(text.replace("least_pairs = 2", "least_pairs = 1"), encoding="utf-8")
    ran = anklefirst("quality", stick, "--json")
    assert [problem["key"] for problem in ran.json["problems"]] == ["least_pairs"]
    assert ran.code == 1


def test_no_line_is_wider_than_a_small_screen() -> None:
    rules, problems = load_quality_rules()
    assert problems == ()
    name = "somebody with a very long code " * 4
    places = [(p, k) for p in Point for k in (Kind.GIRTH, Kind.LENGTH)]
    for pairs in (99_999, 3):
        rows = [
            RepeatError(who, *place, pairs, 99_999, 1234.5, 100.0, 0.5)
            for who in (name, "", None)
            for place in places
        ]
        between = [
            BetweenError(*place, pairs, 9, (name, "N-18"), 1234.5, 100.0) for place in places
        ]
        digits = EndDigits(name, 99_999, 40_000, 50_000)
        report = QualityReport(rules, tuple(rows), tuple(between), (digits,), 12_345, 12_345)
        lines = quality_rows(report)
        assert max(map(len, lines)) <= WIDTH == 76
        for place in places:
            assert any(place_words(*place) in line for line in lines)


@pytest.mark.parametrize("kind", ["quality", "swelling"])
def test_check_knows_the_file_by_its_content_and_by_its_folder(
    kind: str, anklefirst: Anklefirst, tmp_path: Path
) -> None:
    [shipped] = (ROOT / "profiles" / kind).glob("*.toml")
    assert anklefirst.found(ROOT / "profiles" / kind) == []
    loose = tmp_path / "ours.toml"
    text = shipped.read_text(encoding="utf-8")
    loose.write_text(text.replace("format = 1", "format = 2", 1), encoding="utf-8")
    assert [(p["key"], p["line"]) for p in anklefirst.found(loose)] == [("format", 1)]
    (tmp_path / kind).mkdir()
    damaged = tmp_path / kind / "ours.toml"
    damaged.write_text("format = 1\n", encoding="utf-8")
    assert {p["code"] for p in anklefirst.found(damaged)} == {"profile_missing"}
