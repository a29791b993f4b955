"""The questions before measuring: what is typed on the wrong line changes nothing in silence."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from fitcore.disk.profile_files import load_profiles
from fitcore.record.fields import UNKNOWN
from tui.setup_form import SetupForm

if TYPE_CHECKING:
    from fitcore.record.entries import Value

NOW = datetime(2026, 3, 5, 11, 40, tzinfo=UTC)
PROTOCOLS = load_profiles().protocols


def form(**given: Value) -> SetupForm:
    return SetupForm(PROTOCOLS, lambda: NOW, given, ask_after_hours=18)


def go_to(setup: SetupForm, what: str) -> None:
    setup.at = [line.what for line in setup.lines].index(what)


def type_all(setup: SetupForm, text: str) -> list[str]:
    return [setup.type(character) for character in text]


@pytest.mark.parametrize(
    ("what", "typed"),
    [
        ("protocol", "6:30"),
        ("purpose", "6:30"),
        ("purpose", "39"),
        ("sides", "36.5"),
        ("compression", "10"),
        ("compression", "10 min ago"),
        ("forms", "39"),
        ("posture", "7 pm"),
        ("tape", "2o"),
    ],
)
def test_something_typed_on_a_line_of_choices_leaves_its_answer(what: str, typed: str) -> None:
    setup = form(compression="off", compression_off_at=NOW, rising_at=NOW)
    go_to(setup, what)
    before = setup.answers()
    said = type_all(setup, typed)
    assert setup.answers() == before
    assert "takes a number from 1 to" in said[-1]
    assert setup.accept() != "", "the first Enter only shows what stays"
    at = setup.at
    assert setup.accept() == ""
    assert setup.at != at


def test_a_number_still_chooses() -> None:
    setup = form()
    assert setup.type("3") == ""
    assert setup.answers()["purpose"] == "travel"
    assert setup.accept() == ""


@pytest.mark.parametrize(
    ("typed", "hour", "minute"), [("6am", 6, 0), ("10 min ago", 11, 30), ("7:15", 7, 15)]
)
def test_a_time_is_taken_as_it_is_said(typed: str, hour: int, minute: int) -> None:
    setup = form()
    go_to(setup, "rising_at")
    type_all(setup, typed)
    assert setup.line.typed == typed
    value = setup.answers()["rising_at"]
    assert isinstance(value, datetime)
    assert (value.hour, value.minute) == (hour, minute)


def test_letters_in_a_time_are_never_swallowed() -> None:
    setup = form()
    go_to(setup, "rising_at")
    type_all(setup, "7:00 xm")
    assert setup.line.typed == "7:00 xm"
    assert "'7:00 xm' is not a time of day" in setup.accept()
    assert setup.line.what == "rising_at"


def test_a_time_long_ago_is_asked_about_once() -> None:
    setup = form(compression="off")
    go_to(setup, "compression_off_at")
    type_all(setup, "12")
    assert "23.7 h ago" in setup.accept()
    assert setup.line.what == "compression_off_at"
    setup.accept()
    value = setup.answers()["compression_off_at"]
    assert isinstance(value, datetime)
    assert (value.day, value.hour) == (4, 12)


def test_what_was_changed_is_kept_wherever_the_cursor_is() -> None:
    """The doorbell rings: a stocking that came off must not come back as none worn."""
    setup = form()
    go_to(setup, "compression")
    setup.type("2")
    assert setup.accept() == ""
    type_all(setup, "11:30")
    go_to(setup, "rising_at")
    type_all(setup, "7:00")
    go_to(setup, "purpose")
    kept = setup.accepted_answers()
    assert kept["compression"] == "off"
    assert isinstance(kept["compression_off_at"], datetime)
    assert isinstance(kept["rising_at"], datetime)
    assert "posture" not in kept


def test_nothing_touched_is_nothing_to_keep() -> None:
    assert form().accepted_answers() == {}


def test_a_time_answered_on_another_day_keeps_its_day() -> None:
    rising = datetime(2026, 3, 4, 6, 30, tzinfo=UTC)
    setup = form(rising_at=rising)
    assert setup.answers()["rising_at"] == rising


def empty(setup: SetupForm) -> None:
    go_to(setup, "posture_since")
    while setup.line.typed:
        setup.erase()


def test_a_time_taken_away_is_not_known_any_more() -> None:
    setup = form(rising_at=NOW, posture_since=NOW)
    empty(setup)
    assert setup.answers()["posture_since"] == UNKNOWN
    assert setup.accepted_answers() == {"posture_since": UNKNOWN}
    assert setup.accept() == ""
    again = form(**setup.answers())
    assert "posture_since" in again.answers()
    assert again.answers()["posture_since"] == UNKNOWN


def test_a_time_never_given_stays_unanswered() -> None:
    setup = form(rising_at=NOW)
    assert "posture_since" not in setup.answers()
    go_to(setup, "posture_since")
    type_all(setup, "7:0")
    empty(setup)
    assert "posture_since" not in setup.answers()


def test_the_time_of_rising_cannot_be_taken_away() -> None:
    setup = form(rising_at=NOW)
    go_to(setup, "rising_at")
    while setup.line.typed:
        setup.erase()
    assert "Type the time" in setup.accept()
    assert "rising_at" not in setup.answers()


def test_a_refused_key_puts_back_the_protocols_on_offer_too() -> None:
    setup = form()
    go_to(setup, "protocol")
    before = setup.line.choices, list(setup.line.chosen)
    go_to(setup, "forms")
    setup.type("4")
    go_to(setup, "protocol")
    assert setup.line.choices != before[0], "another garment wants other readings"
    go_to(setup, "forms")
    setup.type("x")
    go_to(setup, "protocol")
    assert (setup.line.choices, setup.line.chosen) == before
