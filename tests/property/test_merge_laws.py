"""The fourteen laws of the merge, over histories of several laptops, down to the bytes written."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta
from functools import reduce
from typing import TYPE_CHECKING

from histories import (
    CODES,
    COORDINATOR,
    LAPTOPS,
    SESSIONS,
    Machine,
    file_bytes,
    files_of,
    histories,
    ledger_key,
    missing_numbers,
    session_key,
    spoken_of,
)
from hypothesis import assume, given
from hypothesis import strategies as st
from merge_plans import answer, asked, entries_of, numbered, written
from strategies import AT, entry_from_line, entry_of, line_of

from fitcore.merge.choices import draft_choice
from fitcore.merge.clients import draft_link
from fitcore.merge.found import FileKind, read_found
from fitcore.merge.gaps import Numbers, count_numbers, find_gaps
from fitcore.merge.join import Outcome
from fitcore.merge.merge import merge
from fitcore.merge.proposals import Change, draft_ruling
from fitcore.problems import ReadingError
from fitcore.record.codec import write_session
from fitcore.record.ledger import Ledger
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from histories import Folder, History

    from fitcore.merge.conflicts import Candidate
    from fitcore.merge.found import Found, Key
    from fitcore.record.entries import Entry


def sticks(history: History) -> list[tuple[Found, ...]]:
    return [files_of(folder, f"stick-{n}") for n, folder in enumerate(history.snapshots)]


def some_sticks(data: st.DataObject, history: History) -> list[tuple[Found, ...]]:
    """Draw which sticks arrive: a sealed copy of a session may come late or never."""
    return data.draw(st.lists(st.sampled_from(sticks(history)), min_size=0, max_size=4))


def archive_of(*sources: Iterable[Found]) -> tuple[Found, ...]:
    return merge((), *sources).archive()


@st.composite
def strange_files(draw: st.DrawFn, history: History) -> list[Found]:
    """Draw what else lies on sticks: files edited by hand, cut off, or of a newer program."""
    found = []
    for folder in history.snapshots:
        for key, entries in folder.items():
            raw = file_bytes(key, entries)
            how = draw(st.sampled_from(("", "", "edited", "added", "removed", "newer", "damaged")))
            lines = raw.split(b"\n")
            rows = [n for n, line in enumerate(lines) if line.startswith(b"  {")]
            place = draw(st.sampled_from(rows))
            if how == "edited":
                lines[place] = lines[place].replace(b"22", b"24").replace(b"ing", b"inG")
            elif how == "added":
                name = f"{draw(st.sampled_from(LAPTOPS))}:{draw(st.integers(1, 40))}"
                more = line_of({"by": name, "at": AT, "text": "typed in an editor"})
                lines.insert(place, f"  {more},".encode())
            elif how == "removed":
                lines.pop(place)
            elif how == "newer":
                lines = [line.replace(b"format = 1", b"format = 2") for line in lines]
            elif how == "damaged":
                lines = lines[:place]
            if how:
                found.append(_read(b"\n".join(lines), key, "odd"))
    return found


def _read(raw: bytes, key: Key, stick: str) -> Found:
    return read_found(raw, path=f"{stick}/{key.place}.toml", name=key.name, kind=key.kind)


@given(histories(), st.data())
def test_law_01_merging_is_commutative(history: History, data: st.DataObject) -> None:
    odd = data.draw(strange_files(history))
    one, other, *_ = [*some_sticks(data, history), (), ()]
    forth, back = merge((), one, other, odd), merge((), odd, other, one)
    assert written(forth) == written(back)
    assert forth.report == back.report
    assert asked(forth) == asked(back)
    of_one, of_other = archive_of(one, odd), archive_of(other)
    assert written(merge(of_one, of_other)) == written(merge(of_other, of_one))


@given(histories(), st.data())
def test_law_02_merging_is_associative(history: History, data: st.DataObject) -> None:
    one, two, *more = [*some_sticks(data, history), (), ()]
    rest = [*(file for stick in more for file in stick), *data.draw(strange_files(history))]
    left = merge(merge(archive_of(one), two).archive(), rest)
    right = merge(archive_of(one), archive_of(two, rest))
    assert written(left) == written(right)
    assert asked(left) == asked(right)


@given(histories(), st.data())
def test_law_03_merging_what_is_there_already_changes_nothing(
    history: History, data: st.DataObject
) -> None:
    brought = [*some_sticks(data, history), data.draw(strange_files(history))]
    first = merge((), *brought)
    again = merge(first.archive(), *brought)
    assert written(again) == written(first)
    assert again.to_write == ()
    assert (again.report.added, again.report.updated) == (0, 0)
    itself = merge(first.archive(), first.archive())
    assert written(itself) == written(first)


@given(histories())
def test_law_04_nothing_goes_and_a_question_closes_only_by_a_line_that_says_so(
    history: History,
) -> None:
    one, *others = sticks(history)
    before, after = merge((), one), merge(archive_of(one), *others)
    there = entries_of(after)
    for key, entry in entries_of(before):
        if not history.is_erased(key, entry):
            assert (key, entry) in there
        assert any(str(e.by) == str(entry.by) for e in after.merged[key].entries)
    still_open = [conflict.names for conflict in after.conflicts]
    for conflict in before.conflicts:
        if all(conflict.names.isdisjoint(names) for names in still_open):
            assert conflict.names & spoken_of(entries_of(before), there)


@given(histories(), st.data())
def test_law_05_every_entry_told_to_be_saved_is_in_the_archive_with_its_first_bytes(
    history: History, data: st.DataObject
) -> None:
    plan = merge((), *sticks(history), data.draw(strange_files(history)))
    texts = written(plan)
    for key, entry in history.written:
        if history.is_erased(key, entry):
            assert entry.line not in texts[key.place]
            assert f'by = "{entry.by}", erased = true' in texts[key.place]
        else:
            assert f"\n  {entry.line},\n" in texts[key.place]


@given(histories(), st.data())
def test_law_06_nothing_is_invented(history: History, data: st.DataObject) -> None:
    plan = merge((), *sticks(history), data.draw(strange_files(history)))
    names = {(key, str(entry.by)) for key, entry in history.written}
    for key, entry in entries_of(plan):
        assert (key, entry) in history.written or entry.erased
        assert (key, str(entry.by)) in names
        assert not entry.erased or history.is_erased(key, entry)


@given(histories(erasures=False))
def test_law_07_every_value_names_its_line_its_laptop_and_the_stick_it_came_from(
    history: History,
) -> None:
    brought = sticks(history)
    plan = merge((), *brought)
    for key, merged in plan.merged.items():
        for entry in merged.entries:
            expected = {f.path for stick in brought for f in stick if entry in f.entries}
            assert set(merged.found_in(entry)) == {p for p in expected if key.place in p}
            assert merged.found_in(entry)
    for conflict in plan.conflicts:
        origins = [origin for candidate in conflict.candidates for origin in candidate.origins]
        assert {str(origin.entry.by) for origin in origins} >= conflict.names
        for origin in origins:
            assert origin.laptop == origin.entry.by.laptop
            assert {seen.name for seen in origin.saw} == set(origin.entry.replaces)


@given(histories(), st.fixed_dictionaries({laptop: st.integers(-40, 40) for laptop in LAPTOPS}))
def test_law_08_no_clock_decides_anything(history: History, years: Mapping[str, int]) -> None:
    plan = merge((), *sticks(history))
    shifted = [_shift(folder, years) for folder in history.snapshots]
    other = merge((), *(files_of(folder) for folder in shifted))
    assert asked(other) == asked(plan)
    assert other.clients.groups == plan.clients.groups
    assert other.gaps == plan.gaps
    assert [_standing(m.content) for m in other.merged.values()] == [
        _standing(m.content) for m in plan.merged.values()
    ]


@given(histories(), st.data())
def test_law_09_any_order_repetition_and_late_arrival_give_the_same_archive(
    history: History, data: st.DataObject
) -> None:
    files = [file for stick in some_sticks(data, history) for file in stick]
    files += data.draw(strange_files(history))
    files += data.draw(_rulings(files))
    assume(files)
    at_once = merge((), files)
    arriving = data.draw(st.permutations([*files, data.draw(st.sampled_from(files))]))
    cut = data.draw(st.integers(0, len(arriving)))
    later = merge(archive_of(arriving[:cut]), arriving[cut:])
    one_by_one = reduce(lambda archive, file: merge(archive, [file]).archive(), arriving, ())
    assert written(later) == written(at_once)
    assert written(merge(one_by_one)) == written(at_once)
    assert asked(later) == asked(at_once)
    assert later.report.gaps == at_once.report.gaps
    assert later.report.clones == at_once.report.clones
    assert later.report.proposals == at_once.report.proposals


@st.composite
def _rulings(draw: st.DrawFn, files: Sequence[Found]) -> tuple[Found, ...]:
    """Draw a coordinator's ledger that answers for some of the lines changed outside."""
    coordinator = Machine(COORDINATOR)
    key = ledger_key(COORDINATOR)
    for proposal in merge((), files).proposals:
        answers = ["", "refused", *(["taken"] if proposal.change is Change.ADDED else [])]
        if answer := draw(st.sampled_from(answers)):
            try:
                _, ruling = draft_ruling(proposal, answer, who="C-02", why="phoned", at=AT)
            except ReadingError:
                continue  # a line that could not be used is never taken
            coordinator.files[key].add(numbered(ruling, coordinator))
    return files_of(coordinator.folder())


@given(histories(), st.data())
def test_law_10_what_was_decided_is_never_asked_again(
    history: History, data: st.DataObject
) -> None:
    brought = sticks(history)
    coordinator = Machine(COORDINATOR)
    plan = merge((), *brought)
    for _ in range(4):
        for conflict in plan.conflicts:
            key, draft = answer(_chosen(data), plan, conflict, coordinator.laptop)
            coordinator.files[key].add(numbered(draft, coordinator))
        decisions = files_of(coordinator.folder(), "coordinator")
        plan = merge(plan.archive(), decisions)
        if not plan.conflicts:
            break
    assert plan.conflicts == ()
    replayed = merge(plan.archive(), *brought)
    assert replayed.conflicts == ()
    assert written(replayed) == written(plan)
    assert replayed.report.conflicts_settled == 0
    elsewhere = merge((), decisions, *brought)
    assert elsewhere.conflicts == ()


def _chosen(data: st.DataObject) -> Callable[[Sequence[Candidate]], Candidate]:
    return lambda candidates: data.draw(st.sampled_from(candidates))


@given(histories(), st.data())
def test_law_11_link_withdraw_and_decide_are_reversible(
    history: History, data: st.DataObject
) -> None:
    brought = sticks(history)
    plan = merge((), *brought)
    coordinator = Machine(COORDINATOR)
    ledger = coordinator.files[ledger_key(COORDINATOR)]
    codes = data.draw(st.lists(st.sampled_from(CODES), min_size=2, max_size=4, unique=True))
    done = [
        (ledger, numbered(draft_link(plan.clients, codes, who="C", why="?", at=AT), coordinator))
    ]
    for key, merged in plan.merged.items():
        kinds = ("readings", "remarks")
        targets = sorted(str(e.by) for e in merged.entries if e.array in kinds and not e.erased)
        if key.kind is FileKind.SESSION and targets:
            fields = {"takes_back": [data.draw(st.sampled_from(targets))], "why": "other leg"}
            entry = coordinator.write(key, "withdrawn", {"at": AT, **fields})
            done.append((coordinator.files[key], entry))
        for conflict in merged.conflicts:
            candidate = data.draw(st.sampled_from(conflict.candidates))
            draft = draft_choice(conflict, candidate, who="C", why="?", at=AT)
            done.append((coordinator.files[key], numbered(draft, coordinator)))
    for file, entry in done:
        file.add(entry)
    changed = merge(plan.archive(), files_of(coordinator.folder()))
    assert changed.clients.codes_of(codes[0]) == changed.clients.codes_of(codes[1])
    for file, entry in done:
        back = coordinator.next
        coordinator.next += 1
        taken = entry_of("withdrawn", f"{COORDINATOR}:{back}", takes_back=[str(entry.by)], why="no")
        file.add(taken)
    restored = merge(changed.archive(), files_of(coordinator.folder()))
    assert asked(restored) == asked(plan)
    assert restored.clients.groups == plan.clients.groups
    for key, merged in plan.merged.items():
        live = {e for e in _heads(restored.merged[key].content) if e.by.laptop != COORDINATOR}
        assert live == _heads(merged.content)


@given(histories(erasures=False), st.data())
def test_law_12_what_is_not_understood_comes_out_as_it_went_in(
    history: History, data: st.DataObject
) -> None:
    key = session_key(SESSIONS[0])
    words = data.draw(st.sampled_from(("22.40", "0.10", "1979-05-27", "[1, 2]", "'a b'")))
    strange = entry_from_line("tides", f'{{by = "skua-b8ty:900",  "x y"={words} , z = 1_0}}')
    head = f"needs = {words}"
    session = Session(key.name, frozenset({strange}), frozenset({("needs", head)}))
    raw = write_session(session).encode()
    newer = raw.replace(b"format = 1", b"format = 9")
    other = session_key("0199c3a2-99aa-7d40-8c1b-3a90b7d4e599")
    newer = newer.replace(key.name.encode(), other.name.encode())
    plan = merge((), *sticks(history), [_read(raw, key, "a"), _read(newer, other, "b")])
    text = written(plan)[key.place]
    assert f"\n{head}\n" in text
    assert f"\ntides = [\n  {strange.line},\n]\n" in text
    carried = plan.merged[other].carried
    assert carried is not None
    assert carried.digest == _read(newer, other, "b").digest
    for own, entry in history.written:
        assert f"\n  {entry.line},\n" in written(plan)[own.place]


@given(histories(most=12), st.data())
def test_law_13_any_bytes_end_accepted_asked_or_set_aside(
    history: History, data: st.DataObject
) -> None:
    folders = [folder for folder in history.snapshots if folder]
    assume(folders)
    key, entries = data.draw(st.sampled_from([*folders[-1].items()]))
    raw = bytearray(file_bytes(key, entries))
    for _ in range(data.draw(st.integers(0, 3))):
        at = data.draw(st.integers(0, max(0, len(raw) - 1)))
        how = data.draw(st.sampled_from(("flip", "cut", "put", "twice")))
        if how == "flip" and raw:
            raw[at] ^= 1 << data.draw(st.integers(0, 7))
        elif how == "cut":
            del raw[at:]
        elif how == "put":
            raw[at:at] = data.draw(st.binary(max_size=6) | st.sampled_from((b"\n]", b'"', b"{")))
        else:
            raw += raw[at:]
    whole = merge((), *sticks(history))
    found = _read(bytes(raw), key, "odd")
    plan = merge(whole.archive(), [found])
    assert entries_of(plan) >= entries_of(whole)
    if found.is_whole:
        assert found.entries <= plan.merged[key].entries | frozenset(
            e for e in found.entries if history.is_erased(key, e)
        )
        return
    assert found.digest in {copy.digest for copy in plan.to_keep}
    assert entries_of(plan) == entries_of(whole)
    accounted = {file.digest for file in plan.report.set_aside}
    if carried := plan.merged[key].carried:
        accounted.add(carried.digest)
    assert found.digest in accounted or isinstance(found.content, Session | Ledger)
    for entry in found.entries - whole.merged[key].entries:
        if not history.is_erased(key, entry):
            assert any(proposal.proposed == entry for proposal in plan.proposals)


@given(histories(), st.data())
def test_law_14_carried_back_and_merged_again_no_byte_changes(
    history: History, data: st.DataObject
) -> None:
    plan = merge((), *some_sticks(data, history), data.draw(strange_files(history)))
    back: Folder = {key: m.entries for key, m in plan.merged.items() if m.content is not None}
    laptops = [files_of(back, f"to-{machine.laptop}") for machine in history.machines]
    again = merge(plan.archive(), *laptops)
    assert written(again) == written(plan)
    assert again.to_write == ()
    outcomes = {merged.outcome for merged in again.merged.values()}
    assert outcomes <= {Outcome.UNCHANGED, Outcome.NOTHING}
    fresh = merge((), *laptops)
    kept = {place: text for place, text in written(plan).items() if place in written(fresh)}
    assert written(fresh) == kept


@given(histories(clones=False), st.data())
def test_gaps_are_exactly_the_numbers_nobody_brought(history: History, data: st.DataObject) -> None:
    brought = data.draw(st.lists(st.sampled_from(history.snapshots), max_size=3))
    plan = merge((), *(files_of(folder) for folder in brought))
    told = {(g.laptop, n) for g in plan.gaps for n in range(g.first, g.last + 1)}
    assert told == missing_numbers(brought)
    assert plan.clones == ()
    assert merge((), *sticks(history)).gaps == ()


@given(histories())
def test_a_name_on_two_lines_is_told_wherever_they_stand(history: History) -> None:
    plan = merge((), *sticks(history))
    lines = defaultdict(set)
    for key, entry in entries_of(plan):
        lines[entry.by].add((key.place, entry))
    expected = {
        (name.laptop, name.number, tuple(sorted({place for place, _ in found})))
        for name, found in lines.items()
        if len(found) > 1
    }
    assert {(c.laptop, c.number, c.places) for c in plan.clones} == expected
    assert not plan.clones or history.cloned


@given(histories(), st.data())
def test_numbers_of_parts_add_up_in_any_order_and_grouping(
    history: History, data: st.DataObject
) -> None:
    plan = merge((), *sticks(history))
    parts = data.draw(st.permutations([count_numbers(m.entries) for m in plan.merged.values()]))
    cut = data.draw(st.integers(0, len(parts)))
    grouped = sum(parts[:cut], Numbers()) + sum(parts[cut:], Numbers())
    assert find_gaps(grouped) == plan.gaps
    assert grouped.twice == plan.numbers.twice


def _heads(content: object) -> set[Entry]:
    if not isinstance(content, Session):
        return set()
    arrays = ("answers", "decisions", "readings", "remarks", "weights")
    return {entry for array in arrays for entry in content.heads.heads_of(array)}


def _standing(content: object) -> list[str]:
    return sorted(
        line_of({key: value for key, value in entry.fields.items() if key != "at"})
        for entry in _heads(content)
    )


def _shift(folder: Folder, years: Mapping[str, int]) -> Folder:
    return {
        key: frozenset(_moved(entry, years[entry.by.laptop]) for entry in entries)
        for key, entries in folder.items()
    }


def _moved(entry: Entry, years: int) -> Entry:
    at = entry.fields["at"]
    assert isinstance(at, datetime)
    # Held to what a laptop's clock can show, so that the shift itself never overflows.
    moved = min(max(at.year + years, 1970), 2099) - at.year
    shifted = at + timedelta(days=365 * moved)
    return entry_from_line(entry.array, line_of({**entry.fields, "at": shifted}))
