"""Reasons given for keeping a reading that something spoke against, and what each was for.

A reason for one thing answers no other: an ankle kept because the leg is thin says nothing of a
clock that is wrong. So each is stored with the codes of the doubts it was asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.flags import Flag, Level
from fitcore.record.session import entry_order

if TYPE_CHECKING:
    from fitcore.record.session import Session


@dataclass(frozen=True, slots=True)
class Reason:
    """A reason stored beside a reading."""

    why: str
    codes: tuple[str, ...]
    """Codes of the doubts it was asked for."""
    side: str
    """The reading's leg, as in the file."""
    round: int
    """Which time round the reading was."""


def wants_reason(flag: Flag) -> bool:
    """Whether a reading is kept against this doubt only with a reason.

    What lies outside the possible wants one on a swollen leg too, where it blocks nothing.
    """
    return flag.level is Level.BLOCK or flag.code == "hard_range"


def reasons_given(session: Session) -> tuple[Reason, ...]:
    """Return the session's reasons in file order; that of a reading struck out no longer counts.

    One given for a reading that was corrected since still does: it was asked once in a session.
    """
    found = []
    for entry in sorted(session.heads.live, key=entry_order):
        codes, number = entry.names("why_for"), entry.fields.get("round", 1)
        if isinstance(number, bool) or not isinstance(number, int):
            continue
        if entry.array == "readings" and codes:
            found.append(Reason(entry.text("why"), codes, entry.text("side"), number))
    return tuple(found)


def reason_for(session: Session, code: str) -> str:
    """Return the reason given last for a doubt about the whole session; empty where none was."""
    given = [reason.why for reason in reasons_given(session) if code in reason.codes]
    return given[-1] if given else ""


def reason_for_set(session: Session, code: str, side: str, number: int) -> str:
    """Return the reason given last for a doubt about one time round of one leg; empty for none."""
    given = [
        reason.why
        for reason in reasons_given(session)
        if code in reason.codes and (reason.side, reason.round) == (side, number)
    ]
    return given[-1] if given else ""
