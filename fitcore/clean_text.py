"""Text hygiene: the one function all text from outside passes, on entry and on load.

Control characters can steer a terminal (an escape sequence in a name changed a window's title when
tried), and direction overrides make a line read other than it is. They are dropped and said.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

MOST_CHARACTERS = 2_000
"""Longest text kept from one field; ours. A longer paste is a slip, and the cut is said."""

_JOINERS = frozenset("\u200c\u200d")
"""Invisible, but needed to write some languages."""

_DROPPED_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Controls, invisible format characters such as direction overrides, and what is no character."""


@dataclass(frozen=True, slots=True)
class Cleaned:
    """Text that is safe to store and to show, and what was taken out of it."""

    text: str
    dropped: tuple[str, ...]
    """Names such as `U+001B`, each once, in order of appearance; `too long` where it was cut."""


def clean(text: str, *, keep_newlines: bool = False, most: int = MOST_CHARACTERS) -> Cleaned:
    """Make text from outside safe to store and show.

    NFC-composes, drops control, surrogate, private-use and unassigned characters, direction
    overrides and other invisible ones, and turns a tab into a blank.

    Args:
        text: anything a person typed or a file held.
        keep_newlines: whether a line break may stay (remarks only).
        most: longest text kept, in characters.
    """
    if len(text) <= most and text.isascii() and text.isprintable():
        return Cleaned(text.strip(), ())  # nearly all there is: nothing to compose, nothing unsafe
    kept: list[str] = []
    dropped: dict[str, None] = {}
    for character in unicodedata.normalize("NFC", text):
        if character == "\t":
            kept.append(" ")
        elif character == "\n" and keep_newlines:
            kept.append(character)
        elif is_unsafe(character):
            dropped[f"U+{ord(character):04X}"] = None
        else:
            kept.append(character)
    # Composed once more: what was dropped may have stood between two characters that compose.
    cleaned = unicodedata.normalize("NFC", "".join(kept)).strip()
    if len(cleaned) > most:
        cleaned = cleaned[:most].rstrip()
        dropped["too long"] = None
    return Cleaned(cleaned, tuple(dropped))


def is_unsafe(character: str) -> bool:
    """Whether one character may neither be stored nor shown."""
    return character not in _JOINERS and unicodedata.category(character) in _DROPPED_CATEGORIES


def without_unsafe(text: str) -> str:
    """Return text from a file as if it had been typed here; line breaks stay, nothing is cut."""
    blanked = unicodedata.normalize("NFC", text).replace("\t", " ")
    kept = "".join(c for c in blanked if c == "\n" or not is_unsafe(c))
    return unicodedata.normalize("NFC", kept)


def visible(text: str) -> str:
    """Return text with every unsafe character made visible, for file names and messages."""
    if text.isprintable():
        return text  # nearly all there is; Python calls less printable than is safe here
    return "".join(f"<U+{ord(c):04X}>" if is_unsafe(c) else c for c in text)
