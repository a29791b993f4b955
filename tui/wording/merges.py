"""What a merge or carrying back came to: sessions, what is missing, what a stick lacked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.disk.archive_parts import Merging
    from fitcore.disk.carrying_back import CarriedBack
    from fitcore.merge.gaps import Gap
    from fitcore.merge.report import MergeReport


def merged_lines(report: MergeReport) -> list[str]:
    """Say how many sessions are new or changed, and how many questions were settled."""
    lines = [
        say(
            "Sessions: {added} new, {updated} changed, {unchanged} unchanged.",
            added=report.added,
            updated=report.updated,
            unchanged=report.unchanged,
        )
    ]
    if report.conflicts_settled:
        told = say(
            "Questions settled by what was brought: {count}.", count=report.conflicts_settled
        )
        lines.append(told)
    return lines


def gap_lines(report: MergeReport) -> list[str]:
    """Say which entries of a laptop are missing, and which numbers were used twice."""
    clones = [
        say(
            "! {laptop} used number {number} twice: a restored backup or a copied disk? "
            "Both are kept: {places}.",
            laptop=clone.laptop,
            number=clone.number,
            places=", ".join(clone.places),
        )
        for clone in report.clones
    ]
    return [*map(_gap_line, report.gaps), *clones]


def _gap_line(gap: Gap) -> str:
    words = (
        say("! {laptop}: entry {first} is missing.", laptop=gap.laptop, first=gap.first)
        if gap.first == gap.last
        else say(
            "! {laptop}: entries {first} to {last} are missing.",
            laptop=gap.laptop,
            first=gap.first,
            last=gap.last,
        )
    )
    if not gap.is_end:
        return say("{gap} Merge that laptop's newest folder.", gap=words)
    return say(
        "{gap} They are not here yet: its laptop.toml has given these numbers. Was the stick "
        "copied to the end? Merge that laptop's newest folder.",
        gap=words,
    )


def remark_lines(merging: Merging) -> list[str]:
    """Say of which sticks nothing, or perhaps not all, was taken."""
    nothing = [
        say("! {stick}: nothing of ours is on it.", stick=visible(str(stick)))
        for stick in merging.nothing_on
    ]
    unfinished = [
        say(
            "{folder}: it has no day's list, or not all of it is there. Was copying it finished? "
            "What is there was taken.",
            folder=visible(str(folder)),
        )
        for folder in merging.unfinished
    ]
    return [*nothing, *unfinished]


def is_any_carried(carried: CarriedBack) -> bool:
    """Whether anything lies on the stick for the laptops."""
    return bool(carried.written or carried.unchanged)


def carried_words(carried: CarriedBack) -> str:
    """Say how many files lie on a stick for the laptops; or that nothing could be carried."""
    if not is_any_carried(carried):
        return say("Nothing could be carried: every file stays in the archive, see below.")
    return say(
        "{written} files written, {unchanged} were there already; all were read back.",
        written=carried.written,
        unchanged=carried.unchanged,
    )
