"""Laptops, coordinators and sticks in any order of events: what each disk holds is what it must.

Every step is checked against plain sets. Sticks get lost, come twice, late or half copied; disks
are copied and restored from a backup; every line carries a time no other clock would agree on.
"""

from __future__ import annotations

import random
from contextlib import suppress
from functools import lru_cache
from typing import TYPE_CHECKING

from disk_model import (
    HOLD,
    CannotWriteError,
    Disk,
    Model,
    Stick,
    disputed_fields,
    groups_of,
    is_held,
    standing,
)
from histories import (
    COORDINATOR,
    LAPTOPS,
    SESSIONS,
    History,
    act,
    ledger_key,
    missing_numbers,
    session_key,
    spoken_of,
)
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule
from merge_plans import answer, asked, entries_of, written
from screening_cases import TODAY, book
from strategies import AT, instants

from fitcore.merge.clients import draft_unlink
from fitcore.merge.found import FileKind, digest_bytes
from fitcore.merge.merge import merge
from fitcore.merge.proposals import draft_ruling
from fitcore.problems import ReadingError
from fitcore.record.session import Session
from fitcore.safety.screening import answers_of, screen_session

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.merge.conflicts import Candidate
    from fitcore.merge.found import Key
    from fitcore.merge.merge import MergePlan
    from fitcore.record.entries import Draft, Entry
    from fitcore.record.ledger import Ledger

MOST_DISKS = 8
COORDINATORS = (COORDINATOR, "whimbrel-d6hs")
HARM = ("whole", "missing", "cut", "no_seal", "edited")
"""What may have become of a file on a stick."""
indexes = st.integers(0, 9)


def several(*operations: str) -> st.SearchStrategy[list[str]]:
    """Return some of these operations, one after the other."""
    return st.lists(st.sampled_from(operations), min_size=1, max_size=4)


class Merging(RuleBasedStateMachine):
    """Several disks and the sticks between them."""

    def __init__(self) -> None:
        super().__init__()
        self.disks: list[Disk] = []
        """The coordinators first."""
        self.coordinators = 1
        self.sticks: list[Stick] = []
        self.backups: list[tuple[int, Disk]] = []
        self.history = History([])
        """What anybody was told is saved."""
        self.lines: dict[str, tuple[Key, Entry]] = {}
        """The line each ruled proposal is about."""
        self.raws: dict[str, bytes] = {}
        """Bytes of whatever may have to be kept as it is, by digest."""
        self.sound = True
        """Whether every check has passed so far; what comes after a failure tells nothing."""
        self.renamed = 0
        self.random = random.Random(0)  # noqa: S311 - an order of arrival, no secret

    @initialize(
        laptops=st.integers(2, len(LAPTOPS)),
        coordinators=st.integers(1, 2),
        seed=st.integers(0, 99),
    )
    def begin(self, laptops: int, coordinators: int, seed: int) -> None:
        self.coordinators = coordinators
        names = (*COORDINATORS[:coordinators], *LAPTOPS[:laptops])
        self.disks = [Disk(name) for name in names]
        self.random.seed(seed)
        if seed % 2:
            self._share_a_start()

    def _share_a_start(self) -> None:
        """Let a session be known to all before they part."""
        first, key = self.disks[-1], session_key(SESSIONS[0])
        reading = {"side": "left", "point": "B", "kind": "girth", "round": 1, "typed": "361"}
        posture = first.write(key, "answers", {"at": AT, "what": "posture", "is": "lying"})
        ankle = first.write(key, "readings", {"at": AT, **reading, "unit": "mm", "mm": 361})
        self.history.written |= {(key, posture), (key, ankle)}
        for disk in self.disks[:-1]:
            self._merge(disk, first.stick())

    def disk(self, index: int) -> Disk:
        return self.disks[index % len(self.disks)]

    # --- what people do ------------------------------------------------------------------------

    @rule(index=indexes, operations=several("answer", "answer", "read"), data=st.data())
    def measure(self, index: int, operations: list[str], data: st.DataObject) -> None:
        self._act(index, operations, data)

    @rule(
        index=indexes,
        operations=several("answer", "correct", "correct", "withdraw"),
        data=st.data(),
    )
    def put_right(self, index: int, operations: list[str], data: st.DataObject) -> None:
        self._act(index, operations, data)

    @rule(index=indexes, operations=several("decide", "remark", "weigh", "void"), data=st.data())
    def remark(self, index: int, operations: list[str], data: st.DataObject) -> None:
        self._act(index, operations, data)

    @rule(index=indexes, operations=several("link", "link", "distinct", "unlink"), data=st.data())
    def say_of_codes(self, index: int, operations: list[str], data: st.DataObject) -> None:
        self._act(index, operations, data)

    @rule(index=indexes, data=st.data())
    def answer_a_line_of_safety(self, index: int, data: st.DataObject) -> None:
        """Answer what may hold a client, in the session all share, having seen what is there."""
        disk = self.disk(index)
        fields = {"what": HOLD, "is": data.draw(st.sampled_from(("yes", "no")))}
        if data.draw(st.booleans()):
            fields = {"what": HOLD, "is": "no", "finding": "seen by a doctor"}
            fields |= {"assessed_by": "N-17", "assessed_on": "2026-03-04"}
        self._answer(disk, fields, data)

    @rule(index=indexes, data=st.data())
    def erase(self, index: int, data: st.DataObject) -> None:
        self._act(index, ["erase"], data)

    @rule(index=indexes, data=st.data())
    def decide(self, index: int, data: st.DataObject) -> None:
        """A coordinator answers one open question."""
        disk = self.disks[index % self.coordinators]
        plan = self._merge(disk)
        if plan.conflicts:
            conflict = data.draw(st.sampled_from(plan.conflicts))

            def choose(candidates: Sequence[Candidate]) -> Candidate:
                return data.draw(st.sampled_from(candidates))

            self._write(disk, *answer(choose, plan, conflict, disk.laptop))

    @rule(index=indexes, data=st.data())
    def take_an_answer_back(self, index: int, data: st.DataObject) -> None:
        """A coordinator was mistaken: what was decided, ruled or linked is open again."""
        disk = self.disks[index % self.coordinators]
        answers = [
            (key, str(entry.by))
            for key, entries in sorted(disk.files.items())
            for entry in sorted(entries, key=lambda entry: entry.line)
            if entry.array in ("decisions", "outside", "links", "distincts")
        ]
        if answers:
            key, name = data.draw(st.sampled_from(answers))
            where = key if key.kind is FileKind.SESSION else ledger_key(disk.laptop)
            self._write(disk, where, draft_unlink([name], who="C-02", why="mistaken", at=AT))

    @rule(index=indexes, data=st.data())
    def rule_on_a_changed_line(self, index: int, data: st.DataObject) -> None:
        disk = self.disks[index % self.coordinators]
        plan = self._merge(disk) if disk.must.odd else None
        if plan is None or not plan.proposals:
            return
        proposal = data.draw(st.sampled_from(plan.proposals))
        word = data.draw(st.sampled_from(("taken", "corrected", "refused")))
        try:
            more, ruling = draft_ruling(proposal, word, who="C-02", why="phoned", at=AT)
        except ReadingError:
            return  # such an answer is not offered for it
        if proposal.proposed is not None:
            self.lines[proposal.id] = (proposal.about, proposal.proposed)
            if word == "taken":
                self.history.written.add((proposal.about, proposal.proposed))
        if more is not None:
            self._write(disk, proposal.about, more)
        self._write(disk, ledger_key(disk.laptop), ruling)

    # --- sticks --------------------------------------------------------------------------------

    @rule(index=indexes, half=st.booleans(), data=st.data())
    def copy_to_a_stick(self, index: int, data: st.DataObject, *, half: bool) -> None:
        stick = self.disk(index).stick()
        if half:
            self._halve(stick, data)
        self.sticks.append(stick)

    @rule(stick=indexes, index=indexes, again=st.booleans())
    def arrive(self, stick: int, index: int, *, again: bool) -> None:
        """Merge a stick; it may stay in a pocket and come once more, much later."""
        if not self.sticks:
            return
        place = stick % len(self.sticks)
        arrived = self.sticks[place] if again else self.sticks.pop(place)
        self._merge(self.disk(index), arrived)

    @rule(stick=indexes)
    def lose(self, stick: int) -> None:
        if self.sticks:
            self.sticks.pop(stick % len(self.sticks))

    @rule(index=indexes, other=indexes, half=st.booleans(), data=st.data())
    def hand_over(self, index: int, other: int, data: st.DataObject, *, half: bool) -> None:
        """Merge one folder straight into another: at day's end, or carried back."""
        stick = self.disk(other).stick()
        if half:
            self._halve(stick, data)
        self._merge(self.disk(index), stick)

    def _halve(self, stick: Stick, data: st.DataObject) -> None:
        """Pull the stick early, or let somebody open its files in an editor."""
        harm = data.draw(st.sampled_from((HARM, HARM, ("no_seal",), ("edited", "no_seal"))))
        for key in sorted(stick.files):
            whole = stick.files[key]
            how = data.draw(st.sampled_from(harm))
            if how == "missing":
                self._spoil(stick, key, None)
            elif how == "cut":
                self._spoil(stick, key, whole[: data.draw(st.integers(0, len(whole)))])
            elif how == "no_seal":
                self._spoil(stick, key, whole.partition(b"[seal]")[0])
            elif how == "edited":
                rows = whole.split(b"\n")
                places = [n for n, row in enumerate(rows) if row.startswith(b"  {")]
                if places:
                    place = data.draw(st.sampled_from(places))
                    rows[place] = rows[place].replace(b"22", b"24").replace(b"ing", b"inG")
                self._spoil(stick, key, b"\n".join(rows))

    # --- what happens to disks -----------------------------------------------------------------

    @rule(index=indexes)
    def back_up(self, index: int) -> None:
        self.backups.append((index % len(self.disks), self.disk(index).twin()))

    @rule(backup=indexes, noticed=st.booleans())
    def restore(self, backup: int, *, noticed: bool) -> None:
        """Put a disk back to what it was; what only it held since is gone with it."""
        if not self.backups:
            return
        place, old = self.backups[backup % len(self.backups)]
        self.disks[place] = self._started(old.twin(), noticed=noticed)

    @rule(index=indexes, noticed=st.booleans())
    def clone(self, index: int, *, noticed: bool) -> None:
        if len(self.disks) < MOST_DISKS:
            self.disks.append(self._started(self.disk(index).twin(), noticed=noticed))

    def _started(self, disk: Disk, *, noticed: bool) -> Disk:
        """Start the program on a copied folder: it takes a new name, or uses numbers twice."""
        if noticed:
            self.renamed += 1
            disk.laptop = f"{disk.laptop[:3]}x-{self.renamed:04d}"
            disk.next = 1
        return disk

    # --- steps and their checks ----------------------------------------------------------------

    def _act(self, index: int, operations: list[str], data: st.DataObject) -> None:
        with suppress(CannotWriteError):
            for operation in operations:
                act(data.draw, self.history, self.disk(index), operation)

    def _answer(self, disk: Disk, fields: Mapping[str, object], data: st.DataObject) -> None:
        key = session_key(SESSIONS[0])
        seen = [str(e.by) for e in disk.files[key] if e.fields.get("what") == fields["what"]]
        more = {"instead_of": sorted(set(seen))} if seen else {}
        told = {"at": data.draw(instants), **fields, **more}
        with suppress(CannotWriteError):
            self.history.written.add((key, disk.write(key, "answers", told)))

    def _spoil(self, stick: Stick, key: Key, raw: bytes | None) -> None:
        if raw is not None:
            self.raws[digest_bytes(raw)] = raw
        stick.spoil(key, raw)

    def _write(self, disk: Disk, key: Key, draft: Draft) -> None:
        with suppress(CannotWriteError):
            self.history.written.add((key, disk.add(key, draft)))

    def _merge(self, disk: Disk, *sticks: Stick) -> MergePlan:
        """Merge into a disk, and hold what comes of it against the model."""
        files = disk.found()
        before = merge(files)
        plan = merge(files, *(stick.found() for stick in sticks)) if sticks else before
        if disk.must.odd:
            found = [file for stick in reversed(sticks) for file in reversed(stick.found())]
            other = merge((), found, reversed(files))
            assert written(other) == written(plan)
            assert asked(other) == asked(plan)
        disk.must.settle(self.lines)
        disk.must.take_in(*(stick.model for stick in sticks))
        disk.must.settle(self.lines)
        disk.carry_out(plan, self.raws)
        self.sound = False
        _check_outcome(plan, disk.must)
        _check_step(before, plan)
        self.sound = True
        return plan

    # --- at the end ----------------------------------------------------------------------------

    def teardown(self) -> None:
        """Bring together whatever still exists anywhere."""
        if not (self.disks and self.sound):
            return
        sticks = [*(disk.stick() for disk in self.disks), *self.sticks]
        archive = Disk("godwit-j4nm")
        plan = self._merge(archive, *sticks)
        self._check_files(plan)
        self._check_any_order(plan, sticks)
        self._check_asked_once(archive, sticks)

    def _check_files(self, plan: MergePlan) -> None:
        """Every line stands in its file as it was written, and nobody else wrote one."""
        texts = written(plan)
        names = {(key, str(entry.by)) for key, entry in self.history.written}
        for key, entry in entries_of(plan):
            assert f"\n  {entry.line},\n" in texts[key.place]
            assert (key, str(entry.by)) in names
            assert entry.erased or (key, entry) in self.history.written

    def _check_any_order(self, plan: MergePlan, sticks: list[Stick]) -> None:
        """One by one in another order, some twice, comes to the same as all at once."""
        arriving = [*sticks, self.random.choice(sticks)]
        self.random.shuffle(arriving)
        other = Disk("godwit-j4nm")
        for stick in arriving[:-1]:
            other.carry_out(merge(other.found(), stick.found()), self.raws)
        last = merge(other.found(), arriving[-1].found())
        assert written(last) == written(plan)
        assert asked(last) == asked(plan)
        assert (last.gaps, last.clones) == (plan.gaps, plan.clones)

    def _check_asked_once(self, archive: Disk, sticks: list[Stick]) -> None:
        """Answer everything, carry it back, bring everything again: nothing is asked."""
        plan = self._merge(archive)
        for _ in range(5):
            for conflict in plan.conflicts:
                key, draft = answer(self.random.choice, plan, conflict, archive.laptop)
                archive.add(key, draft)
            plan = self._merge(archive)
            if not plan.conflicts:
                break
        assert plan.conflicts == ()
        back = archive.stick()
        returned = [merge(disk.found(), back.found()) for disk in self.disks]
        for disk, on_laptop in zip(self.disks, returned, strict=True):
            assert on_laptop.conflicts == ()
            assert entries_of(on_laptop) == entries_of(plan)
            disk.carry_out(on_laptop, self.raws)
        again = merge(
            archive.found(), *(d.found() for d in self.disks), *(s.found() for s in sticks)
        )
        assert again.conflicts == ()
        assert written(again) == written(plan)
        assert again.to_write == ()


def _check_outcome(plan: MergePlan, must: Model) -> None:
    """Hold a merge's outcome against the model: entries, kept copies, questions, people, holds."""
    holds = must.holds()
    assert entries_of(plan) == holds
    carried = (merged.carried for merged in plan.merged.values())
    kept = {copy.digest for copy in (*plan.to_keep, *carried) if copy is not None}
    assert kept == {digest_bytes(raw) for _, raw in must.odd}
    by_key: dict[Key, set[Entry]] = {key: set() for key in plan.merged}
    for key, entry in holds:
        by_key[key].add(entry)
    sessions = {key: held for key, held in by_key.items() if key.kind is FileKind.SESSION}
    assert {(c.session, c.field) for c in plan.conflicts if c.kind == "answer"} == {
        (key.name, what) for key, held in sessions.items() for what in disputed_fields(held)
    }
    gaps = {(gap.laptop, n) for gap in plan.gaps for n in range(gap.first, gap.last + 1)}
    assert gaps == missing_numbers([must.files]) - must.waiting()
    ledgers = [entry for key, entry in holds if key not in sessions]
    assert set(plan.clients.groups) == groups_of(ledgers)
    ruled = {entry.text("proposal") for entry in standing(ledgers, "outside")}
    assert ruled.isdisjoint(proposal.id for proposal in plan.proposals)
    for key, held in sessions.items():
        content = plan.merged[key].content
        if isinstance(content, Session):
            for array in ("readings", "remarks"):
                assert set(content.heads.heads_of(array)) == set(standing(held, array))
        assert _holds_a_leg(content) == is_held(held)


def _check_step(before: MergePlan, after: MergePlan) -> None:
    """A question closes, and a hold is lifted, only through a line that says so."""
    were, are = entries_of(before), entries_of(after)
    if were == are:
        return
    still_open = [conflict.names for conflict in after.conflicts]
    closed = [c for c in before.conflicts if all(c.names.isdisjoint(n) for n in still_open)]
    spoken = spoken_of(were, are) if closed else set()
    for conflict in closed:
        assert conflict.names & spoken
    for key, merged in before.merged.items():
        if _holds_a_leg(merged.content) and not _holds_a_leg(after.merged[key].content):
            new = [entry for place, entry in are - were if place == key]
            seen = [entry for entry in new if entry.array == "answers" and entry.text("finding")]
            assert seen or any(entry.erased for entry in new)


@lru_cache(maxsize=500)
def _holds_a_leg(content: Session | Ledger | None) -> bool:
    if not isinstance(content, Session) or all(e.text("what") != HOLD for e in content.entries):
        return False
    screened = screen_session(answers_of(content, book()), book(), on=TODAY)
    return any(leg.clearance == "hold" for leg in screened.legs)


_EXAMPLES = settings.default.max_examples if settings.default is not None else 50
TestMerging = Merging.TestCase
# A run is a whole day of up to 50 steps, so half as many do while developing.
TestMerging.settings = settings(
    max_examples=25 if _EXAMPLES <= 50 else _EXAMPLES, stateful_step_count=50
)
