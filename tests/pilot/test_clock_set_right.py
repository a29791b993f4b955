"""A time a clock note sets right is shown right at the start and in the result, and marked so."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from screens import MORNING, at_start, build_app, named, opened, saved_sessions, to_measure

from fitcore.disk.data_folder import DataFolder
from fitcore.merge.clock_notes import draft_clock_note

if TYPE_CHECKING:
    from pathlib import Path

LEG = "22.4<enter>36.2<enter>40<enter>eu 39<enter>"
LONG_CODE = "harbour-street-1204-k"


async def finish_one(data: Path) -> None:
    """Measure both legs of a client with a long code, and finish."""
    async with named(data) as visit:
        await to_measure(visit, LONG_CODE)
        await visit.keys(LEG + LEG)
        await visit.until_screen("result")
        await visit.keys("<enter>")
        await at_start(visit)


def note(data: Path, *days: int) -> None:
    """Say by how many days the laptop's clock was wrong."""
    (session,) = saved_sessions(data)
    laptop = next(iter(session.entries)).by.laptop
    around = build_app(data).surroundings
    with DataFolder(data, around) as folder:
        folder.append_to_ledger(
            [
                draft_clock_note(
                    laptop, (1, 999), by * 86_400, who="C-02", why="rang N-17", at=around.now()
                )
                for by in days
            ]
        )


def shown(data: Path, days: int) -> str:
    (session,) = saved_sessions(data)
    assert session.measured_at is not None
    return f"{session.measured_at + timedelta(days=days):%Y-%m-%d %H:%M}"


async def test_the_right_time_stands_at_the_start_and_in_the_result(data: Path) -> None:
    await finish_one(data)
    note(data, -2)
    right, recorded = shown(data, -2), shown(data, 0)
    async with opened(data) as visit:
        await visit.until("* clock set right by note", f"{right}*")
        assert recorded not in visit.text
        assert "finished today" not in visit.text, "it was two days before"
    async with opened(data) as visit:
        await at_start(visit)
        app = visit.app
        (name,) = app.book.glances
        desk = await app.open_desk(name)
        assert desk is not None
        await app.show_result(desk)
        await visit.until_screen("result")
        row = " ".join(visit.rows[0].split())
        assert row == f"anklefirst Result {LONG_CODE} {right}* by N-17 saved"
        await visit.keys("<f3>")
        await visit.until(f"- {right}*: clock set right by note; the laptop had {recorded}.")


async def test_where_notes_differ_the_recorded_time_stands_marked(data: Path) -> None:
    await finish_one(data)
    note(data, -2, -3)
    recorded = shown(data, 0)
    async with opened(data) as visit:
        await visit.until("? clock notes differ", f"{recorded}?", "finished today: see the result")
        await visit.keys("<down><enter>" if not visit.marked else "<enter>")
        await visit.until_screen("result")
        assert f"{recorded}?" in visit.rows[0]
        await visit.until(f"! {recorded}? by the laptop: clock notes differ.")


async def test_without_a_note_nothing_is_added(data: Path) -> None:
    await finish_one(data)
    async with opened(data) as visit:
        await visit.until(f"{shown(data, 0)} ", "finished today: see the result")
        assert "clock" not in visit.text
        assert MORNING.date().isoformat() in visit.text
