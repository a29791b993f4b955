"""Names that stay unique without a network, and client codes that check."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, datetime

import pytest

from fitcore.clean_text import is_unsafe
from fitcore.identity import (
    LAPTOP_ID,
    SESSION_ID,
    EntryId,
    check_character,
    draw_laptop_id,
    judge_client_code,
    make_uuid7,
    own_client_code,
    uuid7_milliseconds,
)
from fitcore.problems import ReadingError

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def _valid_mod_37_36(text: str) -> bool:
    """Check a text with its check character by ISO 7064's own recursion, written anew."""
    total = 36
    for character in text[:-1]:
        total = (total + ALPHABET.index(character)) % 36 or 36
        total = total * 2 % 37
    return (total + ALPHABET.index(text[-1])) % 36 == 1


@pytest.mark.parametrize(
    ("stem", "check"),
    [
        ("A12425GABC1234002", "M"),  # published: the GRid A1-2425G-ABC1234002-M
        ("A1-2425G-ABC1234002", "M"),  # separators do not count
        ("a12425gabc1234002", "M"),  # nor does case
    ],
)
def test_the_check_character_is_that_of_the_published_example(stem: str, check: str) -> None:
    assert check_character(stem) == check


@pytest.mark.parametrize("number", [1, 9, 14, 99, 100, 417, 999, 1000, 65535])
@pytest.mark.parametrize("label", ["tern", "dunlin", "petrel", "b2"])
def test_our_own_code_checks_and_reads_label_number_check(label: str, number: int) -> None:
    code = own_client_code(label, number)
    assert judge_client_code(code) is None
    assert _valid_mod_37_36(re.sub("[^0-9A-Z]", "", code.upper()))
    found = code.split("-")
    assert (found[0], int(found[1]), len(found[2])) == (label, number, 1)


@pytest.mark.parametrize("place", range(len("tern-014")))
def test_one_mistyped_character_of_our_own_code_is_always_noticed(place: int) -> None:
    code = own_client_code("tern", 14)
    if code[place] == "-":
        return
    others = "0123456789" if code[place].isdigit() else "abcdefghijklmnopqrstuvwxyz"
    for other in others.replace(code[place], ""):
        mistyped = code[:place] + other + code[place + 1 :]
        assert judge_client_code(mistyped) is not None, mistyped


def test_a_wrong_check_character_is_always_noticed() -> None:
    code = own_client_code("dunlin", 207)
    for other in ALPHABET.replace(code[-1], ""):
        assert judge_client_code(code[:-1] + other) is not None


@pytest.mark.parametrize("number", range(100, 1000, 23))
def test_two_neighbouring_digits_that_changed_places_are_noticed(number: int) -> None:
    code = own_client_code("tern", number)
    label, digits, check = code.split("-")
    for place in range(2):
        swapped = list(digits)
        swapped[place], swapped[place + 1] = swapped[place + 1], swapped[place]
        mistyped = f"{label}-{''.join(swapped)}-{check}"
        assert mistyped == code or judge_client_code(mistyped) is not None, mistyped


def test_a_digit_left_out_of_our_own_code_is_noticed() -> None:
    """A code <label>-<number>-<check> must check, however many digits it has."""
    label, digits, check = own_client_code("tern", 14).split("-")
    shorter = f"{label}-{digits[1:]}-{check}"
    assert not _valid_mod_37_36(f"TERN14{check}")
    assert judge_client_code(shorter) is not None


@pytest.mark.parametrize("code", ["SKR-0417", "K 17/b", "0417", "Ünal-3", "a" * 40])
def test_another_services_code_is_taken_as_it_is(code: str) -> None:
    assert judge_client_code(code) is None


@pytest.mark.parametrize("code", ["", "a" * 41])
def test_no_code_and_an_endless_code_are_refused(code: str) -> None:
    problem = judge_client_code(code)
    assert problem is not None
    assert problem.mend


def test_the_published_uuid7_is_made_from_its_parts() -> None:
    """RFC 9562, appendix A.6: 22 February 2022, 14:22:22 -05:00; rand_a CC3."""
    milliseconds = int(datetime(2022, 2, 22, 19, 22, 22, tzinfo=UTC).timestamp()) * 1000
    made = make_uuid7(milliseconds, bytes.fromhex("0CC318C4DC0C0C07398F"))
    assert made == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
    assert uuid7_milliseconds(made) == milliseconds


@pytest.mark.parametrize("noise", [bytes(10), b"\xff" * 10, bytes(range(10))])
@pytest.mark.parametrize("milliseconds", [0, 1, 1_772_611_960_000, (1 << 48) - 1])
def test_a_session_id_has_the_fields_of_a_uuid7(milliseconds: int, noise: bytes) -> None:
    """RFC 9562, 5.7: 48 bits of time, version 7, 12 random bits, variant 10, 62 random bits."""
    made = make_uuid7(milliseconds, noise)
    value = uuid.UUID(made)
    assert SESSION_ID.fullmatch(made)
    assert (value.version, value.variant) == (7, uuid.RFC_4122)
    assert uuid7_milliseconds(made) == milliseconds
    assert value.int >> 64 & 0xFFF == int.from_bytes(noise[:2], "big") & 0xFFF
    assert value.int & (1 << 62) - 1 == int.from_bytes(noise[2:], "big") & (1 << 62) - 1


@pytest.mark.parametrize(
    ("name", "laptop", "number"),
    [("tern-k7qd:92", "tern-k7qd", 92), ("b2-aaaa:1", "b2-aaaa", 1)],
)
def test_an_entrys_name_is_a_laptop_and_its_number(name: str, laptop: str, number: int) -> None:
    entry_id = EntryId.parse(name)
    assert (entry_id.laptop, entry_id.number, str(entry_id)) == (laptop, number, name)


@pytest.mark.parametrize(
    "name",
    [
        *("", "92", "tern-k7qd", "tern-k7qd:", "tern-k7qd:0", "tern-k7qd:092", "tern-k7qd:-1"),
        *("tern-k7qd:1.5", "tern-k7qd:٣", "TERN-k7qd:1", "tern:1", "tern-k7qd:1 ", "a:b:1"),
        *("tern-k7q:1", "../x-aaaa:1", "tern-k7qd:9007199254740993", "\x1b]0;title\x07:1"),
    ],
)
def test_what_is_no_entrys_name_is_refused_in_safe_words(name: str) -> None:
    with pytest.raises(ReadingError) as refused:
        EntryId.parse(name)
    assert not any(is_unsafe(character) for character in str(refused.value))


def test_entries_sort_by_laptop_then_by_number_not_by_text() -> None:
    names = ["tern-k7qd:10", "dunlin-m4ex:41", "tern-k7qd:9"]
    assert [str(name) for name in sorted(map(EntryId.parse, names))] == [
        "dunlin-m4ex:41",
        "tern-k7qd:9",
        "tern-k7qd:10",
    ]


def test_a_laptops_id_is_its_label_and_four_drawn_letters() -> None:
    drawn = {draw_laptop_id("tern", bytes([byte] * 4)) for byte in range(256)}
    assert all(LAPTOP_ID.fullmatch(name) and name.startswith("tern-") for name in drawn)
    assert len(drawn) > 20
    assert not any(set("ilo01") & set(name.removeprefix("tern-")) for name in drawn)


@pytest.mark.parametrize(
    "label", ["", "Tern", "tern ", "2tern", "tern-2", "a" * 13, "träna", "a/b"]
)
def test_a_label_that_is_no_safe_file_name_is_refused(label: str) -> None:
    with pytest.raises(ReadingError):
        draw_laptop_id(label, b"abcd")
