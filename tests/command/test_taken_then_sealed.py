"""A changed copy was taken over before its sealed original came: both are asked about, no clone."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from command.conftest import Anklefirst

WHO = ("--who", "C-02", "--why", "phoned N-17")


@pytest.fixture
def curlew(anklefirst: Anklefirst, tmp_path: Path) -> Anklefirst:
    """Give the coordinator's machine; its folder is the archive."""
    return replace(anklefirst, data=tmp_path / "curlew")


def merge(laptop: Anklefirst, *sticks: Anklefirst) -> dict[str, Any]:
    paths = [stick.data for stick in sticks] or [laptop.data]
    report: dict[str, Any] = laptop.bare("merge", laptop.data, *paths, "--json").json
    return report


def questions(laptop: Anklefirst) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = laptop("conflicts", "--json").json["conflicts"]
    return found


def taken(anklefirst: Anklefirst, curlew: Anklefirst, *changes: tuple[bytes, bytes]) -> str:
    """Take a changed copy over, then merge its sealed original; return the session's id."""
    session = anklefirst.new("SK-07")
    anklefirst("set", session, "posture", "standing")
    anklefirst.record(session, "left", "C", "girth", "36.1")
    path = anklefirst.session_file(session)
    sealed = changed = path.read_bytes()
    for before, after in changes:
        assert before in changed
        changed = changed.replace(before, after)
    path.write_bytes(changed)
    merge(curlew, anklefirst)
    (file,) = curlew("conflicts", "--json").json["changed_files"]
    assert curlew("decide", file["id"], "taken", *WHO).code == 0
    assert questions(curlew) == []
    path.write_bytes(sealed)
    return session


READ = ((b"36.1", b"38.1"), (b"361.0", b"381.0"))


def test_two_values_of_one_reading_are_asked_and_no_copied_disk_is_told_of(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    session = taken(anklefirst, curlew, *READ)
    report = merge(curlew, anklefirst)
    assert (report["clones"], report["conflicts_open"]) == ([], 1)
    (asked,) = questions(curlew)
    assert {value["choose"] for value in asked["values"]} == {"36.1 cm", "38.1 cm"}
    text = curlew.session_file(session).read_text(encoding="utf-8")
    assert ("mm = 361.0" in text, "mm = 381.0" in text) == (True, True), "nothing is dropped"
    fit = curlew("fit", curlew.data, "--json").json["sessions"][0]
    assert all(not leg["adopted"] for leg in fit["legs"]), "neither is used, nor their mean"

    assert curlew("decide", asked["id"], "36.1", *WHO).code == 0
    assert questions(curlew) == []
    report = merge(curlew, anklefirst)
    assert (report["clones"], report["conflicts_open"]) == ([], 0)
    assert curlew.bare("verify", curlew.data, "--json").json["clones"] == []
    (leg,) = curlew("fit", curlew.data, "--json").json["sessions"][0]["legs"]
    (used,) = leg["adopted"]
    assert (used["value_mm"], used["readings"]) == ("361", 1)


def test_two_answers_of_one_name_are_asked_and_no_copied_disk_is_told_of(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    taken(
        anklefirst,
        curlew,
        (b'what = "posture", is = "standing"', b'what = "posture", is = "sitting"'),
    )
    report = merge(curlew, anklefirst)
    assert (report["clones"], report["conflicts_open"]) == ([], 1)
    (asked,) = questions(curlew)
    assert (asked["field"], len(asked["values"])) == ("posture", 2)


def test_a_reading_taken_over_with_another_time_alone_counts_once(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    taken(anklefirst, curlew, (b":40+01:00, side", b":41+01:00, side"))
    report = merge(curlew, anklefirst)
    assert (report["clones"], report["conflicts_open"]) == ([], 0)
    (leg,) = curlew("fit", curlew.data, "--json").json["sessions"][0]["legs"]
    assert [used["readings"] for used in leg["adopted"]] == [1]


def test_a_line_taken_over_about_another_place_is_still_told_as_a_number_used_twice(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    """No question stands between the two, so the name on two lines must not go untold."""
    taken(anklefirst, curlew, (b'point = "C"', b'point = "B"'))
    (clone,) = merge(curlew, anklefirst)["clones"]
    assert clone["number"] > 0


def test_a_laptop_that_gets_the_ruling_by_stick_tells_of_no_copied_disk_either(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    taken(anklefirst, curlew, *READ)
    merge(curlew, anklefirst)
    stick = tmp_path / "stick"
    stick.mkdir()
    assert curlew("carry-back", stick).code == 0
    other = replace(anklefirst, data=tmp_path / "whimbrel")
    assert merge(other, replace(other, data=stick))["clones"] == []
    assert len(questions(other)) == 1
