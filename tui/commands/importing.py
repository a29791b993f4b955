"""`import`: a measuring sheet in CSV into sessions, so that doing it twice changes nothing."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from fitcore.clean_text import is_unsafe, visible
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.session_files import read_session_file, session_path
from fitcore.doubts.plausibility import judge_range
from fitcore.instants import parse_zone
from fitcore.moment.clock import judge_instant, judge_local_time
from fitcore.problems import FileFault, FitError, Problem
from fitcore.record.edits import draft_answer, draft_reading
from fitcore.record.fields import answer_words
from fitcore.record.session import Session
from fitcore.record.sheet import Refusal, SheetRow, group_rows, read_sheet, sheet_session_id
from fitcore.words import say
from tui.commands import ExitCode, Outcome, flag_line, needs_person
from tui.commands.already_there import AlreadyThere
from tui.commands.finding import require_paths

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.flags import Flag
    from fitcore.moment.time_rules import TimeRules
    from fitcore.profile_models import Ranges
    from fitcore.record.entries import Draft, Value

LARGEST_SHEET = 64 << 20
"""Bytes; about 800,000 rows (ours). A larger file is no measuring sheet."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MOST_NOTES = 10
"""Lines told one by one; beyond, how many more there are (ours)."""


def import_sheet(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Import one sheet; every row that is not taken is told with its line and why."""
    path: Path = arguments.sheet
    require_paths([path])
    text = _read_text(path)
    zone = parse_zone(arguments.zone or surroundings.zone)
    try:
        rows, refused, without_offset = read_sheet(text, zone)
    except FitError as error:
        error.problem = error.problem.at(path=str(path))
        raise
    notes = _cleaned_notes(text)
    if without_offset:
        notes.append(
            say(
                "Times without an offset: {count}, taken as {zone}.",
                count=without_offset,
                zone=zone.key,
            )
        )
    done = _Import(list(refused), zone.key if arguments.zone or without_offset else "")
    profiles = load_profiles(own=data)
    if rows:
        with DataFolder(data, surroundings) as folder:
            done.add(rows, folder, surroundings.now())
            notes += folder.notes
    refusals = sorted(done.refused, key=lambda refusal: refusal.line)
    lines = [f"{visible(str(path))}:{refusal.line}: {refusal.why}" for refusal in refusals]
    lines.append(
        say(
            "Added: {added}. Already there: {skipped}. Refused: {refused}. Sessions: {sessions}.",
            added=len(done.added),
            skipped=done.skipped,
            refused=len(refusals),
            sessions=len(done.sessions),
        )
    )
    worries = [*done.notes, *_impossible(done.added, profiles.ranges)]
    doubts = _time_doubts(done.added, zone.key, profiles.time_rules, surroundings.now())
    notes += [f"{visible(str(path))}:{line}: {flag.text}" for line, flag in doubts]
    blocked = needs_person(flag for _, flag in doubts)
    told = [
        {"line": line, "code": flag.code, "level": flag.level.value, "text": flag.text}
        for line, flag in doubts
    ]
    return Outcome(
        ExitCode.NEEDS_PERSON if refusals or worries or blocked else ExitCode.FINE,
        {
            **({"doubts": told} if told else {}),
            "added": len(done.added),
            "skipped": done.skipped,
            "refused": [refusal.as_json() for refusal in refusals],
            "sessions": len(done.sessions),
        },
        lines,
        [*notes, *worries],
    )


def _time_doubts(
    rows: Iterable[SheetRow], zone: str, rules: TimeRules, now: datetime
) -> list[tuple[int, Flag]]:
    """Say which rows' times are doubtful, each time once, with the first line that has it.

    A time without an offset is judged as a clock on the wall shows it: an hour that came twice or
    never is told, and the row kept as it was taken.
    """
    first: dict[tuple[datetime, bool], int] = {}
    for row in rows:
        first.setdefault((row.measured_at, row.took_zone), row.line)
    return [
        (line, flag)
        for (at, took_zone), line in first.items()
        for flag in (
            *judge_instant(at, zone if took_zone else "", rules, now),
            *(judge_local_time(at.replace(tzinfo=None), zone, rules) if took_zone else ()),
        )
    ]


class _Import:
    """What one import did."""

    def __init__(self, refused: list[Refusal], zone: str) -> None:
        self.refused = refused
        self.added: list[SheetRow] = []
        self.skipped = 0
        self.sessions: set[str] = set()
        """Ids of the sessions that were written."""
        self.notes: list[str] = []
        """What a person must look at, though every row was taken."""
        self._zone = zone
        """Of the times without an offset; empty where every time had its own."""

    def add(self, rows: Sequence[SheetRow], folder: DataFolder, now: datetime) -> None:
        """Add rows, one session per client, measurer and local day."""
        fileable = [row for row in rows if self._can_be_filed(row)]
        there = AlreadyThere(folder.path, {row.client for row in fileable})
        for (client, measurer, day), group in group_rows(fileable).items():
            start = datetime.fromisoformat(day).replace(tzinfo=UTC)
            session_id = sheet_session_id(client, start, measurer)
            fresh = self._sort_out(group, there)
            if not fresh:
                continue
            try:
                session = _session_for(folder, session_id, fresh[0])
                drafts = self._drafts(session, fresh, now)
                folder.append(session, drafts)
            except FileFault as fault:
                why = f"{fault.problem.text} {fault.problem.mend}"
                self.refused += [Refusal(row.line, why) for row in fresh]
                continue
            self.added += fresh
            self.sessions.add(session_id)

    def _can_be_filed(self, row: SheetRow) -> bool:
        if datetime.fromisoformat(row.day).replace(tzinfo=UTC) >= _EPOCH:
            return True
        text = say("{day} lies before 1970: no session can be filed there.", day=row.day)
        self.refused.append(Refusal(row.line, f"{text} {say('Correct the date.')}"))
        return False

    def _sort_out(self, group: Sequence[SheetRow], there: AlreadyThere) -> list[SheetRow]:
        fresh = []
        for row in group:
            found = there.judge(row)
            if found is None:
                fresh.append(row)
                there.note(row)
            elif found == "":
                self.skipped += 1
            else:
                self.refused.append(Refusal(row.line, found))
        return fresh

    def _drafts(self, session: Session, rows: Sequence[SheetRow], now: datetime) -> list[Draft]:
        first = rows[0]
        # The session's answer speaks for every reading without a posture of its own: so it is
        # answered only where no row left it open, and never after readings were stored.
        told = first.posture if all(row.posture for row in rows) else ""
        posture = session.text("posture") if session.entries else told
        rising = session.value("rising_at") or next(
            (r.rising_at for r in rows if r.rising_at), None
        )
        answers: dict[str, Value | None] = {
            "client": first.client,
            "measurer": first.measurer,
            "zone": self._zone,
            "posture": posture,
            "rising_at": rising,
        }
        drafts = [
            draft
            for what, value in answers.items()
            if value and not session.answer(what).heads
            if (draft := draft_answer(session, what, value, now)) is not None
        ]
        for row in rows:
            own = row.posture if row.posture != posture else ""
            reading = draft_reading(row.place, row.round, row.typed, row.measured_at)
            fields = {**reading.fields, "row": row.digest, "posture": own or None}
            drafts.append(replace(reading, fields=fields))
            if row.rising_at is not None and row.rising_at != rising:
                self.notes.append(
                    say(
                        "Line {line}: rising_at differs from the session's, which stays: {kept}.",
                        line=row.line,
                        kept=answer_words(rising),
                    )
                )
        return drafts


def _impossible(rows: Sequence[SheetRow], ranges: Ranges) -> list[str]:
    """Tell the values that cannot be right; they are stored all the same."""
    told = []
    for row in rows:
        flag = judge_range(ranges, row.place, row.typed)
        if flag is not None and needs_person([flag]):
            told.append(say("Line {line}: {text}", line=row.line, text=flag_line(flag)))
    return told


def _session_for(folder: DataFolder, session_id: str, row: SheetRow) -> Session:
    """Return the session a group of rows belongs to, empty where it is not there yet.

    Raises:
        FileFault: its file cannot be used, or it was given to another client since.
    """
    path = session_path(folder.path, session_id)
    if not path.exists() and not path.is_symlink():
        return Session(session_id, frozenset())
    session = folder.read(session_id)
    if session is None:
        raise FileFault(read_session_file(path).problems[0])
    for what, wanted in (("client", row.client), ("measurer", row.measurer)):
        if session.answer(what).heads and wanted not in session.answer(what).values:
            raise FileFault(
                Problem(
                    code="session_changed_hands",
                    text=say(
                        "Session {id} has another {what} by now.", id=session_id[:13], what=what
                    ),
                    mend=say("Record the reading by hand where it belongs."),
                )
            )
    return session


def _read_text(path: Path) -> str:
    """Read the sheet's text.

    Raises:
        FileFault: it is no text file in UTF-8.
    """
    size = path.stat().st_size if path.is_file() else -1
    raw = path.read_bytes() if 0 <= size <= LARGEST_SHEET else b""
    offset: int | None = None
    mend = say("Save the table as CSV, UTF-8, and import that file.")
    if size < 0:
        code, text = "not_a_regular_file", say("This is not an ordinary file.")
    elif size > LARGEST_SHEET:
        code, text = "too_big", say("The file has {size} bytes: no measuring sheet.", size=size)
    elif raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        code, text = "utf16", say("The file was saved as UTF-16.")
    elif b"\0" in raw:
        code, text = "binary", say("The file holds NUL bytes: it is not a text file.")
        offset = raw.index(b"\0")
    else:
        try:
            return raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            code, text = "not_utf8", say("The file holds bytes that are not UTF-8 text.")
            offset = error.start
    line = None if offset is None else raw.count(b"\n", 0, offset) + 1
    raise FileFault(Problem(code=code, text=text, mend=mend, path=str(path), line=line))


def _cleaned_notes(text: str) -> list[str]:
    """Say what is taken out of the sheet's text, line by line."""
    notes = []
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), 1):
        dropped = dict.fromkeys(c for c in line if c != "\t" and is_unsafe(c))
        if dropped:
            names = ", ".join(f"U+{ord(c):04X}" for c in dropped)
            notes.append(say("Line {line}: {names} was taken out.", line=number, names=names))
    more = len(notes) - _MOST_NOTES
    return notes if more <= 0 else [*notes[:_MOST_NOTES], say("... and {count} more.", count=more)]
