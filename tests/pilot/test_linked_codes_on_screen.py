"""A client with two codes, or of two laptops: what stops in one session stops in the other."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from linked_visits import HOLD, STOP, file_visit, link_codes
from screens import MORNING, Clock, Visit, at_start, build_app, opened

from fitcore.disk.data_folder import DataFolder

if TYPE_CHECKING:
    from pathlib import Path

HERE, THERE = "KES-17", "dunlin-3"
LEGS = "22.4<enter>36.2<enter>40<enter>eu 39<enter>22,6<enter>36,4<enter>40.2<enter>24.6<enter>"


def day_before(data: Path, *links: str, **answers: str) -> None:
    """Write a visit of the other code two days ago, and link codes."""
    before = MORNING - timedelta(days=2)
    around = build_app(data, Clock(before)).surroundings
    with DataFolder(data, around, label="tern", measurer="N-17") as folder:
        file_visit(folder, THERE, before, **answers)
        if links:
            link_codes(folder, *links, at=before)


async def screened_clean(visit: Visit) -> None:
    """Begin with the other code and answer the first page: every line asked, none."""
    await at_start(visit)
    await visit.keys(f"{HERE}<enter>")
    await visit.until("A new client with the code")
    await visit.keys("<enter>")
    await visit.until_screen("first_page")
    await visit.choose("N")
    await visit.keys("<enter>")


async def to_result(visit: Visit) -> None:
    await visit.until_screen("setup")
    if "Date and time" in visit.text:
        await visit.keys("<enter>")
    await visit.keys("<enter><enter><enter><enter><enter>0630<enter>")
    await visit.until_screen("measure")
    await visit.keys(LEGS)
    await visit.until_screen("result")


async def test_a_stop_under_a_linked_code_shows_on_the_desk_and_no_size_is_offered(
    data: Path,
) -> None:
    day_before(data, HERE, THERE, arterial_disease="yes")
    async with opened(data) as visit:
        await screened_clean(visit)
        await visit.until_screen("clearance")
        await visit.until("LEFT stop: do not fit, a specialist decides")
        await visit.until(f"Under the linked code {THERE}, session of 3 March 2026:")
        await visit.keys("<f8>")
        await to_result(visit)
        await visit.until("Size for information. Not cleared to fit.")
        assert "May be offered." not in visit.text
        await visit.keys("<f4>")
        await visit.until_screen("clearance")
        await visit.keys("<f3>")
        await visit.until(f"Under the linked code {THERE}")


async def test_without_the_link_the_same_client_is_fitted(data: Path) -> None:
    day_before(data, **STOP)
    async with opened(data) as visit:
        await screened_clean(visit)
        await to_result(visit)
        await visit.until("May be offered.")


async def test_a_hold_there_is_assessed_anew_there_and_the_screen_says_so(data: Path) -> None:
    day_before(data, HERE, THERE, **HOLD)
    async with opened(data) as visit:
        await screened_clean(visit)
        await visit.until_screen("clearance")
        await visit.until("No decision lifts this; its new assessment is recorded in that session.")
        await visit.keys("<f4>")
        await visit.until("Found in another session: it is assessed anew in that session.")
        await visit.keys("<escape>")
        await at_start(visit)
        await visit.until("PAUSED: go on (STOP)")


async def test_last_years_stop_ends_on_the_screen_with_this_years_clean_page(data: Path) -> None:
    before = MORNING - timedelta(days=364)
    around = build_app(data, Clock(before)).surroundings
    with DataFolder(data, around, label="tern", measurer="N-17") as folder:
        file_visit(folder, HERE, before, arterial_disease="yes")
    async with opened(data) as visit:
        await at_start(visit)
        await visit.keys(f"{HERE}<enter>")
        await visit.until_screen("first_page")
        await visit.choose("N")
        await visit.keys("<enter>")
        await to_result(visit)
        await visit.until("May be offered.")


def minutes_ago_elsewhere(data: Path, code: str, **answers: str) -> str:
    """Write a visit of another laptop, carried into this folder; return its session's id."""
    before = MORNING - timedelta(minutes=4)
    away = data.parent / "away"
    with DataFolder(away, build_app(away, Clock(before)).surroundings, label="dunlin") as folder:
        session = file_visit(folder, code, before, **answers)
    (written,) = away.glob(f"sessions/*/{session}.toml")
    filed = data / written.relative_to(away)
    filed.parent.mkdir(parents=True)
    filed.write_bytes(written.read_bytes())
    return session


async def test_a_hold_of_another_laptop_minutes_ago_is_told_and_no_size_is_offered(
    data: Path,
) -> None:
    DataFolder(data, build_app(data).surroundings, label="tern", measurer="N-17").close()
    minutes_ago_elsewhere(data, HERE, **HOLD)
    async with opened(data) as visit:
        await at_start(visit)
        await visit.keys(f"{HERE}<enter>")
        await visit.until_screen("first_page")
        await visit.choose("N")
        await visit.keys("<enter>")
        await visit.until_screen("clearance")
        await visit.until("LEFT stop: do not fit, no decision lifts this")
        await visit.until("In another session of this client, 5 March 2026, laptop dunlin-")
        await visit.until("No decision lifts this; its new assessment is recorded in that session.")
        await visit.keys("<f4>")
        await visit.until("Found in another session: it is assessed anew in that session.")
        await visit.keys("<f8>")
        await to_result(visit)
        await visit.until("Size for information. Not cleared to fit.")
        assert "May be offered." not in visit.text
        assert "no stop found" not in visit.text


async def test_a_clean_visit_of_another_laptop_minutes_ago_keeps_nothing_back(data: Path) -> None:
    DataFolder(data, build_app(data).surroundings, label="tern", measurer="N-17").close()
    minutes_ago_elsewhere(data, HERE)
    async with opened(data) as visit:
        await at_start(visit)
        await visit.keys(f"{HERE}<enter>")
        await visit.until_screen("first_page")
        await visit.choose("N")
        await visit.keys("<enter>")
        await to_result(visit)
        await visit.until("May be offered.")
