"""The result by keyboard: as many charts as there is room for, reading again, stray keys, Esc.

All charts and people are invented.
"""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

import pytest
from screens import named, past_screening
from textual import events

if TYPE_CHECKING:
    from pathlib import Path

    from screens import Visit

ROUND = "22.0<enter>35.0<enter>40<enter>eu 39<enter>23.0<enter>36.4<enter>40.2<enter>eu 39<enter>"
EDGES = {
    "S": ((180, 220), (280, 360)),
    "M": ((220, 260), (340, 420)),
    "L": ((240, 280), (400, 480)),
}


def chart_text(name: str, line: str, *, ankle: tuple[str, str] = ("18", "22")) -> str:
    """Return a user's own chart file by ankle and calf."""
    rows = "".join(
        f'\n[[sizes]]\nsize = "{size}"\n'
        f"ankle = [{', '.join(ankle) if size == 'S' else f'{a[0] / 10}, {a[1] / 10}'}]\n"
        f"calf = [{c[0] / 10}, {c[1] / 10}]\n"
        for size, (a, c) in EDGES.items()
    )
    return (
        f'format = 1\nid = "{name}"\nmaker = "Invented Mill Nine"\nline = "{line}"\n'
        'invented = true\nform = "below_knee"\ntoe = "open"\npurposes = ["work", "standing"]\n'
        'pressure = { mmhg = [10, 16], standard = "Invented Standard", class = "A" }\n'
        'unit = "cm"\nstep_mm = 1\nposture = "standing"\noverlap = "larger"\n\n'
        '[source]\nstatus = "invented"\ntext = "Made up for this test."\n\n'
        '[[dimensions]]\nid = "ankle"\npoint = "B"\nkind = "girth"\n\n'
        '[[dimensions]]\nid = "calf"\npoint = "C"\nkind = "girth"\n' + rows
    )


def put_chart(data: Path, name: str, text: str) -> None:
    folder = data / "charts"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.toml").write_text(text, encoding="utf-8")


async def to_measure(visit: Visit) -> None:
    await visit.keys("<f2>")
    await past_screening(visit)
    await visit.keys("<enter><enter><enter><enter><enter>0740<enter>")
    await visit.until_screen("measure")


async def to_result(visit: Visit, typed: str = ROUND) -> None:
    await to_measure(visit)
    await visit.keys(typed)
    if visit.screen == "measure":
        await visit.keys("<f8><down><enter>")  # the repeats left out, with a reason
    if visit.screen == "review":
        await visit.keys("<f6>")
    await visit.until_screen("result")


@pytest.mark.parametrize(("size", "most"), [((80, 24), 5), ((120, 36), 12), ((100, 30), 9)])
async def test_the_list_takes_the_height_there_is_and_says_how_many_are_below(
    size: tuple[int, int], most: int, data: Path
) -> None:
    for number in range(6):
        put_chart(data, f"own-{number}", chart_text(f"own-{number}", f"Own {number}"))
    async with named(data, size=size) as visit:
        await to_result(visit)
        assert len([row for row in visit.rows if " Invented Mill" in row[:20]]) >= most
        if most < 12:
            assert f"{12 - most} more below ↓" in visit.text
            await visit.keys("<down>" * 12)
            assert "more below" not in visit.text
            await visit.until("> Invented Mill")
        else:
            assert "more below" not in visit.text


async def test_reading_again_from_the_result_keeps_both_readings(data: Path) -> None:
    put_chart(data, "own-l", chart_text("own-l", "Own L"))
    async with named(data) as visit:
        await to_result(visit)
        await visit.keys("own l")
        await visit.until("Looked for: own l_ (1)", "M (or S), measure again")
        await visit.keys("<f2>")
        await visit.until_screen("measure")
        await visit.until(
            "LEFT: round the ankle (B)",
            "Measure it once more, as if for the first time: both readings are kept.",
        )
        assert "22.0" not in visit.text
        await visit.keys("22.2<enter>")
        await visit.until_screen("result")
        taken = visit.saved.readings.taken(("left", "B", "girth"))  # type: ignore[arg-type]
        assert [(reading.round, reading.typed) for reading in taken] == [(1, "22.0"), (2, "22.2")]


async def test_a_repeat_at_an_edge_is_asked_for_before_the_result(data: Path) -> None:
    put_chart(data, "own-l", chart_text("own-l", "Own L"))
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys(ROUND)
        await visit.until("LEFT: round the ankle (B)", "Second time")
        assert visit.screen == "measure"


async def test_f2_where_nothing_is_asked_goes_to_the_first_field_and_says_what_typing_does(
    data: Path,
) -> None:
    async with named(data) as visit:
        await to_result(visit, ROUND.replace("22.0", "22.8").replace("35.0", "36.6"))
        await visit.keys("haar<f2>")
        await visit.until_screen("measure")
        await visit.until("1 of ", "Type a new value to correct it; the old one is kept")


async def test_what_is_looked_for_is_written_as_charts_are(data: Path) -> None:
    """A name is stored composed, so the old sign of the unit is looked for as its letter."""
    async with named(data) as visit:
        await to_result(visit)
        visit.app.screen.post_message(events.Key("angstrom_sign", "\u212b"))
        await visit.rest()
        await visit.until("Looked for: \u00c5_ (0)")


async def test_a_stray_letter_and_enter_do_not_end_the_session(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await visit.keys("x")
        await visit.until("Enter or Esc shows all charts again; then Enter finishes.")
        await visit.keys("<enter>")
        await visit.until("Size chart, best first")
        assert visit.screen == "result"
        assert visit.saved.answer("finished") is None
        await visit.keys("<enter>")
        await visit.until_screen("start")
        assert visit.saved.answer("finished") is True


async def test_esc_from_the_shape_comes_back_to_the_result(data: Path) -> None:
    async with named(data) as visit:
        await to_result(visit)
        await visit.until("Shape not asked: F8.")
        await visit.keys("<f8>")
        await visit.until("The legs' shape, which no tape sees.")
        await visit.keys("<escape>")
        await visit.until_screen("result")
        await visit.until("Shape not asked: F8.")


async def test_a_chart_copied_in_while_the_program_runs_is_there(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        await visit.keys("own<escape><escape>")
        await visit.until_screen("start")
        put_chart(data, "own-l", chart_text("own-l", "Own L"))
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        await visit.keys("own l")
        await visit.until("> Invented Mill Nine Own L", "own")
        await visit.keys("<escape><escape>")
        await visit.until_screen("start")
        await to_result(visit)
        put_chart(data, "own-m", chart_text("own-m", "Own M"))
        await visit.keys("<f8>N<enter>")
        await visit.until_screen("result")
        await visit.keys("own m")
        await visit.until("Looked for: own m_ (1)", "> Invented Mill Nine Own M")


async def test_a_chart_with_a_slip_is_kept_back_and_marked(data: Path) -> None:
    put_chart(data, "own-slip", chart_text("own-slip", "Own Slip", ankle=("8", "10")))
    async with named(data) as visit:
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        await visit.until("> Invented Mill Nine Own Slip", "! ERROR, not used: open to mend it")
        await visit.keys("<escape>")
        await visit.until_screen("start")
        await to_result(visit)
        await visit.keys("slip")
        await visit.until(
            "Invented Mill Nine Own Slip: chart error",
            "has an error, so no size of it is offered",
            "F8 at the start opens it",
        )


async def test_a_shipped_chart_saved_unchanged_is_marked_as_the_services_own(data: Path) -> None:
    shipped = (files("profiles") / "charts" / "mill-four-low-tide.toml").read_text("utf-8")
    copy = shipped.replace('id = "mill-four-low-tide"', 'id = "mill-four-low-tide-copy"')
    put_chart(data, "mill-four-low-tide-copy", copy)
    async with named(data) as visit:
        await to_result(visit)
        await visit.keys("low tide")
        await visit.until(
            "Looked for: low tide_ (2)",
            "> shipped: Invented Mill",
            "own copy: Invented Mill",
        )
