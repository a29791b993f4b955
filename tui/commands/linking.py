"""`link`, `unlink` and `distinct`: which codes are one person's. Nothing is ever fused.

Each is a line of the coordinator's ledger: it travels, and can be taken back. A stop under one code
holds for all codes of that person.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.disk.archive import open_questions, settle
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.session_files import find_session_files, read_regular
from fitcore.identity import judge_client_code
from fitcore.merge.clients import DISTINCT, LINKED, draft_distinct, draft_link, draft_unlink
from fitcore.problems import Problem, ReadingError
from fitcore.record.edits import reason_text, who_text
from fitcore.record.entries import render_value
from fitcore.words import say
from tui.commands import ExitCode, Outcome
from tui.commands.finding import require_paths
from tui.wording.codes import codes_words

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.clients import Clients
    from fitcore.record.entries import Draft, Entry


def link(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Say that codes are one person's."""

    def draft(clients: Clients, codes: Sequence[str]) -> Draft:
        told = (arguments.who, arguments.why)
        return draft_link(clients, codes, who=told[0], why=told[1], at=surroundings.now())

    return _store(arguments, data, surroundings, draft)


def distinct(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Say that codes are different people's: nobody is asked again."""

    def draft(clients: Clients, codes: Sequence[str]) -> Draft:
        told = (arguments.who, arguments.why)
        return draft_distinct(clients, codes, who=told[0], why=told[1], at=surroundings.now())

    return _store(arguments, data, surroundings, draft)


def unlink(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Take back what was said of codes: linked or distinct."""

    def draft(clients: Clients, codes: Sequence[str]) -> Draft:
        names = _lines_about(clients, codes)
        who, why = arguments.who, arguments.why
        return draft_unlink(names, who=who, why=why, at=surroundings.now())

    return _store(arguments, data, surroundings, draft, takes_back=True)


def link_lines(clients: Clients) -> list[str]:
    """Return what was said of codes, a line each, for people."""
    rulings = [
        *((LINKED, entry) for entry in clients.links),
        *((DISTINCT, entry) for entry in clients.distincts),
    ]
    lines = [
        say(
            "{codes}. {entry}, {who}: {why}",
            codes=codes_words(entry.names("codes"), value),
            entry=str(entry.by),
            who=entry.text("who") or "?",
            why=entry.text("why"),
        )
        for value, entry in rulings
    ]
    return [*(lines or [say("No codes are linked.")]), ""]


def _store(
    arguments: Namespace,
    data: Path,
    surroundings: Surroundings,
    draft: Callable[[Clients, Sequence[str]], Draft],
    *,
    takes_back: bool = False,
) -> Outcome:
    require_paths([data])
    reason_text(arguments.why)
    arguments.who = who_text(arguments.who)
    codes = list(dict.fromkeys(clean(code).text for code in arguments.codes))
    with DataFolder(data, surroundings) as folder:
        before = open_questions(data, surroundings).clients
        drafted = draft(before, codes)
        missing = [] if takes_back else _unknown(data, codes, before)
        if missing:
            _refuse_unknown(missing, is_to_come=arguments.to_come)
        folder.append_to_ledger([drafted])
        name = f"{folder.laptop.id}:{folder.laptop.next - 1}"
        settle(data, surroundings)
        notes = [
            *folder.notes,
            *(say("No session here has the code {code}.", code=code) for code in missing),
        ]
    clients = open_questions(data, surroundings).clients
    person = clients.codes_of(codes[0])
    disputed = [c for c in clients.conflicts if set(codes) & set(c.field.split(" = "))]
    still = _still_through(clients, codes) if takes_back else []
    words = (
        say("One person: {codes}.", codes=", ".join(person))
        if len(person) > 1
        else say("{code} stands alone.", code=codes[0])
    )
    lines = [words, say("Stored as {names}.", names=name)]
    if takes_back and set(before.distincts) - set(clients.distincts):
        lines.append(
            say("Nobody says any more that they are not one person; they may be asked about again.")
        )
    if still:
        lines += _still_lines(codes, still)
    elif len(person) > 1:
        lines.append(
            say("They are screened together: a stop under one code holds under all of them.")
        )
    if disputed:
        lines.append(
            say("! There is a question about these codes. See it with: anklefirst conflicts")
        )
    return Outcome(
        ExitCode.NEEDS_PERSON if disputed or still else ExitCode.FINE,
        {
            "entry": name,
            "person": list(person),
            "questions": [conflict.id for conflict in disputed],
            "still_linked_through": still,
        },
        lines,
        notes,
    )


def _still_through(clients: Clients, codes: Sequence[str]) -> list[list[str]]:
    """Return the links that still hold some of the codes together, each as its codes."""
    person = set(clients.codes_of(codes[0]))
    if not any(len(set(clients.codes_of(code)) & set(codes)) > 1 for code in codes):
        return []
    people = person.union(*(clients.codes_of(code) for code in codes))
    found = (link.names("codes") for link in clients.links)
    return [list(link) for link in _once_each(found) if set(link) <= people]


def _once_each(said: Iterable[Sequence[str]]) -> list[Sequence[str]]:
    """Return codes named together once each, in whichever order: one command is about them all."""
    once: dict[frozenset[str], Sequence[str]] = {}
    for codes in said:
        once.setdefault(frozenset(codes), codes)
    return list(once.values())


def _still_lines(codes: Sequence[str], still: Sequence[Sequence[str]]) -> list[str]:
    through = "; ".join(" = ".join(link) for link in still)
    ways = [f"anklefirst unlink {' '.join(link)}" for link in still]
    return [
        say(
            "! {codes} are still one person, through other links: {through}.",
            codes=", ".join(codes),
            through=through,
        ),
        say("  They are screened together until one of these is let go as well:"),
        *(f"    {way}" for way in ways),
    ]


def _lines_about(clients: Clients, codes: Sequence[str]) -> list[str]:
    """Return the names of the lines to take back: links of these codes and no others, if any.

    What parts codes is taken back only where it alone is about exactly these: parting codes is
    mostly why somebody comes here, so it must not go in place of a link. Links that were said
    before go along, else one of them would hold again.

    Raises:
        ReadingError: there is none.
    """
    wanted = set(codes)
    if links := [line for line in clients.links if set(line.names("codes")) <= wanted]:
        earlier = {name for line in links for name in line.replaces}
        replaced = (e for e in clients.ledgers.entries if e.array == "links")
        older = sorted(str(e.by) for e in replaced if str(e.by) in earlier)
        return list(dict.fromkeys([*(str(line.by) for line in links), *older]))
    if wider := [line for line in clients.links if len(set(line.names("codes")) & wanted) > 1]:
        raise ReadingError(_linked_with_others(codes, wider))
    if apart := [line for line in clients.distincts if set(line.names("codes")) == wanted]:
        return list(dict.fromkeys(n for line in apart for n in (str(line.by), *line.replaces)))
    said = [line.names("codes") for line in (*clients.links, *clients.distincts)]
    near = [", ".join(those) for those in _once_each(said) if set(those) & wanted]
    raise ReadingError(
        Problem(
            code="not_linked",
            text=say("Nobody has said anything of these codes together."),
            mend=say("What was said of one of them: {lines}.", lines="; ".join(near))
            if near
            else say("Look at the codes again."),
            key="CODE",
        )
    )


def _linked_with_others(codes: Sequence[str], wider: Sequence[Entry]) -> Problem:
    those = _once_each(link.names("codes") for link in wider)
    ways = "; ".join(f"anklefirst unlink {' '.join(link)}" for link in those)
    return Problem(
        code="linked_with_others",
        text=say(
            "{codes} are linked by a line about more codes than these: nothing was taken back.",
            codes=", ".join(codes),
        ),
        mend=say(
            "Take that link back as a whole, then link anew what is one person: {ways}", ways=ways
        ),
        key="CODE",
    )


def _unknown(data: Path, codes: Sequence[str], clients: Clients) -> list[str]:
    """Return the codes that stand in no session here and in no link yet."""
    linked = {
        code for entry in (*clients.links, *clients.distincts) for code in entry.names("codes")
    }
    missing = {code: render_value(code).encode() for code in codes if code not in linked}
    for path in find_session_files(data):
        if not missing:
            break
        raw = read_regular(path)
        if isinstance(raw, bytes):
            missing = {code: text for code, text in missing.items() if text not in raw}
    return list(missing)


def _refuse_unknown(missing: Sequence[str], *, is_to_come: bool) -> None:
    """Refuse a code that is surely or probably mistyped: a stop would not reach its sessions.

    Raises:
        ReadingError: its check character is wrong, or nobody has confirmed that it is to come.
    """
    for code in missing:
        if problem := judge_client_code(code):
            raise ReadingError(problem)
    if not is_to_come:
        raise ReadingError(
            Problem(
                code="code_unknown",
                text=say("No session here has the code {code}.", code=missing[0]),
                mend=say(
                    "Look at the code again. Where its sessions are still to come, add --to-come."
                ),
                key="CODE",
            )
        )
