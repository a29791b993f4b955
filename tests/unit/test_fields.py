"""The fields of a session and what may be answered."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import pytest

from fitcore.clean_text import is_unsafe
from fitcore.problems import ReadingError, UnitError
from fitcore.record.fields import FIELDS, answer_words, choice_words, parse_answer

CET = timezone(timedelta(hours=1))
NOW = datetime(2026, 3, 4, 12, 0, tzinfo=CET)


@pytest.mark.parametrize(
    ("what", "text", "answer"),
    [
        ("client", "tern-014-0", "tern-014-0"),
        ("client", " SKR-0417 ", "SKR-0417"),
        ("measurer", "N-17", "N-17"),
        ("zone", "Europe/Berlin", "Europe/Berlin"),
        ("protocol", "calf-sock", "calf-sock"),
        ("posture", "standing", "standing"),
        ("posture", "Lying", "lying"),
        ("purpose", "work", "work"),
        ("purpose", "prescribed", "prescribed"),
        ("forms", "below_knee", ["below_knee"]),
        ("forms", "below_knee, thigh", ["below_knee", "thigh"]),
        ("sides", "left,right", ["left", "right"]),
        ("bare_skin", "yes", "yes"),
        ("compression", "off", "off"),
        ("tape", "in", "in"),
        ("finished", "yes", True),
        ("finished", "no", False),
        ("rising_at", "6:30", datetime(2026, 3, 4, 6, 30, tzinfo=CET)),
        ("rising_at", "16:00", datetime(2026, 3, 3, 16, 0, tzinfo=CET)),
        ("rising_at", "2026-03-04T06:30+01:00", datetime(2026, 3, 4, 6, 30, tzinfo=CET)),
        ("rising_at", "2026-03-04T06:30", datetime(2026, 3, 4, 6, 30, tzinfo=CET)),
        ("compression_off_at", "1150", datetime(2026, 3, 4, 11, 50, tzinfo=CET)),
    ],
)
def test_an_answer_is_read_as_its_field_says(what: str, text: str, answer: object) -> None:
    assert parse_answer(what, text, NOW) == answer


@pytest.mark.parametrize(
    ("what", "text"),
    [
        *(("client", ""), ("client", "x" * 41), ("client", "tern-014-X"), ("measurer", "  ")),
        *(("zone", "Mars/Base"), ("zone", ""), ("posture", "hanging"), ("posture", "")),
        *(
            ("posture", "standing, lying"),
            ("forms", ""),
            ("forms", "sock"),
            ("forms", "thigh,sock"),
        ),
        *(("sides", "both"), ("bare_skin", "maybe"), ("compression", "yes"), ("tape", "feet")),
        *(
            ("finished", "perhaps"),
            ("rising_at", ""),
            ("rising_at", "early"),
            ("rising_at", "25:00"),
        ),
        *(("shoe_colour", "red"), ("", "x"), ("\x1b]0;t\x07", "x"), ("posture", "\x1b[2J")),
        *(("zone", "\x1b[2J"), ("rising_at", "\x1b[2J"), ("client", "tern-014-1\u202e")),
    ],
)
def test_what_is_no_answer_is_refused_with_a_mend_in_safe_words(what: str, text: str) -> None:
    with pytest.raises((ReadingError, UnitError)) as refused:
        parse_answer(what, text, NOW)
    assert refused.value.problem.mend
    assert not any(is_unsafe(character) for character in str(refused.value))


@pytest.mark.parametrize("what", FIELDS)
def test_no_answer_holds_what_steers_a_terminal(what: str) -> None:
    choices = FIELDS[what].choices or ("tern", "yes", "6:30", "UTC")
    for choice in choices:
        try:
            answer = parse_answer(what, f"\u202e{choice}\x1b", NOW)
        except (ReadingError, UnitError):
            continue
        assert not any(is_unsafe(character) for character in str(answer))


@pytest.mark.parametrize("what", [name for name, field in FIELDS.items() if field.choices])
def test_every_choice_is_an_answer_and_has_words(what: str) -> None:
    for choice in FIELDS[what].choices:
        answer = parse_answer(what, choice, NOW)
        assert answer in (choice, [choice])
        assert "_" not in choice_words(choice)


def test_the_fields_named_by_the_documented_example_and_import_exist() -> None:
    assert {"client", "measurer", "zone", "posture", "rising_at"} <= set(FIELDS)
    assert set(FIELDS["posture"].choices) == {"standing", "sitting", "lying"}


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (None, "not answered"),
        (True, "yes"),
        (False, "no"),
        ("lying", "lying"),
        ("tern-014-0", "tern-014-0"),
        (["below_knee", "thigh"], "below knee, thigh length"),
        (NOW, "2026-03-04 12:00"),
    ],
)
def test_an_answer_is_written_for_people(value: object, words: str) -> None:
    assert answer_words(value) == words  # type: ignore[arg-type]
