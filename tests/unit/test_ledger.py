"""A laptop's ledger and its own small file."""

from __future__ import annotations

import tomllib

import pytest
from strategies import entry_of

from fitcore.problems import FileFault
from fitcore.record.ledger import (
    Laptop,
    Ledger,
    read_laptop,
    read_ledger,
    write_laptop,
    write_ledger,
)
from fitcore.record.session import Seal

LINK = entry_of(
    "links", "tern-k7qd:9", codes=["tern-014-0", "SKR-0417"], who="C-02", why="same birth date"
)
DISTINCT = entry_of("distincts", "tern-k7qd:10", codes=["SKR-1", "SKR-2"], why="asked: cousins")
VOIDED = entry_of("voided", "tern-k7qd:7", why="the program stopped")
NOTE = entry_of("notes", "tern-k7qd:8", text="restored from a copy")
NEWER = entry_of("postings", "tern-k7qd:11", island="Skerrow Mickle")
LEDGER = Ledger("tern-k7qd", frozenset([LINK, DISTINCT, VOIDED, NOTE, NEWER]))


def test_a_ledger_is_read_back_as_it_was_written() -> None:
    assert read_ledger(write_ledger(LEDGER).encode()) == (LEDGER, ())


def test_the_same_entries_give_the_same_bytes_in_any_order() -> None:
    one_by_one = Ledger("tern-k7qd")
    for entry in (NEWER, VOIDED, NOTE, DISTINCT, LINK, VOIDED):
        one_by_one = one_by_one.with_entries(entry)
    assert write_ledger(one_by_one) == write_ledger(LEDGER)


def test_every_line_comes_out_as_it_went_in_unknown_arrays_included() -> None:
    written = write_ledger(LEDGER).splitlines()
    for entry in LEDGER.entries:
        assert f"  {entry.line}," in written
    assert "postings = [" in written


def test_unknown_head_lines_of_a_newer_program_are_carried() -> None:
    """Law 12: unknown fields come out byte-identical; a session's do."""
    text = write_ledger(LEDGER).replace("format = 1\n", 'format = 1\nneeds = ["sketch"]\n')
    ledger, _ = read_ledger(text.encode())
    assert ledger is not None
    assert 'needs = ["sketch"]' in write_ledger(ledger).splitlines()


def test_an_empty_ledger_holds_no_empty_arrays() -> None:
    values = tomllib.loads(write_ledger(Ledger("tern-k7qd")))
    assert set(values) == {"format", "laptop", "seal"}
    assert values["seal"]["lines"] == 0


def test_a_ledger_whose_lines_were_changed_is_asked_about() -> None:
    text = write_ledger(LEDGER)
    for changed in (text.replace("cousins", "twins"), text.replace("lines = 5", "lines = 4")):
        ledger, problems = read_ledger(changed.encode())
        assert ledger is not None
        assert (ledger.seal, [p.code for p in problems]) == (Seal.BROKEN, ["seal_broken"])
    cut, problems = read_ledger(text.partition("[seal]")[0].encode())
    assert cut is not None
    assert [p.code for p in problems] == ["seal_missing"]


@pytest.mark.parametrize(
    "damaged",
    [
        *("", "nonsense", "format = 1\n", 'laptop = "tern-k7qd"\n'),
        'format = 1\nlaptop = ""\n',
        'format = 1\nlaptop = "tern"\n',
        'format = 1\nlaptop = "../../x"\n',
        'format = 1\nlaptop = "tern-k7qd\\nformat = 9"\n',
        "format = 1\nlaptop = 7\n",
        'format = 2\nlaptop = "tern-k7qd"\n',
    ],
)
def test_what_is_no_ledger_of_a_laptop_is_set_aside_or_carried(damaged: str) -> None:
    ledger, problems = read_ledger(damaged.encode())
    assert ledger is None
    assert problems


def test_a_session_file_is_no_ledger() -> None:
    ledger, _ = read_ledger(b'format = 1\nsession = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7"\n')
    assert ledger is None


LAPTOP = Laptop(
    "tern-k7qd",
    next=93,
    zone="Europe/Berlin",
    measurer="N-17",
    reserved_from=92,
    reserved_for="0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7",
)


def test_a_laptops_own_file_is_read_back_as_it_was_written() -> None:
    assert read_laptop(write_laptop(LAPTOP).encode()) == LAPTOP
    assert read_laptop(b"\xef\xbb\xbf" + write_laptop(LAPTOP).encode()) == LAPTOP
    assert LAPTOP.label == "tern"


def test_a_new_laptop_starts_at_number_one() -> None:
    laptop = read_laptop(b'id = "tern-k7qd"\nnext = 1\n')
    assert (laptop.next, laptop.reserved_from) == (1, 1)


@pytest.mark.parametrize(
    "line",
    [
        "",
        *("next = 0", "next = -3", "next = 5.7", "next = inf", "next = nan", "next = true"),
        *("next = []", "next = 1979-05-27", f"next = {1 << 53}"),
        *("next = 5\nreserved_from = 6", "next = 5\nreserved_from = 0", "next = 5\nnext = 6"),
    ],
)
def test_the_next_number_is_never_guessed(line: str) -> None:
    """A number used twice makes two entries of one name; an unusable file is said, never mended."""
    with pytest.raises(FileFault) as fault:
        read_laptop(f'id = "tern-k7qd"\n{line}\n'.encode())
    assert fault.value.problem.mend


@pytest.mark.parametrize(
    "raw",
    [
        *(b"", b"next = 5\n", b'id = "tern"\nnext = 5\n', b'id = "../x-aaaa"\nnext = 5\n'),
        *(b'id = "Tern-k7qd"\nnext = 5\n', b'id = "tern-k7qd\\n"\nnext = 5\n', b"\xff\xfe\x00"),
        b"id = 5\nnext = 5\n",
        write_laptop(LAPTOP).encode()[:40],
        b"x = " + b"[" * 5_000,
    ],
)
def test_a_file_that_names_no_laptop_cannot_be_used(raw: bytes) -> None:
    with pytest.raises(FileFault) as fault:
        read_laptop(raw)
    assert fault.value.problem.mend
