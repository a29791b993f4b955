"""Trying other values out by keys: results change, nothing on disk does. All invented."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

import pytest
from screens import SMALL, at_start, named, opened, to_measure, to_setup

from tui.keymap import footer_parts

if TYPE_CHECKING:
    from pathlib import Path

    from screens import Visit

LEG = "22.4<enter>36.2<enter>40<enter>eu 39<enter>"
SIZES = (SMALL, (120, 36))
HEADING = "TRY-OUT, NOT SAVED"


async def to_result(visit: Visit, left: str = LEG, right: str = LEG) -> None:
    await to_measure(visit)
    await visit.keys(left + right)
    await visit.until_screen("result")


async def to_try_out(visit: Visit) -> None:
    await visit.keys("<f7>")
    await visit.until_screen("try_out")
    await visit.until(HEADING)


def files(folder: Path) -> dict[str, bytes]:
    """Return every file of a folder, whatever it is for."""
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def chart_row(visit: Visit, name: str) -> str:
    (row,) = [row for row in visit.rows if name in row and "LEFT" not in row and "RIGHT" not in row]
    return " ".join(row.split())


def chart_name(row: str) -> str:
    """Return the chart a row of the list is about; empty where it is about none."""
    name = row[2:32].strip()
    return name if name.removeprefix("* ").startswith("Invented Mill") else ""


def chart_names(visit: Visit) -> list[str]:
    return [name for name in map(chart_name, visit.rows) if name]


@pytest.mark.parametrize("size", SIZES)
async def test_a_value_changes_the_answers_and_nothing_on_disk(
    size: tuple[int, int], data: Path
) -> None:
    async with named(data, size=size) as visit:
        await to_result(visit)
        await visit.keys("<down>")
        result, before = visit.text, files(data)
        marked_chart = chart_name(f"  {visit.marked[0][2:]}")
        await to_try_out(visit)
        marked = [" ".join(row.split()) for row in visit.marked]
        assert marked[0] == "> round the ankle (B) 22.4 cm"
        assert marked[1].startswith("> Invented Mill"), marked
        assert chart_name(f"  {visit.marked[1][2:]}") == marked_chart
        assert "changed" not in visit.text
        await visit.keys("<pageup>" * 4 + "<shift+right><right>")
        await visit.until("22.4 -> 27.5 cm (+5.1)")
        await visit.until("of 6 changed: F6")
        row = chart_row(visit, "Four Low Tide")
        assert "-> sizes disagree" in row
        assert row.endswith("changed")
        await visit.keys("<down>38<enter>")
        await visit.until("36.2 -> 38.0 cm (+1.8)")
        assert files(data) == before
        await visit.keys("<escape>")
        await visit.until_screen("result")
        assert visit.text == result, "the chart is still marked, and all is as measured"
        assert files(data) == before
        assert visit.saved.values()["left C girth"] == "362"


@pytest.mark.parametrize("size", SIZES)
async def test_the_screen_is_whole_and_says_what_it_is(size: tuple[int, int], data: Path) -> None:
    async with named(data, size=size) as visit:
        await to_result(visit)
        clearance = visit.rows[1:3]
        await to_try_out(visit)
        for keys in ("", "<pageup>" * 5, "x", "<enter>", "<escape><tab><tab>"):
            await visit.keys(keys)
            assert HEADING in visit.rows[1]
            assert "Every size is for information." in visit.rows[1]
            assert "NOT SAVED" in visit.rows[0]
            assert "May be offered" not in visit.text
            assert visit.rows[2:4] == clearance, "the clearance stands as on the result"
            assert "…" not in visit.text
            for row in visit.rows:
                assert all(c.isascii() or c in "←→↑↓█│─" or c.isalpha() for c in row), row
                assert all(unicodedata.east_asian_width(c) not in "WF" for c in row)
            footer = " ".join(visit.rows[-1].split())
            assert footer == " ".join(
                f"{key} {word}" for key, word in footer_parts("try_out", size[0])
            )


async def test_without_colour_the_heading_is_reversed_and_bold(
    data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with named(data) as visit:
        await to_result(visit)
        await to_try_out(visit)
        strips = visit.app.screen._compositor.render_strips()
        styles = [s.style for s in strips[1] if HEADING in s.text]
        assert [(style.bold, style.reverse) for style in styles if style] == [(True, True)]
        await visit.keys("<pageup>" * 5)
        assert sum("->" in row and row.rstrip().endswith("changed") for row in visit.rows) == 2


async def test_both_sides_and_all_put_back(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await to_try_out(visit)
        untouched = visit.text
        await visit.keys("<right><right><down>40<enter>")
        await visit.until("22.4 -> 22.6 cm (+0.2)", "36.2 -> 40.0 cm (+3.8)")
        await visit.keys("<f4>")
        await visit.until("RIGHT leg.")
        assert "->" not in visit.text.replace("← →", "")
        await visit.keys("<left>")
        await visit.until("22.4 -> 22.3 cm (-0.1)")
        await visit.keys("<pagedown><shift+left>")
        await visit.until("22.4 -> 20.3 cm (-2.1)")
        await visit.keys("<f4>")
        await visit.until("LEFT leg.", "22.4 -> 22.6 cm (+0.2)")
        await visit.keys("<f2>")
        await visit.until("round the ankle (B) 22.4 cm", "36.2 -> 40.0 cm (+3.8)")
        await visit.keys("<f3>")
        assert visit.text == untouched


async def test_what_is_typed_is_refused_in_words_and_stays_to_be_mended(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await to_try_out(visit)
        for keys in ("<enter>", "<down>", "<pageup>", "<f4>"):
            await visit.keys("224" + keys)
            await visit.until("! round the ankle (B): 224.0 cm cannot be right.", "cm > 224")
            assert "LEFT leg." in visit.text
            assert "round the ankle (B)" in visit.marked[0]
            await visit.keys("<escape>")
            assert "cannot be right" not in visit.text
        await visit.keys("224<left>.<enter>")
        await visit.until("22.4 -> 22.4 cm (+0.0)")
        await visit.keys("<escape>")
        await visit.until_screen("result")


async def test_down_takes_what_is_typed_along(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await to_try_out(visit)
        await visit.keys("23,5<down>36<up>")
        await visit.until("22.4 -> 23.5 cm (+1.1)", "36.2 -> 36.0 cm (-0.2)")


async def test_the_next_change_is_one_key_away_and_why_another(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await to_try_out(visit)
        await visit.keys("<f6>")
        await visit.until("No chart's answer has changed.")
        await visit.keys("<pageup>" * 5)
        seen = []
        for _ in range(3):
            await visit.keys("<f6>")
            seen.append(" ".join(visit.marked[-1].split()))
        assert all(row.endswith("changed") for row in seen)
        assert seen[0] != seen[1]
        assert seen[0] == seen[2], "after the last the first again"
        await visit.keys("<f5>")
        await visit.until_screen("text")
        await visit.until("sizes disagree", "As measured:", "Tried, not measured: never order")
        await visit.keys("<escape>")
        await visit.until_screen("try_out")
        assert " ".join(visit.marked[-1].split()) == seen[2]
        await visit.keys("<shift+tab>")
        assert " ".join(visit.marked[-1].split()) != seen[2]


async def test_a_leg_that_would_be_kept_back_is_told_so(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await to_try_out(visit)
        await visit.keys("<down>" + "<pageup>" * 3)
        await visit.until("! Measured so, it would be kept back: Stop")
        await visit.until("May be fitted, where the garment's pressure allows it.")
        await visit.keys("<f2>")
        assert "kept back" not in visit.text


async def test_closing_from_the_try_out_keeps_what_was_measured_alone(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        readings = visit.saved.all_typed()
        await to_try_out(visit)
        await visit.keys("<pageup><down>39.9<f10>")
    async with opened(data) as visit:
        await at_start(visit)
        assert visit.saved.all_typed() == readings
        assert visit.saved.values()["left B girth"] == "224"
        assert b"39.9" not in b"".join(files(data).values())
        assert visit.saved.answer("paused"), "it goes on where it was left"


async def test_a_tape_in_inches_is_tried_in_inches(data: Path) -> None:
    async with named(data) as visit:
        await to_setup(visit)
        await visit.keys("<enter><enter><enter><enter>7<down><down><down><down>2<enter>")
        await visit.until_screen("measure")
        await visit.keys("8 7/8<enter>14 1/4<enter>15 3/4<enter>eu 39<enter>" * 2)
        await visit.until_screen("result")
        await to_try_out(visit)
        await visit.keys("<right>")
        await visit.until("8 7/8 -> 9 in = 22.86 cm")
        await visit.keys("<pageup>9 1/8<enter>")
        await visit.until("8 7/8 -> 9 1/8 in = 23.1775 cm")


async def test_favourites_stand_first_as_on_the_result(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await visit.keys("<down><down><f9>")
        result = chart_names(visit)
        await to_try_out(visit)
        assert chart_names(visit) == result
        assert sum(name.startswith("* ") for name in result) == 1
