"""How the screens look: glyphs every old console has, whole at 80x24, clear without colour.

Golden screens stand in `golden/` as text. Renew them with ANKLEFIRST_RENEW_GOLDEN=1 and read the
difference before keeping it:

    ANKLEFIRST_RENEW_GOLDEN=1 python -m pytest tests/pilot/test_looks.py -k golden
"""

from __future__ import annotations

import os
import shutil
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from rich.cells import cell_len
from screens import Visit, at_start, named, opened, to_measure, until

from tui.keymap import ACTIONS, footer_parts, help_rows, key_words

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    Look = Callable[[str, Visit], Awaitable[None]]

GOLDEN = Path(__file__).parent / "golden"
SAMPLES = Path(__file__).parents[2] / "sample_sessions"
SHARED = Path("2026-03/019cb81c-89e0-72ab-8308-b7fd4829c83b.toml")
"""The session of the demo day that two laptops went on with."""
RENEW = "ANKLEFIRST_RENEW_GOLDEN"
LINES_AND_BLOCKS = "│─┌┐└┘├┤█▀▄▌▐░▒▓←→↑↓·…–"
SIZES = ((80, 24), (120, 36))
THEMES = ("textual-dark", "ansi-dark")
LEG = "22.4<enter>36.2<enter>40<enter>eu 39<enter>"


def is_allowed(character: str) -> bool:
    """Whether every console's font has it: ASCII, Latin letters, lines, blocks and arrows."""
    if character.isascii():
        return character.isprintable()
    return character in LINES_AND_BLOCKS or (
        character.isalpha() and unicodedata.name(character).startswith("LATIN ")
    )


async def tour_screening(visit: Visit, look: Look) -> None:
    """Look at the pages of screening: a hold, a new assessment, a change of mind."""
    await visit.until_screen("first_page")
    await look("first_page", visit)
    await visit.keys("<down>y<up>N<enter>")
    await visit.until_screen("clearance")
    await look("clearance", visit)
    await visit.keys("<f7>")
    await visit.until_screen("first_page")
    await visit.keys("y<enter>")
    await visit.until_screen("clearance")
    await visit.keys("<f4>")
    await visit.until_screen("questions")
    await look("questions", visit)
    await visit.keys("seen by the doctor<enter>P-04<enter>today<enter>n<enter>")
    await visit.until_screen("clearance")
    await visit.keys("<f7>")
    await visit.until_screen("first_page")
    await visit.keys("n<enter>")
    await visit.until_screen("setup")


async def tour_charts(visit: Visit, look: Look) -> None:
    """Look at the charts, and at a table that is typed, asked about and judged."""
    await visit.keys("<f8>")
    await visit.until_screen("charts")
    await look("charts", visit)
    await visit.keys("<f2>")
    await visit.until_screen("chart_editor")
    await look("chart_editor", visit)
    await visit.keys("1b<enter>length to knee<enter>")
    await look("chart_editor", visit)
    await visit.keys("1<enter>S<enter>1920.9<enter>36<enter>")
    await look("chart_editor", visit)
    await visit.keys("<f2>")
    await visit.until_screen("chart_head")
    await look("chart_head", visit)
    await visit.keys("<escape><escape>")
    await visit.until_screen("charts")
    await look("charts", visit)
    await visit.keys("<f2>")
    await visit.until_screen("chart_editor")
    await visit.keys("1b<enter><enter>S<enter>8-10<enter><f6>")
    await visit.until_screen("chart_head")
    await visit.keys("Invented Mill Nine<enter>Neap<enter><enter>111<enter>1<down>Page 1<enter>4")
    await visit.keys("<f6>")
    await visit.until_screen("chart_errors")
    await look("chart_errors", visit)
    await visit.keys("<enter>")
    await visit.until_screen("chart_editor")
    await visit.keys("<escape>")
    await visit.until_screen("charts")


async def tour_merge(visit: Visit, look: Look) -> None:
    """Look at the merge desk: two laptops that put one posture right differently."""
    await visit.keys("<escape>")
    await at_start(visit)
    await visit.keys("<f7>")
    await visit.until_screen("merge_sticks")
    for laptop in ("tern", "dunlin"):
        stick = visit.app.data.parent / laptop
        copied = stick / "sessions" / SHARED.parent / SHARED.name
        copied.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(SAMPLES / laptop / "sessions" / SHARED, copied)
        await visit.keys(f"{stick}<enter>")
        await visit.until("[x]")
    await look("merge_sticks", visit)
    await visit.keys("<enter>")
    await visit.until_screen("merge_summary")
    await look("merge_summary", visit)
    await visit.keys("<enter>")
    await visit.until_screen("merge_questions")
    await visit.keys("2")
    await look("merge_questions", visit)
    await visit.keys("<f6>")
    await visit.until_screen("merge_end")
    await look("merge_end", visit)


async def tour(data: Path, size: tuple[int, int], look: Look) -> None:
    """Look at every screen of the register, from the first run to the result."""
    async with opened(data, size=size) as visit:
        await look("first_run", visit)
        await visit.keys("tern<enter>N-17<enter>")
        await at_start(visit)
        await look("start", visit)
        await visit.keys("<f2>")
        await tour_screening(visit, look)
        await visit.keys("<enter>")  # date and time
        await look("setup", visit)
        await visit.keys("<enter><enter><enter><enter>5<enter>")  # up since 05:00: late
        await visit.until_screen("measure")
        await visit.keys("22.4<enter>50<enter>")
        await visit.until("does not go with")
        await look("measure", visit)
        await visit.keys("<f2><down>")
        await visit.until_screen("reason")
        await look("reason", visit)
        await visit.keys("<escape><f4>")
        await visit.until_screen("confirm")
        await look("confirm", visit)
        await visit.keys("<escape><f1>")
        await visit.until_screen("text")
        await look("text", visit)
        await visit.keys("<escape><enter>")
        if "3 of " not in visit.flow:
            await visit.keys("<enter>")
        await visit.until("3 of 9")
        await visit.keys("<f6>")
        await visit.until_screen("review")
        await look("review", visit)
        await visit.keys("<f2>")
        await visit.until_screen("measure")
        await visit.keys("<up>36.2<enter>40<enter>eu 39<enter>" + LEG)
        await visit.until_screen("result")
        await look("result", visit)
        for _ in range(6):
            await visit.keys("<down>")
            await look("result", visit)
        await visit.keys("<f7>")
        await visit.until_screen("try_out")
        await look("try_out", visit)
        await visit.keys("<escape>")
        await visit.until_screen("result")
        await visit.keys("<escape>")
        await at_start(visit)
        await look("start", visit)
        await tour_charts(visit, look)
        await tour_merge(visit, look)


# --- glyphs, footers, actions --------------------------------------------------------------------


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("size", SIZES)
async def test_every_screen_is_whole_and_uses_allowed_glyphs(
    size: tuple[int, int], theme: str, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TEXTUAL_THEME", theme)
    seen = set()

    async def look(name: str, visit: Visit) -> None:
        seen.add(name)
        assert visit.app.theme == theme
        assert visit.screen == name
        assert len(visit.rows) == size[1]
        for row in visit.rows:
            assert [c for c in row if not is_allowed(c)] == [], row
            assert cell_len(row) == size[0]
        assert "anklefirst" in visit.rows[0]
        assert name not in ("first_run", "start") or "anklefirst measure the leg" in visit.words
        footer = " ".join(visit.rows[-1].split())
        assert footer == " ".join(f"{key} {word}" for key, word in footer_parts(name, size[0]))
        for action in ACTIONS[name]:
            assert callable(getattr(visit.app.screen, f"do_{action.name}", None)), action.name

    await tour(data, size, look)
    assert seen == set(ACTIONS)


async def test_every_key_of_every_screen_is_told_in_footer_or_help(data: Path) -> None:
    """What nobody is told of does not exist; help itself is told in the footer.

    A footer too narrow for all leaves out what can be spared; the help tells it.
    """
    told: dict[str, tuple[str, str]] = {}

    async def look(name: str, visit: Visit) -> None:
        if name not in told:
            footer, read = visit.rows[-1], ""
            if has_help(name):
                read = " ".join((await read_help(visit)).split())
                await visit.press("escape")
                await visit.until_screen(name)
            told[name] = (footer, read)

    await tour(data, SIZES[0], look)
    assert set(told) == set(ACTIONS)
    for name, (footer, read) in told.items():
        for action, (keys, words) in zip(ACTIONS[name], help_rows(name), strict=True):
            in_footer = f" {key_words(action.keys[0])} {action.label}" in footer
            assert in_footer == (action.shown and not action.spared), (name, action.name)
            if has_help(name):
                assert " ".join(f"{keys} {words}".split()) in read, (name, action.name)
            else:  # an arrow may stand for its pair
                assert in_footer or (action.name == "up" and " ↓ " in footer), (name, action.name)


async def test_the_start_tells_the_merge_desk_and_the_charts_in_every_size(data: Path) -> None:
    """Whoever is new reads the footer, not the help."""
    async with named(data, size=(80, 24)) as visit:
        assert visit.rows[-1].split("  ")[:-1] == [
            " Enter open",
            "F2 new client",
            "F4 measurer",
            "F7 merge",
            "F8 charts",
            "F1 help",
        ]
        assert visit.rows[-1].rstrip().endswith("F10 close")
        spared = "F2 new client  F3 new session  F4 measurer  F7 merge  F8 charts  F1 help"
        await visit.pilot.resize_terminal(120, 36)
        await until(visit.pilot, lambda: spared in visit.rows[-1])
        assert visit.rows[-1].rstrip().endswith("F10 close")
        await visit.pilot.resize_terminal(95, 30)
        await until(visit.pilot, lambda: "F3" not in visit.rows[-1])
        await visit.pilot.resize_terminal(96, 30)
        await until(visit.pilot, lambda: spared in visit.rows[-1])
        assert visit.rows[-1].endswith("F10 close")


def has_help(name: str) -> bool:
    """Whether a screen has help."""
    return any(action.name == "help" for action in ACTIONS[name])


async def read_help(visit: Visit) -> str:
    """Read the whole help, page by page."""
    await visit.press("f1")
    await visit.until_screen("text")
    pages: list[str] = []
    while not pages or pages[-1] != visit.text:
        pages.append(visit.text)
        await visit.press("pagedown")
    rows: list[str] = []
    for page in pages:
        rows += [row for row in page.splitlines()[1:-2] if row not in rows]
    return " ".join(rows)


async def test_help_also_answers_to_the_question_mark(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.press("question_mark")
        await visit.until_screen("text")
        await visit.until("show what the keys do", "15 1/8 in")
        await visit.press("pagedown")
        await visit.until("call the emergency number now")
        await visit.press("f1")
        await visit.until_screen("measure")


# --- small windows -------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(60, 20), (79, 24), (80, 23)])
async def test_a_small_window_asks_to_be_enlarged_and_loses_nothing(
    size: tuple[int, int], data: Path
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter>36.")
        await visit.pilot.resize_terminal(*size)
        notice = f"Please enlarge the window to 80 x 24 (now {size[0]} x {size[1]})."
        await visit.until(notice, "Nothing is lost.")
        assert "Round the calf" not in visit.text
        assert all(is_allowed(c) for row in visit.rows for c in row)
        await visit.pilot.resize_terminal(80, 24)
        await visit.until("2 of 8", "cm > 36.")
        await visit.keys("2<enter>")
        await visit.until("3 of 8")
        assert visit.saved.values() == {"left B girth": "224", "left C girth": "362"}


async def test_every_screen_asks_for_a_larger_window(data: Path) -> None:
    async with opened(data, size=(60, 20)) as visit:
        await visit.until("Please enlarge the window to 80 x 24 (now 60 x 20).")
        await visit.keys("tern<enter>N-17<enter>")
        assert visit.screen == "first_run", "keys whose effect cannot be seen have none"
        assert not (data / "laptop.toml").exists()
        await visit.pilot.resize_terminal(80, 24)
        await visit.until("This laptop is called")
        await visit.keys("tern<enter>N-17<enter>")
        await visit.until_screen("start")
        await visit.pilot.resize_terminal(60, 20)
        await visit.until("Please enlarge the window")
        assert "Client's code" not in visit.text


# --- without colour ------------------------------------------------------------------------------


async def test_without_colour_the_marked_line_is_still_told(
    data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    marks = {
        "start": 1,
        "first_page": 1,
        "questions": 2,
        "clearance": 1,
        "setup": 1,
        "reason": 1,
        "result": 1,
        "measure": 2,
        "try_out": 3,
        "merge_questions": 1,
    }
    seen = set()

    async def look(name: str, visit: Visit) -> None:
        if name in marks and (name != "start" or "setup" in seen):
            count = sum(1 for row in visit.rows if "> " in row and "->" not in row)
            code_line = 1 if name == "start" else 0
            assert count == marks[name] + code_line, visit.text
        seen.add(name)
        for strip in visit.app.screen._compositor.render_strips():
            for segment in strip:
                style = segment.style
                if style and style.color and style.bgcolor and segment.text.strip():
                    same = style.color.get_truecolor() == style.bgcolor.get_truecolor()
                    assert not same or style.color.is_default, segment

    await tour(data, SIZES[0], look)
    assert set(marks) <= seen


async def test_a_doubt_has_a_sign_beside_its_colour(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("28.4<enter>")
        await visit.until("! round the ankle (B): 28.4 cm is outside")
        await visit.keys("<enter>")
        await visit.until("28.4 cm ! unusual, kept")


# --- golden screens ------------------------------------------------------------------------------


async def golden_measure(visit: Visit) -> None:
    """The right calf, after a doubt kept at the left one and a reading not taken."""
    await to_measure(visit)
    await visit.keys("22.4<enter>47.2<enter><enter><f2><down><enter>eu 39<enter>22.6<enter>")
    await visit.until("RIGHT: round the calf (C) 6 of 9")


async def golden_result(visit: Visit) -> None:
    """Both legs, late in the day."""
    await to_measure(visit, up="0500")
    await visit.keys(LEG + "22,6<enter>36,4<enter>40.2<enter>24.6<enter>")
    await visit.until_screen("result")
    await visit.until("Late in the day")


@pytest.mark.parametrize("name", ["measure", "result"])
async def test_golden_screen(name: str, data: Path) -> None:
    async with named(data) as visit:
        await {"measure": golden_measure, "result": golden_result}[name](visit)
        await until(visit.pilot, lambda: visit.rows[-1].strip() != "")
        await visit.rest()
        text = visit.text + "\n"
    path = GOLDEN / f"{name}-80x24.txt"
    if os.environ.get(RENEW):
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8")
