"""Pressure standards and the rules of the illustrated pressure: shipped, or a service's own."""

from __future__ import annotations

from decimal import Decimal
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from fitcore.disk.profile_files import load_profiles
from fitcore.problems import Problem, ProfileError

if TYPE_CHECKING:
    from fitcore.pressures.pressure_model import IllustrationRules, PressureStandard

SHIPPED = Path(str(files("profiles")))
STANDARD_FILES = sorted((SHIPPED / "pressure").glob("*.toml"))
RAL = SHIPPED / "pressure" / "ral-gz-387-1.toml"
RULES = SHIPPED / "illustration" / "pressure-profile.toml"


def load_pressure(
    own: Path | None = None,
) -> tuple[tuple[PressureStandard, ...], IllustrationRules, tuple[Problem, ...]]:
    profiles = load_profiles(own)
    return profiles.standards, profiles.illustration, profiles.problems


def _own(folder: Path, kind: str, text: str) -> Path:
    path = folder / kind / "ours.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_what_is_shipped_loads_whole_and_sorted() -> None:
    standards, rules, problems = load_pressure()
    assert problems == ()
    assert [standard.id for standard in standards] == [path.stem for path in STANDARD_FILES]
    assert (rules.id, rules.source.status) == ("pressure-profile", "judgement")


def test_a_folder_without_files_of_its_own_changes_nothing(tmp_path: Path) -> None:
    assert load_pressure(tmp_path) == load_pressure()
    assert load_pressure(tmp_path / "nowhere") == load_pressure()


def test_an_own_standard_stands_beside_the_shipped_ones(tmp_path: Path) -> None:
    text = RAL.read_text(encoding="utf-8").replace('id = "ral-gz-387-1"', 'id = "our-own-one"', 1)
    _own(tmp_path, "pressure", text)
    standards, _, problems = load_pressure(tmp_path)
    assert problems == ()
    ids = [standard.id for standard in standards]
    assert ids == sorted([*(path.stem for path in STANDARD_FILES), "our-own-one"])


def test_own_files_take_the_place_of_the_shipped_ones_with_their_id(tmp_path: Path) -> None:
    shipped, rules, _ = load_pressure()
    text = RAL.read_text(encoding="utf-8")
    old = next(standard for standard in shipped if standard.id == "ral-gz-387-1")
    assert text.count(f'name = "{old.name}"') == 1
    _own(tmp_path, "pressure", text.replace(f'name = "{old.name}"', 'name = "Our own edition"'))
    text = RULES.read_text(encoding="utf-8")
    assert text.count("value = 50") == 1
    _own(tmp_path, "illustration", text.replace("value = 50", "value = 55"))
    own, own_rules, problems = load_pressure(tmp_path)
    assert problems == ()
    assert len(own) == len(shipped)
    (mine,) = (standard for standard in own if standard.id == "ral-gz-387-1")
    assert mine.name == "Our own edition"
    assert mine.classes == old.classes
    assert own_rules.least_calf_percent.value == Decimal(55)
    assert rules.least_calf_percent.value == Decimal(50)


@pytest.mark.parametrize(
    ("kind", "shipped"), [("pressure", RAL), ("illustration", RULES)], ids=["standard", "rules"]
)
def test_an_own_file_that_is_broken_leaves_the_shipped_one_in_place(
    kind: str, shipped: Path, tmp_path: Path
) -> None:
    path = _own(tmp_path, kind, f'format = 1\nid = "{shipped.stem}"\n')
    standards, rules, problems = load_pressure(tmp_path)
    assert (standards, rules) == load_pressure()[:2]
    assert {problem.path for problem in problems} == {str(path)}
    assert all(problem.mend for problem in problems)


def test_a_standard_whose_classes_do_not_rise_is_told_by_file(tmp_path: Path) -> None:
    text = RAL.read_text(encoding="utf-8")
    assert text.count("low_mmhg = 23") == 1
    path = _own(tmp_path, "pressure", text.replace("low_mmhg = 23", "low_mmhg = 19"))
    _, _, problems = load_pressure(tmp_path)
    assert [problem.path for problem in problems] == [str(path)]
    assert "do not rise" in problems[0].text


def test_a_program_without_its_rules_of_illustration_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("fitcore.disk.profile_files.ILLUSTRATION_ID", "not-there")
    with pytest.raises(ProfileError, match="not complete"):
        load_pressure()
