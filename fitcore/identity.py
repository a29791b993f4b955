"""Names that must be unique without a network: laptops, entries, sessions and client codes.

Randomness is passed in. Nothing here reads a host name or a clock.
"""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass

from fitcore.problems import Problem, ReadingError
from fitcore.words import say

LAPTOP_ID = re.compile(r"[a-z][a-z0-9]{0,11}-[a-z0-9]{4}")
LAPTOP_LABEL = re.compile(r"[a-z][a-z0-9]{0,11}")
MOST_LABEL_CHARACTERS = 12
_ENTRY_ID = re.compile(rf"({LAPTOP_ID.pattern}):([1-9][0-9]{{0,14}})")
SESSION_ID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
OWN_CODE = re.compile(r"([a-z][a-z0-9]{0,11})-([0-9]{1,6})-([0-9A-Z])")
MOST_CODE_CHARACTERS = 40
"""Longest client or staff code; ours, so that lists stay readable at 80 columns."""

_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Letters of a laptop id: without i, l, o, 0 and 1, which are misread on paper."""

_CHECK_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True, order=True)
class EntryId:
    """Which laptop wrote an entry and its gap-free number there; sorts by laptop, then number."""

    laptop: str
    number: int

    def __str__(self) -> str:
        return f"{self.laptop}:{self.number}"

    @classmethod
    def parse(cls, text: str) -> EntryId:
        """Read `tern-k7qd:92`.

        Raises:
            ReadingError: not such a name.
        """
        match = _ENTRY_ID.fullmatch(text)
        if match is None:
            raise ReadingError(
                Problem(
                    code="bad_entry_id",
                    text=say("'{text}' is not the name of an entry.", text=text[:60]),
                    mend=say("An entry's name looks like tern-k7qd:92."),
                )
            )
        return cls(match[1], int(match[2]))


def draw_laptop_id(label: str, random_bytes: bytes) -> str:
    """Return a laptop id: its label and four letters drawn from random bytes.

    Args:
        label: what the team calls the laptop, lower case letters and digits.
        random_bytes: at least four.

    Raises:
        ReadingError: the label cannot be used.
    """
    if not LAPTOP_LABEL.fullmatch(label):
        raise ReadingError(
            Problem(
                code="bad_label",
                text=say("'{label}' cannot be a laptop's label.", label=label[:40]),
                mend=say("Use up to 12 lower case letters or digits, a letter first: tern, bag2."),
            )
        )
    return label + "-" + "".join(_LETTERS[byte % len(_LETTERS)] for byte in random_bytes[:4])


def draw_copy_id(label: str, random_bytes: bytes) -> str:
    """Return the id of a laptop that goes on from a copy: another label, too.

    Both the copy and what it was copied from go on to number new clients, and the label is the
    front of a client's code: the same label would give two people one code.

    Args:
        label: the label of the laptop it is a copy of.
        random_bytes: at least six.
    """
    stem = label[: MOST_LABEL_CHARACTERS - 2]
    drawn = "".join(_LETTERS[byte % len(_LETTERS)] for byte in random_bytes[4:6])
    return draw_laptop_id(stem + drawn, random_bytes)


def make_uuid7(milliseconds: int, random_bytes: bytes) -> str:
    """Return a UUIDv7 (RFC 9562, 5.7) from Unix milliseconds and ten random bytes."""
    value = (milliseconds & (1 << 48) - 1) << 80 | int.from_bytes(random_bytes[:10], "big")
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return str(uuid.UUID(int=value))


def uuid7_milliseconds(session_id: str) -> int:
    """Return the Unix milliseconds held in a session id's time bits."""
    return uuid.UUID(session_id).int >> 80


def check_character(text: str) -> str:
    """Return the ISO 7064 MOD 37,36 check character of letters and digits (case ignored).

    Source: ISO 7064, hybrid system MOD 37,36 (from memory; tested against a published example).
    """
    product = 36
    for character in text.upper():
        if character in _CHECK_ALPHABET:
            product = ((product + _CHECK_ALPHABET.index(character)) % 36 or 36) * 2 % 37
    return _CHECK_ALPHABET[(1 - product) % 36]


def own_client_code(label: str, number: int) -> str:
    """Return the code of a laptop's n-th client: `tern-014-0`."""
    stem = f"{label}-{number:03d}"
    return f"{stem}-{check_character(stem)}"


def judge_client_code(code: str) -> Problem | None:
    """Return what is wrong with a client's code, or None.

    A code of our own form must check; any other is taken as it is.
    """
    if not code or len(code) > MOST_CODE_CHARACTERS:
        return Problem(
            code="bad_client_code",
            text=say("A client's code has 1 to {most} characters.", most=MOST_CODE_CHARACTERS),
            mend=say("Type the code from the service's list; never a name."),
        )
    match = OWN_CODE.fullmatch(code)
    if match is None:
        return None
    expected = check_character(f"{match[1]}-{match[2]}")
    if match[3] == expected:
        return None
    return Problem(
        code="client_code_mistyped",
        text=say("{code}: the last character does not fit the others.", code=code),
        mend=say(
            "Look at the code again: a digit is wrong, or two changed places. A code of another "
            "list that looks like ours is written without its last dash."
        ),
    )
