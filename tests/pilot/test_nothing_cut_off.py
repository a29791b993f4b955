"""Nothing that matters is cut off at 80x24: a code, a size, a hint or a note cut short misleads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from screens import named, to_measure, to_setup

if TYPE_CHECKING:
    from pathlib import Path

    from screens import Visit

LEG = "22.4<enter>36.2<enter>40<enter>eu 39<enter>"
SOCK = "<enter><enter><enter>2<enter>7<enter>"
THIGH = "<enter>42<enter><enter><enter>7<enter>"
SIZES = ((80, 24), (120, 36), (100, 30), (200, 60))


@pytest.mark.parametrize("size", SIZES)
async def test_the_field_to_type_in_is_there_in_every_size(
    size: tuple[int, int], data: Path
) -> None:
    """Where the tape goes, the field, the leg and the list, for the longest protocol too."""
    async with named(data, size=size) as visit:
        await to_setup(visit)
        await visit.keys(THIGH)
        await visit.until_screen("measure")
        for number in range(1, 18):
            await visit.until(f"{number} of 68", "cm >")
            assert len(present_fields(visit)) == 1
            assert any(c in visit.text for c in "█▒░")
            await visit.keys("<down>")


async def test_hints_beside_the_field_are_not_cut_off(data: Path) -> None:
    """At the foot a shoe size will do: whoever is not told types 39 and is doubted."""
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("<down><down><down>")
        await visit.until("4 of 8")
        await visit.until("usually 22.6 to 29.3 cm", "EU 39")


async def test_no_size_is_cut_off_in_the_result(data: Path) -> None:
    """A size cut short can be another size."""
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("21.2<enter>39.5<enter>40<enter>eu 39<enter>" * 2)
        await visit.keys("<f8><down><enter>")  # a calf near an edge is asked again
        await visit.until_screen("result")
        assert max(row.count("M wide (or S wide/M)") for row in visit.rows) == 2


async def test_a_note_that_finds_no_room_is_announced(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, up="0500")
        await visit.keys(LEG + LEG)
        await visit.until_screen("result")
        await visit.until("Late in the day")
        assert "RIGHT: 3.8 h after rising" in visit.words or "more: F3" in visit.words


@pytest.mark.parametrize("setup", [SOCK, THIGH, "<enter><enter><enter><enter>7<enter>"])
async def test_who_measures_whom_is_whole_in_the_top_line(setup: str, data: Path) -> None:
    """N-17 cut to N-1 is somebody else."""
    async with named(data) as visit:
        await to_setup(visit)
        await visit.keys(setup)
        await visit.until_screen("measure")
        await visit.until("1 of ")
        assert "tern-001-9" in visit.rows[0]
        assert "by N-17" in visit.rows[0]


async def test_the_shoe_hint_is_whole(data: Path) -> None:
    async with named(data) as visit:
        await to_setup(visit)
        await visit.keys(SOCK)
        await visit.until_screen("measure")
        await visit.until("such as 39, UK 6, US W 8")


async def test_the_present_field_stays_in_sight_beside_long_reasons(data: Path) -> None:
    """Reasons take a second row each; the field to fill must not be pushed off the list."""
    async with named(data) as visit:
        await to_setup(visit)
        await visit.keys(THIGH)
        await visit.until_screen("measure")
        for number in range(2, 18):
            await visit.keys("<f2><down><enter>")
            await visit.until(f" {number} of ")
            assert len(present_fields(visit)) == 1, visit.text


def present_fields(visit: Visit) -> list[str]:
    """Return the rows of the list of fields that carry the mark."""
    return [row for row in visit.rows[14:] if row[31:].lstrip().startswith(">")]
