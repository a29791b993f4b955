"""The ordinary client costs few keys: counted from the start screen to the finished result."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from screens import (
    MORNING,
    Clock,
    Saved,
    at_start,
    named,
    opened,
    past_screening,
    saved_sessions,
    to_measure,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

MOST_OTHER_KEYS = 40

LEG = "22.4<enter>36.2<enter>40<enter>eu 39<enter>"
OTHER_LEG = "22,6<enter>36,4<enter>40.2<enter>24.6<enter>"
THIN_BEFORE = (
    "18.1<enter>32.5<enter>40<enter>eu 39<enter>18.1<enter>32.4<enter>40<enter>24.6<enter>"
)
THIN_LEGS = (
    "17.9<enter><enter>32.4<enter>40<enter>eu 39<enter>"
    "18.2<enter>32.6<enter>40.2<enter>24.6<enter>"
    "18.0<enter>"
)
"""One ankle is outside what legs usually read: asked about once, and repeated at the end."""


CLIENT = "1204-k"


@pytest.mark.parametrize(
    ("name", "code", "visits"),
    [
        ("whole code", "1204-k", (LEG + LEG, LEG + OTHER_LEG)),
        ("part of the code, one doubt", "204<down>", (THIN_BEFORE, THIN_LEGS)),
        ("marked in the list, one doubt", "", (THIN_BEFORE, THIN_LEGS)),
    ],
)
async def test_an_existing_client_costs_at_most_forty_keys(
    name: str, code: str, visits: tuple[str, str], data: Path, tell: Callable[[str], None]
) -> None:
    before, legs = visits
    async with named(data) as visit:
        await to_measure(visit, CLIENT)
        await visit.keys(before)
        await visit.until_screen("result")
        await visit.keys("<enter>")
        await at_start(visit)

    next_day = Clock(MORNING + timedelta(days=1))
    async with opened(data, clock=next_day) as visit:
        await at_start(visit)
        await visit.keys(f"{code}<enter>")
        await past_screening(visit)
        await visit.keys("<enter><enter><enter><enter><enter>0630<enter>")
        await visit.until_screen("measure")
        await visit.keys(legs)
        await visit.until_screen("result")
        await visit.until("saved")
        await visit.keys("<enter>")
        await at_start(visit)
        keys = visit.count
        assert "finished today" in visit.text

    earlier, now = (Saved(session) for session in saved_sessions(data))
    assert earlier.answer("client") == now.answer("client") == CLIENT
    assert now.answer("finished") is True
    assert len(now.readings.places()) == 8
    tell(
        f"existing client, {name}: {keys.others} keys beside {keys.characters} characters of "
        f"values and codes (at most {MOST_OTHER_KEYS})"
    )
    assert keys.others <= MOST_OTHER_KEYS
