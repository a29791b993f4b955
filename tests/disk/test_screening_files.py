"""Loading the book of screening: shipped, a service's own, and the digest of what was used."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pytest

from fitcore.disk.profile_files import load_profiles
from fitcore.disk.screening_files import check_rules, check_use, load_screening
from fitcore.problems import ProfileError

SHIPPED = Path(str(files("profiles"))) / "screening"


def own_folder(folder: Path, name: str, text: str) -> Path:
    path = folder / "screening" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return folder


def test_what_is_shipped_loads_without_a_word() -> None:
    book, problems = load_screening()
    assert problems == ()
    assert (book.used.id, book.used.file) == ("strictest", "strictest.toml")
    assert book.used.stamp == f"strictest 1 strictest.toml blake2b:{book.used.digest}"
    assert len(book.used.digest) == 32


@pytest.mark.parametrize(
    "name", ["strictest.toml", "questions.toml", "purposes.toml"], ids=lambda name: name
)
def test_one_byte_more_in_any_file_is_another_digest(name: str, tmp_path: Path) -> None:
    text = (SHIPPED / name).read_text(encoding="utf-8")
    own = own_folder(tmp_path, name, f"{text}\n")
    changed, problems = load_screening(own, "nice-cks")
    assert problems == ()
    assert changed.used.digest != load_screening(chosen="nice-cks")[0].used.digest
    assert load_screening(tmp_path / "nowhere", "nice-cks") == load_screening(chosen="nice-cks")


def test_a_broken_file_of_ones_own_is_told_and_the_others_still_screen(tmp_path: Path) -> None:
    own = own_folder(tmp_path, "ours.toml", 'format = 1\nid = "ours"\n')
    book, problems = load_screening(own)
    assert book == load_screening()[0]
    assert {problem.path for problem in problems} == {str(tmp_path / "screening" / "ours.toml")}
    with pytest.raises(ProfileError):
        load_screening(own, "ours")


def test_a_broken_file_in_place_of_the_default_screens_nobody(tmp_path: Path) -> None:
    own = own_folder(tmp_path, "strictest.toml", "format = \n")
    with pytest.raises(ProfileError) as caught:
        load_screening(own)
    assert caught.value.problem.code == "not_toml"


@pytest.mark.parametrize("name", ["questions.toml", "purposes.toml"])
def test_broken_questions_screen_nobody(name: str, tmp_path: Path) -> None:
    with pytest.raises(ProfileError):
        load_screening(own_folder(tmp_path, name, "format = 1\n"))


def test_questions_of_ones_own_that_a_rule_misses_screen_nobody(tmp_path: Path) -> None:
    text = (SHIPPED / "questions.toml").read_text(encoding="utf-8")
    assert 'id = "under_18"' in text
    own = own_folder(tmp_path, "questions.toml", text.replace('id = "under_18"', 'id = "adult"'))
    with pytest.raises(ProfileError) as caught:
        load_screening(own)
    assert (caught.value.problem.code, caught.value.problem.path) == (
        "unknown_question",
        "strictest.toml",
    )


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('id = "skin"', 'id = "heart"'),
        ('id = "lipoedema"', 'id = "lymphoedema_left"'),
        ('opens = [{ question = "diabetes" }]', 'opens = [{ question = "numb" }]'),
        ('answers = ["prescribed"]', 'answers = ["ordered"]'),
        ('id = "black_skin"\npage = "leg"', 'id = "black_skin"\npage = "ordinary"'),
        ('kind = "number"\nlow = 1', 'kind = "number"\nlow = 100'),
        ('kind = "number"\nlow = 1\n', 'kind = "number"\n'),
        ('kind = "text"', 'kind = "choice"'),
        ('id = "right_toe"', 'id = "left_toe"'),
        ('text = "Under 18 years old?"', 'text = ""'),
        ('text = "Under 18 years old?"', f'text = "{"Under 18? " * 8}"'),
        ('id = "cold_foot"\npage = "leg"', 'id = "cold_foot"\npage = "second"'),
    ],
)
def test_questions_that_cannot_be_meant_are_refused(old: str, new: str, tmp_path: Path) -> None:
    text = (SHIPPED / "questions.toml").read_text(encoding="utf-8")
    assert old in text
    with pytest.raises(ProfileError):
        load_screening(own_folder(tmp_path, "questions.toml", text.replace(old, new, 1)))


def test_a_fifteenth_line_does_not_stand_on_the_first_page(tmp_path: Path) -> None:
    text = (SHIPPED / "questions.toml").read_text(encoding="utf-8")
    more = '\n[[questions]]\nid = "more"\npage = "ordinary"\nkind = "yes_no_unknown"\n'
    more += 'text = "More?"\nsource = "Ours."\nstatus = "judgement"\n'
    head, tail = text.split("\n[[questions]]", 1)
    with pytest.raises(ProfileError, match="1 to 14 lines"):
        load_screening(own_folder(tmp_path, "questions.toml", f"{head}{more}\n[[questions]]{tail}"))


# ---- which rule file a service uses -----------------------------------------------------------


@pytest.mark.parametrize("name", ["strictest", "nice-cks"])
def test_a_service_screens_by_the_file_it_names(name: str, tmp_path: Path) -> None:
    own = own_folder(tmp_path, "use.toml", f'format = 1\nrules = "{name}"\n')
    assert load_screening(own) == load_screening(chosen=name)
    assert load_profiles(own).screening == load_screening(chosen=name)[0]


def test_what_a_person_names_goes_before_what_the_service_uses(tmp_path: Path) -> None:
    own = own_folder(tmp_path, "use.toml", 'format = 1\nrules = "nice-cks"\n')
    assert load_screening(own, "sign-120") == load_screening(chosen="sign-120")
    file = SHIPPED / "has-2010.toml"
    assert load_screening(own, file=file) == load_screening(file=file)


def test_a_service_uses_a_file_of_its_own(tmp_path: Path) -> None:
    own_folder(tmp_path, "ours.toml", RULES)
    own = own_folder(tmp_path, "use.toml", 'format = 1\nrules = "ours"\n')
    book, problems = load_screening(own)
    assert problems == ()
    assert (book.used.id, book.used.file) == ("ours", "ours.toml")
    assert "kind_to_skin" in {rule.id for rule in book.rules.rules}


@pytest.mark.parametrize(
    ("text", "line", "key", "code"),
    [
        ('format = 1\n\nrules = "nice-ckks"\n', 3, "rules", "unknown_rules"),
        ('format = 1\nrules = "questions"\n', 2, "rules", "unknown_rules"),
        ("format = 1\nrules = nice-cks\n", 2, None, "not_toml"),
        ('format = 2\nrules = "nice-cks"\n', 1, "format", "profile_literal_error"),
        ("format = 1\nrules = 3\n", 2, "rules", "profile_string_type"),
        ('format = 1\nrules = "Nice CKS"\n', 2, "rules", "profile_string_pattern_mismatch"),
        ("format = 1\n", None, "rules", "profile_missing"),
        ('format = 1\nrules = "nice-cks"\nbase = "x"\n', 3, "base", "profile_extra_forbidden"),
        ("", None, "format", "profile_missing"),
    ],
)
def test_nobody_is_screened_by_rules_nobody_chose(
    text: str, line: int | None, key: str | None, code: str, tmp_path: Path
) -> None:
    own = own_folder(tmp_path, "use.toml", text)
    path = own / "screening" / "use.toml"
    with pytest.raises(ProfileError) as caught:
        load_screening(own)
    problem = caught.value.problem
    assert (problem.path, problem.line, problem.key, problem.code) == (str(path), line, key, code)
    assert problem.mend
    assert problem == check_use(text.encode(), path)[0].at(path=str(path))
    assert load_screening(own, "nice-cks") == load_screening(chosen="nice-cks")


def test_the_rule_files_there_are_stand_in_the_mend(tmp_path: Path) -> None:
    own_folder(tmp_path, "ours.toml", RULES)
    own = own_folder(tmp_path, "use.toml", 'format = 1\nrules = "theirs"\n')
    with pytest.raises(ProfileError) as caught:
        load_screening(own)
    assert "nice-cks, ours, sign-120, strictest" in caught.value.problem.mend


def test_the_fault_of_the_file_in_use_is_told_where_it_is(tmp_path: Path) -> None:
    own_folder(tmp_path, "ours.toml", RULES.replace("routine", "whenever"))
    own_folder(tmp_path, "another.toml", "id =\n")
    own = own_folder(tmp_path, "use.toml", 'format = 1\nrules = "ours"\n')
    with pytest.raises(ProfileError) as caught:
        load_screening(own)
    problem = caught.value.problem
    assert problem.path == str(own / "screening" / "ours.toml")
    assert problem.key == "rules.0.urgency"
    (fault,) = check_use(b'format = 1\nrules = "ours"\n', own / "screening" / "use.toml")
    assert (fault.code, fault.line) == ("unknown_rules", 2)


@pytest.mark.parametrize(
    "name", ["use.toml", "strictest.toml", "questions.toml", "purposes.toml"], ids=str
)
def test_a_file_of_ones_own_that_cannot_be_read_is_not_stood_in_for(
    name: str, tmp_path: Path
) -> None:
    (tmp_path / "screening" / name).mkdir(parents=True)
    with pytest.raises(ProfileError) as caught:
        load_screening(tmp_path)
    assert caught.value.problem.path == str(tmp_path / "screening" / name)


def test_an_unreadable_base_is_not_stood_in_for(tmp_path: Path) -> None:
    (tmp_path / "screening" / "strictest.toml").mkdir(parents=True)
    own = own_folder(tmp_path, "ours.toml", RULES)
    with pytest.raises(ProfileError):
        load_screening(own, "ours")


def test_an_unreadable_file_that_is_not_in_use_is_only_told(tmp_path: Path) -> None:
    path = tmp_path / "screening" / "sign-120.toml"
    path.mkdir(parents=True)
    book, problems = load_screening(tmp_path)
    assert book == load_screening()[0]
    assert [problem.path for problem in problems] == [str(path)]


# ---- what `check` asks about one file ---------------------------------------------------------

RULES = """format = 1
id = "ours"
name = "Our service"
version = "1"
base = "strictest"

[source]
status = "judgement"
text = "Invented for a test."

[[rules]]
id = "kind_to_skin"
questions = ["skin"]
when = "yes"
action = "ask"
urgency = "routine"
text = "Ask."
source = "Ours."
status = "judgement"
"""


@pytest.mark.parametrize(
    ("old", "new", "code", "line"),
    [
        ('["skin"]', '["skinn"]', "unknown_question", 13),
        ('when = "yes"', 'when = "above"\nthreshold = 3', "no_such_answer", 14),
        ('"kind_to_skin"', '"side_difference"', "same_id", 12),
        ('"strictest"', '"stricter"', "unknown_rules", 5),
        ('"strictest"', '"sign-120"', "base_has_base", 5),
        (
            'questions = ["skin"]\nwhen = "yes"',
            'questions = ["weeks_pregnant"]\nwhen = "above"\nthreshold = 45',
            "threshold_out_of_range",
            15,
        ),
    ],
)
def test_a_fault_between_files_is_told_with_its_line(
    old: str, new: str, code: str, line: int, tmp_path: Path
) -> None:
    path = tmp_path / "ours.toml"
    assert check_rules(RULES.encode(), path) == ()
    (fault,) = check_rules(RULES.replace(old, new, 1).encode(), path)
    assert (fault.code, fault.line) == (code, line)


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("*.toml")), ids=lambda path: path.stem)
def test_nothing_is_wrong_between_the_shipped_files(path: Path) -> None:
    if path.name != "questions.toml":
        assert check_rules(path.read_bytes(), path) == ()


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("strictest.toml", "[abpi]", "[abpy]"),
        ("strictest.toml", 'id = "emergency"', 'id = "cold_foot"'),
        ("strictest.toml", "cm = 3\n", "cm = 4\n"),
        ("strictest.toml", "cm = 3\n", "cm = 0.001\n"),
        ("strictest.toml", "threshold = 30\n", "threshold = -5\n"),
        ("strictest.toml", "threshold = 0.5\n", "threshold = 9\n"),
        ("strictest.toml", "threshold = 0.5\n", "threshold = 1e99999999999999999999\n"),
        ("strictest.toml", "max_age_days = 90", "max_age_days = 0"),
        ("purposes.toml", 'purpose = "sport"', 'purpose = "travel"'),
        ("purposes.toml", "mmhg = [10, 20]\n", ""),
    ],
)
def test_rules_and_purposes_that_cannot_be_meant_are_refused(
    name: str, old: str, new: str, tmp_path: Path
) -> None:
    text = (SHIPPED / name).read_text(encoding="utf-8")
    assert old in text
    changed = text.replace(old, new, 1)
    with pytest.raises(ProfileError):
        load_screening(own_folder(tmp_path, name, changed))
    assert check_rules(changed.encode(), tmp_path / name)


def test_a_rule_file_that_stands_alone_needs_all_tables_and_rules(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    alone = RULES.replace('base = "strictest"\n', "").encode()
    (fault,) = check_rules(alone, path)
    assert fault.text == "a file without a base needs [lifted_by]."
    tables = (SHIPPED / "strictest.toml").read_bytes().split(b"[[rules]]")[0]
    (fault,) = check_rules(tables, path)
    assert fault.text == "a file without a base needs rules."


def test_a_program_without_its_questions_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fitcore.disk.screening_files.QUESTIONS_FILE", "not-there.toml")
    with pytest.raises(ProfileError, match="not complete"):
        load_screening()


def test_a_rule_file_of_ones_own_that_is_no_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(ProfileError):
        load_screening(file=tmp_path)


def test_files_beside_a_rule_file_in_a_data_folder_count(tmp_path: Path) -> None:
    text = (SHIPPED / "strictest.toml").read_text(encoding="utf-8")
    own_folder(tmp_path, "base.toml", text.replace('id = "strictest"', 'id = "stricter"', 1))
    raw = RULES.replace('"strictest"', '"stricter"').encode()
    assert check_rules(raw, tmp_path / "screening" / "ours.toml") == ()
    assert [fault.code for fault in check_rules(raw, tmp_path / "ours.toml")] == ["unknown_rules"]


def test_purposes_are_checked_against_the_questions_too() -> None:
    path = SHIPPED / "purposes.toml"
    raw = path.read_bytes().replace(b'"previous_clot"', b'"previous_clott"')
    fault, *others = check_rules(raw, path)
    assert (fault.code, fault.key) == ("unknown_question", "purposes.travel.rules.0.questions")
    assert [other.code for other in others] == ["milder_rule"]


# ---- what is milder than the strictest ----------------------------------------------------------

SOFT = RULES.replace('"kind_to_skin"', '"emergency"').replace('["skin"]', '["emergency"]')
"""An emergency that only asks."""


def test_a_rule_made_milder_is_told_by_check_and_each_time_it_is_loaded(tmp_path: Path) -> None:
    path = tmp_path / "screening" / "ours.toml"
    told = check_rules(SOFT.encode(), path)
    assert [(fault.code, fault.line, fault.level) for fault in told] == [
        ("milder_rule", 12, "warning")
    ] * 3
    assert [fault.text.split(": ")[1] for fault in told] == [
        "ask instead of hold.",
        "routine instead of now.",
        "others may lift it.",
    ]
    own = own_folder(tmp_path, "ours.toml", SOFT)
    book, problems = load_screening(own, "ours")
    assert [(p.code, p.path) for p in problems] == [("milder_rule", "ours.toml")] * 3
    assert load_screening(file=path)[1] == problems
    assert {r.id: r.action for r in book.rules.rules}["emergency"] == "ask", "told, not forbidden"


def test_a_default_of_ones_own_is_compared_with_the_one_shipped(tmp_path: Path) -> None:
    text = (SHIPPED / "strictest.toml").read_text(encoding="utf-8")
    kept = text.split('[[rules]]\nid = "cold_foot"')
    own = own_folder(tmp_path, "strictest.toml", kept[0] + kept[1][kept[1].index("[[rules]]") :])
    for chosen in (None, "sign-120"):  # a guideline built on it is no better than its base
        (problem,) = load_screening(own, chosen)[1]
        assert problem.text == (
            "'cold_foot' is milder than in the strictest rules: it is left out."
        )
        assert (problem.key, problem.path) == ("rules", "strictest.toml")


def test_a_setting_made_milder_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    table = '[abpi]\nmax_age_days = 180\nsource = "Ours."\nstatus = "judgement"\n\n[[rules]]'
    (fault,) = check_rules(RULES.replace("[[rules]]", table).encode(), path)
    assert (fault.code, fault.key, fault.line) == ("milder_rule", "abpi.max_age_days", 12)


def test_purposes_made_milder_are_told(tmp_path: Path) -> None:
    text = (SHIPPED / "purposes.toml").read_text(encoding="utf-8")
    soft = text.replace("threshold = 30", "threshold = 40")
    own = own_folder(tmp_path, "purposes.toml", soft)
    (problem,) = load_screening(own)[1]
    assert problem.text.startswith("'travel_pressure' is milder")
    (fault,) = check_rules(soft.encode(), own / "screening" / "purposes.toml")
    assert fault.text == problem.text


def test_questions_know_which_of_them_the_rules_make_serious(tmp_path: Path) -> None:
    raw = RULES.replace('["skin"]', '["lymphoedema"]').replace('"routine"', '"today"')
    own = own_folder(tmp_path, "ours.toml", raw)
    for chosen, every in (("strictest", False), ("ours", True)):
        question = load_screening(own, chosen)[0].questions.find("lymphoedema")
        assert question is not None
        assert question.every_leg is every


def test_every_pressure_standard_may_be_named_in_a_prescription() -> None:
    question = load_screening()[0].questions.find("prescribed_standard")
    assert question is not None
    standards = {path.stem for path in (SHIPPED.parent / "pressure").glob("*.toml")}
    assert standards
    assert set(question.choices) == standards | {"mmhg-only"}
