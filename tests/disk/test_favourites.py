"""The list of favourite charts: never written over while nobody can tell what it holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fitcore.disk.favourites import write_favourites
from fitcore.disk.profile_files import load_profiles
from fitcore.problems import FileFault

if TYPE_CHECKING:
    from pathlib import Path

LIST = 'format = 1\nid = "charts"\ncharts = ["mill-one-haar", "not-here-any-more"]\n'


@pytest.fixture
def path(tmp_path: Path) -> Path:
    (tmp_path / "favourites").mkdir()
    return tmp_path / "favourites" / "charts.toml"


@pytest.mark.parametrize(
    "content",
    [
        LIST.replace("]", "").encode(),
        LIST.replace("mill-one-haar", "Mill One Haar").encode(),
        LIST.replace("format = 1", "format = 2").encode(),
        b"\xff" + LIST.encode(),
        b"",
    ],
    ids=["bracket lost", "no id", "newer format", "not text", "empty"],
)
def test_a_list_that_cannot_be_read_is_left_as_it_is(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    own = path.parent.parent
    faults = load_profiles(own).problems
    with pytest.raises(FileFault) as refused:
        write_favourites(own, {"mill-two-squall"})
    assert path.read_bytes() == content
    assert [p.name for p in path.parent.iterdir()] == [path.name]
    told = refused.value.problem
    assert (told.code, told.path, told.line) == ("favourites_unreadable", str(path), faults[0].line)
    assert faults[0].text in told.text
    assert str(path) in told.mend


def test_once_it_is_mended_it_is_written_again(path: Path) -> None:
    path.write_text(LIST, encoding="utf-8")
    own = path.parent.parent
    write_favourites(own, load_profiles(own).favourites ^ {"mill-two-squall"})
    assert load_profiles(own).favourites == {
        "mill-one-haar", "mill-two-squall", "not-here-any-more",
    }  # fmt: skip


def test_a_list_that_cannot_be_opened_is_left_as_it_is(path: Path) -> None:
    path.mkdir()
    with pytest.raises(FileFault):
        write_favourites(path.parent.parent, {"mill-two-squall"})
    assert path.is_dir()


def test_beside_a_list_of_another_name_none_is_written(path: Path) -> None:
    """The later file name is in use: what is marked here would be gone at the next start."""
    other = path.with_name("ours.toml")
    other.write_text(LIST, encoding="utf-8")
    with pytest.raises(FileFault) as refused:
        write_favourites(path.parent.parent, {"mill-two-squall"})
    assert not path.exists()
    assert refused.value.problem.path == str(other)
    assert "charts.toml" in refused.value.problem.mend
