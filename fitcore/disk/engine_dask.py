"""Batches of sessions merged by the workers of a Dask cluster; the only module that knows Dask.

Workers read, join and judge; they write nothing. So a batch whose worker died is simply run again
elsewhere. Every worker must see the archive and the sticks under the same path: what it does not
see, or sees shorter than the coordinator did, is refused, never taken for empty.
"""

from __future__ import annotations

import os
import re
from collections import defaultdict, deque
from concurrent.futures import CancelledError
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from fitcore import BUILT_ON
from fitcore.disk.archive_batch import merge_batch
from fitcore.disk.archive_engine import BATCH
from fitcore.problems import FitError, Problem
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from datetime import date

    from distributed import Client, Future

    from fitcore.disk.archive_batch import BatchPlan
    from fitcore.disk.archive_seen import Copies
    from fitcore.disk.spotted import Spotted
    from fitcore.merge.ledger_lines import LedgerLines

_T = TypeVar("_T")

_ADDRESS = re.compile(r"((tcp|tls)://)?(\[[0-9a-fA-F:]+\]|[^\s/:]+):\d{1,5}")

_ANY_PORT = "127.0.0.1:0"
"""Of this machine alone; a scheduler listens for questions about itself in any case."""
_PATIENCE_SECONDS = 15
"""How long a scheduler and its first worker are waited for; ours."""
_PER_THREAD = 2
"""Batches under way for each thread of the cluster: one at work, one at hand; ours."""


@contextmanager
def dask_engine(scheduler: str | None, partitions: int | None) -> Iterator[DaskEngine]:
    """Hold a connection to a cluster.

    Args:
        scheduler: its address, such as `tcp://host:8786`; None starts one worker process for each
            processor of this machine, and ends them afterwards.
        partitions: batches to make; None makes them as large as the plain loop's.

    Raises:
        FitError: Dask is not installed, or no scheduler with a worker answers.
    """
    if scheduler is not None and not _ADDRESS.fullmatch(scheduler):
        raise FitError(_no_address())
    try:
        from distributed import Client, LocalCluster, Security
    except ImportError as error:
        raise FitError(_not_installed()) from error
    keys = Security().get_connection_args("client").get("ssl_context")
    if scheduler is not None and scheduler.startswith("tls://") and keys is None:
        raise FitError(_no_keys())
    with ExitStack() as held:
        try:
            # Keys drawn for this run keep the machine's other users out. Without a limit of memory
            # workers spill nothing: no reading lands in a scratch folder.
            cluster = scheduler or held.enter_context(
                LocalCluster(
                    n_workers=os.cpu_count(),
                    threads_per_worker=1,
                    memory_limit=0,
                    dashboard_address=_ANY_PORT,
                    security=True,
                )
            )
            client = held.enter_context(
                Client(cluster, timeout=_PATIENCE_SECONDS, set_as_default=False)
            )
            client.wait_for_workers(1, timeout=_PATIENCE_SECONDS)
        except ImportError as error:  # what draws the keys is missing
            raise FitError(_not_installed()) from error
        except (OSError, RuntimeError) as error:
            raise FitError(_no_cluster(scheduler)) from error
        yield DaskEngine(client, partitions)


@dataclass(frozen=True, slots=True)
class DaskEngine:
    """Merges batches on a cluster."""

    client: Client
    partitions: int | None = None
    """Batches to make; None makes them as large as the plain loop's."""

    def split(self, sessions: Iterable[Copies]) -> Iterable[Sequence[Copies]]:
        """Part sessions by the random end of their ids: a day's sessions go to all workers."""
        waiting = list(sessions)
        count = self.partitions or -(-len(waiting) // BATCH) or 1
        parts: defaultdict[int, list[Copies]] = defaultdict(list)
        for copies in waiting:
            parts[int(copies.key.name[-8:], 16) % count].append(copies)
        return [parts[number] for number in sorted(parts)]

    def run(self, batches: Iterable[Sequence[Copies]], ledgers: LedgerLines) -> Iterator[BatchPlan]:
        """Yield what each batch comes to, in their order.

        Raises:
            FitError: a worker sees other files or is of another version, or the cluster is gone.
                What was written until then holds; merge again.
        """
        # A task and no scattered data: it can be made again should every worker that holds it die.
        shared = self._submit(Shared, ledgers, BUILT_ON)
        under_way: deque[Future[BatchPlan | Problem]] = deque()
        for batch in batches:
            under_way.append(self._submit(merge_seen, Batch.of(batch), shared))
            while len(under_way) >= _PER_THREAD * self._threads():
                yield _result(under_way.popleft())
        while under_way:
            yield _result(under_way.popleft())

    def _submit(self, function: Callable[..., _T], *arguments: object) -> Future[_T]:
        with _connected():
            return self.client.submit(function, *arguments, pure=False)

    def _threads(self) -> int:
        """Return how many threads the cluster has now: workers come and go."""
        with _connected():
            by_worker: dict[str, int] = self.client.nthreads()
        return max(1, sum(by_worker.values()))


# Neither class shows what it holds: a worker's log prints the arguments of a call that failed.


@dataclass(frozen=True, slots=True)
class Batch:
    """The sessions of one task."""

    sessions: Sequence[Copies] = field(repr=False)

    @classmethod
    def of(cls, sessions: Sequence[Copies]) -> Batch:
        """Make a batch whose files are found from any working folder; told as before."""
        return cls(
            tuple(
                replace(copies, own=_absolute(copies.own), brought=_absolute(copies.brought))
                for copies in sessions
            )
        )


@dataclass(frozen=True, slots=True)
class Shared:
    """What all tasks of a merge need."""

    ledgers: LedgerLines = field(repr=False)
    built_on: date
    """The coordinator's version of this program."""


def merge_seen(batch: Batch, shared: Shared) -> BatchPlan | Problem:
    """Merge a batch on a worker, or say why it must not be merged there."""
    if shared.built_on != BUILT_ON:
        return _other_version()
    for copies in batch.sessions:
        for file in (*copies.own, *copies.brought):
            if not _is_seen(file.path, file.size):
                return _not_seen(file.path)
    return merge_batch(batch.sessions, shared.ledgers)


def _absolute(files: Iterable[Spotted]) -> tuple[Spotted, ...]:
    return tuple(
        file._replace(folder=f"{Path(file.folder).absolute()}{os.sep}", size=_size(file))
        for file in files
    )


def _size(file: Spotted) -> int:
    """Return how many bytes a file has here, which a worker must see too."""
    try:
        return file.path.lstat().st_size
    except OSError:
        return file.size


def _is_seen(path: Path, size: int) -> bool:
    """Whether a file is there whole: one somebody measures in may grow meanwhile, never shrink."""
    try:
        return path.lstat().st_size >= size
    except OSError:
        return False


def _result(future: Future[BatchPlan | Problem]) -> BatchPlan:
    with _connected():
        result = future.result()
    if isinstance(result, Problem):
        raise FitError(result)
    return result


@contextmanager
def _connected() -> Iterator[None]:
    """Tell in our words that a cluster is gone."""
    from distributed import KilledWorker
    from distributed.comm.core import CommClosedError

    try:
        yield
    except (KilledWorker, CancelledError, CommClosedError, TimeoutError) as error:
        raise FitError(_cluster_gone()) from error


def _not_installed() -> Problem:
    return Problem(
        code="no_dask",
        text=say("The engine 'dask' is not installed."),
        mend=say('Install it with: pip install "anklefirst[cluster]", or leave out --engine.'),
        key="--engine",
    )


def _no_address() -> Problem:
    return Problem(
        code="no_address",
        text=say("This is not the address of a scheduler."),
        mend=say("Write it as the scheduler shows it: tcp://HOST:PORT or tls://HOST:PORT."),
        key="--scheduler",
    )


def _no_keys() -> Problem:
    return Problem(
        code="no_keys",
        text=say("Dask's own settings name no keys for tls://."),
        mend=say("Name them under distributed.comm.tls there, or take a scheduler at tcp://."),
        key="--scheduler",
    )


def _no_cluster(scheduler: str | None) -> Problem:
    return Problem(
        code="no_cluster",
        text=say("No scheduler with a worker answers at {address}.", address=scheduler)
        if scheduler
        else say("No workers could be started on this machine."),
        mend=say(
            "Look at its address and its workers, or leave out --engine. Nothing was written."
        ),
        key="--scheduler" if scheduler else "--engine",
    )


def _cluster_gone() -> Problem:
    return Problem(
        code="cluster_gone",
        text=say("The workers, or their scheduler, ended while they merged."),
        mend=say("Merge again, without --engine if need be; what was written holds."),
        key="--engine",
    )


def _other_version() -> Problem:
    return Problem(
        code="other_version",
        text=say("A worker runs another version of this program."),
        mend=say("Install the same version for all workers, then merge again."),
        key="--scheduler",
    )


def _not_seen(path: Path) -> Problem:
    return Problem(
        code="not_seen",
        text=say("A worker does not see this file as it is here."),
        mend=say(
            "Archive and sticks must be shared folders, under the same path on every worker. "
            "If the file was changed just now, merge again."
        ),
        path=str(path),
    )
