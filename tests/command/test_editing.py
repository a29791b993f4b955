"""new, set, remark and what goes wrong on disk: stored as the screen stores, told in JSON."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from folder_views import rows, whole

from fitcore.disk.data_folder import DataFolder

if TYPE_CHECKING:
    from conftest import Anklefirst


def entries(anklefirst: Anklefirst, session: str, array: str) -> list[dict[str, Any]]:
    return rows(anklefirst.session_file(session), array)


def answers(anklefirst: Anklefirst, session: str) -> dict[str, Any]:
    read = whole(anklefirst.session_file(session))
    return {what: read.value(what) for what in read.heads.fields}


# --- new -------------------------------------------------------------------------------------


def test_new_prints_only_the_id_and_records_what_is_known(anklefirst: Anklefirst) -> None:
    ran = anklefirst("new", "--client", "SK-07", "--protocol", "below-knee-short")
    assert ran.code == 0
    session = ran.out.removesuffix("\n")
    assert answers(anklefirst, session) == {
        "client": "SK-07",
        "zone": "Europe/Berlin",
        "protocol": "below-knee-short",
    }
    laptop = tomllib.loads((anklefirst.data / "laptop.toml").read_text(encoding="utf-8"))
    assert re.fullmatch(r"laptop-[a-z2-9]{4}", laptop["id"])
    assert [e["by"] for e in entries(anklefirst, session, "answers")] == [
        f"{laptop['id']}:{number}" for number in (1, 2, 3)
    ]


def test_new_records_the_laptops_measurer(anklefirst: Anklefirst) -> None:
    with DataFolder(anklefirst.data, anklefirst.world.surroundings(), label="dunlin") as folder:
        folder.set_measurer("N-17")
    session = anklefirst.new()
    assert answers(anklefirst, session)["measurer"] == "N-17"
    assert entries(anklefirst, session, "answers")[0]["by"].startswith("dunlin-")


def test_a_code_of_our_own_must_check(anklefirst: Anklefirst) -> None:
    assert anklefirst("new", "--client", "tern-014-0").code == 0
    ran = anklefirst("new", "--client", "tern-041-0", "--json")
    assert ran.code == 2
    assert ran.json["problems"][0]["code"] == "client_code_mistyped"


# --- set -------------------------------------------------------------------------------------


def test_set_answers_and_answers_anew(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    first = anklefirst("set", session, "posture", "Standing", "--json").json
    assert first["session"] == session
    again = anklefirst("set", session, "posture", "standing", "--json")
    assert (again.code, again.json) == (0, {"session": session, "entries": []})
    second = anklefirst("set", session, "posture", "lying", "--json").json
    assert answers(anklefirst, session)["posture"] == "lying"
    kept = [e for e in entries(anklefirst, session, "answers") if e["what"] == "posture"]
    assert [e["by"] for e in kept] == [*first["entries"], *second["entries"]]
    assert kept[1]["instead_of"] == first["entries"]


def test_set_reads_each_kind_of_answer(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    for what, typed in (
        ("rising_at", "6.30"),
        ("forms", "below_knee, tights"),
        ("finished", "yes"),
        ("zone", "Europe/London"),
        ("compression_off_at", "unknown"),
    ):
        assert anklefirst("set", session, what, typed).code == 0
    found = answers(anklefirst, session)
    assert found["rising_at"].isoformat() == "2026-03-04T06:30:00+01:00"
    assert found["forms"] == ["below_knee", "tights"]
    assert found["finished"] is True
    assert found["zone"] == "Europe/London"
    assert found["compression_off_at"] == "unknown"


@pytest.mark.parametrize(
    ("what", "typed", "code"),
    [
        ("posture", "hovering", "bad_answer"),
        ("colour", "blue", "unknown_field"),
        ("zone", "Skerrow/Isles", "unknown_zone"),
        ("rising_at", "25:00", "not_a_time"),
        ("client", "tern-041-0", "client_code_mistyped"),
        ("protocol", "no-such", "unknown_protocol"),
        ("measurer", "", "bad_answer"),
        ("screen.colour", "no", "unknown_answer"),
        ("screen.cold_foot", "no", "unknown_answer"),
        ("screen.heart", "hovering", "bad_answer"),
        ("screen.weeks_pregnant", "99", "bad_answer"),
        ("screen.purpose", "work", "answered_elsewhere"),
        ("pressure.arm_left", "1340", "bad_pressure"),
        ("pressure.arm", "134", "unknown_answer"),
        ("pressure.one_arm_why", " ", "bad_answer"),
        ("pressure.taken_on", "4.3.", "bad_answer"),
    ],
)
def test_set_refuses_what_is_no_answer(
    what: str, typed: str, code: str, anklefirst: Anklefirst
) -> None:
    session = anklefirst.new()
    before = anklefirst.session_file(session).read_bytes()
    ran = anklefirst("set", session, what, typed, "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, code)
    assert anklefirst.session_file(session).read_bytes() == before


def test_a_session_is_named_by_its_first_characters(anklefirst: Anklefirst) -> None:
    one = anklefirst.new()
    anklefirst.world.later(hours=1)
    other = anklefirst.new()
    assert one[:8] != other[:8]
    assert anklefirst("set", one[:8].upper(), "posture", "lying", "--json").json["session"] == one
    short = anklefirst("set", one[:7], "posture", "lying", "--json")
    assert (short.code, short.json["problems"][0]["code"]) == (2, "session_name_short")


def test_two_sessions_of_one_minute_are_told_apart_by_more(anklefirst: Anklefirst) -> None:
    one, other = anklefirst.new(), anklefirst.new()
    assert one[:13] == other[:13]
    ran = anklefirst("set", one[:13], "posture", "lying", "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "session_ambiguous")
    assert one in ran.json["problems"][0]["mend"]
    assert other in ran.json["problems"][0]["mend"]
    assert anklefirst("set", one, "posture", "lying").code == 0


# --- set: screening --------------------------------------------------------------------------


def test_set_stores_answers_of_screening_as_the_screen_does(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    for what, typed in (
        ("screen.heart", "No"),
        ("screen.cold_foot_left", "unknown"),
        ("screen.weeks_pregnant", "31"),
        ("pressure.arm_left", "134"),
        ("pressure.left_dp", "could_not_obtain"),
        ("pressure.one_arm_why", "fistula"),
        ("pressure.taken_on", "2026-03-04"),
    ):
        assert anklefirst("set", session, what, typed).code == 0
    stored = {e["what"]: e["is"] for e in entries(anklefirst, session, "answers")}
    rules = stored.pop("screening_rules")
    assert re.fullmatch(r"strictest 1 strictest\.toml blake2b:[0-9a-f]{32}", rules)
    assert {what: is_ for what, is_ in stored.items() if "." in what} == {
        "screen.heart": "no",
        "screen.cold_foot_left": "unknown",
        "screen.weeks_pregnant": Decimal(31),
        "pressure.arm_left": Decimal(134),
        "pressure.left_dp": "could_not_obtain",
        "pressure.one_arm_why": "fistula",
        "pressure.taken_on": "2026-03-04",
    }
    assert not anklefirst.found(anklefirst.session_file(session))


def test_set_names_the_rules_once_and_says_what_was_asked(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    first = anklefirst("set", session, "screen.under_18", "no")
    assert first.out.startswith("Under 18 years old? Answer: no.\nStored as ")
    again = anklefirst("set", session, "screen.under_18", "no", "--json")
    assert (again.code, again.json["entries"]) == (0, [])
    assert len(anklefirst("set", session, "screen.heart", "no", "--json").json["entries"]) == 1
    wrong = anklefirst("set", session, "screen.heart", "perhaps", "--json").json["problems"][0]
    assert wrong["mend"] == "Answer with: yes, no, unknown."
    unknown = anklefirst("set", session, "screen.hart", "no", "--json").json["problems"][0]
    assert "'screen.hart'" in unknown["text"]
    assert "screen --questions prints all" in unknown["mend"]


def test_what_set_answers_is_what_fit_screens_by(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    asked = anklefirst("screen", "--questions", "--json").json["questions"]
    for question in asked:
        if question["page"] == "ordinary":
            assert anklefirst("set", session, f"screen.{question['id']}", "no").code == 0
    assert _screening(anklefirst)["outcome"] == "go"
    assert anklefirst("set", session, "screen.emergency", "yes").code == 0
    assert _screening(anklefirst)["outcome"] == "hold"


def test_an_answer_about_the_calves_names_the_readings_it_is_about(anklefirst: Anklefirst) -> None:
    before = anklefirst.new()
    for side in ("left", "right"):
        anklefirst("record", before, side, "C", "girth", "36.2")
    anklefirst.world.later(days=30)
    session = anklefirst.new()
    early = anklefirst("set", session, "screen.larger_leg_new", "no", "--json")
    assert "rests_on" not in entries(anklefirst, session, "answers")[-2]
    assert early.code == 0
    for typed in ("40.2", "40.2"):
        anklefirst("record", session, "left", "C", "girth", typed)
    anklefirst("record", session, "right", "C", "girth", "36.2")
    ran = anklefirst("set", session, "screen.larger_leg_new", "no", "--json")
    assert len(ran.json["entries"]) == 1, "the same answer, about readings it now has"
    calves = [e["by"] for e in entries(anklefirst, session, "readings")]
    assert set(entries(anklefirst, session, "answers")[-1]["rests_on"]) == set(calves)
    assert anklefirst("set", session, "screen.larger_leg_new", "no", "--json").json["entries"] == []
    anklefirst("set", session, "screen.grown_leg_new_left", "no")
    grown = set(entries(anklefirst, session, "answers")[-1]["rests_on"])
    assert set(calves[:2]) < grown
    assert not grown & {calves[2]}


def test_set_notes_the_rules_the_service_chose_and_refuses_a_choice_it_cannot_read(
    anklefirst: Anklefirst,
) -> None:
    session = anklefirst.new()
    use = anklefirst.data / "screening" / "use.toml"
    use.parent.mkdir()
    use.write_text('format = 1\nrules = "nice-cks"\n', encoding="utf-8")
    assert anklefirst("set", session, "screen.heart", "no").code == 0
    assert answers(anklefirst, session)["screening_rules"].startswith("nice-cks 1 nice-cks.toml ")
    use.write_text('format = 1\nrules = "nice-ckks"\n', encoding="utf-8")
    before = anklefirst.session_file(session).read_bytes()
    ran = anklefirst("set", session, "screen.skin", "no", "--json")
    [problem] = ran.json["problems"]
    assert (ran.code, problem["path"], problem["line"]) == (2, str(use), 2)
    assert anklefirst.session_file(session).read_bytes() == before


def _screening(anklefirst: Anklefirst) -> dict[str, Any]:
    [fitted] = anklefirst("fit", anklefirst.data, "--json").json["sessions"]
    found: dict[str, Any] = fitted["screening"]
    return found


# --- remark and what goes wrong on disk ------------------------------------------------------


def test_a_remark_keeps_its_lines_and_brackets(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    ran = anklefirst("remark", session, "skin [left] dry\nnote [/] end", "--json")
    assert ran.code == 0
    [entry] = entries(anklefirst, session, "remarks")
    assert entry["text"] == "skin [left] dry\nnote [/] end"
    assert anklefirst("remark", session, "  ").code == 2


def test_nothing_is_added_to_a_session_changed_outside(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst.record(session, "left", "B", "girth", "22.4")
    file = anklefirst.session_file(session)
    changed = file.read_text(encoding="utf-8").replace("224.0", "324.0").encode()
    file.write_bytes(changed)
    ran = anklefirst("record", session, "left", "C", "girth", "36", "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "seal_not_whole")
    assert file.read_bytes() == changed


def test_a_damaged_session_is_told_with_its_file(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    file = anklefirst.session_file(session)
    file.write_bytes(b"")
    ran = anklefirst("set", session, "posture", "lying", "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "empty")
    assert ran.json["problems"][0]["path"] == str(file)


def test_a_folder_in_use_is_left_alone(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    with DataFolder(anklefirst.data, anklefirst.world.surroundings()):
        ran = anklefirst("set", session, "posture", "lying", "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "folder_in_use")
    assert anklefirst("set", session, "posture", "lying").code == 0


def test_a_folder_that_cannot_be_made_is_told(anklefirst: Anklefirst) -> None:
    anklefirst.data.write_text("an ordinary file is in the way", encoding="utf-8")
    ran = anklefirst("new", "--client", "SK-07", "--json")
    assert (ran.code, ran.json["problems"][0]["code"]) == (2, "not_saved")
    assert ran.json["problems"][0]["path"] == str(anklefirst.data)


def test_numbers_already_in_a_session_are_never_used_again(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    [marker] = (anklefirst.world.state / "laptops").iterdir()
    earlier = [(path, path.read_bytes()) for path in (anklefirst.data / "laptop.toml", marker)]
    first = anklefirst.record(session, "left", "B", "girth", "22.4")
    for path, raw in earlier:  # the whole laptop was set back, its memory too
        path.write_bytes(raw)
    second = anklefirst.record(session, "left", "C", "girth", "36")
    assert first.partition(":")[0] != second.partition(":")[0]


def test_a_copied_folder_goes_on_under_a_new_name_and_says_so(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    old = entries(anklefirst, session, "answers")[0]["by"].partition(":")[0]
    file = anklefirst.data / "laptop.toml"
    earlier = file.read_text(encoding="utf-8")
    anklefirst.record(session, "left", "B", "girth", "22.4")
    file.write_text(earlier, encoding="utf-8")
    ran = anklefirst("record", session, "left", "C", "girth", "36", "--json")
    assert ran.code == 0
    assert old in ran.err
    assert ran.json["entries"][0].partition(":")[0] != old
