"""What an archive has set aside is for a person, until nothing is left to do with it."""

from __future__ import annotations

import shutil
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from fitcore.disk.data_folder import DataFolder
from tui.merge_items import desk_items
from tui.merge_work import MergeWork

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from command.conftest import Anklefirst


@pytest.fixture
def curlew(anklefirst: Anklefirst, tmp_path: Path) -> Anklefirst:
    """Give the coordinator's machine; its folder is the archive."""
    return replace(anklefirst, data=tmp_path / "curlew")


def at_the_desk(laptop: Anklefirst) -> list[str]:
    """Return what the merge desk shows as set aside."""
    around = laptop.world.surroundings()
    with DataFolder(laptop.data, around, label="curlew", measurer="C-02") as folder:
        return [file.digest for file in MergeWork(folder, around, None).look_through().files]


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:200])


def linked(path: Path) -> None:
    kept = path.with_suffix(".elsewhere")
    path.rename(kept)
    path.symlink_to(kept)


@pytest.mark.parametrize("spoil", [cut, linked])
def test_verify_and_the_desk_agree_when_a_file_set_aside_is_done(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path, spoil: Callable[[Path], None]
) -> None:
    """A file that could not be opened or read is done once its session came whole."""
    anklefirst.new("SK-01")
    session = anklefirst.new("SK-02")  # the newest one: no later number tells that it is missing
    stick = tmp_path / "stick"
    shutil.copytree(anklefirst.data, stick)
    (stick / "laptop.toml").unlink()
    whole = anklefirst.session_file(session).read_bytes()
    spoil(next(stick.glob(f"sessions/*/{session}.toml")))
    assert curlew.bare("merge", curlew.data, stick).code == 1
    other = curlew.bare("verify", curlew.data, "--json")
    assert other.code == 1
    assert [file["nothing_to_do"] for file in other.json["set_aside"]] == [False]
    assert other.json["gaps"] == []
    assert len(at_the_desk(curlew)) == 1

    good = tmp_path / "good" / anklefirst.session_file(session).relative_to(anklefirst.data)
    good.parent.mkdir(parents=True)
    good.write_bytes(whole)
    assert curlew.bare("merge", curlew.data, tmp_path / "good").code == 0
    done = curlew.bare("verify", curlew.data, "--json")
    assert [file["nothing_to_do"] for file in done.json["set_aside"]] == [True]
    assert done.code == 0
    assert at_the_desk(curlew) == []


def test_a_newer_programs_file_is_not_done_by_what_this_one_can_read(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    session = anklefirst.new("SK-01")
    newer = tmp_path / "stick" / anklefirst.session_file(session).relative_to(anklefirst.data)
    newer.parent.mkdir(parents=True)
    raw = anklefirst.session_file(session).read_bytes()
    newer.write_bytes(raw.replace(b"format = 1", b"format = 2"))
    curlew.bare("merge", curlew.data, anklefirst.data, tmp_path / "stick")
    checked = curlew.bare("verify", curlew.data, "--json")
    assert [file["reason"] for file in checked.json["set_aside"]] == ["newer_format"]
    assert checked.code == 1
    assert len(at_the_desk(curlew)) == 1


def test_a_line_changed_outside_is_seen_to_once_it_is_answered(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    session = anklefirst.new("SK-01")
    edited = tmp_path / "stick" / anklefirst.session_file(session).relative_to(anklefirst.data)
    edited.parent.mkdir(parents=True)
    edited.write_bytes(anklefirst.session_file(session).read_bytes().replace(b"SK-01", b"SK-10"))
    curlew.bare("merge", curlew.data, anklefirst.data, tmp_path / "stick")
    assert curlew.bare("verify", curlew.data).code == 1
    (proposal,) = curlew("conflicts", "--json").json["proposals"]
    answer = ("--who", "C-02", "--why", "a slip of the pen")
    assert curlew("decide", proposal["id"], "refused", *answer).code == 0
    assert curlew.bare("verify", curlew.data).code == 0


@pytest.mark.parametrize("verb", ["verify", "conflicts"])
def test_a_folder_that_is_no_archive_is_never_said_to_be_fine(
    anklefirst: Anklefirst, tmp_path: Path, verb: str
) -> None:
    """A wrong name typed at a day's end must not end in "nothing is open"."""
    anklefirst.new("SK-01")
    other, stick = tmp_path / "photographs", tmp_path / "stick"
    other.mkdir()
    (other / "ferry.txt").write_text("at nine")
    shutil.copytree(anklefirst.data, stick / "from-tern-k7qd")
    for folder, said in ((other, "is no data folder"), (stick, "is a stick: it holds from-tern")):
        ran = anklefirst.bare(verb, folder)
        assert ran.code == 2
        assert said in ran.err
        assert "Name the archive" in ran.err
    assert anklefirst.bare(verb, anklefirst.data).code == 0


def test_a_broken_name_of_the_archives_laptop_is_told_before_anything_is_merged(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    anklefirst.new("SK-01")
    curlew.data.mkdir()
    (curlew.data / "laptop.toml").write_text("id = tern")
    ran = curlew.bare("merge", curlew.data, anklefirst.data)
    assert ran.code == 2
    assert str(curlew.data / "laptop.toml") in ran.err
    assert [path.name for path in curlew.data.iterdir()] == ["laptop.toml"]


def test_verify_and_the_desk_tell_alike_whose_a_file_set_aside_is(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    session = anklefirst.new("SK-02")
    stick = tmp_path / "stick"
    shutil.copytree(anklefirst.data, stick)
    path = next(stick.glob(f"sessions/*/{session}.toml"))
    path.write_bytes(path.read_bytes().partition(b"[seal]")[0][:-3])
    assert curlew.bare("merge", curlew.data, stick).code == 1
    around = curlew.world.surroundings()
    with DataFolder(curlew.data, around, label="curlew", measurer="C-02") as folder:
        facts = MergeWork(folder, around, None).look_through()
    (item,) = (item for item in desk_items(facts) if item.kind == "file")
    wrong, to_do = item.lines[:2]
    assert "(client SK-02, laptop laptop-" in wrong
    checked = curlew.bare("verify", curlew.data).out
    assert f"{wrong.removeprefix('! ')} {to_do}" in checked
