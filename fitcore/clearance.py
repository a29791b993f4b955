"""May it be fitted? The one place that says whether a size may be offered.

Screen, command line, papers and exports all ask here. Screening questions do not exist yet, so no
leg is ever cleared and no size is ever an offer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.outcomes import Clearance
from fitcore.points import LEGS
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.points import Side
    from fitcore.session import Session


@dataclass(frozen=True, slots=True)
class Offer:
    """Whether a size may be offered for one leg, and the sentence that says why not."""

    clearance: Clearance
    offered: bool
    why: str


def judge_offer(session: Session, side: Side) -> Offer:  # noqa: ARG001 - screening reads both
    """Say whether any size may be offered for a leg.

    Args:
        session: the session; a leg nobody screened is `not_screened`, imports and old files too.
        side: the leg.
    """
    return Offer(
        Clearance.NOT_SCREENED,
        offered=False,
        why=say("Screening not done: size for information, not cleared to fit."),
    )


def screening_summary(session: Session) -> dict[str, object]:
    """Return the screening part of `fit --json`.

    `not_screened` is an outcome of its own here: nobody asked, which is neither *go* nor *ask*.
    """
    legs = {side.value: judge_offer(session, side).clearance.value for side in LEGS}
    return {
        "outcome": Clearance.NOT_SCREENED.value,
        "urgency": "none",
        "rules": [],
        "abpi": {"left": None, "right": None},
        "max_mmhg": None,
        "legs": legs,
    }


def cautions() -> str:
    """Return the base text of cautions for the screen and the README."""
    return say(
        "This program helps trained staff measure adults' legs and compare sizes. It does not "
        "diagnose, prescribe, or decide that compression is safe. Your training, local policy and "
        "the prescriber come first. A size is a starting point: check fit, skin and toes before "
        "leaving. Sizes differ between makers. Do not fit a leg that is newly swollen, hot, "
        "painful, cold, numb or changing colour, or has poor circulation, until a clinician has "
        "agreed. Chest pain, sudden breathlessness or coughing blood: call the emergency number "
        "now. New swelling or pain in one leg: medical help today."
    )


def wearer_cautions() -> str:
    """Return what a wearer must be told."""
    return say(
        "Wearers: if your toes become cold, numb, painful, pale or blue, take it off and phone us; "
        "if they do not recover quickly, get emergency help. Never cut, roll or fold it."
    )
