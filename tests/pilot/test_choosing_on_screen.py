"""Choosing on the result screen: how sure, search, favourites, and the legs' shape before it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from screens import named, past_screening

if TYPE_CHECKING:
    from pathlib import Path

    from screens import Visit

LEGS = "22.4<enter>36.2<enter>40<enter>eu 39<enter>22,6<enter>36,4<enter>40.2<enter>24.6<enter>"


async def to_result(visit: Visit) -> None:
    await visit.keys("<f2>")
    await past_screening(visit)
    await visit.keys("<enter><enter><enter><enter><enter>0630<enter>")
    await visit.until_screen("measure")
    await visit.keys(LEGS)
    await visit.until_screen("result")


async def test_how_sure_a_size_is_stands_behind_it_in_words(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await visit.until(
            "Size chart, best first",
            "> Invented Mill One Haar M, clear M, clear",
            "Clear of the edge: shoe 1.0 cm from the next size (L); over 99 % the same if measured",
        )
        await visit.keys("<down>")
        await visit.until(
            "3, morning?", "By morning it may be", "unless one slip was made at both."
        )
        await visit.keys("<f3>")
        await visit.until_screen("text")
        await visit.keys("<pagedown>")
        await visit.until("Why charts fell away", "Invented Mill Two Squall: It is a thigh length")


async def test_charts_are_looked_for_by_typing_and_esc_ends_that_first(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await visit.keys("TIDE")
        await visit.until("Looked for: TIDE_ (1)", "> Invented Mill Four Low Tide")
        assert "Haar" not in visit.text
        await visit.keys("x")
        await visit.until("Looked for: TIDEx_ (0)", "No size chart is called so.")
        await visit.keys("<tab><down><f5><f9>")  # nothing is marked, nothing happens
        await visit.keys("<backspace>")
        await visit.until("> Invented Mill Four Low Tide")
        await visit.keys("<escape>")
        await visit.until("Size chart, best first", "Haar")
        assert visit.screen == "result"
        await visit.keys("<escape>")
        await visit.until_screen("start")


async def test_a_favourite_stands_first_here_and_at_the_next_client(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await visit.keys("low<f9>")
        await visit.until("> * Invented Mill Four Low Tide")
        await visit.keys("<escape>")
        await visit.until("Size chart, best first", "* Invented Mill Four Low Tide")
        assert 'charts = [\n  "mill-four-low-tide",\n]' in (
            data / "favourites" / "charts.toml"
        ).read_text(encoding="utf-8")
        await visit.keys("<enter>")
        await visit.until_screen("start")
        await to_result(visit)
        await visit.until("> * Invented Mill Four Low Tide")
        await visit.keys("<f9>")
        await visit.until("> Invented Mill Four Low Tide")
        assert "* Invented" not in visit.text


async def test_the_shape_of_a_leg_is_said_by_its_key_and_heads_the_result(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await visit.until("May be fitted")
        await visit.keys("<f8>")
        await visit.until("The legs' shape, which no tape sees.", "LEFT: Deep skin folds?")
        await visit.keys("<enter>")
        await visit.until("12 lines are not answered yet.")
        await visit.keys("yN<enter>")
        await visit.until_screen("result")
        await visit.until(
            "LEFT: Size for information. Not cleared to fit.",
            "Numbers may fit, shape may not: a specialist first (deep folds).",
            "RIGHT: May be fitted, where the garment's pressure allows it.",
            "M, shape?",
        )
        assert visit.saved.answer("shape_left") == ["deep_folds"]
        assert visit.saved.answer("shape_right") == ["nothing"]
        await visit.keys("<f8>")
        await visit.until("LEFT Deep skin folds? YES")
        await visit.keys("<up><up><up><up><up><up><up><up><up><up><up><up>n<enter>")
        await visit.until_screen("result")
        await visit.until("May be fitted")


async def test_a_swollen_legs_shape_is_asked_before_its_result(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f2>")
        await past_screening(visit)
        for _ in range(20):
            if any("Swollen leg" in row for row in visit.marked):
                break
            await visit.keys("<down>")
        await visit.keys("2")
        await visit.until("Swollen leg left")
        await visit.keys("<f7>")
        await visit.until_screen("clearance")
