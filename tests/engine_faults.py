"""Batches on which a worker process dies, for the tests of the engines. Workers import this."""

from __future__ import annotations

import os
import signal
from typing import TYPE_CHECKING

from fitcore.disk.engine_dask import merge_seen

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.disk.archive_batch import BatchPlan
    from fitcore.disk.engine_dask import Batch, Shared
    from fitcore.problems import Problem


def dies_once(batch: Batch, shared: Shared, *, on: str, told: Path) -> BatchPlan | Problem:
    """Merge a batch; on the one that holds a session the process is killed the first time.

    Args:
        batch: the batch.
        shared: what all batches need.
        on: the session.
        told: gets a line with the process's number at each try.
    """
    plan = merge_seen(batch, shared)
    if any(copies.key.name == on for copies in batch.sessions):
        with told.open("a", encoding="utf-8") as lines:
            lines.write(f"{os.getpid()}\n")
        if len(told.read_text(encoding="utf-8").splitlines()) == 1:
            os.kill(os.getpid(), signal.SIGKILL)
    return plan


def dies(_batch: Batch, _shared: Shared) -> BatchPlan | Problem:
    """Kill the process whatever the batch is."""
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError
