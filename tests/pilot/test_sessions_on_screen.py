"""Stopping and coming back: pause, finish, closing by any key, a crash, a second program."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from screens import (
    Clock,
    Visit,
    at_start,
    build_app,
    name_laptop,
    named,
    opened,
    saved_sessions,
    to_measure,
    to_setup,
    until,
)

import tui.running
from fitcore.record.ledger import read_laptop, read_ledger

if TYPE_CHECKING:
    from pathlib import Path

LEG = "22.4<enter>36.2<enter>40<enter>eu 39<enter>"


@pytest.mark.parametrize("leave", ["<escape>", "<f10>", "<ctrl+q>", "<ctrl+c>"])
@pytest.mark.parametrize("typed", ["38,", "", "15 1/8 i"])
async def test_half_typed_text_is_there_again_at_the_same_field(
    leave: str, typed: str, data: Path
) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys(f"22.4<enter>{typed}{leave}")
        if leave == "<escape>":
            await at_start(visit)
        else:
            await until(None, lambda: visit.app._exit)
    async with opened(data) as visit:
        await visit.until("1204-k", "PAUSED: go on")
        await visit.keys("<enter>")
        await visit.until_screen("measure")
        await visit.until("LEFT: round the calf (C) 2 of 8", f"cm > {typed}".strip())
        assert visit.saved.all_typed() == ["22.4"]
        await visit.keys("<end>" + "<backspace>" * len(typed) + "38,5<enter>")
        await visit.until("3 of 8")
        assert visit.saved.values() == {"left B girth": "224", "left C girth": "385"}


async def test_questions_are_looked_at_while_measuring_and_left_with_one_key(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys("22.4<enter><f7>")
        await visit.until_screen("setup")
        await visit.keys("2<f8>")
        await visit.until("LEFT: round the calf (C) 2 of 8")
        assert visit.saved.answer("purpose") == "standing"
        await visit.keys("<f7>")
        await visit.until_screen("setup")
        await visit.keys("<down><down><down><down>25<f8>")
        await visit.until("! '25' is not a time of day.")
        assert visit.screen == "setup"


async def test_lines_nobody_has_answered_are_not_passed_over_at_once(data: Path) -> None:
    async with named(data) as visit:
        await to_setup(visit, "1204-k")
        await visit.keys("<f8>")
        await visit.until("F8 is for once measuring has begun")
        assert visit.screen == "setup"


async def test_a_field_passed_over_is_the_one_come_back_to(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys("<down><down>40<up>")
        await visit.until("2 of 8", "cm > usually")
        await visit.keys("<down>")
        await visit.until("3 of 8", "cm > 40", "You had typed this and not accepted it.")
        await visit.keys("<backspace>1<escape>")
        await at_start(visit)
        await visit.keys("<enter>")
        await visit.until_screen("measure")
        await visit.until("LEFT: floor to below the knee (D) 3 of 8", "cm > 41")


async def test_closing_over_a_question_pauses_the_session_below(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys("22.4<enter>36<f2><ctrl+q>")
        await until(None, lambda: visit.app._exit)
        assert visit.saved.answer("paused") == ["left C girth 1", "36"]
    assert visit.app.return_value == 0


async def test_half_typed_text_survives_a_look_at_the_result(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys("22.4<enter>36.<f6>")
        await visit.until_screen("result")
        await visit.keys("<f2>")
        await visit.until_screen("measure")
        await visit.until("LEFT: round the calf (C) 2 of 8", "cm > 36.")


async def test_an_unfinished_result_is_paused_and_comes_back(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys(LEG + LEG)
        await visit.until_screen("result")
        await visit.keys("<escape>")
        await visit.until("1204-k", "PAUSED: go on")
        assert visit.saved.answer("finished") is None
        await visit.keys("<enter>")
        await visit.until_screen("result")
        await visit.keys("<enter>")
        await visit.until("finished today")
        assert visit.saved.answer("finished") is True


async def test_from_the_result_back_to_a_reading(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys(LEG + "22.4<enter>36.2<enter>40<enter>eu 49<enter>")
        await visit.until_screen("result")
        await visit.keys("<f2>")
        await visit.until_screen("measure")
        for _ in range(7):
            if "8 of 8" in visit.flow:
                break
            await visit.keys("<down>")
        await visit.keys("eu 39<enter>")
        await visit.until_screen("result")
        assert visit.saved.values()["right foot shoe"] == "eu 39.0"


async def test_a_result_with_gaps_says_what_was_not_measured(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys("22.4<enter>36.2<enter><f6>")
        await visit.until_screen("result")
        await visit.until("RIGHT calf not read, so the two cannot be compared", "not measured")


async def test_after_a_crash_the_session_is_listed_and_goes_on(data: Path) -> None:
    """The program ends without a word; what was accepted is there, and the next open field."""
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys("22.4<enter>36.2<enter>4")
    assert visit.saved.answer("paused") is None
    async with opened(data) as visit:
        await visit.until("1204-k", "PAUSED: go on")
        await visit.keys("<enter>")
        await visit.until_screen("measure")
        await visit.until("3 of 8")
        assert visit.saved.values() == {"left B girth": "224", "left C girth": "362"}


async def test_the_list_stays_in_order_over_several_sessions(data: Path) -> None:
    async with named(data) as visit:
        for code in ("c-3", "a-1", "b-2"):
            await to_setup(visit, code)
            await visit.keys("<enter><escape>")
            await at_start(visit)
        await visit.until("c-3", "a-1", "b-2")
        paused = [row.split()[0] for row in visit.rows if "PAUSED" in row and ">" not in row]
        assert visit.marked[0].split()[1] == "b-2"
        assert paused == ["a-1", "c-3"]


# --- two programs, one folder --------------------------------------------------------------------


async def test_a_second_program_is_refused_in_words(
    data: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        before = {path: path.read_bytes() for path in data.rglob("*") if path.is_file()}
        around = build_app(data).surroundings
        assert tui.running._run(data, around, demo=False) == 2
        told = capfd.readouterr().err
        assert "This folder is already open: anklefirst, process " in told
        assert "Use the program that is open, or close it first." in told
        assert {path: path.read_bytes() for path in data.rglob("*") if path.is_file()} == before
        await visit.keys("22.4<enter>")
        await visit.until("2 of 8")


async def test_two_first_runs_at_once_do_not_share_a_folder(data: Path) -> None:
    async with opened(data) as first:
        second = build_app(data, Clock())
        async with second.run_test(size=(80, 24)) as pilot:
            late = Visit(second, pilot)
            await late.until_screen("first_run")
            with first.app._context():
                await name_laptop(first)
            with second._context():
                await late.keys("dunlin<enter>N-22<enter>")
                await late.until("! This folder is already open")
                assert late.screen == "first_run"
        second.close_folder()
    assert read_laptop((data / "laptop.toml").read_bytes()).label == "tern"


async def test_numbers_are_used_up_without_gaps(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys("22.4<enter>36.2<enter>")
        await visit.until("3 of 8")
    async with opened(data) as visit:
        await at_start(visit)
    laptop = read_laptop((data / "laptop.toml").read_bytes())
    used = {entry.by.number for session in saved_sessions(data) for entry in session.entries}
    ledgers = [read_ledger(path.read_bytes())[0] for path in data.glob("ledger/*.toml")]
    used |= {entry.by.number for ledger in ledgers if ledger for entry in ledger.entries}
    assert used == set(range(1, laptop.next))
