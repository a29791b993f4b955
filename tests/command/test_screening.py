"""screen: answers in a file against the rules, the questions themselves, and rule files tried."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from screening_cases import GUIDELINES, ordinary

if TYPE_CHECKING:
    from conftest import Anklefirst, Ran

SHIPPED = Path(__file__).resolve().parents[2] / "profiles" / "screening"
YES_IS_HARMLESS = (
    "touch_felt|foot_check|midwife_knows|prescriber_knows|swelling_old|"
    "larger_leg_explained|grown_leg_explained"
)
KEYS = ["outcome", "urgency", "rules", "abpi", "max_mmhg", "legs"]


class Screen:
    """Writes a file of answers and screens it, as people see it and as JSON."""

    def __init__(self, anklefirst: Anklefirst, folder: Path) -> None:
        self.anklefirst = anklefirst
        self.file = folder / "answers.toml"

    def write(self, answers: dict[str, object], **pressures: object) -> None:
        lines = ["[answers]", *(f"{name} = {_toml(v)}" for name, v in answers.items())]
        lines += ["[pressures]", *(f"{name} = {_toml(v)}" for name, v in pressures.items())]
        self.file.write_text("\n".join(lines) + "\n", encoding="utf-8")

    def __call__(self, *words: str | Path) -> tuple[dict[str, Any], Ran]:
        """Screen what was written; both forms must end alike."""
        ran = self.anklefirst("screen", self.file, *words, "--json")
        people = self.anklefirst("screen", self.file, *words)
        assert people.code == ran.code, (ran, people)
        assert max(map(len, people.out.splitlines()), default=0) <= 78
        document: dict[str, Any] = ran.json
        return document, people


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


@pytest.fixture
def screen(anklefirst: Anklefirst, tmp_path: Path) -> Screen:
    return Screen(anklefirst, tmp_path)


def test_the_ordinary_client_is_go_and_exit_0(screen: Screen) -> None:
    screen.write(ordinary())
    document, people = screen()
    assert list(document) == KEYS
    assert document == {
        "outcome": "go",
        "urgency": "none",
        "rules": [],
        "abpi": {"left": None, "right": None},
        "max_mmhg": 20,
        "legs": {"left": "cleared", "right": "cleared"},
    }
    assert people.code == 0
    assert people.out.splitlines()[:3] == [
        "Result: no stop found.",
        "  LEFT: no stop found.",
        "  RIGHT: no stop found.",
    ]
    assert "up to 20 mmHg" in people.out
    assert "The prescriber, local protocol and your training come first." in people.out
    assert "Rules used: strictest 1 strictest.toml\nblake2b:" in people.out


def test_a_stop_is_exit_1_with_the_rule_its_source_and_by_when(screen: Screen) -> None:
    screen.write(ordinary(), arm_left=138, arm_right=134, left_dp=110, right_dp=128)
    document, people = screen()
    assert people.code == 1
    assert document["outcome"] == "stop"
    assert document["urgency"] == "next_working_day"
    assert document["abpi"] == {"left": "0.797", "right": "0.93"}
    assert document["legs"] == {"left": "stop", "right": "cleared"}
    assert document["max_mmhg"] is None
    (rule,) = document["rules"]
    assert list(rule) == ["id", "action", "urgency", "text", "source", "status"]
    assert (rule["id"], rule["status"]) == ("abpi_low", "read")
    assert "Act: by the next working day." in people.out
    assert "LEFT: stop: do not fit, a specialist decides. ABPI 0.797." in people.out
    assert "RIGHT: no stop found. ABPI 0.93." in people.out
    assert "Source (read): SIGN 120" in people.out
    assert "Do not keep the client standing." in people.out


def test_what_is_not_answered_counts_as_not_known(screen: Screen) -> None:
    screen.write({})
    document, people = screen()
    assert (document["outcome"], document["urgency"], people.code) == ("hold", "now", 1)
    assert document["legs"] == {"left": "hold", "right": "hold"}
    screen.write(dict.fromkeys(ordinary(), "unknown"))
    assert screen()[0] == document


def test_pressures_may_be_missing_old_or_of_one_arm(screen: Screen) -> None:
    screen.write(ordinary(), arm_left=138, left_dp="could_not_obtain", right_dp=138)
    assert screen()[0]["legs"] == {"left": "ask", "right": "cleared"}
    screen.write(ordinary(), arm_left=138, left_dp=138, right_dp=138)
    document, people = screen()
    assert document["max_mmhg"] == 20
    assert "One arm only, and no reason" in people.out
    screen.write(ordinary(), arm_left=138, left_dp=138, right_dp=138, one_arm_why="plaster")
    assert screen()[0]["max_mmhg"] is None
    file = screen.file.read_text(encoding="utf-8")
    screen.file.write_text(f"{file}taken_on = 2025-06-01\n", encoding="utf-8")
    document, people = screen()
    assert document["max_mmhg"] == 20
    assert "older than 90 days" in people.out
    screen.file.write_text(f"{file}taken_on = 2026-03-04\n", encoding="utf-8")
    assert screen()[0]["max_mmhg"] is None


@pytest.mark.parametrize(
    ("text", "key", "mend"),
    [
        ('[answers]\nskinn = "no"\n', "skinn", "--questions"),
        ('[answers]\nbypass = "no"\n', "bypass", "ends in its side"),
        ('[answers]\nskin = "perhaps"\n', "skin", "yes, no, unknown"),
        ("[answers]\nskin = true\n", "skin", "yes, no, unknown"),
        ("[answers]\nweeks_pregnant = 99\n", "weeks_pregnant", "from 1 to 44"),
        ("[pressures]\narm_left = 1380\n", "arm_left", "40 to 300 mmHg"),
        ("[pressures]\narm = 138\n", "arm", "arm_left, arm_right"),
        ('[pressures]\ntaken_on = "last week"\n', "taken_on", "2026-03-04"),
        ("[pressures]\none_arm_why = 1\n", "one_arm_why", "in quotes"),
        ("answers = 3\n", "answers", "[answers]"),
        ("[answer]\n", "answer", "Only [answers] and [pressures]"),
        ("[answers]\nskin = \n", None, "Write [answers]"),
        ("[answers]\nweeks_pregnant = 1e9999999999999999999\n", None, "Write [answers]"),
        ("[answers]\nweeks_pregnant = 1e999999\n", "weeks_pregnant", "from 1 to 44"),
        ("[answers]\nweeks_pregnant = nan\n", "weeks_pregnant", "from 1 to 44"),
        (f"[answers]\nweeks_pregnant = 0x{'f' * 6000}\n", "weeks_pregnant", "from 1 to 44"),
        (f"[pressures]\narm_left = 0x{'f' * 6000}\n", "arm_left", "40 to 300 mmHg"),
        (f"[answers]\nweeks_pregnant = {'9' * 6000}\n", None, "Write [answers]"),
    ],
)
def test_a_file_that_cannot_be_meant_is_wrong_use(
    text: str, key: str | None, mend: str, screen: Screen
) -> None:
    screen.file.write_text(text, encoding="utf-8")
    document, people = screen()
    assert people.code == 2
    assert people.out == ""
    (problem,) = document["problems"]
    assert (problem["key"], problem["path"]) == (key, str(screen.file))
    assert mend in problem["mend"]
    assert mend in people.err


def test_every_fault_of_a_file_is_told(screen: Screen) -> None:
    screen.file.write_text('[answers]\na = "no"\nskin = 3\n[pressures]\nb = 1\n', encoding="utf-8")
    document, people = screen()
    assert [problem["key"] for problem in document["problems"]] == ["a", "skin", "b"]
    assert people.code == 2


def test_a_file_that_is_not_there_or_not_named(anklefirst: Anklefirst, tmp_path: Path) -> None:
    missing = anklefirst("screen", tmp_path / "none.toml", "--json")
    assert (missing.code, missing.json["problems"][0]["code"]) == (2, "unreadable_io")
    unnamed = anklefirst("screen")
    assert unnamed.code == 2
    assert "--questions" in unnamed.err


def test_the_questions_are_printed_with_every_id_that_can_be_answered(
    anklefirst: Anklefirst, screen: Screen
) -> None:
    ran = anklefirst("screen", "--questions", "--json")
    assert ran.code == 0
    questions = ran.json["questions"]
    first = [question["id"] for question in questions if question["page"] == "ordinary"]
    assert first == list(ordinary())
    ids = [question["id"] for question in questions]
    assert len(set(ids)) == len(ids)
    assert {"bypass_left", "bypass_right"} <= set(ids)
    assert all(question["text"] and question["source"] for question in questions)
    assert [p["id"] for p in ran.json["pressures"]][:3] == ["arm_left", "arm_right", "left_dp"]
    yes_no = {q["id"]: "no" for q in questions if q["kind"] == "yes_no_unknown"}
    screen.write(yes_no)
    assert screen()[0]["outcome"] == "stop", "no explained difference of the calves, for one"
    harmless = {
        name: "yes" if re.match(YES_IS_HARMLESS, name) else answer
        for name, answer in yes_no.items()
    }
    screen.write(harmless)
    assert screen()[0]["outcome"] == "go"
    people = anklefirst("screen", "--questions")
    assert people.code == 0
    assert all(name in people.out for name in ids)
    assert people.out.startswith(
        "[first page: asked of everybody]\nunder_18\n  Under 18 years old?"
    )


@pytest.mark.parametrize(
    ("answers", "outcome"),
    [
        ({"larger_leg_new": "yes"}, "stop"),
        ({"larger_leg_new": "unknown"}, "stop"),
        ({"larger_leg_new": "no"}, "stop"),
        ({"larger_leg_new": "no", "larger_leg_explained": "unknown"}, "stop"),
        ({"larger_leg_new": "yes", "larger_leg_explained": "yes"}, "stop"),
        ({"larger_leg_explained": "yes"}, "stop"),
        ({"grown_leg_new_right": "yes"}, "stop"),
        ({"grown_leg_new_left": "no", "grown_leg_explained_left": "no"}, "stop"),
        ({"larger_leg_new": "no", "larger_leg_explained": "yes"}, "go"),
        ({"grown_leg_new_left": "no", "grown_leg_explained_left": "yes"}, "go"),
    ],
)
def test_a_difference_that_is_told_of_stops_like_one_that_was_measured(
    answers: dict[str, object], outcome: str, screen: Screen
) -> None:
    screen.write(ordinary() | answers)
    document, people = screen()
    assert (document["outcome"], people.code) == (outcome, int(outcome != "go"))
    if outcome == "stop":
        assert document["rules"][0]["id"] == "side_difference"
        assert (document["urgency"], set(document["legs"].values())) == ("today", {"stop"})


def test_a_prescription_that_contradicts_itself_asks(screen: Screen) -> None:
    prescription = {
        "purpose": "prescribed",
        "prescriber": "Dr-7",
        "prescribed_standard": "bs-6612",
        "prescribed_class": "1",
        "prescribed_low_mmhg": 14,
        "prescribed_high_mmhg": 17,
        "prescribed_length": "below_knee",
        "prescribed_toe": "open",
        "prescribed_legs": "both",
        "prescribed_pairs": 2,
    }
    screen.write(ordinary() | prescription)
    assert screen()[0]["outcome"] == "go"
    screen.write(ordinary() | prescription | {"prescribed_high_mmhg": 20})
    document, people = screen()
    assert (document["outcome"], people.code) == ("ask", 1)
    assert [rule["id"] for rule in document["rules"]] == ["prescription_unclear"]
    assert "Ask the prescriber which is meant." in " ".join(people.out.split())


def test_pressures_nobody_took_clear_nothing(screen: Screen) -> None:
    taken = {"arm_left": 138, "arm_right": 134, "left_dp": 138, "right_dp": 138}
    screen.write(ordinary(abpi_taken="yes"), **taken)
    assert screen()[0]["max_mmhg"] is None
    for answers in ({"abpi_taken": "no"}, {"new_symptoms_since_abpi": "yes"}):
        screen.write(ordinary() | answers, **taken)
        assert screen()[0]["max_mmhg"] == 20


def test_a_rule_file_milder_than_the_strictest_is_told_and_used(
    screen: Screen, tmp_path: Path
) -> None:
    own = tmp_path / "ours.toml"
    soft = OWN.replace('"lymph_asks"', '"diabetes"').replace('["lymph"]', '["diabetes"]')
    own.write_text(soft, encoding="utf-8")
    screen.write(ordinary())
    _, people = screen("--rules", own)
    assert "'diabetes' is milder than in the strictest rules" in people.err
    assert people.code == 0


@pytest.mark.parametrize("name", GUIDELINES)
def test_a_guideline_is_tried_by_file_or_by_name(name: str, screen: Screen) -> None:
    screen.write(ordinary(), arm_left=200, arm_right=200, left_dp=138, right_dp=200)
    by_file, people = screen("--rules", SHIPPED / f"{name}.toml")
    by_name, _ = screen("--rules", name)
    assert by_file == by_name
    assert f"Rules used: {name} 1 {name}.toml" in people.out
    wanted = {"icc-2020": "ask", "german-s2k-2018": "ask", "has-2010": "ask"}.get(name, "stop")
    assert by_file["legs"] == {"left": wanted, "right": "cleared"}


OWN = """
format = 1
id = "ours"
name = "Our service"
version = "3"
base = "strictest"

[source]
status = "judgement"
text = "Agreed by the invented Skerrow Isles service."

[without_abpi]
max_mmhg = 17
action = "ask"
urgency = "routine"
text = "More than 17 mmHg only with an ABPI."
source = "Ours."
status = "judgement"

[[rules]]
id = "lymph_asks"
questions = ["lymph"]
when = "yes"
action = "ask"
urgency = "next_working_day"
text = "Ask the lymphoedema team."
source = "Ours."
status = "judgement"
lifted_by = ["lymphoedema_team"]
"""


def test_a_services_own_rules_come_from_a_file_or_the_data_folder(
    screen: Screen, anklefirst: Anklefirst, tmp_path: Path
) -> None:
    own = tmp_path / "ours.toml"
    own.write_text(OWN, encoding="utf-8")
    screen.write(ordinary())
    assert screen("--rules", own)[0]["max_mmhg"] == 17
    screen.write(ordinary(lymph="yes", prescriber_knows="yes"))
    assert screen("--rules", own)[0]["outcome"] == "ask"
    folder = anklefirst.data / "screening"
    folder.mkdir(parents=True)
    own.rename(folder / "ours.toml")
    assert screen("--rules", "ours")[0]["outcome"] == "ask"
    (folder / "strictest.toml").write_text(
        (SHIPPED / "strictest.toml").read_text("utf-8").replace("max_mmhg = 20", "max_mmhg = 17"),
        encoding="utf-8",
    )
    screen.write(ordinary())
    assert screen()[0]["max_mmhg"] == 17


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ('questions = ["lymph"]', 'questions = ["lymphh"]', "unknown_question"),
        ('base = "strictest"', 'base = "strictestt"', "unknown_rules"),
        ('base = "strictest"', 'base = "nice-cks"', "base_has_base"),
        ('action = "ask"\nurgency = "next', 'action = "forbid"\nurgency = "next', "profile_"),
        ('id = "lymph_asks"', 'id = "travel_risk"', "same_id"),
        ("format = 1", "format = ", "not_toml"),
    ],
)
def test_rules_that_cannot_be_used_screen_nobody(
    old: str, new: str, code: str, screen: Screen, tmp_path: Path
) -> None:
    own = tmp_path / "ours.toml"
    assert old in OWN
    own.write_text(OWN.replace(old, new), encoding="utf-8")
    screen.write(ordinary())
    document, people = screen("--rules", own)
    assert people.code == 2
    assert document["problems"][0]["code"].startswith(code)
    assert "ours.toml" in people.err or code == "unknown_rules"


def test_a_name_of_no_rules_is_told(screen: Screen) -> None:
    screen.write(ordinary())
    document, people = screen("--rules", "stricter")
    assert (people.code, document["problems"][0]["code"]) == (2, "unknown_rules")
    assert "strictest" in people.err


def test_hostile_text_in_a_file_of_answers_steers_no_terminal(screen: Screen) -> None:
    screen.file.write_text('[answers]\nskin = "\\u001b[31mno"\n"\\u001b]0;x" = 1\n', "utf-8")
    document, people = screen()
    assert people.code == 2
    assert len(document["problems"]) == 2
