"""check: charts, ledgers, the laptop's own file, and files of no kind."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Anklefirst

PROFILES = Path(__file__).resolve().parents[2] / "profiles"
CHART = PROFILES / "charts" / "mill-four-low-tide.toml"
STANDARD = PROFILES / "pressure" / "ral-gz-387-1.toml"
ILLUSTRATION = PROFILES / "illustration" / "pressure-profile.toml"


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ('overlap = "ankle"', 'overlap = "best"', "overlap"),
        ("invented = true", "invnted = true", "invnted"),
        ('point = "B"', 'point = "Q"', "dimensions.0.point"),
        ("ankle = [21.5, 25]", "ankle = [25, 21.5]", "sizes.2.ankle"),
        ("calf = [34, 42]", 'calf = [34, "wide"]', "sizes.2.calf"),
        ("calf = [34, 42]", "calff = [34, 42]", "sizes.2.calff"),
        ("format = 1", "format = ", None),
    ],
)
def test_a_fault_in_a_chart_names_line_and_key(
    old: str, new: str, key: str | None, anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = tmp_path / "ours.toml"
    text = CHART.read_text(encoding="utf-8").replace(old, new, 1)
    path.write_text(text, encoding="utf-8")
    line = text[: text.index(new)].count("\n") + 1
    assert (line, key) in [(p["line"], p["key"]) for p in anklefirst.found(path)]


@pytest.mark.parametrize(
    ("gone", "key", "line"),
    [
        ('id = "mill-four-low-tide"\n', "id", None),
        ("calf = [34, 42]\n", "sizes.2", "[[sizes]]"),
    ],
)
def test_what_is_missing_from_a_chart_is_told(
    gone: str, key: str, line: str | None, anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = tmp_path / "ours.toml"
    text = CHART.read_text(encoding="utf-8")
    assert gone in text
    path.write_text(text.replace(gone, "", 1), encoding="utf-8")
    [problem] = anklefirst.found(path)
    assert problem["key"] == key
    told = problem["line"]
    assert (told and path.read_text(encoding="utf-8").splitlines()[told - 1]) == line


@pytest.mark.parametrize(
    ("file", "change", "key"),
    [
        (STANDARD, ("low_mmhg = 18", "low_mmhg = -18"), "classes.0.low_mmhg"),
        (STANDARD, ("low_mmhg = 18", 'low_mmhg = "18"'), "classes.0.low_mmhg"),
        (STANDARD, ("low_mmhg = 18", "low_mmgh = 18"), "classes.0.low_mmgh"),
        (STANDARD, ("unit_note = ", "unit_notes = "), "unit_notes"),
        (ILLUSTRATION, ("value = 50", "value = 100"), "least_calf_percent.value"),
        (ILLUSTRATION, ("value = 50", "values = 50"), "least_calf_percent.values"),
    ],
)
def test_a_fault_in_a_pressure_file_names_its_key(
    file: Path, change: tuple[str, str], key: str, anklefirst: Anklefirst, tmp_path: Path
) -> None:
    """Known by its content, whatever it is called."""
    old, new = change
    path = tmp_path / "ours.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")
    found = {problem["key"]: problem for problem in anklefirst.found(path)}
    assert key in found
    line = text[: text.index(new)].count("\n") + 1
    assert found[key]["line"] == line
    assert found[key]["level"] == "error"


def test_one_item_of_a_list_is_named_by_its_key_and_no_line_is_made_up(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = tmp_path / "ours.toml"
    text = ILLUSTRATION.read_text(encoding="utf-8")
    assert text.count('["F", "G"]') == 1
    path.write_text(text.replace('["F", "G"]', '["F", "Q"]'), encoding="utf-8")
    found = {(problem["key"], problem["line"]) for problem in anklefirst.found(path)}
    assert found == {("more_is_ordinary.points.1", None)}


def test_a_pressure_file_too_damaged_to_tell_is_known_by_its_folder(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    for folder in ("pressure", "illustration"):
        path = tmp_path / folder / "ours.toml"
        path.parent.mkdir()
        path.write_text("format = \n", encoding="utf-8")
        [problem] = anklefirst.found(path)
        assert (problem["code"], problem["line"]) == ("not_toml", 1)


# ---- screening --------------------------------------------------------------------------------


def screening_file(folder: Path, name: str, text: str) -> Path:
    path = folder / "screening" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_a_choice_of_rules_is_known_and_counted(anklefirst: Anklefirst, tmp_path: Path) -> None:
    path = screening_file(tmp_path, "use.toml", 'format = 1\nrules = "nice-cks"\n')
    assert anklefirst.found(path) == []
    assert "choices of screening rules 1" in anklefirst("check", tmp_path).out
    loose = tmp_path / "use.toml"
    shutil.move(path, loose)
    assert anklefirst.found(loose) == []


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('format = 1\nrules = "nice-ckks"\n', ("unknown_rules", 2, "rules")),
        ('format = 1\nrules = "has-2010"\nsizes = 3\n', ("profile_extra_forbidden", 3, "sizes")),
        ("format = 1\nrules =\n", ("not_toml", 2, None)),
    ],
)
def test_a_choice_that_cannot_be_followed_is_told(
    text: str, told: tuple[str, int, str | None], anklefirst: Anklefirst, tmp_path: Path
) -> None:
    """Whatever it holds: by this name it is read as nothing else."""
    path = screening_file(tmp_path, "use.toml", text)
    [problem] = anklefirst.found(tmp_path)
    assert (problem["code"], problem["line"], problem["key"]) == told
    assert problem["path"] == str(path)
    assert problem["level"] == "error"


def test_a_choice_under_another_name_is_read_as_the_rules_it_would_be_taken_for(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    screening_file(tmp_path, "used.toml", 'format = 1\nrules = "nice-cks"\n')
    assert {"id", "source"} <= {problem["key"] for problem in anklefirst.found(tmp_path)}


def test_a_choice_names_a_file_beside_it(anklefirst: Anklefirst, tmp_path: Path) -> None:
    text = (PROFILES / "screening" / "has-2010.toml").read_text(encoding="utf-8")
    screening_file(tmp_path, "ours.toml", text.replace('id = "has-2010"', 'id = "ours"', 1))
    screening_file(tmp_path, "use.toml", 'format = 1\nrules = "ours"\n')
    told = anklefirst.found(tmp_path)
    # A guideline is milder on purpose; under a name of one's own that is told.
    assert {(p["code"], p["level"], p["line"] is None) for p in told} == {
        ("milder_rule", "warning", False)
    }


def test_broken_questions_do_not_keep_other_files_from_being_checked(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    for name in ("purposes", "strictest"):
        shipped = (PROFILES / "screening" / f"{name}.toml").read_text(encoding="utf-8")
        screening_file(tmp_path, f"{name}.toml", shipped)
    questions = screening_file(tmp_path, "questions.toml", "format = \n")
    screening_file(tmp_path, "use.toml", 'format = 1\nrules = "theirs"\n')
    found = {(Path(p["path"]).name, p["code"]): p for p in anklefirst.found(tmp_path)}
    assert list(found) == [
        ("purposes.toml", "not_checked"),
        ("questions.toml", "not_toml"),
        ("strictest.toml", "not_checked"),
        ("use.toml", "unknown_rules"),
    ]
    assert str(questions) in found["strictest.toml", "not_checked"]["text"]


def test_two_standards_with_one_id_and_a_chart_that_shares_it(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    for name in ("one", "two"):
        shutil.copy(STANDARD, tmp_path / f"{name}.toml")
    text = CHART.read_text(encoding="utf-8")
    (tmp_path / "three.toml").write_text(
        text.replace('id = "mill-four-low-tide"', f'id = "{STANDARD.stem}"', 1), encoding="utf-8"
    )
    [problem] = anklefirst.found(tmp_path)
    assert (problem["code"], problem["path"]) == ("same_id", str(tmp_path / "two.toml"))


def test_two_charts_with_one_id(anklefirst: Anklefirst, tmp_path: Path) -> None:
    for name in ("one", "two"):
        shutil.copy(CHART, tmp_path / f"{name}.toml")
    [problem] = anklefirst.found(tmp_path)
    assert (problem["code"], problem["path"]) == ("same_id", str(tmp_path / "two.toml"))
    assert "neither is used" in problem["text"]


def test_a_chart_longer_than_any_is_refused(anklefirst: Anklefirst, tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_bytes(CHART.read_bytes() + b"#" * (1 << 20))
    assert [p["code"] for p in anklefirst.found(path)] == ["too_big"]


@pytest.mark.parametrize(
    ("name", "text", "code"),
    [
        ("laptop.toml", 'id = "tern"\nnext = 3\n', "laptop_file_unusable"),
        ("laptop.toml", "id = ", "laptop_file_unusable"),
        ("tern-k7qd.toml", 'format = 1\nlaptop = "tern-k7qd"\n', "seal_missing"),
        ("tern-k7qd.toml", 'format = 1\nlaptop = "dunlin-m4ex"\n', "name_mismatch"),
    ],
)
def test_laptop_file_and_ledger(
    name: str, text: str, code: str, anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    problems = anklefirst.found(path)
    assert code in [problem["code"] for problem in problems]
    assert {problem["path"] for problem in problems} == {str(path)}


def test_a_file_of_no_kind(anklefirst: Anklefirst, tmp_path: Path) -> None:
    path = tmp_path / "other.toml"
    path.write_text("colour = 'blue'\n", encoding="utf-8")
    [named] = anklefirst.found(path)
    assert (named["code"], named["level"]) == ("unknown_file", "error")
    [passed] = anklefirst.found(tmp_path)
    assert (passed["code"], passed["level"]) == ("unknown_file", "note")
