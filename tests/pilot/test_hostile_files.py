"""Session files and profiles from outside, holding text that could steer a terminal."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from importlib.resources import files
from typing import TYPE_CHECKING

import pytest
from rich.cells import cell_len
from screens import MORNING, Visit, at_start, named, opened, past_screening, until

from fitcore.clean_text import clean, is_unsafe
from fitcore.disk.session_files import session_path
from fitcore.identity import EntryId, make_uuid7
from fitcore.record.codec import write_session
from fitcore.record.entries import Draft
from fitcore.record.session import Session

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.record.entries import Value

MM = Decimal("225.425")
TEXTS = (
    "[red]x[/]",
    "note [/] end",
    "{who} %s",
    "\x1b[31mred\x1b[0m",
    "\x1b]0;new title\x07x",
    "\x9b31mC1",
    "a\x00b\x7f",
    "abc\u202edcba",
    "\u2066b\u2069",
    "two\nlines",
    "宽字符宽字符宽字符宽字符宽字符",
    "e\u0301a\u0308",
    "👩\u200d⚕️",
    "x" * 10_000,
    "[" * 5_000,
)


def check_screen(visit: Visit) -> None:
    """Every row is as wide as the screen and holds nothing that must not be shown."""
    assert visit.app.fault is None
    for row in visit.rows:
        assert [c for c in row if is_unsafe(c)] == [], ascii(row)
        assert cell_len(row) == visit.app.size.width, ascii(row)


class Foreign:
    """Writes a session file as another laptop's program might have."""

    def __init__(self, data: Path, days_ago: int) -> None:
        at = MORNING - timedelta(days=days_ago)
        self._at = at
        milliseconds = int(at.timestamp() * 1000)
        self._session = Session(make_uuid7(milliseconds, bytes([days_ago] * 10)), frozenset())
        self._path = session_path(data, self._session.id)
        self._number = days_ago * 100

    def add(self, array: str, **fields: Value) -> Foreign:
        """Add one entry."""
        self._number += 1
        entry = Draft(array, self._at, fields).entry(EntryId("petrel-zz9k", self._number))
        self._session = self._session.with_entries(entry)
        return self

    def answer(self, **answers: Value) -> Foreign:
        """Answer fields."""
        for what, value in answers.items():
            self.add("answers", **{"what": what, "is": value})
        return self

    def reading(self, point: str, kind: str, **fields: Value) -> Foreign:
        """Add a reading of the left leg."""
        place = {"side": "left", "point": point, "kind": kind, "round": 1}
        return self.add("readings", **{**place, **fields})

    def write(self) -> None:
        """Write the file; unsafe characters stand in it escaped."""
        raw = write_session(self._session)
        assert not any(is_unsafe(c) for c in raw.replace("\n", ""))
        self._path.parent.mkdir(parents=True, exist_ok=True)
        self._path.write_text(raw, encoding="utf-8")


def foreign(data: Path, text: str, days_ago: int = 1) -> Foreign:
    """Begin a session that holds a text in every place that takes one."""
    session = Foreign(data, days_ago).answer(
        client=f"c-{days_ago:02d} {text}",
        measurer=text,
        purpose="work",
        forms=["below_knee", "mid_calf"],
        sides=["left", "right"],
        protocol="below-knee-short",
        rising_at="unknown",
        posture="standing",
        tape="in",
    )
    session.reading("B", "girth", typed="8 7/8", unit="in", mm=MM, why=text, doubts=[text])
    session.reading("C", "girth", not_taken=text)
    session.reading("D", "length", typed=f"40{text}", unit="cm", mm=MM)
    return session.add("remarks", text=text)


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: ascii(text[:12]))
async def test_a_paused_session_with_such_text_can_be_gone_on_with(text: str, data: Path) -> None:
    """The start list, the measuring screen with all its questions, and the result."""
    async with named(data) as visit:
        foreign(data, text).answer(paused=["left C girth 1", text]).write()
        await visit.press("f4", "N", "enter")  # the start screen afresh
        await visit.until("c-01", "PAUSED: go on")
        check_screen(visit)
        if text.isascii() and text.isprintable() and len(text) < 18:
            assert f"c-01 {text}" in visit.text
        await visit.press("enter")
        await visit.until_screen("first_page")
        check_screen(visit)
        await visit.press("N", "enter")
        await visit.until_screen("measure")
        await until(visit.pilot, lambda: "2 of 8" in visit.flow)
        check_screen(visit)
        for keys, screen in (
            (["enter"], "measure"),
            (["up"], "measure"),
            (["f3"], "reason"),
            (["escape", "down", "f2"], "reason"),
            (["escape", "f4"], "confirm"),
            (["escape", "down", "f1"], "text"),
            (["escape", "f6"], "result"),
            (["down"], "result"),
            (["right"], "result"),
            (["f3"], "text"),
            (["pagedown"], "text"),
        ):
            await visit.press(*keys)
            await visit.until_screen(screen)
            check_screen(visit)


async def test_a_list_of_such_sessions_shows_each_by_itself(data: Path) -> None:
    async with named(data) as visit:
        for number, text in enumerate(TEXTS, 1):
            foreign(data, text, number).answer(finished=True).write()
        await visit.press("f4", "N", "enter")
        await visit.until(*(f"c-{number:02d}" for number in range(1, 13)))
        check_screen(visit)
        for _ in TEXTS:
            await visit.press("down")
            check_screen(visit)
        await visit.press(*"c-03", "down")
        await visit.until("c-03 {who} %s")
        assert visit.marked[0].startswith("> c-03 {who} %s")


@pytest.mark.parametrize("text", [*TEXTS[:2], TEXTS[3], TEXTS[4]], ids=ascii)
async def test_a_file_that_cannot_be_read_is_said_and_the_rest_is_there(
    text: str, data: Path
) -> None:
    async with named(data) as visit:
        foreign(data, "fine").answer(finished=True).write()
        broken = next((data / "sessions").rglob("*.toml"))
        copy = broken.with_name("019cbd28-0310-7a58-b791-df6af1d861cd.toml")
        copy.write_text(f"format = 1\n{text}\n", encoding="utf-8")
        await visit.press("f4", "N", "enter")
        await visit.until("c-01 fine", "! 1 files could not be read: run anklefirst check.")
        check_screen(visit)


@pytest.mark.parametrize("text", ["[red]Mill[/]", "Mill [/]", "{who}", "O'Neil [left]"])
async def test_a_services_own_chart_and_protocol_show_their_names_verbatim(
    text: str, data: Path
) -> None:
    (data / "charts").mkdir(parents=True)
    (data / "protocols").mkdir()
    shipped = {
        "charts": "mill-four-low-tide",
        "protocols": "below-knee-sock",
    }
    for folder, name in shipped.items():
        raw = (files("profiles") / folder / f"{name}.toml").read_text(encoding="utf-8")
        raw = raw.replace("Invented Mill Four", text).replace("Below knee, sock by", text)
        (data / folder / "own.toml").write_text(raw, encoding="utf-8")
    async with named(data) as visit:
        await visit.press("f2")
        await past_screening(visit)
        await visit.press("enter", "enter", "enter", "enter", "2")
        await visit.until(f"2 {text} shoe size and calf")
        check_screen(visit)
        await visit.press("enter", "question_mark", "enter")
        await visit.until_screen("measure")
        await visit.until(f"{text} shoe size")
        check_screen(visit)
        await visit.press("f6")
        await visit.until_screen("result")
        await visit.until(f"{text} Low Tide")
        check_screen(visit)
        await visit.press("escape")
        await at_start(visit)


async def test_a_laptop_file_with_such_a_measurer(data: Path) -> None:
    async with named(data):
        pass
    path = data / "laptop.toml"
    raw = path.read_text(encoding="utf-8")
    path.write_text(raw.replace('"N-17"', r'"[red]N[/]\u001b[31m\u202e"'), encoding="utf-8")
    async with opened(data) as visit:
        await at_start(visit)
        check_screen(visit)
        assert f"by {clean('[red]N[/]').text}" in visit.text


async def test_a_session_with_a_protocol_nobody_has_here_is_told_and_opens_nothing(
    data: Path,
) -> None:
    async with named(data) as visit:
        session = Foreign(data, 1).answer(client="c-01", protocol="their-own-set")
        session.answer(rising_at="unknown").write()
        await visit.press("f4", "N", "enter")  # the start screen afresh
        await visit.until("c-01", "PAUSED: go on")
        await visit.press("enter")
        await visit.until("There is no protocol 'their-own-set'.", "below-knee-short")
        assert visit.screen == "start"
