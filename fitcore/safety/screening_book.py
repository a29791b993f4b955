"""Questions, rules and purposes put together: one book a person is screened by.

Whether the rules ask only about questions that exist, and miss none of the first page, is judged
here. Pure: the files are read elsewhere and handed in with their bytes' digest.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import blake2b
from typing import TYPE_CHECKING

from fitcore.problems import Problem, ProblemLevel
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.safety.screening_model import (
        PurposeAdvice,
        Purposes,
        Question,
        Questions,
        Rule,
        ScreeningRules,
    )

BUILT_IN = ("without_abpi", "abpi_not_obtained", "nothing_named", "side_difference")
"""Rules that stand as tables of their own in a rule file; the table's name is the rule's id."""

SETTINGS = ("lifted_by", "abpi", *BUILT_IN)
"""Tables that a file building on another may leave out."""


@dataclass(frozen=True, slots=True)
class RulesUsed:
    """Which rules somebody was screened by: what a session keeps."""

    id: str
    version: str
    file: str
    """Name of the rule file, without its folder."""
    digest: str
    """blake2b, 128 bit, over the bytes of the rule file, its base, questions and purposes."""

    @property
    def stamp(self) -> str:
        """All of it in one line, as a session stores it."""
        return f"{self.id} {self.version} {self.file} blake2b:{self.digest}"


@dataclass(frozen=True)
class ScreeningBook:
    """Everything a person is screened by in one run."""

    questions: Questions
    rules: ScreeningRules
    """Whole: what a base gave is already in it."""
    purposes: Purposes
    used: RulesUsed

    @property
    def abpi_limits(self) -> tuple[Rule, ...]:
        """The rules on the ABPI."""
        return tuple(rule for rule in self.rules.rules if rule.measure == "abpi")

    def advice(self, purpose: str) -> PurposeAdvice | None:
        """Return what is known of a purpose."""
        return next((a for a in self.purposes.purposes if a.purpose == purpose), None)

    def branch(self, question: Question) -> frozenset[str]:
        """Return a question's id and those of all questions below it."""
        found = {question.id}
        for other in self.questions.questions:  # parents stand before what they open
            if any(opens.question in found for opens in other.opens):
                found.add(other.id)
        return frozenset(found)


def digest_of(files: Iterable[bytes]) -> str:
    """Return one digest over the bytes of several files, in the order given."""
    whole = blake2b(digest_size=16)
    for raw in files:
        whole.update(blake2b(raw, digest_size=16).digest())
    return whole.hexdigest()


def resolve_rules(rules: ScreeningRules, base: ScreeningRules | None) -> ScreeningRules:
    """Return whole rules: those of the base, with what a file says instead or beside them.

    Args:
        rules: the file chosen.
        base: the file it builds on, itself without a base; None where it names none.
    """
    if base is None:
        return rules
    own = {rule.id: rule for rule in rules.rules}
    kept = [own.pop(rule.id, rule) for rule in base.rules]
    settings = {
        name: getattr(rules, name) if getattr(rules, name) is not None else getattr(base, name)
        for name in SETTINGS
    }
    return rules.model_copy(update={"base": None, "rules": (*kept, *own.values()), **settings})


def resolve_questions(questions: Questions, rules: ScreeningRules, purposes: Purposes) -> Questions:
    """Return the questions with what the rules make of them.

    A question a rule answers with both legs, or by today, is asked of every leg that is there,
    whether or not it is to be fitted: what threatens a leg does not wait for a garment. Where a
    rule fires on a *no*, or a *no* opens another question, a *no* says something.

    Args:
        questions: as their file has them.
        rules: whole.
        purposes: with the rules of their own.
    """
    spoken = [*rules.rules, *(rule for advice in purposes.purposes for rule in advice.rules)]
    serious = {
        name
        for rule in spoken
        if rule.both_legs or rule.urgency in ("now", "today")
        for name in rule.questions
    }
    telling = {name for rule in spoken if rule.when == "no" for name in rule.questions}
    telling |= {o.question for q in questions.questions for o in q.opens if "no" in o.answers}
    resolved = tuple(
        question.model_copy(
            update={
                "every_leg": question.per_leg and (question.every_leg or question.id in serious),
                "no_tells": question.no_tells or question.id in telling,
            }
        )
        for question in questions.questions
    )
    return questions.model_copy(update={"questions": resolved})


def rule_problems(rules: ScreeningRules, questions: Questions) -> tuple[Problem, ...]:
    """Return what is wrong between rules and questions.

    A rule about a question that does not exist, or about an answer it does not have, is an error.
    A line of the first page no rule speaks of is a warning, for whole rules only: a yes there asks
    the prescriber all the same.
    """
    found = [
        problem
        for place, rule in enumerate(rules.rules)
        for problem in _rule_faults(rule, questions, f"rules.{place}")
    ]
    found += [
        _same_id(rule.id, f"rules.{place}.id")
        for place, rule in enumerate(rules.rules)
        if rule.id in BUILT_IN
    ]
    if rules.base is None:
        found += _unspoken(rules, questions)
    return tuple(found)


def purpose_problems(
    purposes: Purposes, questions: Questions, rules: ScreeningRules | None = None
) -> tuple[Problem, ...]:
    """Return what is wrong between the rules of purposes, the questions and the other rules."""
    met = {*BUILT_IN, *(rule.id for rule in (rules.rules if rules is not None else ()))}
    found = []
    for advice in purposes.purposes:
        for place, rule in enumerate(advice.rules):
            key = f"purposes.{advice.purpose}.rules.{place}"
            found += _rule_faults(rule, questions, key)
            if rule.id in met:
                found.append(_same_id(rule.id, f"{key}.id"))
            met.add(rule.id)
    return tuple(found)


def _same_id(name: str, key: str) -> Problem:
    """Return the problem of two rules with one id: one would hide the other."""
    return Problem(
        code="same_id",
        text=say("'{rule}' is the id of another rule too.", rule=name),
        mend=say("Give each its own id."),
        key=key,
    )


def _rule_faults(rule: Rule, questions: Questions, key: str) -> list[Problem]:
    faults = []
    for name in rule.questions:
        question = next((q for q in questions.questions if q.id == name), None)
        if question is None:
            text = say("Rule '{rule}' asks about '{name}': no question.", rule=rule.id, name=name)
            mend = say("Correct the name; screen --questions prints all.")
            faults.append(
                Problem(code="unknown_question", text=text, mend=mend, key=f"{key}.questions")
            )
        elif _never_or_always(rule, question):
            text = say(
                "Rule '{rule}': {threshold} is not between {low} and {high}, as '{name}' is.",
                rule=rule.id,
                threshold=rule.threshold,
                low=question.low,
                high=question.high,
                name=name,
            )
            mend = say("Correct the threshold; as it stands the rule always fires, or never.")
            faults.append(
                Problem(code="threshold_out_of_range", text=text, mend=mend, key=f"{key}.threshold")
            )
        elif not _can_fire(rule, question):
            text = say(
                "Rule '{rule}': '{name}' has no such answer as '{when}'.",
                rule=rule.id,
                name=name,
                when=rule.when,
            )
            mend = say("Look at the question's kind and its answers.")
            faults.append(Problem(code="no_such_answer", text=text, mend=mend, key=f"{key}.when"))
    return faults


def _never_or_always(rule: Rule, question: Question) -> bool:
    if rule.threshold is None or question.low is None or question.high is None:
        return False
    return not question.low <= rule.threshold <= question.high


def _can_fire(rule: Rule, question: Question) -> bool:
    if rule.when == "unknown":
        return True
    if rule.when == "one_of":
        return question.kind == "choice" and set(rule.one_of) <= {*question.choices, "unknown"}
    if rule.when in ("yes", "no"):
        return question.kind == "yes_no_unknown"
    return question.kind == "number"


def _unspoken(rules: ScreeningRules, questions: Questions) -> list[Problem]:
    spoken = {name for rule in rules.rules for name in rule.questions}
    parents: dict[str, set[str]] = {}
    for question in reversed(questions.questions):
        for opens in question.opens:
            below = parents.get(question.id, set()) | {question.id}
            parents.setdefault(opens.question, set()).update(below)
    return [
        Problem(
            code="unspoken_question",
            text=say("No rule speaks of '{name}' or what it opens.", name=question.id),
            mend=say("A yes asks the prescriber all the same. Write a rule if that is not enough."),
            key="rules",
            level=ProblemLevel.WARNING,
        )
        for question in questions.first_page
        if not spoken & ({question.id} | parents.get(question.id, set()))
    ]
