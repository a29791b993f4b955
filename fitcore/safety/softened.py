"""What of a service's rules is milder than the strictest rules shipped: told, not forbidden. Pure.

A service may decide so; nobody shall find out by an accident. A shipped file of one guideline is
milder on purpose and says so itself: it is not compared.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.problems import Problem, ProblemLevel
from fitcore.safety.outcomes import ACTIONS, URGENCIES, Action, Urgency
from fitcore.safety.screening_book import BUILT_IN
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from fitcore.safety.screening_model import (
        BuiltIn,
        LiftedBy,
        Purposes,
        Rule,
        ScreeningRules,
    )

RULE_KEY = "rule:"
"""Stands before the id of a rule in the key of its warning: where it lies, its file tells."""

_BELOW, _ABOVE = ("below", "at_or_below"), ("above", "at_or_above")


def softened_rules(rules: ScreeningRules, strictest: ScreeningRules) -> tuple[Problem, ...]:
    """Return a warning for everything in whole rules that is milder than in the strictest.

    Args:
        rules: whole: what a base gave is already in it.
        strictest: whole rules to compare with.
    """
    usual = strictest.lifted_by
    return (*_compared(rules.rules, strictest.rules, usual), *_settings(rules, strictest))


def softened_purposes(
    purposes: Purposes, shipped: Purposes, strictest: ScreeningRules
) -> tuple[Problem, ...]:
    """Return a warning for every rule of a purpose that is milder than shipped, or left out."""
    return tuple(
        problem
        for advice in shipped.purposes
        for problem in _compared(
            next((a.rules for a in purposes.purposes if a.purpose == advice.purpose), ()),
            advice.rules,
            strictest.lifted_by,
        )
    )


def _compared(
    own: Iterable[Rule], base: Iterable[Rule], usual: LiftedBy | None
) -> Iterator[Problem]:
    found = {rule.id: rule for rule in own}
    for rule in base:
        if rule.id not in found:
            yield _milder(rule.id, "rules", say("it is left out"))
            continue
        for why in _milder_ways(found[rule.id], rule, usual):
            yield _milder(rule.id, f"{RULE_KEY}{rule.id}", why)


def _milder_ways(own: Rule, base: Rule, usual: LiftedBy | None) -> Iterator[str]:
    """Say in which ways a rule is milder; nothing where it is at least as strict."""
    yield from _weaker(own, base)
    if set(base.questions) - set(own.questions) or own.measure != base.measure:
        yield say("it looks at less")
    elif _fires_on_less(own, base):
        yield say("it fires on less")
    if base.both_legs and not own.both_legs:
        yield say("it no longer holds for both legs")
    if base.suspects_clot and not own.suspects_clot:
        yield say("it no longer stands for a suspected clot")
    if own.unless_abpi_clears and not base.unless_abpi_clears:
        yield say("an ABPI spares a leg")
    if own.says_enough and not base.says_enough:
        yield say("nothing below its line of the first page is missed")
    more_roles = set(_lifted_by(own, usual)) - set(_lifted_by(base, usual))
    if more_roles and base.action != "note":
        yield say("others may lift it")


def _weaker(own: Rule | BuiltIn, base: Rule | BuiltIn) -> Iterator[str]:
    if ACTIONS.index(Action(own.action)) < ACTIONS.index(Action(base.action)):
        yield say("{own} instead of {base}", own=own.action, base=base.action)
    if URGENCIES.index(Urgency(own.urgency)) > URGENCIES.index(Urgency(base.urgency)):
        yield say("{own} instead of {base}", own=own.urgency, base=base.urgency)


def _fires_on_less(own: Rule, base: Rule) -> bool:
    if own.threshold is None or base.threshold is None:
        return own.when != base.when or not set(base.one_of) <= set(own.one_of)
    if own.threshold == base.threshold:
        return own.when not in (base.when, f"at_or_{base.when}")
    way, further = (_BELOW, _ABOVE) if own.threshold > base.threshold else (_ABOVE, _BELOW)
    return own.when not in way or base.when in further


def _lifted_by(rule: Rule, usual: LiftedBy | None) -> tuple[str, ...]:
    if rule.lifted_by is not None or usual is None:
        return rule.lifted_by or ()
    return {"ask": usual.ask, "stop": usual.stop}.get(rule.action, ())


def _settings(rules: ScreeningRules, strictest: ScreeningRules) -> Iterator[Problem]:
    for name in BUILT_IN:
        own, base = getattr(rules, name), getattr(strictest, name)
        if own is not None and base is not None:
            yield from (_milder(name, f"{name}.action", why) for why in _weaker(own, base))
    if rules.abpi and strictest.abpi and rules.abpi.max_age_days > strictest.abpi.max_age_days:
        yield _milder("abpi", "abpi.max_age_days", say("an ABPI holds longer"))
    limit, usual = rules.without_abpi, strictest.without_abpi
    if limit and usual and limit.max_mmhg > usual.max_mmhg:
        yield _milder("without_abpi", "without_abpi.max_mmhg", say("more pressure is let through"))
    calves, strict = rules.side_difference, strictest.side_difference
    if calves and strict and (calves.cm > strict.cm or calves.grown_cm > strict.grown_cm):
        yield _milder("side_difference", "side_difference.cm", say("a larger difference passes"))
    if rules.lifted_by is not None and strictest.lifted_by is not None:
        own_roles, roles = rules.lifted_by, strictest.lifted_by
        if set(own_roles.ask) - set(roles.ask) or set(own_roles.stop) - set(roles.stop):
            yield _milder("lifted_by", "lifted_by.ask", say("others may lift what it names"))


def _milder(name: str, key: str, why: str) -> Problem:
    return Problem(
        code="milder_rule",
        text=say("'{rule}' is milder than in the strictest rules: {why}.", rule=name, why=why),
        mend=say("Right only where your service has decided so. Else write it as strict."),
        key=key,
        level=ProblemLevel.WARNING,
    )
