"""The data behind the certainty of a size: shipped, or the service's own."""

from __future__ import annotations

from decimal import Decimal
from importlib.resources import files
from pathlib import Path

import pytest

from fitcore.disk.profile_files import load_profiles
from fitcore.points import Kind, Point
from fitcore.problems import ProfileError

SHIPPED = Path(str(files("profiles"))) / "certainty" / "size-certainty.toml"


def _own(folder: Path, text: str) -> Path:
    path = folder / "certainty" / "ours.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_an_own_file_takes_the_place_of_the_shipped_one(tmp_path: Path) -> None:
    text = SHIPPED.read_text(encoding="utf-8")
    _own(tmp_path, text.replace("usual = { cm = 0.29", "usual = { cm = 0.35"))
    profiles = load_profiles(tmp_path)
    assert profiles.problems == ()
    ankle = (Point.B, Kind.GIRTH)
    assert profiles.rules.certainty.error_of(*ankle).usual.cm == Decimal("0.35")
    assert load_profiles().rules.certainty.error_of(*ankle).usual.cm == Decimal("0.29")


def test_an_own_file_that_is_broken_leaves_the_shipped_one_in_place(tmp_path: Path) -> None:
    text = SHIPPED.read_text(encoding="utf-8")
    path = _own(tmp_path, text.replace("usual = { cm = 0.29", "usual = { cm = 29"))
    profiles = load_profiles(tmp_path)
    assert profiles.certainty == load_profiles().certainty
    (problem,) = profiles.problems
    assert (problem.path, problem.key) == (str(path), "errors.0.usual.cm")


def test_a_program_without_it_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fitcore.disk.profile_files.CERTAINTY_ID", "not-there")
    with pytest.raises(ProfileError, match="not complete"):
        load_profiles(tmp_path)
