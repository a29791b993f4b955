"""Parts of a coordinator's day's end without a file: ends of numbers, changed files, glances."""

from __future__ import annotations

from decimal import Decimal

import pytest
from histories import file_bytes
from strategies import entry_of

from fitcore.disk.kept_files import whose
from fitcore.identity import EntryId
from fitcore.merge.found import FileKind, Key
from fitcore.merge.gaps import Gap, Numbers, count_numbers, find_ends, find_gaps
from fitcore.merge.proposals import Change, ChangedFile, Proposal, by_file
from tui.commands.merged_words import taken_up_line, whole_line

TERN, DUNLIN = "tern-k7qd", "dunlin-m4ex"
SESSION = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7"
KEY = Key(FileKind.SESSION, SESSION)


def numbers(*used: int, waiting: tuple[int, ...] = ()) -> Numbers:
    lines = [entry_of("remarks", f"{TERN}:{number}", text="x") for number in used]
    others = [entry_of("remarks", f"{TERN}:{number}", text="x") for number in waiting]
    return count_numbers(lines, others)


@pytest.mark.parametrize(
    ("here", "given", "wanted"),
    [
        (numbers(1, 2, 3), 3, []),
        (numbers(1, 2, 3), 2, []),
        (numbers(1, 2, 3), 9, [(4, 9)]),
        (numbers(1, 3), 5, [(4, 5)]),
        (numbers(1, 2, waiting=(4,)), 6, [(3, 3), (5, 6)]),
        (Numbers(), 4, [(1, 4)]),
        (Numbers(), 0, []),
    ],
)
def test_what_a_laptop_gave_after_its_last_entry_here_is_its_end(
    here: Numbers, given: int, wanted: list[tuple[int, int]]
) -> None:
    found = find_ends(here, {TERN: given})
    assert [(gap.first, gap.last) for gap in found] == wanted
    assert all(gap.is_end and gap.as_json()["not_here_yet"] is True for gap in found)


def test_gaps_and_ends_never_name_one_number_twice() -> None:
    here = numbers(2, 5) + count_numbers([entry_of("voided", f"{TERN}:7", number=6)])
    inside = find_gaps(here)
    after = find_ends(here, {TERN: 9, DUNLIN: 2})
    assert inside == (Gap(TERN, 1, 1), Gap(TERN, 3, 4))
    assert after == (Gap(DUNLIN, 1, 2, is_end=True), Gap(TERN, 8, 9, is_end=True))
    assert inside[0].as_json() == {"laptop": TERN, "from": 1, "to": 1}


def proposal(number: int, change: Change, key: Key = KEY) -> Proposal:
    line = entry_of("remarks", f"{TERN}:{number}", text="x")
    return Proposal(f"id{number}", key, change, EntryId(TERN, number), (), line, ("stick/a.toml",))


def test_lines_nothing_sealed_vouches_for_are_one_item_for_each_file() -> None:
    other = Key(FileKind.LEDGER, TERN)
    changed, alone = proposal(1, Change.CHANGED), proposal(2, Change.ADDED, other)
    added = [proposal(number, Change.ADDED) for number in (3, 4)]
    found = by_file([alone, added[0], changed, added[1]])
    assert [found[0], found[2]] == [alone, changed]
    (file,) = (one for one in found if isinstance(one, ChangedFile))
    assert (file.proposals, file.laptops, file.is_one_text) == (tuple(added), (TERN,), True)
    twice = by_file([added[0], added[0]])[0]
    assert isinstance(twice, ChangedFile)
    assert not twice.is_one_text


@pytest.mark.parametrize("spoil", ["cut", "utf16", "quotes"])
def test_whose_a_spoilt_file_is_can_still_be_told(spoil: str) -> None:
    lines = [entry_of("answers", f"{TERN}:1", what="client", is_="SK-07")]
    lines += [
        entry_of("readings", f"{TERN}:{n}", side="left", point="B", mm=Decimal(224))
        for n in range(2, 9)
    ]
    raw = file_bytes(KEY, lines)
    changed = {
        "cut": raw[: len(raw) * 2 // 3],
        "utf16": raw.decode().encode("utf-16"),
        "quotes": raw.replace(b"224", b'"224', 1),
    }[spoil]
    found = whose(changed)
    assert (found.session, found.clients, found.laptops) == (SESSION, ("SK-07",), (TERN,))
    assert found.words == f"client SK-07, laptop {TERN}"
    assert whose(b"\xff\x00\xfe").words == ""


def test_one_is_not_written_as_many() -> None:
    assert whole_line(1, 1) == "Whole: 1 session, 1 ledger."
    assert whole_line(2, 0) == "Whole: 2 sessions, 0 ledgers."
    assert taken_up_line({"links": 1, "answers": 2}) == ["Taken up: 2 answers, 1 link."]
    assert taken_up_line({"of_a_newer_program": 3}) == ["Taken up: 3 other lines."]
    assert taken_up_line({}) == []
