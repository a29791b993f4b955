"""import: rows into sessions, each once, and every row that is not taken told with its line."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from folder_views import content, readings, sessions

from fitcore.points import Kind, Point, Side
from fitcore.record.readings import Readings
from fitcore.record.session import join

if TYPE_CHECKING:
    from conftest import Anklefirst

ROW = "SK-07,2026-03-04T09:12+01:00,N-17,left,B,girth,1,22.4,cm,standing,2026-03-04T06:30+01:00"
CALF = "SK-07,2026-03-04T09:13+01:00,N-17,left,C,girth,1,36.5,cm,standing,"


def test_rows_become_sessions_and_answers(anklefirst: Anklefirst) -> None:
    other = "SK-08,2026-03-04T09:05+01:00,N-17,both,foot,shoe,1,39,eu,,"
    path = anklefirst.sheet(ROW, CALF, other.replace("both", "left"))
    ran = anklefirst("import", path, "--json")
    assert ran.code == 0
    assert ran.json == {"added": 3, "skipped": 0, "refused": [], "sessions": 2}
    mine = next(s for s in sessions(anklefirst.data) if s.text("client") == "SK-07")
    assert mine.text("measurer") == "N-17"
    assert mine.text("posture") == "standing"
    assert mine.value("rising_at") == datetime.fromisoformat("2026-03-04T06:30+01:00")
    assert mine.value("zone") is None, "every time had its own offset"
    value = Readings(mine).adopted(Side.LEFT, Point.C, Kind.GIRTH)
    assert value is not None
    assert value.mm == 365


def test_an_imported_reading_carries_row_text_unit_and_instant(anklefirst: Anklefirst) -> None:
    row = "SK-07,2026-03-04T09:12:30+01:00,N-17,left,C,girth,,15 1/8,in,,"
    assert anklefirst("import", anklefirst.sheet(row)).code == 0
    [entry] = readings(anklefirst.data)
    assert entry["typed"] == "15 1/8"
    assert (entry["unit"], entry["mm"], entry["round"]) == ("in", Decimal("384.175"), 1)
    assert entry["at"] == datetime.fromisoformat("2026-03-04T09:12:30+01:00")
    assert len(entry["row"]) == 16


def test_importing_twice_changes_nothing(anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(ROW, CALF)
    anklefirst("import", path)
    before = content(anklefirst.data)
    ran = anklefirst("import", path, "--json")
    assert (ran.code, ran.json) == (0, {"added": 0, "skipped": 2, "refused": [], "sessions": 0})
    assert content(anklefirst.data) == before
    assert anklefirst("import", path).out == (
        "Added: 0. Already there: 2. Refused: 0. Sessions: 0.\n"
    )


def test_a_longer_sheet_adds_only_what_is_new(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(ROW))
    ran = anklefirst("import", anklefirst.sheet(CALF, ROW), "--json")
    assert ran.json == {"added": 1, "skipped": 1, "refused": [], "sessions": 1}
    [session] = sessions(anklefirst.data)
    assert len(Readings(session).places()) == 2
    asked = [e.text("what") for e in session.entries if e.array == "answers"]
    assert len(asked) == len(set(asked)), "no answer is given twice"


def test_the_same_value_written_otherwise_is_the_same(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(ROW))
    again = ROW.replace("22.4,cm", "224.0,mm").replace("09:12", "09:47")
    assert anklefirst("import", anklefirst.sheet(again), "--json").json["skipped"] == 1


def test_another_value_at_the_same_key_is_told_and_not_taken(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(ROW))
    before = content(anklefirst.data)
    path = anklefirst.sheet(CALF, ROW.replace("22.4", "22.9"))
    ran = anklefirst("import", path, "--json")
    assert (ran.code, ran.json["added"], ran.json["skipped"]) == (1, 1, 0)
    [refused] = ran.json["refused"]
    assert refused["line"] == 3
    assert "224 mm is there already" in refused["why"]
    [name] = before
    [old] = [line for line in before[name].splitlines() if b'typed = "22.4"' in line]
    assert old in Path(name).read_bytes()
    assert b"22.9" not in Path(name).read_bytes()


def test_hand_entered_readings_are_seen_too(anklefirst: Anklefirst) -> None:
    session = anklefirst.new("SK-07")
    anklefirst("set", session, "measurer", "N-17")
    hand = anklefirst.record(session, "left", "B", "girth", "22,40")
    anklefirst("record", session, "left", "G", "girth", "--not-taken", "dressing")
    thigh = ROW.replace(",B,", ",G,").replace("22.4", "55")
    path = anklefirst.sheet(ROW, ROW.replace("1,22.4", "2,22.5"), CALF, thigh)
    ran = anklefirst("import", path, "--json")
    assert (ran.json["added"], ran.json["skipped"]) == (2, 1)
    assert [r["line"] for r in ran.json["refused"]] == [5]
    assert "not taken (dressing)" in ran.json["refused"][0]["why"]
    other = anklefirst("import", anklefirst.sheet(ROW.replace("22.4", "23.4")), "--json")
    assert hand in other.json["refused"][0]["why"]


@pytest.mark.parametrize(
    "change",
    [
        ("N-17", "N-18"),
        ("SK-07", "SK-70"),
        ("2026-03-04T09", "2026-03-05T09"),
        ("left", "right"),
        (",1,22.4", ",2,22.4"),
    ],
)
def test_another_measurer_client_day_leg_or_round_is_another_reading(
    change: tuple[str, str], anklefirst: Anklefirst
) -> None:
    anklefirst("import", anklefirst.sheet(ROW))
    ran = anklefirst("import", anklefirst.sheet(ROW.replace(*change)), "--json")
    assert (ran.code, ran.json["added"]) == (0, 1)


def test_the_local_day_is_the_readings_own(anklefirst: Anklefirst) -> None:
    late = ROW.replace("09:12+01:00", "00:30+05:00")  # still the day before in UTC and in Berlin
    anklefirst("import", anklefirst.sheet(late))
    assert anklefirst("import", anklefirst.sheet(late), "--json").json["skipped"] == 1
    [session] = sessions(anklefirst.data)
    again = ROW.replace("22.4", "23.4").replace("09:12+01:00", "21:30+05:00")
    assert anklefirst("import", anklefirst.sheet(again), "--json").json["refused"] != []
    assert [s.id for s in sessions(anklefirst.data)] == [session.id]


def test_a_row_corrected_on_a_later_day_is_still_there(anklefirst: Anklefirst) -> None:
    """The tape was read on the day of the row, whenever the slip was found."""
    assert anklefirst("import", anklefirst.sheet(CALF)).code == 0
    [entry] = readings(anklefirst.data)
    anklefirst.world.later(days=1)
    assert anklefirst("correct", entry["by"], "36.4", "--why", "misread").code == 0
    changed = CALF.replace("36.5", "38.2")
    ran = anklefirst("import", anklefirst.sheet(changed), "--json")
    assert ran.code == 1
    assert ran.json["added"] == 0
    [refused] = ran.json["refused"]
    assert "364 mm is there already" in refused["why"]


def test_a_corrected_or_struck_out_row_does_not_come_back(anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(ROW, CALF)
    anklefirst("import", path)
    ankle, calf = (str(entry["by"]) for entry in readings(anklefirst.data))
    assert anklefirst("correct", ankle, "22.9", "--why", "misread").code == 0
    assert anklefirst("withdraw", calf, "--why", "wrong client").code == 0
    before = content(anklefirst.data)
    ran = anklefirst("import", path, "--json")
    assert (ran.code, ran.json["skipped"], ran.json["added"]) == (0, 2, 0)
    assert content(anklefirst.data) == before


def test_readings_in_a_file_laid_out_by_another_program_are_seen(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(ROW))
    [name] = content(anklefirst.data)
    text = Path(name).read_text(encoding="utf-8")
    Path(name).write_text(text.replace(" = ", "="), encoding="utf-8")
    ran = anklefirst("import", anklefirst.sheet(ROW, CALF), "--json")
    assert (ran.code, ran.json["skipped"], ran.json["added"]) == (1, 1, 0)
    assert [r["line"] for r in ran.json["refused"]] == [3], "nothing is added to such a file"


def test_a_longer_sheet_does_not_undo_what_was_set_since(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(ROW))
    [session] = sessions(anklefirst.data)
    anklefirst("set", session.id, "posture", "sitting")
    anklefirst("set", session.id, "rising_at", "2026-03-04T05:00+01:00")
    assert anklefirst("import", anklefirst.sheet(ROW, CALF), "--json").json["added"] == 1
    [session] = sessions(anklefirst.data)
    assert session.text("posture") == "sitting"
    assert session.value("rising_at") == datetime.fromisoformat("2026-03-04T05:00+01:00")
    assert readings(anklefirst.data)[1]["posture"] == "standing"


def test_a_longer_sheet_does_not_undo_the_zone_set_since(anklefirst: Anklefirst) -> None:
    bare = [row.replace("+01:00", "") for row in (ROW, CALF)]
    anklefirst("import", anklefirst.sheet(bare[0]))
    [session] = sessions(anklefirst.data)
    anklefirst("set", session.id, "zone", "Europe/Paris")
    assert anklefirst("import", anklefirst.sheet(*bare), "--json").json["added"] == 1
    [session] = sessions(anklefirst.data)
    assert session.text("zone") == "Europe/Paris"


def test_a_session_given_to_another_client_takes_no_more_rows(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(ROW))
    [session] = sessions(anklefirst.data)
    anklefirst("set", session.id, "client", "SK-70")
    ran = anklefirst("import", anklefirst.sheet(ROW, CALF), "--json")
    assert (ran.code, ran.json["added"], ran.json["skipped"]) == (1, 0, 1)
    assert "another client" in ran.json["refused"][0]["why"]


def test_two_laptops_importing_one_sheet_write_one_session(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = anklefirst.sheet(ROW, CALF)
    anklefirst("import", path)
    other = tmp_path / "dunlin"
    anklefirst.bare("--data", other, "import", path)
    [one], [two] = sessions(anklefirst.data), sessions(other)
    assert one.id == two.id
    joined = Readings(join(one, two))
    for point in (Point.B, Point.C):
        value = joined.adopted(Side.LEFT, point, Kind.GIRTH)
        assert value is not None
        assert value.readings == 1
    assert not [
        what for what in join(one, two).heads.fields if join(one, two).answer(what).disputed
    ]


def test_rounds_left_empty_count_by_order(anklefirst: Anklefirst) -> None:
    row = ROW.replace(",1,22.4", ",,22.4")
    path = anklefirst.sheet(row, row.replace("22.4", "22.6"))
    assert anklefirst("import", path, "--json").json["added"] == 2
    assert [entry["round"] for entry in readings(anklefirst.data)] == [1, 2]
    assert anklefirst("import", path, "--json").json["skipped"] == 2


def test_a_sheet_that_contradicts_itself_is_told(anklefirst: Anklefirst) -> None:
    ran = anklefirst("import", anklefirst.sheet(ROW, ROW.replace("22.4", "23"), ROW), "--json")
    assert (ran.json["added"], ran.json["skipped"]) == (1, 1)
    assert [r["line"] for r in ran.json["refused"]] == [3]
    assert "line 2" in ran.json["refused"][0]["why"]


def test_a_posture_of_its_own_stays_on_the_reading(anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(ROW, CALF.replace("standing", "lying"), CALF.replace(",C,", ",E,"))
    anklefirst("import", path)
    [session] = sessions(anklefirst.data)
    assert session.text("posture") == "standing"
    assert [entry.get("posture") for entry in readings(anklefirst.data)] == [None, "lying", None]


def test_a_correction_keeps_the_posture_of_its_reading(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(ROW, CALF.replace("standing", "lying")))
    calf = str(readings(anklefirst.data)[1]["by"])
    assert anklefirst("correct", calf, "36.9", "--why", "misread").code == 0
    assert readings(anklefirst.data)[2]["posture"] == "lying"


def test_a_posture_told_later_does_not_speak_for_earlier_readings(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(CALF.replace("standing", "")))
    anklefirst("import", anklefirst.sheet(ROW))
    [session] = sessions(anklefirst.data)
    assert session.text("posture") == ""
    assert [entry.get("posture") for entry in readings(anklefirst.data)] == [None, "standing"]


def test_another_time_of_rising_is_told(anklefirst: Anklefirst) -> None:
    ran = anklefirst("import", anklefirst.sheet(ROW, CALF + "2026-03-04T05:00+01:00"), "--json")
    assert (ran.code, ran.json["added"]) == (1, 2)
    assert "Line 3: rising_at differs" in ran.err
    [session] = sessions(anklefirst.data)
    assert session.value("rising_at") == datetime.fromisoformat("2026-03-04T06:30+01:00")


def test_an_impossible_value_is_stored_and_a_person_is_asked(anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(ROW.replace("22.4", "8.7"), CALF)
    ran = anklefirst("import", path, "--json")
    assert (ran.code, ran.json["added"], ran.json["refused"]) == (1, 2, [])
    assert "Line 2: " in ran.err
    assert "8.7 cm cannot be right" in ran.err
    assert anklefirst("import", path).code == 0


@pytest.mark.parametrize(
    ("measured_at", "code"),
    [
        ("2025-10-26T02:30", "local_time_ambiguous"),  # Berlin: came twice
        ("2025-03-30T02:30", "local_time_ambiguous"),  # Berlin: never came
        ("2062-03-04T09:12", "reading_in_future"),
        ("2062-03-04T09:12+01:00", "reading_in_future"),
        ("2026-03-03T09:12", None),
        ("2026-03-03T09:12+01:00", None),
    ],
)
def test_a_doubtful_time_is_told_with_its_line_and_the_row_kept(
    measured_at: str, code: str | None, anklefirst: Anklefirst
) -> None:
    row = CALF.replace("2026-03-04T09:13+01:00", measured_at)
    sheet = anklefirst.sheet(row, row.replace(",C,", ",B,").replace("36.5", "22.4"))
    ran = anklefirst("import", sheet, "--zone", "Europe/Berlin", "--json")
    assert ran.json["added"] == 2, "nothing is refused because of its hour"
    told = ran.json.get("doubts", [])
    assert {doubt["code"] for doubt in told} >= ({code} if code else set())
    assert bool(told) == bool(code), told
    if code:
        assert {doubt["line"] for doubt in told} == {2}, "once for all rows of one time"
        assert told[0]["text"] in ran.err


def test_a_row_without_a_posture_takes_none_from_the_row_before(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(ROW, CALF.replace("standing", "")))
    [session] = sessions(anklefirst.data)
    assert session.text("posture") == ""
    assert [entry.get("posture") for entry in readings(anklefirst.data)] == ["standing", None]


@pytest.mark.parametrize(("size", "code"), [("39", 0), ("99", 1)])
def test_a_shoe_size_nobody_wears_is_stored_and_told(
    anklefirst: Anklefirst, size: str, code: int
) -> None:
    shoe = f"SK-08,2026-03-04T09:05+01:00,N-17,left,foot,shoe,1,{size},eu,,"
    ran = anklefirst("import", anklefirst.sheet(shoe), "--json")
    assert (ran.code, ran.json["added"]) == (code, 1)


def test_an_impossible_value_is_told_as_it_was_written(anklefirst: Anklefirst) -> None:
    ran = anklefirst("import", anklefirst.sheet(ROW.replace("22.4,cm", "3 1/8,in")), "--json")
    assert ran.code == 1
    assert "Line 2: ! must be settled: LEFT: round the ankle (B): 3 1/8 in" in ran.err
