"""Where sticks are found: below the folders each system puts them in, and what of ours is there."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitcore.disk.drives import (
    LINUX_ROOTS,
    MACOS_ROOTS,
    DriveRoot,
    data_folders_on,
    drives_below,
    is_left_behind,
    lies_on_no_drive,
    plugged_in,
    system_roots,
    windows_drives,
)


def hang(monkeypatch: pytest.MonkeyPatch, *drives: Path) -> None:
    """Let each of these folders lie on a device of its own."""

    def device(folder: Path) -> int:
        line = (folder, *folder.parents)
        return next((2 + drives.index(each) for each in line if each in drives), 1)

    monkeypatch.setattr("fitcore.disk.drives._device", device)


def test_the_folders_of_each_system_are_looked_below_at_their_own_depth(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for folder in ("media/ann/TERN", "media/ann/.hidden", "mnt/dunlin", "empty"):
        (tmp_path / folder).mkdir(parents=True)
    (tmp_path / "mnt" / "link").symlink_to(tmp_path / "media")
    (tmp_path / "mnt" / "file").write_text("no folder")
    roots = (
        DriveRoot(tmp_path / "media", 2),
        DriveRoot(tmp_path / "mnt", 1),
        DriveRoot(tmp_path / "missing", 2),
        DriveRoot(tmp_path / "empty", 1),
    )
    tern, dunlin = tmp_path / "media/ann/TERN", tmp_path / "mnt/dunlin"
    hang(monkeypatch, tern, dunlin, tmp_path / "media/ann/.hidden")
    assert drives_below(roots) == [tern, dunlin]
    hang(monkeypatch, dunlin)
    assert drives_below(roots) == [dunlin], "the other was pulled and left its folder"
    hang(monkeypatch)
    assert drives_below(roots) == []


def test_only_an_empty_folder_where_no_drive_hangs_is_what_a_pulled_stick_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What lies on the hard disk can be read and merged like any folder."""
    roots = (DriveRoot(tmp_path / "media", 2),)
    monkeypatch.setattr("fitcore.disk.drives.system_roots", lambda: roots)
    stick = tmp_path / "media/ann/TERN"
    assert not is_left_behind(stick), "gone altogether"
    stick.mkdir(parents=True)
    (tmp_path / "home").mkdir()
    assert is_left_behind(stick)
    assert not is_left_behind(tmp_path / "home")
    (stick / "sessions").mkdir()
    assert not is_left_behind(stick)
    (stick / "sessions").rmdir()
    hang(monkeypatch, stick)
    assert not is_left_behind(stick)


def test_a_drive_that_hangs_directly_below_a_root_of_users_is_found_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "usb0" / "sessions").mkdir(parents=True)
    monkeypatch.setattr(Path, "is_mount", lambda self: self.name == "usb0")
    hang(monkeypatch, tmp_path / "usb0")
    assert drives_below([DriveRoot(tmp_path, 2)]) == [tmp_path / "usb0"]


def test_the_usual_roots_are_those_of_the_systems() -> None:
    assert [str(root.path) for root in LINUX_ROOTS] == ["/media", "/run/media", "/mnt"]
    assert [str(root.path) for root in MACOS_ROOTS] == ["/Volumes"]
    assert all(isinstance(path, Path) for path in plugged_in())


def test_on_windows_the_systems_drive_and_floppy_letters_are_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(
        Path, "is_dir", lambda self: self.as_posix()[:2] in ("A:", "C:", "E:", "F:")
    )
    found = windows_drives("ABCDEF", "C:")
    assert [str(path)[:2] for path in found] == ["E:", "F:"]


def test_what_of_ours_is_on_a_stick_is_told_by_names_alone(tmp_path: Path) -> None:
    assert data_folders_on(tmp_path) == ()
    assert data_folders_on(tmp_path / "pulled") == ()
    for folder in ("from-tern-k7qd/sessions", "to-laptops/ledger", "from-dunlin-m4ex", "holidays"):
        (tmp_path / folder).mkdir(parents=True)
    assert data_folders_on(tmp_path) == ("from-tern-k7qd", "to-laptops")
    (tmp_path / "sessions").mkdir()
    assert data_folders_on(tmp_path) == (".", "from-tern-k7qd", "to-laptops")


# --- what a pulled stick leaves behind -----------------------------------------------------------


def on_devices(place: Path, *hanging: str) -> dict[Path, int]:
    """Return the device of a folder and of those above it; each drive has a number of its own."""
    line = [place, *place.parents][::-1]
    numbers = [1]
    for folder in line[1:]:
        numbers.append(1 + len(numbers) if str(folder) in hanging else numbers[-1])
    return dict(zip(line, numbers, strict=True))


@pytest.mark.parametrize(
    ("place", "hanging", "is_left_behind"),
    [
        ("/media/ann/TERN", [], True),
        ("/media/ann/TERN", ["/media/ann/TERN"], False),
        ("/media/ann/TERN/office", ["/media/ann/TERN"], False),
        ("/media/ann/TERN/office", [], True),
        ("/media/usb0", ["/media/usb0"], False),
        ("/media/usb0", [], True),
        ("/media/ann", [], True),
        ("/media", [], True),
        ("/media/ann/TERN", ["/media"], True),
        ("/run/media/ann/TERN", ["/run"], True),
        ("/run/media/ann/TERN", ["/run", "/run/media/ann/TERN"], False),
        ("/mnt/TERN", [], True),
        ("/mnt/TERN", ["/mnt/TERN"], False),
        ("/mnt", ["/mnt"], False),
        ("/mnt/office", ["/mnt"], False),
        ("/mnt", [], True),
        ("/home/ann/TERN", [], False),
        ("/srv/media/ann/TERN", [], False),
        ("/mediator/ann/TERN", [], False),
        ("/", [], False),
    ],
)
def test_a_folder_where_drives_hang_is_on_the_hard_disk_unless_one_hangs_there(
    place: str, hanging: list[str], *, is_left_behind: bool
) -> None:
    devices = on_devices(Path(place), *hanging)
    assert lies_on_no_drive(Path(place), devices, LINUX_ROOTS) is is_left_behind


def test_each_system_has_its_own_folders_for_drives(monkeypatch: pytest.MonkeyPatch) -> None:
    roots = {"linux": LINUX_ROOTS, "darwin": MACOS_ROOTS, "win32": ()}
    for platform, those in roots.items():
        monkeypatch.setattr("sys.platform", platform)
        assert system_roots() == those
    place = Path("/Volumes/TERN")
    assert lies_on_no_drive(place, on_devices(place), MACOS_ROOTS)
    assert not lies_on_no_drive(place, on_devices(place, "/Volumes/TERN"), MACOS_ROOTS)
