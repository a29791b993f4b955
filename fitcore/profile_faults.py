"""What is wrong with a value of a profile file, in plain words: never a library's own sentence."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.points import Kind, Point
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping

IDENTIFIER = r"^[a-z0-9][a-z0-9-]{0,47}$"
"""How the id of a profile file is written."""


def fault_words(kind: str, found: object, limits: Mapping[str, object]) -> tuple[str, str]:
    """Say what is wrong with one value, and how to mend it.

    Args:
        kind: pydantic's short name of the fault, such as `missing` or `literal_error`;
            `missing_part` for what is missing in a list.
        found: the value as it stands in the file; quoted where it is text or a number.
        limits: what pydantic says was allowed.

    Returns:
        What is wrong and the mend, both as sentences. A fault of a kind that is not listed here is
        told in general words.
    """
    most, least = limits.get("max_length"), limits.get("min_length")
    number = _number_wanted(kind, limits)
    if number is not None:
        return number
    told = {
        "missing": (say("This is missing."), say("Add this key.")),
        "missing_part": (
            say("One part of the list is missing."),
            say("Write it after the others in [ ]."),
        ),
        "extra_forbidden": (
            say("This key means nothing here."),
            say("Remove this key, or check its spelling."),
        ),
        "string_type": (say("A text is wanted here."), say("Write it in double quotes.")),
        "string_too_short": (say("The text is empty or too short."), say("Write what is asked.")),
        "string_too_long": (
            say("The text is longer than {most} characters.", most=most),
            say("Write it shorter."),
        ),
        "string_pattern_mismatch": (
            say("{found} is not written as it must be.", found=quoted(found)),
            say("Use small letters, digits and hyphens, 48 at most.")
            if limits.get("pattern") == IDENTIFIER
            else say("Use letters, digits and the signs of the other files of its kind."),
        ),
        "bool_type": (say("Yes or no is wanted here."), say("Write true or false.")),
        "date_type": (
            say("A day is wanted here."),
            say("Write it like 2026-03-04, without quotes."),
        ),
        "too_short": (
            say("At least {least} must stand here.", least=least),
            say("Add what is missing."),
        ),
        "too_long": (
            say("Only {most} may stand here.", most=most),
            say("Take out what is too much."),
        ),
    }
    allowed = _allowed(kind, limits)
    if allowed:
        return (
            say("{found} is not allowed here.", found=quoted(found)),
            say("Allowed: {allowed}.", allowed=allowed),
        )
    told |= dict.fromkeys(
        ("tuple_type", "list_type", "set_type", "frozen_set_type"),
        (say("A list is wanted here."), say("Write its parts in [ ], with commas between.")),
    )
    told |= dict.fromkeys(
        ("dict_type", "model_type", "model_attributes_type"),
        (say("A table of keys is wanted here."), say("Write it as the other files of its kind.")),
    )
    general = (
        say("{found} is not of the kind wanted here.", found=quoted(found)),
        say("Write a value of the kind asked for."),
    )
    return told.get(kind, general)


def _number_wanted(kind: str, limits: Mapping[str, object]) -> tuple[str, str] | None:
    """Return the words for a number that is none, or is out of bounds; None for other faults."""
    mend = say("Correct the number.")
    told = {
        "greater_than": say("The number must be above {limit}.", limit=limits.get("gt")),
        "greater_than_equal": say("The number must be {limit} or more.", limit=limits.get("ge")),
        "less_than": say("The number must be below {limit}.", limit=limits.get("lt")),
        "less_than_equal": say("The number must be {limit} or less.", limit=limits.get("le")),
    }
    if kind in told:
        return told[kind], mend
    whole = (say("A whole number is wanted here."), say("Write it in digits, without quotes."))
    any_number = (say("A number is wanted here."), say("Write it in digits, without quotes."))
    if kind.startswith("int_"):
        return whole
    decimal = kind == "is_instance_of" and limits.get("class") == "Decimal"
    return any_number if decimal or kind.startswith(("decimal_", "float_")) else None


def _allowed(kind: str, limits: Mapping[str, object]) -> str:
    """Return what may stand where one of a few values must; empty for other faults."""
    if kind == "literal_error":
        return str(limits.get("expected")).replace("' or '", "', '")
    names = {"Kind": Kind, "Point": Point}.get(str(limits.get("class")))
    return ", ".join(names) if names is not None and kind == "is_instance_of" else ""


def quoted(found: object) -> str:
    """Return a value of a file as it is quoted in a sentence: never long, whatever it is."""
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, str):
        return f"'{found[:60]}'"
    if isinstance(found, int | Decimal):  # Python refuses to write out a very long integer
        return f"'{str(Decimal(found))[:60]}'"
    return say("What stands here")
