"""The swelling model and the thresholds of repeat error: shipped, or the service's own."""

from __future__ import annotations

from decimal import Decimal
from importlib.resources import files
from pathlib import Path

import pytest

from fitcore.disk.profile_files import load_profiles, load_quality_rules
from fitcore.problems import ProfileError

SHIPPED = Path(str(files("profiles")))
SWELLING = SHIPPED / "swelling" / "day-swelling.toml"
QUALITY = SHIPPED / "quality" / "repeat-error.toml"


def _own(folder: Path, kind: str, text: str) -> Path:
    path = folder / kind / "ours.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_what_is_shipped_loads_and_says_that_it_is_judgement() -> None:
    model = load_profiles().swelling
    assert (model.id, model.validation) == ("day-swelling", "judgement, not validated")
    rules, problems = load_quality_rules()
    assert (rules.least_pairs, rules.source.status, problems) == (10, "judgement", ())


def test_every_number_of_the_swelling_model_names_its_source() -> None:
    model = load_profiles().swelling
    triples = [model.gain, model.tau_hours, *(site.k for site in model.sites)]
    parameters = [p for few in triples for p in (few.low, few.central, few.high)]
    assert len(parameters) == 15
    assert all(parameter.text and parameter.status for parameter in parameters)


def test_an_own_swelling_model_takes_the_place_of_the_shipped_one(tmp_path: Path) -> None:
    text = SWELLING.read_text(encoding="utf-8")
    _own(tmp_path, "swelling", text.replace("value = 0.080", "value = 0.090"))
    profiles = load_profiles(tmp_path)
    assert profiles.problems == ()
    assert profiles.swelling.gain.high.value == Decimal("0.090")
    assert load_profiles().swelling.gain.high.value == Decimal("0.080")


def test_own_thresholds_take_the_place_of_the_shipped_ones(tmp_path: Path) -> None:
    text = QUALITY.read_text(encoding="utf-8")
    _own(tmp_path, "quality", text.replace("least_pairs = 10", "least_pairs = 12"))
    rules, problems = load_quality_rules(tmp_path)
    assert (rules.least_pairs, problems) == (12, ())
    assert load_quality_rules(tmp_path / "nowhere")[0].least_pairs == 10


@pytest.mark.parametrize("kind", ["swelling", "quality"])
def test_an_own_file_that_is_broken_leaves_the_shipped_one_in_place(
    kind: str, tmp_path: Path
) -> None:
    shipped = SWELLING if kind == "swelling" else QUALITY
    path = _own(tmp_path, kind, f'format = 1\nid = "{shipped.stem}"\n')
    if kind == "swelling":
        profiles = load_profiles(tmp_path)
        problems = profiles.problems
        assert profiles.swelling == load_profiles().swelling
    else:
        rules, problems = load_quality_rules(tmp_path)
        assert rules == load_quality_rules()[0]
    assert {problem.path for problem in problems} == {str(path)}


def test_a_program_without_its_swelling_model_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fitcore.disk.profile_files.SWELLING_ID", "not-there")
    with pytest.raises(ProfileError, match="not complete"):
        load_profiles(tmp_path)


def test_a_program_without_its_thresholds_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fitcore.disk.profile_files.QUALITY_ID", "not-there")
    with pytest.raises(ProfileError, match="not complete"):
        load_quality_rules()
