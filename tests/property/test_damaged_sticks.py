"""A damaged session file on a stick: accepted unchanged, asked about, or set aside; never more."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import pytest
from histories import Machine, files_of, ledger_key
from hypothesis import settings
from merge_plans import numbered, written
from strategies import AT, SESSION, entry_of, session_of

from fitcore.merge.clients import draft_unlink
from fitcore.merge.found import Found, read_found
from fitcore.merge.merge import merge
from fitcore.merge.proposals import draft_ruling
from fitcore.problems import Problem
from fitcore.record.codec import write_session

if TYPE_CHECKING:
    from collections.abc import Iterator

WHOLE = write_session(
    session_of(
        entry_of("answers", "tern-k7qd:1", what="screen.emergency", is_="yes"),
        entry_of("answers", "tern-k7qd:2", what="posture", is_="lying"),
        entry_of(
            "decisions",
            "curlew-w2fs:1",
            what="posture",
            is_="sitting",
            instead_of=["tern-k7qd:2"],
            who="C-02",
            why="asked",
        ),
        entry_of(
            "readings",
            "tern-k7qd:3",
            side="left",
            point="B",
            kind="girth",
            round=1,
            typed="22.4",
            unit="cm",
            mm=224,
        ),
        entry_of("withdrawn", "tern-k7qd:4", takes_back=["tern-k7qd:1"], why="other client"),
    )
).encode()
_EXAMPLES = settings.default.max_examples if settings.default is not None else 50
EACH = 11 if _EXAMPLES <= 50 else 1
"""Every bit takes some seconds; while developing every 11th does, so that all 8 of a byte come."""


def found(raw: bytes) -> Found:
    return read_found(raw, path="stick/some.toml", name=SESSION)


def cuts() -> Iterator[tuple[str, bytes]]:
    for length in range(len(WHOLE)):
        yield f"cut at {length}", WHOLE[:length]


def flips() -> Iterator[tuple[str, bytes]]:
    for place in range(0, 8 * len(WHOLE), EACH):
        changed = bytearray(WHOLE)
        changed[place // 8] ^= 1 << place % 8
        yield f"byte {place // 8} bit {place % 8}", bytes(changed)


def answer(damaged: Found, archive: tuple[Found, ...]) -> str:
    """Return what a merge makes of a damaged copy, or what is wrong with that."""
    before = merge(archive)
    plan = merge(archive, [damaged])
    key = damaged.key
    there = before.merged[key].entries if key in before.merged else frozenset()
    holds = plan.merged[key].entries if key in plan.merged else frozenset()
    if damaged.is_whole:
        same = damaged.entries == found(WHOLE).entries
        return "accepted" if same and holds == there | damaged.entries else "changed under a seal"
    if holds != there or plan.conflicts != before.conflicts:
        return "entries or questions changed unasked"
    carried = plan.merged[key].carried if key in plan.merged else None
    kept = {copy.digest for copy in plan.to_keep} | ({carried.digest} if carried else set())
    if damaged.digest not in kept:
        return "lost"
    if isinstance(damaged.content, Problem):
        told = damaged.is_newer or damaged.digest in {file.digest for file in plan.report.set_aside}
        return "set aside" if told else "set aside without a word"
    new = damaged.entries - there
    return "asked" if {p.proposed for p in plan.proposals} >= new else "a line is not asked about"


@pytest.mark.parametrize("known", [True, False], ids=["archive has it", "nobody has it"])
def test_every_cut_and_every_flipped_bit_has_one_of_three_answers(*, known: bool) -> None:
    archive = merge((), [found(WHOLE)]).archive() if known else ()
    answers: dict[str, list[str]] = {}
    for name, raw in (*cuts(), *flips()):
        answers.setdefault(answer(found(raw), archive), []).append(name)
    assert set(answers) == {"accepted", "asked", "set aside"}, {
        said: names[:5] for said, names in answers.items()
    }


def changed(old: bytes, new: bytes) -> Found:
    """Return a copy somebody opened in an editor."""
    raw = WHOLE.replace(old, new)
    assert raw != WHOLE
    return found(raw)


def test_of_several_changed_copies_the_same_stands_in_the_archive_whichever_came_first() -> None:
    """No sealed copy is there, so one of them stands for all; the others are kept beside it."""
    copies = [changed(b"22.4", b"24.2"), changed(b"lying", b"standing"), changed(b"B", b"C")]
    plans = [merge((), order) for order in itertools.permutations(copies)]
    plans += [
        merge(merge((), [one]).archive(), [two, three])
        for one, two, three in itertools.permutations(copies)
    ]
    (key,) = plans[0].merged
    carried = [plan.merged[key].carried for plan in plans]
    assert {file.digest for file in carried if file} == {min(copy.digest for copy in copies)}
    assert all(written(plan) == written(plans[0]) for plan in plans)


def test_a_line_taken_over_stays_though_the_answer_is_taken_back() -> None:
    """Else the archive would depend on whether the file or the second thought came first."""
    copy = found(WHOLE.partition(b"[seal]")[0])
    plan = merge((), [copy])
    proposal = next(p for p in plan.proposals if p.proposed and p.proposed.array == "readings")
    coordinator = Machine("curlew-w2fs", next=5)
    _, ruling = draft_ruling(proposal, "taken", who="C-02", why="asked", at=AT)
    ledger = ledger_key(coordinator.laptop)
    coordinator.files[ledger].add(numbered(ruling, coordinator))
    early = merge(plan.archive(), files_of(coordinator.folder()))
    taken_back = draft_unlink(["curlew-w2fs:5"], who="C-02", why="mistaken", at=AT)
    coordinator.files[ledger].add(numbered(taken_back, coordinator))
    late = merge(merge((), files_of(coordinator.folder())).archive(), [copy])
    later = merge(early.archive(), files_of(coordinator.folder()))
    assert proposal.proposed in later.merged[copy.key].entries
    assert written(late) == written(later)
