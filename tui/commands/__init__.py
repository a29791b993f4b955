"""What every command gives back, and the few things they share. Nothing in here prints.

A command is a function of the arguments, the data folder and the surroundings. It returns an
`Outcome` or raises `FitError`; `tui.command_line` turns either into text or one JSON document.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.points import side_words
from fitcore.problems import FitError, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.flags import Flag


class ExitCode(IntEnum):
    """How a run ended."""

    FINE = 0
    NEEDS_PERSON = 1
    """Done, and a person is needed: problems, refused rows, a `block` flag."""
    NOT_DONE = 2
    """Wrong use, or nothing could be done."""
    BY_SIGNAL = 3


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a command did."""

    code: ExitCode
    document: Mapping[str, object]
    """What `--json` prints."""
    lines: Sequence[str]
    """What is printed for people instead."""
    notes: Sequence[str] = ()
    """Said beside it on stderr, with `--json` too."""


if TYPE_CHECKING:
    from argparse import Namespace

    Command = Callable[[Namespace, Path, Surroundings], Outcome]


def wrong_use(text: str, mend: str, *, key: str | None = None) -> FitError:
    """Return the error for a call that cannot be meant as it stands."""
    return FitError(Problem(code="wrong_use", text=text, mend=mend, key=key))


def dropped_notes(what: str, text: str, *, keep_newlines: bool = False) -> tuple[str, ...]:
    """Say what cleaning took out of a text that came from outside; nothing where nothing was."""
    dropped = clean(text, keep_newlines=keep_newlines).dropped
    if not dropped:
        return ()
    return (say("{what}: {names} was taken out.", what=what, names=", ".join(dropped)),)


def flag_line(flag: Flag) -> str:
    """Write a flag for people; its level is a word, never only a colour or a sign."""
    levels = {"note": say("note"), "warn": say("doubt"), "block": say("must be settled")}
    side = f"{side_words(flag.side)}: " if flag.side is not None else ""
    return f"! {levels[flag.level]}: {side}{flag.text}"


def needs_person(flags: Iterable[Flag]) -> bool:
    """Whether a flag asks for a person: one of level `block`, or a question a file poses."""
    return any(flag.level == "block" or flag.about == "file" for flag in flags)
