"""record: the posture a reading was taken in, and a set that took too long."""

from __future__ import annotations

from typing import TYPE_CHECKING

from folder_views import rows

if TYPE_CHECKING:
    from conftest import Anklefirst


def postures(anklefirst: Anklefirst, session: str) -> list[str]:
    found = rows(anklefirst.session_file(session), "readings")
    return [entry.get("posture", "") for entry in found]


def test_a_reading_carries_the_posture_answered_when_it_was_taken(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst.record(session, "left", "B", "girth", "22.4")
    anklefirst("set", session, "posture", "standing")
    first = anklefirst.record(session, "left", "C", "girth", "36.2")
    anklefirst("set", session, "posture", "lying")
    anklefirst.record(session, "right", "C", "girth", "36.4")
    anklefirst.record(session, "right", "foot", "shoe", "EU 39")
    assert postures(anklefirst, session) == ["", "standing", "lying", ""]
    anklefirst("correct", first, "36.3", "--why", "misread")
    assert postures(anklefirst, session)[-1] == "standing"


def test_fit_tells_readings_of_two_postures_apart(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    for side, posture in (("left", "standing"), ("right", "lying")):
        anklefirst("set", session, "posture", posture)
        anklefirst.record(session, side, "C", "girth", "36.2")
    (found,) = anklefirst("fit", anklefirst.session_file(session), "--json").json["sessions"]
    told = [flag["text"] for flag in found["flags"] if flag["code"] == "posture_differs"]
    assert told == ["Left and right were read in different postures: they cannot be compared."]


def test_a_set_that_took_too_long_needs_a_person(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst.record(session, "left", "B", "girth", "22.4")
    anklefirst.world.later(minutes=61)
    ran = anklefirst("record", session, "left", "C", "girth", "36.2", "--json")
    assert ran.code == 1
    assert ("set_took_long", "block") in [(f["code"], f["level"]) for f in ran.json["flags"]]
    assert rows(anklefirst.session_file(session), "readings")[-1]["doubts"] == ["set_took_long"]


def test_a_reading_is_compared_with_the_last_session_that_measured_the_place(
    anklefirst: Anklefirst,
) -> None:
    for girths in ({"left": "36.2", "right": "36.4"}, {"right": "36.5"}, {}):
        session = anklefirst.new()
        for side, cm in girths.items():
            anklefirst.record(session, side, "C", "girth", cm)
        anklefirst.world.later(hours=24 * 90)
    ran = anklefirst("record", session, "left", "C", "girth", "41.9", "--json")
    flags = {flag["code"]: flag["text"] for flag in ran.json["flags"]}
    assert "36.2" in flags["last_time"]
    assert rows(anklefirst.session_file(session), "readings")[-1]["doubts"] == ["last_time"]
