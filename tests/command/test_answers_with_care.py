"""Answers that must not reach further than somebody meant: codes, prescribers, and by whom."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from fitcore.disk.data_folder import DataFolder
from fitcore.merge.clients import draft_unlink
from fitcore.record.entries import Draft

if TYPE_CHECKING:
    from pathlib import Path

    from command.conftest import Anklefirst

WHO = ("--who", "C-02", "--why", "phoned N-17")


@pytest.fixture
def dunlin(anklefirst: Anklefirst, tmp_path: Path) -> Anklefirst:
    return replace(anklefirst, data=tmp_path / "dunlin")


@pytest.fixture
def curlew(anklefirst: Anklefirst, tmp_path: Path) -> Anklefirst:
    """Give the coordinator's machine; its folder is the archive."""
    return replace(anklefirst, data=tmp_path / "curlew")


def merge(laptop: Anklefirst, *sticks: Anklefirst) -> None:
    assert laptop.bare("merge", laptop.data, *(stick.data for stick in sticks)).code in (0, 1)


def conflicts(laptop: Anklefirst) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = laptop("conflicts", "--json").json["conflicts"]
    return found


def lines(laptop: Anklefirst, array: str) -> list[str]:
    """Return what of an array the links of this archive show to people."""
    shown = laptop("conflicts", "--links").out.splitlines()
    words = {"links": ": one person. ", "distincts": ": not one person. "}[array]
    return [line.partition(":")[0] for line in shown if words in line]


# --- codes ---------------------------------------------------------------------------------------


def test_unlink_names_the_link_over_three_codes_and_leaves_what_parts_two_of_them(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    anklefirst.new("SK-07")
    merge(curlew, anklefirst)
    assert curlew("link", "SK-07", "KES-1", "KES-2", "--to-come", *WHO).code == 0
    curlew("distinct", "SK-07", "KES-1", *WHO)
    ran = curlew("unlink", "SK-07", "KES-1", *WHO)
    assert ran.code == 2
    assert "anklefirst unlink SK-07 KES-1 KES-2" in ran.err
    assert (lines(curlew, "links"), lines(curlew, "distincts")) == (
        ["SK-07 = KES-1 = KES-2"],
        ["SK-07, KES-1"],
    )
    # As it advises: the link goes, and what parts the two stays.
    assert curlew("unlink", "SK-07", "KES-1", "KES-2", *WHO).code == 0
    assert (lines(curlew, "links"), lines(curlew, "distincts")) == ([], ["SK-07, KES-1"])


def test_unlink_takes_the_link_back_before_what_parts_the_same_codes(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    anklefirst.new("SK-07")
    anklefirst.new("KES-1")
    whimbrel = replace(curlew, data=tmp_path / "whimbrel")
    for machine in (curlew, whimbrel):
        merge(machine, anklefirst)
    assert curlew("link", "SK-07", "KES-1", *WHO).code == 0
    assert whimbrel("distinct", "SK-07", "KES-1", *WHO).code == 0
    merge(curlew, whimbrel)
    assert len(conflicts(curlew)) == 1
    assert curlew("unlink", "SK-07", "KES-1", *WHO).code == 0
    assert (lines(curlew, "links"), lines(curlew, "distincts")) == ([], ["SK-07, KES-1"])
    assert curlew("unlink", "SK-07", "KES-1", "KES-2", *WHO).code == 2, "not exactly these codes"
    # Alone and about exactly these codes, it can be taken back as well.
    assert curlew("unlink", "SK-07", "KES-1", *WHO).code == 0
    assert lines(curlew, "distincts") == []


def test_unlink_after_the_codes_were_parted_never_brings_the_link_back(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    for code in ("SK-07", "KES-1"):
        anklefirst.new(code)
    merge(curlew, anklefirst)
    codes = ("SK-07", "KES-1")
    for verb in ("link", "distinct", "link", "distinct"):
        assert curlew(verb, *codes, *WHO).code == 0
    ran = curlew("unlink", *codes, *WHO)
    assert (ran.code, "still one person" in ran.out) == (0, False), ran
    assert "SK-07 stands alone." in ran.out
    assert "Nobody says any more that they are not one person" in ran.out
    assert curlew("conflicts", "--json").json["links"] == []
    assert (lines(curlew, "links"), lines(curlew, "distincts")) == ([], [])
    again = curlew("unlink", *codes, *WHO)
    assert (again.code, "Nobody has said anything" in again.err) == (2, True)
    # Said anew, it holds anew.
    assert curlew("link", *codes, *WHO).code == 0
    assert lines(curlew, "links") == ["SK-07 = KES-1"]


def test_a_link_said_again_once_what_parted_it_was_taken_back_goes_with_the_first(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    codes = ("SK-07", "KES-1")
    for code in codes:
        anklefirst.new(code)
    merge(curlew, anklefirst)
    assert curlew("link", *codes, *WHO).code == 0
    parted = curlew("distinct", *codes, *WHO, "--json").json["entry"]
    assert curlew("link", *codes, *WHO).code == 0
    at = curlew.world.instant
    with DataFolder(curlew.data, curlew.world.surroundings(), label="curlew") as folder:
        folder.append_to_ledger([draft_unlink([parted], who="C-02", why="mistaken", at=at)])
    assert curlew("unlink", *codes, *WHO).code == 0
    assert lines(curlew, "links") == []


def test_a_link_said_twice_is_let_go_by_one_command_named_once(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    for code in ("SK-1", "SK-2", "SK-3"):
        anklefirst.new(code)
    merge(curlew, anklefirst)
    for pair in (("SK-1", "SK-2"), ("SK-2", "SK-3"), ("SK-1", "SK-3"), ("SK-3", "SK-1")):
        assert curlew("link", *pair, *WHO).code == 0
    none = curlew("unlink", "SK-1", "KES-9", *WHO)
    assert (none.code, none.err.count("SK-1, SK-3") + none.err.count("SK-3, SK-1")) == (2, 1)
    ran = curlew("unlink", "SK-1", "SK-2", *WHO)
    assert (ran.code, ran.out.count("anklefirst unlink")) == (1, 2), ran
    last = curlew("unlink", "SK-1", "SK-3", *WHO, "--json")
    assert (last.code, last.json["still_linked_through"]) == (0, [])
    for _ in range(2):
        assert curlew("link", "SK-1", "SK-2", "SK-3", *WHO).code == 0
    wider = curlew("unlink", "SK-1", "SK-3", *WHO)
    assert (wider.code, wider.err.count("anklefirst unlink SK-1 SK-2 SK-3")) == (2, 1)


@pytest.mark.parametrize("verb", ["link", "distinct", "unlink"])
def test_nothing_is_said_of_codes_by_nobody(
    anklefirst: Anklefirst, curlew: Anklefirst, verb: str
) -> None:
    anklefirst.new("SK-07")
    anklefirst.new("KES-1")
    merge(curlew, anklefirst)
    if verb == "unlink":
        assert curlew("link", "SK-07", "KES-1", *WHO).code == 0
    before = (lines(curlew, "links"), lines(curlew, "distincts"))
    ran = curlew(verb, "SK-07", "KES-1", "--who", "  ", "--why", "asked", "--json")
    assert ran.code == 2
    assert [problem["code"] for problem in ran.json["problems"]] == ["who_missing"]
    assert (lines(curlew, "links"), lines(curlew, "distincts")) == before


# --- a line changed outside ----------------------------------------------------------------------


def as_file(laptop: Anklefirst) -> dict[str, str]:
    """Return the text of every session and ledger, by its name."""
    return {p.name: p.read_text(encoding="utf-8") for p in laptop.data.rglob("*-*.toml")}


@pytest.mark.parametrize("value", ["corrected", "taken"])
def test_a_changed_line_that_contradicts_itself_is_refused_before_anything_is_stored(
    anklefirst: Anklefirst, curlew: Anklefirst, value: str
) -> None:
    session = anklefirst.new("SK-07")
    name = anklefirst.record(session, "left", "C", "girth", "55.5")
    merge(curlew, anklefirst)
    path = anklefirst.session_file(session)
    path.write_bytes(path.read_bytes().replace(b'typed = "55.5"', b'typed = "38.0"'))
    merge(curlew, anklefirst)
    (proposal,) = curlew("conflicts", "--json").json["proposals"]
    before = as_file(curlew)
    ran = curlew("decide", proposal["id"], value, *WHO)
    assert (ran.code, as_file(curlew)) == (2, before)
    if value == "corrected":
        assert "typed '38.0' is 380 mm, but mm = 555" in ran.err
        assert f"Refuse {proposal['id']}" in ran.err
    fitted = curlew("fit", curlew.data)
    assert ("SK-07" in fitted.out, "cannot be used" in fitted.out) == (True, False)
    assert curlew("decide", proposal["id"], "refused", *WHO).code == 0
    assert name in curlew.session_file(session).read_text(encoding="utf-8")


def test_many_lines_are_not_taken_together_with_one_that_contradicts_itself(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    session = anklefirst.new("SK-07")
    name = anklefirst.record(session, "left", "C", "girth", "55.5")
    path = anklefirst.session_file(session)
    path.write_bytes(path.read_bytes().replace(b'typed = "55.5"', b'typed = "38.0"'))
    merge(curlew, anklefirst)
    found = curlew("conflicts", "--json").json
    (file,) = found["changed_files"]
    (bad,) = (p["id"] for p in found["proposals"] if p["entry"] == name)
    before = as_file(curlew)
    ran = curlew("decide", file["id"], "taken", *WHO)
    assert (ran.code, as_file(curlew)) == (2, before)
    assert f"Refuse {bad}" in ran.err
    assert curlew("decide", bad, "refused", *WHO).code == 0
    others = [p["id"] for p in found["proposals"] if p["id"] != bad]
    assert curlew("decide", *others, "taken", *WHO).code == 0
    assert curlew("conflicts", "--json").json["proposals"] == []


# --- a prescriber's decision ---------------------------------------------------------------------


def allowed(laptop: Anklefirst, session: str, mmhg: int, role: str) -> None:
    """Record what a prescriber decided."""
    draft = Draft(
        "answers",
        laptop.world.instant,
        {
            "what": "prescriber.left", "is": f"Dr-7 ({role})", "by_whom": "Dr-7", "role": role,
            "how": "written", "highest_mmhg": mmhg, "decided_on": "2026-03-04",
            "review_date": "2026-06-04", "why": "letter of today", "covers": ["diabetes"],
        },
    )  # fmt: skip
    with DataFolder(laptop.data, laptop.world.surroundings(), label="tern") as folder:
        held = folder.read(session)
        assert held is not None
        folder.append(held, [draft])


@pytest.fixture
def asked(anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst) -> list[dict[str, Any]]:
    """Give two questions with the same words; what was decided is for two people."""
    for limits in ((20, 40), (40, 20)):
        session = anklefirst.new("SK-07")
        merge(dunlin, anklefirst)
        for laptop, mmhg in zip((anklefirst, dunlin), limits, strict=True):
            allowed(laptop, session, mmhg, "prescriber" if mmhg == 20 else "specialist")
    merge(curlew, anklefirst, dunlin)
    return conflicts(curlew)


def test_what_a_prescriber_allows_is_shown_with_each_value(
    curlew: Anklefirst, asked: list[dict[str, Any]]
) -> None:
    assert len(asked) == 2
    for question in asked:
        found = {(value["max_mmhg"], value["role"]) for value in question["values"]}
        assert found == {("20", "prescriber"), ("40", "specialist")}
    shown = curlew("conflicts").out
    assert "at most 20 mmHg; decided by Dr-7, prescriber" in shown
    assert "at most 40 mmHg; decided by Dr-7, specialist" in shown


def test_a_prescribers_decision_is_never_chosen_for_several_at_once(
    curlew: Anklefirst, asked: list[dict[str, Any]]
) -> None:
    first, second = asked
    (name,) = [v["from"][0]["entry"] for v in first["values"] if v["max_mmhg"] == "20"]
    for words in ((first["id"], name, "--all-like", "--yes"), (first["id"], second["id"], name)):
        ran = curlew("decide", *words, *WHO)
        assert (ran.code, "one by one" in ran.err) == (2, True)
    assert len(conflicts(curlew)) == 2
    assert curlew("decide", first["id"], name, *WHO).code == 0
    assert [question["id"] for question in conflicts(curlew)] == [second["id"]]
    line = curlew.session_file(first["session"]).read_text(encoding="utf-8")
    assert "highest_mmhg = 20" in line.partition("decisions = [")[2]


def test_decide_is_refused_by_nobody(curlew: Anklefirst, asked: list[dict[str, Any]]) -> None:
    name = asked[0]["values"][0]["from"][0]["entry"]
    ran = curlew("decide", asked[0]["id"], name, "--who", "  ", "--why", "asked", "--json")
    assert ran.code == 2
    assert [problem["code"] for problem in ran.json["problems"]] == ["who_missing"]
    assert len(conflicts(curlew)) == 2
