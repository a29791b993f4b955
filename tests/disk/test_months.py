"""The many sessions of a folder, packed by the month: none is lost or taken for another."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from operator import attrgetter
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcore.disk.archive import merge_folders
from fitcore.disk.archive_index import Facts, Index
from fitcore.disk.archive_months import read_stamp
from fitcore.disk.archive_scan import spot_folder, spot_stick
from fitcore.disk.archive_seen import Seen
from fitcore.disk.archive_sift import sift
from fitcore.disk.session_files import has_month, ids_of_month, session_month
from fitcore.disk.spotted import read_spotted
from fitcore.disk.surroundings import Surroundings
from fitcore.merge.found import Where, digest_bytes
from fitcore.merge.gaps import Numbers
from fitcore.problems import FileFault
from fitcore.record.document import LARGEST_FILE

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.disk.archive_months import Month
    from fitcore.disk.spotted import Spotted

ONE, TWO = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7", "0199c3a2-77aa-7d40-8c1b-3a90b7d4e511"
MONTH = "2025-10"
BEYOND = "ffffffff-ffff-7d40-9b6a-2f8e61d0c9a7"


def session_id(milliseconds: int, rest: str = "7d40-9b6a-2f8e61d0c9a7") -> str:
    digits = f"{milliseconds:012x}"
    return f"{digits[:8]}-{digits[8:]}-{rest}"


LARGE = session_id(0x0199C3A2CCCC)


# --- months and ids ----------------------------------------------------------------------------


@given(st.integers(0, 253402300799999), st.sampled_from(["0000", "7d40", "7fff"]))
def test_an_id_lies_in_the_month_it_is_filed_in_and_in_no_other(at: int, random: str) -> None:
    name = session_id(at, f"{random}-9b6a-2f8e61d0c9a7")
    month = session_month(name)
    year, number = int(month[:4]), int(month[5:])
    before = f"{year - (number == 1):04}-{(number - 2) % 12 + 1:02}"
    after = f"{year + (number == 12):04}-{number % 12 + 1:02}"
    lies = [
        bounds is not None and bounds[0] <= f"{name}.toml" < bounds[1]
        for bounds in map(ids_of_month, (before, month, after))
    ]
    assert lies == [False, True, False]


@pytest.mark.parametrize("at", ["2024-02-29T23:59:59.999", "2024-03-01T00:00:00", "1970-01-01"])
def test_a_month_begins_and_ends_at_midnight(at: str) -> None:
    moment = datetime.fromisoformat(at).replace(tzinfo=UTC)
    name = session_id(round(moment.timestamp() * 1000))
    assert session_month(name) == at[:7]
    bounds = ids_of_month(at[:7])
    assert bounds is not None
    assert bounds[0] <= name < bounds[1]


@pytest.mark.parametrize("name", ["2024-13", "2024-00", "1969-12", "24-01", "2024-1", "2024-011"])
def test_what_is_no_month_has_no_ids(name: str) -> None:
    assert ids_of_month(name) is None


def test_the_last_month_of_the_calendar_has_ids() -> None:
    bounds = ids_of_month("9999-12")
    assert bounds is not None
    assert bounds[0] <= session_id(253402300799999) < bounds[1]
    assert not bounds[0] <= BEYOND < bounds[1]


def test_an_id_beyond_the_calendar_has_no_month() -> None:
    with pytest.raises(FileFault):
        session_month(BEYOND)
    assert (has_month(BEYOND), has_month(ONE), has_month("")) == (False, True, False)


# --- what lies in a folder ---------------------------------------------------------------------


def odd_folder(root: Path) -> Path:
    """Make a data folder with sessions where they belong, and whatever else may lie beside them."""
    month = root / "sessions" / MONTH
    (month / f"{session_id(0x0199C3A2AAAA)}.toml").mkdir(parents=True)
    for name in (f"{ONE}.toml", f"{TWO}.toml"):
        (month / name).write_bytes(name.encode())
    for name in (
        f"{ONE.upper()}.TOML",
        f"{ONE}.toml.txt",
        f"{session_id(0)}.toml",
        "notes.toml",
        ".hidden.toml",
        f".{ONE}.toml.tmp",
    ):
        (month / name).write_bytes(b"beside")
    (month / f"{session_id(0x0199C3A2BBBB)}.toml").symlink_to(month / f"{ONE}.toml")
    (month / f"{LARGE}.toml").write_bytes(b"x" * (LARGEST_FILE + 1))
    for elsewhere in (root / "sessions", root / "sessions" / "deep" / MONTH, month / "below"):
        elsewhere.mkdir(parents=True, exist_ok=True)
        (elsewhere / f"{TWO}.toml").write_bytes(b"elsewhere")
    for name in ("2024-13", "1969-12", "2025-11"):
        (root / "sessions" / name).mkdir()
        (root / "sessions" / name / f"{ONE}.toml").write_bytes(name.encode())
    ledger = root / "ledger"
    ledger.mkdir()
    (ledger / "tern-k7qd.toml").write_bytes(b"ledger")
    return root


def opened(months: list[Month]) -> list[Spotted]:
    return [
        month.file(name, month.stamps.get(name, "") if month.packed_stamps else "")
        for month in months
        for name in month.names
    ]


@pytest.mark.parametrize("where", [Where.ARCHIVE, Where.STICK])
def test_packed_or_one_by_one_the_same_files_are_seen(tmp_path: Path, where: Where) -> None:
    folder = odd_folder(tmp_path / "data")
    all_files = spot_folder(folder, where)
    months: list[Month] = []
    rest = spot_folder(folder, where, months)
    (month,) = months
    # Only of an archive's files the size is known before they are read.
    large = [LARGE] if where is Where.STICK else []
    assert (month.name, sorted(month.names)) == (MONTH, [ONE, TWO, *large])
    together = [*rest, *opened(months)]
    assert sorted(f.place for f in together) == sorted(f.place for f in all_files)
    if where is Where.ARCHIVE:
        by_place = attrgetter("place")
        assert sorted(together, key=by_place) == sorted(all_files, key=by_place)
    read = {f.place: read_spotted(f) for f in together}
    assert read == {f.place: read_spotted(f) for f in all_files}


def test_a_stamp_holds_size_and_time(tmp_path: Path) -> None:
    folder = odd_folder(tmp_path / "data")
    months: list[Month] = []
    spot_folder(folder, Where.ARCHIVE, months)
    state = (folder / "sessions" / MONTH / f"{TWO}.toml").stat()
    assert read_stamp(months[0].stamps[TWO]) == (state.st_size, state.st_mtime_ns)


def test_all_data_folders_of_a_stick_are_packed(tmp_path: Path) -> None:
    for name in ("", "from-tern-k7qd", "to-laptops"):
        month = tmp_path / name / "sessions" / MONTH
        month.mkdir(parents=True)
        (month / f"{ONE}.toml").write_bytes(name.encode())
    months: list[Month] = []
    assert spot_stick(tmp_path, months) == []
    assert len(months) == 3
    seen = Seen(tmp_path / "archive")
    assert seen.look_at_stick(tmp_path)
    (copies,) = seen.sessions()
    assert sorted(f.path.read_bytes() for f in copies.brought) == [
        b"",
        b"from-tern-k7qd",
        b"to-laptops",
    ]


# --- telling apart -----------------------------------------------------------------------------


class World:
    """An archive and a stick with the same two sessions, and what was noted of the archive."""

    def __init__(self, root: Path) -> None:
        self.archive, self.stick = root / "archive", root / "stick"
        self.noted: dict[str, str] = {}
        for folder in (self.archive, self.stick):
            (folder / "sessions" / MONTH).mkdir(parents=True)
        for name in (ONE, TWO):
            for folder in (self.archive, self.stick):
                self.path(folder, name).write_bytes(name.encode())
            state = self.path(self.archive, name).stat()
            facts = Facts(
                digest_bytes(name.encode()), state.st_size, state.st_mtime_ns, 1, 0, Numbers()
            )
            self.noted[name] = facts.line(state.st_mtime_ns + 10**10)

    @staticmethod
    def path(folder: Path, name: str) -> Path:
        return folder / "sessions" / MONTH / f"{name}.toml"

    def told_apart(self, erased: tuple[str, ...] = ()) -> tuple[list[str], list[str], list[str]]:
        """Return the ids that stay, that are noted anew, and that must be read."""
        seen = Seen(self.archive)
        seen.look_at_stick(self.stick)
        seen.look_at_archive()
        found = [sift(shelf, self.noted, erased) for shelf in seen.shelves()]
        return (
            sorted(name for sifted in found for name in sifted.quiet),
            sorted(name for sifted in found for name in sifted.again),
            sorted(name for sifted in found for name in sifted.left),
        )


def test_what_is_the_same_everywhere_stays(tmp_path: Path) -> None:
    assert World(tmp_path).told_apart() == ([ONE, TWO], [], [])


def test_what_was_never_noted_is_read(tmp_path: Path) -> None:
    world = World(tmp_path)
    del world.noted[TWO]
    assert world.told_apart() == ([ONE], [], [TWO])


def test_another_copy_on_a_stick_is_read(tmp_path: Path) -> None:
    world = World(tmp_path)
    world.path(world.stick, TWO).write_bytes(b"other")
    assert world.told_apart() == ([ONE], [], [TWO])


def test_what_only_the_archive_or_only_the_stick_has(tmp_path: Path) -> None:
    world = World(tmp_path)
    world.path(world.stick, ONE).unlink()
    world.path(world.archive, TWO).unlink()
    assert world.told_apart() == ([ONE], [], [TWO])


def test_a_touched_file_of_the_archive_is_hashed_and_noted_anew(tmp_path: Path) -> None:
    world = World(tmp_path)
    os.utime(world.path(world.archive, ONE), ns=(5, 5))
    assert world.told_apart() == ([ONE, TWO], [ONE], [])
    world.path(world.archive, ONE).write_bytes(ONE.upper().encode())
    assert world.told_apart() == ([TWO], [], [ONE])


def test_a_stamp_is_not_known_by_its_beginning(tmp_path: Path) -> None:
    """A time of one digit less begins like the noted one."""
    world = World(tmp_path)
    path = world.path(world.archive, ONE)
    time = path.stat().st_mtime_ns
    path.write_bytes(ONE.upper().encode())
    os.utime(path, ns=(time // 10, time // 10))
    assert world.told_apart() == ([TWO], [], [ONE])


@pytest.mark.parametrize("place", ["sessions", "set-aside"])
def test_what_has_a_copy_elsewhere_or_set_aside_is_read(tmp_path: Path, place: str) -> None:
    world = World(tmp_path)
    raw = b"not a session"
    folder = world.archive / place
    folder.mkdir(exist_ok=True)
    if place == "sessions":
        (folder / f"{ONE}.toml").write_bytes(raw)
    else:
        (folder / f"{digest_bytes(raw)}.copy").write_bytes(raw)
        (folder / f"{digest_bytes(raw)}.toml").write_text(f'copies_of = ["session/{ONE}"]\n')
    assert world.told_apart() == ([TWO], [], [ONE])


def test_what_something_is_erased_in_is_read(tmp_path: Path) -> None:
    assert World(tmp_path).told_apart((TWO,)) == ([ONE], [], [TWO])


def test_what_is_gone_is_told(tmp_path: Path) -> None:
    world = World(tmp_path)
    for folder in (world.archive, world.stick):
        world.path(folder, TWO).unlink()
    seen = Seen(world.archive)
    seen.look_at_archive()
    (shelf,) = seen.shelves()
    assert sift(shelf, world.noted).gone == [TWO]


@pytest.mark.parametrize("month", ["9999-12", MONTH])
def test_no_time_an_id_can_hold_ends_a_merge(tmp_path: Path, month: str) -> None:
    """In a folder's name, in a file's, in a note of what was set aside whose copy is lost."""
    stick, raw = tmp_path / "stick", b"not a session"
    aside, folder = stick / "set-aside", stick / "sessions" / month
    for each in (aside, folder):
        each.mkdir(parents=True)
    (folder / f"{BEYOND}.toml").write_bytes(raw)
    note = f'reason = "bad_toml"\ncopies_of = ["session/{BEYOND}"]\n'
    (aside / f"{digest_bytes(b'gone')}.toml").write_text(note)
    surroundings = Surroundings(
        lambda: datetime(2100, 1, 1, tzinfo=UTC), os.urandom, tmp_path, "Etc/UTC"
    )
    for _ in range(2):
        report = merge_folders(tmp_path / "archive", [stick], surroundings).report
        assert (report.added, report.unchanged) == (0, 0)
        assert [told.reason for told in report.set_aside] == ["bad_session_id"]


# --- the memory --------------------------------------------------------------------------------


def test_the_memory_of_an_older_version_goes(tmp_path: Path) -> None:
    """Only that of the same archive."""
    path = tmp_path / "0123456789abcdef-3.sqlite"
    old, other = tmp_path / "0123456789abcdef-2.sqlite", tmp_path / "0123456789abcdee-2.sqlite"
    for each in (old, other):
        each.write_bytes(b"old")
    with Index(path) as index:
        index.note([(ONE, Facts("0" * 32, 1, 1, 1, 0, Numbers()).line(2))])
        index.save([MONTH])
    assert sorted(tmp_path.iterdir()) == sorted([path, other])
    with Index(path) as index:
        assert list(index.month(MONTH)) == [ONE]
        index.save([])
    with Index(path) as index:
        assert index.month(MONTH) == {}
