"""Stops that arrive after a size was given: one laptop finished with a size, another found a stop.

A garment may have been ordered or handed over by then, so somebody must be told. Nothing here asks
which came first: clocks of laptops are wrong, and a stop that came earlier matters as much. The
record holds no orders yet; a finished session that offered a size on a leg stands for one.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.merge.ids import content_id
from fitcore.points import LEGS
from fitcore.record.edits import reason_text, who_text
from fitcore.record.entries import Draft
from fitcore.record.session import Seal, entry_order
from fitcore.safety.outcomes import Action, Clearance
from fitcore.safety.screening_answers import ANSWER_PREFIX, PRESSURE_PREFIX
from fitcore.safety.side_difference import READING
from fitcore.units import plain

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator
    from datetime import datetime

    from fitcore.merge.clients import Clients
    from fitcore.points import Side
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session
    from fitcore.safety.clearance import SessionClearance
    from fitcore.safety.outcomes import FiredRule

    Judge = Callable[[Session], SessionClearance]

ABOUT = "about_stop"
"""Key of a line `told` that says which late stop was passed on."""


@dataclass(frozen=True)
class LateStop:
    """One stop that whoever gave the size may not know of."""

    id: str
    """The same on every machine; another rule makes another one."""
    stop: Session
    """The session the stop stands in."""
    given: Session
    """The finished session that offered a size; it may be the same one."""
    codes: tuple[str, ...]
    """The codes both stand under, sorted: one, or several of one person."""
    legs: tuple[tuple[Side, Clearance], ...]
    """Legs that must not be fitted, left first."""
    rules: tuple[FiredRule, ...]
    """What stops them, worst first."""
    rests_on: tuple[Entry, ...]
    """The lines the stop rests on, sorted: whoever opened the session may be somebody else.

    Where no rule names any, every line by another laptop that bears on fitting.
    """
    finished_by: tuple[Entry, ...]
    """The lines that say the session with the size is finished, sorted."""
    found_by: tuple[str, ...]
    """Laptops that wrote what the stop rests on, sorted."""
    given_by: tuple[str, ...]
    """Laptops that finished the session with the size, sorted."""


def late_stops(
    sessions: Iterable[Session],
    clients: Clients,
    judge: Judge,
    may_stop: Callable[[Session], bool] = lambda _: True,
) -> tuple[LateStop, ...]:
    """Return the stops nobody has passed on yet, sorted by code and id.

    Args:
        sessions: all sessions of the archive.
        clients: which codes are one person's; a stop under any of them holds for all.
        judge: says whether a session's legs may be fitted.
        may_stop: a cheap first look: False only where judging a session can stop no leg.
    """
    people: defaultdict[tuple[str, ...], list[Session]] = defaultdict(list)
    for session in sessions:
        named = {str(value) for value in session.answer("client").values}
        for person in {clients.codes_of(code) for code in named if code}:
            people[person].append(session)
    found: dict[str, LateStop] = {}
    for codes, theirs in people.items():
        suspects = [session for session in theirs if may_stop(session)]
        if not suspects:
            continue  # so it is with most people: nothing is judged for them
        passed_on = {name for session in theirs for name in _passed_on(session)}
        for late in _of_person(codes, theirs, suspects, judge):
            if late.id not in passed_on:
                found.setdefault(late.id, late)
    return tuple(sorted(found.values(), key=lambda late: (late.codes, late.id)))


def told_in(late: LateStop) -> Session:
    """Return the session to write in who was told: the stop's own, or the one with the size.

    Nothing is added to a session whose seal does not hold; both are the same person's.
    """
    is_shut = late.stop.seal is not Seal.WHOLE and late.given.seal is Seal.WHOLE
    return late.given if is_shut else late.stop


def draft_passed_on(late: LateStop, told: str, *, who: str, at: datetime) -> Draft:
    """Say who was told of a late stop, for the session `told_in` names.

    Args:
        late: the stop.
        told: whom, and how.
        who: who told them.
        at: the instant, from the caller's clock.

    Raises:
        ReadingError: nobody is named.
    """
    text, by = reason_text(told), who_text(who)
    return Draft("answers", at, {"what": "told", "is": text, "who": by, ABOUT: late.id})


def _of_person(
    codes: tuple[str, ...], sessions: list[Session], suspects: list[Session], judge: Judge
) -> Iterator[LateStop]:
    given = [s for s in sessions if _finishers(s)]
    pairs = [(g, s) for g in given for s in suspects if _screened_by(s) - _finishers(g)]
    judged = {stopped.id: judge(stopped) for stopped in {s.id: s for _, s in pairs}.values()}
    offered: dict[str, bool] = {}
    for finished, stopped in pairs:
        clearance = judged[stopped.id]
        legs = tuple(_stopped_legs(clearance))
        if not legs:
            continue
        if finished.id not in offered:
            offered[finished.id] = _offered(finished, judge)
        if not offered[finished.id]:
            continue
        sides = {side for side, _ in legs}
        rules = tuple(
            rule
            for rule in clearance.result.rules
            if rule.action in (Action.STOP, Action.HOLD) and sides & set(rule.sides)
        )
        names = sorted(rule.id for rule in rules)
        lines = _rests_on(stopped, rules, sides) or _bearing(stopped, _finishers(finished))
        legs_named = [f"{side.value} {found.value}" for side, found in legs]
        yield LateStop(
            content_id(stopped.id, finished.id, *legs_named, *names),
            stopped,
            finished,
            codes,
            legs,
            rules,
            lines,
            tuple(sorted(_finishing(finished), key=entry_order)),
            tuple(sorted({entry.by.laptop for entry in lines})),
            tuple(sorted(_finishers(finished))),
        )


def _finishers(session: Session) -> frozenset[str]:
    """Return the laptops that say a session is finished."""
    return frozenset(entry.by.laptop for entry in _finishing(session))


def _finishing(session: Session) -> list[Entry]:
    heads = session.answer("finished").heads
    return [entry for entry in heads if entry.fields.get("is") is True]


def _rests_on(
    session: Session, rules: Iterable[FiredRule], sides: Collection[Side]
) -> tuple[Entry, ...]:
    """Return the lines some rules fired on, sorted."""
    names = {what for rule in rules for side, what in rule.basis if side in sides}
    # Those that stand first: a hold may rest on a line that was changed without an assessment.
    for lines in (_standing(session), session.entries):
        found = [entry for entry in lines if _told_by(entry) & names]
        if found:
            return tuple(sorted(found, key=entry_order))
    return ()


def _standing(session: Session) -> list[Entry]:
    return [entry for entry in session.heads.live if not session.heads.successors(entry)]


def _told_by(entry: Entry) -> set[str]:
    """Return the names a rule may give a line it fires on."""
    if entry.array == "readings":
        return {f"{READING}={entry.by}"}
    value = entry.fields.get("is")
    if isinstance(value, list | tuple):
        return {f"{entry.text('what')}={each}" for each in value}
    is_number = isinstance(value, int | Decimal) and not isinstance(value, bool)
    shown = plain(Decimal(str(value))) if is_number else str(value)
    return {f"{entry.text('what')}={shown}"}


def _bearing(session: Session, but: Collection[str]) -> tuple[Entry, ...]:
    """Return what other laptops wrote that bears on fitting, sorted."""
    lines = [e for e in session.heads.live if _bears_on_fitting(e) and e.by.laptop not in but]
    return tuple(sorted(lines, key=entry_order))


def _screened_by(session: Session) -> frozenset[str]:
    """Return the laptops whose lines a stop may rest on."""
    return frozenset(e.by.laptop for e in session.heads.live if _bears_on_fitting(e))


def _bears_on_fitting(entry: Entry) -> bool:
    what = entry.text("what")
    return entry.array == "readings" or what.startswith((ANSWER_PREFIX, PRESSURE_PREFIX))


def _stopped_legs(clearance: SessionClearance) -> Iterator[tuple[Side, Clearance]]:
    for side in LEGS:
        answer = clearance.leg(side)
        if not answer.offered and answer.clearance in (Clearance.STOP, Clearance.HOLD):
            yield side, answer.clearance


def _offered(session: Session, judge: Judge) -> bool:
    """Whether a size may have been offered, by what any one of the laptops knew.

    What a laptop had on its screen is not recorded; so it is looked at whole, without what any one
    other laptop brought, and by its own lines alone. One of them is enough.
    """
    own = _finishers(session)
    laptops = {entry.by.laptop for entry in session.entries}
    views = [session.entries, frozenset(e for e in session.entries if e.by.laptop in own)]
    views += [
        frozenset(e for e in session.entries if e.by.laptop != other)
        for other in sorted(laptops - own)
    ]
    return any(_offers(replace(session, entries=view), judge) for view in dict.fromkeys(views))


def _offers(session: Session, judge: Judge) -> bool:
    clearance = judge(session)
    return any(clearance.leg(side).offered for side in LEGS)


def _passed_on(session: Session) -> Iterator[str]:
    for entry in session.heads.live:
        if entry.text("what") == "told" and entry.text(ABOUT):
            yield entry.text(ABOUT)
