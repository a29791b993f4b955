"""Text that could steer a terminal, or the markup of the screen library, only ever stands there.

Typed and pasted into every line there is, and read from files; in no row of any screen may a
character appear that is not safe to show, and brackets stand as they were written.
"""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

import pytest
from rich.cells import cell_len
from screens import (
    Visit,
    at_start,
    named,
    opened,
    past_screening,
    saved_sessions,
    to_measure,
    to_setup,
    until,
)
from textual import events
from textual.keys import _character_to_key

from fitcore.clean_text import clean, is_unsafe

if TYPE_CHECKING:
    from pathlib import Path

BRACKETS = ("[red]x[/]", "note [/] end", "O'Neil [left]", "[@click=app.quit]q[/]", "\\[b]", "{who}")
"""Markup to the screen library, and a field of a format string: verbatim or not at all."""

STEERING = (
    "\x1b[31mred\x1b[0m",
    "\x1b]0;new title\x07x",
    "\x1b[2J\x1b[Hgone",
    "\x9b31mC1\x9c",
    "a\x00b\x7fc",
    "abc\u202edcba",
    "a\u2066b\u2069c",
    "\u200bzero\ufeffwidth\u200e",
    "two\u2028lines",
    "\ue000private\U000e0041tag",
)
WIDE = (
    "宽字符宽字符",
    "e\u0301a\u0308o\u0302",
    "\u0e01\u0e33\u0e49",
    "👩\u200d⚕️ N-17",
    "a" + "\u0301" * 30,
)
LONG = ("x" * 10_000, "[" * 10_000, "宽" * 5_000)
LINES = ("one\ntwo\nthree", "tab\tbed", "carriage\rreturn")
PASTED = (*BRACKETS, *STEERING, *WIDE, *LONG, *LINES, "", "\n", "\x1b")
TYPED = (*BRACKETS, *STEERING, *WIDE)


def check_screen(visit: Visit) -> None:
    """Every row is as wide as the screen and holds nothing that must not be shown."""
    assert visit.app.fault is None
    rows = visit.rows
    assert rows
    for row in rows:
        assert [c for c in row if is_unsafe(c)] == [], ascii(row)
        assert cell_len(row) == visit.app.size.width, ascii(row)


async def paste(visit: Visit, text: str) -> None:
    """Paste as a terminal does."""
    visit.app.post_message(events.Paste(text))
    await visit.rest()


async def put(visit: Visit, text: str, how: str) -> None:
    """Bring text into the present line and look at the screen."""
    if how == "paste":
        await paste(visit, text)
    else:
        await type_text(visit, text)
    check_screen(visit)


async def type_text(visit: Visit, text: str) -> None:
    """Type text; what the pilot has no key for is sent as the terminal's reader would."""
    for character in text:
        if character.isalnum() or (character.isascii() and character.isprintable()):
            await visit.pilot.press(character)
        elif unicodedata.category(character) != "Cc":  # those are keys, not characters
            visit.app.post_message(events.Key(_character_to_key(character), character))
            await visit.pilot.press()
    await visit.rest()


async def empty_line(visit: Visit) -> None:
    """Rub the present line out, from its end."""
    line = visit.app.screen.active_line
    assert line is not None
    await visit.press("end", *["backspace"] * len(line.value))
    assert line.value == ""


@pytest.fixture(params=["paste", "type"])
def how(request: pytest.FixtureRequest) -> str:
    """Pasted or typed."""
    return str(request.param)


def corpus(how: str, *, fewer: bool = False) -> tuple[str, ...]:
    """Return the texts to try; fewer where bringing one in takes many keys."""
    if fewer:
        return (*BRACKETS, *STEERING[::4], *WIDE[::2], *(LONG[:1] if how == "paste" else ()))
    return PASTED if how == "paste" else TYPED


# --- every line there is -------------------------------------------------------------------------


async def test_the_laptops_label(how: str, data: Path) -> None:
    async with opened(data) as visit:
        await visit.until_screen("first_run")
        for text in corpus(how):
            await put(visit, text, how)
            await visit.press("enter")
            check_screen(visit)
            assert not (data / "laptop.toml").exists()
            await visit.press("up")
            await empty_line(visit)


@pytest.mark.parametrize("text", [*BRACKETS[:2], *STEERING[1:2], *WIDE[:2]], ids=ascii)
async def test_the_measurer_at_the_first_run(text: str, how: str, data: Path) -> None:
    async with opened(data) as visit:
        await visit.keys("tern<enter>")
        await put(visit, text, how)
        await visit.press("enter")
        await at_start(visit)
        check_screen(visit)
        sent = "".join(c for c in text if unicodedata.category(c) != "Cc")
        kept = clean(text if how == "paste" else sent).text
        assert f"by {kept}" in " ".join(visit.rows[0].split())


async def test_the_measurer_later(how: str, data: Path) -> None:
    async with named(data) as visit:
        for text in corpus(how):
            await visit.press("f4")
            await visit.until_screen("reason")
            await put(visit, text, how)
            await visit.press("enter")
            check_screen(visit)
            if visit.screen == "reason":  # nothing was left of it
                await visit.press("escape")
            await at_start(visit)
            check_screen(visit)


async def test_the_clients_code(how: str, data: Path) -> None:
    async with named(data) as visit:
        for text in corpus(how):
            await put(visit, text, how)
            await visit.press("enter")
            check_screen(visit)
            if visit.screen == "confirm":
                if text in BRACKETS:
                    assert f"the code {text}?" in visit.words
                await visit.press("enter")
                await past_screening(visit)
                check_screen(visit)
            if visit.screen == "setup":
                await visit.press("enter", "escape")
                await at_start(visit)
                check_screen(visit)
            else:
                await empty_line(visit)
        codes = {session.text("client") for session in saved_sessions(data)}
    assert set(BRACKETS) <= codes
    assert codes == {clean(code).text for code in codes}


async def test_the_value(how: str, data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        for text in corpus(how):
            await put(visit, text, how)
            await visit.press("enter")
            check_screen(visit)
            assert visit.screen == "measure"
            if text in BRACKETS:
                assert text in visit.flow
            await empty_line(visit)
        assert visit.saved.values() == {}


@pytest.mark.parametrize(
    ("keys", "array", "key"),
    [
        ("<f2>", "readings", "not_taken"),
        ("22.4<enter><up><f3>", "withdrawn", "why"),
        ("8.7<enter><enter>", "readings", "why"),
        ("<f5>", "remarks", "text"),
    ],
    ids=["not taken", "strike", "doubt", "remark"],
)
async def test_a_reason_or_remark(keys: str, array: str, key: str, how: str, data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        for text in corpus(how, fewer=True):
            await visit.keys(keys)
            await visit.until_screen("reason")
            await put(visit, text, how)
            await visit.press("enter")
            check_screen(visit)
            if visit.screen == "reason":
                await visit.press("escape")
            await visit.until_screen("measure")
            await until(
                visit.pilot, lambda: re.search(r"[1-9] of (8|9|10)\b", visit.flow) is not None
            )
            check_screen(visit)
            await empty_line(visit)
            await visit.press("up")
            check_screen(visit)
        entries = [e for e in visit.saved.session.entries if e.array == array]
        kept = {e.text(key) for e in entries}
        assert set(BRACKETS) <= kept
        assert all(text == clean(text).text for text in kept)
        await visit.press("f6")
        await visit.rest()
        if visit.screen == "review":
            check_screen(visit)
            await visit.press("f6")
        await visit.until_screen("result")
        check_screen(visit)
        await visit.press("f3")
        await visit.until_screen("text")
        check_screen(visit)


@pytest.mark.parametrize("text", ["tern\x1b[31m-14", "1204\u202e-k", "x" * 500])
async def test_what_was_taken_out_of_pasted_text_is_said(text: str, data: Path) -> None:
    """Text that came out other than it went in looks like the same text to whoever pasted it."""
    shown = []
    for number, pasted in enumerate((text, clean(text).text)):
        async with named(data.parent / f"{number}" / "data") as visit:
            if number == 0 or len(pasted) < 60:
                await paste(visit, pasted)
            shown.append(visit.words)
    assert shown[0] != shown[1]


async def test_two_ways_to_type_one_letter_are_one_client(data: Path) -> None:
    """An accent typed after its letter is the same letter."""
    async with named(data) as visit:
        await to_setup(visit, "caf\u00e9-1")
        await visit.press("enter", "escape")
        await at_start(visit)
        await type_text(visit, "cafe\u0301-1")
        await visit.press("enter")
        assert visit.screen in ("setup", "measure"), visit.text
