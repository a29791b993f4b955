"""`chart lint` and `chart coverage`: text, JSON as promised, exit codes, and the README's lines."""

from __future__ import annotations

import re
import shlex
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Anklefirst

REPOSITORY = Path(__file__).resolve().parents[2]
CHARTS = REPOSITORY / "profiles" / "charts"
LOW_TIDE = CHARTS / "mill-four-low-tide.toml"
SPINDRIFT = CHARTS / "mill-two-spindrift.toml"
HAAR = CHARTS / "mill-one-haar.toml"

PROBLEM = {"path", "key", "level", "code", "text", "mend"}
COVERAGE = {"legs", "one_size", "several", "none", "by_size"}


# --- lint ----------------------------------------------------------------------------------------


def test_lint_tells_path_key_level_code_text_and_mend_and_nothing_else(
    anklefirst: Anklefirst,
) -> None:
    ran = anklefirst("chart", "lint", LOW_TIDE, "--json")
    assert ran.code == 1
    assert list(ran.json) == ["problems"]
    problems = ran.json["problems"]
    assert all(set(problem) == PROBLEM for problem in problems)
    assert {problem["path"] for problem in problems} == {str(LOW_TIDE)}
    [gap] = [problem for problem in problems if problem["level"] != "note"]
    assert (gap["code"], gap["key"], gap["level"]) == ("gap", "sizes.3.ankle", "warning")
    assert "1 cm between 3 and 4" in gap["text"]


def test_lint_says_for_people_the_line_and_the_mend(anklefirst: Anklefirst) -> None:
    ran = anklefirst("chart", "lint", LOW_TIDE)
    assert ran.code == 1
    first = ran.out.splitlines()[0]
    lines = LOW_TIDE.read_text(encoding="utf-8").splitlines()
    place = re.match(rf"warning: {re.escape(str(LOW_TIDE))}:(\d+): sizes\.3\.ankle: ", first)
    assert place
    assert lines[int(place[1]) - 1] == "ankle = [26, 28.5]"
    assert " Mend: " in first


def test_a_chart_with_notes_only_needs_nobody(anklefirst: Anklefirst) -> None:
    ran = anklefirst("chart", "lint", HAAR, "--json")
    assert (ran.code, [p["code"] for p in ran.json["problems"]]) == (0, ["invented_chart"])


def test_several_charts_and_whole_folders_are_linted_at_once(anklefirst: Anklefirst) -> None:
    both = anklefirst("chart", "lint", HAAR, SPINDRIFT, "--json").json["problems"]
    assert {problem["path"] for problem in both} == {str(HAAR), str(SPINDRIFT)}
    folder = anklefirst("chart", "lint", CHARTS, "--json").json["problems"]
    assert {Path(p["path"]).name for p in folder} == {path.name for path in CHARTS.glob("*.toml")}


REFUSED = {
    "reversed": ("ankle = [21.5, 25]", "ankle = [25, 21.5]", "sizes.2.ankle", "lowest is above"),
    "a word": ("calf = [34, 42]", 'calf = [34, "wide"]', "sizes.2.calf", "is not a length"),
    "three edges": ("calf = [34, 42]", "calf = [34, 38, 42]", "sizes.2.calf", "[lowest, highest]"),
    "no such column": ("calf = [34, 42]", "claf = [34, 42]", "sizes.2.claf", "called 'claf'"),
    "a cell missing": ("calf = [34, 42]\n", "", "sizes.2", "no range for 'calf'"),
    "an unknown unit": ('unit = "cm"', 'unit = "ell"', "unit", "'cm'"),
    "an unknown rule": ('overlap = "ankle"', 'overlap = "best"', "overlap", "'larger'"),
    "no TOML": ("format = 1", "format = ", None, "nvalid value"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_the_reader_of_charts_refuses_is_an_error_with_its_key(
    name: str, anklefirst: Anklefirst, tmp_path: Path
) -> None:
    old, new, key, words = REFUSED[name]
    text = LOW_TIDE.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "ours.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    ran = anklefirst("chart", "lint", path, "--json")
    assert ran.code == 1
    problems = ran.json["problems"]
    assert (problems[0]["level"], problems[0]["key"]) == ("error", key)
    assert words in f"{problems[0]['text']} {problems[0]['mend']}"
    # Nobody can be covered by a chart that cannot be read.
    covered = anklefirst("chart", "coverage", path, "--against", "synthetic", "--json")
    assert covered.code == 2
    assert covered.json["problems"][0]["key"] == key


def test_a_chart_that_is_not_there_is_wrong_use(anklefirst: Anklefirst, tmp_path: Path) -> None:
    for words in (("lint",), ("coverage", "--against", "synthetic")):
        ran = anklefirst("chart", words[0], tmp_path / "nowhere.toml", *words[1:], "--json")
        assert (ran.code, ran.json["problems"][0]["code"]) == (2, "wrong_use")


def test_a_chart_on_the_day_it_runs_out_and_the_day_after(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    """The clock is the surroundings': 4 March 2026."""
    for day, code in (("2026-03-04", 0), ("2026-03-03", 1)):
        path = tmp_path / f"{day}.toml"
        text = HAAR.read_text(encoding="utf-8")
        path.write_text(
            text.replace("valid_from = 2026-01-01", f"valid_until = {day}"), encoding="utf-8"
        )
        ran = anklefirst("chart", "lint", path, "--json")
        assert ran.code == code
        assert ("expired" in {p["code"] for p in ran.json["problems"]}) == bool(code)


# --- coverage ------------------------------------------------------------------------------------


def test_coverage_prints_exactly_what_is_promised(anklefirst: Anklefirst) -> None:
    ran = anklefirst("chart", "coverage", SPINDRIFT, "--against", "synthetic", "--json")
    assert ran.code == 0
    document = ran.json
    assert set(document) == COVERAGE
    assert set(document["none"]) == {"between", "off_chart", "proportions"}
    assert document["legs"] == 800
    given = document["one_size"] + document["several"]
    assert given + sum(document["none"].values()) == 800
    assert sum(document["by_size"].values()) == given
    assert list(document["by_size"])[:3] == ["XS", "XS wide", "S"]


def test_coverage_shows_people_a_table_and_a_picture_and_says_synthetic(
    anklefirst: Anklefirst,
) -> None:
    ran = anklefirst("chart", "coverage", SPINDRIFT, "--against", "synthetic", "--ascii")
    assert ran.code == 0
    assert "SYNTHETIC: nobody in this set is real." in ran.out
    assert "can never be ordered from" in ran.out
    assert "clear nobody's leg" in ran.out
    assert ran.out.isascii()
    assert max(map(len, ran.out.splitlines())) <= 80
    document = anklefirst("chart", "coverage", SPINDRIFT, "--against", "synthetic", "--json").json
    row = next(line for line in ran.out.splitlines() if line.startswith("M wide"))
    assert int(row.split()[2]) == document["by_size"]["M wide"]
    assert "Up: calf, cm. Across: ankle, cm." in ran.out
    # Lengths are a stand-in, and that is said where the chart uses one.
    assert "tibial height" in ran.out
    other = anklefirst("chart", "coverage", LOW_TIDE, "--against", "synthetic")
    assert "tibial height" not in other.out


def test_coverage_draws_an_svg_into_a_new_file_and_never_over_one(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    out = tmp_path / "coverage.svg"
    words = ("chart", "coverage", LOW_TIDE, "--against", "synthetic", "--svg", out)
    assert anklefirst(*words).code == 0
    svg = out.read_text(encoding="utf-8")
    ET.fromstring(svg)  # noqa: S314 - our own text
    assert "SYNTHETIC" in svg
    again = anklefirst(*words)
    assert again.code == 2
    assert out.read_text(encoding="utf-8") == svg


def test_the_own_archive_is_counted_by_the_values_used(anklefirst: Anklefirst) -> None:
    empty = anklefirst("chart", "coverage", LOW_TIDE, "--against", "archive", "--json")
    assert (empty.code, empty.json["problems"][0]["code"]) == (2, "no_legs")
    session = anklefirst.new()
    for side, ankle, calf in (("left", "22.0", "36.0"), ("right", "25.5", "39.0")):
        anklefirst.record(session, side, "B", "girth", ankle)
        anklefirst.record(session, side, "C", "girth", calf)
    ran = anklefirst("chart", "coverage", LOW_TIDE, "--against", "archive", "--json")
    assert ran.code == 0
    assert ran.json == {
        "legs": 2,
        "one_size": 0,
        "several": 1,
        "none": {"between": 1, "off_chart": 0, "proportions": 0},
        "by_size": {"1": 0, "2": 0, "3": 1, "4": 0, "5": 0},
    }
    # Another folder by its path; what the chart needs and nobody measured is said.
    shoes = anklefirst.bare(
        "chart", "coverage", str(HAAR), "--against", str(anklefirst.data), "--json"
    )
    assert (shoes.code, shoes.json["not_measured"], shoes.json["legs"]) == (0, 2, 2)


def test_a_table_with_a_row_that_cannot_be_read_needs_a_person(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = tmp_path / "legs.csv"
    path.write_text("person,B,C\na,22,36\nb,22,x\n", encoding="utf-8")
    ran = anklefirst("chart", "coverage", LOW_TIDE, "--against", path, "--json")
    assert ran.code == 1
    assert (ran.json["legs"], [row["line"] for row in ran.json["refused"]]) == (1, [3])
    assert f"{path}:3: " in ran.err


def test_a_damaged_session_of_the_archive_is_told(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst.record(session, "left", "B", "girth", "22.0")
    anklefirst.record(session, "left", "C", "girth", "36.0")
    damaged = anklefirst.session_file(anklefirst.new("SK-08"))
    damaged.write_bytes(b"")
    ran = anklefirst("chart", "coverage", LOW_TIDE, "--against", "archive", "--json")
    assert (ran.code, ran.json["legs"]) == (1, 1)
    assert ran.json["problems"][0]["path"] == str(damaged)


@pytest.mark.parametrize("against", ["nowhere.csv", "synthetics"])
def test_a_set_that_is_not_there_is_told(against: str, anklefirst: Anklefirst) -> None:
    ran = anklefirst("chart", "coverage", LOW_TIDE, "--against", against, "--json")
    assert (ran.code, ran.json["problems"][0]["path"]) == (2, against)


# --- the README ----------------------------------------------------------------------------------

HEADING = "Is the chart right, and whom does it fit?"


def test_the_commands_of_the_readme_run_as_printed(
    anklefirst: Anklefirst, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    readme = (REPOSITORY / "README.md").read_text(encoding="utf-8")
    section = readme.split(f"## {HEADING}\n", 1)[1].split("\n## ", 1)[0]
    commands = [
        line
        for block in re.findall(r"^```sh\n(.*?)^```", section, re.DOTALL | re.MULTILINE)
        for line in block.splitlines()
        if line.strip()
    ]
    assert len(commands) >= 3
    # In a folder of its own, so that no picture is left in the project's.
    (tmp_path / "profiles").symlink_to(REPOSITORY / "profiles")
    monkeypatch.chdir(tmp_path)
    for command in commands:
        program, *words = shlex.split(command, comments=True)
        assert program == ".venv/bin/anklefirst"
        ran = anklefirst.bare(*words)
        assert ran.code in (0, 1), command
        assert ran.out
