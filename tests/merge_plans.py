"""What the tests of the merge ask of a plan: its bytes, its entries, its questions, an answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from histories import ledger_key, session_key
from strategies import AT

from fitcore.identity import EntryId
from fitcore.merge.choices import draft_choice
from fitcore.merge.clients import draft_link, draft_unlink
from fitcore.record.codec import write_session
from fitcore.record.ledger import write_ledger
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from histories import Machine

    from fitcore.merge.conflicts import Candidate, Conflict
    from fitcore.merge.found import Key
    from fitcore.merge.join import Merged
    from fitcore.merge.merge import MergePlan
    from fitcore.record.entries import Draft, Entry


def text_of(merged: Merged) -> str | None:
    """Return the canonical file of what all sealed copies hold; None where there is none."""
    if isinstance(merged.content, Session):
        return write_session(merged.content)
    return None if merged.content is None else write_ledger(merged.content)


def written(plan: MergePlan) -> dict[str, str]:
    """Return what the archive holds once the plan is carried out, byte for byte."""
    files = {}
    for key, merged in plan.merged.items():
        text = text_of(merged)
        if merged.carried is not None:
            files[key.place] = merged.carried.digest
        elif text is not None:
            files[key.place] = text
    return files | {f"kept {copy.digest}": copy.digest for copy in plan.to_keep}


def asked(plan: MergePlan) -> tuple[list[str], list[str]]:
    """Return the ids of everything a person is asked."""
    return [c.id for c in plan.conflicts], [p.id for p in plan.proposals]


def entries_of(plan: MergePlan) -> set[tuple[Key, Entry]]:
    """Return every entry that holds, with what it stands in."""
    return {(key, entry) for key, merged in plan.merged.items() for entry in merged.entries}


def answer(
    choose: Callable[[Sequence[Candidate]], Candidate],
    plan: MergePlan,
    conflict: Conflict,
    coordinator: str,
) -> tuple[Key, Draft]:
    """Choose a coordinator's answer to a question, and say where it is written."""
    if conflict.kind == "group":
        codes = conflict.field.split(" = ")
        draft = draft_link(plan.clients, codes, who="C-02", why="asked her", at=AT)
        return ledger_key(coordinator), draft
    candidate = choose(conflict.candidates)
    if conflict.kind == "clients":
        names = [str(entry.by) for entry in candidate.entries]
        draft = draft_unlink(names, who="C-02", why="asked her", at=AT)
        return ledger_key(coordinator), draft
    draft = draft_choice(conflict, candidate, who="C-02", why="phoned", at=AT)
    return session_key(conflict.session), draft


def numbered(draft: Draft, machine: Machine) -> Entry:
    """Make a draft an entry under a machine's next number."""
    machine.next += 1
    return draft.entry(EntryId(machine.laptop, machine.next - 1))
