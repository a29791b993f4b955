"""What a session comes to in a list: told by the session, and the same by its file's bytes."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import pytest
from strategies import SESSION, entry_from_line, entry_of, session_of

from fitcore.identity import EntryId
from fitcore.record.codec import read_session, write_session
from fitcore.record.edits import draft_answer, draft_remark
from fitcore.record.entries import Draft, Entry
from fitcore.record.glance import Glance, Written, glance_of, quick_glance
from fitcore.record.seal import seal_lines
from fitcore.record.session import Session, join

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sessions"
TERN, DUNLIN, PETREL = "tern-k7qd", "dunlin-m4ex", "petrel-z9wa"
AT = datetime(2026, 3, 4, 9, 12, 40, tzinfo=timezone(timedelta(hours=1)))
LATER = AT + timedelta(minutes=1)


def told(*entries: Entry) -> Glance:
    """Return what both say, which must be the same and must be said."""
    raw = write_session(session_of(*entries)).encode()
    session, _ = read_session(raw)
    assert session is not None
    quick, full = quick_glance(raw), glance_of(session)
    assert quick is not None
    assert (quick, repr(quick)) == (full, repr(full))
    return quick


def left(*entries: Entry) -> bool:
    """Whether these entries have to be parsed."""
    return quick_glance(write_session(session_of(*entries)).encode()) is None


def answer(number: int, what: str, is_: object, **more: object) -> Entry:
    return entry_of("answers", f"{TERN}:{number}", what=what, is_=is_, **more)


def reading(by: str, **more: object) -> Entry:
    place = {"side": "left", "point": "B", "kind": "girth", "round": 1}
    taken = {"typed": "22.4", "unit": "cm", "mm": Decimal("224.0")}
    return entry_of("readings", by, **place, **({} if "not_taken" in more else taken), **more)


def test_what_was_once_said_of_client_and_clock_is_told_whatever_holds_by_now() -> None:
    """Who looks for suggestions reads only such sessions."""
    once = told(answer(1, "client", "a-1"), answer(2, "clock", "correct"))
    assert (once.names_several, once.says_wrong_clock) == (False, False)
    again = told(
        answer(1, "client", "a-1"),
        answer(2, "client", "a-1", instead_of=[f"{TERN}:1"]),
        answer(3, "clock", "wrong"),
        answer(4, "clock", "correct", instead_of=[f"{TERN}:3"]),
    )
    assert (again.names_several, again.says_wrong_clock) == (True, True)
    assert not told(answer(1, "posture", "wrong"), answer(2, "clock", "correct")).says_wrong_clock


# --- whom it is about, and whether it is finished ------------------------------------------------


def test_a_session_nobody_wrote_in_comes_to_nothing() -> None:
    assert told() == Glance(
        SESSION, "", (), "",
        is_finished=False, says_finished=False, is_begun=False, is_whole=True, was_measured=False,
        measured_at=None, remark="", written=(), newest_reading=None, confirmed=(),
        says_wrong_clock=False, names_several=False,
    )  # fmt: skip


def test_a_client_s_code_that_was_replaced_is_not_told() -> None:
    found = told(
        answer(1, "client", "tern-014-0"),
        answer(2, "client", "KES 17/b", instead_of=[f"{TERN}:1"]),
    )
    assert (found.client, found.codes) == ("KES 17/b", ("KES 17/b",))


def test_an_entry_that_names_itself_as_replaced_still_counts() -> None:
    assert told(answer(1, "client", "KES 17/b", instead_of=[f"{TERN}:1"])).client == "KES 17/b"
    other = reading(f"{TERN}:2", instead_of=[f"{TERN}:1"])
    assert told(answer(1, "client", "KES 17/b"), other).client == ""


def test_of_a_disputed_client_every_code_is_told_and_none_is_the_one() -> None:
    here, there = answer(1, "client", "b-2"), entry_of(
        "answers", f"{DUNLIN}:7", what="client", is_="a-1"
    )  # fmt: skip
    found = told(here, there)
    assert (found.client, found.codes) == ("", ("a-1", "b-2"))
    same = entry_of("answers", f"{DUNLIN}:7", what="client", is_="b-2")
    assert (told(here, same).client, told(here, same).codes) == ("b-2", ("b-2",))


@pytest.mark.parametrize("code", ['KES "17"', "Kö-4", "a\\b", "true", "", "a, is = 2"])
def test_a_code_of_any_signs_is_told(code: str) -> None:
    found = told(answer(1, "client", code), answer(2, "measurer", "Nürse"))
    assert (found.client, found.codes) == (code, (code,) if code else ())
    assert found.measurer == "Nürse"


def test_an_answer_of_another_kind_is_told_alike_or_has_to_be_parsed() -> None:
    assert left(answer(1, "client", 14))
    assert left(answer(1, "finished", Decimal("1.0")))
    found = told(answer(1, "client", True), answer(2, "finished", "true"))  # noqa: FBT003
    assert (found.client, found.codes, found.is_finished) == ("", ("True",), False)


def test_a_session_opened_again_is_not_finished_and_still_says_it_was() -> None:
    end = answer(5, "finished", is_=True)
    assert (told(end).is_finished, told(end).says_finished) == (True, True)
    again = told(end, answer(6, "finished", is_=False, instead_of=[f"{TERN}:5"]))
    assert (again.is_finished, again.says_finished) == (False, True)
    disputed = told(end, answer(6, "finished", is_=False))
    assert (disputed.is_finished, disputed.says_finished) == (False, True)
    assert not told(answer(1, "client", "finished")).says_finished


def test_a_paused_session_is_begun_whatever_was_answered_since() -> None:
    assert not told(answer(1, "client", "KES 17/b")).is_begun
    assert told(answer(1, "protocol", "below-knee-short")).is_begun
    paused = answer(2, "paused", ["left.B.girth.1", '22"'])
    assert told(paused).is_begun
    assert told(paused, answer(3, "paused", [], instead_of=[f"{TERN}:2"])).is_begun
    assert not told(paused, reading(f"{TERN}:3", instead_of=[f"{TERN}:2"])).is_begun


def test_what_the_program_itself_replaces_is_told() -> None:
    session = Session(SESSION, frozenset())
    said = (("client", "a-1"), ("paused", ["x", "2"]), ("client", "b-2"), ("paused", []))
    for number, (what, value) in enumerate(said, 1):
        draft = draft_answer(session, what, value, LATER)
        assert draft is not None
        session = session.with_entries(draft.entry(EntryId(TERN, number)))
    found = told(*session.entries)
    assert (found.client, found.is_begun, found.written) == (
        "b-2", True, (Written(TERN, 4, LATER),)
    )  # fmt: skip


# --- when, and by whom ---------------------------------------------------------------------------


def test_what_two_laptops_wrote_is_told_of_each() -> None:
    here = session_of(answer(9, "client", "a-1"), answer(10, "zone", "UTC", at=LATER))
    there = session_of(
        entry_of("remarks", f"{DUNLIN}:100", text="x", at=AT),
        reading(f"{DUNLIN}:99", at=LATER),
        entry_of("remarks", f"{PETREL}:1", text="x", row="af01"),
    )
    found = told(*join(here, there).entries)
    assert found.written == (
        Written(DUNLIN, 100, LATER),
        Written(PETREL, 1, None),
        Written(TERN, 10, LATER),
    )
    assert found.newest_reading == LATER


def test_an_imported_row_moves_no_laptop_s_clock() -> None:
    row = reading(f"{TERN}:3", at=LATER + timedelta(days=900), posture="sitting", row="af01")
    found = told(answer(1, "client", "a-1"), reading(f"{TERN}:2", at=LATER), row)
    assert (found.written, found.newest_reading) == ((Written(TERN, 3, LATER),), LATER)
    alone = told(row)
    assert (alone.newest_reading, alone.was_measured) == (None, True)
    assert alone.measured_at == LATER + timedelta(days=900)


def test_a_corrected_reading_does_not_tell_when_it_was_measured() -> None:
    old, new = reading(f"{TERN}:1"), reading(f"{TERN}:2", at=LATER, instead_of=[f"{TERN}:1"])
    assert told(old).measured_at == AT
    assert told(old, new).measured_at == LATER
    assert told(answer(9, "client", "a-1"), new).measured_at == LATER
    assert told(answer(9, "client", "a-1")).measured_at == AT
    assert told(entry_of("remarks", f"{TERN}:1", text="x")).measured_at is None


def test_only_a_reading_with_a_value_was_measured() -> None:
    skipped = reading(f"{TERN}:1", not_taken="wound, mm = 22")
    assert not told(skipped).was_measured
    taken = reading(f"{TERN}:2", why="not_taken = 1", at=LATER)
    assert told(skipped, taken).was_measured
    assert not told(
        taken, reading(f"{TERN}:3", not_taken="a", instead_of=[f"{TERN}:2"])
    ).was_measured


OFFSETS = {
    "+01:00": timezone(timedelta(hours=1)),
    "Z": UTC,
    "-03:30": timezone(-timedelta(hours=3, minutes=30)),
}


@pytest.mark.parametrize("first", OFFSETS)
@pytest.mark.parametrize("last", OFFSETS)
def test_instants_count_and_not_what_the_clock_on_the_wall_said(first: str, last: str) -> None:
    start = datetime(2026, 3, 4, 23, 30, tzinfo=UTC)
    early, late = start.astimezone(OFFSETS[first]), start.astimezone(OFFSETS[last])
    late += timedelta(minutes=20)
    found = told(reading(f"{TERN}:2", at=early), reading(f"{TERN}:1", at=late))
    assert repr(found.measured_at) == repr(early)
    assert [repr(found.newest_reading), repr(found.written[0].newest)] == [repr(late)] * 2


def test_of_one_instant_written_with_two_offsets_the_same_one_is_always_told() -> None:
    west, utc = (AT.astimezone(OFFSETS[name]) for name in ("-03:30", "Z"))
    for one, other in ((west, utc), (utc, west)):
        found = told(reading(f"{TERN}:9", at=one), reading(f"{TERN}:10", at=other))
        assert repr(found.measured_at) == repr(one)
        assert repr(found.newest_reading) == repr(utc)


def test_lines_out_of_their_order_are_told_as_if_they_were_in_it() -> None:
    west, utc = (AT.astimezone(OFFSETS[name]) for name in ("-03:30", "Z"))
    kinds = [
        [reading(f"{TERN}:9", at=west), reading(f"{TERN}:10", at=utc)],
        [answer(1, "zone", "UTC", at=utc), answer(2, "tape", "cm", at=west)],
        [entry_of("remarks", f"{TERN}:{number}", text=f"{number}") for number in (9, 10)],
    ]
    for lines in kinds:
        text = write_session(session_of(*lines)).partition("\n[seal]")[0]
        for first, last in (lines, lines[::-1]):
            rows = f"  {first.line},\n  {last.line},\n"
            raw = _seal(f"{text.partition('  {')[0]}{rows}]\n")
            session, _ = read_session(raw)
            assert session is not None
            assert repr(quick_glance(raw)) == repr(told(*lines)) == repr(glance_of(session))


def test_z_is_read_as_utc() -> None:
    line = f'{{ by = "{TERN}:1", at = 2026-03-04T09:12:40Z, what = "client", is = "a-1" }}'
    assert told(entry_from_line("answers", line)).measured_at == datetime(
        2026, 3, 4, 9, 12, 40, tzinfo=UTC
    )


def test_a_day_of_no_calendar_is_left_to_the_parser() -> None:
    bare = write_session(session_of(answer(1, "rising_at", AT))).partition("\n[seal]")[0]
    assert quick_glance(_seal(bare)) is not None
    for at in ("at = ", "is = "):
        assert quick_glance(_seal(bare.replace(f"{at}2026-03-04", f"{at}2026-02-29"))) is None
        assert quick_glance(_seal(bare.replace(f"{at}2026-03-04", f"{at}2028-02-29"))) is not None


def test_days_on_which_the_clock_was_confirmed_are_told_of_each_laptop() -> None:
    night = datetime(2026, 3, 4, 23, 50, tzinfo=OFFSETS["-03:30"])
    mine = answer(1, "clock", "correct", at=night)
    other = entry_of("answers", f"{DUNLIN}:1", what="clock", is_="correct")
    assert told(mine, other).confirmed == ((DUNLIN, AT.date()), (TERN, date(2026, 3, 4)))
    replaced = answer(2, "clock", "wrong", instead_of=[f"{TERN}:1"], at=LATER)
    assert told(mine, other, replaced).confirmed == ((DUNLIN, AT.date()),)
    anew = answer(3, "clock", "correct", instead_of=[f"{TERN}:1", f"{TERN}:2"], at=LATER)
    assert told(mine, replaced, anew).confirmed == ((TERN, AT.date()),)


# --- remarks -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Ödem, „rot“.", "Ödem, „rot“."),
        ('She said "no"; C:\\x', 'She said "no"; C:\\x'),
        ("two\nlines  of text", "two lines of text"),
        ('a", what = "finished', 'a", what = "finished'),
        ("e\u0301\u2028x", "éx"),
    ],
)
def test_the_newest_remark_is_told_on_one_line(text: str, shown: str) -> None:
    remarks = [Draft("remarks", AT, {"text": text}), draft_remark("older", LATER)]
    entries = [
        draft.entry(EntryId(TERN, number)) for draft, number in zip(remarks, (10, 9), strict=True)
    ]
    found = told(*entries)
    assert (found.remark, found.says_finished) == (shown, False)


def test_a_finished_session_keeps_no_remark_and_a_replaced_one_is_not_told() -> None:
    remark = entry_of("remarks", f"{TERN}:1", text="Skin broken")
    assert told(remark, answer(2, "finished", is_=True)).remark == ""
    assert told(remark, answer(2, "finished", is_=False)).remark == "Skin broken"
    newer = entry_of("remarks", f"{TERN}:2", text="healed", instead_of=[f"{TERN}:1"])
    assert told(newer, remark).remark == "healed"
    by_name = [entry_of("remarks", f"{name}:7", text=name) for name in (TERN, DUNLIN)]
    assert told(*by_name).remark == TERN


# --- what only parsing tells ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "entry",
    [
        entry_of("withdrawn", f"{TERN}:2", takes_back=[f"{TERN}:1"], why="x"),
        entry_of("decisions", f"{TERN}:2", what="client", is_="b-2", who="C-02", why="x"),
        entry_of("weights", f"{TERN}:2", kg=70),
        answer(1, "client", "a-1").erase(),
        answer(2, "x", "y", takes_back=[f"{TERN}:1"]),
        answer(1, "client", "a-2"),
    ],
    ids=["withdrawn", "decided", "unknown array", "erased", "takes back", "one name, two lines"],
)
def test_where_more_than_the_lines_decides_nothing_is_told(entry: Entry) -> None:
    client = [] if entry.erased else [answer(1, "client", "a-1")]
    assert left(*client, entry)


def _seal(text: str) -> bytes:
    data = [line.strip() for line in text.split("\n")]
    data = [line for line in data if line and not line.startswith("#")]
    count = sum(line.startswith("{") for line in data)
    return "\n".join([text.rstrip("\n"), "", *seal_lines(data, count), ""]).encode()


def test_a_head_with_lines_of_a_newer_program_is_told_and_any_other_is_not() -> None:
    session = session_of(answer(1, "client", "a-1"))
    bare = write_session(session).partition("\n[seal]")[0]
    newer = _seal(bare.replace("\n\n", '\npaper = "A4"\n\n', 1))
    assert quick_glance(newer) == glance_of(session)
    for old, new in (
        ("format = 1", "format = 2"),
        ("format = 1", "format = 1.0"),
        ("format = 1", "format = true"),
        ("format = 1\n", ""),
        (f'"{SESSION}"', '"x"'),
        (f'"{SESSION}"', "7"),
        ("session =", "ledger ="),
        ("\n\n", "\nanswers = 1\n\n"),
        ("answers", "format"),
    ):
        assert quick_glance(_seal(bare.replace(old, new, 1))) is None, new


def test_nothing_is_told_of_a_file_whose_seal_is_broken_or_missing() -> None:
    text = write_session(session_of(answer(1, "client", "a-1"), answer(2, "zone", "UTC")))
    assert quick_glance(text.encode()) is not None
    assert quick_glance(text.replace("a-1", "a-2").encode()) is None
    assert quick_glance(text.replace("lines = 2", "lines = 3").encode()) is None
    assert quick_glance(text.partition("\n[seal]")[0].encode()) is None
    broken, problems = read_session(text.replace("a-1", "a-2").encode())
    assert broken is not None
    assert problems
    assert (glance_of(broken).client, glance_of(broken).is_whole) == ("a-2", False)


# --- the demo day, and memory --------------------------------------------------------------------


def test_every_session_of_the_demo_day_is_told_from_its_bytes() -> None:
    files = [file.read_bytes() for file in sorted(SAMPLES.glob("*/sessions/*/*.toml"))]
    assert len(files) >= 12
    for raw in files:
        session, _ = read_session(raw)
        assert session is not None
        assert repr(quick_glance(raw)) == repr(glance_of(session))
    for ledger in SAMPLES.glob("*/ledger/*.toml"):
        assert quick_glance(ledger.read_bytes()) is None


def test_what_many_sessions_say_alike_is_kept_once() -> None:
    glances = []
    for client in ("a-1", "b-2"):
        lines = [answer(1, "client", client), answer(2, "measurer", "N-17"), reading(f"{TERN}:3")]
        raw = write_session(session_of(*lines)).encode()
        session, _ = read_session(raw)
        assert session is not None
        glances += [told(*lines), quick_glance(raw), glance_of(session)]
    first, *others = [glance for glance in glances if glance is not None]
    assert len(others) == 5
    for other in others:
        assert other.measurer is first.measurer
        assert other.written[0].laptop is first.written[0].laptop
        assert other.codes[0] is other.client
        assert other.measured_at is not None
        assert first.measured_at is not None
        assert other.measured_at.tzinfo is first.measured_at.tzinfo
