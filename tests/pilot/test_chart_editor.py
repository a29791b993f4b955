"""The chart editor by keyboard: a leaflet's table typed, pasted, judged, saved, kept."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from rich.cells import cell_len
from screens import Visit, named, opened, until
from textual import events

from fitcore.charts.chart import Chart
from fitcore.clean_text import is_unsafe
from fitcore.disk.profile_reading import read_profile

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

MOST_KEYS_PER_CELL = Decimal("1.3")
COLUMNS = (
    # Heading as typed, first low, width, step to the next size: invented, like all here.
    ("b", Decimal(18), Decimal("1.9"), Decimal(2)),
    ("c", Decimal(28), Decimal("2.9"), Decimal(3)),
    ("d", Decimal(27), Decimal("2.9"), Decimal(3)),
    ("f", Decimal(40), Decimal("4.9"), Decimal(5)),
    ("g", Decimal(45), Decimal("5.5"), Decimal(5)),
    ("ld", Decimal(34), Decimal("2.5"), Decimal("1.5")),
)
"""Six measures: steps of a printed table, one that overlaps, one of half centimetres."""


def printed(row: int) -> list[tuple[str, str]]:
    """Return a row of the invented leaflet: low and high as printed."""
    ends = []
    for _, low, wide, step in COLUMNS:
        at = low + row * step
        ends.append((f"{at.normalize():f}", f"{(at + wide).normalize():f}"))
    return ends


async def to_editor(visit: Visit) -> None:
    """Begin a new chart from the start screen."""
    await visit.keys("<f8>")
    await visit.until_screen("charts")
    await visit.keys("<f2>")
    await visit.until_screen("chart_editor")


async def paste(visit: Visit, text: str) -> None:
    """Paste as a terminal does."""
    visit.app.post_message(events.Paste(text))
    await visit.rest()


async def fill_head(visit: Visit) -> None:
    """Say what the leaflet says beside the table."""
    await visit.until_screen("chart_head")
    await visit.keys("Invented Mill Nine<enter>Neap<enter><enter>")
    await visit.keys("11")  # below knee, open toe
    await visit.keys("1 2<enter>1")  # work, standing; measured standing
    await visit.keys("<down>")  # the unit stays
    if "Step of the printed table" in visit.text:
        await visit.keys("1<enter>")
    await visit.keys("Made up for this test<enter>4")  # invented
    await visit.keys("<f6>")


def chart_of(data: Path, name: str = "invented-mill-nine-neap") -> Chart:
    """Return a chart as its file in the data folder reads."""
    path = data / "charts" / f"{name}.toml"
    chart = read_profile(path.read_bytes(), Chart, str(path))
    assert isinstance(chart, Chart), chart
    return chart


def mm_of(row: int) -> list[tuple[Decimal, Decimal]]:
    """Return a row of the leaflet in mm."""
    return [(Decimal(low) * 10, Decimal(high) * 10) for low, high in printed(row)]


def check_whole_table(data: Path) -> None:
    """The chart on disk is the leaflet, number by number."""
    chart = chart_of(data)
    assert [row.size for row in chart.sizes] == [str(number) for number in range(1, 11)]
    ids = [dimension.id for dimension in chart.dimensions]
    assert ids == ["ankle", "calf", "below_knee", "mid_thigh", "thigh", "length_d"]
    for number, row in enumerate(chart.sizes):
        assert [row.ranges[name] for name in ids] == mm_of(number)


# --- by keys, by paste ---------------------------------------------------------------------------


async def test_ten_sizes_by_six_ranges_cost_few_keys_beside_the_digits(
    data: Path, tell: Callable[[str], None]
) -> None:
    """Everything of the table counts: unit, headings, the first size, every Enter."""
    async with named(data) as visit:
        await to_editor(visit)
        typed = "1" + "".join(f"{column[0]}<enter>" for column in COLUMNS) + "<enter>1<enter>"
        for row in range(10):
            typed += "".join(f"{low}{high}<enter>" for low, high in printed(row))
        before = visit.count.characters, visit.count.others
        await visit.keys(typed)
        characters = visit.count.characters - before[0]
        others = visit.count.others - before[1]
        digits = sum(len(low + high) for row in range(10) for low, high in printed(row))
        per_cell = Decimal(characters + others - digits) / 60
        tell(
            f"10 sizes x 6 ranges typed: {characters + others - digits} keys beside {digits} "
            f"digits and decimal signs, {per_cell:.3f} a cell (at most {MOST_KEYS_PER_CELL})"
        )
        assert per_cell <= MOST_KEYS_PER_CELL
        assert "error" not in visit.text
        await visit.keys("<f6>")
        await fill_head(visit)
        await visit.until_screen("charts")
        await visit.until("Saved as charts/invented-mill-nine-neap.toml")
    check_whole_table(data)


async def test_the_same_table_by_one_paste(data: Path) -> None:
    headings = "Size;Ankle (cm);Calf (cm);Below knee (cm);Mid thigh (cm);Thigh (cm);cm lD length"
    rows = [
        ";".join([str(row + 1), *(f"{low} – {high}" for low, high in printed(row))])
        for row in range(10)
    ]
    async with named(data) as visit:
        await to_editor(visit)
        await paste(visit, "\n".join([headings, *rows]))
        await visit.until("Pasted: 10 sizes")
        assert "? " not in visit.rows[-12]
        await visit.keys("<f6>")
        await fill_head(visit)
        await visit.until_screen("charts")
    check_whole_table(data)


# --- questions -----------------------------------------------------------------------------------


async def test_a_pasted_table_asks_one_thing_at_a_time_and_loses_nothing(data: Path) -> None:
    table = "Size\tAnkle\tLength to knee\tC\nS\t19-21\t36-40\t30-36\nM\t21-23\t38-42\tunder 40\n"
    async with named(data) as visit:
        await to_editor(visit)
        await paste(visit, table)
        await visit.until("Which unit is the printed table in?")
        await visit.keys("1")
        await visit.until("three different lengths", "1 D length")
        for cell in ("19-21", "36-40", "30-36", "under 40"):
            assert cell in visit.text
        await visit.keys("1")
        await visit.until("may be the girth at C or its height")
        assert "three different lengths" not in visit.text
        await visit.keys("<escape>")
        await visit.until("Left open")
        assert "may be the girth at C" in visit.words, "it is still remarked"
        await visit.keys("<f9>")
        await visit.until("1 C girth")
        await visit.keys("1")
        await visit.until("'under 40' has one end only.")
        await visit.keys("<f6>")
        await visit.until("Not saved as a chart")
        assert not list((data / "charts").glob("*.toml"))


async def test_a_question_is_asked_while_a_heading_is_typed(data: Path) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys("1Length to knee<enter>")
        await visit.until("three different lengths")
        await visit.keys("1")
        await visit.until("A column: b c d f g")
        await visit.keys("<left>")
        await visit.until("This column: floor to below the knee (D).")


async def test_the_unit_is_asked_before_any_number(data: Path) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys("b")
        await visit.until("Answer by its number first.")
        await visit.keys("1b")
        await visit.until("This column: round the ankle (B).")


# --- lint, live ----------------------------------------------------------------------------------


async def test_remarks_come_while_the_table_is_typed(data: Path) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys("1b<enter>c<enter><enter>S<enter>1920.9<enter>3035.9<enter>")
        await visit.until("Nothing to remark so far.")
        assert "M?" in visit.text, "the next size is proposed"
        await visit.keys("3025<enter>")  # reversed is never parted: it stays as typed
        await visit.until("! error: M, round the ankle (B): '3025'")
        await visit.keys("<left>")
        await visit.keys("21-22.9<enter>")
        await visit.until("Nothing to remark so far.")
        await visit.keys("60-70<enter>")
        await visit.until("? look")
        await visit.keys("<f7>")
        await visit.until("Taken back.")
        assert "60-70" not in visit.text


async def test_a_proposed_low_end_needs_its_key(data: Path) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys("1b<enter><enter>1<enter>19-20.9<enter>21-22.9<enter>")
        await visit.until("23-?", "- takes 23 as its low end")
        await visit.keys("<enter>")
        await visit.until("The table ends here.", "23-?")
        await visit.keys("<up><down>-24.9<enter>")
        await visit.until("23-24.9")


async def test_whom_it_fits_is_shown_before_it_is_saved(data: Path) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys("1b<enter>c<enter><enter>S<enter>1821.9<enter>2835.9<enter>")
        await visit.keys("2225.9<enter>3240<enter><f3>")
        await visit.until_screen("text")
        await visit.until("800 legs", "SYNTHETIC", "one size")
        await visit.keys("<escape>")
        await visit.until_screen("chart_editor")


# --- saving, keeping -----------------------------------------------------------------------------


SMALL = "1b<enter>c<enter><enter>S<enter>1920.9<enter>3035.9<enter>2122.9<enter>3339.9<enter>"


async def save_small(visit: Visit) -> None:
    """Type a small table and save it."""
    await to_editor(visit)
    await visit.keys(f"{SMALL}<f6>")
    await fill_head(visit)
    await visit.until_screen("charts")
    await visit.until("Saved as charts/")


async def test_a_saved_chart_is_used_at_once_and_its_draft_is_gone(data: Path) -> None:
    async with named(data) as visit:
        await save_small(visit)
        assert "own, invented" in visit.text
        charts = {chart.id for chart in (await visit.app.load_profiles()).charts}
        assert "invented-mill-nine-neap" in charts
    assert list((data / "charts" / ".drafts").iterdir()) == []


async def test_a_chart_is_never_written_over_without_a_yes(data: Path) -> None:
    async with named(data) as visit:
        await save_small(visit)
        path = data / "charts" / "invented-mill-nine-neap.toml"
        before = path.read_bytes()
        await visit.keys("neap")
        await visit.until("Looked for: neap_ (1)")
        await visit.keys("<enter>")
        await visit.until_screen("chart_editor")
        await visit.until("19-20.9")
        await visit.keys("19-20.5<enter><f6>")
        await visit.until_screen("confirm")
        await visit.until("is there already")
        await visit.keys("<escape>")
        await visit.until_screen("chart_editor")
        assert path.read_bytes() == before
        await visit.keys("<f6>")
        await visit.until_screen("confirm")
        await visit.keys("<enter>")
        await visit.until_screen("charts")
    assert chart_of(data).sizes[0].ranges["ankle"] == (190, 205)


async def test_a_chart_with_errors_is_saved_by_its_own_key_alone(data: Path) -> None:
    """The last Enter of the leaflet's page leads here: pressed once more it saves nothing."""
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys("1b<enter><enter>S<enter>8-10<enter>2122.9<enter><f6>")
        await fill_head(visit)
        await visit.until_screen("chart_errors")
        await visit.until("This chart has errors.", "looks like inches", "Shift+S")
        await visit.keys("<enter>")
        await visit.until_screen("chart_editor")
        await visit.until(">8-10")
        assert not list((data / "charts").glob("*.toml"))
        await visit.keys("<f6>")
        await visit.until_screen("chart_errors")
        await visit.keys("ysn<escape>")
        await visit.until_screen("chart_editor")
        assert not list((data / "charts").glob("*.toml"))
        await visit.keys("<f6>")
        await visit.until_screen("chart_errors")
        await visit.keys("S")
        await visit.until_screen("charts")
        await visit.until("Saved as charts/")
    assert chart_of(data).overlap == "ask"


async def test_f9_leads_to_the_remark_on_top_and_skips_no_cell(data: Path) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys("1b<enter>c<enter><enter>S<enter>1920.9<enter>3035.9<enter>")
        await visit.keys("21x<enter>36y<enter>")
        await visit.keys("<f9>")
        await visit.until(">21x")
        await visit.keys("21-22.9<enter>")
        await visit.until(">36y", "'36y' is one number")
        await visit.keys("<f9>")
        await visit.until(">36y")
        await visit.keys("36-40.9<enter>")
        await visit.until("Nothing to remark so far.")


async def test_the_leaflets_page_proposes_the_mmhg_of_a_class(data: Path) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys(f"{SMALL}<f2>")
        await visit.until_screen("chart_head")
        await visit.until("Who makes it?")
        await visit.keys("<down>" * 10)
        while "> _  a number, or as printed" not in visit.text:
            await visit.keys("<down>")
        await visit.keys("RAL<enter>")
        await visit.until("such as I (18 to 21 mmHg), II (23 to 32 mmHg)")
        await visit.keys("2<enter>")
        await visit.until("? 23-32 (not confirmed)", "compare it with the garment")
        await visit.keys("<enter>")
        await visit.until("Which size where two hold")
        rows = [row for row in visit.rows if "Pressure on the garment" in row]
        assert rows
        assert "23-32" in rows[0]
        assert "not confirmed" not in rows[0]


async def test_a_search_without_a_hit_says_so(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        await visit.keys("zzz")
        await visit.until("No chart's name holds 'zzz'. Esc shows all.")
        await visit.keys("<up><enter>")
        await visit.until_screen("charts")
        await visit.keys("<escape>")
        await visit.until("Invented Mill One")


async def test_an_untouched_chart_is_saved_as_the_same_chart(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        shipped = next(
            c for c in (await visit.app.load_profiles()).charts if c.id == "mill-two-spindrift"
        )
        await visit.keys("spindrift<enter>")
        await visit.until_screen("chart_editor")
        await visit.keys("<f6>")
        await visit.until_screen("charts")
    copy = chart_of(data, "mill-two-spindrift-copy")
    assert copy.model_copy(update={"id": shipped.id}) == shipped


async def test_a_shipped_charts_name_cannot_be_taken(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        await visit.keys("haar<enter>")
        await visit.until_screen("chart_editor")
        await visit.keys("<f2>")
        await visit.until_screen("chart_head")
        await visit.keys("<down><down>mill-one-haar<enter><f6>")
        await visit.until_screen("chart_editor")
        await visit.keys("<f6>")
        await visit.until("A chart that comes with the program is called mill-one-haar.")
    assert not list((data / "charts").glob("*.toml"))


async def test_what_is_half_typed_is_there_again(data: Path) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys(f"{SMALL}23-")
        await visit.keys("<f10>")
    async with opened(data) as visit:
        await visit.until_screen("start")
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        await visit.until("! not finished: 2 sizes typed")
        await visit.keys("<enter>")
        await visit.until_screen("chart_editor")
        await visit.until("19-20.9", "33-39.9", "23-_")
        await visit.keys("24.9<enter>")
        await visit.until("23-24.9")
        charts = (await visit.app.load_profiles()).charts
    assert all(chart.id != "new-1" for chart in charts), "a draft is no chart"


async def test_a_draft_is_discarded_only_with_a_yes(data: Path) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys(f"{SMALL}<escape>")
        await visit.until_screen("charts")
        await visit.until("Kept as unfinished")
        await visit.keys("<f4><escape>")
        assert "not finished" in visit.text
        await visit.keys("<f4><enter>")
        await visit.until("Thrown away.")
        assert "not finished" not in visit.text


async def test_a_chart_that_cannot_be_used_is_opened_to_be_mended(data: Path) -> None:
    """As `chart import` leaves one: a cell that could not be read stands there as printed."""
    async with named(data) as visit:
        await save_small(visit)
    path = data / "charts" / "invented-mill-nine-neap.toml"
    path.write_text(path.read_text().replace("calf = [33, 39.9]", 'calf = "under 40"'))
    async with opened(data) as visit:
        await visit.until_screen("start")
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        await visit.until("! cannot be used: open to mend it")
        await visit.keys("<enter>")
        await visit.until_screen("chart_editor")
        await visit.until("'under 40' has one end only.", "!under 40")
        await visit.keys("<f9>33-39.9<enter><f6>")
        await visit.until_screen("confirm")
        await visit.keys("<enter>")
        await visit.until_screen("charts")
        await visit.until("own, invented")
    assert chart_of(data).sizes[1].ranges["calf"] == (330, 399)


async def test_a_chart_of_an_id_that_names_no_file_is_mended_where_it_lies(data: Path) -> None:
    async with named(data) as visit:
        await save_small(visit)
    path = data / "charts" / "invented-mill-nine-neap.toml"
    path.write_text(path.read_text().replace("invented-mill-nine-neap", "Mill One"))
    async with opened(data) as visit:
        await visit.until_screen("start")
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        await visit.until("! cannot be used: open to mend it")
        await visit.keys("<enter>")
        await visit.until_screen("chart_editor")
        await visit.keys("<f2>")
        await visit.until_screen("chart_head")
        await visit.keys("<down><down>neap-two<enter><f6>")
        await visit.until_screen("chart_editor")
        assert [draft.name for draft in (data / "charts" / ".drafts").iterdir()] == ["new-1.draft"]
        await visit.keys("<f6>")
        await visit.until_screen("confirm")
        await visit.keys("<enter>")
        await visit.until_screen("charts")
        await visit.until("own, invented")
    assert [file.name for file in (data / "charts").glob("*.toml")] == [path.name]
    assert not list((data / "charts" / ".drafts").iterdir())


async def test_a_full_disk_is_told_and_the_table_stays(
    data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys("1b<enter><enter>")

        def full(*_: object, **__: object) -> None:
            raise OSError(28, "No space left on device")

        with monkeypatch.context() as broken:
            broken.setattr("fitcore.disk.atomic._write_new", full)
            await visit.keys("S<enter>1920.9<enter>")
            await visit.until("NOT SAVED: No space left on device")
            await visit.until("19-20.9")
        await visit.keys("2122.9<enter><escape>")
        await visit.until_screen("charts")
        await visit.until("! not finished: 2 sizes typed")


async def test_a_favourite_stands_first_and_has_its_sign(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f8>")
        await visit.until_screen("charts")
        await visit.keys("squall<f9>")
        await visit.until("favourite")
        await visit.keys("<escape>")
        await visit.until("Type part of a name")
        rows = [row for row in visit.rows if "Invented Mill" in row]
        assert "* Invented Mill Two Squall" in rows[0]
        assert "favourite" in rows[0]


# --- hostile text --------------------------------------------------------------------------------

HOSTILE = (
    "[red]x[/]",
    "note [/] end",
    "\x1b]0;title\x07x",
    "abc\u202edcba",
    "宽字符宽字符",
    "{who}",
)


@pytest.mark.parametrize("text", HOSTILE, ids=ascii)
async def test_hostile_text_only_ever_stands_there(text: str, data: Path) -> None:
    def check(visit: Visit) -> None:
        assert visit.app.fault is None
        for row in visit.rows:
            assert [c for c in row if is_unsafe(c)] == [], ascii(row)
            assert cell_len(row) == visit.app.size.width, ascii(row)

    async with named(data) as visit:
        await to_editor(visit)
        await visit.keys("1")
        await paste(visit, text)
        check(visit)
        if text.isascii() and text.isprintable():
            assert f"{text}_" in visit.text
        await visit.keys("<enter>")
        check(visit)
        await paste(visit, f"Size\tAnkle\t{text}\nS {text}\t19-21\t{text}\n{text}\t{text}\t1")
        check(visit)
        await visit.keys("<escape><escape><f9><f9><f9><f3>")
        check(visit)
        await visit.keys("<escape><f2>")
        check(visit)
        await paste(visit, text)
        await visit.keys("<enter>")
        check(visit)
        await visit.keys("<escape><escape><escape><escape>")
        await until(visit.pilot, lambda: visit.screen in ("charts", "start"))
        check(visit)
