"""Disks, sticks and damage for the merge's state machine: what each must hold, by plain sets.

Beside every disk's bytes, which only the program writes and reads, stands the model: which entries
must be there, which damaged copies, whose content is erased by law. The model joins by set union.
"""

from __future__ import annotations

import tomllib
from collections import defaultdict
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from histories import Machine, file_bytes
from merge_plans import numbered, text_of

from fitcore.merge.found import FileKind, Found, Key, Where, read_found
from fitcore.merge.ledger_lines import TAKEN

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping

    from fitcore.merge.merge import MergePlan
    from fitcore.record.entries import Draft, Entry

HOLD = "screen.emergency"
"""The question whose *yes* and *not known* hold a client until somebody has assessed her."""


class CannotWriteError(Exception):
    """Stands for the program's refusal to add to a file that was changed outside it."""


@dataclass
class Model:
    """What a disk or stick must hold."""

    files: dict[Key, set[Entry]] = field(default_factory=lambda: defaultdict(set))
    """Entries of whole files, with their first content."""
    erased: dict[Key, set[str]] = field(default_factory=lambda: defaultdict(set))
    """Names whose content is gone there."""
    odd: set[tuple[Key, bytes]] = field(default_factory=set)
    """Damaged and edited copies, byte for byte."""

    def copy(self) -> Model:
        """Return the same, to be changed apart."""
        return Model(_copied(self.files), _copied(self.erased), set(self.odd))

    def take_in(self, *others: Model) -> None:
        """Unite with what others hold, then let the ledgers' word take effect."""
        for other in others:
            for key, entries in other.files.items():
                self.files[key] |= entries
            for key, names in other.erased.items():
                self.erased[key] |= names
            self.odd |= other.odd

    def settle(self, lines: Mapping[str, tuple[Key, Entry]]) -> None:
        """Let what the ledgers say take effect: lines taken over, content erased.

        Args:
            lines: which line each proposal is about, by its id.
        """
        while taken := set(self._taken(lines)):
            for key, entry in taken:
                self.files[key].add(entry)
        for entry in self.ledger_lines():
            if entry.array == "erasures":
                key = Key(FileKind.SESSION, entry.text("session"))
                self.erased[key].update(entry.names("erases"))

    def _taken(self, lines: Mapping[str, tuple[Key, Entry]]) -> Iterator[tuple[Key, Entry]]:
        for ruling in self.ledger_lines():
            if ruling.array == "outside" and ruling.text("is") == TAKEN:
                key, entry = lines[ruling.text("proposal")]
                shown = any(k == key and entry.line in lines_of(raw) for k, raw in self.odd)
                if shown and entry not in self.files[key]:
                    yield key, entry

    def ledger_lines(self) -> set[Entry]:
        """Return the lines of all ledgers together."""
        ledgers = (entries for key, entries in self.files.items() if key.kind is FileKind.LEDGER)
        return {entry for entries in ledgers for entry in entries}

    def waiting(self) -> set[tuple[str, int]]:
        """Return laptop and number of entries that stand in damaged copies: not lost."""
        lines = {line for _, raw in self.odd for line in lines_of(raw)}
        names = (tomllib.loads(f"v = {line}")["v"]["by"].split(":") for line in lines)
        return {(laptop, int(number)) for laptop, number in names}

    def holds(self) -> set[tuple[Key, Entry]]:
        """Return what must be read from it: every entry, without content where it is erased."""
        return {
            (key, entry.erase() if str(entry.by) in self.erased[key] else entry)
            for key, entries in [*self.files.items()]
            for entry in entries
        }


@dataclass
class Stick:
    """A copy of a folder, and what of it is whole."""

    files: dict[Key, bytes]
    kept: frozenset[tuple[Key, bytes]]
    model: Model

    def found(self) -> list[Found]:
        """Return its files as a merge reads them."""
        return [*read_all(self.files, Where.STICK), *_read_kept(self.kept)]

    def spoil(self, key: Key, raw: bytes | None) -> None:
        """Let a file be missing or other bytes; bytes that say the same are whole."""
        before = self.files.pop(key)
        self.model.odd.discard((key, before))
        same = raw is not None and raw.rstrip(b"\n") == before.rstrip(b"\n")
        whole = same and bool(self.model.files.get(key))
        if not whole:
            self.model.files.pop(key, None)
            self.model.erased.pop(key, None)
        if raw is not None:
            self.files[key] = raw
            if not whole:
                self.model.odd.add((key, raw))


@dataclass
class Disk(Machine):
    """One laptop's disk, or a coordinator's."""

    held: dict[Key, bytes] = field(default_factory=dict)
    """Its files, as the program wrote them."""
    kept: frozenset[tuple[Key, bytes]] = frozenset()
    """Copies it set aside."""
    fresh: list[tuple[Key, Entry]] = field(default_factory=list)
    """Entries written since its files were last looked at."""
    must: Model = field(default_factory=Model)

    def __post_init__(self) -> None:
        """Let the nurse see what the model holds."""
        self.files = self.must.files

    def write(self, key: Key, array: str, fields: Mapping[str, object]) -> Entry:
        """Write an entry under the next number, where the program would."""
        self.require_whole(key)
        entry = super().write(key, array, fields)
        self.fresh.append((key, entry))
        return entry

    def add(self, key: Key, draft: Draft) -> Entry:
        """Write what the program drafted, under the next number."""
        self.require_whole(key)
        entry = numbered(draft, self)
        self.files[key].add(entry)
        self.fresh.append((key, entry))
        return entry

    def require_whole(self, key: Key) -> None:
        """Refuse a file that was changed outside the program.

        Raises:
            CannotWriteError: nothing sealed is there to add to.
        """
        if key in self.held and not read_all({key: self.held[key]}, Where.ARCHIVE)[0].is_whole:
            raise CannotWriteError

    def found(self) -> list[Found]:
        """Return its files as a merge reads them."""
        self._write_fresh()
        return [*read_all(self.held, Where.ARCHIVE), *_read_kept(self.kept)]

    def carry_out(self, plan: MergePlan, raws: Mapping[str, bytes]) -> None:
        """Write what a merge came to.

        Args:
            plan: the merge.
            raws: the bytes of everything that is not whole, by digest.
        """
        self.held = {}
        for key, merged in plan.merged.items():
            text = text_of(merged)
            if merged.carried is not None:
                self.held[key] = raws[merged.carried.digest]
            elif text is not None:
                self.held[key] = text.encode()
        self.kept = frozenset((copy.key, raws[copy.digest]) for copy in plan.to_keep)

    def stick(self) -> Stick:
        """Copy the folder."""
        self._write_fresh()
        return Stick(dict(self.held), self.kept, self.must.copy())

    def twin(self) -> Disk:
        """Return a copy of the whole disk."""
        self._write_fresh()
        must = self.must.copy()
        return Disk(self.laptop, self.next, held=dict(self.held), kept=self.kept, must=must)

    def _write_fresh(self) -> None:
        added = defaultdict(set)
        for key, entry in self.fresh:
            added[key].add(entry)
        self.fresh.clear()
        for key, entries in added.items():
            if key in self.held:
                (file,) = read_all({key: self.held[key]}, Where.ARCHIVE)
                entries.update(file.entries)
            self.held[key] = file_bytes(key, entries)


def read_all(files: Mapping[Key, bytes], where: Where) -> list[Found]:
    """Read files as a merge finds them."""
    return [_read(raw, key, where) for key, raw in files.items()]


def _read_kept(kept: Collection[tuple[Key, bytes]]) -> list[Found]:
    return [_read(raw, key, Where.KEPT) for key, raw in sorted(kept)]


@lru_cache(maxsize=2_000)
def _read(raw: bytes, key: Key, where: Where) -> Found:
    # The same bytes are read over and over in one run; reading is pure, and read once it is known.
    if where is not Where.STICK:
        return replace(_read(raw, key, Where.STICK), where=where)
    return read_found(raw, path=f"{key.place}.toml", name=key.name, kind=key.kind)


@lru_cache(maxsize=2_000)
def lines_of(raw: bytes) -> frozenset[str]:
    """Return the entries' lines of a damaged file, where it is still TOML."""
    try:
        text = raw.decode()
        tomllib.loads(text)
    except ValueError:
        return frozenset()
    rows = (row.strip().removesuffix(",") for row in text.split("\n"))
    return frozenset(row for row in rows if row.startswith("{"))


def live(entries: Collection[Entry]) -> list[Entry]:
    """Return what is not taken back; lines that take each other back in a circle do not count."""
    takers = [entry for entry in entries if entry.takes_back]
    known: set[Entry] = set()
    counting: set[Entry] = set()
    while ready := [w for w in takers if w not in known and _takers_of(w, takers) <= known]:
        known.update(ready)
        counting.update(w for w in ready if not _takers_of(w, takers) & counting)
    gone = {name for entry in counting for name in entry.takes_back}
    return [entry for entry in entries if str(entry.by) not in gone]


def _takers_of(entry: Entry, takers: Iterable[Entry]) -> set[Entry]:
    return {taker for taker in takers if str(entry.by) in taker.takes_back}


def standing(entries: Collection[Entry], *arrays: str) -> list[Entry]:
    """Return live lines of these arrays that no other live line was written instead of."""
    living = live(entries)
    replaced = {name for entry in living for name in entry.replaces if name != str(entry.by)}
    return [
        entry
        for entry in living
        if entry.array in arrays and not entry.erased and str(entry.by) not in replaced
    ]


def disputed_fields(entries: Collection[Entry]) -> set[str]:
    """Return the fields of a session two standing lines answer differently."""
    values = defaultdict(set)
    for entry in standing(entries, "answers", "decisions"):
        values[entry.text("what")].add(entry.text("is"))
    return {what for what, said in values.items() if len(said) > 1}


def groups_of(entries: Collection[Entry]) -> set[tuple[str, ...]]:
    """Return the codes of one person each, by the links that stand in all ledgers together."""
    groups: list[set[str]] = []
    for link in standing(entries, "links"):
        codes = set(link.names("codes"))
        touched = [group for group in groups if group & codes]
        apart = [group for group in groups if not group & codes]
        groups = [*apart, codes.union(*touched)]
    return {tuple(sorted(group)) for group in groups}


def is_held(entries: Collection[Entry]) -> bool:
    """Whether a session holds its client: ever answered so, and not assessed since.

    A coordinator's choice between two answers is no assessment.
    """
    assessed = {
        name
        for entry in live(entries)
        if entry.array == "answers" and entry.text("finding")
        for name in entry.replaces
        if name != str(entry.by)
    }
    return any(
        entry.text("what") == HOLD
        and entry.text("is") in ("yes", "unknown")
        and str(entry.by) not in assessed
        for entry in entries
    )


def _copied(sets: Mapping[Key, set[Any]]) -> Any:
    return defaultdict(set, {key: set(held) for key, held in sets.items()})
