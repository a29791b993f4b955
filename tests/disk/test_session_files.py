"""Finding and reading session files: only ordinary files of the right name, and never an error."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

import pytest
from disk.places import Place, begin, reading
from filed_sessions import read_all

from fitcore.disk.session_files import (
    find_session_files,
    read_regular,
    read_session_file,
    session_path,
)
from fitcore.identity import make_uuid7
from fitcore.problems import FileFault, Problem, ProblemLevel
from fitcore.record.document import LARGEST_FILE

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

LINKS = pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
UUID = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7"
"""Of the documented example: 8 October 2025."""


@pytest.fixture
def session_file(place: Place) -> Path:
    """Give the file of a session with two readings."""
    with place.open() as folder:
        session = begin(folder)
        session = folder.append(session, [reading("22.40"), reading("22.5")])
        return session_path(place.data, session.id)


# --- where a session is filed -----------------------------------------------------------------


def test_a_session_is_filed_by_the_month_in_its_own_id(tmp_path: Path) -> None:
    assert session_path(tmp_path, UUID) == tmp_path / "sessions" / "2025-10" / f"{UUID}.toml"


@pytest.mark.parametrize(
    ("milliseconds", "month"),
    [
        (0, "1970-01"),
        (1_772_323_199_999, "2026-02"),
        (1_772_323_200_000, "2026-03"),
        (253_402_300_799_999, "9999-12"),
    ],
)
def test_the_month_is_counted_in_utc(tmp_path: Path, milliseconds: int, month: str) -> None:
    session_id = make_uuid7(milliseconds, bytes(10))
    assert session_path(tmp_path, session_id).parent.name == month


def test_an_id_beyond_the_calendar_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileFault) as caught:
        session_path(tmp_path, "ffffffff-ffff-7fff-bfff-ffffffffffff")
    assert caught.value.problem.code == "bad_session_id"


@pytest.mark.parametrize("session_id", ["nonsense", "../../etc/passwd"])
def test_what_is_no_id_is_told(tmp_path: Path, session_id: str) -> None:
    with pytest.raises(FileFault):
        session_path(tmp_path, session_id)


# --- which files count ------------------------------------------------------------------------

_OTHER_NAMES = (
    "notes.txt",
    "laptop.toml",
    f"{UUID}.toml.tmp",
    f".{UUID}.toml.tmp",
    f"{UUID}.TOML",
    f"{UUID.upper()}.toml",
    f"{UUID} (1).toml",
    f"copy of {UUID}.toml",
    f"{UUID}.toml~",
    f"{UUID.replace('-', '')}.toml",
    f"{UUID}.toml\n",
)


@pytest.mark.parametrize("name", _OTHER_NAMES)
def test_files_of_other_names_are_passed_over(session_file: Path, place: Place, name: str) -> None:
    try:
        session_file.with_name(name).write_bytes(session_file.read_bytes())
    except OSError:
        pytest.skip("this disk does not take the name")
    assert list(find_session_files(place.data)) == [session_file]


def test_files_beside_the_months_are_passed_over(session_file: Path, place: Place) -> None:
    for folder in (place.data / "sessions", place.data / "set-aside", place.data):
        folder.mkdir(exist_ok=True)
        (folder / session_file.name).write_bytes(session_file.read_bytes())
    assert list(find_session_files(place.data)) == [session_file]


def test_files_come_by_month_and_name(place: Place) -> None:
    with place.open() as folder:
        for year in (2026, 2024, 2031):
            place.clock = place.clock.replace(year=year)
            begin(folder)
            begin(folder)
    found = list(find_session_files(place.data))
    assert len(found) == 6
    assert found == sorted(found)


def test_a_folder_without_sessions_has_none(tmp_path: Path) -> None:
    assert list(find_session_files(tmp_path)) == []
    assert list(find_session_files(tmp_path / "nowhere")) == []
    (tmp_path / "sessions").write_bytes(b"")
    assert list(find_session_files(tmp_path)) == []


@LINKS
def test_a_linked_month_is_not_followed(session_file: Path, place: Place) -> None:
    """A stick from outside could point anywhere: links to folders are never followed."""
    outside = place.root / "outside"
    outside.mkdir()
    (outside / f"{UUID}.toml").write_bytes(session_file.read_bytes())
    (place.data / "sessions" / "2025-10").symlink_to(outside, target_is_directory=True)
    assert list(find_session_files(place.data)) == [session_file]


@LINKS
def test_a_month_linked_to_itself_ends(session_file: Path, place: Place) -> None:
    (place.data / "sessions" / "2025-10").symlink_to(place.data / "sessions")
    assert list(find_session_files(place.data)) == [session_file]


# --- what is read -----------------------------------------------------------------------------


def test_a_session_is_read_with_its_bytes(session_file: Path) -> None:
    file = read_session_file(session_file)
    assert file.session is not None
    assert (file.path, file.problems) == (session_file, ())
    assert file.raw == session_file.read_bytes()
    assert 'typed = "22.40"' in file.raw.decode()


@LINKS
def test_a_link_is_not_read_as_a_session(session_file: Path) -> None:
    link = session_file.with_name(f"{UUID}.toml")
    link.symlink_to(session_file)
    file = read_session_file(link)
    assert file.session is None
    assert _code(file.problems) == "unreadable_io"
    assert file.raw == b""


@LINKS
@pytest.mark.parametrize("target", ["/dev/zero", "/dev/null", "/dev/tty"])
def test_a_device_is_not_read_as_a_session(tmp_path: Path, target: str) -> None:
    (tmp_path / f"{UUID}.toml").symlink_to(target)
    assert isinstance(read_regular(tmp_path / f"{UUID}.toml"), Problem)


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="no such device")  # noqa: PTH110
@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null"])
def test_a_device_named_outright_is_told(tmp_path: Path, device: str) -> None:
    found = read_regular(tmp_path.joinpath(device))
    assert isinstance(found, Problem)
    assert found.code == "not_a_regular_file"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_is_told_and_never_waited_for(session_file: Path, place: Place) -> None:
    pipe = session_file.with_name(f"{UUID}.toml")
    os.mkfifo(pipe)
    files = read_all(place.data)
    assert [file.path for file in files] == [pipe, session_file]
    assert _code(files[0].problems) == "not_a_regular_file"
    assert files[1].session is not None


def test_a_folder_of_a_sessions_name_is_told(session_file: Path) -> None:
    folder = session_file.with_name(f"{UUID}.toml")
    folder.mkdir()
    file = read_session_file(folder)
    assert file.session is None
    assert file.problems


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    file = read_session_file(tmp_path / "nowhere" / f"{UUID}.toml")
    assert file.session is None
    assert _code(file.problems) == "unreadable_io"
    assert file.problems[0].path == str(file.path)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read all")
def test_a_file_without_permission_is_told(session_file: Path) -> None:
    session_file.chmod(0)
    assert _code(read_session_file(session_file).problems) == "unreadable_io"


def test_a_file_under_another_sessions_name_is_set_aside(session_file: Path) -> None:
    other = session_file.with_name(f"{UUID}.toml")
    other.write_bytes(session_file.read_bytes())
    file = read_session_file(other)
    assert file.session is None
    assert _code(file.problems) == "name_mismatch"
    assert read_session_file(session_file).session is not None


def test_a_loose_file_may_have_any_name(session_file: Path, tmp_path: Path) -> None:
    loose = tmp_path / "from the mail.toml"
    loose.write_bytes(session_file.read_bytes())
    assert read_session_file(loose).session is not None


_DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "emptied": lambda _: b"",
    "zeros": lambda raw: bytes(len(raw)),
    "cut in the middle of a line": lambda raw: raw[: len(raw) // 2],
    "no text": lambda raw: raw[:80] + b"\xff" + raw[81:],
    "saved as UTF-16": lambda raw: raw.decode().encode("utf-16"),
    "no TOML": lambda raw: raw.replace(b" = ", b" : "),
    "another kind of file": lambda raw: raw.replace(b"session = ", b"laptop = "),
    "no format": lambda raw: raw.replace(b"format = 1", b"shape = 1"),
    "too large": lambda raw: raw + b"#" * LARGEST_FILE,
}


@pytest.mark.parametrize("name", list(_DAMAGE))
def test_a_damaged_file_is_set_aside_with_its_problem_and_left_untouched(
    session_file: Path, place: Place, name: str
) -> None:
    damaged = _DAMAGE[name](session_file.read_bytes())
    session_file.write_bytes(damaged)
    with place.open() as folder:
        whole = begin(folder, "tern-002-S")
        assert folder.read(session_file.stem) is None
    files = {file.path: file for file in read_all(place.data)}
    assert files[session_path(place.data, whole.id)].session == whole
    told = files[session_file]
    assert told.session is None
    assert told.problems
    for problem in told.problems:
        assert problem.path == str(session_file)
        assert problem.level is ProblemLevel.ERROR
        assert problem.mend
    assert session_file.read_bytes() == damaged


def test_a_file_of_a_newer_program_is_a_note_not_damage(session_file: Path) -> None:
    raw = session_file.read_bytes().replace(b"format = 1", b"format = 2")
    session_file.write_bytes(raw)
    file = read_session_file(session_file)
    assert (file.session, file.raw) == (None, raw)
    (problem,) = file.problems
    assert (problem.code, problem.level) == ("newer_format", ProblemLevel.NOTE)


def test_no_more_of_a_file_is_read_than_the_largest_session(tmp_path: Path) -> None:
    path = tmp_path / "large.toml"
    path.write_bytes(b"#" * (LARGEST_FILE * 3))
    found = read_regular(path)
    assert isinstance(found, bytes)
    assert len(found) == LARGEST_FILE + 1


def test_reading_keeps_no_file_open(session_file: Path, place: Place) -> None:
    listing = place.root.joinpath("/proc/self/fd")
    if not listing.is_dir():
        pytest.skip("open files cannot be counted here")
    session_file.with_name(f"{UUID}.toml").mkdir()
    before = len(list(listing.iterdir()))
    for _ in range(10):
        read_all(place.data)
        read_session_file(place.root / "nowhere.toml")
    assert len(list(listing.iterdir())) == before


def _code(problems: tuple[Problem, ...]) -> str:
    (problem,) = problems
    return problem.code
