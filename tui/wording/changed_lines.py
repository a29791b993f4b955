"""Lines changed outside the program in words: what was done to them, whose they are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.words import say
from tui.wording.sittings import codes_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.merge.proposals import ChangedFile, Proposal
    from fitcore.record.session import Session


def change_words(proposal: Proposal) -> str:
    """Return what was done to a line."""
    return {
        "changed": say("changed outside the program"),
        "added": say("added outside the program, or its sealed file has not come"),
        "missing": say("removed outside the program"),
    }[proposal.change.value]


def line_now(proposal: Proposal) -> str:
    """Return the line as it is found now, raw."""
    return proposal.proposed.line if proposal.proposed is not None else say("not there")


def unsealed_words(file: ChangedFile) -> str:
    """Say of a file how many of its lines nothing sealed vouches for; no full stop."""
    return say(
        "{count} lines of {file} came without their sealed original",
        count=len(file.proposals),
        file=f"{file.about.name}.toml",
    )


def unsealed_codes(file: ChangedFile, session: Session | None) -> str:
    """Return whose the lines of such a file are: by the session, else by the lines themselves.

    Args:
        file: the file.
        session: the session it is about, as the archive holds it; None where it has none.

    Returns:
        The client's code, several where they are in question; empty where neither says it.
    """
    now = (line.proposed for line in file.proposals)
    codes = {e.text("is") for e in now if e is not None and e.text("what") == "client"}
    return codes_of(session) or " / ".join(sorted(codes))


def copies_differ_words() -> str:
    """Say why not all lines of a file can be taken."""
    return say("Copies of this file differ: not all of the lines can be taken.")


def unusable_words(whys: Mapping[str, str]) -> tuple[str, ...]:
    """Say that not all lines of a file can be taken, and why of each that cannot.

    Args:
        whys: a sentence or two for each such line, by its proposal's id.
    """
    return (
        *(say("! {why}", why=why) for why in whys.values()),
        say("So not all can be taken. Such a line is refused alone with:"),
        *(f"  anklefirst decide {id_} refused --who CODE --why W --data DIR" for id_ in whys),
    )
