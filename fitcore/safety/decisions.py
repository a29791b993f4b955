"""May it be fitted? A prescriber's decision, and the one answer for a leg. Pure.

A decision lifts an *ask* or a *stop* for its leg, up to its pressure, until its review date, and as
long as what it was about is unchanged; it never lifts a *hold*: `fitcore.safety.assessments` does.
Nothing here is a reading, and nothing recorded is ever lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Literal, cast, get_args

from fitcore.clean_text import clean
from fitcore.points import LEGS, Side
from fitcore.problems import Problem, ReadingError
from fitcore.record.entries import Draft
from fitcore.safety.outcomes import Action, Clearance, outcome_words
from fitcore.safety.screening_answers import RESTS_ON
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.record.entries import Entry
    from fitcore.record.session import Session
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening_result import LegScreening, ScreeningResult

How = Literal["written", "read_back"]
"""On paper or a message, or by telephone and read back."""

DECISION_PREFIX = "prescriber."
LIMIT_RULE = "without_abpi"
"""Id of the rule on garments stronger than a leg without an ABPI may get."""
LONGEST = timedelta(days=366)
"""How long a decision may hold."""


@dataclass(frozen=True, slots=True)
class Decision:
    """A prescriber's decision on one leg."""

    side: Side
    by: str
    """Name or code of who decided."""
    role: str
    """Such as `prescriber` or `specialist`; the rule file says who may lift what."""
    how: How
    highest_mmhg: Decimal
    """Highest upper printed limit of a garment, layers added, in mmHg; 0 for no compression."""
    decided_on: date
    review_date: date
    """The last day it holds."""
    why: str
    covers: tuple[str, ...]
    """Ids of the rules the decision was asked about. What is found later is not covered."""
    rests_on: tuple[str, ...] = ()
    """The answers, pressures and readings those rules had fired on: as `FiredRule.rests_on` has
    them. Where one is another by now, the rule is not covered any more."""

    @property
    def words(self) -> str:
        """The decision in one line."""
        if self.refuses:
            return say("{by} ({role}): no compression", by=self.by, role=role_words(self.role))
        return say(
            "{by} ({role}), up to {mmhg} mmHg until {until}",
            by=self.by,
            role=role_words(self.role),
            mmhg=plain(self.highest_mmhg),
            until=self.review_date.isoformat(),
        )

    @property
    def refuses(self) -> bool:
        """Whether it says that nothing is to be fitted: that stands until it is decided anew."""
        return self.highest_mmhg == 0 and bool(self.covers)

    def holds_on(self, day: date) -> bool:
        """Whether it holds on a day, both ends included."""
        return self.decided_on <= day <= self.review_date

    def covers_rule(self, rule: FiredRule) -> bool:
        """Whether it was asked about a rule, and about all that the rule rests on now."""
        return rule.id in self.covers and set(rule.rests_on(self.side)) <= set(self.rests_on)


@dataclass(frozen=True, slots=True)
class ClearanceAnswer:
    """Whether a size may be offered for one leg."""

    clearance: Clearance
    """What screening found; a decision does not change that."""
    offered: bool
    why: str
    highest_mmhg: Decimal | None
    """Highest upper printed limit that may be offered; None where nothing may, or no limit is."""


def may_fit(
    result: ScreeningResult, side: Side, decisions: Sequence[Decision], *, on: date
) -> ClearanceAnswer:
    """Say whether anything may be fitted on a leg, whatever the garment.

    Args:
        result: what screening found.
        side: the leg.
        decisions: prescribers' decisions side by side; each that stands must allow it.
        on: the day.
    """
    leg = result.leg(side)
    rules = [rule for rule in result.rules_of(side) if rule.action is not Action.NOTE]
    own = [decision for decision in decisions if decision.side is side]
    if not leg.asked:
        return _refused(leg.clearance, say("This leg is not there, or not to be fitted."))
    open_rules = [rule for rule in rules if not _is_lifted(rule, own, on)]
    held = any(rule.action is Action.HOLD for rule in open_rules)
    refusal = next((decision for decision in own if decision.refuses), None)
    if refusal is not None and not held:
        why = say("Prescriber's decision: {words}.", words=refusal.words)
        return _refused(_at_least_ask(leg.clearance), why)
    if open_rules:
        return _refused(leg.clearance, _why_open(open_rules[0], own, on))
    if not result.complete:
        return _refused(Clearance.NOT_SCREENED, _not_screened_words())
    standing = [decision for decision in own if decision.holds_on(on)]
    why = say("Prescriber's decision: {words}.", words=own[0].words) if rules else ""
    return ClearanceAnswer(
        leg.clearance,
        offered=True,
        why=why or say("Screened: no stop found."),
        highest_mmhg=_limit(leg, standing),
    )


def clearance(
    result: ScreeningResult,
    side: Side,
    decisions: Sequence[Decision],
    upper_mmhg: Decimal | None,
    *,
    on: date,
    layered: bool = False,
) -> ClearanceAnswer:
    """Say whether a garment may be offered for a leg: the one place that does.

    Args:
        result: what screening found.
        side: the leg.
        decisions: prescribers' decisions side by side; each that stands must allow it.
        upper_mmhg: upper printed limit of the garment in mmHg, layers added; None where it prints
            none or the layers are not known, which is enough only where nothing limits the leg.
        on: the day.
        layered: whether more is worn than the garment prints, so that the words say so.
    """
    answer = may_fit(result, side, decisions, on=on)
    limit = answer.highest_mmhg
    if limit is not None and upper_mmhg is None:
        text = say("At most {mmhg} mmHg, and this garment prints no pressure.", mmhg=plain(limit))
        if layered:
            text = say(
                "At most {mmhg} mmHg, layers added, and how much they come to is not known.",
                mmhg=plain(limit),
            )
        return _refused(_at_least_ask(answer.clearance), text)
    if limit is not None and upper_mmhg is not None and upper_mmhg > limit:
        own = [decision for decision in decisions if decision.side is side]
        standing = [decision for decision in own if decision.holds_on(on)]
        text = _too_strong(upper_mmhg, limit, standing, layered=layered)
        return _refused(_at_least_ask(answer.clearance), text)
    return answer


def draft_decision(
    session: Session, decision: Decision, at: datetime, *, linked: Sequence[Session] = ()
) -> Draft:
    """Record a decision; it replaces every decision on the leg seen here.

    Args:
        session: the session.
        decision: the decision.
        at: the instant, from the caller's clock.
        linked: sessions under the person's other codes, whose answers it may rest on, too.

    Raises:
        ReadingError: name, reason or rules are missing, or the dates cannot be right: nobody
            decides by telephone about an answer before it was given, nor at all for longer than a
            year. A letter may be older than today's answers: whoever records it says that it
            speaks of what was found.

    Source: circulation re-checked every 3, 6 or 12 months: Kingston and Richmond NHS (read); that
        no decision holds longer than the longest of these is ours, a judgement.
    """
    today = at.date()
    require(bool(clean(decision.by).text), "by", say("Who decided? A name or code."))
    require(bool(clean(decision.why).text), "why", say("Why was it decided so?"))
    require(bool(decision.covers), "covers", say("There is nothing to decide for this leg."))
    require(decision.side in LEGS, "side", say("A decision is on one leg."))
    require(decision.highest_mmhg >= 0, "highest_mmhg", say("Up to how many mmHg?"))
    require(
        decision.decided_on <= today, "decided_on", say("The day of the decision has not come yet.")
    )
    require(
        decision.how == "written"
        or decision.decided_on >= _answered_on(session, linked, decision.rests_on, at),
        "decided_on",
        say("Decided by telephone before an answer it is about was given: ask again."),
    )
    require(decision.review_date >= today, "review_date", say("The review date is over already."))
    require(
        decision.review_date - decision.decided_on <= LONGEST,
        "review_date",
        say("A decision holds for a year at most. Name an earlier day."),
    )
    what = f"{DECISION_PREFIX}{decision.side}"
    return Draft(
        "answers",
        at,
        {
            "what": what,
            "is": decision.words,
            "by_whom": clean(decision.by).text,
            "role": decision.role,
            "how": decision.how,
            "highest_mmhg": decision.highest_mmhg,
            "decided_on": decision.decided_on.isoformat(),
            "review_date": decision.review_date.isoformat(),
            "why": clean(decision.why).text,
            "covers": list(decision.covers),
            RESTS_ON: list(decision.rests_on) or None,
            "instead_of": list(session.answer(what).seen) or None,
        },
    )


def decisions_of(session: Session) -> tuple[Decision, ...]:
    """Return the decisions that stand in a session, side by side where laptops differ.

    One that cannot be read stands as one that allows nothing: it must not let another rule alone.
    """
    return tuple(
        _read_decision(entry, side)
        for side in LEGS
        for entry in session.answer(f"{DECISION_PREFIX}{side}").heads
    )


def role_words(role: str) -> str:
    """Return a role in words; an unknown one as it is."""
    words = {
        "prescriber": say("prescriber"),
        "specialist": say("specialist"),
        "midwife": say("midwife"),
        "wound_team": say("wound team"),
        "foot_team": say("foot team"),
        "lymphoedema_team": say("lymphoedema team"),
    }
    return words.get(role, role)


def _is_lifted(rule: FiredRule, own: Sequence[Decision], on: date) -> bool:
    """Whether every decision on the leg lifts a rule; differing ones must all do so."""
    if rule.action is Action.HOLD or not own:
        return False
    return all(
        decision.holds_on(on) and decision.covers_rule(rule) and decision.role in rule.lifted_by
        for decision in own
    )


def _limit(leg: LegScreening, standing: Sequence[Decision]) -> Decimal | None:
    """Return the highest pressure: the leg's own limit, and the lowest of the decisions."""
    lifted = bool(standing) and all(
        LIMIT_RULE in decision.covers and decision.role in leg.limit_roles for decision in standing
    )
    own = leg.limit_mmhg
    limits = [Decimal(own)] if own is not None and not lifted else []
    limits += [decision.highest_mmhg for decision in standing]
    return min(limits, default=None)


def _why_open(rule: FiredRule, own: Sequence[Decision], on: date) -> str:
    if rule.action is Action.HOLD:
        return say(
            "{text} No decision lifts this; only a new assessment with finding, date and who.",
            text=rule.text,
        )
    text = say("{outcome}. {text}", outcome=_capital(outcome_words(rule.action)), text=rule.text)
    if not own:
        return text
    if not all(decision.holds_on(on) for decision in own):
        return say("{text} A decision is there, but does not hold today.", text=text)
    if all(rule.id in decision.covers for decision in own) and not all(
        decision.covers_rule(rule) for decision in own
    ):
        return say("{text} A decision is there, but what it rests on has changed.", text=text)
    return say("{text} A decision is there, but does not cover this.", text=text)


def _too_strong(
    upper: Decimal, limit: Decimal, standing: Sequence[Decision], *, layered: bool
) -> str:
    if layered:
        return say(
            "Up to {upper} mmHg, layers added; at most {limit} may be fitted.",
            upper=plain(upper),
            limit=plain(limit),
        )
    if any(decision.highest_mmhg == limit for decision in standing):
        return say(
            "Prints up to {upper} mmHg; the decision allows {limit}.",
            upper=plain(upper),
            limit=plain(limit),
        )
    return say(
        "Prints up to {upper} mmHg; without an ABPI at most {limit}. Take one, or ask the "
        "prescriber.",
        upper=plain(upper),
        limit=plain(limit),
    )


def _not_screened_words() -> str:
    return say("Screening not done: size for information, not cleared to fit.")


def _at_least_ask(found: Clearance) -> Clearance:
    return Clearance.ASK if found is Clearance.CLEARED else found


def _refused(found: Clearance, why: str) -> ClearanceAnswer:
    return ClearanceAnswer(found, offered=False, why=why, highest_mmhg=None)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _answered_on(
    session: Session, linked: Sequence[Session], rests_on: Sequence[str], at: datetime
) -> date:
    """Return the day the newest of some answers was given; a clock of the future says nothing."""
    names = {told.partition("=")[0] for told in rests_on}
    heads = [head for name in names for head in session.answer(name).heads]
    for other in linked:
        theirs = [name for name in names if name.startswith(f"{other.id}/")]
        heads += [h for n in theirs for h in other.answer(n.removeprefix(f"{other.id}/")).heads]
    written = [head.at for head in heads]
    days = [when.date() for when in written if when is not None and when <= at]
    return max(days, default=date.min)


def require(holds: bool, key: str, mend: str) -> None:  # noqa: FBT001 - the one thing it is about
    """Refuse to record what does not hold.

    Raises:
        ReadingError: it does not hold; `mend` says what is asked.
    """
    if not holds:
        text = say("This cannot be recorded as it stands.")
        raise ReadingError(Problem(code="not_recorded", text=text, mend=mend, key=key))


def _read_decision(entry: Entry, side: Side) -> Decision:
    """Read a decision from its entry; what is missing or wrong makes it allow nothing."""
    how = entry.text("how")
    highest = entry.fields.get("highest_mmhg")
    is_number = isinstance(highest, int | Decimal) and not isinstance(highest, bool)
    number = Decimal(highest) if isinstance(highest, int | Decimal) and is_number else Decimal(0)
    told = all(entry.text(key) for key in ("by_whom", "role", "why")) and how in get_args(How)
    whole = told and is_number and number.is_finite() and number >= 0
    return Decision(
        side,
        entry.text("by_whom"),
        entry.text("role"),
        cast("How", how) if how in get_args(How) else "written",
        number,
        _day(entry, "decided_on", date.max),
        _day(entry, "review_date", date.min),
        entry.text("why"),
        entry.names("covers") if whole else (),
        entry.names(RESTS_ON),
    )


def _day(entry: Entry, key: str, otherwise: date) -> date:
    """Read a day; one that cannot be read is such that the decision never holds."""
    value = entry.fields.get(key)
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        return otherwise
