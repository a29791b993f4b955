"""Screening by its keys: the one page, what a yes opens, stops, decisions, second thoughts."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from screens import (
    PRESCRIPTION,
    Visit,
    at_start,
    named,
    opened,
    past_pages,
    past_screening,
    saved_sessions,
    to_measure,
)

from fitcore.safety.session_answers import is_assessment

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fitcore.record.entries import Entry

MOST_KEYS = 6
LEGS = "22.4<enter>36.2<enter>40<enter>eu 39<enter>22,6<enter>36,4<enter>40.2<enter>24.6<enter>"
ABPI = "138<enter>134<enter>110<enter>n<enter>128<enter><enter><enter><enter><enter><enter>"
"""Arms 138 and 134, left 110 and could not obtain, right 128, the rest not tried: 0.797, 0.928."""


def entries(visit: Visit, what: str) -> list[Entry]:
    """Return every answer ever given to a question, in the order they were written."""
    found = [e for e in visit.saved.session.entries if e.text("what") == what]
    return sorted(found, key=lambda entry: entry.by)


async def to_first_page(visit: Visit) -> None:
    await visit.keys("<f2>")
    await visit.until_screen("first_page")


async def prescribed(visit: Visit) -> None:
    """Answer the questions before measuring for a prescribed garment."""
    await visit.keys("<enter>5<enter><enter><enter><enter>7<enter>")
    await visit.until("The prescription, exactly as written.")
    await visit.keys(PRESCRIPTION)
    await visit.until("Were blood pressures taken at arms and ankles?")


async def test_an_ordinary_client_is_screened_clean_in_few_keys(
    data: Path, tell: Callable[[str], None]
) -> None:
    async with named(data) as visit:
        before = visit.count.others
        await visit.keys("<f2>")
        await past_screening(visit)
        keys = visit.count.others - before
        tell(f"ordinary client screened clean: {keys} keys (at most {MOST_KEYS})")
        assert keys <= MOST_KEYS
        await visit.keys("<enter><enter><enter><enter><enter>0630<enter>")
        await visit.until_screen("measure")
        await visit.keys(LEGS)
        await visit.until_screen("result")
        await visit.until("May be fitted, where the garment's pressure allows it.")
        await visit.until("Screened: no stop found.", "May be offered.")


async def test_enter_never_answers_a_line(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("<enter>" * 20)
        await visit.until("14 lines are not answered yet. Enter never means no.")
        assert visit.screen == "first_page"
        await visit.keys("n" * 13 + "<enter>")
        await visit.until("One line is not answered yet. Enter never means no.")
        assert saved_sessions(data) == []
        await visit.keys("n<enter>")
        await visit.until_screen("setup")


async def test_all_asked_none_leaves_a_yes_as_it_is(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("yN<enter>")
        await visit.until_screen("clearance")
        await visit.until("Under 18: not for this program. Refer to the children's service.")
        assert visit.saved.answer("screen.under_18") == "yes"
        assert visit.saved.answer("screen.lymph") == "no"


async def test_a_page_left_open_keeps_only_what_was_answered_line_by_line(data: Path) -> None:
    """All asked, none, counts once Enter has confirmed it: a slip of one key clears nobody."""
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("n?N<escape>")
        await at_start(visit)
        assert visit.saved.answer("screen.under_18") == "no"
        assert visit.saved.answer("screen.emergency") == "unknown"
        assert visit.saved.answer("screen.lymph") is None
    async with opened(data) as visit:
        await visit.until("PAUSED: go on")
        await visit.keys("<enter>")
        await visit.until_screen("first_page")
        await visit.until("> A foot or leg suddenly cold")


async def test_what_nobody_knows_opens_its_questions_and_counts_as_yes(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("n" * 9 + "?N<enter>")  # numbness
        await visit.until("Numb, or feeling lost?", "Cannot tell anybody when something hurts?")
        await visit.keys("???<enter>")
        await visit.until_screen("clearance")
        await visit.until("Feeling lost: a garment that harms would not be felt.")
        await visit.until("LEFT stop: do not fit, a specialist decides")


async def test_a_stop_from_the_first_key_to_the_referral_note(
    data: Path, tell: Callable[[str], None]
) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("nnnyN<enter>")
        await visit.until("LEFT Swelling new, or bigger than it was?")
        await visit.keys("ynynnnyn<enter>")
        await visit.until_screen("clearance")
        await visit.until("LEFT stop: do not fit, no decision lifts this", "HOLD today")
        await visit.until("Take only the readings the referral needs.")
        await visit.keys("<enter>")
        await visit.until("There is a stop. F8 measures what the referral needs; Esc pauses.")
        await visit.keys("<f2>")
        await visit.until("There is nothing here that a decision lifts.")
        await visit.keys("<f6><down><down><enter>")
        await visit.until("Saved: doctor, by telephone.")
        await visit.keys("<f3>")
        await visit.until_screen("text")
        await visit.until("Referral note", "New or bigger swelling: medical help today")
        pages = [visit.text]
        while "more below" in pages[-1]:
            await visit.keys("<down>")
            pages.append(visit.text)
        note = " ".join(" ".join(pages).split())
        tell(f"stop to the note: {visit.count.others + visit.count.characters} keys")
        assert "doctor, by telephone" in note
        assert "no clot" not in note.casefold()
        assert visit.saved.answer("told") == "doctor, by telephone"


async def test_a_call_for_help_comes_before_all_other_questions(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("nynyN<enter>")
        await visit.until_screen("clearance")
        await visit.until("Call the emergency number NOW.")
        await visit.keys("<enter>")
        await visit.until_screen("questions")


async def test_in_an_emergency_nobody_answers_the_other_lines_first(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("<down>y")
        await visit.until("!! Call the emergency number now.", "the rest can wait.")
        await visit.keys("<enter>")
        await visit.until_screen("clearance")
        await visit.until("Call the emergency number NOW.")
        assert visit.saved.answer("screen.emergency") == "yes"
        assert visit.saved.answer("screen.under_18") is None
        await visit.keys("<f8>")
        await visit.until_screen("first_page")
        await visit.keys("N<enter>")
        await visit.until_screen("clearance")
        await visit.keys("<f8>")
        await visit.until("Call first. F6 records who was told; then F8 measures.")


async def test_a_prescribers_decision_lets_a_stopped_leg_be_offered(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("N<enter>")
        await visit.until_screen("setup")
        await prescribed(visit)
        await visit.keys(f"y{ABPI}")
        await visit.until_screen("clearance")
        await visit.until("LEFT stop: do not fit, a specialist decides ABPI 0.797")
        await visit.until("RIGHT may be fitted ABPI 0.93")
        await visit.keys(
            "<f2>1S-02<enter>1224<enter>today<enter>2026-09-01<enter>enough flow<enter>"
        )
        await visit.until_screen("clearance")
        await visit.until("LEFT may be fitted ABPI 0.797 at most 24 mmHg", "S-02 (specialist)")
        (decision,) = entries(visit, "prescriber.left")
        assert decision.text("by_whom") == "S-02"
        assert decision.fields["highest_mmhg"] == Decimal(24)
        assert decision.names("covers") == ("abpi_low",)
        assert "pressure.left_dp=110" in decision.names("rests_on")
        await visit.keys("<enter>")
        await visit.until_screen("measure")
        await visit.keys("36.2<enter>36,4<enter>")
        await visit.keys("22.4<enter>40<enter>eu 39<enter>22,6<enter>40.2<enter>24.6<enter>")
        await visit.until("The legs' shape")
        await visit.keys("N<enter>")
        await visit.until_screen("result")
        await visit.until("Prescriber's decision: S-02 (specialist)", "May be offered.")


async def test_a_prescribers_refusal_is_recorded_and_keeps_the_stop(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("N<enter>")
        await visit.until_screen("setup")
        await prescribed(visit)
        await visit.keys(f"y{ABPI}")
        await visit.until_screen("clearance")
        await visit.keys("<f2>1S-02<enter>12")
        for typed in ("nan", "101", "-1"):
            await visit.keys(f"{typed}<enter>")
            await visit.until(f"'{typed}' is no pressure of a garment.")
            await visit.keys("<backspace>" * len(typed))
        await visit.keys("0<enter>today<enter>2026-09-01<enter>too little flow<enter>")
        await visit.until_screen("clearance")
        await visit.until("LEFT stop: do not fit, a specialist decides ABPI 0.797")
        (decision,) = entries(visit, "prescriber.left")
        assert decision.fields["highest_mmhg"] == 0
        assert decision.text("is") == "S-02 (specialist): no compression"


async def test_a_decision_that_is_not_whole_is_not_recorded(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("n" * 8 + "yN<enter>")
        await visit.until("Diabetes?")
        await visit.keys("yyynnnn<enter>")
        await visit.until_screen("clearance")
        await visit.keys("<f2>3P-04<enter>1120<enter>today<enter>2025-01-01<enter>yes<enter>")
        await visit.until("The review date is over already.")
        assert entries(visit, "prescriber.left") == []
        await visit.keys("<up><up>")
        await visit.keys("<escape>")
        await visit.until_screen("clearance")


async def test_a_change_of_mind_rights_a_later_answer_and_keeps_the_earlier(data: Path) -> None:
    """An *ask* goes with the answer it rested on; both answers stay in the file."""
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("n" * 12 + "yN<enter>")
        await visit.until("Ever a blood clot in a leg or lung?")
        await visit.keys("nynn<enter>")
        await visit.until_screen("clearance")
        await visit.until("ask the prescriber first")
        await visit.keys("<f7>")
        await visit.until_screen("first_page")
        await visit.keys("<down>" * 12 + "n<enter>")
        await visit.until("Cancer, now or treated in the last 6 months?")
        await visit.keys("n<enter>")
        await visit.until_screen("setup")
        first, second = entries(visit, "screen.clot_risk")
        assert (first.fields["is"], second.fields["is"]) == ("yes", "no")
        assert visit.saved.session.value("screen.clot_risk") == "no"


async def test_a_hold_stays_after_a_change_of_mind_until_somebody_looks_again(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("nyN<enter>")
        await visit.until_screen("clearance")
        await visit.keys("<f7>")
        await visit.until_screen("first_page")
        await visit.keys("<down>n<enter>")
        await visit.until_screen("clearance")
        await visit.until("LEFT stop: do not fit, no decision lifts this")
        await visit.keys("<f4>looks well<enter>D-7<enter>today<enter>n<enter>")
        await visit.until_screen("clearance")
        await visit.until("LEFT may be fitted", "No rule speaks against fitting.")
        answers = entries(visit, "screen.emergency")
        assert [entry.fields["is"] for entry in answers] == ["yes", "no", "no"]
        assert is_assessment(answers[-1])


async def test_calves_that_differ_are_read_twice_and_asked_about(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f2>")
        await past_screening(visit)
        await visit.keys("<enter><enter><enter><enter>2<enter>7<enter>")
        await visit.until_screen("measure")
        await visit.keys("39<enter>40.2<enter>37<enter>")
        await visit.rest()
        if visit.screen == "measure" and "Enter again keeps it." in visit.flow:
            await visit.keys("<enter>")
        await visit.until("Second time: tape off")
        await visit.keys("40.1<enter>")
        if "Enter again keeps it." in visit.flow:
            await visit.keys("<enter>")
        await visit.keys("37.1<enter>")
        if visit.screen == "measure" and "Enter again keeps it." in visit.flow:
            await visit.keys("<enter>")
        await visit.until("LEFT calf larger by 3.1 cm", "Is it new, or has it grown?")
        await visit.keys("n")
        await visit.until("Long so, explained, recorded before, and without pain or heat?")
        await visit.keys("?<enter>")
        await visit.until_screen("clearance")
        await visit.until("STOP today", "Medical assessment today.")


async def test_one_leg_lost_to_circulation_asks_the_vascular_team(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("n" * 6 + "yN<enter>")
        await visit.until("An amputation because of poor circulation?")
        await visit.keys("nynnn<enter>")
        await visit.until_screen("clearance")
        await visit.keys("<f8>")
        await visit.until_screen("setup")
        await visit.keys("<enter><enter><enter>3<enter><enter>7<enter>")
        await visit.until("The legs.", "LEFT Is this leg there, and can it be measured?")
        await visit.keys("211<enter>")
        await visit.until_screen("clearance")
        await visit.until("LEFT not to be fitted", "vascular advice first")


async def test_answers_of_an_earlier_session_are_never_copied(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit, "1204-k")
        await visit.keys(LEGS)
        await visit.until_screen("result")
        await visit.keys("<enter>")
        await at_start(visit)
        await visit.keys("<down><f3>")
        await visit.until_screen("first_page")
        assert " no" not in [row[-4:].rstrip() for row in visit.rows[3:17]]
        await visit.keys("<enter>")
        await visit.until("14 lines are not answered yet.")


@pytest.mark.parametrize("typed", ["38", "3800", "abc"])
async def test_a_pressure_that_is_no_pressure_is_refused(typed: str, data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("N<enter>")
        await visit.until_screen("setup")
        await prescribed(visit)
        await visit.keys(f"y{typed}<enter>")
        await visit.until("is no blood pressure.", "40 to 300 mmHg")
        assert "> Left arm, systolic" in visit.text


async def test_prescription_in_a_class_proposes_its_figures(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f2>")
        await past_screening(visit)
        await visit.keys("<enter>5<enter><enter><enter><enter>7<enter>")
        await visit.until("The prescription, exactly as written.")
        await visit.keys("P-04<enter>1ii<enter>")
        await visit.until("> 23_ RAL-GZ 387/1 class II, 23 to 32 mmHg")
        await visit.keys("<enter><enter>1132<enter>")
        await visit.until("Were blood pressures taken")
        assert visit.saved.answer("screen.prescribed_low_mmhg") == Decimal(23)
        assert visit.saved.answer("screen.prescribed_high_mmhg") == Decimal(32)
        await past_pages(visit)


async def test_the_pressure_is_drawn_only_when_asked_for_and_is_no_measurement(data: Path) -> None:
    async with named(data) as visit:
        await to_measure(visit)
        await visit.keys(LEGS)
        await visit.until_screen("result")
        assert "Illustration" not in visit.text
        await visit.keys("<f5>")
        await visit.until_screen("text")
        await visit.until("Illustration: not this leg's pressure; never choose a size from it.")
        await visit.until("LEFT leg. Invented Mill One Haar", "ankle B 22.4 11.0 100")
        await visit.keys("<escape>sandbar")
        await visit.until("Looked for: sandbar_ (1)")
        await visit.keys("<f5>")
        await visit.until("This garment prints no pressure")


async def test_what_is_known_of_the_purpose_stands_among_the_notes(data: Path) -> None:
    async with named(data) as visit:
        await visit.keys("<f2>")
        await past_screening(visit)
        await visit.keys("<enter>3<enter><enter><enter><enter>0630<enter>")
        await visit.until_screen("measure")
        await visit.keys(LEGS)
        await visit.until_screen("result")
        await visit.keys("<f3>")
        await visit.until_screen("text")
        while "more below" in visit.text:
            await visit.keys("<down>")
        await visit.until("For travel: Below the knee", "people at increased risk of a clot only")


async def test_a_stopped_session_opens_at_its_stop(data: Path) -> None:
    async with named(data) as visit:
        await to_first_page(visit)
        await visit.keys("yN<enter>")
        await visit.until_screen("clearance")
        await visit.keys("<escape>")
        await at_start(visit)
    async with opened(data) as visit:
        await visit.until("PAUSED: go on (STOP)")
        await visit.keys("<enter>")
        await visit.until_screen("clearance")
        await visit.until("Under 18: not for this program.")
