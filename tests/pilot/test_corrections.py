"""Nothing is rubbed out: corrections, strikes, not taken, the other leg, remarks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from screens import at_start, named, opened, to_measure, to_setup

if TYPE_CHECKING:
    from pathlib import Path

    from screens import Saved

REASONS = (
    "wound or dressing",
    "pain",
    "amputation",
    "cannot stand",
    "client refuses",
    "not needed",
)


def withdrawals(saved: Saved) -> list[str]:
    """Return the reasons of everything struck out."""
    return [e.text("why") for e in saved.session.entries if e.array == "withdrawn"]


# --- back and correct ----------------------------------------------------------------------------


async def test_going_back_and_typing_again_replaces_and_keeps_the_old(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter>36.2<enter><up>")
        await visit.until("2 of 8", "recorded: 36.2 cm", "Type a new value to correct it")
        await visit.keys("36.4<enter>")
        await visit.until("Corrected: LEFT round the calf (C) 36.4 cm.", "3 of 8")
        saved = visit.saved
    assert saved.values() == {"left B girth": "224", "left C girth": "364"}
    assert saved.all_typed() == ["22.4", "36.2", "36.4"]
    (old,) = [e for e in saved.session.entries if e.text("typed") == "36.2"]
    assert saved.current()["left C girth"].instead_of == (str(old.by),)


async def test_enter_on_a_recorded_field_only_goes_on(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter>36.2<enter><up><up><enter><enter>")
        await visit.until("3 of 8")
        assert visit.saved.all_typed() == ["22.4", "36.2"]


async def test_a_correction_twice_over_keeps_all_three(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter><up>22.6<enter><up>22.5<enter>")
        await visit.until("2 of 8")
        saved = visit.saved
    assert saved.values() == {"left B girth": "225"}
    assert saved.all_typed() == ["22.4", "22.6", "22.5"]


async def test_an_earlier_field_left_open_still_leads_to_the_result(data: Path) -> None:
    """Whichever field is filled last, the next Enter must not lead nowhere."""
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter><down>40<enter>eu 39<enter>")
        await visit.keys("22.4<enter>36.2<enter>40<enter>eu 39<enter>")
        await visit.until("LEFT: round the calf (C) 2 of 8")
        await visit.keys("36.2<enter>")
        assert len(visit.saved.current()) == 8
        if visit.screen == "measure":
            await visit.keys("<enter>")
        await visit.until_screen("result")


# --- struck out ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        ("<down><enter>", "tape had slipped"),
        ("<down><down><down><enter>", "misread"),
        ("read the wrong side of the tape<enter>", "read the wrong side of the tape"),
    ],
)
async def test_a_reading_struck_out_is_kept_with_its_reason(
    keys: str, why: str, data: Path
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter><up><f3>")
        await visit.until("Strike out 22.4 cm. Why?")
        await visit.keys(keys)
        await visit.until("Struck out and kept: LEFT round the ankle (B) 22.4 cm.", "1 of 8")
        saved = visit.saved
        assert saved.values() == {}
        assert saved.all_typed() == ["22.4"]
        assert withdrawals(saved) == [why]
        await visit.keys("22.6<enter>")
        await visit.until("2 of 8")
        assert visit.saved.values() == {"left B girth": "226"}


async def test_a_corrected_reading_struck_out_does_not_bring_the_old_one_back(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter><up>22.6<enter><up><f3><down><enter>")
        await visit.until("Struck out and kept", "1 of 8")
        assert visit.saved.values() == {}
        assert visit.saved.all_typed() == ["22.4", "22.6"]


async def test_nothing_is_there_to_strike_out(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("<f3>")
        await visit.until("! Nothing is recorded here yet.")
        assert visit.screen == "measure"


# --- not taken -----------------------------------------------------------------------------------


@pytest.mark.parametrize("place", range(len(REASONS)), ids=REASONS)
async def test_not_taken_with_a_listed_reason(place: int, data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("<f2>")
        await visit.until("Not taken: round the ankle (B). Why?", *REASONS)
        assert visit.marked == []
        await visit.keys("<down>" * (place + 1))
        assert visit.marked == [f"> {REASONS[place]}"]
        await visit.keys("<enter>")
        await visit.until("2 of 8")
        assert visit.saved.values() == {"left B girth": f"not taken: {REASONS[place]}"}


async def test_not_taken_with_a_typed_reason_and_taken_after_all(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("<f2><down>dressing until Friday<enter>")
        await visit.until("2 of 8")
        assert visit.saved.values() == {"left B girth": "not taken: dressing until Friday"}
        await visit.keys("<up>22.4<enter>")
        await visit.until("2 of 8")
        assert visit.saved.values() == {"left B girth": "224"}


async def test_leaving_the_question_records_nothing_and_keeps_the_typed_text(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.<f2><down><escape>")
        await visit.until_screen("measure")
        await visit.until("cm > 22.", "1 of 8")
        assert visit.saved.values() == {}
        await visit.keys("4<enter>")
        await visit.until("2 of 8")
        assert visit.saved.all_typed() == ["22.4"]


# --- the other leg -------------------------------------------------------------------------------


async def test_readings_of_one_leg_move_to_the_other_as_corrections(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter>36.2<enter><f2><down><down><enter><f4>")
        await visit.until(
            "These readings change sides, as corrections",
            "LEFT round the ankle (B) 22.4 cm -> RIGHT",
            "LEFT round the calf (C) 36.2 cm -> RIGHT",
        )
        await visit.keys("<enter>")
        await visit.until("3 readings moved to the other leg.", "LEFT: round the ankle (B) 1 of 8")
        saved = visit.saved
    assert saved.values() == {
        "right B girth": "224",
        "right C girth": "362",
        "right D length": "not taken: pain",
    }
    moved = saved.current()["right B girth"]
    assert (moved.typed, moved.why) == ("22.4", "taken on the other leg")
    assert len(moved.instead_of) == 1
    assert saved.all_typed() == ["22.4", "36.2", "", "22.4", "36.2", ""]


async def test_readings_of_both_legs_change_places(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter>36.2<enter>40<enter>eu 39<enter>23.1<enter><f4><enter>")
        await visit.until("5 readings moved to the other leg.")
        assert visit.saved.values() == {
            "left B girth": "231",
            "right B girth": "224",
            "right C girth": "362",
            "right D length": "400",
            "right foot shoe": "eu 39.0",
        }
        await visit.until("LEFT: round the calf (C) 2 of 8")
        await visit.keys("<f4><enter>")  # and back again
        await visit.until("5 readings moved")
        assert visit.saved.values() == {
            "left B girth": "224",
            "left C girth": "362",
            "left D length": "400",
            "left foot shoe": "eu 39.0",
            "right B girth": "231",
        }


async def test_no_leaves_the_readings_where_they_are(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter><f4><escape>")
        await visit.until_screen("measure")
        assert visit.saved.values() == {"left B girth": "224"}


async def test_all_readings_moved_are_shown_before_they_move(data: Path) -> None:
    """A full thigh set has 34 readings; whoever says yes has seen what moves."""
    async with named(data) as visit:
        await to_setup(visit)
        await visit.keys("<enter>42<enter><enter><enter>7<enter>")
        await visit.until_screen("measure")
        await visit.until("1 of 68")
        await visit.keys("<f2><down><enter>" * 25 + "<f4>")
        await visit.until_screen("confirm")
        rows = [row for row in visit.rows if "not taken (wound or dressing)" in row]
        assert len(rows) == 25 or "more" in visit.text


# --- remarks -------------------------------------------------------------------------------------


async def test_a_remark_is_kept_and_the_field_stays(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.<f5>stands badly on the left<enter>")
        await visit.until("Remark saved.", "cm > 22.")
        await visit.keys("4<enter>")
        await visit.until("2 of 8")
        entries = visit.saved.session.entries
        assert [e.text("text") for e in entries if e.array == "remarks"] == [
            "stands badly on the left"
        ]
    async with opened(data) as visit:
        await at_start(visit)
        await visit.keys("<enter>")
        await visit.until_screen("measure")
        await visit.until("2 of 8")


async def test_a_hidden_first_value_is_not_told_by_the_key_to_the_doubts(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        for value in ("22.4", "52.2", "40", "eu 39", "22.6", "36.4", "40.2", "24.6"):
            await visit.keys(f"{value}<enter>")
            if "Enter again keeps it." in visit.flow:
                await visit.keys("<enter>")
        await visit.until("Second time: tape off")
        await visit.keys("<f9>")
        await visit.until("This reading is in doubt: measure it as if for the first time.")
        assert "52.2" not in visit.text


async def test_of_two_swapped_values_the_second_is_the_next_to_correct(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys("36<enter>22.5<enter>")
        if "Enter again keeps it." in visit.flow:
            await visit.keys("<enter>")
        await visit.until("floor to below the knee")
        await visit.keys("<up><up>22.5<enter>")
        if "Enter again keeps it." in visit.flow:
            await visit.keys("<enter>")
        await visit.until("LEFT: round the calf (C) 2 of")
        await visit.keys("36<enter>")
        await visit.until("LEFT: floor to below the knee (D)")
        values = visit.saved.values()
        assert (values["left B girth"], values["left C girth"]) == ("225", "360")
