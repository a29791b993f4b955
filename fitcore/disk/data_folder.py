"""A laptop's data folder: its name and numbers, its sessions, its ledger. One writer at a time.

Numbers are reserved durably before an entry uses them, so a number is never used twice; one that a
crash left without an entry is voided in the ledger at the next start, so a gap always means loss.
"""

from __future__ import annotations

import os
from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.disk.atomic import make_folder, read_bytes, write_durably
from fitcore.disk.lock import FolderLock
from fitcore.disk.marker import Marker, marker_path, read_marker, write_marker
from fitcore.disk.session_files import find_session_files, read_session_file, session_path
from fitcore.identity import EntryId, draw_copy_id, draw_laptop_id, make_uuid7
from fitcore.instants import write_instant
from fitcore.problems import FileFault, FitError, Problem
from fitcore.record.codec import write_session
from fitcore.record.entries import Draft, Entry
from fitcore.record.ledger import (
    MANY_SESSIONS,
    Laptop,
    Ledger,
    read_laptop,
    read_ledger,
    write_laptop,
    write_ledger,
)
from fitcore.record.session import Seal, Session
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings

LAPTOP_FILE = "laptop.toml"


def is_named(folder: Path) -> bool:
    """Whether a laptop has been named in this folder."""
    return (folder / LAPTOP_FILE).exists()


class DataFolder:
    """An open data folder; holds its lock until closed."""

    def __init__(
        self, path: Path, surroundings: Surroundings, *, label: str = "laptop", measurer: str = ""
    ) -> None:
        """Open a folder for writing, naming the laptop where it has no name yet.

        Args:
            path: the folder; created where missing.
            surroundings: clock, chance and folders.
            label: what the team calls the laptop; used only where it has no name yet.
            measurer: staff code of whoever holds the tape; used only then, too.

        Raises:
            FolderInUse: another program has it open.
            FileFault: it cannot be written, or `laptop.toml` cannot be used.
            ReadingError: the label cannot be used.
        """
        self.path = path
        self.notes: list[str] = []
        """What opening noticed and a person should read."""
        self._surroundings = surroundings
        self._on_disk: dict[str, bytes | None] = {}
        self._burnt: list[int] = []
        self._unconfirmed: dict[str, tuple[bytes, frozenset[Entry]]] = {}
        """Session to what a failed save left in its file, and its entries nobody was shown."""
        make_folder(path)
        since = write_instant(surroundings.now())
        self._lock = FolderLock(
            path,
            say("anklefirst, process {number}, since {since}", number=os.getpid(), since=since),
        )
        try:
            self.laptop = self._open_laptop(label, measurer)
            self._settle_numbers()
        except FitError:
            self._lock.release()
            raise

    def close(self) -> None:
        """Let the folder go; everything is on disk already."""
        self._lock.release()

    def __enter__(self) -> DataFolder:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def new_session(self) -> Session:
        """Return an empty session with a fresh id; nothing is written until it has an entry."""
        now = self._surroundings.now()
        # A flat battery can set a clock to before 1970 in local time; a UUID has no such instant.
        milliseconds = max(0, int(now.timestamp() * 1000))
        session_id = make_uuid7(milliseconds, self._surroundings.random_bytes(10))
        return Session(session_id, frozenset())

    def read(self, session_id: str) -> Session | None:
        """Read one of the folder's sessions; None where it is not there or must be set aside."""
        file = read_session_file(session_path(self.path, session_id))
        if file.session is not None:
            self._on_disk[session_id] = file.raw
        return file.session

    def append(self, session: Session, drafts: Sequence[Draft]) -> Session:
        """Add entries to a session, durably: when this returns they are on disk.

        Raises:
            FileFault: nothing was stored; the session on disk is as it was.
        """
        if not drafts:
            return session
        if session.seal is not Seal.WHOLE:
            raise FileFault(
                Problem(
                    code="seal_not_whole",
                    text=say("This session was changed outside the program; nothing is added."),
                    mend=say("Start a new session; compare this one with the laptop it came from."),
                    path=str(session_path(self.path, session.id)),
                )
            )
        own = [e.by.number for e in session.entries if e.by.laptop == self.laptop.id]
        self.meet_frontier(max(own, default=0))
        path = session_path(self.path, session.id)
        if session.id not in self._on_disk:
            self._on_disk[session.id] = read_bytes(path)
        base, drafts = self._with_unconfirmed(session, drafts, path)
        first = self._reserve(len(drafts), session.id)
        grown = base.with_entries(*_number(drafts, self.laptop.id, first))
        content = write_session(grown).encode()
        try:
            make_folder(path.parent)
            write_durably(path, content, expected=self._on_disk[session.id])
        except FileFault:
            self._burnt += range(first, self.laptop.next)
            if _holds(path, content):
                self._unconfirmed[session.id] = (content, grown.entries - session.entries)
            raise
        self._on_disk[session.id] = content
        self._unconfirmed.pop(session.id, None)
        return grown

    def _with_unconfirmed(
        self, session: Session, drafts: Sequence[Draft], path: Path
    ) -> tuple[Session, Sequence[Draft]]:
        """Keep, struck out, what a failed save left in the file after all.

        A save can fail after the rename, when the folder's own flush fails. The nurse was told
        that nothing was saved and will press Enter again: the same reading must not count twice.
        """
        content, entries = self._unconfirmed.get(session.id, (b"", frozenset()))
        if not entries or not _holds(path, content):
            return session, drafts
        self._on_disk[session.id] = content
        names = sorted(str(entry.by) for entry in entries if entry.array != "withdrawn")
        why = say("saving it was not confirmed; it was entered again")
        taken_back = Draft("withdrawn", drafts[0].at, {"takes_back": names, "why": why})
        return session.with_entries(*entries), [taken_back, *drafts]

    def append_to_ledger(self, drafts: Sequence[Draft]) -> None:
        """Add entries to this laptop's ledger, durably.

        Raises:
            FileFault: nothing was stored.
        """
        first = self._reserve(len(drafts), "")
        try:
            self._write_ledger(self.laptop.id, _number(drafts, self.laptop.id, first))
        except FileFault:
            self._burnt += range(first, self.laptop.next)
            raise

    def set_measurer(self, measurer: str) -> None:
        """Remember who holds the tape from now on."""
        self._write_laptop(replace(self.laptop, measurer=measurer))

    def meet_frontier(self, highest_own: int) -> bool:
        """Compare our numbers with those already seen in files under our own name.

        Where files hold higher numbers than we have reserved, this folder was restored from an
        older copy, and going on would use numbers twice: the laptop takes a new name.

        Returns:
            Whether it took a new name.
        """
        if highest_own < self.laptop.next:
            return False
        self._begin_anew(self.laptop)
        return True

    # --- numbers -----------------------------------------------------------------------------

    def _reserve(self, count: int, session_id: str) -> int:
        first = self.laptop.next
        oldest = min([*self._burnt, first])
        held_for = session_id if oldest == first else MANY_SESSIONS
        self._write_laptop(
            replace(
                self.laptop,
                next=first + count,
                reserved_from=oldest,
                reserved_for=held_for,
            )
        )
        return first

    def _settle_numbers(self) -> None:
        """Void numbers the last run reserved and never used."""
        laptop = self.laptop
        reserved = range(laptop.reserved_from, laptop.next)
        if not reserved:
            return
        try:
            used = {entry.by.number for entry in self._read_ledger(laptop.id).entries}
        except FileFault as fault:
            # Measuring must go on; the numbers stay reserved until the ledger has been seen to.
            self.notes.append(f"! {fault.problem}")
            self._burnt = list(reserved)
            return
        if laptop.reserved_for == MANY_SESSIONS:
            paths = list(find_session_files(self.path))
        elif laptop.reserved_for:
            paths = [session_path(self.path, laptop.reserved_for)]
        else:
            paths = []
        for path in paths:
            if not path.exists():
                continue
            session = read_session_file(path).session
            if session is None:
                self._burnt = list(reserved)  # a damaged file may hold them: asked again next time
                return
            used |= {e.by.number for e in session.entries if e.by.laptop == laptop.id}
        unused = [number for number in reserved if number not in used]
        if unused:
            at = self._surroundings.now()
            self._burnt = unused
            self.append_to_ledger([Draft("voided", at, {"number": n}) for n in unused])
            self._burnt = []
        self._write_laptop(replace(self.laptop, reserved_from=self.laptop.next, reserved_for=""))

    # --- the laptop's own files --------------------------------------------------------------

    def _open_laptop(self, label: str, measurer: str) -> Laptop:
        raw = read_bytes(self.path / LAPTOP_FILE)
        if raw is None:
            drawn = draw_laptop_id(label, self._surroundings.random_bytes(4))
            laptop = Laptop(drawn, zone=self._surroundings.zone, measurer=measurer)
            self._remember(laptop)  # before the name: a name without its memory would be a copy
            self._write_laptop(laptop)
            return laptop
        laptop = read_laptop(raw)
        return self._begin_anew(laptop) if self._is_copy(laptop) else laptop

    def _is_copy(self, laptop: Laptop) -> bool:
        """Whether this folder is a restored or copied one that must not go on under its name."""
        marker = read_marker(self._marker_path(laptop))
        if marker is None or laptop.next < marker.next:
            return True
        if marker.folder in (None, self.path.resolve()):
            return False
        other = read_bytes(marker.folder / LAPTOP_FILE)
        return other is not None and read_laptop(other).id == laptop.id

    def _begin_anew(self, old: Laptop) -> Laptop:
        """Take a new name; the ledger says first whose numbers the older entries are."""
        drawn = draw_copy_id(old.label, self._surroundings.random_bytes(6))
        laptop = Laptop(drawn, next=2, zone=old.zone, measurer=old.measurer, reserved_from=2)
        told = Draft("notes", self._surroundings.now(), {"what": "copied_from", "is": old.id})
        self._write_ledger(laptop.id, [told.entry(EntryId(laptop.id, 1))])
        self._remember(laptop)
        self._write_laptop(laptop)
        self.notes.append(
            say(
                "This folder is a copy of {old}: the laptop now writes as {new}. Nothing is lost.",
                old=old.id,
                new=laptop.id,
            )
        )
        return laptop

    def _write_laptop(self, laptop: Laptop) -> None:
        write_durably(self.path / LAPTOP_FILE, write_laptop(laptop).encode())
        self.laptop = laptop
        self._remember(laptop)

    def _remember(self, laptop: Laptop) -> None:
        write_marker(self._marker_path(laptop), Marker(laptop.next, self.path.resolve()))

    def _marker_path(self, laptop: Laptop) -> Path:
        return marker_path(self._surroundings.state_folder, laptop.id)

    def _ledger_path(self, laptop_id: str) -> Path:
        return self.path / "ledger" / f"{laptop_id}.toml"

    def _read_ledger(self, laptop_id: str) -> Ledger:
        path = self._ledger_path(laptop_id)
        raw = read_bytes(path)
        if raw is None:
            return Ledger(laptop_id)
        ledger, problems = read_ledger(raw)
        if ledger is None or ledger.seal is not Seal.WHOLE:
            raise FileFault(problems[0].at(path=str(path)))
        return ledger

    def _write_ledger(self, laptop_id: str, entries: Sequence[Entry]) -> None:
        ledger = self._read_ledger(laptop_id).with_entries(*entries)
        path = self._ledger_path(laptop_id)
        make_folder(path.parent)
        write_durably(path, write_ledger(ledger).encode())


def _holds(path: Path, content: bytes) -> bool:
    try:
        return read_bytes(path) == content
    except OSError:
        return False


def _number(drafts: Sequence[Draft], laptop: str, first: int) -> tuple[Entry, ...]:
    return tuple(
        draft.entry(EntryId(laptop, first + offset)) for offset, draft in enumerate(drafts)
    )
