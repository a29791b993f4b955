"""Whatever the order of saves, failures, deaths and starts: every number is explained."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from disk.places import START, Place, begin, laptop_file, numbers, reading, unexplained
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from fitcore.disk import data_folder
from fitcore.disk.atomic import write_durably
from fitcore.disk.session_files import find_session_files, read_session_file
from fitcore.problems import FileFault
from fitcore.record.entries import Draft

if TYPE_CHECKING:
    from types import EllipsisType

    from fitcore.disk.data_folder import DataFolder

NOTE = Draft("notes", START, {"what": "cleaned", "is": "the keys"})


class Died(BaseException):
    """Stands for a process that ends without a word."""


class Numbers(RuleBasedStateMachine):
    """One laptop's folder over many days."""

    def __init__(self) -> None:
        super().__init__()
        self.root = Path(tempfile.mkdtemp(prefix="anklefirst-test-"))
        self.place = Place(self.root)
        self.patch = pytest.MonkeyPatch()
        self.patch.setattr(os, "fsync", lambda _descriptor: None)
        self.patch.setattr(data_folder, "write_durably", self._write)
        self.at = ""
        """Which file's write goes wrong: part of its path, empty for none."""
        self.error: BaseException = Died()
        self.after = False
        """Whether it goes wrong once the file is written."""
        self.promised: dict[str, set[str]] = {}
        """Session id to lines of which a save returned: on disk for good."""
        self.folder: DataFolder

    @initialize()
    def start(self) -> None:
        self.folder = self.place.open()

    def _write(
        self, path: Path, content: bytes, *, expected: bytes | EllipsisType | None = ...
    ) -> None:
        wrong = bool(self.at) and self.at in path.as_posix()
        if wrong and not self.after:
            raise self.error
        write_durably(path, content, expected=expected)
        if wrong:
            raise self.error

    def _save(self, index: int, count: int) -> None:
        paths = list(find_session_files(self.place.data))
        if not paths or index == 0:
            session = begin(self.folder)
        else:
            found = self.folder.read(paths[index % len(paths)].stem)
            assert found is not None
            session = self.folder.append(found, [reading() for _ in range(count)])
        self.promised[session.id] = {entry.line for entry in session.entries}

    @rule(index=st.integers(0, 5), count=st.integers(1, 3))
    def save(self, index: int, count: int) -> None:
        self._save(index, count)

    @rule()
    def note(self) -> None:
        self.folder.append_to_ledger([NOTE])

    @rule(index=st.integers(0, 5), count=st.integers(1, 3), file=st.sampled_from(["sessions/"]))
    def save_in_vain(self, index: int, count: int, file: str) -> None:
        self.at, self.after = file, False
        self.error = _fault()
        try:
            self._save(index, count)
        except FileFault:
            pass
        finally:
            self.at = ""

    @rule(
        index=st.integers(0, 5),
        count=st.integers(1, 3),
        file=st.sampled_from(["sessions/", "laptop.toml"]),
        after=st.booleans(),
    )
    def die_saving(self, index: int, count: int, file: str, *, after: bool) -> None:
        self.at, self.after, self.error = file, after, Died()
        try:
            self._save(index, count)
        except Died:
            pass
        finally:
            self.at = ""
        self.folder.close()
        self.folder = self.place.open()

    @rule(
        index=st.integers(0, 5),
        file=st.sampled_from(["ledger/", "laptop.toml"]),
        after=st.booleans(),
    )
    def die_voiding(self, index: int, file: str, *, after: bool) -> None:
        """Dies saving, and dies again at the next start while it tidies up."""
        self.at, self.after, self.error = "sessions/", False, Died()
        with suppress(Died):
            self._save(index, 1)
        self.folder.close()
        self.at, self.after = file, after
        try:
            self.folder = self.place.open()
        except Died:
            (self.place.data / "in-use.txt").unlink()  # its lock went with the process
            self.at = ""
            self.folder = self.place.open()
        finally:
            self.at = ""

    @rule()
    def start_again(self) -> None:
        self.folder.close()
        self.folder = self.place.open()

    def teardown(self) -> None:
        try:
            if hasattr(self, "folder"):
                self.at = ""
                self.folder.close()
                self.place.open().close()
                self._check()
        finally:
            self.patch.undo()
            shutil.rmtree(self.root)

    def _check(self) -> None:
        assert unexplained(self.place.data) == {}
        for path in find_session_files(self.place.data):
            file = read_session_file(path)
            assert file.session is not None
            assert file.problems == ()
            lines = {entry.line for entry in file.session.entries}
            assert lines >= self.promised.get(file.session.id, set())
        laptop = laptop_file(self.place.data)["id"]
        assert sum(numbers(self.place.data, laptop).values()) >= sum(
            len(lines) for lines in self.promised.values()
        )


def _fault() -> FileFault:
    from fitcore.problems import Problem

    return FileFault(Problem(code="not_saved", text=os.strerror(errno.ENOSPC), mend="room"))


TestNumbers = Numbers.TestCase
TestNumbers.settings = settings(stateful_step_count=12)
