"""A session whose file goes between the list and Enter: that is said, and the list stays."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from screens import at_start, named, opened, saved_sessions, to_measure, until

from fitcore.disk.session_files import session_path

if TYPE_CHECKING:
    from pathlib import Path

LEG = "22.4<enter>36.2<enter>40<enter>eu 39<enter>"
TOLD = "! This session is not in its file any more: run anklefirst check."


@pytest.mark.parametrize("raw", [None, b"", b"no session\n"], ids=["deleted", "empty", "spoilt"])
@pytest.mark.parametrize("is_finished", [False, True])
async def test_a_session_that_is_not_there_any_more_is_said_and_nothing_else_is_opened(
    raw: bytes | None, data: Path, *, is_finished: bool
) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        if is_finished:
            await visit.keys(LEG + LEG)
            await visit.until_screen("result")
            await visit.keys("<enter>")
        else:
            await visit.keys("22.4<enter><escape>")
        await at_start(visit)
    shown = "finished today: see the result" if is_finished else "PAUSED: go on"
    async with opened(data) as visit:
        await at_start(visit)  # and the folder has been looked through
        await visit.until("1204-k", shown)
        (session,) = saved_sessions(data)
        path = session_path(data, session.id)
        path.unlink()
        if raw is not None:
            path.write_bytes(raw)
        await visit.keys("<enter>")
        await visit.until(TOLD)
        assert visit.screen == "start"
        assert [shown in row for row in visit.marked] == [True]
        assert (path.read_bytes() if path.exists() else None) == raw, "nothing is written for it"

        # Whoever is there can go on with somebody else, and what is left is looked at anew.
        await visit.keys("<f2>")
        await visit.until_screen("first_page")
        await visit.keys("<escape>")
        await at_start(visit)
        await until(visit.pilot, lambda: "1204-k" not in visit.text, lambda: visit.text)
        if raw is not None:
            await visit.until("! 1 files could not be read: run anklefirst check.")
        assert visit.app.fault is None
