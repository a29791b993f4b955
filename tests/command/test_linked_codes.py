"""Sessions of one person are judged together by `fit` and `note`: of linked codes, of one code."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from linked_visits import HOLD, STOP, file_visit

import tui.commands.session_reading
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.links import read_links
from fitcore.merge.clock_notes import clock_notes, draft_clock_note

if TYPE_CHECKING:
    from pathlib import Path

    import pytest
    from conftest import Anklefirst

WHO = ("--who", "C-02", "--why", "asked at the door")
HERE, THERE = "SK-07", "KES-1"
CLIENT = "W50"


def screened(anklefirst: Anklefirst, code: str, *, label: str = "tern", **answers: str) -> str:
    """Write a session: the first page answered with no but for these, both legs read."""
    around = anklefirst.world.surroundings()
    with DataFolder(anklefirst.data, around, label=label, measurer="N-17") as folder:
        return file_visit(folder, code, anklefirst.world.instant, **answers)


def link(anklefirst: Anklefirst, *codes: str) -> dict[str, Any]:
    ran = anklefirst("link", *codes, *WHO, "--json")
    assert ran.code == 0, ran
    found: dict[str, Any] = ran.json
    return found


def fitted(anklefirst: Anklefirst, session: str, *paths: Path) -> dict[str, Any]:
    """Return what `fit` says of one session, of a whole folder or of its own file alone."""
    ran = anklefirst("fit", *(paths or (anklefirst.data,)), "--json")
    (found,) = (one for one in ran.json["sessions"] if one["session"] == session)
    return dict(found)


def offered(found: dict[str, Any]) -> set[str]:
    return {
        leg["side"] for leg in found["legs"] if any(chart["offered"] for chart in leg["charts"])
    }


def test_a_stop_under_one_code_keeps_the_size_under_the_other_back(anklefirst: Anklefirst) -> None:
    stopped = screened(anklefirst, THERE, **STOP)
    anklefirst.world.later(days=3)
    session = screened(anklefirst, HERE)
    before = fitted(anklefirst, session)
    assert (before["screening"]["linked"], offered(before)) == ([], {"left", "right"})
    assert link(anklefirst, HERE, THERE)["person"] == [THERE, HERE]
    for paths in ((), (anklefirst.session_file(session),)):
        found = fitted(anklefirst, session, *paths)
        assert found["screening"]["outcome"] == "stop"
        assert found["screening"]["linked"] == [
            {"code": THERE, "session": stopped, "whole": False, "outcome": "stop"}
        ]
        assert offered(found) == {"right"}
        (rule,) = (r for r in found["screening"]["rules"] if r["action"] == "stop")
        assert rule["id"] == f"bypass@{stopped}"
        assert rule["text"].startswith(f"Under the linked code {THERE}, session of 4 March 2026: ")


def test_people_read_where_it_was_found_and_exit_says_somebody_is_needed(
    anklefirst: Anklefirst,
) -> None:
    screened(anklefirst, THERE, **STOP)
    session = screened(anklefirst, HERE)
    link(anklefirst, HERE, THERE)
    ran = anklefirst("fit", anklefirst.session_file(session))
    assert ran.code == 1
    told = f"Under the linked code {THERE}, session of 4 March 2026: stop: do not fit"
    assert told in ran.out
    assert "Size for information. Not cleared to fit." in ran.out


def test_the_note_tells_it_too(anklefirst: Anklefirst) -> None:
    screened(anklefirst, THERE, **STOP)
    session = screened(anklefirst, HERE)
    clean = anklefirst("note", session, "--json").json
    assert clean["urgency"] == "none"
    link(anklefirst, HERE, THERE)
    note = anklefirst("note", session, "--json").json
    assert note["urgency"] == "next_working_day"
    told = " ".join(" ".join(note["text"]).split())
    assert f"Under the linked code {THERE}, session of 4 March 2026: " in told
    assert "No stop was found" not in told


def test_it_holds_until_the_codes_are_parted(anklefirst: Anklefirst) -> None:
    screened(anklefirst, THERE, **STOP)
    session = screened(anklefirst, HERE)
    said = anklefirst("link", HERE, THERE, *WHO).out
    assert "a stop under one code holds under all of them" in said
    assert offered(fitted(anklefirst, session)) == {"right"}
    assert anklefirst("unlink", HERE, THERE, *WHO).code == 0
    assert offered(fitted(anklefirst, session)) == {"left", "right"}


def test_the_other_codes_own_session_is_held_by_the_first_ones_stop(
    anklefirst: Anklefirst,
) -> None:
    first, second = screened(anklefirst, HERE, **STOP), screened(anklefirst, THERE)
    link(anklefirst, HERE, THERE)
    assert offered(fitted(anklefirst, second)) == {"right"}
    assert fitted(anklefirst, first)["screening"]["linked"][0]["outcome"] == "go"


def test_screening_afresh_days_later_under_that_code_puts_it_right(anklefirst: Anklefirst) -> None:
    screened(anklefirst, THERE, **STOP)
    anklefirst.world.later(days=3)
    screened(anklefirst, THERE)
    anklefirst.world.later(days=3)
    session = screened(anklefirst, HERE)
    link(anklefirst, HERE, THERE)
    assert offered(fitted(anklefirst, session)) == {"left", "right"}


def test_a_laptop_knows_of_it_once_it_has_merged_what_was_carried_back(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    dunlin = replace(anklefirst, data=tmp_path / "dunlin")
    curlew = replace(anklefirst, data=tmp_path / "curlew")
    stopped, session = screened(dunlin, THERE, **STOP), screened(anklefirst, HERE)
    assert curlew.bare("merge", curlew.data, anklefirst.data, dunlin.data).code == 0
    link(curlew, HERE, THERE)
    assert offered(fitted(curlew, session)) == {"right"}
    assert offered(fitted(anklefirst, session)) == {"left", "right"}
    stick = tmp_path / "stick"
    stick.mkdir()
    assert curlew("carry-back", stick).code == 0
    assert anklefirst.bare("merge", anklefirst.data, stick).code == 0
    found = fitted(anklefirst, session)
    assert offered(found) == {"right"}
    assert [there["session"] for there in found["screening"]["linked"]] == [stopped]


def test_without_a_link_no_other_clients_file_is_parsed(
    anklefirst: Anklefirst, monkeypatch: pytest.MonkeyPatch
) -> None:
    screened(anklefirst, THERE, **STOP)
    session = screened(anklefirst, HERE)
    parsed: list[str] = []
    real = tui.commands.session_reading.read_session_file

    def seen(path: Path) -> object:
        parsed.append(path.stem)
        return real(path)

    monkeypatch.setattr("tui.commands.session_reading.read_session_file", seen)
    anklefirst("fit", anklefirst.session_file(session))
    anklefirst("note", session)
    assert set(parsed) == {session}
    link(anklefirst, HERE, THERE)
    parsed.clear()
    anklefirst("fit", anklefirst.session_file(session))
    assert len(set(parsed)) == 2


def test_a_linked_session_that_cannot_be_read_is_told(anklefirst: Anklefirst) -> None:
    spoilt = anklefirst.session_file(screened(anklefirst, THERE))
    session = screened(anklefirst, HERE)
    link(anklefirst, HERE, THERE)
    spoilt.write_text(f"{spoilt.read_text(encoding='utf-8')}KES-1 = [", encoding="utf-8")
    for verb in ("fit", "note"):
        ran = anklefirst(verb, anklefirst.session_file(session))
        assert spoilt.name in ran.err
    assert anklefirst("fit", anklefirst.session_file(session)).code == 1


def test_a_ledger_changed_outside_still_links_and_no_longer_parts(anklefirst: Anklefirst) -> None:
    """Its seal is broken: of what it says only the more careful half counts, and it is told."""
    screened(anklefirst, THERE, **STOP)
    session = screened(anklefirst, HERE)
    link(anklefirst, HERE, THERE)
    anklefirst("unlink", HERE, THERE, *WHO)
    (ledger,) = (anklefirst.data / "ledger").glob("*.toml")
    whole = ledger.read_bytes()
    ledger.write_bytes(whole.replace(b"asked at the door", b"asked at the gate"))
    assert offered(fitted(anklefirst, session)) == {"right"}
    ran = anklefirst("fit", anklefirst.data)
    assert (ran.code, ledger.name in ran.err) == (1, True)
    ledger.write_bytes(whole.decode().encode("utf-16"))
    links, problems = read_links([anklefirst.data])
    assert links.groups == ()
    assert [problem.path for problem in problems] == [str(ledger)]


def rule_lines(curlew: Anklefirst, answer: str) -> None:
    """Answer for every line that was changed outside."""
    asked = curlew("conflicts", "--json").json
    lines = [*asked["proposals"], *asked["changed_files"]]
    assert lines
    for line in lines:
        assert curlew("decide", line["id"], answer, *WHO).code == 0


def test_a_link_of_a_changed_ledger_counts_until_it_is_refused_as_in_a_merge(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    whimbrel, curlew = laptop(anklefirst, tmp_path, "whimbrel"), laptop(anklefirst, tmp_path, "cur")
    screened(anklefirst, THERE, **STOP)
    session = screened(anklefirst, HERE)
    assert whimbrel.bare("merge", whimbrel.data, anklefirst.data).code == 0
    link(whimbrel, HERE, THERE)
    (ledger,) = (whimbrel.data / "ledger").glob("*.toml")
    ledger.write_bytes(ledger.read_bytes().replace(b"asked at the door", b"asked at the gate"))
    assert curlew.bare("merge", curlew.data, whimbrel.data).code == 1
    assert offered(fitted(curlew, session)) == {"right"}
    asked = curlew("conflicts", "--json").json
    assert asked["links"] == [[THERE, HERE]]
    rule_lines(curlew, "refused")
    assert curlew("conflicts", "--json").json["links"] == []
    assert offered(fitted(curlew, session)) == {"left", "right"}
    assert read_links([curlew.data])[0].groups == ()
    # Whoever has not heard of the answer, or only from a ledger that was changed too, is careful.
    assert read_links([whimbrel.data])[0].groups == ((THERE, HERE),)
    (own,) = (path for path in (curlew.data / "ledger").glob("*.toml") if path.name != ledger.name)
    own.write_bytes(own.read_bytes().replace(b"asked at the door", b"asked at the gate"))
    assert read_links([curlew.data])[0].groups == ((THERE, HERE),)


def test_a_link_of_a_changed_ledger_that_was_taken_over_still_counts(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    """An answer is no refusal."""
    curlew = laptop(anklefirst, tmp_path, "curlew")
    screened(anklefirst, THERE, **STOP)
    session = screened(anklefirst, HERE)
    link(anklefirst, HERE, THERE)
    (ledger,) = (anklefirst.data / "ledger").glob("*.toml")
    changed = ledger.read_bytes().replace(b"asked at the door", b"asked at the gate")
    ledger.write_bytes(changed)
    assert curlew.bare("merge", curlew.data, anklefirst.data).code == 1
    rule_lines(curlew, "taken")
    (curlew.data / "ledger" / ledger.name).write_bytes(changed)
    assert read_links([curlew.data])[0].groups == ((THERE, HERE),)
    assert offered(fitted(curlew, session)) == {"right"}


def test_notes_of_wrong_clocks_are_read_too_and_of_a_changed_ledger_do_not_count(
    anklefirst: Anklefirst,
) -> None:
    around = anklefirst.world.surroundings()
    note = draft_clock_note("tern-k7qd", (1, 9), 60, who="C-02", why="rang", at=around.now())
    with DataFolder(anklefirst.data, around, label="curlew", measurer="C-02") as folder:
        folder.append_to_ledger([note])
    links, problems = read_links([anklefirst.data])
    assert [(n.laptop, n.add_seconds) for n in clock_notes(links.ledgers)] == [("tern-k7qd", 60)]
    assert problems == ()
    (ledger,) = (anklefirst.data / "ledger").glob("*.toml")
    ledger.write_bytes(ledger.read_bytes().replace(b"add_seconds = 60", b"add_seconds = 61"))
    links, problems = read_links([anklefirst.data])
    assert clock_notes(links.ledgers) == ()
    assert [problem.path for problem in problems] == [str(ledger)]


def test_the_shipped_rules_on_linked_codes_are_checked_and_may_be_the_services_own(
    anklefirst: Anklefirst,
) -> None:
    screened(anklefirst, THERE, weak_pulse_left="yes")
    anklefirst.world.later(days=3)
    session = screened(anklefirst, HERE)
    link(anklefirst, HERE, THERE)
    assert offered(fitted(anklefirst, session)) == {"left", "right"}
    own = anklefirst.data / "linked" / "ours.toml"
    own.parent.mkdir()
    own.write_text(
        'format = 1\nid = "linked-codes"\nwhole_hours = 96\nfirst_day = 2025-01-01\n'
        '[source]\nstatus = "judgement"\ntext = "A service of its own."\n',
        encoding="utf-8",
    )
    assert anklefirst.found(own) == []
    assert offered(fitted(anklefirst, session)) == {"right"}
    own.write_text(own.read_text(encoding="utf-8").replace("96", "0"), encoding="utf-8")
    (problem,) = anklefirst.found(own)
    assert problem["key"] == "whole_hours"


# ---- the same code ----------------------------------------------------------------------------


def laptop(anklefirst: Anklefirst, tmp_path: Path, name: str) -> Anklefirst:
    return replace(anklefirst, data=tmp_path / name)


def rules(found: dict[str, Any], action: str) -> list[str]:
    return [rule["text"] for rule in found["screening"]["rules"] if rule["action"] == action]


def test_after_the_merge_a_hold_of_one_laptop_keeps_the_size_of_the_other_back(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    iona, jura = laptop(anklefirst, tmp_path, "iona"), laptop(anklefirst, tmp_path, "jura")
    held = screened(iona, CLIENT, label="iona", **HOLD)
    anklefirst.world.later(minutes=1)
    finished = screened(jura, CLIENT, label="jura")
    assert offered(fitted(jura, finished)) == {"left", "right"}
    archive = tmp_path / "archive"
    assert anklefirst.bare("merge", archive, iona.data, jura.data).code in (0, 1)
    for path in (archive, next(archive.glob(f"sessions/*/{finished}.toml"))):
        found = fitted(anklefirst, finished, path)
        assert found["screening"]["outcome"] == "hold"
        assert found["screening"]["linked"] == [
            {"code": CLIENT, "session": held, "whole": True, "outcome": "hold"}
        ]
        assert offered(found) == set()
        (text,) = rules(found, "hold")
        assert text.startswith("In another session of this client, 4 March 2026, laptop iona-")
    ran = anklefirst("fit", archive)
    assert ran.code == 1
    assert "! In another session of this client, 4 March 2026, laptop iona-" in ran.out
    assert "Screened: no stop found" not in ran.out
    assert "May be offered" not in ran.out


def test_a_hold_carried_to_a_laptop_is_known_to_a_session_screened_afresh(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    iona = laptop(anklefirst, tmp_path, "iona")
    screened(iona, CLIENT, label="iona", **HOLD)
    assert anklefirst.bare("merge", anklefirst.data, iona.data).code in (0, 1)
    anklefirst.world.later(minutes=5)
    fresh = screened(anklefirst, CLIENT)
    for paths in ((), (anklefirst.session_file(fresh),)):
        assert offered(fitted(anklefirst, fresh, *paths)) == set()
    note = anklefirst("note", fresh, "--json").json
    assert note["urgency"] == "today"
    told = " ".join(" ".join(note["text"]).split())
    assert "In another session of this client, 4 March 2026, laptop iona-" in told


def test_a_year_later_the_client_is_fitted_after_a_clean_screening(anklefirst: Anklefirst) -> None:
    stopped = screened(anklefirst, CLIENT, **STOP)
    anklefirst.world.later(days=365)
    fresh = screened(anklefirst, CLIENT)
    assert offered(fitted(anklefirst, fresh)) == {"left", "right"}
    assert fitted(anklefirst, fresh)["screening"]["linked"] == []
    assert offered(fitted(anklefirst, stopped)) == {"right"}


def test_a_sheet_and_a_session_left_empty_keep_nothing_back(anklefirst: Anklefirst) -> None:
    rows = [
        f"{CLIENT},2026-03-04T08:0{n}+01:00,N-17,{side},C,girth,{n},{value},cm,standing,"
        for side, value in (("left", "40.2"), ("right", "36.2"))
        for n in (1, 2)
    ]
    assert anklefirst("import", anklefirst.sheet(*rows)).code in (0, 1)
    anklefirst.new(CLIENT)
    fresh = screened(anklefirst, CLIENT)
    found = fitted(anklefirst, fresh)
    assert (found["screening"]["outcome"], found["screening"]["linked"]) == ("go", [])


def test_a_file_alone_is_judged_without_reading_other_clients(
    anklefirst: Anklefirst, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = screened(anklefirst, CLIENT, **HOLD)
    other = screened(anklefirst, HERE)
    fresh = screened(anklefirst, CLIENT)
    loose = tmp_path / "loose.toml"
    loose.write_bytes(anklefirst.session_file(fresh).read_bytes())
    parsed: list[str] = []
    real = tui.commands.session_reading.read_session_file

    def seen(path: Path) -> object:
        parsed.append(path.stem)
        return real(path)

    monkeypatch.setattr("tui.commands.session_reading.read_session_file", seen)
    for verb in ("fit", "note"):
        parsed.clear()
        anklefirst(verb, anklefirst.session_file(fresh))
        assert sorted(parsed) == sorted([held, fresh])
        assert other not in parsed
    parsed.clear()
    elsewhere = laptop(anklefirst, tmp_path, "nobody")
    ran = elsewhere("fit", loose, "--json")
    assert parsed == ["loose"]
    assert offered(ran.json["sessions"][0]) == {"left", "right"}
