"""What a session comes to in a list of sessions: a small row of each, not the session itself.

`glance_of` says what a glance is; `quick_glance` reads the same from a file's bytes in a fraction
of the time. It answers only for whole, canonical files of plain lines: wherever more than the lines
themselves decides what holds (withdrawals, decisions, erasures, two lines of one name), or a line
is of no kind known here, it says nothing and the file has to be parsed.
`tests/property/test_glance_laws.py` holds the two against each other.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from functools import cache
from sys import intern
from typing import TYPE_CHECKING

from fitcore.identity import SESSION_ID
from fitcore.problems import ReadingError
from fitcore.record.canonical import open_sealed, read_head, read_row, split_arrays
from fitcore.record.document import clean_stored
from fitcore.record.session import FORMAT, Seal

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from fitcore.record.session import Session

_Line = tuple[str, str, str, str, str, str, str, str, str, str, str, str]
"""One entry, each part as it stands in the file and empty where there is none."""
(
    _NAME, _LAPTOP, _NUMBER, _AT, _WHAT, _SAID, _DAY, _NOT_TAKEN, _REMARK, _INSTEAD_OF, _IMPORTED,
    _UNUSUAL,
) = range(12)  # fmt: skip
"""Places of a line's parts: texts stand with their quotes, names in a row without brackets, keys of
which only the presence counts by themselves, and the whole row where it is none of the usual."""

# Each kind of row is written out key by key, as the program writes it, so that no key can stand
# twice, and no text that counts here holds an escape. Any other row is read by `read_row`.
_TEXT = r"\"[^\"\\\x00-\x1f\x7f]*+\""
_WORD = r"\"[a-z0-9_-]++\""
_LIST = rf"\[(?:{_TEXT}(?:, (?=\")|(?=\])))*+\]"
_FIGURE = r"-?(?:0|[1-9][0-9]{0,14}+)(?:\.[0-9]{1,30}+)?+"
_HOUR = r"(?:[01][0-9]|2[0-3]):[0-5][0-9]"
_TIME = rf"T{_HOUR}:[0-5][0-9](?:Z|[+-]{_HOUR})"
_DATE = r"[0-9]{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12][0-9]|3[01])"
_ANSWER = (
    r"what = \"([a-z0-9_.]++)\", "
    rf"is = (?:(\"[ !#-\[\]-~]*+\"|true|false)|({_DATE})(?:{_TIME})?+|{_LIST}|{_FIGURE})"
)
_READING = (
    rf"side = {_WORD}, point = \"[A-Za-z0-9_]++\", kind = {_WORD}, round = [1-9][0-9]{{0,3}}+"
    rf"(?:, typed = {_TEXT}(?:, system = {_WORD}, value = {_FIGURE})?+"
    rf"(?:, unit = {_WORD}, mm = {_FIGURE})?+|, (not_taken) = {_TEXT})"
)
_MORE = "".join(
    rf"(?:, {key} = {value})?+"
    for key, value in (
        ("rests_on", _LIST),
        ("why", _TEXT),
        ("why_for", _LIST),
        ("doubts", _LIST),
        ("posture", _TEXT),
        ("measurer", _TEXT),
        ("who", _TEXT),
        ("(row)", _TEXT),
    )
)
_ROW = re.compile(
    r"(?:  \{ by = \"(([a-z][a-z0-9]{0,11}-[a-z0-9]{4}):([1-9][0-9]{0,14}))\", "
    rf"at = ({_DATE}{_TIME}), (?:{_ANSWER}|{_READING}|text = ({_TEXT}))"
    r"(?:, instead_of = \[(\"[a-z0-9:-]++\"(?:, \"[a-z0-9:-]++\")*+)\])?+"
    rf"{_MORE} \}},|([^\n]*+))\n"
)
_HEAD = re.compile(rf"format = 1\nsession = \"({SESSION_ID.pattern})\"\n")
_BEGUN = ("protocol", "paused")
_TOLD = ("client", "measurer", "finished")
_READ = frozenset({*_TOLD, *_BEGUN, "clock"})


@dataclass(frozen=True, slots=True)
class Written:
    """What one laptop wrote in a session."""

    laptop: str
    highest: int
    """The highest number of its entries."""
    newest: datetime | None
    """When it wrote last; an imported row carries its sheet's time and does not count."""


@dataclass(frozen=True, slots=True)
class Glance:
    """What one session comes to in a list of sessions."""

    id: str
    client: str
    """Its code; empty where there is none or laptops differ."""
    codes: tuple[str, ...]
    """The codes it stands under, sorted; several where laptops differ."""
    measurer: str
    is_finished: bool
    says_finished: bool
    """Whether any line speaks of its end, whatever holds of it."""
    is_begun: bool
    """Whether somebody began it on a screen; an imported sheet has no protocol to go on with."""
    is_whole: bool
    """Whether its seal verifies."""
    was_measured: bool
    """Whether a reading with a value stands in it."""
    measured_at: datetime | None
    """The earliest reading that counts, else the earliest answer."""
    remark: str
    """The newest remark on one line; empty of a finished session, which nobody goes on with."""
    written: tuple[Written, ...]
    """By laptop, sorted."""
    newest_reading: datetime | None
    """The newest reading any laptop wrote; imported rows do not count."""
    confirmed: tuple[tuple[str, date], ...]
    """Laptops, and days for which somebody there said that date and time are right; sorted."""
    says_wrong_clock: bool
    """Whether any line says that a clock is wrong, whatever holds of it."""
    names_several: bool
    """Whether more than one line says whom it is about, whatever holds of them."""


def glance_of(session: Session) -> Glance:
    """Return what a parsed session comes to."""
    finished = session.value("finished") is True
    measured_at = session.measured_at
    shown: defaultdict[str, list[datetime]] = defaultdict(list)
    highest: dict[str, int] = {}
    readings: list[datetime] = []
    for entry in session.entries:
        laptop, at = entry.by.laptop, entry.at
        highest[laptop] = max(highest.get(laptop, 0), entry.by.number)
        if at is not None and "row" not in entry.fields:
            shown[laptop].append(at)
            if entry.array == "readings":
                readings.append(at)
    told = [(entry.text("what"), entry.text("is")) for entry in session.entries]
    client = session.text("client")
    confirmed = {
        (intern(entry.by.laptop), entry.at.date())
        for entry in session.answer("clock").heads
        if entry.fields.get("is") == "correct" and entry.at is not None
    }
    return Glance(
        id=session.id,
        client=client,
        codes=_codes(client, map(str, session.answer("client").values)),
        measurer=intern(session.text("measurer")),
        is_finished=finished,
        says_finished=any(what == "finished" for what, _ in told),
        is_begun=any(session.answer(what).heads for what in _BEGUN),
        is_whole=session.seal is Seal.WHOLE,
        was_measured=session.was_measured,
        measured_at=None if measured_at is None else _light(measured_at),
        remark="" if finished else last_remark(session),
        written=tuple(
            Written(intern(laptop), highest[laptop], _newest(shown.get(laptop, ())))
            for laptop in sorted(highest)
        ),
        newest_reading=_newest(readings),
        confirmed=tuple(sorted(confirmed)),
        says_wrong_clock=("clock", "wrong") in told,
        names_several=sum(what == "client" for what, _ in told) > 1,
    )


def last_remark(session: Session) -> str:
    """Return the newest remark: what was noted when a session was stopped must greet the next."""
    remarks = session.heads.heads_of("remarks")
    return " ".join(remarks[-1].text("text").split()) if remarks else ""


def quick_glance(raw: bytes) -> Glance | None:
    """Return what a session file's bytes come to; None where only parsing them tells.

    Args:
        raw: the bytes of a file, whatever it may be.

    Returns:
        Exactly the glance of the session parsed from these bytes.
    """
    try:
        sealed = open_sealed(raw)
        if sealed is None:
            return None
        head = _HEAD.fullmatch(sealed["head"])
        session, keys = (head[1], ()) if head is not None else _read_head(sealed["head"])
        lines: dict[str, list[_Line]] = {"answers": [], "readings": [], "remarks": []}
        for array, rows in split_arrays(sealed["arrays"], keys):
            if array not in lines:
                return None
            lines[array] = [
                _unusual(array, line[_UNUSUAL]) if line[_UNUSUAL] else line
                for line in _ROW.findall(rows)
            ]
        if sum(map(len, lines.values())) != int(sealed["lines"]):
            return None
        return _sum_up(session, **lines)
    except (ReadingError, ValueError):
        return None


def _read_head(block: str) -> tuple[str, Collection[str]]:
    """Return the session's id and all keys of a head with lines of a newer program."""
    head = read_head(block)
    found = [head.get(key, ("", None))[1] for key in ("format", "session")]
    if type(found[0]) is not int or found[0] != FORMAT or not isinstance(found[1], str):
        raise ValueError(block)
    if not SESSION_ID.fullmatch(found[1]):
        raise ValueError(block)
    return found[1], head


def _unusual(array: str, row: str) -> _Line:
    """Read a row that is none of the usual ones as if it were."""
    entry = read_row(array, row)
    if entry.erased or entry.takes_back:
        raise ValueError(row)  # what holds is then more than the lines nobody replaced
    value = entry.fields.get("is")
    said = f'"{value}"' if isinstance(value, str) else ""
    return (
        str(entry.by),
        entry.by.laptop,
        str(entry.by.number),
        entry.at.isoformat() if entry.at is not None else "",
        entry.text("what"),
        str(value).lower() if isinstance(value, bool) else said,
        "",  # its days were judged as it was read
        "not_taken" if "not_taken" in entry.fields else "",
        f'"{entry.text("text")}"',
        # A text with a quote in it is no entry's name.
        ", ".join(f'"{name}"' for name in entry.replaces if '"' not in name),
        "row" if "row" in entry.fields else "",
        "",
    )


def _sum_up(
    session: str, answers: list[_Line], readings: list[_Line], remarks: list[_Line]
) -> Glance:
    every = [*answers, *readings, *remarks]
    columns = tuple(zip(*every, strict=True)) or ((),) * (_UNUSUAL + 1)
    names, laptops, _, times, whats, _, days, _, _, instead, _, _ = columns
    if len(set(names)) != len(names):
        raise ValueError(names)  # two lines of one name: one was changed, or a disk was copied
    stamps = {*times} - {""}
    for day in {stamp[:10] for stamp in stamps}.union(days) - {""}:
        date.fromisoformat(day)  # raises where no calendar has it
    # Times of one offset are in the order of their texts.
    as_text = len({stamp[19:] for stamp in stamps}) < 2
    if not as_text:
        for lines in (answers, readings):
            lines.sort(key=_order)  # of equal instants the first line's offset is told
    replaced = _replaced(every) if any(instead) else frozenset()
    standing = _standing(readings, replaced)
    answered = _standing(answers, replaced)
    fields: dict[str, list[_Line]] = {}
    for line in answered:
        if line[_WHAT] in _READ:
            fields.setdefault(line[_WHAT], []).append(line)
    clients, measurers, ends = (_values(fields.get(what, ())) for what in _TOLD)
    client, is_finished = _only_text(clients), ends == {True}
    return Glance(
        id=session,
        client=client,
        codes=_codes(client, map(str, clients)),
        measurer=intern(_only_text(measurers)),
        is_finished=is_finished,
        says_finished="finished" in whats,
        is_begun=any(what in fields for what in _BEGUN),
        is_whole=True,
        was_measured=not all(line[_NOT_TAKEN] for line in standing),
        measured_at=_earliest(standing, as_text=as_text) or _earliest(answered, as_text=as_text),
        remark="" if is_finished else _newest_remark(_standing(remarks, replaced)),
        written=tuple(_written(own, every, as_text=as_text) for own in sorted(set(laptops))),
        newest_reading=_latest(readings, as_text=as_text),
        confirmed=_confirmed(fields.get("clock", ())),
        says_wrong_clock=any(
            line[_WHAT] == "clock" and line[_SAID] == '"wrong"' for line in answers
        ),
        names_several=whats.count("client") > 1,
    )


def _replaced(every: Iterable[_Line]) -> frozenset[str]:
    """Return the names of entries another one was written instead of."""
    return frozenset(
        name
        for line in every
        if line[_INSTEAD_OF]
        for name in line[_INSTEAD_OF][1:-1].split('", "')
        if name != line[_NAME]
    )


def _standing(lines: list[_Line], replaced: Collection[str]) -> list[_Line]:
    return [line for line in lines if line[_NAME] not in replaced] if replaced else lines


def _values(lines: Iterable[_Line]) -> set[str | bool]:
    """Return the different values of one field.

    Raises:
        ValueError: one is neither a text nor true or false.
    """
    found: set[str | bool] = set()
    for line in lines:
        said = line[_SAID]
        if not said:
            raise ValueError(line[_WHAT])
        found.add(said[1:-1] if said[0] == '"' else said == "true")
    return found


def _only_text(values: Collection[str | bool]) -> str:
    value = next(iter(values)) if len(values) == 1 else ""
    return value if isinstance(value, str) else ""


def _codes(client: str, values: Iterable[str]) -> tuple[str, ...]:
    """Return the codes a session stands under, sorted; `client` itself where it is one."""
    codes = sorted({*values} - {""})
    return (client,) if codes == [client] else tuple(codes)


def _earliest(lines: Iterable[_Line], *, as_text: bool) -> datetime | None:
    stamps = [line[_AT] for line in lines if line[_AT]]
    if not stamps:
        return None
    found = min(stamps) if as_text else min(stamps, key=datetime.fromisoformat)
    return _light(datetime.fromisoformat(found))


def _latest(lines: Iterable[_Line], *, as_text: bool) -> datetime | None:
    """Return the newest time of lines that are no imported rows."""
    stamps = [line[_AT] for line in lines if line[_AT] and not line[_IMPORTED]]
    if as_text and stamps:
        stamps = [max(stamps)]
    return _newest([datetime.fromisoformat(stamp) for stamp in stamps])


def _written(laptop: str, every: Iterable[_Line], *, as_text: bool) -> Written:
    own = [line for line in every if line[_LAPTOP] == laptop]
    highest = max([int(line[_NUMBER]) for line in own])
    return Written(intern(laptop), highest, _latest(own, as_text=as_text))


def _confirmed(lines: Iterable[_Line]) -> tuple[tuple[str, date], ...]:
    said = (line for line in lines if line[_SAID] == '"correct"' and line[_AT])
    return tuple(
        sorted({(intern(line[_LAPTOP]), date.fromisoformat(line[_AT][:10])) for line in said})
    )


def _newest_remark(lines: Sequence[_Line]) -> str:
    text = max(lines, key=_order)[_REMARK] if lines else ""
    return " ".join(clean_stored(text[1:-1]).split())


def _order(line: _Line) -> tuple[str, int]:
    return line[_LAPTOP], int(line[_NUMBER])


def _newest(times: Collection[datetime]) -> datetime | None:
    """Return the latest instant; of one written with two offsets, the one with the greater."""
    return _light(max(times, key=lambda at: (at, _offset(at)))) if times else None


def _offset(at: datetime) -> timedelta:
    return at.utcoffset() or timedelta()


def _light(at: datetime) -> datetime:
    """Return the same time, with an offset all glances share."""
    return at.replace(tzinfo=_zone(_offset(at)))


@cache
def _zone(offset: timedelta) -> timezone:
    return timezone(offset)
