"""Typing ahead of a slow disk: every key reaches the field it was meant for, in order."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

import pytest
from screens import (
    DEADLINE_SECONDS,
    KEY,
    at_start,
    named,
    opened,
    saved_sessions,
    to_measure,
    to_setup,
    until,
)
from textual import events

import tui.app
from fitcore.disk.data_folder import DataFolder

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from screens import Visit


class SlowDisk:
    """Holds the next append to a session until it is let go."""

    def __init__(self) -> None:
        self.reached = threading.Event()
        self._go_on = threading.Event()
        self._go_on.set()

    def hold(self) -> None:
        """Hold the next append."""
        self._go_on.clear()

    def let_go(self) -> None:
        """Let it go on."""
        self._go_on.set()

    def wait(self) -> None:
        """Stand in for the disk."""
        if not self._go_on.is_set():
            self.reached.set()
            self._go_on.wait(DEADLINE_SECONDS * 3)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Iterator[SlowDisk]:
    """A disk that can be held."""
    slow, real = SlowDisk(), DataFolder.append

    def append(self: DataFolder, *rest: object) -> object:
        slow.wait()
        return real(self, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(DataFolder, "append", append)
    yield slow
    slow.let_go()


@pytest.fixture
def slow(data: Path, disk: SlowDisk) -> tuple[Path, SlowDisk]:
    """A new data folder on a disk that can be held."""
    return data, disk


async def type_ahead(visit: Visit, disk: SlowDisk, typed: str) -> None:
    """Press a key that saves; while the disk is held press more, and only then let it go."""
    first, *ahead = keys(typed)
    before = [session.entries for session in saved_sessions(visit.app.data)]
    disk.hold()
    # Not through the pilot's `press`, which would wait for the screen, and so for the disk.
    await visit.app._press_keys([first])
    await until(None, disk.reached.is_set, lambda: f"{first} saved nothing:\n{visit.text}")
    await visit.app._press_keys(ahead)
    assert [session.entries for session in saved_sessions(visit.app.data)] == before
    disk.let_go()
    await visit.rest()


def keys(typed: str) -> list[str]:
    """Split `36.2<enter>` into keys."""
    return [name or character for name, character in KEY.findall(typed)]


def told(visit: Visit) -> str:
    """Return what is saved, short: `LB 224, LC not taken: pain`."""
    short = {
        f"{side[0].upper()}{name[0].upper()}": value
        for (side, name, _), value in (
            (place.split(), value) for place, value in visit.saved.values().items()
        )
    }
    return ", ".join(f"{place} {short[place]}" for place in ORDER if place in short)


ORDER = ("LB", "LC", "LD", "LF", "RB", "RC", "RD", "RF")
REST = "36.2<enter>40<enter>eu 39<enter>22.6<enter>36.4<enter>40.2<enter>24.6<enter>"
ALL = "LB 224, LC 362, LD 400, LF eu 39.0, RB 226, RC 364, RD 402, RF 246"


@pytest.mark.parametrize(
    ("ahead", "saved", "shown"),
    [
        ("36.2<enter>", "LB 224, LC 362", "3 of 8"),
        ("36.2", "LB 224", "cm > 36.2"),
        ("37<backspace>6.2<enter>4<backspace>40<enter>", "LB 224, LC 362, LD 400", "4 of 8"),
        ("62<home>3<right>.<enter>", "LB 224, LC 362", "3 of 8"),
        ("<enter><enter>36.2<enter>", "LB 224, LC 362", "3 of 8"),
        ("<f2><down><down><enter>40<enter>", "LB 224, LC not taken: pain, LD 400", "4 of 8"),
        ("<f2>open wound<enter>40", "LB 224, LC not taken: open wound", "cm > 40"),
        ("36.2<enter><up><up>22.6<enter>", "LB 226, LC 362", "3 of 8"),
        ("47.2<enter><enter>40<enter>", "LB 224, LC 472, LD 400", "4 of 9"),
        ("8.7<enter><enter><down><enter>40<enter>", "LB 224, LC 87, LD 400", "4 of 9"),
        ("36.2<enter><f4><enter>", "RB 224, RC 362", "2 readings moved to the other leg."),
        ("36.2<enter><up><f3><down><enter>36.4<enter>", "LB 224, LC 364", "3 of 8"),
        ("<f5>late today<enter>36.2<enter>", "LB 224, LC 362", "3 of 8"),
        ("<f1><escape>36.2<enter>", "LB 224, LC 362", "3 of 8"),
        (REST, ALL, "Invented Mill Four"),
        (REST + "<enter>", ALL, "finished today"),
    ],
)
async def test_keys_typed_during_a_save_reach_their_fields(
    ahead: str, saved: str, shown: str, data: Path, disk: SlowDisk
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4")
        await type_ahead(visit, disk, f"<enter>{ahead}")
        await visit.until(shown)
        assert told(visit) == saved


@pytest.mark.parametrize(
    ("before", "ahead", "saved", "shown"),
    [
        ("<f2><down><down>", "36.2<enter>", "LB not taken: pain, LC 362", "3 of 8"),
        ("<f2>sore", "36.2", "LB not taken: sore", "cm > 36.2"),
        ("8.7<enter><enter><down>", "36.2<enter>", "LB 87, LC 362", "3 of 9"),
        ("22.4<enter><up><f3><down>", "22.6<enter>", "LB 226", "2 of 8"),
        ("22.4<enter><f4>", "22.6<enter>", "LB 226, RB 224", "2 of 8"),
        ("22.4<enter><f5>late", "36.2<enter>", "LB 224, LC 362", "3 of 8"),
    ],
)
async def test_keys_typed_while_an_answer_is_saved_reach_their_fields(
    before: str, ahead: str, saved: str, shown: str, slow: tuple[Path, SlowDisk]
) -> None:
    data, disk = slow
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys(before)
        await type_ahead(visit, disk, f"<enter>{ahead}")
        await visit.until(shown)
        assert told(visit) == saved


async def test_the_first_reading_may_be_typed_while_the_answers_are_saved(
    data: Path, disk: SlowDisk
) -> None:
    async with named(data) as visit:
        await to_setup(visit)
        await visit.keys("<enter><enter><enter><enter>0630")
        await type_ahead(visit, disk, "<enter>22.4<enter>36.2")
        await visit.until("2 of 8", "cm > 36.2")
        assert visit.saved.values() == {"left B girth": "224"}
        assert visit.saved.answer("tape") == "cm"


async def test_a_reading_typed_while_a_paused_session_comes_back_is_kept(
    data: Path, disk: SlowDisk
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter>36.<escape>")
        await at_start(visit)
        await type_ahead(visit, disk, "<enter>2<enter>40<enter>")
        await visit.until("4 of 8")
        saved = visit.saved
    assert saved.values() == {"left B girth": "224", "left C girth": "362", "left D length": "400"}
    assert saved.answer("paused") == []


async def test_the_next_client_may_be_typed_while_the_last_is_finished(
    data: Path, disk: SlowDisk
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter>" + REST)
        await visit.until_screen("result")
        await type_ahead(visit, disk, "<enter>1305-m<enter>")
        await visit.until("A new client with the code 1305-m?")
        await visit.keys("<escape>")
        assert visit.saved.answer("finished") is True


@pytest.mark.parametrize("close", ["<escape>", "<ctrl+q>", "<f10>"])
async def test_closing_waits_behind_what_was_typed(close: str, data: Path, disk: SlowDisk) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4")
        await type_ahead(visit, disk, f"<enter>36.2<enter>40{close}")
    saved = visit.saved
    assert saved.values() == {"left B girth": "224", "left C girth": "362"}
    assert saved.answer("paused") == ["left D length 1", "40"]


async def test_text_pasted_meanwhile_keeps_its_place_among_the_keys(
    data: Path, disk: SlowDisk
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4")
        disk.hold()
        await visit.app._press_keys(["enter"])
        await until(None, disk.reached.is_set)
        await visit.app._press_keys(["3"])
        visit.app.post_message(events.Paste("6.2"))
        await visit.app._press_keys(["enter"])
        disk.let_go()
        await visit.until("3 of 8")
        assert visit.saved.values() == {"left B girth": "224", "left C girth": "362"}


async def test_a_code_typed_while_the_sessions_are_still_read_opens_its_own(
    data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a slow disk the list comes late; a client with a paused session is not a new one."""
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys("22.4<enter><escape>")
        await at_start(visit)
    reading, go_on, real = threading.Event(), threading.Event(), tui.app.look_at_sessions

    def read_slowly(*folders: Any) -> Any:
        reading.set()
        go_on.wait(DEADLINE_SECONDS * 3)
        return real(*folders)

    monkeypatch.setattr("tui.app.look_at_sessions", read_slowly)
    async with opened(data) as visit:
        try:
            await until(visit.pilot, reading.is_set)
            await visit.app._press_keys([*"1204-k", "enter"])
            await visit.pilot.pause()
        finally:
            go_on.set()
        await visit.rest()
        await visit.until_screen("measure")
        await visit.until("1204-k", "2 of 8")
