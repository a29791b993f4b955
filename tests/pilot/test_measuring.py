"""Measuring: what is typed at a field is what is saved, exactly, with its doubts."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from screens import (
    MORNING,
    Clock,
    at_start,
    meaning,
    named,
    opened,
    past_screening,
    to_measure,
    to_setup,
)

if TYPE_CHECKING:
    from pathlib import Path

    from screens import Visit

IN_INCHES = "<enter><enter><enter><enter>7<down><down><down><down>2<enter>"
SOCK = "<enter><enter><enter>2<enter>7<enter>"


# --- numbers as people say them ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("38.5", "385"),
        ("38,5", "385"),
        ("38.50", "385"),
        ("38,5 cm", "385"),
        ("385mm", "385"),
        ("385 mm", "385"),
        ("38", "380"),
        ("38.45", "384.5"),
        ("15 1/8 in", "384.175"),
        ('15 1/8"', "384.175"),
        ("15.125 in", "384.175"),
        ("1 ft 3 1/8 in", "384.175"),
    ],
)
async def test_a_calf_is_saved_as_typed_and_exactly(typed: str, mm: str, data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys(f"22.4<enter>{typed}<enter>")
        await visit.until("3 of 8")
        reading = visit.saved.current()["left C girth"]
    assert reading.typed == typed
    assert meaning(reading) == mm
    assert reading.doubts == ()


@pytest.mark.parametrize(
    "typed", ["38.5.1", "abc", "15 1/8", "0", "-38", "38 kg", "1/3 in", "38 5", "15 1/8 cm in"]
)
async def test_what_is_no_length_stays_in_the_field_and_nothing_is_saved(
    typed: str, data: Path
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys(f"{typed}<enter>")
        await visit.until("! ", typed)
        assert f"cm > {typed}" in visit.flow
        assert "1 of 8" in visit.flow
        assert visit.saved.values() == {}
        await visit.keys("<backspace>" * len(typed) + "22.4<enter>")
        await visit.until("2 of 8")
        assert visit.saved.values() == {"left B girth": "224"}


async def test_enter_alone_saves_nothing(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("<enter>  <enter>")
        await visit.until("! Type what the tape shows, or F2 if it cannot be taken.")
        assert visit.saved.values() == {}


@pytest.mark.parametrize(("typed", "mm"), [("15 1/8", "384.175"), ("15,125", "384.175")])
async def test_a_tape_in_inches_needs_no_unit(typed: str, mm: str, data: Path) -> None:
    async with named(data) as visit:
        await to_setup(visit)
        await visit.keys(IN_INCHES)
        await visit.until_screen("measure")
        await visit.until("in >", "usually 7.4 to 10.3 in")
        await visit.keys(f"8 7/8<enter>{typed}<enter>")
        await visit.until("3 of 8", f"{typed} in = 38.4175 cm")
        saved = visit.saved
    assert saved.values() == {"left B girth": "225.425", "left C girth": mm}
    assert saved.current()["left C girth"].typed == typed
    assert saved.current()["left C girth"].unit == "in"


async def test_centimetres_can_be_said_on_an_inch_tape(data: Path) -> None:
    async with named(data) as visit:
        await to_setup(visit)
        await visit.keys(IN_INCHES)
        await visit.until_screen("measure")
        await visit.keys("22.4 cm<enter>")
        await visit.until("2 of 8")
        assert visit.saved.values() == {"left B girth": "224"}


@pytest.mark.parametrize(
    ("typed", "saved"),
    [
        ("eu 39", "eu 39.0"),
        ("EU 39,5", "eu 39.5"),
        ("uk 6.5", "uk 6.5"),
        ("us w 8", "us_women 8.0"),
        ("24.6", "246"),
    ],
)
async def test_a_shoe_size_may_stand_for_a_foot_length(typed: str, saved: str, data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys(f"22.4<enter>36.2<enter>40<enter>{typed}<enter>")
        await visit.until("RIGHT: round the ankle (B) 5 of 8")
        kind = "length" if saved == "246" else "shoe"
        assert visit.saved.values()[f"left foot {kind}"] == saved


async def test_a_bare_shoe_size_is_not_taken_for_a_foot_of_39_cm(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("22.4<enter>36.2<enter>40<enter>39<enter>")
        await visit.until("A shoe size? Type its system too: EU, UK, US W or US M.")
        assert "left foot length" not in visit.saved.values()
        await visit.keys("<home>eu <enter>")
        await visit.until("5 of 8")
        assert visit.saved.values()["left foot shoe"] == "eu 39.0"


# --- doubts --------------------------------------------------------------------------------------


async def test_an_unusual_value_needs_enter_twice_and_keeps_its_doubt(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("28.4<enter>")
        await visit.until(
            "28.4 cm is outside 18 to 27 cm, where nearly all legs are.", "Enter again keeps it."
        )
        assert visit.saved.values() == {}
        await visit.keys("<enter>")
        await visit.until("2 of 9")
        reading = visit.saved.current()["left B girth"]
        assert (reading.typed, reading.doubts) == ("28.4", ("soft_range",))
        await visit.until("! unusual, kept")


async def test_another_value_after_a_doubt_is_doubted_anew(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("28.4<enter><backspace>5<enter>")
        await visit.until("28.5 cm is outside")
        assert visit.saved.values() == {}
        await visit.keys("<backspace>4<enter>")
        await visit.until("28.4 cm is outside")
        assert visit.saved.values() == {}


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        ("<down><enter>", "measured twice, it is so"),
        ("<down><down><enter>", "very swollen leg"),
        ("a very thin leg<enter>", "a very thin leg"),
    ],
)
async def test_an_impossible_value_is_kept_only_with_a_reason(
    keys: str, why: str, data: Path
) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("8.7<enter>")
        await visit.until("8.7 cm cannot be right", "Read in inches? Then type it with in.")
        await visit.keys("<enter>")
        await visit.until("Keep 8.7? Why is it right?")
        assert visit.saved.values() == {}
        await visit.keys(keys)
        await visit.until("2 of 9", "! impossible, kept")
        reading = visit.saved.current()["left B girth"]
        assert (reading.doubts, reading.why) == (("hard_range", "unit_slip"), why)


async def test_leaving_the_question_why_keeps_the_text_and_saves_nothing(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys("8.7<enter><enter><escape>")
        await visit.until_screen("measure")
        await visit.until("cm > 8.7", "1 of 8")
        assert visit.saved.values() == {}


# --- nobody copies -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("setup", "legs"),
    [
        (
            "<enter><enter><enter><enter>7<enter>",
            ("22.4", "36.7", "41.3", "24.8", "22.7", "37.1", "41.4", "25.3"),
        ),
        (SOCK, ("eu 39", "36.7", "37.6")),
    ],
    ids=["leg by leg", "point by point"],
)
async def test_other_leg_and_last_time_show_only_after_enter(
    setup: str, legs: tuple[str, ...], data: Path
) -> None:
    """Whoever sees the other number first reads it from the tape again."""
    half = len(legs) // 2
    pairs = {legs[half + i]: legs[i] for i in range(half)} if half > 1 else {legs[2]: legs[1]}
    async with named(data) as visit:
        await to_setup(visit, "1204-k")
        await visit.keys(setup)
        await visit.until_screen("measure")
        for value in legs:
            other = pairs.get(value)
            assert other is None or other not in visit.text, f"{other} beside the open field"
            await visit.keys(f"{value}<enter>")
            if other is not None and value != legs[-1]:
                await visit.until(f"LEFT {other}")
        await visit.until_screen("result")
        await visit.keys("<enter>")
        await at_start(visit)
    later = Clock(MORNING + timedelta(days=7))
    async with opened(data, clock=later) as visit:
        await at_start(visit)
        await visit.keys("1204-k<enter>")
        await past_screening(visit)
        await visit.keys(f"<enter>{setup}")
        await visit.until_screen("measure")
        for value in legs[:-1]:
            assert value not in visit.text, f"last time's {value} beside the open field"
            await visit.keys(f"{value}<enter>")
            if setup != SOCK:
                await visit.until("LEFT" if value[:2] == "eu" else f"On 2026-03-05 {value}")


# --- the hour ------------------------------------------------------------------------------------


async def hours_later(visit: Visit, up: str, off: str = "") -> None:
    """Begin with a client who has been up for a while, perhaps in a stocking until now."""
    await to_setup(visit, "1204-k")
    await visit.keys(f"<enter><enter><enter><enter>{up}")
    await visit.keys(f"<down><down><down>2<enter>{off}<enter>" if off else "<enter>")
    await visit.until_screen("measure")


@pytest.mark.parametrize(
    ("up", "off", "doubts"),
    [
        ("0600", "", ()),
        ("0530", "", ("late_in_day",)),
        ("0530", "0830", ()),
        ("0530", "0730", ("late_in_day",)),
        ("?", "", ()),
    ],
)
async def test_the_hour_is_told_and_kept_beside_the_reading(
    up: str, off: str, doubts: tuple[str, ...], data: Path
) -> None:
    """Ten minutes after a stocking came off, a leg is as small as it gets, however late it is."""
    async with named(data) as visit:
        await hours_later(visit, up, off)
        await visit.until("1 of 8", "Time of rising not known." if up == "?" else "Up ")
        on_field = visit.flow
        await visit.keys("22.4<enter>")
        await visit.until("2 of 8")
        assert visit.saved.current()["left B girth"].doubts == doubts
        await visit.keys("<f6>")
        await visit.until_screen("result")
        on_result = visit.words
    assert ("Late in the day" in on_result) == ("late_in_day" in doubts)
    just_off = "min after compression came off: as small as this leg gets."
    assert (just_off in on_result) == (off == "0830")
    assert ("late in the day" in on_field) == ("late_in_day" in doubts)
