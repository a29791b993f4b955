"""Answers that must not reach further than somebody meant: codes, prescribers, and by whom."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from fitcore.disk.data_folder import DataFolder
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
