"""Starting: the first run's two questions, whom to measure, and the questions before measuring."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

import pytest
from screens import (
    at_start,
    named,
    opened,
    past_pages,
    past_screening,
    saved_sessions,
    to_measure,
    to_setup,
)

from tui.screens.first_run import DEMO_WANTED

if TYPE_CHECKING:
    from pathlib import Path

    from screens import Visit

READINGS = "22.4<enter>36.2<enter>40<enter>eu 39<enter>" * 2


async def finish_a_session(visit: Visit, code: str) -> None:
    """Measure somebody to the end."""
    await to_measure(visit, code)
    await visit.keys(READINGS)
    await visit.until_screen("result")
    await visit.keys("<enter>")
    await at_start(visit)


# --- the first run -------------------------------------------------------------------------------


@pytest.mark.parametrize("label", ["tern", "Tern", "bag2"])
async def test_the_first_run_names_laptop_and_measurer(label: str, data: Path) -> None:
    async with opened(data) as visit:
        await visit.keys(f"{label}<enter>N-17<enter>")
        await at_start(visit)
        laptop = tomllib.loads((data / "laptop.toml").read_text(encoding="utf-8"))
        assert laptop["id"].startswith(f"{label.casefold()}-")
        assert laptop["measurer"] == "N-17"
        assert f"laptop {laptop['id']}" in visit.text
        assert "by N-17" in visit.text
    async with opened(data) as visit:
        await at_start(visit)  # asked once
        assert f"laptop {laptop['id']}" in visit.text


@pytest.mark.parametrize("label", ["2bag", "bag-2", "the bag", "bäg", ""])
async def test_a_label_that_cannot_be_used_is_asked_again(label: str, data: Path) -> None:
    async with opened(data) as visit:
        await visit.keys(f"{label}<enter>")
        await visit.until("! Use up to 12 letters or digits, a letter first: tern, bag2.")
        assert not (data / "laptop.toml").exists()
        await visit.keys("<backspace>" * len(label) + "tern<enter>N-17<enter>")
        await at_start(visit)


async def test_the_first_run_does_not_go_on_without_a_measurer(data: Path) -> None:
    async with opened(data) as visit:
        await visit.keys("tern<enter><enter><enter>")
        assert visit.screen == "first_run"
        assert not (data / "laptop.toml").exists()
        await visit.keys("N-17<enter>")
        await at_start(visit)


async def test_the_demo_writes_nothing_into_the_folder(data: Path) -> None:
    async with opened(data) as visit:
        await visit.keys("<f2>")
    assert visit.app.return_value == DEMO_WANTED
    assert not data.exists()


# --- whom to measure -----------------------------------------------------------------------------


async def test_this_laptop_numbers_its_own_new_clients(data: Path) -> None:
    async with named(data) as visit:
        for code in ("tern-001-9", "tern-002-7"):
            await to_setup(visit)
            await visit.until(code)
            await visit.keys("<enter><escape>")
            await at_start(visit)
    assert [s.text("client") for s in saved_sessions(data)] == ["tern-001-9", "tern-002-7"]


async def test_a_code_of_the_services_list_is_looked_at_once_more(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("1204-k<enter>")
        await visit.until("A new client with the code 1204-k?", "never a name")
        await visit.keys("<escape>")
        await visit.until_screen("start")
        assert saved_sessions(data) == []
        await visit.keys("<enter><enter>")
        await past_screening(visit)
        await visit.until("1204-k")


async def test_an_own_code_with_a_slip_is_refused(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("tern-001-8<enter>")
        await visit.until("tern-001-8: the last character does not fit the others.")
        assert visit.screen == "start"
        await visit.keys("<backspace>9<enter>")
        await past_screening(visit)


@pytest.mark.parametrize(
    ("known", "typed"),
    [
        (["1204-k"], "1204"),
        (["1204", "1204-k"], "1204"),
        (["al-1204"], "1204"),
    ],
)
async def test_a_whole_code_and_enter_never_open_another_client(
    known: list[str], typed: str, data: Path
) -> None:
    """A code that is part of a longer one is still a code: the wrong client's file is harm."""
    async with named(data) as visit:
        for code in known:
            await to_setup(visit, code)
            await visit.keys("<enter><escape>")
            await at_start(visit)
        await visit.keys(f"{typed}<enter>")
        await visit.rest()
        if visit.screen == "confirm":
            await visit.keys("<enter>")
            await visit.rest()
        if visit.screen == "first_page":  # nobody was screened under this code yet
            await past_screening(visit)
        await visit.until_screen("setup")
        assert f"Before measuring {typed} " in visit.words


async def test_paused_and_finished_are_told_apart(data: Path) -> None:
    async with named(data) as visit:
        await finish_a_session(visit, "1204-k")
        await to_measure(visit, "1305-m")
        await visit.keys("22.4<enter><escape>")
        await at_start(visit)
        rows = {tuple(row.split()[:2]): row for row in visit.rows if "-k" in row or "-m" in row}
        paused = [row for row in visit.rows if "1305-m" in row and "PAUSED: go on" in row]
        finished = [row for row in visit.rows if "1204-k" in row and "finished today" in row]
        assert len(paused) == len(finished) == 1, rows
        assert not [row for row in visit.rows if "1204-k" in row and "PAUSED" in row]
        # the paused one stands first and is marked: Enter goes on with it
        await visit.keys("<enter>")
        await visit.until_screen("measure")
        await visit.until("1305-m", "round the calf (C) 2 of 8")


async def test_a_finished_result_can_be_looked_at_and_stays_as_it_is(data: Path) -> None:
    async with named(data) as visit:
        await finish_a_session(visit, "1204-k")
        (path,) = (data / "sessions").rglob("*.toml")
        before = path.read_bytes()
        for enter, leave in (("<down><enter>", "<escape>"), ("<enter>", "<enter>")):
            await visit.until("finished today: see the result")
            await visit.keys(enter)
            await visit.until_screen("result")
            await visit.until("1204-k", "Invented Mill Four Low Tide")
            await visit.keys(leave)
            await at_start(visit)
        assert path.read_bytes() == before
        assert "PAUSED" not in visit.text


@pytest.mark.parametrize("key", ["<down><f3>", "<down><down><enter>"])
async def test_a_new_session_with_a_client_measured_today(key: str, data: Path) -> None:
    async with named(data) as visit:
        await finish_a_session(visit, "1204-k")
        await visit.keys(key)
        await past_screening(visit)
        await visit.keys("<enter><enter><enter><enter>7<enter>")
        await visit.until_screen("measure")
    first, second = saved_sessions(data)
    assert first.text("client") == second.text("client") == "1204-k"
    assert first.value("finished") is True
    assert second.value("finished") is None


async def test_who_holds_the_tape_can_change(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f4>N-22<enter>")
        await visit.until("by N-22")
        await to_measure(visit, "1204-k")
        await visit.until("by N-22")
        assert visit.saved.answer("measurer") == "N-22"
    async with opened(data) as visit:
        await visit.until("by N-22")


# --- the questions before measuring --------------------------------------------------------------


async def test_defaults_accepted_are_saved_as_answers(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        saved = visit.saved
    fields = saved.session.heads.fields
    screened = {what: saved.answer(what) for what in fields if what.startswith("screen.")}
    assert len(screened) == 14
    assert set(screened.values()) == {"no"}
    told = {what: saved.answer(what) for what in fields if what not in screened}
    assert told.pop("screening_rules").startswith("strictest 1 strictest.toml blake2b:")
    assert told.pop("rising_at").isoformat() == "2026-03-05T06:30:00+00:00"
    assert told == {
        "client": "1204-k",
        "measurer": "N-17",
        "zone": "UTC",
        "purpose": "work",
        "forms": ["below_knee", "mid_calf"],
        "sides": ["left", "right"],
        "protocol": "below-knee-short",
        "posture": "standing",
        "bare_skin": "yes",
        "compression": "none",
        "tape": "cm",
        "clock": "correct",
        "dent": "not_tried",
        "swollen": "none",
        "swelling_known": "none",
        "long_ride": "none",
        "lately": ["nothing"],
        "repeats": "where_doubtful",
    }


@pytest.mark.parametrize(
    ("keys", "what", "said"),
    [
        ("<right><enter><enter><enter><enter>7<enter>", "purpose", "standing"),
        ("<left><enter><enter><enter><enter>7<enter>", "purpose", "other"),
        ("5<enter><enter><enter><enter>7<enter>", "purpose", "prescribed"),
        ("<enter>42<enter><enter><enter>7<enter>", "forms", ["below_knee", "thigh"]),
        ("<enter>42<enter><enter><enter>7<enter>", "protocol", "thigh-full"),
        ("<enter><enter>2<enter><enter>7<enter>", "sides", ["left"]),
        ("<enter><enter>3<enter><enter>7<enter>", "sides", ["right"]),
        ("<enter><enter><enter>2<enter>7<enter>", "protocol", "below-knee-sock"),
        ("<enter><enter><enter><enter>?<enter>", "rising_at", "unknown"),
        ("<enter><enter><enter><enter>7<down>2<enter>", "posture", "sitting"),
        ("<enter><enter><enter><enter>7<down><down>2<enter>", "bare_skin", "no"),
        ("<enter><enter><enter><enter>7<down><down><down>3<enter>", "compression", "on"),
        ("<enter><enter><enter><enter>7<down><down><down><down>2<enter>", "tape", "in"),
        ("<right><up><down><up><enter><enter><enter><enter><enter>7<enter>", "purpose", "standing"),
    ],
)
async def test_an_answer_changed_is_the_answer_saved(
    keys: str, what: str, said: object, data: Path
) -> None:
    async with named(data) as visit:
        await to_setup(visit, "1204-k")
        await visit.keys(keys)
        await past_pages(visit)
        assert visit.saved.answer(what) == said


@pytest.mark.parametrize("typed", ["25", "7:61", "7:6", "::", ""])
async def test_a_time_nobody_can_read_is_asked_again(typed: str, data: Path) -> None:
    async with named(data) as visit:
        await to_setup(visit, "1204-k")
        await visit.keys(f"<enter><enter><enter><enter>{typed}<enter>")
        await visit.until("! ", "6:30")
        assert visit.screen == "setup"
        await visit.keys("<backspace>" * len(typed) + "6.30<enter>")
        await visit.until_screen("measure")
        assert f"{visit.saved.answer('rising_at'):%H:%M}" == "06:30"


async def test_the_time_of_rising_cannot_be_passed_over(data: Path) -> None:
    """Every late flag hangs on it; nobody knows is an answer, silence is not."""
    async with named(data) as visit:
        await to_setup(visit, "1204-k")
        await visit.keys("<enter><enter><enter><enter><down><enter>")
        assert visit.screen == "setup"
        assert "> Up since" in visit.text


async def test_leaving_the_questions_keeps_the_accepted_ones(data: Path) -> None:
    async with named(data) as visit:
        await to_setup(visit, "1204-k")
        await visit.keys("5<enter>42<enter><escape>")
        await at_start(visit)
        saved = visit.saved
        assert saved.answer("purpose") == "prescribed"
        assert saved.answer("forms") == ["below_knee", "thigh"]
        assert saved.answer("sides") is None
    async with opened(data) as visit:
        await visit.until("PAUSED: go on")
        await visit.keys("<enter>")
        await visit.until_screen("setup")
        await visit.until("prescribed", "below knee, thigh", "Thigh, full set")
        await visit.keys("<enter><enter><enter><enter>0630<enter>")
        await past_pages(visit)
        assert visit.saved.answer("purpose") == "prescribed"
