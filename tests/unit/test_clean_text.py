"""Text hygiene: what from outside may be stored and shown, and what is said about the rest."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcore.clean_text import clean, is_unsafe, visible

BIDI_CONTROLS = [0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)]
"""Unicode property Bidi_Control, the whole of it (PropList)."""
INVISIBLE = [0x200B, 0xFEFF, 0x2028, 0x2029]
CONTROLS = [*range(0x09), *range(0x0B, 0x20), *range(0x7F, 0xA0)]
NOT_CHARACTERS = [0xD800, 0xDFFF, 0xE000, 0xF0000, 0x10FFFF, 0x0378]


@pytest.mark.parametrize("code", [*BIDI_CONTROLS, *INVISIBLE, *CONTROLS, *NOT_CHARACTERS])
def test_what_steers_a_terminal_or_hides_is_dropped(code: int) -> None:
    cleaned = clean(f"tern{chr(code)}014")
    assert chr(code) not in cleaned.text
    assert is_unsafe(chr(code))


@pytest.mark.parametrize("code", [0x1B, 0x00, 0x07, 0x7F, 0x9B, 0x202E, 0x200B, 0xE000])
def test_what_was_dropped_is_said_once_by_name(code: int) -> None:
    cleaned = clean(f"{chr(code)}Skin {chr(code)}intact{chr(code)}")
    assert cleaned.text == "Skin intact"
    assert cleaned.dropped == (f"U+{code:04X}",)


def test_dropped_characters_are_named_in_the_order_they_stood() -> None:
    assert clean("\x1b]0;t\x07 \u202e!").dropped == ("U+001B", "U+0007", "U+202E")


@pytest.mark.parametrize(
    "text",
    [
        *(
            "Skin intact.",
            "naïve Ångström",
            "15⅛″",
            "O'Neil [left]",
            "note [/] end",
            "[red]",
            "日本",
        ),
        *("a\u200db", "a\u200cb", "👩\u200d⚕️", "C:\\temp", '"quoted"', "'''", '"""', "50 %"),
    ],
)
def test_ordinary_text_stays_as_it_is(text: str) -> None:
    """Zero-width joiners stay: some scripts need them."""
    assert clean(text) == clean(unicodedata.normalize("NFC", text))
    assert (clean(text).text, clean(text).dropped) == (text, ())


def test_letters_typed_in_two_parts_become_one() -> None:
    assert clean("A\u030angstro\u0308m").text == "Ångström"


@pytest.mark.parametrize(
    ("text", "single", "several"),
    [("a\nb", "ab", "a\nb"), ("a\tb", "a b", "a b"), ("a\r\nb", "ab", "a\nb"), ("\n", "", "")],
)
def test_only_a_remark_keeps_its_line_breaks(text: str, single: str, several: str) -> None:
    assert clean(text).text == single
    assert clean(text, keep_newlines=True).text == several


def test_text_that_is_too_long_is_cut_and_that_is_said() -> None:
    cleaned = clean("x" * 50, most=40)
    assert cleaned.text == "x" * 40
    assert cleaned.dropped


def test_text_of_just_the_longest_length_is_not_cut() -> None:
    assert clean("x" * 40, most=40) == clean("x" * 40)
    assert clean("x" * 40, most=40).dropped == ()


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[2J", "<U+001B>[2J"),
        ("a\u202egnp.toml", "a<U+202E>gnp.toml"),
        ("plain.toml", "plain.toml"),
        ("a\nb", "a<U+000A>b"),
    ],
)
def test_what_cannot_be_dropped_is_made_visible(text: str, shown: str) -> None:
    assert visible(text) == shown


@given(st.text(st.characters()))
def test_no_text_comes_out_unsafe(text: str) -> None:
    assert not any(is_unsafe(character) for character in clean(text).text)
    assert not any(is_unsafe(character) for character in visible(text))
    kept = clean(text, keep_newlines=True).text.replace("\n", "")
    assert not any(is_unsafe(character) for character in kept)


_pieces = st.sampled_from(["a", "e", "\u0301", "\u0308", "\u200b", "\x1b", "\u202e", " ", "ß"])


@given(st.lists(_pieces, max_size=8).map("".join))
def test_cleaned_text_is_composed_and_cleaning_it_again_changes_nothing(text: str) -> None:
    """Two codes that look alike must not differ in an invisible way."""
    once = clean(text).text
    assert unicodedata.is_normalized("NFC", once)
    assert clean(once).text == once
    assert clean(once).dropped == ()


@given(st.text(st.characters()))
def test_whatever_is_missing_afterwards_was_said(text: str) -> None:
    composed = unicodedata.normalize("NFC", text)
    cleaned = clean(text)
    lost = {f"U+{ord(c):04X}" for c in composed if is_unsafe(c) and c != "\t"}
    assert lost == set(cleaned.dropped)
