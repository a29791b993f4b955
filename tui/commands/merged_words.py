"""What a merge or a check of an archive came to, line by line, for people."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.kept_files import bytes_of, whose
from fitcore.words import say
from tui.wording.set_aside import to_do_words, wrong_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from fitcore.disk.kept_files import KeptFile
    from fitcore.merge.report import SetAside


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
            "! Set aside: {path}: {wrong}",
            path=visible(file.path),
            wrong=visible(wrong_words(file.text, whose(bytes_of(file, archive)).words)),
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
            "  {path}: {wrong} {mend}",
            path=visible(file.told),
            wrong=visible(wrong_words(file.text, file.whose.words)),
            mend=visible(to_do_words(file.mend)),
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


def whole_line(sessions: int, ledgers: int) -> str:
    """Say how many sessions and ledgers are whole."""
    return say(
        "Whole: {sessions}, {ledgers}.",
        sessions=say("1 session") if sessions == 1 else say("{count} sessions", count=sessions),
        ledgers=say("1 ledger") if ledgers == 1 else say("{count} ledgers", count=ledgers),
    )
