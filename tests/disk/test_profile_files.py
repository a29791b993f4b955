"""Charts, protocols, rules: shipped or the service's own; broken ones told by line and key."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from fitcore.charts.chart import Chart
from fitcore.disk.profile_files import demo_folder, load_profiles
from fitcore.disk.profile_reading import locate, read_profile
from fitcore.problems import ProfileError
from fitcore.profile_models import Protocol


def _value(path: Path, key: str) -> str:
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith(f"{key} = "):
            return line.partition('"')[2].rpartition('"')[0]
    raise AssertionError(f"no {key} in {path}")


def _id(path: Path) -> str:
    return _value(path, "id")


def _name(path: Path) -> str:
    return _value(path, "name")


ROOT = Path(__file__).resolve().parents[2]
SHIPPED = Path(str(files("profiles")))
CHART_FILES = sorted((SHIPPED / "charts").glob("*.toml"))
CHART = CHART_FILES[0]
OTHERS = {path.stem for path in CHART_FILES}


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """Give a data folder with places for a service's own files."""
    for name in ("charts", "protocols", "rules", "ranges"):
        (tmp_path / name).mkdir()
    return tmp_path


def _ids(charts: tuple[Chart, ...]) -> set[str]:
    return {chart.id for chart in charts}


def test_what_is_shipped_loads_without_a_problem() -> None:
    profiles = load_profiles()
    assert profiles.problems == ()
    assert len(profiles.charts) == len(CHART_FILES)
    assert [chart.id for chart in profiles.charts] == sorted(_ids(profiles.charts))
    assert "below-knee-short" in profiles.protocols
    assert profiles.protocol("below-knee-short").steps


def test_a_protocol_that_is_not_there_is_told() -> None:
    with pytest.raises(ProfileError) as caught:
        load_profiles().protocol("no-such-set")
    assert "no-such-set" in str(caught.value)
    assert caught.value.problem.mend


def test_a_folder_without_files_of_its_own_changes_nothing(own: Path, tmp_path: Path) -> None:
    assert load_profiles(own) == load_profiles()
    assert load_profiles(tmp_path / "nowhere") == load_profiles()


def test_an_own_chart_stands_beside_the_shipped_ones(own: Path) -> None:
    text = CHART.read_text(encoding="utf-8").replace(f'id = "{_id(CHART)}"', 'id = "our-own-one"')
    (own / "charts" / "ours.toml").write_text(text, encoding="utf-8")
    profiles = load_profiles(own)
    assert profiles.problems == ()
    assert _ids(profiles.charts) == _ids(load_profiles().charts) | {"our-own-one"}


def test_an_own_chart_takes_the_place_of_the_shipped_one_with_its_id(own: Path) -> None:
    text = CHART.read_text(encoding="utf-8").replace(_value(CHART, "line"), "Our own edition")
    (own / "charts" / "any name.toml").write_text(text, encoding="utf-8")
    profiles = load_profiles(own)
    (mine,) = [chart for chart in profiles.charts if chart.id == _id(CHART)]
    assert mine.line == "Our own edition"
    assert len(profiles.charts) == len(CHART_FILES)


def test_an_own_protocol_takes_the_place_of_the_shipped_one(own: Path) -> None:
    shipped = SHIPPED / "protocols" / "below-knee-short.toml"
    text = shipped.read_text(encoding="utf-8").replace(_name(shipped), "Our short set")
    (own / "protocols" / "below-knee-short.toml").write_text(text, encoding="utf-8")
    assert load_profiles(own).protocol("below-knee-short").name == "Our short set"


def test_own_rules_take_the_place_of_the_shipped_ones(own: Path) -> None:
    shipped = (SHIPPED / "rules" / "time-of-day.toml").read_text(encoding="utf-8")
    before = load_profiles().time_rules.late_after_hours
    lines = [
        f"late_after_hours = {before + 1}" if line.startswith("late_after_hours") else line
        for line in shipped.splitlines()
    ]
    (own / "rules" / "ours.toml").write_text("\n".join(lines), encoding="utf-8")
    assert load_profiles(own).time_rules.late_after_hours == before + 1


def test_a_folder_of_charts_can_be_used_instead_of_all_others(own: Path, tmp_path: Path) -> None:
    (own / "charts" / "a.toml").write_bytes(CHART.read_bytes())
    only = tmp_path / "only"
    only.mkdir()
    (only / "b.toml").write_bytes(CHART_FILES[1].read_bytes())
    assert _ids(load_profiles(own, only).charts) == {_id(CHART_FILES[1])}


@pytest.mark.parametrize("name", ["chart.txt", "chart.toml.bak", "README", ".hidden"])
def test_files_of_other_names_are_passed_over(own: Path, name: str) -> None:
    (own / "charts" / name).write_text("not a chart", encoding="utf-8")
    assert load_profiles(own) == load_profiles()


# --- broken files -----------------------------------------------------------------------------


def _broken(own: Path, content: str | bytes, name: str = "broken.toml") -> Path:
    """Write a file of its own; text gets an id that no other chart has."""
    if isinstance(content, str):
        content = content.replace(f'id = "{_id(CHART)}"', 'id = "of-our-own"')
    path = own / "charts" / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def test_a_line_that_is_no_toml_is_told_with_file_and_line_and_the_others_load(own: Path) -> None:
    lines = CHART.read_text(encoding="utf-8").splitlines()
    lines.insert(4, 'maker = "no end')
    path = _broken(own, "\n".join(lines))
    profiles = load_profiles(own)
    (problem,) = profiles.problems
    assert (problem.path, problem.line, problem.code) == (str(path), 5, "not_toml")
    assert problem.mend
    assert len(profiles.charts) == len(CHART_FILES)


def test_a_key_that_is_missing_is_told_by_its_name(own: Path) -> None:
    text = "\n".join(
        line
        for line in CHART.read_text(encoding="utf-8").splitlines()
        if not line.startswith("maker = ")
    )
    path = _broken(own, text)
    (problem,) = load_profiles(own).problems
    assert (problem.path, problem.key, problem.code) == (str(path), "maker", "profile_missing")
    assert problem.line is None  # a line that is not there has no number
    assert problem.mend == "Add this key."


def test_a_key_nobody_knows_is_told_with_its_line(own: Path) -> None:
    lines = CHART.read_text(encoding="utf-8").splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("maker = "))
    lines.insert(at + 1, 'colour = "sand"')
    path = _broken(own, "\n".join(lines))
    (problem,) = load_profiles(own).problems
    assert (problem.path, problem.key, problem.line) == (str(path), "colour", at + 2)
    assert "Remove this key" in problem.mend


def test_a_value_of_the_wrong_kind_is_told_with_its_line(own: Path) -> None:
    lines = CHART.read_text(encoding="utf-8").splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("maker = "))
    lines[at] = "maker = 7"
    path = _broken(own, "\n".join(lines))
    (problem,) = load_profiles(own).problems
    assert (problem.path, problem.key, problem.line) == (str(path), "maker", at + 1)


def test_a_value_below_a_heading_is_told_with_its_line(own: Path) -> None:
    lines = CHART.read_text(encoding="utf-8").splitlines()
    heading = lines.index("[source]")
    at = next(n for n in range(heading, len(lines)) if lines[n].startswith("status"))
    lines[at] = 'status = "heard on a train"'
    _broken(own, "\n".join(lines))
    (problem,) = load_profiles(own).problems
    assert (problem.key, problem.line) == ("source.status", at + 1)


def test_every_fault_of_a_file_is_told_at_once(own: Path) -> None:
    lines = CHART.read_text(encoding="utf-8").splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("maker = "))
    lines[at : at + 1] = ["maker = 7", "colour = 1", "weight = 2"]
    path = _broken(own, "\n".join(lines))
    problems = load_profiles(own).problems
    assert {problem.key for problem in problems} >= {"maker", "colour", "weight"}
    assert {problem.path for problem in problems} == {str(path)}


_ID_LINE = f'id = "{_id(CHART)}"'.encode()
_OTHER_WAYS = {
    "a key missing": (b'maker = "', b'# maker = "', "broken.toml"),
    "no TOML": (b"format = 1\n", b"format = 1\n" + _ID_LINE + b"\nmaker = no quotes\n", "x.toml"),
    "no id to be read": (_ID_LINE, b"id = ", CHART.name),
    "not text": (b"format = 1\n", b"\xff\xfe\x00\x00", CHART.name),
}


@pytest.mark.parametrize(("old", "new", "name"), _OTHER_WAYS.values(), ids=_OTHER_WAYS.keys())
def test_an_own_chart_that_is_broken_keeps_the_shipped_one_of_its_id_out(
    own: Path, old: bytes, new: bytes, name: str
) -> None:
    """The service replaced the shipped figures: falling back to them would go unnoticed."""
    content = CHART.read_bytes()
    assert old in content
    path = _broken(own, content.replace(old, new, 1), name)
    profiles = load_profiles(own)
    assert _ids(profiles.charts) == _ids(load_profiles().charts) - {_id(CHART)}
    (told,) = [p for p in profiles.problems if p.code == "shipped_chart_not_used"]
    assert told.path == str(path)
    assert _id(CHART) in told.text
    assert told.mend
    assert len(profiles.problems) > 1  # and what is wrong in the file itself


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_an_own_chart_that_cannot_be_opened_keeps_out_the_shipped_one_of_its_file_name(
    own: Path,
) -> None:
    (own / "charts" / f"{_id(CHART)}.toml").symlink_to(own / "nowhere.toml")
    assert _id(CHART) not in _ids(load_profiles(own).charts)


def test_the_id_inside_a_column_is_not_taken_for_the_charts(own: Path) -> None:
    shipped = CHART_FILES[1]
    text = f'maker = no quotes\n[[dimensions]]\nid = "{_id(shipped)}"\n'
    _broken(own, text.encode())
    assert _ids(load_profiles(own).charts) == _ids(load_profiles().charts)


@pytest.mark.parametrize("name", [_id(CHART), "of-our-own"])
def test_of_two_own_charts_with_one_id_neither_is_used_and_both_are_named(
    own: Path, name: str
) -> None:
    """The later file name would win, and nobody would know which figures a size came from."""
    first, second = own / "charts" / "a.toml", own / "charts" / "b.toml"
    for path in (first, second):
        path.write_bytes(CHART.read_bytes().replace(_ID_LINE, f'id = "{name}"'.encode()))
    profiles = load_profiles(own)
    assert _ids(profiles.charts) == _ids(load_profiles().charts) - {name}
    assert name not in profiles.own_charts
    told = profiles.problems[0]
    assert (told.code, told.path) == ("same_id", str(second))
    assert str(first) in told.text
    assert "neither is used" in told.text
    kept_out = [p.code for p in profiles.problems[1:]]
    assert kept_out == (["shipped_chart_not_used"] if name == _id(CHART) else [])


def test_an_own_chart_whose_id_a_broken_one_names_too_is_not_used(own: Path) -> None:
    good = CHART.read_bytes().replace(_ID_LINE, b'id = "of-our-own"')
    (own / "charts" / "a.toml").write_bytes(good)
    (own / "charts" / "b.toml").write_bytes(good.replace(b'maker = "', b'# maker = "'))
    assert load_profiles(own).own_charts == frozenset()


def test_in_a_folder_used_instead_neither_of_two_with_one_id_is_used(tmp_path: Path) -> None:
    for name in ("a.toml", "b.toml"):
        (tmp_path / name).write_bytes(CHART.read_bytes())
    profiles = load_profiles(charts=tmp_path)
    assert profiles.charts == ()
    assert [problem.code for problem in profiles.problems] == ["same_id"]


@pytest.mark.parametrize(
    "content",
    [b"", b"\xff\xfe\x00a", b"\x00" * 40, b"a = " + b"[" * 5_000, b"n = " + b"9" * 10_000],
    ids=["empty", "UTF-16", "zeros", "deep", "long number"],
)
def test_whatever_a_file_holds_it_is_a_problem_and_no_error(own: Path, content: bytes) -> None:
    path = _broken(own, content)
    profiles = load_profiles(own)
    assert {problem.path for problem in profiles.problems} == {str(path)}
    assert _ids(profiles.charts) == _ids(load_profiles().charts)


def test_a_folder_of_a_charts_name_is_a_problem_and_no_error(own: Path) -> None:
    (own / "charts" / "folder.toml").mkdir()
    profiles = load_profiles(own)
    assert [problem.path for problem in profiles.problems] == [str(own / "charts" / "folder.toml")]
    assert _ids(profiles.charts) == _ids(load_profiles().charts)


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_link_to_nowhere_is_a_problem_and_no_error(own: Path) -> None:
    (own / "charts" / "link.toml").symlink_to(own / "nowhere.toml")
    profiles = load_profiles(own)
    assert [problem.path for problem in profiles.problems] == [str(own / "charts" / "link.toml")]
    assert _ids(profiles.charts) == _ids(load_profiles().charts)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read all")
def test_a_chart_without_permission_is_a_problem_and_no_error(own: Path) -> None:
    _broken(own, CHART.read_bytes()).chmod(0)
    assert load_profiles(own).problems


def test_a_file_in_the_place_of_the_charts_folder_is_passed_over(tmp_path: Path) -> None:
    (tmp_path / "charts").write_bytes(b"")
    assert _ids(load_profiles(tmp_path).charts) == _ids(load_profiles().charts)


def test_a_mark_an_editor_puts_in_front_does_no_harm(own: Path) -> None:
    _broken(own, b"\xef\xbb\xbf" + CHART.read_bytes().replace(b"\n", b"\r\n"))
    assert load_profiles(own).problems == ()


def test_a_lone_file_is_read_alike() -> None:
    assert isinstance(read_profile(CHART.read_bytes(), Chart, str(CHART)), Chart)
    problems = read_profile(b"x", Chart, "a.toml")
    assert isinstance(problems, tuple)
    assert problems[0].path == "a.toml"


_LINES = """\
id = "a"

[source]
text = "b"
status = "read"

[[sizes]]
name = "S"

[[sizes]]
name = "M"
ankle = [1, 2]
"""


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("id", 1),
        ("source.status", 5),
        ("sizes.0.name", 8),
        ("sizes.1.name", 11),
        ("sizes.1.ankle", 12),
        ("sizes.0.ankle", None),
        ("sizes.7.ankle", None),
        ("status", None),
        ("nothing", None),
        (None, None),
        ("", None),
    ],
)
def test_a_key_is_located_or_no_line_is_named(key: str | None, line: int | None) -> None:
    """A made-up line would send somebody to the wrong place."""
    assert locate(_LINES, key) == line


# --- found from anywhere ----------------------------------------------------------------------

_COUNT = """
import json
from fitcore.disk.profile_files import demo_folder, load_profiles
profiles = load_profiles()
print(json.dumps([len(profiles.charts), len(profiles.protocols), demo_folder() is not None]))
"""


def test_profiles_are_found_from_another_working_folder(tmp_path: Path) -> None:
    (tmp_path / "profiles").mkdir()  # one that only looks like ours
    done = subprocess.run(
        [sys.executable, "-P", "-c", _COUNT],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    charts, protocols, demo = json.loads(done.stdout)
    assert (charts, protocols) == (
        len(CHART_FILES),
        len(list((SHIPPED / "protocols").glob("*.toml"))),
    )
    assert demo == (demo_folder() is not None)


@pytest.mark.parametrize(
    ("step", "told"),
    [
        ('point = "C"\nkind = "girth"\nonce = true', "only a shoe size is asked once"),
        ('point = "C"\nkind = "shoe"\nonce = true', "a shoe size is of the foot"),
        ('point = "C"\nkind = "girth"\nor_shoe = true', "stands for a foot length only"),
        ('point = "B"\nkind = "girth"', "B girth stands twice"),
    ],
)
def test_a_protocol_that_would_lose_a_reading_is_refused(step: str, told: str) -> None:
    shipped = Path(str(files("profiles"))) / "protocols" / "below-knee-short.toml"
    text = shipped.read_text(encoding="utf-8")
    text += f'\n[[steps]]\n{step}\nwhere = "Round the widest."\n'
    loaded = read_profile(text.encode(), Protocol, "ours.toml")
    assert isinstance(loaded, tuple)
    assert told in str(loaded[0])
