"""Decisions: how a person's answer to a question becomes lines that travel and close it.

Only drafts are made here. A decision lists everything it was made over, so it settles the same
question on every machine; taken back, the question is open again as it was.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.merge.conflicts import STRUCK_OUT
from fitcore.problems import Problem, ReadingError
from fitcore.record.edits import draft_chosen, reason_text
from fitcore.record.entries import Draft
from fitcore.record.reading import read_reading
from fitcore.safety.session_answers import ASSESSMENT_KEYS
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from fitcore.merge.conflicts import Candidate, Conflict
    from fitcore.record.entries import Value

_OWN = ("by", "at", "what", "is", "instead_of")
_NOT_COPIED = (*_OWN, *ASSESSMENT_KEYS)
"""A coordinator's choice is no assessment of the leg, so it never lifts a hold."""


def draft_choice(
    conflict: Conflict, candidate: Candidate, *, who: str, why: str, at: datetime
) -> Draft:
    """Choose one of a question's values, for the session's file.

    What the chosen line carries besides its value, such as a prescriber's limits, is written again.
    The finding of an assessment is not: what it lifted is asked anew.

    Args:
        conflict: the question; not one about clients' codes, which `clients` answers.
        candidate: one of its candidates.
        who: who decides.
        why: why.
        at: the instant, from the caller's clock.

    Raises:
        ReadingError: the candidate is not one of this question's, or no reason was given.
    """
    if candidate not in conflict.candidates or conflict.kind in ("clients", "group"):
        raise ReadingError(
            Problem(
                code="no_such_choice",
                text=say("This is not one of the values to choose from."),
                mend=say("Look at the question again; it may have changed."),
            )
        )
    if conflict.kind != "answer":
        return _choose_reading(conflict, candidate, who, why, at)
    chosen = candidate.entries[0]
    more = {key: value for key, value in chosen.fields.items() if key not in _NOT_COPIED}
    return _decision(conflict, candidate.value, more, at, _told(who, why))


def draft_other_value(
    conflict: Conflict, value: Value, *, who: str, why: str, at: datetime
) -> Draft:
    """Settle a question about an answered field with a value nobody brought.

    Raises:
        ReadingError: the question is about a reading or about codes, or no reason was given.
    """
    if conflict.kind != "answer":
        raise ReadingError(
            Problem(
                code="no_such_choice",
                text=say("Only one of the values that were read can be chosen."),
                mend=say("Read the tape again where none of them can be right."),
            )
        )
    return _decision(conflict, value, {}, at, _told(who, why))


def _decision(
    conflict: Conflict,
    value: Value,
    more: Mapping[str, Value],
    at: datetime,
    told: Mapping[str, Value],
) -> Draft:
    # A prescriber's decision has a reason of its own: it stays, and ours stands beside it.
    clashing = {f"decided_{key}": told[key] for key in told if key in more}
    return Draft(
        "decisions",
        at,
        {
            "what": conflict.field,
            "is": value,
            "instead_of": list(conflict.lineage),
            **told,
            **more,
            **clashing,
        },
    )


def _choose_reading(
    conflict: Conflict, candidate: Candidate, who: str, why: str, at: datetime
) -> Draft:
    if candidate.value == STRUCK_OUT and candidate.entries[0].array == "withdrawn":
        return Draft("withdrawn", at, {"takes_back": list(conflict.lineage), **_told(who, why)})
    return draft_chosen(read_reading(candidate.entries[0]), conflict.lineage, who, why, at)


def _told(who: str, why: str) -> dict[str, Value]:
    return {"who": clean(who).text, "why": reason_text(why)}
