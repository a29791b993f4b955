"""The disk is full, or may not be written: it is said at the field, and nothing is lost.

The old file stays whole, the typed text stays in the field, and Enter saves it once there is room.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("termios", reason="needs a pseudo-terminal")

from crash.crash_points import open_folder
from crash.terminal import ENTER, Terminal, program
from crash.visit import (
    FIELDS,
    expected,
    leave_session,
    measuring,
    readings,
    session_files,
    until_readings,
)

ROOT = Path(__file__).resolve().parents[2]
FAULT = 2

pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="limits and mounts are Linux ones"
)


def _own_mounts() -> list[str]:
    """Return the command that gives a child mounts of its own; empty where it is not allowed."""
    unshare = shutil.which("unshare")
    if unshare is None:
        return []
    for options in (["--mount"], ["--mount", "--user", "--map-root-user"]):
        command = [unshare, *options]
        probe = "mount -t tmpfs none /mnt && mount -o remount,bind,ro /mnt"
        done = subprocess.run([*command, "sh", "-c", probe], capture_output=True, check=False)
        if not done.returncode:
            return command
    return []


@pytest.fixture(scope="module")
def own_mounts() -> list[str]:
    """Give the command before a child that mounts for itself alone."""
    command = _own_mounts()
    if not command:
        pytest.skip("mounting for one process alone is not allowed here")
    return command


def test_a_save_that_finds_no_room_is_told_and_can_be_repeated(tmp_path: Path) -> None:
    """The third reading does not fit; once there is room again, Enter stores it."""
    data = tmp_path / "data"
    leave_session(data, FIELDS[:2])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:2])
        (file,) = session_files(data)
        before = file.read_bytes()
        _, most = resource.prlimit(terminal.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(terminal.pid, resource.RLIMIT_FSIZE, (len(before), most))
        terminal.type(FIELDS[2].typed, ENTER)
        terminal.until_shown("NOT SAVED")
        assert file.read_bytes() == before
        at = terminal.mark()
        terminal.type(ENTER)
        terminal.until(lambda: terminal.mark() > at, "the second try")
        assert file.read_bytes() == before
        resource.prlimit(terminal.pid, resource.RLIMIT_FSIZE, (most, most))
        terminal.type(ENTER)
        until_readings(terminal, data, 3)
        terminal.type(FIELDS[3].typed, ENTER)
        until_readings(terminal, data, 4)
        terminal.kill()
    assert readings(data) == expected(FIELDS[:4])


def test_a_disk_turned_read_only_while_measuring_is_told(
    tmp_path: Path, own_mounts: list[str]
) -> None:
    """As Linux turns a disk with faults: not saved, with the mend; nothing typed is gone.

    Only the session's own folder turns: a mount with an open lock file cannot be.
    """
    data = tmp_path / "data"
    leave_session(data, FIELDS[:2])
    (file,) = session_files(data)
    before_start = 'mount --bind "$0" "$0" && exec "$@"'
    start = [*own_mounts, "sh", "-c", before_start, str(file.parent)]
    with Terminal([*start, *program(data)]) as terminal:
        measuring(terminal, data, FIELDS[:2])
        before = file.read_bytes()
        _remount(terminal.pid, file.parent, "ro")
        terminal.type(FIELDS[2].typed, ENTER)
        terminal.until_shown("NOT SAVED: Read-only file system")
        terminal.until_shown("--data")
        assert file.read_bytes() == before
        _remount(terminal.pid, file.parent, "rw")
        terminal.type(ENTER)
        until_readings(terminal, data, 3)
        terminal.kill()
    assert readings(data) == expected(FIELDS[:3])


@pytest.mark.parametrize("named", [True, False], ids=["a named laptop", "a first start"])
def test_a_read_only_folder_is_told_in_one_sentence(
    tmp_path: Path, own_mounts: list[str], *, named: bool
) -> None:
    data = tmp_path / "data"
    if named:
        leave_session(data, FIELDS[:1])
    else:
        data.mkdir()
    before = {path: path.read_bytes() for path in data.rglob("*.toml")}
    start = 'mount --bind "$0" "$0" && mount -o remount,bind,ro "$0" && exec "$@"'
    with Terminal([*own_mounts, "sh", "-c", start, str(data), *program(data)]) as terminal:
        if named:
            assert terminal.wait() == FAULT
            told = terminal.after_screen()
            assert len(told.splitlines()) <= 3, told
        else:
            terminal.until_shown("This laptop is called")
            terminal.type("t")
            terminal.until(lambda: terminal.cursor_row > 1, "cursor in the first question")
            row = terminal.cursor_row
            terminal.type(ENTER)
            terminal.until(lambda: terminal.cursor_row > row, "cursor in the second question")
            terminal.type("N-17", ENTER)
            terminal.until_shown("Read-only file system")
            terminal.until_shown("--data")
            told = terminal.text
        assert "Read-only file system" in told
        assert "--data" in told
        assert "Traceback" not in terminal.text
    assert {path: path.read_bytes() for path in data.rglob("*.toml")} == before


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write in any folder")
def test_a_folder_without_permission_is_told_in_one_sentence(tmp_path: Path) -> None:
    data = tmp_path / "data"
    leave_session(data, FIELDS[:1])
    data.chmod(0o555)
    try:
        with Terminal(program(data)) as terminal:
            assert terminal.wait() == FAULT
            assert "--data" in terminal.after_screen()
    finally:
        data.chmod(0o755)


_FILL_SMALL_DISK = """
import json, os, sys
from pathlib import Path
from crash.crash_points import add_reading, new_session, open_folder
from fitcore.disk.session_files import session_path
from fitcore.problems import FileFault

place = Path(sys.argv[1])
told = {"saved": 0}
with open_folder(place) as folder:
    session_id = new_session(folder)
    path = session_path(place / "data", session_id)
    filler = place / "data" / "filler"
    filler.write_bytes(bytes(int(sys.argv[2])))
    try:
        for number in range(1000):
            before = path.read_bytes()
            add_reading(folder, session_id, f"{20 + number % 9}.5")
            told["saved"] += 1
    except FileFault as fault:
        told["code"], told["text"], told["mend"] = (
            fault.problem.code, fault.problem.text, fault.problem.mend
        )
    told["whole"] = path.read_bytes() == before
    filler.unlink()
    add_reading(folder, session_id, "30.5")
    told["after"] = path.read_text().count("side = ")
with open_folder(place, "second") as folder:
    pass
print(json.dumps(told))
for file in (place / "data").rglob("*.toml"):
    print(file.read_text(), file=sys.stderr)
"""


def test_a_full_disk_leaves_the_old_file_whole_and_goes_on_once_there_is_room(
    tmp_path: Path, own_mounts: list[str]
) -> None:
    """A small disk in memory, really full: temporary files are torn there, sessions are not."""
    mount = 'mount -t tmpfs -o size=128k none "$0" && exec "$@"'
    child = [sys.executable, "-c", _FILL_SMALL_DISK, str(tmp_path), str(80 * 1024)]
    done = subprocess.run(
        [*own_mounts, "sh", "-c", mount, str(tmp_path), *child],
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")])},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    assert told["code"] == "not_saved"
    assert told["text"] == "NOT SAVED: No space left on device."
    assert told["mend"].startswith("Free some space")
    assert told["whole"] is True
    assert told["saved"] > 0
    assert told["after"] == told["saved"] + 1


def test_numbers_a_full_disk_burnt_are_voided_at_the_next_start(tmp_path: Path) -> None:
    """A limit on a file's size: the first write is cut short, the next one fails."""
    child = """
import json, resource, sys
from pathlib import Path
from crash.crash_points import add_reading, new_session, open_folder
from fitcore.disk.session_files import session_path
from fitcore.problems import FileFault
place = Path(sys.argv[1])
with open_folder(place) as folder:
    session_id = new_session(folder)
    for text in ("22.4", "22.6"):
        add_reading(folder, session_id, text)
    size = session_path(place / "data", session_id).stat().st_size
    _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
    codes = []
    for _ in range(3):
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, most))
        try:
            add_reading(folder, session_id, "22.5")
        except FileFault as fault:
            codes.append(fault.problem.code)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
    add_reading(folder, session_id, "22.5")
print(json.dumps(codes))
"""
    done = subprocess.run(
        [sys.executable, "-c", child, str(tmp_path)],
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")])},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == ["not_saved"] * 3
    with open_folder(tmp_path, "second") as folder:
        laptop = folder.laptop
    (ledger,) = (tmp_path / "data/ledger").glob("*.toml")
    voided = tomllib.loads(ledger.read_text(encoding="utf-8"))["voided"]
    assert [entry["number"] for entry in voided] == [4, 5, 6]
    assert laptop.next == 7 + 1 + len(voided)


def _remount(pid: int, folder: Path, mode: str) -> None:
    command = ["nsenter", "--target", str(pid), "--mount"]
    subprocess.run(
        [*command, "mount", "-o", f"remount,bind,{mode}", str(folder)],
        capture_output=True,
        check=True,
    )
