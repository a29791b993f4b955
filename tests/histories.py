"""Invented histories of several laptops for the tests of the merge: who wrote and saw what.

The model keeps plain sets of entries and joins them by set union; it knows nothing of the program's
own merge, which is tested against it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from hypothesis import strategies as st
from strategies import AT, entry_from_line, instants, line_of

from fitcore.merge.found import FileKind, Found, Key, Where, read_found
from fitcore.record.codec import write_session
from fitcore.record.ledger import Ledger, write_ledger
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

    from fitcore.record.entries import Entry

LAPTOPS = (
    "tern-k7qd", "dunlin-m4ex", "petrel-z9wa", "puffin-h3vn", "skua-b8ty", "gannet-q5rt"
)  # fmt: skip
COORDINATOR = "curlew-w2fs"
"""Writes nothing in a history; the tests decide as it."""
SESSIONS = ("0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7", "0199c3a2-77aa-7d40-8c1b-3a90b7d4e511")
CODES = ("tern-014-0", "KES 17/b", "dunlin-003-Q", "petrel-9", "skua-1")
FIELDS = {
    "client": CODES[:3],
    "posture": ("standing", "sitting", "lying"),
    "screen.emergency": ("yes", "no", "unknown"),
    "measurer": ("N-17", "N-02"),
    "weather": ("mild", "cold"),
}
"""Fields and their answers; one a program of today does not know, one that holds a client."""
WITHDRAWABLE = ("answers", "decisions", "readings", "remarks", "withdrawn")
OPERATIONS = (
    "answer", "answer", "answer", "read", "correct", "correct", "correct", "withdraw", "withdraw",
    "decide", "remark", "weigh", "void", "link", "distinct", "unlink", "send", "send", "snapshot",
    "clone", "erase",
)  # fmt: skip

Draw = Callable[[st.SearchStrategy[Any]], Any]
"""Hypothesis's own, of a strategy or of a running test."""
Folder = dict[Key, frozenset["Entry"]]
"""What a data folder holds: entries of each session and ledger."""


@dataclass
class Machine:
    """One laptop's disk. A cloned disk is a second machine of the same name."""

    laptop: str
    next: int = 1
    files: dict[Key, set[Entry]] = field(default_factory=lambda: defaultdict(set))

    def folder(self) -> Folder:
        """Return the folder as it is now."""
        return {key: frozenset(entries) for key, entries in self.files.items() if entries}

    def write(self, key: Key, array: str, fields: Mapping[str, object]) -> Entry:
        """Write an entry under the next number."""
        line = line_of({"by": f"{self.laptop}:{self.next}", **fields})
        self.next += 1
        entry = entry_from_line(array, line)
        self.files[key].add(entry)
        return entry


@dataclass(repr=False)
class History:
    """What several laptops did."""

    machines: list[Machine]
    snapshots: list[Folder] = field(default_factory=list)
    """Folders as they were carried away, some early, and all as they are at the end."""
    written: set[tuple[Key, Entry]] = field(default_factory=set)
    """Every entry a nurse was told is saved."""
    erased: set[tuple[str, str]] = field(default_factory=set)
    """Session and name of what is erased by law."""
    cloned: bool = False

    def __repr__(self) -> str:
        """Tell a failing history by its lines."""
        lines = sorted(f"{key.place} {entry.array} {entry.line}" for key, entry in self.written)
        return "\n".join(["", *lines])

    def is_erased(self, key: Key, entry: Entry) -> bool:
        """Whether an entry's content is to be gone."""
        return (key.name, str(entry.by)) in self.erased


def session_key(session_id: str) -> Key:
    """Name a session."""
    return Key(FileKind.SESSION, session_id)


def ledger_key(laptop: str) -> Key:
    """Name a ledger."""
    return Key(FileKind.LEDGER, laptop)


def file_bytes(key: Key, entries: Iterable[Entry]) -> bytes:
    """Return a file of these entries."""
    held = frozenset(entries)
    if key.kind is FileKind.SESSION:
        return write_session(Session(key.name, held)).encode()
    return write_ledger(Ledger(key.name, held)).encode()


def files_of(folder: Folder, stick: str = "stick", where: Where = Where.STICK) -> tuple[Found, ...]:
    """Read a folder's files as a merge finds them."""
    return tuple(
        read_found(
            file_bytes(key, entries),
            path=f"{stick}/{key.place}.toml",
            name=key.name,
            kind=key.kind,
            where=where,
        )
        for key, entries in folder.items()
    )


def spoken_of(before: set[tuple[Key, Entry]], after: set[tuple[Key, Entry]]) -> set[str]:
    """Return the names new lines bear on, directly or through others."""
    pointing: defaultdict[str, set[str]] = defaultdict(set)
    for _, entry in after:
        erases = entry.names("erases")
        pointing[str(entry.by)] |= {*entry.replaces, *entry.takes_back, *erases}
    found = {name for _, entry in after - before for name in pointing[str(entry.by)]}
    while more := {name for known in found for name in pointing.get(known, ())} - found:
        found |= more
    return found


def missing_numbers(folders: Iterable[Mapping[Key, Collection[Entry]]]) -> set[tuple[str, int]]:
    """Return laptop and number of each entry that must exist and stands in none of the folders."""
    there: defaultdict[str, set[int]] = defaultdict(set)
    named: defaultdict[str, set[int]] = defaultdict(set)
    for entry in (entry for folder in folders for held in folder.values() for entry in held):
        there[entry.by.laptop].add(entry.by.number)
        if entry.array == "voided":
            there[entry.by.laptop].add(int(str(entry.fields["number"])))
        for name in entry.names("erases"):
            there[name.partition(":")[0]].add(int(name.partition(":")[2]))
        for name in (*entry.replaces, *entry.takes_back):
            named[name.partition(":")[0]].add(int(name.partition(":")[2]))
    return {
        (laptop, number)
        for laptop in {*there, *named}
        for number in range(1, max(there[laptop] | named[laptop]) + 1)
        if number not in there[laptop]
    }


@st.composite
def histories(
    draw: st.DrawFn, *, most: int = 30, clones: bool = True, erasures: bool = True
) -> History:
    """Draw a history of 2 to 6 laptops.

    Args:
        draw: Hypothesis's.
        most: most operations.
        clones: whether a disk may be copied and both go on.
        erasures: whether content may be erased by law.
    """
    laptops = draw(st.integers(2, len(LAPTOPS)))
    history = History([Machine(name) for name in LAPTOPS[:laptops]])
    left_out = {*(() if clones else ("clone",)), *(() if erasures else ("erase",))}
    allowed = st.sampled_from([name for name in OPERATIONS if name not in left_out])
    if draw(st.booleans()):
        _share_a_start(history)
    for operation in draw(st.lists(allowed, min_size=most // 2, max_size=most)):
        machine = draw(st.sampled_from(history.machines))
        act(draw, history, machine, operation)
    history.snapshots += [machine.folder() for machine in history.machines]
    return history


def _share_a_start(history: History) -> None:
    """Let the first laptop open a session that all others have before they part."""
    first, key = history.machines[0], session_key(SESSIONS[0])
    reading = {"side": "left", "point": "B", "kind": "girth", "round": 1}
    history.written |= {
        (key, first.write(key, "answers", {"at": AT, "what": "posture", "is": "lying"})),
        (
            key,
            first.write(
                key,
                "readings",
                {"at": AT, **reading, "typed": "36.1", "unit": "cm", "mm": Decimal("361.0")},
            ),
        ),
    }
    for machine in history.machines[1:]:
        machine.files[key] |= first.files[key]


def act(draw: Draw, history: History, machine: Machine, operation: str) -> None:
    """Let one machine do one thing, seeing what its own disk holds."""
    if operation == "send":
        other = draw(st.sampled_from(history.machines))
        for key, entries in other.folder().items():
            machine.files[key] |= entries
    elif operation == "snapshot":
        history.snapshots.append(machine.folder())
    elif operation == "clone":
        copied = {key: set(entries) for key, entries in machine.files.items()}
        twin = Machine(machine.laptop, machine.next, defaultdict(set, copied))
        history.machines.append(twin)
        history.cloned = True
    elif operation == "void":
        number = machine.next
        machine.next += 1
        fields = {"number": number}
        _write(draw, history, machine, (ledger_key(machine.laptop), "voided"), fields)
    elif operation in ("link", "distinct", "unlink"):
        _tie(draw, history, machine, operation)
    else:
        _measure(draw, history, machine, operation)


def _measure(draw: Draw, history: History, machine: Machine, operation: str) -> None:
    key = session_key(draw(st.sampled_from(SESSIONS)))
    there = sorted(machine.files[key], key=lambda entry: (str(entry.by), entry.line))
    fields: dict[str, object] = {}
    array = {"answer": "answers", "read": "readings", "remark": "remarks", "weigh": "weights"}
    if operation in ("answer", "decide"):
        what = draw(st.sampled_from(sorted(FIELDS)))
        seen = [str(e.by) for e in there if e.fields.get("what") == what]
        fields = {"what": what, "is": draw(st.sampled_from(FIELDS[what]))}
        fields |= {"instead_of": list(dict.fromkeys(seen))} if seen else {}
        fields |= {"who": "C-02", "why": "phoned"} if operation == "decide" else {}
    elif operation in ("read", "correct"):
        older = [e for e in there if e.array == "readings"]
        mm = draw(st.sampled_from(("224.0", "226.0", "242.0")))
        fields = {
            "side": "left", "point": draw(st.sampled_from("BC")), "kind": "girth", "round": 1,
            "typed": mm, "unit": "mm", "mm": Decimal(mm),
        }  # fmt: skip
        if operation == "correct":
            if not older:
                return
            corrected = draw(st.sampled_from(older))
            lineage = [str(corrected.by), *corrected.replaces]
            fields |= {"instead_of": list(dict.fromkeys(lineage)), "why": "slip"}
    elif operation == "withdraw":
        names = [str(e.by) for e in there if e.array in WITHDRAWABLE]
        if not names:
            return
        fields = {"takes_back": [draw(st.sampled_from(names))], "why": "tape had slipped"}
    elif operation == "erase":
        names = [str(e.by) for e in there]
        if not names:
            return
        name = draw(st.sampled_from(names))
        history.erased.add((key.name, name))
        fields = {"session": key.name, "erases": [name], "who": "C-02", "why": "asked for"}
        _write(draw, history, machine, (ledger_key(machine.laptop), "erasures"), fields)
        return
    else:
        fields = {"text": draw(st.sampled_from(("skin intact", "warm", "[red]")))}
    arrays = {**array, "correct": "readings", "withdraw": "withdrawn", "decide": "decisions"}
    _write(draw, history, machine, (key, arrays[operation]), fields)


def _tie(draw: Draw, history: History, machine: Machine, operation: str) -> None:
    key = ledger_key(machine.laptop)
    if operation == "unlink":
        ties = sorted(
            str(entry.by)
            for held, entries in machine.files.items()
            for entry in entries
            if entry.array in ("links", "distincts", "outside")
            or (entry.array == "withdrawn" and held.kind is FileKind.LEDGER)
        )
        if ties:
            fields = {"takes_back": [draw(st.sampled_from(ties))], "why": "mistaken"}
            _write(draw, history, machine, (key, "withdrawn"), fields)
        return
    codes = draw(st.lists(st.sampled_from(CODES), min_size=2, max_size=3, unique=True))
    array = "links" if operation == "link" else "distincts"
    fields = {"codes": codes, "who": "C-02", "why": "asked"}
    _write(draw, history, machine, (key, array), fields)


def _write(
    draw: Draw,
    history: History,
    machine: Machine,
    target: tuple[Key, str],
    fields: Mapping[str, object],
) -> None:
    key, array = target
    entry = machine.write(key, array, {"at": draw(instants), **fields})
    history.written.add((key, entry))
