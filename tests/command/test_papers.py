"""`note`: one session's referral note, printed or written to a new file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest

if TYPE_CHECKING:
    from conftest import Anklefirst

SAMPLES = Path(__file__).parents[2] / "sample_sessions"


def stopped() -> Path:
    """Return the demo day's session of a client who was stopped: newly swollen, warm."""
    (path,) = [
        path
        for path in (SAMPLES / "tern" / "sessions").rglob("*.toml")
        if path.read_text(encoding="utf-8").startswith("# tern-005-1 ")
    ]
    return path


def test_the_note_of_a_session_file(anklefirst: Anklefirst) -> None:
    ran = anklefirst("note", stopped())
    assert ran.code == 0, ran
    assert ran.out.startswith("REFERRAL NOTE\n====")
    assert "\nTODAY: somebody must act today." in ran.out
    assert "\nClient: tern-005-1\n" in ran.out
    assert "New or bigger swelling: medical help today" in ran.out
    assert "- doctor, by telephone; recorded 4 March 2026" in ran.out


def test_the_document_names_session_client_and_urgency(anklefirst: Anklefirst) -> None:
    found = anklefirst("note", stopped(), "--json").json
    assert list(found) == ["session", "client", "urgency", "text"]
    assert (found["session"], found["client"]) == (stopped().stem, "tern-005-1")
    assert found["urgency"] == "today"
    assert found["text"][0] == "REFERRAL NOTE"


def test_a_session_by_its_id(anklefirst: Anklefirst) -> None:
    made = anklefirst("new", "--client", "SK-1")
    session = made.out.strip().splitlines()[-1]
    ran = anklefirst("note", session[:13])
    assert ran.code == 0, ran
    assert "Client: SK-1" in ran.out
    assert "NOT SCREENED." in ran.out


def test_a_calf_grown_since_the_last_session_is_a_stop_in_the_note_as_in_fit(
    anklefirst: Anklefirst,
) -> None:
    sessions = []
    for girth in ("36.0", "39.5"):
        sessions.append(anklefirst.new())
        for side in ("left", "right"):
            for turn in ("1", "2"):
                anklefirst.record(sessions[-1], side, "C", "girth", girth, "--round", turn)
        anklefirst.world.later(days=30)
    judged = anklefirst("fit", anklefirst.data, "--json").json["sessions"]
    for session, found in zip(sessions, judged, strict=True):
        note = anklefirst("note", session, "--json").json
        assert note["urgency"] == found["screening"]["urgency"]
    assert [found["screening"]["urgency"] for found in judged] == ["none", "today"]
    assert "LEFT calf 3.5 cm larger than last time." in anklefirst("note", sessions[1]).out


def test_an_earlier_session_that_cannot_be_used_is_told(anklefirst: Anklefirst) -> None:
    first = anklefirst.session_file(anklefirst.new())
    anklefirst.world.later(days=30)
    second = anklefirst.new()
    first.write_text(f"{first.read_text(encoding='utf-8')}SK-07 = [", encoding="utf-8")
    ran = anklefirst("note", second)
    assert (ran.code, first.name in ran.err) == (0, True), ran


def test_a_file_that_cannot_be_read_says_what_is_wrong(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    empty = tmp_path / f"{stopped().stem}.toml"
    empty.write_bytes(b"")
    [problem] = anklefirst("note", empty, "--json").json["problems"]
    [checked] = anklefirst("check", empty, "--json").json["problems"]
    assert (problem["code"], problem["path"]) == (checked["code"], str(empty))


def test_who_was_told_is_recorded_with_set(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    assert "Told: ____" in anklefirst("note", session).out
    assert anklefirst("set", session, "told", "doctor, by telephone").code == 0
    assert "- doctor, by telephone; recorded 4 March 2026, 09:12 +01:00" in (
        anklefirst("note", session).out
    )


def test_a_new_file_is_written_and_none_is_written_over(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    out = tmp_path / "note.txt"
    ran = anklefirst("note", stopped(), "--out", out)
    assert ran.code == 0, ran
    first = out.read_bytes()
    assert first.startswith(b"REFERRAL NOTE\n")
    again = anklefirst("note", stopped(), "--out", out)
    assert again.code == 2
    assert "is there already" in again.err
    assert out.read_bytes() == first


@pytest.mark.skipif(sys.platform == "win32", reason="Windows lets few people make links")
def test_a_link_that_leads_nowhere_is_not_written_over(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    out = tmp_path / "note.txt"
    out.symlink_to(tmp_path / "nowhere")
    assert anklefirst("note", stopped(), "--out", out).code == 2
    assert out.is_symlink()


@pytest.mark.parametrize("named", ["nowhere.toml", str(SAMPLES / "tern"), __file__])
def test_what_is_not_one_session_is_refused(named: str, anklefirst: Anklefirst) -> None:
    ran = anklefirst("note", named)
    assert ran.code == 2, ran
    assert ran.err
    assert "Traceback" not in ran.err


def test_the_pressure_up_a_leg_as_text_and_as_a_picture(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    (path,) = [
        path
        for path in (SAMPLES / "tern" / "sessions").rglob("*.toml")
        if path.read_text(encoding="utf-8").startswith("# tern-003-5 ")
    ]
    words = ("pressure", path, "left", "--chart", "mill-two-spindrift")
    ran = anklefirst(*words)
    assert ran.code == 0, ran
    first = "Illustration: not this leg's pressure; never choose a size from it."
    assert ran.out.splitlines()[0] == first
    assert "ankle       B     24.6" in ran.out
    out = tmp_path / "leg.svg"
    assert anklefirst(*words, "--out", out).code == 0
    picture = ET.fromstring(out.read_bytes())  # noqa: S314 - written just now, by us
    assert picture.tag == "{http://www.w3.org/2000/svg}svg"
    assert first in out.read_text(encoding="utf-8").replace("&#x27;", "'")


@pytest.mark.parametrize(
    ("side", "chart", "told"),
    [
        ("left", "nowhere", "There is no chart 'nowhere'."),
        ("left", "mill-one-shingle", "prints no pressure"),
        ("middle", "mill-two-spindrift", "Nothing was read at that leg."),
    ],
)
def test_what_cannot_be_illustrated_is_said(
    side: str, chart: str, told: str, anklefirst: Anklefirst
) -> None:
    ran = anklefirst("pressure", stopped(), side, "--chart", chart)
    assert (ran.code, told in ran.err) == (2, True), ran
