"""Carrying back never writes over lines a stick has and the archive lacks: nothing is written."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from histories import file_bytes, session_key
from strategies import AT, SESSION, entry_of

from fitcore.disk.archive import merge_folders, settle
from fitcore.disk.archive_scan import place_of
from fitcore.disk.carrying_back import carry_back
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.surroundings import Surroundings
from fitcore.merge.clients import Clients, draft_distinct
from fitcore.merge.found import FileKind, Key
from fitcore.merge.ledger_lines import LedgerLines, draft_erasure
from fitcore.problems import FileFault

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.record.entries import Draft, Entry

OTHER = "0199c3a2-77aa-7d40-8c1b-3a90b7d4e511"
CODE = entry_of("answers", "tern-k7qd:1", what="client", is_="SK-07")
LYING = entry_of("answers", "curlew-w2fs:1", what="posture", is_="lying")
TOLD = entry_of("answers", "curlew-w2fs:2", what="stop_told", is_="yes")
SITTING = entry_of("answers", "heron-x8bn:1", what="posture", is_="sitting")


@pytest.fixture
def place(tmp_path: Path) -> Surroundings:
    now = datetime(2100, 1, 1, tzinfo=UTC)
    return Surroundings(lambda: now, lambda n: b"\x07" * n, tmp_path / "state", "Europe/London")


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    """Give the stick both archives are carried back to."""
    stick = tmp_path / "stick"
    stick.mkdir()
    return stick


def archive_of(folder: Path, *entries: Entry, session: str = SESSION) -> Path:
    """Write a sealed session into an archive."""
    path = place_of(folder, session_key(session))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(file_bytes(session_key(session), entries))
    return folder


def all_of(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith(".")
    }


def refused(archive: Path, stick: Path, place: Surroundings) -> tuple[str, str, str]:
    """Carry back, which must be refused with nothing written; return code, text and mend."""
    before = all_of(stick)
    with pytest.raises(FileFault) as caught:
        carry_back(archive, stick, place)
    assert all_of(stick) == before
    problem = caught.value.problem
    return problem.code, problem.text, problem.mend


def test_what_another_archive_left_on_the_stick_is_not_written_over(
    tmp_path: Path, stick: Path, place: Surroundings
) -> None:
    first = archive_of(tmp_path / "a", CODE, LYING, TOLD)
    archive_of(first, CODE, LYING, session=OTHER)
    second = archive_of(tmp_path / "b", CODE, SITTING)
    archive_of(second, CODE, session=OTHER)
    carry_back(first, stick, place)
    assert refused(second, stick, place) == (
        "stick_has_more",
        f"This stick carries lines this archive does not have: 2 lines in {SESSION}.toml, "
        "1 in 1 file more. Nothing was written.",
        "Merge this stick into the archive first, then carry back.",
    )
    merge_folders(second, [stick], place)
    carry_back(second, stick, place)
    filed = place_of(stick / "to-laptops", session_key(SESSION))
    assert filed.read_bytes() == file_bytes(session_key(SESSION), [CODE, LYING, TOLD, SITTING])


def test_a_stick_that_lags_behind_and_a_session_only_it_has_stop_nothing(
    tmp_path: Path, stick: Path, place: Surroundings
) -> None:
    first = archive_of(tmp_path / "a", CODE)
    archive_of(first, CODE, session=OTHER)
    carry_back(first, stick, place)
    second = archive_of(tmp_path / "b", CODE, LYING)
    assert carry_back(second, stick, place).written == 1
    only = place_of(stick / "to-laptops", session_key(OTHER))
    assert only.read_bytes() == file_bytes(session_key(OTHER), [CODE])


@pytest.mark.parametrize("spoil", ["changed", "garbage"])
def test_a_file_on_the_stick_that_is_not_whole_is_written_anew(
    tmp_path: Path, stick: Path, place: Surroundings, spoil: str
) -> None:
    carry_back(archive_of(tmp_path / "a", CODE, LYING), stick, place)
    filed = place_of(stick / "to-laptops", session_key(SESSION))
    whole = filed.read_bytes()
    filed.write_bytes(whole.replace(b"lying", b"supine") if spoil == "changed" else b"format = ")
    second = archive_of(tmp_path / "b", CODE)
    assert carry_back(second, stick, place).written == 1
    assert filed.read_bytes() == file_bytes(session_key(SESSION), [CODE])


def test_a_file_of_the_archive_that_stays_behind_stops_nothing(
    tmp_path: Path, stick: Path, place: Surroundings
) -> None:
    carry_back(archive_of(tmp_path / "a", CODE, LYING), stick, place)
    second = archive_of(tmp_path / "b", CODE)
    archive_of(second, CODE, session=OTHER)
    filed = place_of(second, session_key(SESSION))
    filed.write_bytes(filed.read_bytes().replace(b"SK-07", b"SK-08"))
    carried = carry_back(second, stick, place)
    assert (carried.written, [p.code for p in carried.left_out]) == (1, ["not_carried"])


def with_ledger_line(folder: Path, place: Surroundings, draft: Draft) -> Path:
    with DataFolder(folder, place, label="curlew", measurer="C-02") as data:
        data.append_to_ledger([draft])
    return folder


def test_lines_of_a_ledger_that_the_archive_lacks_are_kept_as_well(
    tmp_path: Path, stick: Path, place: Surroundings
) -> None:
    first = archive_of(tmp_path / "a", CODE)
    codes = ["SK-07", "KES-1"]
    apart = draft_distinct(Clients(LedgerLines()), codes, who="C-02", why="two people", at=AT)
    with_ledger_line(first, place, apart)
    carry_back(first, stick, place)
    (ledger,) = (first / "ledger").iterdir()
    second = archive_of(tmp_path / "b", CODE)
    (second / "ledger").mkdir()
    empty = file_bytes(Key(FileKind.LEDGER, ledger.stem), [])
    (second / "ledger" / ledger.name).write_bytes(empty)
    code, text, _ = refused(second, stick, place)
    assert (code, f"1 line in {ledger.name}." in text) == ("stick_has_more", True)


def test_what_the_archive_has_erased_is_not_lacking_and_goes_from_the_stick(
    tmp_path: Path, stick: Path, place: Surroundings
) -> None:
    """Else a stick with erased content could never be carried back to again."""
    archive = archive_of(tmp_path / "a", CODE, LYING)
    carry_back(archive, stick, place)
    erasure = draft_erasure(SESSION, [str(LYING.by)], who="C-02", why="asked for", at=AT)
    with_ledger_line(archive, place, erasure)
    settle(archive, place)
    assert carry_back(archive, stick, place).written > 0
    assert b"lying" not in b"".join(all_of(stick).values())
