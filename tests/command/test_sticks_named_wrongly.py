"""A stick opened as a data folder, laptops' folders nobody named, and what a pulled stick left."""

from __future__ import annotations

import shutil
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from fitcore.disk.drives import DriveRoot

if TYPE_CHECKING:
    from pathlib import Path

    from command.conftest import Anklefirst

NOT_MERGED = "which look like laptops' folders and were not merged: name each of them."


@pytest.fixture
def curlew(anklefirst: Anklefirst, tmp_path: Path) -> Anklefirst:
    """Give the coordinator's machine; its folder is the archive."""
    return replace(anklefirst, data=tmp_path / "curlew")


@pytest.mark.parametrize("name", ["from-tern-k7qd", "to-laptops", "FROM-TERN-K7QD"])
def test_the_program_does_not_start_on_a_stick(
    anklefirst: Anklefirst, tmp_path: Path, name: str
) -> None:
    """Its first questions would name a laptop on it, and a merge would write into it."""
    anklefirst.new("SK-01")
    stick = tmp_path / "stick"
    shutil.copytree(anklefirst.data / "sessions", stick / name / "sessions")
    before = sorted(stick.rglob("*"))
    ran = anklefirst.bare("--data", stick)
    assert ran.code == 2
    assert f"{stick} is a stick: it holds {name}." in ran.err
    assert "leave --data out" in ran.err
    assert sorted(stick.rglob("*")) == before
    shutil.copy(anklefirst.data / "laptop.toml", stick)
    assert "is a stick" not in anklefirst.bare("--data", stick).err, "a laptop is named in it"
    assert "is a stick" not in anklefirst.bare("--data", anklefirst.data / "sessions").err


def test_laptops_folders_nobody_named_are_told_of(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    anklefirst.new("SK-01")
    place = tmp_path / "x"
    for name in ("tern", "dunlin", "from-petrel-k7qd"):
        shutil.copytree(anklefirst.data, place / name)
    shutil.rmtree(place / "dunlin" / "sessions")
    (place / "tern" / "laptop.toml").unlink()
    (place / "holidays").mkdir()
    (place / "linked").symlink_to(anklefirst.data)
    ran = curlew.bare("merge", curlew.data, place, "--dry-run")
    assert f"{place} also holds dunlin, tern, {NOT_MERGED}" in ran.err
    assert (ran.code, "1 new" in ran.out) == (1, True)
    named = curlew.bare("merge", curlew.data, place, place / "tern", place / "dunlin")
    assert "were not merged" not in named.err
    shutil.rmtree(place / "from-petrel-k7qd")
    ran = curlew.bare("merge", curlew.data, place)
    assert f"{place} also holds dunlin, tern, {NOT_MERGED}" in ran.err
    assert "nothing of ours" not in ran.err


def test_of_very_many_folders_some_are_named(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    anklefirst.new("SK-01")
    for number in range(10, 22):
        (tmp_path / "x" / f"tern\u202e{number}" / "sessions").mkdir(parents=True)
    ran = curlew.bare("merge", curlew.data, tmp_path / "x")
    assert ", tern" in ran.err
    assert f"19, and 2 more, {NOT_MERGED}" in ran.err


def test_a_data_folders_own_folders_and_the_archive_itself_are_not_named(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    anklefirst.new("SK-01")
    for name in ("set-aside", "charts", "Protocols", "favourites"):
        (anklefirst.data / name / "sessions").mkdir(parents=True)
    archive = replace(curlew, data=anklefirst.data / "archive")
    for _ in range(2):
        ran = archive.bare("merge", archive.data, anklefirst.data)
        assert (ran.code, "not merged" in ran.err) == (0, False)


def test_what_a_pulled_stick_left_behind_is_not_merged(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    roots = (DriveRoot(tmp_path / "media", 1),)
    monkeypatch.setattr("fitcore.disk.drives.system_roots", lambda: roots)
    anklefirst.new("SK-01")
    left = tmp_path / "media" / "P2"
    left.mkdir(parents=True)
    ran = curlew.bare("merge", curlew.data, anklefirst.data, left)
    assert (ran.code, "No stick is plugged in at" in ran.err) == (2, True)
    assert not curlew.data.exists()
    shutil.copytree(anklefirst.data / "sessions", left / "sessions")
    assert curlew.bare("merge", curlew.data, left).code == 0, "what is there can be read"
