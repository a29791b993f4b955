"""The sheets `import` is given: times, separators, encodings, rows that cannot be read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from folder_views import content, readings, sessions

if TYPE_CHECKING:
    from conftest import Anklefirst

ROW = "SK-07,2026-03-04T09:12+01:00,N-17,left,B,girth,1,22.4,cm,standing,2026-03-04T06:30+01:00"
CALF = "SK-07,2026-03-04T09:13+01:00,N-17,left,C,girth,1,36.5,cm,standing,"


# --- times -----------------------------------------------------------------------------------


def test_times_without_offset_take_the_systems_zone_and_say_so(anklefirst: Anklefirst) -> None:
    summer = ROW.replace("2026-03-04T09:12+01:00", "2025-07-04T09:12").partition(",standing")[0]
    ran = anklefirst("import", anklefirst.sheet(summer + ",standing,", CALF))
    assert ran.code == 0
    assert ran.err == "Times without an offset: 1, taken as Europe/Berlin.\n"
    ats = {entry["at"].isoformat() for entry in readings(anklefirst.data)}
    assert "2025-07-04T09:12:00+02:00" in ats


def test_zone_goes_before_the_systems(anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(ROW.replace("09:12+01:00", "09:12"))
    ran = anklefirst("import", path, "--zone", "Europe/London", "--json")
    assert "Europe/London" in ran.err
    [entry] = readings(anklefirst.data)
    assert entry["at"].isoformat() == "2026-03-04T09:12:00+00:00"
    [session] = sessions(anklefirst.data)
    assert session.text("zone") == "Europe/London"


def test_an_unknown_zone_is_wrong_use(anklefirst: Anklefirst) -> None:
    ran = anklefirst("import", anklefirst.sheet(ROW), "--zone", "Skerrow", "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "unknown_zone")
    assert not anklefirst.data.exists()


@pytest.mark.parametrize("day", ["1969-12-31T10:00+00:00", "0001-01-01T00:00+14:00"])
def test_a_day_no_session_can_be_filed_under_is_refused(day: str, anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(ROW.replace("2026-03-04T09:12+01:00", day), CALF)
    ran = anklefirst("import", path, "--json")
    assert (ran.code, ran.json["added"]) == (1, 1)
    assert [r["line"] for r in ran.json["refused"]] == [2]


def test_a_clock_that_began_anew_is_filed_in_1970(anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(ROW.replace("2026-03-04T09:12+01:00", "1970-01-01T00:20+01:00"))
    assert anklefirst("import", path, "--json").json["added"] == 1
    assert [p.parent.name for p in anklefirst.data.glob("sessions/*/*.toml")] == ["1970-01"]
    assert anklefirst("import", path, "--json").json["skipped"] == 1


# --- forms of the file -----------------------------------------------------------------------


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("separator", [";", "\t", ","])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_separators_marks_and_decimal_commas(
    separator: str, mark: str, newline: str, anklefirst: Anklefirst
) -> None:
    path = anklefirst.sheet()
    lines = [path.read_text(encoding="utf-8").strip(), ROW, CALF]
    text = newline.join(line.replace(",", separator) for line in lines)
    value = '"22,4"' if separator == "," else "22,4"
    text = text.replace(f"{separator}22.4{separator}", f"{separator}{value}{separator}")
    path.write_bytes((mark + text).encode())
    ran = anklefirst("import", path, "--json")
    assert ran.json == {"added": 2, "skipped": 0, "refused": [], "sessions": 1}
    assert [entry["typed"] for entry in readings(anklefirst.data)] == ["22,4", "36.5"]


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (b"", "bad_header"),
        (b"client,measured_at\nSK-07,2026", "bad_header"),
        (b"client;side\n", "bad_header"),
        (b"\xff\xfec\x00l\x00", "utf16"),
        (b"client,measured_at\x00\n", "binary"),
        (b"client,caf\xe9\n", "not_utf8"),
        (b'"' + b"a" * 200_000, "bad_header"),
        (b"PK\x03\x04\x14\x00\x06", "binary"),
    ],
)
def test_what_is_no_sheet_is_refused_whole(raw: bytes, code: str, anklefirst: Anklefirst) -> None:
    path = anklefirst.data.parent / "sheet.csv"
    path.write_bytes(raw)
    ran = anklefirst("import", path, "--json")
    [problem] = ran.json["problems"]
    assert (ran.code, problem["code"], problem["path"]) == (2, code, str(path))
    assert problem["mend"]
    assert not anklefirst.data.exists()


def test_a_wrong_encoding_names_the_line(anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(ROW, CALF)
    path.write_bytes(path.read_bytes().replace(b"36.5", b"36\xb75"))
    ran = anklefirst("import", path)
    assert ran.code == 2
    assert ran.err.startswith(f"{path}:3: ")


def test_a_folder_is_no_sheet(anklefirst: Anklefirst, tmp_path: Path) -> None:
    ran = anklefirst("import", tmp_path, "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "not_a_regular_file")


BAD_ROWS = [
    ROW.replace("22.4", "abc"),
    ROW.replace("22.4", "0"),
    ROW.replace("22.4", ""),
    ROW.replace(",left,", ",both,"),
    ROW.replace(",B,", ",Q,"),
    ROW.replace(",girth,", ",width,"),
    ROW.replace(",girth,", ",shoe,"),
    ROW.replace(",cm,", ",ft,"),
    ROW.replace("22.4,cm", "22.4 cm,mm"),
    ROW.replace("standing", "hovering"),
    ROW.replace("2026-03-04T09:12+01:00", "yesterday"),
    ROW.replace("2026-03-04T06:30+01:00", "early"),
    ROW.replace("SK-07", "tern-041-0"),
    ROW.replace("SK-07", ""),
    ROW.replace("N-17", ""),
    ROW.replace("B,girth,1", "B,girth,0"),
    ROW + ",more",
    "SK-07",
]


def test_each_bad_row_is_told_and_the_good_ones_kept(anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(CALF, *BAD_ROWS, "", ROW)
    ran = anklefirst("import", path, "--json")
    assert (ran.code, ran.json["added"]) == (1, 2)
    assert [r["line"] for r in ran.json["refused"]] == list(range(3, 3 + len(BAD_ROWS)))
    assert all(r["why"] for r in ran.json["refused"])
    told = anklefirst("import", path)
    assert [line.split(": ")[0] for line in told.out.splitlines()[:-1]] == [
        f"{path}:{line}" for line in range(3, 3 + len(BAD_ROWS))
    ]


def test_a_sheet_of_bad_rows_only_makes_no_folder(anklefirst: Anklefirst) -> None:
    ran = anklefirst("import", anklefirst.sheet(*BAD_ROWS), "--json")
    assert (ran.code, ran.json["added"], ran.json["sessions"]) == (1, 0, 0)
    assert not anklefirst.data.exists()


def test_rows_for_a_damaged_session_are_told_and_the_others_taken(anklefirst: Anklefirst) -> None:
    anklefirst("import", anklefirst.sheet(ROW))
    [name] = content(anklefirst.data)
    Path(name).write_bytes(b"session = ")
    ran = anklefirst("import", anklefirst.sheet(ROW, CALF.replace("SK-07", "SK-08")), "--json")
    assert (ran.code, ran.json["added"]) == (1, 1)
    assert [r["line"] for r in ran.json["refused"]] == [2]
    assert Path(name).read_bytes() == b"session = "
