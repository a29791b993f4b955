"""Lines changed outside the program: each becomes a proposal a person accepts or refuses.

A copy whose seal is broken is compared line by line with what sealed copies hold. Lines that are
the same pass. Until a person has answered, the sealed lines hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fitcore.merge.found import FileKind
from fitcore.merge.ids import content_id
from fitcore.merge.ledger_lines import CORRECTED, REFUSED, TAKEN
from fitcore.problems import Problem, ReadingError
from fitcore.record.entries import Draft
from fitcore.record.fields import judge_choice
from fitcore.record.reading import read_reading
from fitcore.record.session import Seal, entry_order
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator
    from datetime import datetime

    from fitcore.identity import EntryId
    from fitcore.merge.found import Found, Key
    from fitcore.record.entries import Entry, Value

_NEVER_COPIED = ("by", "at", "erased", "takes_back", "instead_of")


class Change(StrEnum):
    """What somebody did to a line."""

    CHANGED = "changed"
    """The line of this name is another one in the sealed copies."""
    ADDED = "added"
    """No sealed copy has an entry of this name."""
    MISSING = "missing"
    """The sealed copies have it, and the copy must have had it."""


@dataclass(frozen=True)
class Proposal:
    """One line that differs from what was sealed, or that nothing sealed vouches for."""

    id: str
    """From the line itself, not from what else has arrived: an answer stays one."""
    about: Key
    change: Change
    name: EntryId
    sealed: tuple[Entry, ...]
    """What the sealed copies hold under this name; none where the line was added."""
    proposed: Entry | None
    """The line as it stands now; None where it is missing."""
    paths: tuple[str, ...]
    """Files that show it so, sorted."""

    @property
    def order(self) -> tuple[Key, EntryId, str]:
        """Sort key: what it is about, laptop, number, then the id."""
        return (self.about, self.name, self.id)


@dataclass(frozen=True)
class ChangedFile:
    """Several lines of one file that nothing sealed vouches for: asked about as one item.

    Mostly its sealed original has not come yet, and then nearly every line is as it was.
    """

    id: str
    """From what the file is about alone."""
    about: Key
    proposals: tuple[Proposal, ...]
    """Two or more, sorted."""

    @property
    def paths(self) -> tuple[str, ...]:
        """Files that show them, sorted."""
        return tuple(sorted({path for proposal in self.proposals for path in proposal.paths}))

    @property
    def laptops(self) -> tuple[str, ...]:
        """Laptops whose lines they are, sorted: whose newest folder is to be fetched."""
        return tuple(sorted({proposal.name.laptop for proposal in self.proposals}))

    @property
    def is_one_text(self) -> bool:
        """Whether no two of the lines have one name: only then all can be taken."""
        return len({proposal.name for proposal in self.proposals}) == len(self.proposals)


def by_file(proposals: Iterable[Proposal]) -> tuple[Proposal | ChangedFile, ...]:
    """Put lines that nothing sealed vouches for together by file; others stay as they are.

    Args:
        proposals: in their order, which is kept; a file stands where its first line stood.
    """
    every = tuple(proposals)
    added: dict[Key, list[Proposal]] = {}
    for proposal in every:
        if proposal.change is Change.ADDED:
            added.setdefault(proposal.about, []).append(proposal)
    found: dict[str, Proposal | ChangedFile] = {}
    for proposal in every:
        lines = added.get(proposal.about, [])
        if proposal.change is Change.ADDED and len(lines) > 1:
            about = proposal.about
            file_id = content_id("lines", about.place)
            found.setdefault(file_id, ChangedFile(file_id, about, tuple(lines)))
        else:
            found[proposal.id] = proposal
    return tuple(found.values())


def find_proposals(
    key: Key,
    sealed: frozenset[Entry],
    broken: Collection[Found],
    erased: Collection[str] = (),
) -> tuple[Proposal, ...]:
    """Compare copies changed outside with the sealed lines, sorted.

    Args:
        key: what all are copies of.
        sealed: entries of all sealed copies together.
        broken: copies whose seal is broken or missing, in any order.
        erased: names whose content is erased: nothing is proposed for them.
    """
    by_name: dict[EntryId, list[Entry]] = {}
    for entry in sorted(sealed, key=entry_order):
        by_name.setdefault(entry.by, []).append(entry)
    shown: dict[tuple[str, EntryId, Entry | None], set[str]] = {}
    for copy in broken:
        for name, line in _differences(sealed, by_name, copy):
            if str(name) not in erased:
                proposal_id = id_of_line(key, name, line)
                shown.setdefault((proposal_id, name, line), set()).add(copy.path)
    found = (
        Proposal(
            proposal_id,
            key,
            _change(entry, name in by_name),
            name,
            tuple(by_name.get(name, ())),
            entry,
            tuple(sorted(paths)),
        )
        for (proposal_id, name, entry), paths in shown.items()
    )
    return tuple(sorted(found, key=lambda proposal: proposal.order))


def _differences(
    sealed: frozenset[Entry], by_name: Collection[EntryId], copy: Found
) -> Iterator[tuple[EntryId, Entry | None]]:
    for entry in copy.entries - sealed:
        yield entry.by, entry
    if isinstance(copy.content, Problem) or copy.content.seal is not Seal.BROKEN:
        return  # without a seal the end of the file may be lost: that is no change by a person
    # Files grow by whole saves, so a copy that holds a laptop's entry holds all that laptop wrote
    # into the file before. An entry that is missing although a later one is there was removed.
    there = {entry.by for entry in copy.entries}
    last: dict[str, int] = {}
    for name in there:
        last[name.laptop] = max(name.number, last.get(name.laptop, 0))
    for name in by_name:
        if name not in there and name.number < last.get(name.laptop, 0):
            yield name, None


def _change(entry: Entry | None, is_known: bool) -> Change:  # noqa: FBT001 - private, one use
    if entry is None:
        return Change.MISSING
    return Change.CHANGED if is_known else Change.ADDED


def id_of_line(key: Key, name: EntryId, entry: Entry | None) -> str:
    """Return the id a line is proposed under, from the line itself; None is a missing one."""
    said = ("", "") if entry is None else (entry.array, entry.line)
    return content_id(key.kind, key.name, str(name), *said)


def draft_ruling(
    proposal: Proposal, answer: str, *, who: str, why: str, at: datetime
) -> tuple[Draft | None, Draft]:
    """Answer for a changed line.

    Args:
        proposal: the line.
        answer: `taken` (the line itself, only where nothing sealed has that name), `corrected` (a
            new entry that says what the line says), or `refused`.
        who: who answers.
        why: why.
        at: the instant, from the caller's clock.

    Returns:
        What is to be added to the session, or None; and the answer itself, for the ledger.

    Raises:
        ReadingError: there is nothing of that kind to be done with the line, or it cannot be used
            as it stands.
    """
    ruling = Draft(
        "outside",
        at,
        {
            "proposal": proposal.id,
            "is": answer,
            "who": who,
            "why": why,
            "about": proposal.about.name,
            "entry": str(proposal.name),
        },
    )
    if answer == REFUSED:
        return None, ruling
    if answer == TAKEN and proposal.change is Change.ADDED:
        if proposal.proposed is not None and not proposal.proposed.erased:
            _judge_usable(proposal, proposal.proposed)
        return None, ruling
    if answer == CORRECTED and proposal.about.kind is FileKind.SESSION:
        return _correction(proposal, who, why, at), ruling
    raise _refuse(proposal)


def _correction(proposal: Proposal, who: str, why: str, at: datetime) -> Draft:
    name, line = str(proposal.name), proposal.proposed
    if line is None:
        return Draft(
            "withdrawn",
            at,
            {"takes_back": [name], "why": why, "who": who, "origin": "changed_outside"},
        )
    if proposal.change is not Change.CHANGED or line.array not in ("answers", "readings"):
        raise _refuse(proposal)
    said: dict[str, Value | None] = {
        key: value for key, value in line.fields.items() if key not in _NEVER_COPIED
    }
    older = [name, *(other for entry in proposal.sealed for other in entry.replaces)]
    said |= {"instead_of": list(dict.fromkeys(older)), "who": who, "why": why}
    draft = Draft(line.array, at, {**said, "origin": "changed_outside"})
    _judge_usable(proposal, draft.entry(proposal.name))
    return draft


def _judge_usable(proposal: Proposal, entry: Entry) -> None:
    """Refuse what could not be used: the good line it stands for would be lost to a result.

    Args:
        proposal: the line asked about.
        entry: what would hold from then on, under the line's own name.

    Raises:
        ReadingError: a reading that contradicts itself, or none of the choices of its field.
    """
    try:
        if entry.array == "readings":
            read_reading(entry)
        elif entry.array == "answers":
            judge_choice(entry.text("what"), entry.fields.get("is"))
    except ReadingError as error:
        raise ReadingError(
            Problem(
                code="line_unusable",
                text=say(
                    "{name}: the line cannot be taken over. {wrong}",
                    name=str(proposal.name),
                    wrong=error.problem.text,
                ),
                mend=say("Refuse {id}, and enter what is right by hand.", id=proposal.id),
            )
        ) from error


def _refuse(proposal: Proposal) -> ReadingError:
    return ReadingError(
        Problem(
            code="not_to_be_ruled_so",
            text=say("{name}: the line cannot be taken over in this way.", name=str(proposal.name)),
            mend=say("Refuse it, and enter what is right by hand."),
        )
    )


def waiting_entries(broken: Iterable[Found]) -> frozenset[Entry]:
    """Return all entries of copies changed outside: not taken over, and not lost either."""
    return frozenset(entry for copy in broken for entry in copy.entries)
