"""What is still doubtful about an open session, worst first, and which field mends it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.flags import Flag, Level, told_once
from fitcore.points import Kind, place_words, side_words
from fitcore.protocol import is_done
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.protocol import Step
    from tui.desk import Desk


@dataclass(frozen=True, slots=True)
class ReviewLine:
    """One doubt, and the field it is about where it is about one."""

    flag: Flag
    step: Step | None

    @property
    def text(self) -> str:
        """The doubt in words, behind its sign and the leg."""
        sign = "!!" if self.flag.level is Level.BLOCK else "! "
        leg = f"{side_words(self.flag.side)} " if self.flag.side else ""
        return f"{sign} {leg}{self.flag.text}"


def review_lines(desk: Desk) -> list[ReviewLine]:
    """Return what is doubtful enough to look at before the result, worst first.

    What the hour says is told on the result: it cannot be mended by measuring again now.
    """
    return [
        ReviewLine(flag, step_of(desk, flag)) for flag in told_once(desk.flags) if _is_doubt(flag)
    ]


def _is_doubt(flag: Flag) -> bool:
    """Whether a flag belongs to the review; what a repeat has settled is a note by now."""
    mendable = flag.about == "reading" or flag.code == "dent"
    differs = flag.code == "conflict" and flag.point is not None
    return flag.level is Level.BLOCK or (flag.level is Level.WARN and (mendable or differs))


def step_of(desk: Desk, flag: Flag) -> Step | None:
    """Return the field that mends a doubt: its place's first open one, else its last."""
    if flag.point is None:
        return None
    steps = [
        step
        for step in desk.steps
        if step.point is flag.point
        and (flag.side is None or step.side is flag.side)
        and (step.kind is (flag.kind or step.kind) or (step.or_shoe and flag.kind is Kind.SHOE))
    ]
    still_open = [step for step in steps if not is_done(step, desk.readings)]
    return next(iter(still_open), steps[-1] if steps else None)


def next_doubt(desk: Desk) -> Step | None:
    """Return the next field in doubt after the present one, going round; None where none is."""
    doubtful = [line.step for line in review_lines(desk) if line.step is not None]
    order = [*range(desk.index + 1, len(desk.steps)), *range(desk.index + 1)]
    return next((desk.steps[index] for index in order if desk.steps[index] in doubtful), None)


def doubt_words(desk: Desk, step: Step) -> str:
    """Return what is doubtful about a field.

    A doubt names the first value, which stays hidden while its repeat is to come.
    """
    if not desk.shows(step.place):
        return say("This reading is in doubt: measure it as if for the first time.")
    return " ".join(line.flag.text for line in review_lines(desk) if line.step == step)


def review_heading(desk: Desk) -> str:
    """Return how much is still doubtful, in one sentence."""
    count = len(review_lines(desk))
    if count == 1:
        return say("One thing is doubtful. Look at it before the client leaves.")
    return say("{count} things are doubtful. Look at them before the client leaves.", count=count)


def mend_words(line: ReviewLine) -> str:
    """Return what Enter does on a line."""
    if line.step is None:
        return say("Enter goes to the questions before measuring.")
    kind = Kind.GIRTH if line.step.kind is Kind.GIRTH else line.step.kind
    return say("Enter goes to {place}.", place=place_words(line.step.point, kind))
