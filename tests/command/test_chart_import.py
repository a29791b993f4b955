"""chart import: a table into a chart file, asked where anything is open, never written over."""

from __future__ import annotations

import io
import re
import shlex
import sys
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from fitcore.charts.chart import Chart
from fitcore.charts.sizing import decide_size
from fitcore.points import Kind, Point
from fitcore.record.readings import Adopted
from fitcore.units import Millimetre

if TYPE_CHECKING:
    from conftest import Anklefirst

REPOSITORY = Path(__file__).resolve().parents[2]

TABLE = "Size;Ankle (cm);Calf (cm)\nS;19–21;30,5–36\nM wide;21–23;33 to 40 cm\n"
HEAD = {
    "--maker": "Invented Mill Nine",
    "--line": "Neap",
    "--form": "below_knee",
    "--toe": "open",
    "--purpose": "work",
    "--posture": "standing",
    "--source": "Made up for a test",
}


def words(*more: str, without: str = "") -> list[str]:
    return [*(part for pair in HEAD.items() if pair[0] != without for part in pair), *more]


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "neap.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "neap.toml"


def chart_of(path: Path) -> Chart:
    return Chart.model_validate(tomllib.loads(path.read_text("utf-8"), parse_float=Decimal))


def test_a_table_becomes_a_chart_file(anklefirst: Anklefirst, table: Path, out: Path) -> None:
    ran = anklefirst("chart", "import", table, "--out", out, *words(), "--json")
    assert ran.code == 0
    assert ran.json == {"written": str(out), "sizes": 2, "problems": []}
    chart = chart_of(out)
    assert (chart.id, chart.title) == ("invented-mill-nine-neap", "Invented Mill Nine Neap")
    assert (chart.form, chart.toe, chart.purposes) == ("below_knee", "open", ("work",))
    assert (chart.unit, chart.step_mm, chart.invented) == ("cm", 0, False)
    assert (chart.source.text, chart.source.status) == ("Made up for a test", "read")
    assert [(size.name, dict(size.ranges)) for size in chart.sizes] == [
        ("S", {"ankle": (190, 210), "calf": (305, 360)}),
        ("M wide", {"ankle": (210, 230), "calf": (330, 400)}),
    ]
    assert "calf = [30.5, 36]" in out.read_text("utf-8")
    assert anklefirst.found(out) == []
    assert not anklefirst.data.exists()


def test_people_are_told_what_each_column_was_taken_for(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    ran = anklefirst("chart", "import", table, "--out", out, *words("--column", "Calf (cm)=skip"))
    assert ran.code == 0
    assert ran.out.splitlines() == [
        "Ankle (cm): round the ankle (B), cm",
        "Calf (cm): left out",
        "Where two sizes hold, a person will choose: no --overlap was given.",
        "Taken as sold in pairs: no --sold was given.",
        "Taken as made off the shelf: no --made was given.",
        "No pressure was given; it can be added with --mmhg and the class.",
        f"Written to {out}. Sizes: S, M wide.",
        "Now compare every number with the leaflet.",
    ]


def test_all_options_reach_the_file(anklefirst: Anklefirst, table: Path, out: Path) -> None:
    more = words(
        *("--id", "neap-2", "--purpose", "travel", "--overlap", "ankle", "--mmhg", "18–21,5"),
        *("--standard", "invented scale", "--class", "light", "--printed", "2026-01-02"),
        *("--valid-from", "2026-02-01", "--valid-until", "2027-02-01", "--invented"),
        *("--source-status", "second hand"),
    )
    assert anklefirst("chart", "import", table, "--out", out, *more).code == 0
    chart = chart_of(out)
    assert (chart.id, chart.overlap, chart.purposes) == ("neap-2", "ankle", ("work", "travel"))
    assert chart.pressure is not None
    assert chart.pressure.mmhg == (18, Decimal("21.5"))
    assert (chart.pressure.standard, chart.pressure.grade) == ("invented scale", "light")
    assert str(chart.source.printed) == "2026-01-02"
    assert (str(chart.valid_from), str(chart.valid_until)) == ("2026-02-01", "2027-02-01")
    assert chart.invented
    assert chart.source.status == "invented"


def test_everything_missing_is_told_at_once_with_the_option_to_add(
    anklefirst: Anklefirst, tmp_path: Path, out: Path
) -> None:
    path = tmp_path / "bare.csv"
    path.write_text("Size;Ankle;Length to knee\nS;19-20,9;31-41\nM;21-23;33-43\n", "utf-8")
    ran = anklefirst("chart", "import", path, "--out", out, "--json")
    assert ran.code == 2
    assert (ran.json["written"], ran.json["sizes"]) == (None, 2)
    told = {problem["code"]: problem for problem in ran.json["problems"]}
    assert set(told) == {
        *("missing_maker", "missing_line", "missing_form", "missing_toe", "missing_purpose"),
        *("missing_posture", "missing_source", "unit_unknown", "which_length"),
    }
    assert "--unit cm or --unit mm or --unit in" in told["unit_unknown"]["mend"]
    assert 'Add --column "Length to knee=D length" or' in told["which_length"]["mend"]
    assert (told["which_length"]["line"], told["which_length"]["path"]) == (1, str(path))
    assert "Add --form below_knee|" in told["missing_form"]["mend"]
    assert not out.exists()
    for code, problem in told.items():
        if code.startswith("missing"):
            assert f"Add {problem['key']} " in problem["mend"]


@pytest.mark.parametrize("option", HEAD)
def test_each_needed_option_is_asked(
    option: str, anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    ran = anklefirst("chart", "import", table, "--out", out, *words(without=option), "--json")
    assert ran.code == 2
    [problem] = ran.json["problems"]
    assert problem["key"] == option
    assert not out.exists()


def test_a_sleeve_without_a_foot_needs_no_toe(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    more = [*words(without="--toe"), "--form", "footless_sleeve"]
    assert anklefirst("chart", "import", table, "--out", out, *more).code == 0
    assert chart_of(out).toe == "none"


def test_a_gap_is_asked_about_before_it_is_closed(
    anklefirst: Anklefirst, tmp_path: Path, out: Path
) -> None:
    path = tmp_path / "gap.csv"
    path.write_text("Size;Ankle (cm);Shoe EU\nS;19-20,9;35-37\nM;21-23;38-40\n", "utf-8")
    asked = anklefirst("chart", "import", path, "--out", out, *words(), "--json")
    assert [(p["key"], p["code"]) for p in asked.json["problems"]] == [
        ("--shoe-step", "missing_step"),
        ("--step-mm", "missing_step"),
    ]
    assert "between 20.9 and 21" in asked.json["problems"][1]["text"]
    assert "Add --step-mm 1 if it is" in asked.json["problems"][1]["mend"]
    done = words("--step-mm", "1", "--shoe-step", "1")
    assert anklefirst("chart", "import", path, "--out", out, *done).code == 0
    chart = chart_of(out)
    assert chart.step_mm == 1
    assert [d.step for d in chart.dimensions] == [None, 1]


def test_how_it_is_sold_and_made_and_what_is_said_of_one_column_reach_the_file(
    anklefirst: Anklefirst, tmp_path: Path, out: Path
) -> None:
    path = tmp_path / "gap.csv"
    path.write_text("Size;Ankle (cm);Calf (cm)\nS;19-20,9;30-36\nM;21-23;37-40\n", "utf-8")
    more = words(
        *("--sold", "single", "--made", "off_the_shelf", "--gap", "Ankle (cm)=nearest"),
        *("--gap", "calf=none", "--column-posture", "CALF (cm) = sitting"),
    )
    ran = anklefirst("chart", "import", path, "--out", out, *more)
    assert ran.code == 0
    assert "--sold" not in ran.out
    assert "--made" not in ran.out
    chart = chart_of(out)
    assert (chart.sold, chart.made, chart.step_mm) == ("single", "off_the_shelf", 0)
    assert [(d.id, d.gap, d.posture) for d in chart.dimensions] == [
        ("ankle", "nearest", None),
        ("calf", "none", "sitting"),
    ]
    assert all("gap" in dimension.model_fields_set for dimension in chart.dimensions)


def test_a_gap_answered_for_one_column_is_still_asked_of_the_other(
    anklefirst: Anklefirst, tmp_path: Path, out: Path
) -> None:
    path = tmp_path / "gap.csv"
    path.write_text("Size;Ankle (cm);Calf (cm)\nS;19-20,9;30-36\nM;21-23;37-40\n", "utf-8")
    asked = anklefirst(
        "chart", "import", path, "--out", out, *words("--gap", "ankle=larger"), "--json"
    )
    (problem,) = asked.json["problems"]
    assert (problem["key"], "between 36 and 37" in problem["text"]) == ("--step-mm", True)


def test_a_garment_made_to_measure_has_one_row(
    anklefirst: Anklefirst, tmp_path: Path, out: Path
) -> None:
    path = tmp_path / "limits.csv"
    path.write_text("Size;Ankle (cm)\nlimits;18-35\n", "utf-8")
    ran = anklefirst("chart", "import", path, "--out", out, *words("--made", "to_measure"))
    assert ran.code == 0
    assert chart_of(out).made == "to_measure"


def test_a_row_that_cannot_be_read_is_kept_and_the_chart_is_not_used(
    anklefirst: Anklefirst, table: Path, tmp_path: Path
) -> None:
    table.write_text(TABLE + "L;≤ 25;38-44\n", "utf-8")
    charts = tmp_path / "charts"
    charts.mkdir()
    out = charts / "neap.toml"
    ran = anklefirst("chart", "import", table, "--out", out, *words(), "--json")
    assert ran.code == 1
    assert (ran.json["written"], ran.json["sizes"]) == (str(out), 2)
    [problem] = ran.json["problems"]
    assert (problem["path"], problem["line"], problem["key"], problem["code"]) == (
        str(table),
        4,
        "column 2 (Ankle (cm))",
        "open_ended",
    )
    text = out.read_text("utf-8")
    assert "# TO MEND, line 4 of the table: '≤ 25' has one end only." in text
    assert [found["key"] for found in anklefirst.found(out)] == ["sizes.2.ankle"]
    session = anklefirst.new()
    fitted = anklefirst("fit", anklefirst.session_file(session), "--charts", charts, "--json")
    assert [c for s in fitted.json["sessions"] for leg in s["legs"] for c in leg["charts"]] == []
    assert [p["path"] for p in fitted.json["problems"]] == [str(out)]
    out.write_text(text.replace('ankle = "≤ 25"', "ankle = [23, 25]"), "utf-8")
    assert anklefirst.found(out) == []


def test_nothing_is_written_where_no_row_is_good(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    table.write_text("Size;Ankle (cm)\nS;23\nM;25\n", "utf-8")
    ran = anklefirst("chart", "import", table, "--out", out, *words(), "--json")
    assert ran.code == 2
    assert [p["code"] for p in ran.json["problems"]] == ["one_number", "one_number", "no_good_row"]
    assert not out.exists()


def test_a_table_that_breaks_off_is_not_written(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    table.write_text('Size;Ankle (cm)\nS;19-21\n"M;21-23\n', "utf-8")
    ran = anklefirst("chart", "import", table, "--out", out, *words(), "--json")
    assert (ran.code, ran.json["sizes"]) == (2, 1)
    assert [p["code"] for p in ran.json["problems"]] == ["quotes_open"]
    assert not out.exists()


def test_a_file_that_is_there_is_replaced_only_on_request(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    out.write_text("mine\n", "utf-8")
    ran = anklefirst("chart", "import", table, "--out", out, *words(), "--json")
    assert ran.code == 2
    assert ran.json["written"] is None
    [problem] = ran.json["problems"]
    assert (problem["key"], problem["code"]) == ("--out", "not_written")
    assert "--replace" in problem["mend"]
    assert out.read_text("utf-8") == "mine\n"
    assert anklefirst("chart", "import", table, "--out", out, *words(), "--replace").code == 0
    assert len(chart_of(out).sizes) == 2


@pytest.mark.parametrize("name", ["neap", "neap.csv", "no-such-folder/neap.toml", "folder.toml"])
def test_a_place_that_cannot_hold_a_chart_is_refused(
    name: str, anklefirst: Anklefirst, table: Path, tmp_path: Path
) -> None:
    (tmp_path / "folder.toml").mkdir()
    target = tmp_path / name
    ran = anklefirst("chart", "import", table, "--out", target, *words("--replace"), "--json")
    assert (ran.code, ran.json["written"]) == (2, None)
    assert [p["key"] for p in ran.json["problems"]] == ["--out"]
    assert table.read_text("utf-8") == TABLE


@pytest.mark.parametrize(
    "more",
    [
        ["--step-mm", "a"],
        ["--step-mm", "-1"],
        ["--shoe-step", "nan"],
        ["--mmhg", "18", "--standard", "x", "--class", "1"],
        ["--printed", "yesterday"],
        ["--form", "sock"],
        ["--column", "Ankle"],
        ["--column", "=skip"],
        ["--gap", "Ankle (cm)=wider"],
        ["--gap", "knee=larger"],
        ["--column-posture", "Ankle (cm)"],
        ["--sold", "both"],
    ],
)
def test_an_option_that_cannot_be_meant_is_wrong_use(
    more: list[str], anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    ran = anklefirst("chart", "import", table, "--out", out, *words(*more), "--json")
    assert ran.code == 2
    [problem] = ran.json["problems"]
    assert problem["code"] == "wrong_use"
    assert not out.exists()


def test_a_pressure_without_its_class_is_asked(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    more = words("--mmhg", "18-21")
    ran = anklefirst("chart", "import", table, "--out", out, *more, "--json")
    assert [p["key"] for p in ran.json["problems"]] == ["--standard", "--class"]


def test_what_the_chart_itself_refuses_is_told_and_not_written(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    more = words("--id", "Not An Id")
    ran = anklefirst("chart", "import", table, "--out", out, *more, "--json")
    assert (ran.code, ran.json["written"]) == (2, None)
    assert [p["key"] for p in ran.json["problems"]] == ["id"]
    assert not out.exists()


def pipe(monkeypatch: pytest.MonkeyPatch, raw: bytes) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(raw)))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_table_may_be_piped_in(
    encoding: str, anklefirst: Anklefirst, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pipe(monkeypatch, TABLE.encode(encoding))
    ran = anklefirst("chart", "import", "-", "--out", out, *words(), "--json")
    assert (ran.code, ran.json["sizes"]) == (0, 2)


@pytest.mark.parametrize(
    ("raw", "line"),
    [(TABLE.encode("cp1252"), 2), (b"x" * (1 << 20) + b"x", None)],
)
def test_a_file_that_is_no_text_is_refused(
    raw: bytes, line: int | None, anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    table.write_bytes(raw)
    ran = anklefirst("chart", "import", table, "--out", out, *words(), "--json")
    assert ran.code == 2
    [problem] = ran.json["problems"]
    assert (problem["code"], problem["line"]) == ("table_unreadable", line)


def test_a_table_that_is_not_there_is_refused(
    anklefirst: Anklefirst, tmp_path: Path, out: Path
) -> None:
    for named in (tmp_path / "none.csv", tmp_path):
        assert anklefirst("chart", "import", named, "--out", out, *words()).code == 2


def test_text_that_could_steer_a_terminal_is_shown_and_stored_harmless(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    table.write_text("Size;Ankle (cm)\nS\x1b[2J;19-21\nM;2\u202e1-23\n", "utf-8")
    ran = anklefirst("chart", "import", table, "--out", out, *words("--overlap", "larger"))
    assert ran.code == 1, "a number cut in two by an invisible character is not guessed"
    assert "U+202E was taken as a blank" in ran.err
    assert "\x1b" not in out.read_text("utf-8")


def test_an_overlap_rule_nobody_gave_stays_a_question(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    """S ends and M begins at 21: a leg of 21 gets both to choose from, and no rule is named."""
    table.write_text("Size;Ankle (cm)\nS;19-21\nM;21-23\n", "utf-8")
    assert anklefirst("chart", "import", table, "--out", out, *words()).code == 0
    open_chart = chart_of(out)
    more = words("--overlap", "larger")
    assert anklefirst("chart", "import", table, "--out", out, "--replace", *more).code == 0
    ruled = chart_of(out)
    leg = Adopted(Point.B, Kind.GIRTH, Millimetre(Decimal(210)), 1, None, ())
    for chart, size, others in ((open_chart, None, ("S", "M")), (ruled, "M", ("S",))):
        answer = decide_size(chart, lambda *_: leg)
        assert (answer.size, answer.alternatives) == (size, others)
        said = " ".join(answer.reasons)
        assert ("The chart's rule" in said) is (size is not None)
        assert ("does not say which to take" in said) is (size is None)


def test_one_cell_in_inches_is_told_and_turns_nothing(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    table.write_text('Size;Ankle\nS;19-21\nM;"8 1/4 - 9"""\nL;23-25\n', "utf-8")
    ran = anklefirst("chart", "import", table, "--out", out, "--unit", "cm", *words(), "--json")
    assert (ran.code, ran.json["sizes"]) == (1, 2)
    [problem] = ran.json["problems"]
    assert (problem["code"], problem["line"]) == ("unit_differs_in_column", 3)
    assert problem["key"] == "column 2 (Ankle)"
    assert "is in inches, in a column of cm: 21-22.9 cm?" in problem["text"]
    values = tomllib.loads(out.read_text("utf-8"))
    assert values["unit"] == "cm"
    assert [row["ankle"] for row in values["sizes"]] == [[19, 21], '8 1/4 - 9"', [23, 25]]


def test_a_column_that_is_printed_in_inches_throughout_stays_so(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    table.write_text("Size;Ankle;Calf\nS;7-8 in;30-34\nM;8-9 in;34-38\n", "utf-8")
    ran = anklefirst("chart", "import", table, "--out", out, "--unit", "cm", *words())
    assert ran.code == 0
    assert chart_of(out).sizes[0].ranges == {"ankle": (Decimal("177.8"), Decimal("203.2")),
                                             "calf": (300, 340)}  # fmt: skip


def test_a_pressure_that_contradicts_its_class_is_told_at_import(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    more = words("--mmhg", "18-21 mmHg", "--standard", "RAL", "--class", "2")
    ran = anklefirst("chart", "import", table, "--out", out, *more, "--json")
    assert (ran.code, ran.json["written"]) == (1, str(out))
    [problem] = ran.json["problems"]
    assert (problem["code"], problem["level"]) == ("pressure_not_of_class", "error")
    linted = anklefirst("chart", "lint", out, "--json").json["problems"]
    assert "pressure_not_of_class" in {p["code"] for p in linted}


def test_a_standard_nobody_knows_and_a_missing_source_are_told_at_import(
    anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    more = [*words(without="--source"), "--source", "?"]
    more += ["--mmhg", "18-21", "--standard", "Skerrow scale", "--class", "2"]
    ran = anklefirst("chart", "import", table, "--out", out, *more, "--json")
    assert ran.code == 1
    codes = {problem["code"]: problem for problem in ran.json["problems"]}
    assert set(codes) == {"no_source", "standard_unknown"}
    assert "RAL-GZ 387/1" in codes["standard_unknown"]["mend"]


@pytest.mark.parametrize(
    ("given", "kept"),
    [("03/2025", "2025-03"), ("2019-05", "2019-05"), ("31/12/2020", "2020-12-31")],
)
def test_the_printed_date_is_kept_as_exact_as_it_is_given(
    given: str, kept: str, anklefirst: Anklefirst, table: Path, out: Path
) -> None:
    ran = anklefirst("chart", "import", table, "--out", out, *words("--printed", given))
    assert ran.code == 0
    assert str(chart_of(out).source.printed) == kept


def test_a_missing_option_is_told_shortly(anklefirst: Anklefirst, table: Path) -> None:
    ran = anklefirst("chart", "import", table)
    assert ran.code == 2
    assert "Not given: --out." in ran.err
    assert "--step-mm" not in ran.err
    assert len(ran.err.splitlines()) <= 2


def test_a_word_that_is_no_subcommand_is_refused(anklefirst: Anklefirst) -> None:
    assert anklefirst("chart").code == 2
    wrong = anklefirst("chart", "imprt")
    assert wrong.code == 2
    assert "import" in wrong.err
    assert "import" in anklefirst("chart", "--help").out
    assert "--step-mm" in anklefirst("chart", "import", "--help").out


def test_the_example_of_the_readme_runs_as_printed(
    anklefirst: Anklefirst, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    readme = (REPOSITORY / "README.md").read_text("utf-8")
    part = readme.split("## Getting a maker's table in")[1].split("\n## ")[0]
    [table], [line] = (
        re.findall(rf"```{kind}\n(.*?)```", part, re.DOTALL) for kind in ("csv", "sh")
    )
    monkeypatch.chdir(tmp_path)
    (tmp_path / "neap.csv").write_text(table, "utf-8")
    program, *rest = shlex.split(line)
    assert program.endswith("anklefirst")
    ran = anklefirst.bare(*rest)
    assert ran.code == 0
    chart = chart_of(tmp_path / "neap.toml")
    assert [size.name for size in chart.sizes] == ["S", "M", "M wide", "L"]
    assert [(d.id, d.point, d.kind) for d in chart.dimensions][2] == ("length_d", "D", "length")
    assert chart.invented
    without = shlex.split(line.replace('--column "Length to knee=D length"', ""))[1:]
    assert anklefirst.bare(*without, "--replace").code == 2, "the length is asked, as is said"
