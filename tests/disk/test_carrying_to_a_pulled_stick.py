"""Carrying back: nothing is written but on the stick, and nothing elsewhere is called carried."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from screens import build_app

from fitcore.disk import carrying_back, drives
from fitcore.disk.carrying_back import carry_back
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.drives import DriveRoot
from fitcore.problems import FileFault
from fitcore.record.edits import draft_answer

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    data = tmp_path / "data"
    around = build_app(data).surroundings
    with DataFolder(data, around, label="curlew", measurer="C-02") as folder:
        session = folder.new_session()
        draft = draft_answer(session, "client", "SK-01", around.now())
        assert draft is not None
        folder.append(session, [draft])
    return data


def test_a_stick_whose_folder_is_gone_is_refused_and_not_made_anew(
    archive: Path, tmp_path: Path
) -> None:
    stick = tmp_path / "p2"
    with pytest.raises(FileFault, match="p2 is gone; nothing was written"):
        carry_back(archive, stick, build_app(archive).surroundings)
    assert not stick.exists()
    stick.write_text("a file is no stick either")
    with pytest.raises(FileFault, match="p2 is gone"):
        carry_back(archive, stick, build_app(archive).surroundings)


@pytest.mark.parametrize("named", ["media/ann/P2", "media/ann/P2/office", "link", "media/ann/.."])
def test_the_folder_a_pulled_stick_left_behind_is_no_stick(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, named: str
) -> None:
    """It lies on the hard disk: what is written there goes to no laptop."""
    monkeypatch.setattr(
        drives, "system_roots", lambda: (DriveRoot(tmp_path / "disks" / "media", 2),)
    )
    (tmp_path / "media" / "ann" / "P2" / "office").mkdir(parents=True)
    (tmp_path / "disks").symlink_to(tmp_path)
    (tmp_path / "link").symlink_to(tmp_path / "media" / "ann" / "P2")
    stick = tmp_path / named
    with pytest.raises(
        FileFault, match=r"No stick is plugged in at .*; nothing was written"
    ) as caught:
        carry_back(archive, stick, build_app(archive).surroundings)
    problem = caught.value.problem
    assert (problem.code, problem.path) == ("stick_gone", str(stick))
    assert problem.mend.startswith("Plug it in, and carry back")
    assert not list((tmp_path / "media").rglob("to-laptops"))


@pytest.mark.parametrize("named", ["media/ann/P2", "media/ann/P2/office", "home/P2"])
def test_a_stick_that_is_plugged_in_is_written_and_so_is_a_folder_elsewhere(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, named: str
) -> None:
    plugged = tmp_path / "media" / "ann" / "P2"
    monkeypatch.setattr(drives, "system_roots", lambda: (DriveRoot(tmp_path / "media", 2),))
    monkeypatch.setattr(
        drives, "_device", lambda folder: 2 if plugged in (folder, *folder.parents) else 1
    )
    stick = tmp_path / named
    stick.mkdir(parents=True)
    assert carry_back(archive, stick, build_app(archive).surroundings).written > 0
    assert (stick / "to-laptops" / "manifest.toml").exists()


def test_a_stick_pulled_while_its_place_is_looked_at_is_gone(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stick = tmp_path / "p2"
    stick.mkdir()

    def pulled(_: Path) -> int:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(drives, "_device", pulled)
    with pytest.raises(FileFault, match="p2 is gone; nothing was written"):
        carry_back(archive, stick, build_app(archive).surroundings)
    assert not list(stick.iterdir())


def test_a_stick_pulled_while_it_is_written_is_not_made_anew(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a pulled stick leaves behind is perhaps an empty folder of the hard disk."""
    stick = tmp_path / "p2"
    stick.mkdir()
    real = stick.stat().st_dev
    devices = iter([real, real + 1, real + 1])
    monkeypatch.setattr(carrying_back, "_drive", lambda _: next(devices))
    with pytest.raises(FileFault, match="p2 was pulled while it was written"):
        carry_back(archive, stick, build_app(archive).surroundings)
    assert not list(stick.rglob("*.toml"))


@pytest.mark.parametrize("place", ["", "sessions", "sessions/month", "file", "manifest.toml"])
def test_a_link_on_the_stick_is_never_written_through(
    archive: Path, tmp_path: Path, place: str
) -> None:
    """Else the files lie on the hard disk, and the stick that may be pulled is empty."""
    stick, elsewhere = tmp_path / "p2", tmp_path / "elsewhere"
    stick.mkdir()
    elsewhere.mkdir()
    (filed,) = archive.glob("sessions/*/*.toml")
    names = {"sessions/month": f"sessions/{filed.parent.name}", "file": filed.relative_to(archive)}
    link = stick / "to-laptops" / names.get(place, place)
    link.parent.mkdir(parents=True, exist_ok=True)
    link.symlink_to(elsewhere / "made" if place in ("file", "manifest.toml") else elsewhere)
    with pytest.raises(FileFault) as caught:
        carry_back(archive, stick, build_app(archive).surroundings)
    assert caught.value.problem.code == "not_on_stick"
    assert caught.value.problem.path == str(link)
    assert caught.value.problem.mend.startswith("Move it off the stick")
    assert not list(elsewhere.iterdir())
    link.unlink()
    assert carry_back(archive, stick, build_app(archive).surroundings).left_out == ()


def test_another_device_below_the_stick_is_refused(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stick = tmp_path / "p2"
    (stick / "to-laptops").mkdir(parents=True)
    monkeypatch.setattr(carrying_back, "_drive", lambda _: stick.stat().st_dev + 1)
    with pytest.raises(FileFault, match="does not lie on the stick"):
        carry_back(archive, stick, build_app(archive).surroundings)
    assert not list(stick.rglob("*.toml"))


def test_a_list_the_stick_does_not_give_back_is_refused(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stick = tmp_path / "p2"
    stick.mkdir()
    real = carrying_back.read_past_cache
    monkeypatch.setattr(
        carrying_back,
        "read_past_cache",
        lambda path: b"worn out" if path.name == "manifest.toml" else real(path),
    )
    with pytest.raises(FileFault, match="does not give back"):
        carry_back(archive, stick, build_app(archive).surroundings)


def test_a_laptops_own_folder_is_no_stick(archive: Path, tmp_path: Path) -> None:
    """`to-laptops` in it would stop every merge into it."""
    own = tmp_path / "own"
    around = build_app(own).surroundings
    with DataFolder(own, around, label="tern", measurer="N-17"):
        pass
    with pytest.raises(FileFault, match="laptop's own folder") as caught:
        carry_back(archive, own, around)
    assert "Name the stick's own folder" in caught.value.problem.mend
    assert not (own / "to-laptops").exists()
