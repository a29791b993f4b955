"""Headless editing: new, set, record, correct, withdraw, remark.

The same drafts as the screen makes, through `fitcore.record.edits`; only the words around them
differ.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.screening_files import load_screening
from fitcore.disk.session_files import read_session_file, session_path
from fitcore.doubts.typed_doubts import doubt_typed
from fitcore.flags import codes_to_store, told_once
from fitcore.moment.conditions import flags_now
from fitcore.moment.postures import posture_to_store
from fitcore.moment.spacing import judge_set_now
from fitcore.points import Kind
from fitcore.problems import FileFault, Problem, ReadingError
from fitcore.record.edits import (
    Typed,
    draft_answer,
    draft_not_taken,
    draft_reading,
    draft_remark,
    draft_withdrawal,
    parse_typed,
)
from fitcore.record.fields import answer_words, parse_answer
from fitcore.record.last_time import LastTime
from fitcore.record.readings import Readings
from fitcore.record.session import Session, entry_order
from fitcore.safety.calves import judge_calves
from fitcore.safety.screening import answers_of
from fitcore.safety.screening_answers import ANSWER_PREFIX, PRESSURE_PREFIX
from fitcore.safety.screening_edits import draft_screening, parse_screening, screening_words
from fitcore.shoes import ShoeSize
from fitcore.words import say
from tui.commands import ExitCode, Outcome, dropped_notes, flag_line, needs_person, wrong_use
from tui.commands.finding import entries_named, find_entry_session, find_session, readable
from tui.commands.reading_arguments import (
    free_round,
    read_place,
    reading_words,
    tape_unit,
    value_words,
)
from tui.commands.session_reading import read_before

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from fitcore.disk.profile_files import Profiles
    from fitcore.disk.surroundings import Surroundings
    from fitcore.flags import Flag
    from fitcore.points import Place
    from fitcore.record.entries import Draft, Entry, Value
    from fitcore.record.reading import Reading
    from fitcore.safety.screening_book import ScreeningBook


def new(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Begin a session for a client; wrong answers are refused before anything is written."""
    now = surroundings.now()
    client = parse_answer("client", arguments.client, now)
    protocol = clean(arguments.protocol or "").text
    if arguments.protocol is not None:
        _require_protocol(data, protocol)
    with DataFolder(data, surroundings) as folder:
        answers: dict[str, Value] = {
            "client": client,
            "measurer": folder.laptop.measurer,
            "zone": surroundings.zone,
            "protocol": protocol,
        }
        empty = folder.new_session()
        drafts = [draft_answer(empty, what, value, now) for what, value in answers.items() if value]
        session = folder.append(empty, [draft for draft in drafts if draft is not None])
        notes = [*dropped_notes("client", arguments.client), *folder.notes]
    return Outcome(
        ExitCode.FINE,
        {"session": session.id, "entries": _names(empty, session)},
        [session.id],
        notes,
    )


def set_answer(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Answer one field of a session; an answer that stands already is not written again."""
    if arguments.what.startswith((ANSWER_PREFIX, PRESSURE_PREFIX)):
        return _answer_screening(arguments, data, surroundings)
    now = surroundings.now()
    value = parse_answer(arguments.what, arguments.answer, now)
    if arguments.what == "protocol":
        _require_protocol(data, str(value))
    notes = dropped_notes(arguments.what, arguments.answer)
    with _opened(data, surroundings, find_session(data, arguments.session)) as opened:
        draft = draft_answer(opened.session, arguments.what, value, now)
        said = say("{what}: {value}.", what=arguments.what, value=answer_words(value))
        if draft is None:
            return opened.outcome([], say("Nothing to do, it already says so."), said, notes=notes)
        return opened.outcome([draft], said, notes=notes)


def _answer_screening(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Answer one question of screening, with the rules it is judged by beside it."""
    book, _ = load_screening(data)
    value = parse_screening(book, arguments.what, arguments.answer)
    said = screening_words(book, arguments.what, value)
    notes = dropped_notes(arguments.what, arguments.answer)
    with _opened(data, surroundings, find_session(data, arguments.session)) as opened:
        answers = {arguments.what: value}
        at, about = surroundings.now(), _calves_told(opened.session, book, data)
        drafts = draft_screening(opened.session, book, answers, at, rest_on=about)
        if not drafts:
            return opened.outcome([], say("Nothing to do, it already says so."), said, notes=notes)
        return opened.outcome(drafts, said, notes=notes)


def _calves_told(session: Session, book: ScreeningBook, data: Path) -> Mapping[str, Sequence[str]]:
    """Return the readings that answers about the calves are about, by question."""
    earlier, _ = read_before(data, session)
    told = answers_of(session, book)
    calves = judge_calves(session, told, Readings(session), book, LastTime(earlier))
    return calves.answers_rest_on


def record(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Record one reading, or why it was not taken."""
    place = read_place(arguments.side, arguments.point, arguments.kind)
    if (arguments.value is None) == (arguments.not_taken is None):
        raise wrong_use(
            say("Either a VALUE or --not-taken REASON is needed."),
            say("Give one of the two."),
            key="VALUE",
        )
    notes = dropped_notes("VALUE", arguments.value or arguments.not_taken)
    with _opened(data, surroundings, find_session(data, arguments.session)) as opened:
        now = surroundings.now()
        readings = Readings(opened.session)
        number = free_round(readings, place, arguments.round)
        if arguments.not_taken is not None:
            reason = draft_not_taken(place, number, arguments.not_taken, now)
            words = say("not taken ({why})", why=str(reason.fields["not_taken"]))
            return opened.outcome([reason], reading_words(place, number, words), notes=notes)
        typed = parse_typed(place[2], arguments.value, tape_unit(opened.session))
        profiles = load_profiles(own=data)
        flags = _doubts(opened, place, typed, now, profiles)
        if place[2] is not Kind.SHOE:
            rules = profiles.rules.time
            took = judge_set_now(opened.session, readings, place[0], number, now=now, rules=rules)
            flags = (*flags, *took)
        draft = draft_reading(
            place,
            number,
            typed,
            now,
            doubts=_codes_at(place, flags),
            posture=posture_to_store(opened.session, place[2]),
        )
        return opened.outcome(
            [draft],
            reading_words(place, number, value_words(typed)),
            flags=flags,
            notes=notes,
        )


def correct(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Replace a reading by another; the old one is kept and no longer counts.

    A number typed without a unit has the unit of the reading it replaces: the same tape.
    """
    _require_reason(arguments.why)
    session_id, entry = find_entry_session(data, arguments.entry)
    notes = [*dropped_notes("VALUE", arguments.value), *dropped_notes("--why", arguments.why)]
    with _opened(data, surroundings, session_id) as opened:
        now = surroundings.now()
        old = _correctable(opened.session, entry)
        unit = old.unit or tape_unit(opened.session)
        typed = parse_typed(old.kind, arguments.value, unit, old.system or "eu")
        read_at = Readings(opened.session).read_at(old) or now
        flags = _doubts(opened, old.place, typed, read_at, load_profiles(own=data))
        draft = draft_reading(
            old.place,
            old.round,
            typed,
            now,
            instead_of=Readings(opened.session).rivals(old),
            why=arguments.why,
            doubts=_codes_at(old.place, flags),
            posture=old.posture,
            measurer=old.measurer,
        )
        said = reading_words(old.place, old.round, value_words(typed))
        return opened.outcome(
            [draft], said, say("Instead of {name}.", name=old.name), flags=flags, notes=notes
        )


def withdraw(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Strike an entry out: it is kept, and no longer counts."""
    session_id, entry = find_entry_session(data, arguments.entry)
    with _opened(data, surroundings, session_id) as opened:
        if opened.session.heads.is_withdrawn(entry):
            raise ReadingError(
                Problem(
                    code="already_withdrawn",
                    text=say("{name} is struck out already.", name=entry.by),
                    mend=say("Nothing is left to do."),
                    key=str(entry.by),
                )
            )
        readings = Readings(opened.session)
        reading = readings.by_name(str(entry.by))
        # A decision between readings is taken back alone: the question is open again as it was.
        alone = reading is None or bool(entry.text("who"))
        names = [str(entry.by)] if alone or reading is None else readings.strikable(reading)
        if str(entry.by) not in names:
            raise _replaced(entry, opened.session.heads.successors(entry))
        draft = draft_withdrawal(names, arguments.why, surroundings.now())
        if who := clean(arguments.who or "").text:
            draft = replace(draft, fields={**draft.fields, "who": who})
        said = say("{name} is struck out and kept.", name=entry.by)
        return opened.outcome([draft], said, notes=dropped_notes("--why", arguments.why))


def _replaced(entry: Entry, successors: Sequence[Entry]) -> ReadingError:
    """Say that a reading no longer counts since another was written instead of it."""
    newer = ", ".join(str(successor.by) for successor in successors)
    return ReadingError(
        Problem(
            code="already_replaced",
            text=say(
                "{name} does not count any more: {newer} replaced it.", name=entry.by, newer=newer
            ),
            mend=say("Strike out {newer} if that is not to count either.", newer=newer),
            key=str(entry.by),
        )
    )


def remark(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Add a remark to a session."""
    notes = dropped_notes("TEXT", arguments.text, keep_newlines=True)
    with _opened(data, surroundings, find_session(data, arguments.session)) as opened:
        draft = draft_remark(arguments.text, surroundings.now())
        return opened.outcome([draft], say("The remark is stored."), notes=notes)


@dataclass(frozen=True, slots=True)
class _Opened:
    folder: DataFolder
    session: Session

    def outcome(
        self,
        drafts: Sequence[Draft],
        *lines: str,
        flags: Sequence[Flag] | None = None,
        notes: Sequence[str] = (),
    ) -> Outcome:
        """Store drafts and tell it; whoever reads the outcome knows they are on disk."""
        grown = self.folder.append(self.session, drafts)
        names = _names(self.session, grown)
        document: dict[str, object] = {"session": grown.id, "entries": names}
        if flags is not None:
            document["flags"] = [flag.as_json() for flag in flags]
        stored = [say("Stored as {names}.", names=", ".join(names))] if names else []
        return Outcome(
            ExitCode.NEEDS_PERSON if needs_person(flags or ()) else ExitCode.FINE,
            document,
            [*lines, *stored, *map(flag_line, told_once(flags or ()))],
            [*notes, *self.folder.notes],
        )


@contextmanager
def _opened(data: Path, surroundings: Surroundings, session_id: str) -> Iterator[_Opened]:
    """Open the folder for writing and read one of its sessions.

    Raises:
        FileFault: the session cannot be used, or the folder is in use.
    """
    with DataFolder(data, surroundings) as folder:
        _ = readable(read_session_file(session_path(data, session_id)))
        session = folder.read(session_id)
        if session is None:
            raise FileFault(
                Problem(
                    code="changed_on_disk",
                    text=say("The session was taken away while it was read."),
                    mend=say("Try again; nothing was stored."),
                    path=str(session_path(data, session_id)),
                )
            )
        own = [e.by.number for e in session.entries if e.by.laptop == folder.laptop.id]
        folder.meet_frontier(max(own, default=0))
        yield _Opened(folder, session)


def _require_protocol(data: Path, protocol: str) -> None:
    load_profiles(own=data).protocol(protocol)


def _require_reason(why: str) -> None:
    if not clean(why).text:
        raise ReadingError(
            Problem(
                code="reason_missing",
                text=say("No reason was given."),
                mend=say("Say why in a word or two; it is kept beside the entry."),
                key="--why",
            )
        )


def _doubts(
    opened: _Opened, place: Place, typed: Typed, now: datetime, profiles: Profiles
) -> tuple[Flag, ...]:
    """Return what a nurse would be told at this reading, by the same judgements as the screen."""
    session = opened.session
    flags = flags_now(session, now, profiles.rules.time, place[0])
    if isinstance(typed, ShoeSize):
        return flags
    earlier, _ = read_before(opened.folder.path, session)
    doubts = doubt_typed(
        session,
        place,
        typed,
        profiles.rules.ranges,
        laptop=opened.folder.laptop.id,
        tape_unit=tape_unit(session),
        earlier=earlier,
        repeat=profiles.rules.repeat_of(session),
    )
    return (*doubts, *flags)


def _codes_at(place: Place, flags: Sequence[Flag]) -> tuple[str, ...]:
    """Return the codes to store beside a reading; a doubt about another point is only told."""
    return codes_to_store(
        flag
        for flag in flags
        if flag.about != "reading" or (flag.side, flag.point, flag.kind) == place
    )


def _correctable(session: Session, entry: Entry) -> Reading:
    """Return the reading of an entry.

    Raises:
        ReadingError: it is no reading, or no longer the one that counts.
    """
    name = str(entry.by)
    old = Readings(session).by_name(name) if entries_named(session, name) else None
    text = mend = ""
    if entry.array != "readings":
        text = say("{name} is not a reading.", name=name)
        mend = say("Answers are changed with set, and anything is struck out with withdraw.")
    elif session.heads.is_withdrawn(entry):
        text = say("{name} is struck out.", name=name)
        mend = say("Record the reading anew.")
    elif after := session.heads.successors(entry):
        text = say("{name} was replaced already.", name=name)
        mend = say("Correct {names} instead.", names=", ".join(str(e.by) for e in after))
    elif old is None:
        text = say("{name} cannot be read as a reading.", name=name)
        mend = say("Strike it out with withdraw and record the reading anew.")
    if text or old is None:
        raise ReadingError(Problem(code="not_correctable", text=text, mend=mend, key=name))
    return old


def _names(before: Session, after: Session) -> list[str]:
    """Return the names of the entries one state has and the other has not, in their order."""
    return [str(entry.by) for entry in sorted(after.entries - before.entries, key=entry_order)]
