"""A disk that fails: nothing typed is lost, the fault is said, and trying again saves."""

from __future__ import annotations

import errno
import os
from typing import TYPE_CHECKING

import pytest
from screens import at_start, named, opened, saved_sessions, to_measure, to_setup

from fitcore.disk.data_folder import DataFolder
from fitcore.problems import FileFault, Problem
from fitcore.record.ledger import read_laptop, read_ledger

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

LEGS = "22.4<enter>36.2<enter>40<enter>eu 39<enter>" * 2


@pytest.fixture
def fail_flush(monkeypatch: pytest.MonkeyPatch) -> Callable[[int, int], None]:
    """Return a switch: the n-th flush to disk from now fails once with an error number."""
    real, armed = os.fsync, {"at": 0, "number": 0}

    def fsync(descriptor: int) -> None:
        armed["at"] -= 1
        if armed["at"] == 0:
            raise OSError(armed["number"], os.strerror(armed["number"]))
        real(descriptor)

    def arm(at: int, number: int) -> None:
        armed.update(at=at, number=number)

    monkeypatch.setattr("fitcore.disk.atomic.os.fsync", fsync)
    return arm


@pytest.fixture
def fail_append(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """Return a switch: the next append to a session fails once."""
    real, armed = DataFolder.append, [False]

    def append(self: DataFolder, *rest: object) -> object:
        if armed[0]:
            armed[0] = False
            raise FileFault(Problem("not_saved", "NOT SAVED: the disk is away.", "Try again."))
        return real(self, *rest)  # type: ignore[arg-type]

    def arm() -> None:
        armed[0] = True

    monkeypatch.setattr(DataFolder, "append", append)
    return arm


FULL = "Free some space on this disk, then press Enter again."


@pytest.mark.parametrize(
    ("flush", "number", "mend"),
    [
        (1, errno.ENOSPC, FULL),
        (2, errno.ENOSPC, FULL),
        (3, errno.ENOSPC, FULL),
        (4, errno.ENOSPC, FULL),
        (3, errno.EIO, "Press Enter to try again, or note it on paper."),
        (3, errno.EROFS, "The disk is read-only. Start again with --data and another folder."),
    ],
)
async def test_a_flush_that_fails_is_not_saved_and_enter_again_saves(
    flush: int, number: int, mend: str, data: Path, fail_flush: Callable[[int, int], None]
) -> None:
    """Flushes of one reading: the laptop's file and its folder, the session and its folder."""
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4")
        fail_flush(flush, number)
        await visit.keys("<enter>")
        await visit.until(f"! NOT SAVED: {os.strerror(number)}.", mend)
        await visit.until("cm > 22.4", "1 of 8")
        await visit.keys("<enter>")
        await visit.until("2 of 8")
        await visit.keys("36.2<enter>")
        await visit.until("3 of 8")
        assert visit.saved.values() == {"left B girth": "224", "left C girth": "362"}
    async with opened(data) as visit:
        await at_start(visit)
    check_no_number_is_missing(data)


@pytest.mark.parametrize(
    ("keys", "again", "after"),
    [
        ("22.4<enter>", "<enter>", {"left B girth": "224"}),
        ("22.4<enter>36.2<enter><up>36.4<enter>", "<enter>", {"left C girth": "364"}),
        ("28.4<enter><enter>", "<enter>", {"left B girth": "284"}),
        ("<f2><down><down><enter>", "<enter>", {"left B girth": "not taken: pain"}),
        ("8.7<enter><enter>thin leg<enter>", "<enter>", {"left B girth": "87"}),
        ("22.4<enter><f4><enter>", "<f4><enter>", {"right B girth": "224"}),
    ],
)
async def test_every_way_to_write_a_reading_can_be_tried_again(
    keys: str, again: str, after: dict[str, str], data: Path, fail_append: Callable[[], None]
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        head, last = keys[: keys.rindex("<")], keys[keys.rindex("<") :]
        await visit.keys(head)
        before = visit.saved.values()
        fail_append()
        await visit.keys(last)
        await visit.until("! NOT SAVED: the disk is away. Try again.")
        assert visit.saved.values() == before
        await visit.keys(again)
        await visit.until_screen("measure")
        values = visit.saved.values()
    assert after.items() <= values.items()


async def test_a_fault_while_pausing_stays_at_the_field(
    data: Path, fail_append: Callable[[], None]
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.")
        fail_append()
        await visit.keys("<escape>")
        await visit.until("! NOT SAVED", "cm > 22.")
        assert visit.screen == "measure"
        await visit.keys("<escape>")
        await at_start(visit)
        assert visit.saved.answer("paused") == ["left B girth 1", "22."]


async def test_a_fault_while_starting_stays_with_the_questions(
    data: Path, fail_append: Callable[[], None]
) -> None:
    async with named(data) as visit:
        await to_setup(visit, "1204-k")
        await visit.keys("<enter><enter><enter><enter>0630")
        fail_append()
        await visit.keys("<enter>")
        await visit.until("! NOT SAVED")
        assert visit.screen == "setup"
        assert visit.saved.answer("rising_at") is None
        await visit.until("> Up since 0630")
        await visit.keys("<enter>")
        await visit.until_screen("measure")
        assert visit.saved.answer("client") == "1204-k"


@pytest.mark.parametrize("key", ["<enter>", "<escape>"])
async def test_a_fault_at_the_result_stays_there(
    key: str, data: Path, fail_append: Callable[[], None]
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys(LEGS)
        await visit.until_screen("result")
        fail_append()
        await visit.keys(key)
        await visit.until("! NOT SAVED")
        assert visit.screen == "result"
        await visit.keys(key)
        await at_start(visit)
        assert visit.saved.answer("finished") is (True if key == "<enter>" else None)


async def test_a_fault_at_the_remark_does_not_lose_it(
    data: Path, fail_append: Callable[[], None]
) -> None:
    """A long remark typed once is not typed twice."""
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("<f5>stands badly on the left")
        fail_append()
        await visit.keys("<enter>")
        await visit.until("! NOT SAVED")
        if visit.screen == "measure":
            await visit.keys("<f5>")
        await visit.until("stands badly on the left")


async def test_a_folder_that_cannot_be_made_is_said_at_the_first_run(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_bytes(b"")
    async with opened(blocked / "data") as visit:
        await visit.until_screen("first_run")
        await visit.keys("tern<enter>N-17<enter>")
        await visit.until("! NOT SAVED: Not a directory.")
        assert visit.screen == "first_run"


def check_no_number_is_missing(data: Path) -> None:
    """Every number is used by an entry or voided in the ledger."""
    laptop = read_laptop((data / "laptop.toml").read_bytes())
    numbers = [e.by.number for session in saved_sessions(data) for e in session.entries]
    for path in data.glob("ledger/*.toml"):
        ledger, problems = read_ledger(path.read_bytes())
        assert ledger is not None, problems
        numbers += [e.by.number for e in ledger.entries]
        numbers += [n for e in ledger.entries if isinstance(n := e.fields.get("number"), int)]
    assert sorted(numbers) == list(range(1, laptop.next))
