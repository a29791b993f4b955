"""What the files in `profiles/screening/` must look like. Loads pydantic.

A rule file may build on another by `base`: it then holds only what differs, by id. Whether a rule
asks about a question that exists is judged in `fitcore.safety.screening_book`, where both are
known.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from fitcore.points import LEGS, Side
from fitcore.profile_models import Exact, Identifier, ProfileModel, Purpose, Sentence, Source
from fitcore.safety.screening_book import SETTINGS
from fitcore.words import say

if TYPE_CHECKING:
    from decimal import Decimal

MOST_LINES = 14
"""Lines of the first page: what an 80x24 screen holds beside its frame; ours."""

Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,39}$")]


def _without_side(name: str) -> str:
    if name.endswith(("_left", "_right")):
        raise ValueError(say("the side is added by per_leg, it is no part of the id"))
    return name


QuestionName = Annotated[Name, AfterValidator(_without_side)]
Choice = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_-]{0,39}$")]
Line = Annotated[str, Field(min_length=1, max_length=70)]
Version = Annotated[str, Field(pattern=r"^[0-9A-Za-z][0-9A-Za-z.-]{0,19}$")]
Status = Literal[
    "read", "second hand", "computed", "from memory", "common practice", "judgement", "invented"
]
Page = Literal["ordinary", "detail", "leg", "legs", "garment", "prescription", "abpi", "tape"]
Kind = Literal["yes_no_unknown", "number", "choice", "text"]
Role = Literal["prescriber", "specialist", "midwife", "wound_team", "foot_team", "lymphoedema_team"]
Comparison = Literal["below", "at_or_below", "above", "at_or_above"]
When = Literal["yes", "no", "unknown", "one_of", Comparison]
Urgent = Literal["now", "today", "next_working_day", "routine", "none"]


class Stated(ProfileModel):
    """A statement with where it comes from."""

    text: Sentence
    source: Sentence
    status: Status


class Opens(ProfileModel):
    """When a question is asked: after this answer to another; an unknown opens it too."""

    question: QuestionName
    answers: tuple[str, ...] = Field(default=("yes",), min_length=1, strict=False)


class Question(ProfileModel):
    """One question, in words for the person asking."""

    id: QuestionName
    text: Line
    page: Page
    kind: Kind
    per_leg: bool = False
    """Asked for each leg; its ids end in `_left` and `_right`."""
    opens: tuple[Opens, ...] = Field(default=(), strict=False)
    """Any of them opens it; a question without stands on its page."""
    choices: tuple[Choice, ...] = Field(default=(), strict=False)
    words: tuple[Line, ...] = Field(default=(), strict=False)
    """The choices as shown, in their order; none where the ids themselves are words enough."""
    may_stay_open: bool = False
    """Whether it may be left without an answer, and then counts as nothing rather than unknown."""
    every_leg: bool = False
    """Asked of every leg that is there, fitted or not; set as well where a rule makes it so."""
    no_tells: bool = False
    """A *no* to it says something: a rule fires on it. Set where the rules are known."""
    low: Exact | None = None
    high: Exact | None = None
    """What a number may be, both ends included."""
    source: Sentence
    status: Status

    @property
    def ids(self) -> tuple[str, ...]:
        """The ids it is answered under: one, or one for each leg."""
        return tuple(self.id_of(side) for side in LEGS) if self.per_leg else (self.id,)

    def id_of(self, side: Side | None) -> str:
        """Return the id for one leg; the plain one where it is not asked for each leg."""
        return f"{self.id}_{side.value}" if self.per_leg and side is not None else self.id

    @property
    def sides(self) -> tuple[Side | None, ...]:
        """The legs it is asked for; None stands for the person."""
        return LEGS if self.per_leg else (None,)

    def choice_words(self, choice: str) -> str:
        """Return a choice as it is shown; any other text stays as it is."""
        if not self.words or choice not in self.choices:
            return choice
        return self.words[self.choices.index(choice)]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.words and len(self.words) != len(self.choices):
            raise ValueError(say("words names each choice once, in the same order"))
        if bool(self.choices) != (self.kind == "choice"):
            raise ValueError(say("a choice names its choices, and nothing else does"))
        numbers = self.low is not None and self.high is not None
        if numbers != (self.kind == "number") or (self.low is None) != (self.high is None):
            raise ValueError(say("a number names low and high, and nothing else does"))
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError(say("low must be below high"))
        plain = self.kind == "yes_no_unknown" and not self.per_leg and not self.opens
        if self.page == "ordinary" and not plain:
            raise ValueError(say("the first page holds plain questions of yes and no only"))
        return self


class PressureField(ProfileModel):
    """One blood pressure that may be given, in mmHg."""

    id: Literal[
        "arm_left",
        "arm_right",
        "left_dp",
        "left_pt",
        "right_dp",
        "right_pt",
        "left_toe",
        "right_toe",
    ]
    text: Line
    low: Exact = Field(gt=0)
    high: Exact
    """Beyond these a figure is surely a slip of typing."""


class Questions(ProfileModel):
    """All questions of screening, in the order they are asked."""

    format: Literal[1]
    id: Identifier
    version: Version
    source: Source
    questions: tuple[Question, ...] = Field(min_length=1, strict=False)
    pressures: tuple[PressureField, ...] = Field(min_length=8, max_length=8, strict=False)

    @property
    def first_page(self) -> tuple[Question, ...]:
        """The questions everybody is asked."""
        return tuple(question for question in self.questions if question.page == "ordinary")

    def find(self, name: str) -> Question | None:
        """Return a question by its id, with or without a leg."""
        return self._by_name.get(name)

    @cached_property
    def _by_name(self) -> dict[str, Question]:
        return {name: q for q in self.questions for name in (q.id, *q.ids)}

    @model_validator(mode="after")
    def _ids_once(self) -> Self:
        ids = [name for question in self.questions for name in {*question.ids, question.id}]
        twice = sorted(name for name, count in Counter(ids).items() if count > 1)
        if twice:
            raise ValueError(say("'{name}' is the id of two questions", name=twice[0]))
        if len({pressure.id for pressure in self.pressures}) != len(self.pressures):
            raise ValueError(say("each blood pressure stands once"))
        if not 1 <= len(self.first_page) <= MOST_LINES:
            raise ValueError(say("the first page holds 1 to {most} lines", most=MOST_LINES))
        return self

    @model_validator(mode="after")
    def _opened_by_earlier_ones(self) -> Self:
        earlier: dict[str, Question] = {}
        for question in self.questions:
            for opens in question.opens:
                parent = earlier.get(opens.question)
                if parent is None:
                    raise ValueError(
                        say("'{name}' is opened by a question not before it", name=question.id)
                    )
                allowed = {"yes", "no"} if parent.kind == "yes_no_unknown" else {*parent.choices}
                if not allowed.issuperset(opens.answers):
                    raise ValueError(
                        say("'{name}' is opened by an answer there is not", name=question.id)
                    )
            earlier[question.id] = question
        return self


class BuiltIn(Stated):
    """A rule that is no matter of one question; its key in the file is its id."""

    action: Literal["ask", "stop"]
    urgency: Literal["now", "today", "next_working_day", "routine"]


MEASURE_LIMITS = {"abpi": (0.3, 1.6), "ankle_mmhg": (20, 200), "toe_mmhg": (10, 150)}
"""Between which figures a threshold can be meant, both ends included (ours).

Wider than every limit read anywhere, and narrow enough that a slip of typing is refused: a limit
of minus 5 or of 9 never fires, and nobody would see that a rule is gone.
"""


class Rule(Stated):
    """One rule: what is answered or measured, and what follows."""

    id: Name
    questions: tuple[QuestionName, ...] = Field(default=(), strict=False)
    """It fires where any of these is answered so, or not known."""
    measure: Literal["abpi", "ankle_mmhg", "toe_mmhg"] | None = None
    when: When
    threshold: Exact | None = None
    one_of: tuple[Choice, ...] = Field(default=(), strict=False)
    action: Literal["note", "ask", "stop", "hold"]
    urgency: Urgent
    both_legs: bool = False
    """An answer about one leg bears on both."""
    suspects_clot: bool = False
    """No ABPI is taken, and none clears the leg."""
    unless_abpi_clears: bool = False
    says_enough: bool = False
    """For a note: what it says is all its line of the first page means; nothing below is missed."""
    lifted_by: tuple[Role, ...] | None = Field(default=None, strict=False)
    """Whose decision lifts it, where it is not the file's usual roles; none at all where empty."""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        compares = self.when in ("below", "at_or_below", "above", "at_or_above")
        if bool(self.questions) == (self.measure is not None):
            raise ValueError(say("a rule names questions or a measure, and not both"))
        if self.measure is not None and not compares:
            raise ValueError(say("a measure is compared with a threshold"))
        if compares != (self.threshold is not None):
            raise ValueError(say("threshold and comparison go together"))
        if bool(self.one_of) != (self.when == "one_of"):
            raise ValueError(say("one_of names the answers it fires on"))
        if (self.action == "note") != (self.urgency == "none"):
            raise ValueError(say("a note has the urgency none, and nothing else has"))
        if self.action in ("note", "hold") and self.lifted_by is not None:
            raise ValueError(say("no decision lifts a hold, and a note needs none"))
        if self.action == "hold" and self.unless_abpi_clears:
            raise ValueError(say("no ABPI spares a leg a hold"))
        if self.says_enough and self.action != "note":
            raise ValueError(say("says_enough is for a note"))
        return self

    @model_validator(mode="after")
    def _threshold_can_be_meant(self) -> Self:
        if self.measure is None or self.threshold is None:
            return self
        low, high = MEASURE_LIMITS[self.measure]
        if not low <= self.threshold <= high:
            raise ValueError(
                say(
                    "a threshold of {measure} lies between {low} and {high}",
                    measure=self.measure,
                    low=low,
                    high=high,
                )
            )
        return self

    @property
    def looks_above(self) -> bool:
        """Whether it fires on what is too high."""
        return self.when in ("above", "at_or_above")

    def compares(self, value: Decimal | Fraction) -> bool:
        """Whether a number lies where the rule fires; exact, nothing rounded."""
        if self.threshold is None:
            return False
        exact, limit = Fraction(value), Fraction(self.threshold)
        return {
            "below": exact < limit,
            "at_or_below": exact <= limit,
            "above": exact > limit,
            "at_or_above": exact >= limit,
        }.get(self.when, False)


class AbpiSettings(ProfileModel):
    """How old an ABPI may be."""

    max_age_days: Annotated[int, Field(ge=1, le=366)]
    source: Sentence
    status: Status


class WithoutAbpi(BuiltIn):
    """What a leg without an ABPI may get where nothing else speaks against it."""

    max_mmhg: Literal[17, 20]


class SideDifferenceRule(BuiltIn):
    """From which difference between the calves on somebody must look, in cm."""

    cm: Exact = Field(ge=1, le=3)
    grown_cm: Exact = Field(ge=1, le=3)
    """The same, for one calf against last time."""


class LiftedBy(ProfileModel):
    """Whose decision lifts what."""

    ask: tuple[Role, ...] = Field(strict=False)
    stop: tuple[Role, ...] = Field(strict=False)


class ScreeningRules(ProfileModel):
    """A rule file of screening."""

    format: Literal[1]
    id: Identifier
    name: Sentence
    version: Version
    base: Identifier | None = None
    """The file whose rules hold where this one has none of the same id."""
    source: Source
    lifted_by: LiftedBy | None = None
    abpi: AbpiSettings | None = None
    without_abpi: WithoutAbpi | None = None
    abpi_not_obtained: BuiltIn | None = None
    nothing_named: BuiltIn | None = None
    side_difference: SideDifferenceRule | None = None
    rules: tuple[Rule, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _whole(self) -> Self:
        twice = [name for name, count in Counter(r.id for r in self.rules).items() if count > 1]
        if twice:
            raise ValueError(say("'{name}' is the id of two rules", name=twice[0]))
        missing = [name for name in SETTINGS if getattr(self, name) is None]
        if self.base is None and missing:
            raise ValueError(say("a file without a base needs [{name}]", name=missing[0]))
        if self.base is None and not self.rules:
            raise ValueError(say("a file without a base needs rules"))
        return self


class RulesInUse(ProfileModel):
    """Which rule file a service screens by, in its data folder's `screening/use.toml`."""

    format: Literal[1]
    rules: Identifier
    """Id of a rule file, shipped or the service's own."""


class PurposeAdvice(Stated):
    """What is known of wearing compression for a purpose, and what it asks."""

    purpose: Purpose
    mmhg: tuple[Exact, Exact] | None = Field(default=None, strict=False)
    """Pressure at the ankle a source states, in mmHg ..."""
    for_whom: Sentence | None = None
    """... and for whom: never shown without."""
    rules: tuple[Rule, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _pressure_with_its_people(self) -> Self:
        if (self.mmhg is None) != (self.for_whom is None):
            raise ValueError(say("a pressure stands with the people it is stated for"))
        return self


class Purposes(ProfileModel):
    """Advice for each purpose."""

    format: Literal[1]
    id: Identifier
    version: Version
    source: Source
    purposes: tuple[PurposeAdvice, ...] = Field(strict=False)

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        if len({advice.purpose for advice in self.purposes}) != len(self.purposes):
            raise ValueError(say("each purpose stands once"))
        return self
