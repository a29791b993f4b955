"""When a session was measured, for people: as the laptop had it, or set right by a clock note."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING

import pytest
from screening_cases import TODAY, Sitting

from fitcore.disk.profile_files import load_profiles
from fitcore.disk.session_book import look_through
from fitcore.disk.session_files import session_path
from fitcore.fit import fit_session
from fitcore.merge.clock_notes import ClockNote
from fitcore.merge.conflicts import origin_of, zone_of
from fitcore.points import Kind, Point, Side
from fitcore.record.codec import write_session
from fitcore.record.edits import draft_reading, parse_typed
from tui.measured_when import measured_when
from tui.result_words import note_lines
from tui.start_list import StartList
from tui.wording.clocks import KnownClocks

if TYPE_CHECKING:
    from pathlib import Path

TERN, DUNLIN = "tern-k7qd", "dunlin-m4ex"
DAY = 86_400


def measured(laptop: str = TERN, *, finished: bool = True) -> Sitting:
    """Return a session of one reading, five minutes after its answers."""
    told = Sitting(laptop=laptop)
    told.answer("client", "SK-01")
    told.answer("sides", ["left"])
    read_at(told, told.at + timedelta(minutes=5))
    told.answer("finished" if finished else "paused", True if finished else ["setup", ""])
    return told


def read_at(told: Sitting, at: datetime, point: Point = Point.B) -> None:
    typed = parse_typed(Kind.GIRTH, "22.4", "cm")
    told.add(draft_reading((Side.LEFT, point, Kind.GIRTH), 1, typed, at))


def noted(add: int, laptop: str = TERN, numbers: tuple[int, int] = (1, 99)) -> ClockNote:
    return ClockNote(f"curlew-2x2x:{add}", laptop, *numbers, add, "C-02", "rang N-17")


def test_without_a_note_it_is_as_recorded() -> None:
    told = measured()
    at = told.at + timedelta(minutes=5)
    for notes in ((), (noted(DAY, DUNLIN),), (noted(DAY, numbers=(90, 99)),), (noted(0),)):
        when = measured_when(told.session, KnownClocks(notes))
        assert (when.at, when.words) == (at, f"{at:%Y-%m-%d %H:%M}")
        assert (when.sign, when.legend, when.note) == ("", "", "")
    nothing = measured_when(Sitting(laptop=TERN).session, KnownClocks((noted(DAY),)))
    assert (nothing.at, nothing.words, nothing.note) == (None, "", "")


def test_a_note_sets_it_right_with_a_sign_and_the_recorded_time_beside_it() -> None:
    told = measured()
    at = told.at + timedelta(minutes=5)
    when = measured_when(told.session, KnownClocks((noted(3 * DAY),)))
    assert (when.at, when.recorded) == (at + timedelta(days=3), at)
    assert when.words == f"{at + timedelta(days=3):%Y-%m-%d %H:%M}*"
    assert when.legend == "* clock set right by note"
    assert when.note == (
        f"- {when.words}: clock set right by note; the laptop had {at:%Y-%m-%d %H:%M}."
    )


def test_where_notes_differ_it_is_as_recorded_and_in_doubt() -> None:
    told = measured()
    at = told.at + timedelta(minutes=5)
    when = measured_when(told.session, KnownClocks((noted(60), noted(120))))
    assert (when.at, when.words) == (at, f"{at:%Y-%m-%d %H:%M}?")
    assert when.legend == "? clock notes differ"
    assert when.note == f"! {when.words} by the laptop: clock notes differ."


def test_the_earliest_reading_is_the_earliest_by_the_right_times() -> None:
    """One laptop's clock stood days before; the other's reading was the first."""
    told = measured()
    later = told.at + timedelta(hours=1)
    told.laptop = DUNLIN
    read_at(told, later, Point.C)
    assert measured_when(told.session, KnownClocks()).at != later
    when = measured_when(told.session, KnownClocks((noted(DAY),)))
    assert (when.at, when.remark) == (later, "")


@pytest.mark.parametrize(
    ("zone", "shown"), [("Europe/London", "11:20"), ("", "12:20"), ("Nowhere/At_all", "12:20")]
)
def test_a_time_set_right_is_told_in_the_offset_its_zone_had_then(zone: str, shown: str) -> None:
    """In 1970 London's clocks were an hour ahead all year; in March 2026 they are not."""
    told = Sitting(laptop=TERN)
    told.at = datetime(1970, 1, 1, 1, 20, tzinfo=timezone(timedelta(hours=1)))
    told.answer("zone", zone)
    read_at(told, told.at)
    right = datetime(2026, 3, 4, 11, 20, tzinfo=UTC)
    add = int((right - told.at).total_seconds())
    when = measured_when(told.session, KnownClocks((noted(add),)))
    assert when.at == right
    assert when.words == f"2026-03-04 {shown}*"
    assert "the laptop had 1970-01-01 01:20" in when.note


def test_a_line_is_of_the_zone_its_laptop_named_last_else_of_any_the_session_names() -> None:
    told = Sitting(laptop=TERN)
    told.answer("posture", "sitting")
    (before,) = told.session.entries
    assert zone_of(told.session.entries, before) == ""
    told.answer("zone", "Europe/London")
    other = told.elsewhere(DUNLIN)
    other.answer("posture", "lying")
    (lying,) = [e for e in other.session.entries if e.text("is") == "lying"]
    assert zone_of(other.session.entries, lying) == "Europe/London"
    other.answer("zone", "Etc/UTC")
    other.answer("posture", "standing")
    (standing,) = [e for e in other.session.entries if e.text("is") == "standing"]
    assert zone_of(other.session.entries, standing) == "Etc/UTC"
    assert origin_of(other.session.entries, standing).zone == "Etc/UTC"


@pytest.mark.parametrize("finished", [True, False])
def test_the_start_list_shows_it_and_goes_by_it(tmp_path: Path, *, finished: bool) -> None:
    told = measured(finished=finished)
    right = (told.at + timedelta(days=3)).date()
    clocks = KnownClocks((noted(3 * DAY),))
    path = session_path(tmp_path, told.session.id)
    path.parent.mkdir(parents=True)
    path.write_text(write_session(told.session), encoding="utf-8")
    book = look_through(tmp_path, None, 0)
    lines = StartList(book, right, clocks).lines("")
    assert [line.kind for line in lines] == ["today" if finished else "paused", "client"]
    assert {line.when for line in lines} == {
        f"{told.at + timedelta(days=3, minutes=5):%Y-%m-%d %H:%M}*"
    }
    assert {line.legend for line in lines} == {"* clock set right by note"}
    plain = StartList(book, right).lines("")
    assert [line.kind for line in plain] == ([] if finished else ["paused"]) + ["client"]
    assert {line.legend for line in plain} == {""}


def test_the_results_notes_tell_it_and_no_answer_goes_by_it() -> None:
    profiles = load_profiles()
    told = measured()
    fit = fit_session(told.session, profiles.charts, profiles.rules, on=TODAY)
    right = measured_when(told.session, KnownClocks((noted(DAY),)))
    doubtful = measured_when(told.session, KnownClocks((noted(60), noted(120))))
    plain = measured_when(told.session, KnownClocks())
    assert note_lines(fit, when=plain) == note_lines(fit)
    for when in (right, doubtful):
        told_lines = note_lines(fit, when=when)
        assert told_lines.count(when.note) == 1
        assert [line for line in told_lines if line != when.note] == note_lines(fit)
