"""Whatever runs the batches of a merge, archive and report are the plain loop's, byte for byte."""

from __future__ import annotations

import os
import pickle
import random
import shutil
import sys
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial, reduce
from operator import add
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from histories import (
    History,
    file_bytes,
    files_of,
    histories,
    ledger_key,
    session_key,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import AT, entry_from_line, line_of

from fitcore import BUILT_ON
from fitcore.disk import engine_dask
from fitcore.disk.archive import merge_folders, open_questions
from fitcore.disk.archive_batch import merge_batch
from fitcore.disk.archive_parts import Totals
from fitcore.disk.archive_scan import place_of
from fitcore.disk.archive_seen import Copies, Seen
from fitcore.disk.engine_dask import Batch, DaskEngine, Shared, dask_engine, merge_seen
from fitcore.disk.surroundings import Surroundings
from fitcore.merge.gaps import Numbers
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.merge.merge import MergePlan, merge
from fitcore.problems import FitError, Problem
from tui.command_line import run

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from fitcore.disk.archive_batch import BatchPlan
    from fitcore.disk.archive_parts import Merging
    from fitcore.merge.found import Key
    from fitcore.record.entries import Entry

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sessions"
DEMO_DAY = [SAMPLES / name for name in ("tern", "dunlin", "petrel")]
PARTITIONS = (1, 7, 64)
MADE = 70
"""Sessions of the made world: more than there are partitions."""


@pytest.fixture(autouse=True)
def _unflushed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Flush nothing: what a power cut leaves is tested elsewhere, and it takes most of the time."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


# --- what is merged ----------------------------------------------------------------------------


def world(tmp_path: Path, *, cached: bool = False) -> Surroundings:
    """Return surroundings; the clock is far ahead, so that no file here counts as just written."""
    ahead = datetime(2100, 1, 1, tzinfo=UTC)
    cache = tmp_path / "cache" if cached else None
    return Surroundings(lambda: ahead, os.urandom, tmp_path, "Europe/London", cache_folder=cache)


def bytes_of(folder: Path) -> dict[str, bytes]:
    """Return every file of a folder."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def answer(by: str, value: str, **more: object) -> Entry:
    line = line_of({"by": by, "at": AT, "what": "posture", "is": value, **more})
    return entry_from_line("answers", line)


def put(stick: Path, key: Key, content: bytes) -> None:
    path = place_of(stick, key)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)


def made_session(number: int) -> Key:
    """Name an invented session of one spring day; the end of its id is spread evenly."""
    end = random.Random(number).getrandbits(48)  # noqa: S311 - invented, and the same in every run
    return session_key(f"0199c3a2-{number:04x}-7d40-8c1b-{end:012x}")


def make_sticks(folder: Path) -> list[Path]:
    """Write two sticks with all a merge meets: conflicts, erasure, a clone, files gone bad."""
    one, two = folder / "one", folder / "two"
    for number in range(1, MADE + 1):
        key = made_session(number)
        first = answer(f"tern-k7qd:{number}", "lying")
        mine = answer(f"tern-k7qd:{500 + number}", "sitting", instead_of=[str(first.by)])
        other = answer(f"dunlin-m4ex:{number}", "standing", instead_of=[str(first.by)])
        raws = [file_bytes(key, [first, mine]), file_bytes(key, [first, other])]
        if number % 10 == 3:
            raws[1] = raws[1][: len(raws[1]) // 2]
        if number % 10 == 4:
            raws[0] = raws[0].replace(b'"sitting"', b'"kneeling"')
        if number % 10 == 5:
            raws[1] = b"the same rubbish under many names"
        if number % 10 == 6:
            raws = [raw.replace(b"format = 1", b'format = 2\nneeds = ["x"]') for raw in raws]
        if number % 10 == 7:
            raws[1] = file_bytes(key, [first, answer(f"tern-k7qd:{number - 2}", "sitting")])
        for stick, raw in zip((one, two), raws, strict=True):
            put(stick, key, raw)
    erased = {"session": made_session(8).name, "erases": ["tern-k7qd:508"], "who": "C", "why": "."}
    line = line_of({"by": "dunlin-m4ex:900", "at": AT, **erased})
    put(two, ledger_key("dunlin-m4ex"), file_bytes(ledger_key("dunlin-m4ex"), [
        entry_from_line("erasures", line)
    ]))  # fmt: skip
    (one / "sessions" / "no name.toml").write_bytes(b"hello")
    return [one, two]


def outcome(archive: Path, sticks: Sequence[Path], engine: Any = None) -> tuple[Any, ...]:
    """Merge twice into an archive, the second time with a memory; return all that came of it."""
    place = world(archive.parent, cached=True)
    first = merge_folders(archive, sticks, place, engine=engine)
    again = merge_folders(archive, sticks, place, engine=engine)
    return first, again, bytes_of(archive)


# --- engines without a cluster -----------------------------------------------------------------


@dataclass
class Carried:
    """Cuts anyhow, and carries every batch and its outcome as bytes, as between machines."""

    cut: random.Random

    def split(self, sessions: Iterable[Copies]) -> Iterable[Sequence[Copies]]:
        left = list(sessions)
        self.cut.shuffle(left)
        while left:
            size = self.cut.randint(1, len(left))
            yield left[:size]
            left = left[size:]

    def run(self, batches: Iterable[Sequence[Copies]], ledgers: LedgerLines) -> Iterator[BatchPlan]:
        for batch in batches:
            there = pickle.loads(pickle.dumps((batch, ledgers)))  # noqa: S301 - our own bytes
            plan: BatchPlan = pickle.loads(pickle.dumps(merge_batch(*there)))  # noqa: S301
            yield plan


def test_any_cut_and_order_of_batches_ends_as_the_plain_loop(tmp_path: Path) -> None:
    sticks = make_sticks(tmp_path)
    archive = tmp_path / "archive"
    wanted = outcome(archive, sticks)
    report = wanted[0].report
    assert (report.added, report.conflicts_open, report.proposals) == (MADE, 34, 7)
    assert (len(report.set_aside), len(report.clones)) == (16, 7)
    for seed in range(3):
        shutil.rmtree(archive)
        shutil.rmtree(tmp_path / "cache")
        assert outcome(archive, sticks, Carried(random.Random(seed))) == wanted  # noqa: S311


def write_sticks(history: History, folder: Path) -> list[Path]:
    sticks = []
    for number, snapshot in enumerate(history.snapshots):
        stick = folder / f"stick{number}"
        stick.mkdir()
        for key, entries in snapshot.items():
            put(stick, key, file_bytes(key, entries))
        sticks.append(stick)
    return sticks


def agrees(history: History, folder: Path, engine: Any) -> None:
    """Hold an engine against the plain loop and against the pure merge."""
    sticks, archive, place = write_sticks(history, folder), folder / "archive", world(folder)
    plain = merge_folders(archive, sticks, place)
    files = bytes_of(archive)
    shutil.rmtree(archive)
    assert merge_folders(archive, sticks, place, engine=engine) == plain
    assert bytes_of(archive) == files
    plan = merge((), *(files_of(snapshot) for snapshot in history.snapshots))
    assert plain.report.conflicts_open == plan.report.conflicts_open
    assert open_questions(archive, place).conflicts == plan.conflicts
    for session, name in history.erased:
        filed = place_of(archive, session_key(session)).read_text(encoding="utf-8")
        assert all("erased = true" in line for line in filed.splitlines() if f'"{name}", ' in line)


@given(histories(most=14), st.integers(0, 1000))
@settings(max_examples=20)
def test_random_histories_end_as_in_the_plain_loop(
    tmp_path_factory: pytest.TempPathFactory, history: History, seed: int
) -> None:
    folder = tmp_path_factory.mktemp("history")
    agrees(history, folder, Carried(random.Random(seed)))  # noqa: S311
    shutil.rmtree(folder)


@given(histories(most=20), st.randoms(use_true_random=False))
def test_totals_do_not_depend_on_order_or_grouping(history: History, cut: random.Random) -> None:
    plan = merge((), *(files_of(snapshot) for snapshot in history.snapshots))
    parts = []
    for key, merged in plan.merged.items():
        alone = MergePlan({key: merged}, plan.ledgers, ())
        parts.append(Totals.of_plan(alone, [merged.numbers]))
    assert Numbers.total(m.numbers for m in plan.merged.values()) == plan.numbers
    whole = reduce(add, parts, Totals())
    assert Totals.of_plan(plan, [plan.numbers]) == whole
    cut.shuffle(parts)
    at = cut.randint(0, len(parts))
    left, right = (reduce(add, some, Totals()) for some in (parts[:at], parts[at:]))
    assert left + right == right + left == whole == whole + Totals() == Totals() + whole
    assert whole.report(plan.clients, ()).gaps == plan.report.gaps


# --- a cluster of two worker processes ---------------------------------------------------------


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """Start a scheduler and two worker processes."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, memory_limit=0, dashboard_address="127.0.0.1:0"
    ) as started:
        yield started


@pytest.fixture(scope="module")
def client(cluster: Any) -> Iterator[Any]:
    from distributed import Client

    with Client(cluster, set_as_default=False) as connected:
        yield connected


def test_one_seven_and_sixty_four_partitions_end_as_the_plain_loop(
    tmp_path: Path, client: Any
) -> None:
    sticks = [*make_sticks(tmp_path), *DEMO_DAY]
    archive = tmp_path / "archive"
    wanted: tuple[Merging, Merging, dict[str, bytes]] = outcome(archive, sticks)
    assert (wanted[0].report.added, wanted[1].report.unchanged) == (MADE + 16, MADE + 16)
    for partitions in PARTITIONS:
        shutil.rmtree(archive)
        shutil.rmtree(tmp_path / "cache")
        assert outcome(archive, sticks, DaskEngine(client, partitions)) == wanted


@given(histories(most=14), st.sampled_from(PARTITIONS))
@settings(max_examples=5)
def test_random_histories_on_the_cluster(
    tmp_path_factory: pytest.TempPathFactory, client: Any, history: History, partitions: int
) -> None:
    folder = tmp_path_factory.mktemp("history")
    agrees(history, folder, DaskEngine(client, partitions))
    shutil.rmtree(folder)


@pytest.mark.skipif(os.name == "nt", reason="there is no such signal")
def test_a_worker_killed_in_the_middle_changes_nothing(
    tmp_path: Path, client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its batch is run again by another process, and no other batch is lost."""
    import engine_faults

    sticks, archive, tried = make_sticks(tmp_path), tmp_path / "archive", tmp_path / "tried"
    wanted = merge_folders(archive, sticks, world(tmp_path)), bytes_of(archive)
    shutil.rmtree(archive)
    engine = DaskEngine(client, 7)
    made = (Copies(made_session(number), (), (), ()) for number in range(1, MADE + 1))
    keys = [copies.key for part in engine.split(made) for copies in part]
    middle = keys[len(keys) // 2].name
    faulty = partial(engine_faults.dies_once, on=middle, told=tried)
    monkeypatch.setattr(engine_dask, "merge_seen", faulty)
    done: list[int] = []

    def progress(count: int, _total: int) -> None:
        done.append(count)

    merging = merge_folders(archive, sticks, world(tmp_path), progress=progress, engine=engine)
    assert (merging, bytes_of(archive)) == wanted
    assert len(done) == 7
    killed, again = tried.read_text(encoding="utf-8").splitlines()
    assert killed != again


@pytest.mark.skipif(os.name == "nt", reason="there is no such signal")
def test_workers_that_all_die_end_the_merge_and_the_next_finishes_it(
    tmp_path: Path, cluster: Any, client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    import engine_faults

    archive, place = tmp_path / "archive", world(tmp_path)
    monkeypatch.setattr(cluster.scheduler, "allowed_failures", 0)
    monkeypatch.setattr(engine_dask, "merge_seen", engine_faults.dies)
    with pytest.raises(FitError) as raised:
        merge_folders(archive, DEMO_DAY, place, engine=DaskEngine(client, 7))
    assert raised.value.problem.code == "cluster_gone"
    monkeypatch.undo()
    assert merge_folders(archive, DEMO_DAY, place).report.added == 16
    merge_folders(tmp_path / "smooth", DEMO_DAY, place)
    assert bytes_of(archive) == bytes_of(tmp_path / "smooth")


def seen_copies(sticks: Sequence[Path]) -> list[Copies]:
    seen = Seen(sticks[0] / "none")
    for stick in sticks:
        assert seen.look_at_stick(stick)
    return list(seen.sessions())


def test_only_a_few_batches_are_under_way(client: Any) -> None:
    """So memory does not grow with the archive: batches are made as results are taken, in order."""
    copies = seen_copies(DEMO_DAY)
    client.wait_for_workers(2)
    made = 0

    def batches() -> Iterator[tuple[Copies, ...]]:
        nonlocal made
        for each in copies:
            made += 1
            yield (each,)

    ahead, order = [], []
    for done, plan in enumerate(DaskEngine(client).run(batches(), LedgerLines())):
        ahead.append(made - done)
        order += list(plan.facts)
    assert (len(ahead), max(ahead)) == (16, 4)
    assert order == [each.key for each in copies]


def test_what_a_worker_does_not_see_is_refused_and_never_taken_for_empty(tmp_path: Path) -> None:
    """What the coordinator saw when the batch was made is asked of whoever merges it."""
    stick = shutil.copytree(SAMPLES / "tern", tmp_path / "tern")
    copies = seen_copies([stick])
    path = copies[-1].brought[0].path
    whole = path.read_bytes()
    batch, shared = Batch.of(copies), Shared(LedgerLines(), BUILT_ON)
    path.write_bytes(whole[:-1])
    for _ in ("shorter", "gone"):
        problem = merge_seen(batch, shared)
        assert isinstance(problem, Problem)
        assert (problem.code, problem.path) == ("not_seen", str(path))
        path.unlink(missing_ok=True)
    path.write_bytes(whole + b"\n")
    plan = merge_seen(batch, shared)
    assert not isinstance(plan, Problem)
    assert plan.size == 6


def test_workers_find_folders_named_from_where_the_coordinator_stands(
    tmp_path: Path, client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Workers stand elsewhere; the report tells paths as they were named."""
    stick = shutil.copytree(SAMPLES / "tern", tmp_path / "tern")
    put(stick, made_session(1), b"rubbish")
    monkeypatch.chdir(tmp_path)
    named, archive = [Path("tern")], Path("archive")
    plain = merge_folders(archive, named, world(tmp_path)), bytes_of(archive)
    assert plain[0].report.set_aside[0].path.startswith("tern/sessions/")
    shutil.rmtree(archive)
    dask = merge_folders(archive, named, world(tmp_path), engine=DaskEngine(client, 7))
    assert (dask, bytes_of(archive)) == plain


def test_workers_of_another_version_are_refused(
    client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine_dask, "BUILT_ON", date(2001, 1, 1))
    with pytest.raises(FitError) as raised:
        list(DaskEngine(client).run([seen_copies(DEMO_DAY)], LedgerLines()))
    assert raised.value.problem.code == "other_version"


# --- the verb ----------------------------------------------------------------------------------


def verb(capsys: pytest.CaptureFixture[str], tmp_path: Path, *words: object) -> tuple[int, str]:
    code = run([*map(str, words), "--json"], world(tmp_path))
    return code, capsys.readouterr().out


def test_the_verb_prints_the_same_with_either_engine(
    tmp_path: Path, cluster: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    plain, dask = tmp_path / "plain", tmp_path / "dask"
    wanted = verb(capsys, tmp_path, "merge", plain, *DEMO_DAY)
    words = ("--engine", "dask", "--scheduler", cluster.scheduler_address, "--partitions", 7)
    assert verb(capsys, tmp_path, "merge", dask, *DEMO_DAY, *words, "--dry-run") == wanted
    assert not dask.exists()
    assert verb(capsys, tmp_path, "merge", dask, *DEMO_DAY, *words) == wanted
    assert bytes_of(dask) == bytes_of(plain)


def test_without_an_address_workers_are_started_and_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    with dask_engine(None, 7) as engine:
        alive = engine.client.run(os.getpid)
        assert len(alive) == 1
        address = engine.client.scheduler.address
        assert address.startswith("tls://127.0.0.1:")
        # Whoever has not this run's keys is not let in.
        monkeypatch.setattr(engine_dask, "_PATIENCE_SECONDS", 1)
        for tried, code in ((address, "no_keys"), (f"tcp{address[3:]}", "no_cluster")):
            with pytest.raises(FitError) as raised, dask_engine(tried, None):
                pytest.fail("let in")
            assert raised.value.problem.code == code
        merge_folders(tmp_path / "dask", DEMO_DAY, world(tmp_path), engine=engine)
    merge_folders(tmp_path / "plain", DEMO_DAY, world(tmp_path))
    assert bytes_of(tmp_path / "dask") == bytes_of(tmp_path / "plain")
    for process in alive.values():
        with pytest.raises(ProcessLookupError):
            os.kill(process, 0)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--engine", "dask", "--scheduler", "somewhere"), "no_address"),
        (("--engine", "dask", "--scheduler", "foo://bar:1"), "no_address"),
        (("--engine", "dask", "--partitions", "0"), "wrong_use"),
        (("--engine", "spark"), "wrong_use"),
        (("--partitions", "7"), "wrong_use"),
        (("--scheduler", "tcp://localhost:8786"), "wrong_use"),
    ],
)
def test_wrong_words_merge_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], code: str
) -> None:
    ended, out = verb(capsys, tmp_path, "merge", tmp_path / "archive", *DEMO_DAY, *words)
    assert (ended, f'"code": "{code}"' in out) == (2, True)
    assert not (tmp_path / "archive").exists()


def test_a_scheduler_that_does_not_answer_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(engine_dask, "_PATIENCE_SECONDS", 0.2)
    words = ("--engine", "dask", "--scheduler", "tcp://127.0.0.1:1")
    ended, out = verb(capsys, tmp_path, "merge", tmp_path / "archive", *DEMO_DAY, *words)
    assert (ended, '"code": "no_cluster"' in out, "127.0.0.1:1" in out) == (2, True, True)
    assert not (tmp_path / "archive").exists()


def test_without_the_extra_the_mend_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    words = ("--engine", "dask")
    ended, out = verb(capsys, tmp_path, "merge", tmp_path / "archive", *DEMO_DAY, *words)
    assert (ended, '"code": "no_dask"' in out) == (2, True)
    assert 'pip install \\"anklefirst[cluster]\\"' in out
    assert not (tmp_path / "archive").exists()
