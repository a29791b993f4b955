"""record, correct and withdraw: what is kept, what counts, and what a nurse would be told."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from folder_views import rows, whole

from fitcore.disk.session_files import SessionFile, read_session_file
from fitcore.points import Kind, Point, Side
from fitcore.record.readings import Readings
from tui.commands import finding

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Anklefirst


def entries(anklefirst: Anklefirst, session: str, array: str) -> list[dict[str, Any]]:
    return rows(anklefirst.session_file(session), array)


def used(anklefirst: Anklefirst, session: str) -> Readings:
    return Readings(whole(anklefirst.session_file(session)))


# --- record ----------------------------------------------------------------------------------


def test_record_keeps_the_text_and_the_exact_value(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    ran = anklefirst("record", session, "LEFT", "b", "Girth", "22,40", "--json")
    assert ran.code == 0
    assert ran.json == {"session": session, "entries": ran.json["entries"], "flags": []}
    assert entries(anklefirst, session, "readings") == [
        {
            "by": ran.json["entries"][0],
            "at": anklefirst.world.instant,
            "side": "left",
            "point": "B",
            "kind": "girth",
            "round": 1,
            "typed": "22,40",
            "unit": "cm",
            "mm": Decimal("224.0"),
        }
    ]


def test_the_unit_is_the_tapes(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst("set", session, "tape", "in")
    anklefirst.record(session, "left", "C", "girth", "15 1/8")
    anklefirst.record(session, "right", "C", "girth", "384mm")
    found = entries(anklefirst, session, "readings")
    assert [(e["unit"], e["mm"]) for e in found] == [
        ("in", Decimal("384.175")),
        ("mm", Decimal("384.0")),
    ]


def test_the_round_is_the_next_free_one(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    first = anklefirst.record(session, "left", "B", "girth", "22.4")
    anklefirst.record(session, "left", "B", "girth", "22.6", "--round", "3")
    anklefirst.record(session, "left", "B", "girth", "22.5")
    anklefirst.record(session, "right", "B", "girth", "22.5")
    assert anklefirst("withdraw", first, "--why", "wrong client").code == 0
    anklefirst.record(session, "left", "B", "girth", "22.3")
    found = entries(anklefirst, session, "readings")
    assert [(e["side"], e["round"], e["typed"]) for e in found] == [
        ("left", 1, "22.4"),
        ("left", 3, "22.6"),
        ("left", 2, "22.5"),
        ("right", 1, "22.5"),
        ("left", 1, "22.3"),
    ]


@pytest.mark.parametrize("number", ["1", "0", "-1", "100"])
def test_a_round_that_is_taken_or_none_is_refused(number: str, anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    entry = anklefirst.record(session, "left", "B", "girth", "22.4")
    ran = anklefirst("record", session, "left", "B", "girth", "23", "--round", number, "--json")
    assert (ran.code, ran.json["problems"][0]["key"]) == (2, "--round")
    if number == "1":
        assert entry in ran.json["problems"][0]["mend"]
    assert len(entries(anklefirst, session, "readings")) == 1


def test_a_shoe_size_belongs_to_both_feet(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst.record(session, "both", "foot", "shoe", "39")
    anklefirst.record(session, "left", "foot", "shoe", "UK 6,5")
    found = entries(anklefirst, session, "readings")
    assert [(e["side"], e["system"], e["value"]) for e in found] == [
        ("both", "eu", Decimal("39.0")),
        ("left", "uk", Decimal("6.5")),
    ]


def test_not_taken_has_a_reason_and_no_value(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    ran = anklefirst("record", session, "left", "G", "girth", "--not-taken", "dressing", "--json")
    assert (ran.code, set(ran.json)) == (0, {"session", "entries"})
    [entry] = entries(anklefirst, session, "readings")
    assert entry["not_taken"] == "dressing"
    assert "mm" not in entry
    refused = anklefirst("record", session, "left", "B", "girth", "--not-taken", "", "--json")
    assert (refused.code, refused.json["problems"][0]["code"]) == (2, "reason_missing")


def test_an_impossible_value_is_stored_and_flagged(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    told = anklefirst("record", session, "left", "B", "girth", "2.24")
    assert told.code == 1
    assert told.out.count("2.24 cm cannot be right") == 1, "two codes, one sentence"
    assert "! must be settled: LEFT: round the ankle (B): 2.24 cm cannot be right" in told.out
    ran = anklefirst("record", session, "left", "B", "girth", "8.7", "--json")
    assert ran.code == 1
    hard, slip = ran.json["flags"]
    assert (hard["code"], hard["level"], hard["about"]) == ("hard_range", "block", "reading")
    assert (slip["code"], slip["level"], slip["about"]) == ("unit_slip", "warn", "reading")
    assert "Read in inches? Then type it with in. It would be 22.1 cm." in hard["text"]
    assert slip["text"] == hard["text"]
    assert {(flag["side"], flag["point"]) for flag in (hard, slip)} == {("left", "B")}
    found = entries(anklefirst, session, "readings")
    assert [e["doubts"] for e in found] == [
        ["hard_range", "decimal_slip"],
        ["hard_range", "unit_slip"],
    ]
    assert [(e["typed"], e["mm"]) for e in found] == [
        ("2.24", Decimal("22.4")),
        ("8.7", Decimal("87.0")),
    ]


def test_an_unusual_value_and_a_late_hour_are_doubts(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst("set", session, "rising_at", "05:00")
    ran = anklefirst("record", session, "left", "B", "girth", "28.5", "--json")
    assert ran.code == 0, "a doubt asks for no second person"
    assert [(f["code"], f["level"]) for f in ran.json["flags"]] == [
        ("soft_range", "warn"),
        ("late_in_day", "warn"),
    ]
    assert entries(anklefirst, session, "readings")[0]["doubts"] == ["soft_range", "late_in_day"]


def test_rising_after_the_reading_blocks(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst("set", session, "rising_at", "2026-03-04T11:00")
    ran = anklefirst("record", session, "left", "B", "girth", "22.4", "--json")
    [flag] = ran.json["flags"]
    assert (flag["code"], flag["level"], flag["about"]) == ("rising_time", "block", "clock")
    assert flag["text"].startswith("The time of rising is later than the reading")
    assert ran.code == 1
    assert entries(anklefirst, session, "readings")[0]["doubts"] == ["rising_time"]


def test_a_doubt_about_another_point_is_told_and_not_stored_beside_this_one(
    anklefirst: Anklefirst,
) -> None:
    session = anklefirst.new()
    anklefirst.record(session, "left", "B", "girth", "36.4")  # a calf, in the ankle's field
    ran = anklefirst("record", session, "left", "C", "girth", "22.6", "--json")
    assert {(flag["code"], flag["point"]) for flag in ran.json["flags"]} == {
        ("neighbours_swapped", "B"),
        ("ankle_not_smaller", "B"),
        ("ratio", "B"),
        ("soft_range", "C"),
    }
    ankle, calf = entries(anklefirst, session, "readings")
    assert (ankle["doubts"], calf["doubts"]) == (["soft_range"], ["soft_range"])


@pytest.mark.parametrize(
    ("tape", "ankle", "calf", "slips"),
    [("cm", "32.8", "36.8", {"B"}), ("in", "12.9", "14.5", set())],
)
def test_a_neighbour_is_taken_in_the_tapes_unit(
    tape: str, ankle: str, calf: str, slips: set[str], anklefirst: Anklefirst
) -> None:
    """A cm tape may be read at a wrong ten; 10 cm are no such slip on an inch tape."""
    session = anklefirst.new()
    anklefirst("set", session, "tape", tape)
    anklefirst.record(session, "left", "B", "girth", ankle)
    ran = anklefirst("record", session, "left", "C", "girth", calf, "--json")
    assert {f["point"] for f in ran.json["flags"] if f["code"] == "tape_slip"} == slips


def test_what_only_follows_from_the_hour_is_told_and_not_stored(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst("set", session, "rising_at", "07:30")
    ran = anklefirst("record", session, "left", "B", "girth", "22.4", "--json")
    assert [(f["code"], f["level"]) for f in ran.json["flags"]] == [("late_in_day", "note")]
    assert ran.code == 0
    assert "doubts" not in entries(anklefirst, session, "readings")[0]


@pytest.mark.parametrize("typed", ["", "abc", "0", "-5", "1/0", "22.4.1", "9" * 30, "22 kg"])
def test_what_is_no_length_is_refused(typed: str, anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    ran = anklefirst("record", session, "left", "B", "girth", typed, "--json")
    assert ran.code == 2
    assert ran.json["problems"][0]["mend"]
    assert entries(anklefirst, session, "readings") == []


# --- correct and withdraw --------------------------------------------------------------------


def test_a_correction_counts_and_the_old_reading_stays(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    old = anklefirst.record(session, "left", "B", "girth", "24.4")
    ran = anklefirst("correct", old, "22.4", "--why", "misread", "--json")
    assert ran.code == 0
    assert ran.json["session"] == session
    assert ran.json["flags"] == []
    first, second = entries(anklefirst, session, "readings")
    assert first["typed"] == "24.4"
    assert second["by"] == ran.json["entries"][0]
    assert (second["instead_of"], second["why"], second["round"]) == ([old], "misread", 1)
    value = used(anklefirst, session).adopted(Side.LEFT, Point.B, Kind.GIRTH)
    assert value is not None
    assert (float(value.mm), value.readings) == (224, 1)


def test_a_second_correction_lists_all_it_replaces(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    names = [anklefirst.record(session, "left", "B", "girth", "24.4")]
    for value in ("23.4", "22.4"):
        ran = anklefirst("correct", names[-1], value, "--why", "misread", "--json")
        names += ran.json["entries"]
    assert entries(anklefirst, session, "readings")[2]["instead_of"] == [names[1], names[0]]


def test_a_correction_has_the_unit_of_the_reading_it_replaces(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    inches = anklefirst.record(session, "left", "C", "girth", "15 1/8 in")
    shoe = anklefirst.record(session, "both", "foot", "shoe", "UK 6")
    anklefirst("correct", inches, "15 1/4", "--why", "misread")
    anklefirst("correct", shoe, "6.5", "--why", "misread")
    found = entries(anklefirst, session, "readings")
    assert (found[2]["unit"], found[2]["mm"]) == ("in", Decimal("387.35"))
    assert (found[3]["system"], found[3]["value"]) == ("uk", Decimal("6.5"))


def test_a_correction_that_cannot_be_right_is_flagged(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    old = anklefirst.record(session, "left", "B", "girth", "24.4")
    ran = anklefirst("correct", old, "224", "--why", "misread", "--json")
    assert (ran.code, ran.json["flags"][0]["code"]) == (1, "hard_range")


def test_only_the_reading_that_counts_can_be_corrected(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    old = anklefirst.record(session, "left", "B", "girth", "24.4")
    newer = anklefirst("correct", old, "22.4", "--why", "misread", "--json").json["entries"][0]
    ran = anklefirst("correct", old, "22.5", "--why", "misread", "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "not_correctable")
    assert newer in ran.json["problems"][0]["mend"]
    answer = entries(anklefirst, session, "answers")[0]["by"]
    assert anklefirst("correct", answer, "22.5", "--why", "misread").code == 2
    assert anklefirst("withdraw", newer, "--why", "wrong leg").code == 0
    for name in (newer, old):
        assert anklefirst("correct", name, "22.5", "--why", "misread").code == 2
    assert used(anklefirst, session).places() == (), "the older does not come back"


def test_withdraw_strikes_out_and_keeps(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    entry = anklefirst.record(session, "left", "B", "girth", "24.4")
    ran = anklefirst("withdraw", entry, "--why", "wrong client", "--json")
    assert (ran.code, set(ran.json)) == (0, {"session", "entries"})
    [struck] = entries(anklefirst, session, "withdrawn")
    assert (struck["takes_back"], struck["why"]) == ([entry], "wrong client")
    assert used(anklefirst, session).places() == ()
    again = anklefirst("withdraw", entry, "--why", "again", "--json")
    assert (again.code, again.json["problems"][0]["code"]) == (2, "already_withdrawn")
    assert anklefirst("withdraw", struck["by"], "--why", "it was right").code == 0
    assert len(used(anklefirst, session).places()) == 1


def test_withdrawing_what_was_corrected_is_refused_and_names_the_correction(
    anklefirst: Anklefirst,
) -> None:
    """Said to be struck out, it would have stood there as a line that takes nothing back."""
    session = anklefirst.new()
    first = anklefirst.record(session, "left", "B", "girth", "22.4")
    newer = anklefirst("correct", first, "22.6", "--why", "slip", "--json").json["entries"][0]
    ran = anklefirst("withdraw", first, "--why", "other client", "--json")
    (problem,) = ran.json["problems"]
    assert (ran.code, problem["code"]) == (2, "already_replaced")
    assert newer in problem["text"]
    assert newer in problem["mend"]
    assert entries(anklefirst, session, "withdrawn") == []


@pytest.mark.parametrize("verb", [["correct", "ENTRY", "22"], ["withdraw", "ENTRY"]])
def test_a_reason_must_say_something(verb: list[str], anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    entry = anklefirst.record(session, "left", "B", "girth", "24.4")
    words = [entry if word == "ENTRY" else word for word in verb]
    ran = anklefirst(*words, "--why", " \x1b ", "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "reason_missing")


def test_an_entry_is_found_among_many_sessions(
    anklefirst: Anklefirst, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = anklefirst.new("SK-01")
    entry = anklefirst.record(first, "left", "B", "girth", "22.4")
    for number in range(2, 12):
        other = anklefirst.new(f"SK-{number:02d}")
        anklefirst.record(other, "left", "B", "girth", "23")
    assert entry.endswith(":3")  # 3 is also the beginning of 30 to 33
    parsed = []

    def read(path: Path) -> SessionFile:
        parsed.append(path)
        return read_session_file(path)

    monkeypatch.setattr(finding, "read_session_file", read)
    assert anklefirst("correct", entry, "22.5", "--why", "w", "--json").json["session"] == first
    assert len(parsed) == len([p for p in parsed if entry in p.read_text(encoding="utf-8")]) == 3


def test_an_entry_of_two_contents_is_left_alone(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    entry = anklefirst.record(session, "left", "B", "girth", "22.4")
    file = anklefirst.session_file(session)
    other = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7"
    text = file.read_text(encoding="utf-8").replace(session, other).replace("22.4", "22.40")
    file.with_name(f"{other}.toml").write_text(text, encoding="utf-8")
    for words in (["correct", entry, "22.5"], ["withdraw", entry]):
        ran = anklefirst(*words, "--why", "w", "--json")
        assert (ran.code, ran.json["problems"][0]["code"]) == (2, "twin")


def test_an_entry_nobody_wrote_is_told(anklefirst: Anklefirst) -> None:
    anklefirst.new()
    ran = anklefirst("correct", "tern-k7qd:92", "22", "--why", "w", "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "entry_unknown")
