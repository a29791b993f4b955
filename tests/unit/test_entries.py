"""Entries: one line each, whatever text they hold, and drafts that become them."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal

import pytest
from strategies import entry_from_line, session_of

from fitcore.clean_text import is_unsafe
from fitcore.identity import EntryId
from fitcore.record.codec import read_session, write_session
from fitcore.record.entries import Draft, Entry, Value, render_line, render_value

CET = timezone(timedelta(hours=1))

ODD_TEXTS = [
    *("'''", '"""', "5'''", 'a"""b', "'", '"', "\\", "\\\\u0041", "# not a comment", "[seal]"),
    *("]", "},", "{ by = 1 }", "a = 1", "\n", "a\nb = 5", "\t", "\r", "\x1b[2J", "\x00", "\x7f"),
    *("\u202etxt", "\u061c", "\u200b", "\u2028", "\ufeff", "Ångström", "15⅛″", "日本", "👩\u200d⚕️"),
    *("\ue000", "\U000f0000", "\U0010ffff", "\U000e0001", "\u0378", " ", "", "x" * 2_000),
]


@pytest.mark.parametrize("text", ODD_TEXTS)
@pytest.mark.parametrize(("array", "key"), [("remarks", "text"), ("answers", "is")])
def test_a_file_with_any_text_in_it_is_read_back_whole(array: str, key: str, text: str) -> None:
    fields: dict[str, str] = {"by": "tern-k7qd:1", "what": "client", key: text}
    entry = Entry(array, render_line(fields), fields)
    again, problems = read_session(write_session(session_of(entry)).encode())
    assert problems == ()
    assert again == session_of(entry)
    rows = tomllib.loads(write_session(session_of(entry)))[array]
    assert [row[key] for row in rows] == [text]


@pytest.mark.parametrize("text", ODD_TEXTS)
def test_a_written_text_stands_on_one_line_without_unsafe_characters(text: str) -> None:
    written = render_value(text)
    assert not any(is_unsafe(character) or character == "\n" for character in written)
    assert "\u061c" not in written
    assert tomllib.loads(f"v = {written}")["v"] == text


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ("lying", '"lying"'),
        (True, "true"),
        (False, "false"),
        (1, "1"),
        (Decimal("224"), "224.0"),
        (Decimal("384.175"), "384.175"),
        (Decimal("2.24E+2"), "224.0"),
        (datetime(2026, 3, 4, 9, 12, 40, tzinfo=CET), "2026-03-04T09:12:40+01:00"),
        (datetime(2026, 3, 4, 8, 12, 40, tzinfo=UTC), "2026-03-04T08:12:40+00:00"),
        (["tern-k7qd:91", "tern-k7qd:92"], '["tern-k7qd:91", "tern-k7qd:92"]'),
        ([], "[]"),
    ],
)
def test_a_value_is_written_as_the_documented_example_writes_it(value: Value, written: str) -> None:
    assert render_value(value) == written


@pytest.mark.parametrize("value", [date(2026, 3, 4), time(9, 12), [Decimal(1), True]])
def test_values_of_other_programs_are_written_as_toml(value: Value) -> None:
    assert tomllib.loads(f"v = {render_value(value)}", parse_float=Decimal)["v"] == value


def test_a_draft_leaves_out_what_it_does_not_say_and_keeps_its_order() -> None:
    draft = Draft(
        "answers",
        datetime(2026, 3, 4, 9, 12, 40, 7, tzinfo=CET),
        {"what": "posture", "is": "lying", "instead_of": None, "why": "asked"},
    )
    entry = draft.entry(EntryId("tern-k7qd", 91))
    assert entry.line == (
        '{ by = "tern-k7qd:91", at = 2026-03-04T09:12:40+01:00, what = "posture", is = "lying", '
        'why = "asked" }'
    )
    assert entry_from_line("answers", entry.line).fields == entry.fields
    assert (entry.by, entry.at) == (
        EntryId("tern-k7qd", 91),
        datetime(2026, 3, 4, 8, 12, 40, tzinfo=UTC),
    )


def test_entries_are_the_same_when_array_and_line_are() -> None:
    line = '{ by = "tern-k7qd:1", text = "x" }'
    one = entry_from_line("remarks", line)
    assert one == Entry("remarks", line, {})
    assert one != entry_from_line("answers", line)
    assert one != entry_from_line("remarks", line.replace(" }", "}"))


@pytest.mark.parametrize("value", ['"tern-k7qd:1"', "5", "true", "[1, 2]"])
def test_names_are_read_from_lists_only(value: str) -> None:
    entry = entry_from_line("withdrawn", f'{{ by = "tern-k7qd:2", takes_back = {value} }}')
    assert all(isinstance(name, str) for name in entry.takes_back)
    assert "tern-k7qd:1" not in entry.takes_back
