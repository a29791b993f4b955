"""What a merge or a check of an archive came to, line by line, for people."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.kept_files import bytes_of, whose
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from fitcore.disk.kept_files import KeptFile, Whose
    from fitcore.merge.gaps import Gap
    from fitcore.merge.report import MergeReport, SetAside


def taken_up_line(new_lines: Mapping[str, int]) -> list[str]:
    """Say how many lines of which kind were taken up; nothing where there were none.

    Args:
        new_lines: how many, by the array they stand in.
    """
    one = {
        "readings": say("1 reading"),
        "answers": say("1 answer"),
        "decisions": say("1 decision"),
        "remarks": say("1 remark"),
        "withdrawn": say("1 line struck out"),
        "links": say("1 link"),
        "distincts": say("1 pair of codes kept apart"),
        "outside": say("1 ruling on a changed line"),
        "clock_notes": say("1 clock note"),
        "erasures": say("1 erasure"),
    }
    many = {
        "readings": say("{count} readings", count=new_lines.get("readings")),
        "answers": say("{count} answers", count=new_lines.get("answers")),
        "decisions": say("{count} decisions", count=new_lines.get("decisions")),
        "remarks": say("{count} remarks", count=new_lines.get("remarks")),
        "withdrawn": say("{count} lines struck out", count=new_lines.get("withdrawn")),
        "links": say("{count} links", count=new_lines.get("links")),
        "distincts": say("{count} pairs of codes kept apart", count=new_lines.get("distincts")),
        "outside": say("{count} rulings on changed lines", count=new_lines.get("outside")),
        "clock_notes": say("{count} clock notes", count=new_lines.get("clock_notes")),
        "erasures": say("{count} erasures", count=new_lines.get("erasures")),
    }
    told = [
        one[array] if new_lines[array] == 1 else words
        for array, words in many.items()
        if new_lines.get(array)
    ]
    others = sum(count for array, count in new_lines.items() if array not in many)
    if others == 1:
        told.append(say("1 other line"))
    elif others:
        told.append(say("{count} other lines", count=others))
    return [say("Taken up: {lines}.", lines=", ".join(told))] if told else []


def set_aside_lines(
    files: Sequence[SetAside], needless: Sequence[SetAside], archive: Path
) -> list[str]:
    """Say which files were set aside: what somebody must see to, then copies with nothing to do."""
    lines = [
        say(
            "! Set aside: {path}: {text}{whose}",
            path=visible(file.path),
            text=visible(file.text),
            whose=_in_brackets(whose(bytes_of(file, archive))),
        )
        for file in files
    ]
    return [
        *lines,
        *(say("A copy, nothing to do: {path}.", path=visible(file.path)) for file in needless),
    ]


def kept_lines(files: Sequence[KeptFile]) -> list[str]:
    """Say what an archive keeps as copies that nobody can use as they stand."""
    to_see = [file for file in files if not file.is_needless]
    lines = []
    if len(to_see) == 1:
        lines.append(say("1 file is set aside and not read:"))
    elif to_see:
        lines.append(say("{count} files are set aside and not read:", count=len(to_see)))
    lines += [
        say(
            "  {path}: {text}{whose} To do: {mend}",
            path=visible(file.told),
            text=visible(file.text),
            whose=_in_brackets(file.whose),
            mend=visible(file.mend),
        )
        for file in to_see
    ]
    if needless := len(files) - len(to_see):
        lines.append(
            say("1 more is a copy of what is here whole: nothing to do.")
            if needless == 1
            else say(
                "{count} more are copies of what is here whole: nothing to do.", count=needless
            )
        )
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


def whole_line(sessions: int, ledgers: int) -> str:
    """Say how many sessions and ledgers are whole."""
    return say(
        "Whole: {sessions}, {ledgers}.",
        sessions=say("1 session") if sessions == 1 else say("{count} sessions", count=sessions),
        ledgers=say("1 ledger") if ledgers == 1 else say("{count} ledgers", count=ledgers),
    )


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


def _in_brackets(found: Whose) -> str:
    return f" ({visible(found.words)})" if found.words else ""
