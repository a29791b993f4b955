"""Screening: each rule alone and in pairs, unknowns, blood pressures, and the demo cases."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from itertools import combinations
from typing import TYPE_CHECKING

import pytest
from screening_cases import (
    GUIDELINES,
    TODAY,
    answers,
    book,
    fired,
    legs,
    ordinary,
    pressures,
    screened,
)

from fitcore.points import LEGS, Side
from fitcore.problems import ReadingError
from fitcore.safety.abpi import Missing
from fitcore.safety.outcomes import ACTIONS, URGENCIES, Action
from fitcore.safety.screening import screen
from fitcore.safety.screening_answers import Answers, Pressures, parse_answer, parse_pressure
from fitcore.safety.screening_book import (
    purpose_problems,
    resolve_questions,
    resolve_rules,
    rule_problems,
)
from fitcore.safety.screening_model import Opens, Rule, ScreeningRules
from fitcore.safety.screening_questions import Asked

if TYPE_CHECKING:
    from fitcore.safety.screening_model import Question
    from fitcore.safety.screening_result import ScreeningResult

BOOK = book()
NORMAL = {"arm_left": 138, "arm_right": 134, "left_dp": 138, "right_dp": 138}
ARMS = {"arm_left": 140, "arm_right": 140}
STIFF, NO_SIGNAL = Missing.NOT_COMPRESSIBLE, Missing.NOT_OBTAINED


# ---- the first page ---------------------------------------------------------------------------


def test_the_first_page_stands_on_one_small_screen() -> None:
    page = BOOK.questions.first_page
    assert [question.id for question in page] == [
        "under_18", "emergency", "limb_at_risk", "leg_swelling", "infection_or_wound", "skin",
        "arteries", "circulation_signs", "diabetes_or_kidney", "no_feeling", "heart", "pregnant",
        "clot_risk", "lymph",
    ]  # fmt: skip
    assert len(page) <= 14
    assert max(len(question.text) for question in BOOK.questions.questions) <= 70


def test_every_line_asked_and_none_is_the_ordinary_client() -> None:
    result = screened()
    assert result.as_json() == {
        "outcome": "go",
        "urgency": "none",
        "rules": [],
        "abpi": {"left": None, "right": None},
        "max_mmhg": 20,
        "legs": {"left": "cleared", "right": "cleared"},
    }


@pytest.mark.parametrize("question", BOOK.questions.first_page, ids=lambda q: q.id)
def test_a_line_not_asked_leaves_the_legs_not_screened(question: Question) -> None:
    given = {name: (value,) for name, value in ordinary().items() if name != question.id}
    result = screened(Answers(given))
    assert not result.complete
    assert result.outcome == "not_screened"
    assert result.max_mmhg is None
    assert legs(result) == ("not_screened", "not_screened")


@pytest.mark.parametrize("answer", ["yes", "unknown"])
@pytest.mark.parametrize("question", BOOK.questions.first_page, ids=lambda q: q.id)
def test_a_yes_or_unknown_alone_never_ends_in_go(question: Question, answer: str) -> None:
    result = screened(answers(**{question.id: answer}))
    assert result.outcome in ("ask", "stop", "hold")
    assert set(legs(result)).isdisjoint({"cleared", "not_screened"})


def test_all_unknown_is_a_hold_now() -> None:
    result = screened(Answers().with_absent_unknown(BOOK.questions))
    assert (result.outcome, result.urgency) == ("hold", "now")
    assert legs(result) == ("hold", "hold")
    # Every rule about an answer that a first page opens speaks, save those on the garment.
    asked = {question.id for question, _ in Asked(
        Answers().with_absent_unknown(BOOK.questions), BOOK.questions, LEGS
    ).opened()} | {question.id for question in BOOK.questions.first_page}  # fmt: skip
    assert {r.id for r in BOOK.rules.rules if asked & set(r.questions)} <= fired(result)


def test_a_yes_opens_its_own_questions_and_no_others() -> None:
    def opened(**changed: str) -> list[str]:
        now = Asked(answers(**changed), BOOK.questions, LEGS).opened()
        return [question.id_of(side) for question, side in now]

    assert opened() == []
    assert opened(diabetes_or_kidney="yes", diabetes="no", kidney_disease="no") == [
        "diabetes", "kidney_disease", "smoker",
    ]  # fmt: skip
    assert opened(diabetes_or_kidney="yes", diabetes="yes")[1:5] == [
        "touch_felt", "foot_check", "hot_foot_left", "hot_foot_right",
    ]  # fmt: skip
    assert opened(skin="unknown")[:2] == ["weeping_skin_left", "weeping_skin_right"]
    one_leg = Asked(answers(skin="yes"), BOOK.questions, (Side.RIGHT,)).opened()
    assert {side for _, side in one_leg} == {Side.RIGHT, None}


@pytest.mark.parametrize("answer", ["yes", "unknown"])
def test_a_yes_that_comes_to_nothing_below_asks(answer: str) -> None:
    nothing = {"arteries": answer, "arterial_disease": "no", "amputation_circulation": "no",
               "bypass_left": "no", "bypass_right": "no", "smoker": "no"}  # fmt: skip
    result = screened(answers(**nothing))
    assert (result.outcome, fired(result)) == ("ask", {"nothing_named"})


def test_an_answer_counts_even_where_its_question_was_never_opened() -> None:
    assert legs(screened(answers(bypass_left="yes"))) == ("stop", "cleared")


HARMLESS_YES = ("touch_felt", "foot_check", "midwife_knows", "prescriber_knows")
"""Questions a *no* to which tells something."""


def test_a_harmless_no_to_a_question_never_opened_says_nothing() -> None:
    given = {q.id_of(s): "no" for q in BOOK.questions.questions for s in q.sides
             if q.kind == "yes_no_unknown" and q.id not in HARMLESS_YES}  # fmt: skip
    assert screened(answers(**given)).outcome == "go"
    assert {q.id for q in BOOK.questions.questions if q.no_tells} == set(HARMLESS_YES)


@pytest.mark.parametrize("name", HARMLESS_YES)
def test_a_no_that_tells_something_counts_wherever_it_was_given(name: str) -> None:
    assert screened(answers(**{name: "no"})).outcome == "ask"
    assert screened(answers(**{name: "yes"})).outcome == "go"


# ---- legs that are not to be fitted -------------------------------------------------------------

THREATS = {
    "limb_at_risk": ("hold", "now"),
    "leg_swelling": ("hold", "today"),
    "infection_or_wound": ("hold", "today"),
    "circulation_signs": ("hold", "today"),
}


def left_told_right_not(line: str) -> dict[str, str]:
    """Answer a line of the first page yes, and of what it opens nothing for the right leg."""
    given = {line: "yes"}
    for question in BOOK.questions.questions:
        if question.page in ("leg", "detail") and line in {o.question for o in question.opens}:
            harmless = "yes" if question.id in (*HARMLESS_YES, "swelling_old") else "no"
            names = [name for name in question.ids if not name.endswith("_right")]
            given |= dict.fromkeys(names, harmless)
    return given


@pytest.mark.parametrize("line", THREATS)
def test_what_threatens_a_leg_that_is_not_fitted_is_asked_all_the_same(line: str) -> None:
    given = left_told_right_not(line)
    for why_not in (
        {},
        {"leg_state_right": "cannot_be_measured", "leg_why_right": "dressing"},
        {"leg_state_right": "unknown", "leg_why_right": "injury"},
    ):
        for sides in (LEGS, (Side.LEFT,)):
            result = screened(answers(**given | why_not), sides=sides)
            assert (result.outcome, result.urgency) == THREATS[line], (why_not, sides)
    gone = {"leg_state_right": "absent", "leg_why_right": "injury"}
    result = screened(answers(**given | gone))
    assert "hold" not in (result.outcome, *legs(result)), "only a leg that is gone drops out"


def test_what_a_yes_opens_for_one_leg_alone_is_not_asked_of_a_leg_not_fitted() -> None:
    given = left_told_right_not("skin")
    assert legs(screened(answers(**given), sides=(Side.LEFT,))) == ("ask", "not_screened")
    assert "fragile_skin" not in fired(screened(answers(**given), sides=(Side.LEFT,)))


def test_every_question_of_a_serious_rule_is_asked_of_every_leg() -> None:
    every = {question.id for question in BOOK.questions.questions if question.every_leg}
    assert every == {
        "cold_foot", "black_skin", "swelling_new", "hot_or_painful", "swelling_unexplained",
        "infection_spreading", "rest_pain", "hot_foot", "leg_why",
    }  # fmt: skip


def test_a_no_that_opens_another_question_tells_something() -> None:
    questions = tuple(
        question.model_copy(update={"opens": (Opens(question="smoker", answers=("no",)),)})
        if question.id == "pregnancy_warning"
        else question
        for question in BOOK.questions.questions
    )
    own = BOOK.questions.model_copy(update={"questions": questions})
    resolved = resolve_questions(own, BOOK.rules, BOOK.purposes)
    assert {q.id for q in resolved.questions if q.no_tells} == {*HARMLESS_YES, "smoker"}


def test_a_leg_called_absent_by_one_and_present_by_another_is_asked_about_and_not_fitted() -> None:
    given = {name: (value,) for name, value in left_told_right_not("skin").items()}
    both = {name: (value,) for name, value in ordinary().items()} | given
    for state in (("present", "absent"), ("cannot_be_measured", "present")):
        told = Answers(both | {"leg_state_right": state, "leg_why_right": ("injury",)})
        asked = Asked(told, BOOK.questions, LEGS)
        assert (asked.there, asked.sides, asked.to_fit) == (LEGS, LEGS, (Side.LEFT,))
        result = screened(told)
        assert legs(result) == ("cleared", "not_screened")
        assert {"weeping_skin", "fragile_skin"} <= fired(result), "of the right leg nobody knows"
    unmeasured = Answers(both | {"leg_state_right": ("cannot_be_measured", "absent")})
    asked = Asked(unmeasured, BOOK.questions, LEGS)
    assert (asked.there, asked.sides) == (LEGS, (Side.LEFT,))


def test_with_no_leg_to_fit_nothing_is_go() -> None:
    gone = {f"{name}_{side}": value for side in LEGS
            for name, value in (("leg_state", "absent"), ("leg_why", "injury"))}  # fmt: skip
    result = screened(answers(**gone))
    assert (result.outcome, legs(result)) == ("not_screened", ("not_screened", "not_screened"))
    assert result.max_mmhg is None
    assert screened(answers(**gone | {"emergency": "yes"})).outcome == "hold"


# ---- a yes that names nothing -------------------------------------------------------------------


def test_a_note_alone_names_nothing_unless_it_says_enough() -> None:
    quiet = BOOK.rules.model_copy(
        update={
            "rules": tuple(
                rule.model_copy(update={"says_enough": False}) for rule in BOOK.rules.rules
            )
        }
    )
    given = answers(lymph="yes", lymphoedema_left="yes", lymphoedema_right="no",
                    lipoedema="no", prescriber_knows="yes")  # fmt: skip
    assert screened(given).outcome == "go"
    not_known = answers(lymph="unknown", lymphoedema_left="no", lymphoedema_right="no",
                        lipoedema="no", prescriber_knows="yes")  # fmt: skip
    assert fired(screened(not_known)) == {"lymph_known", "nothing_named"}
    result = screen(given, Pressures(), replace(BOOK, rules=quiet), on=TODAY)
    assert fired(result) == {"lymph_known", "nothing_named"}


def test_swelling_is_let_through_only_where_it_is_old_and_explained() -> None:
    given = {**NOT_SWOLLEN, "leg_swelling": "yes"}
    known = screened(answers(**given))
    assert (known.outcome, fired(known)) == ("go", {"swelling_known"})
    for answer in ("no", "unknown"):
        result = screened(answers(**given | {"swelling_old": answer}))
        assert "nothing_named" in fired(result)
        assert legs(result) == ("ask", "ask")


# ---- each rule, and each pair -----------------------------------------------------------------


def answer_that_fires(rule: Rule) -> str | Decimal:
    if rule.threshold is not None:
        return rule.threshold + (1 if rule.looks_above else -1)
    return rule.one_of[0] if rule.one_of else rule.when


def alone(rule: Rule) -> dict[str, str | Decimal]:
    """Return the answer that fires a rule of the file, on the left leg where it is by leg.

    A *no* counts only where its question is open, so what opens it is answered too.
    """
    question = find(rule.questions[0])
    given = {question.id_of(Side.LEFT): answer_that_fires(rule)}
    while rule.when == "no" and question.opens:
        question = find(question.opens[0].question)
        given[question.id] = "yes"
    return given


def find(name: str) -> Question:
    found = BOOK.questions.find(name)
    assert found is not None
    return found


ANSWERED = [rule for rule in BOOK.rules.rules if rule.questions]


def bare(*rules: Rule) -> ScreeningResult:
    """Screen with just these answers changed; what a yes opens is answered harmlessly."""
    given = ordinary()
    for rule in rules:
        given |= alone(rule)
    for question, side in Asked(answers(**given), BOOK.questions, LEGS).opened():
        name = question.id_of(side)
        harmless = "yes" if question.id in HARMLESS_YES else "no"
        given.setdefault(name, Decimal(20) if question.kind == "number" else harmless)
    return screened(answers(**given))


@pytest.mark.parametrize("rule", ANSWERED, ids=lambda rule: rule.id)
def test_each_rule_alone(rule: Rule) -> None:
    result = bare(rule)
    (found,) = (one for one in result.rules if one.id == rule.id)
    assert (found.action, found.urgency, found.text) == (rule.action, rule.urgency, rule.text)
    assert found.source
    assert found.status
    if rule.action == "note":
        assert result.outcome == "go"
        return
    assert ACTIONS.index(Action(result.outcome)) >= ACTIONS.index(Action(rule.action))
    assert URGENCIES.index(result.urgency) <= URGENCIES.index(found.urgency)
    by_leg = any(q.per_leg for q in BOOK.questions.questions if q.id in rule.questions)
    both = rule.both_legs or not by_leg
    assert found.sides == ((Side.LEFT, Side.RIGHT) if both else (Side.LEFT,))
    assert result.legs[0].clearance == result.outcome
    if not both:
        assert result.legs[1].clearance == "cleared"


def test_each_pair_of_rules_the_worse_outcome_and_the_nearer_urgency_win() -> None:
    count = 0
    for one, other in combinations(ANSWERED, 2):
        if alone(one).keys() & alone(other).keys() and alone(one) != alone(other):
            continue
        result = bare(one, other)
        assert {one.id, other.id} <= fired(result)
        serious = [rule for rule in (one, other) if rule.action != "note"]
        for rule in serious:
            assert ACTIONS.index(Action(result.outcome)) >= ACTIONS.index(Action(rule.action))
            assert URGENCIES.index(result.urgency) <= URGENCIES.index(rule.urgency)
        shown = [ACTIONS.index(rule.action) for rule in result.rules]
        assert shown == sorted(shown, reverse=True)
        if serious and not fired(result) - {one.id, other.id}:
            worst = max(serious, key=lambda rule: ACTIONS.index(Action(rule.action)))
            assert result.outcome == worst.action
        count += 1
    assert count > 1000


def test_answers_that_differ_between_laptops_let_the_careful_one_rule() -> None:
    both = {name: (value,) for name, value in ordinary().items()}
    for disputed in (("no", "yes"), ("yes", "no"), ("unknown", "no")):
        result = screened(Answers(both | {"emergency": disputed}))
        assert (result.outcome, result.urgency) == ("hold", "now")
    asked = {"diabetes_or_kidney": ("yes",), "diabetes": ("yes",), "touch_felt": ("yes", "no")}
    assert "touch_not_felt" in fired(screened(Answers(both | asked)))


# ---- blood pressures --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ankle", "arm", "shown", "leg"),
    [
        (126, 140, "0.90", "cleared"),
        (112, 140, "0.800", "cleared"),
        (103, 130, "0.79", "stop"),
        (110, 138, "0.797", "stop"),
        (182, 140, "1.300", "cleared"),
        (183, 140, "1.31", "stop"),
        (84, 140, "0.60", "stop"),
        (70, 140, "0.500", "stop"),
        (64, 130, "0.49", "hold"),
        (125, 130, "0.96", "cleared"),
        (120, 130, "0.92", "cleared"),
    ],
)
def test_bands_of_the_abpi_at_their_edges(ankle: int, arm: int, shown: str, leg: str) -> None:
    taken = pressures(arm_left=arm, arm_right=arm - 2, left_dp=ankle, right_dp=arm)
    result = screened(taken=taken)
    assert result.as_json()["abpi"] == {"left": shown, "right": "1.00"}
    assert legs(result) == (leg, "cleared")
    assert result.max_mmhg is None


def test_one_leg_never_clears_the_other() -> None:
    result = screened(taken=pressures(arm_left=130, arm_right=128, left_dp=125))
    assert result.as_json()["abpi"] == {"left": "0.96", "right": None}
    assert [leg.limit_mmhg for leg in result.legs] == [None, 20]
    assert result.max_mmhg == 20


@pytest.mark.parametrize(
    ("given", "left", "rule"),
    [
        ({**ARMS, "left_dp": STIFF}, "stop", "abpi_high"),
        ({**ARMS, "left_dp": 126, "left_pt": STIFF}, "stop", "abpi_high"),
        ({"left_dp": STIFF}, "stop", "abpi_high"),
        ({**ARMS, "left_dp": NO_SIGNAL, "left_pt": NO_SIGNAL}, "ask", "abpi_not_obtained"),
        ({"left_dp": 130}, "ask", "abpi_not_obtained"),
        ({"arm_left": NO_SIGNAL, "arm_right": NO_SIGNAL, "left_dp": 130}, "ask",
         "abpi_not_obtained"),
        ({**ARMS, "left_dp": 59}, "hold", "ankle_pressure"),
        ({"left_dp": 59}, "hold", "ankle_pressure"),
        ({"left_dp": STIFF, "left_pt": 59}, "hold", "ankle_pressure"),
        ({"left_toe": 29}, "hold", "toe_pressure"),
    ],
)  # fmt: skip
def test_pressures_that_are_missing_or_low(
    given: dict[str, int | Missing], left: str, rule: str
) -> None:
    result = screened(taken=pressures(**given))
    assert rule in fired(result)
    assert legs(result) == (left, "cleared")


@pytest.mark.parametrize("given", [{"left_dp": 60}, {"left_toe": 30}, {"left_toe": NO_SIGNAL}])
def test_on_the_edge_a_pressure_is_no_hold(given: dict[str, int | Missing]) -> None:
    assert fired(screened(taken=pressures(**given))).isdisjoint({"ankle_pressure", "toe_pressure"})


def test_one_arm_clears_only_with_a_reason_and_stops_without() -> None:
    without = screened(taken=pressures(arm_left=138, left_dp=138, right_dp=138))
    assert [leg.limit_mmhg for leg in without.legs] == [20, 20]
    assert without.legs[0].abpi.why_not.startswith("One arm only")
    explained = screened(
        taken=pressures(arm_left=138, left_dp=138, right_dp=138, why="lymphoedema of the arm")
    )
    assert explained.max_mmhg is None
    low = screened(taken=pressures(arm_left=138, left_dp=100))
    assert legs(low) == ("stop", "cleared")


def test_an_abpi_grows_old_and_is_void_after_new_symptoms() -> None:
    def limit(days: int, **changed: str) -> int | None:
        taken = pressures(taken_on=TODAY - timedelta(days=days), **NORMAL)
        return screened(answers(**changed), taken).max_mmhg

    assert limit(0) is None
    assert limit(1) == 20, "nobody was asked about new symptoms"
    assert limit(1, new_symptoms_since_abpi="no") is None
    assert limit(1, new_symptoms_since_abpi="yes") == 20
    assert limit(1, new_symptoms_since_abpi="unknown") == 20
    assert limit(0, new_symptoms_since_abpi="no") is None
    assert limit(0, new_symptoms_since_abpi="yes") == 20, "since this morning, too"
    assert limit(0, new_symptoms_since_abpi="unknown") == 20
    assert limit(90, new_symptoms_since_abpi="no") is None
    assert limit(91, new_symptoms_since_abpi="no") == 20
    assert limit(-1, new_symptoms_since_abpi="no") == 20
    old = pressures(taken_on=TODAY - timedelta(days=400), arm_left=140, arm_right=140, left_dp=100)
    assert legs(screened(taken=old)) == ("stop", "cleared"), "an old low value still stops"


def test_new_symptoms_void_an_abpi_whatever_day_it_is_of() -> None:
    taken = pressures(**NORMAL)
    assert screened(taken=taken).max_mmhg is None
    for answer in ("yes", "unknown"):
        assert screened(answers(new_symptoms_since_abpi=answer), taken).max_mmhg == 20
    both = {name: (value,) for name, value in ordinary().items()}
    disputed = Answers(both | {"new_symptoms_since_abpi": ("no", "yes")})
    assert screened(disputed, pressures(taken_on=TODAY, **NORMAL)).max_mmhg == 20
    assert screened(disputed, pressures(taken_on=TODAY - timedelta(days=1), **NORMAL)).max_mmhg


@pytest.mark.parametrize("answer", ["no", "unknown"])
def test_pressures_somebody_says_were_not_taken_clear_nothing(answer: str) -> None:
    leg = screened(answers(abpi_taken=answer), pressures(**NORMAL)).legs[0]
    assert (leg.abpi.shown, leg.abpi.valid, leg.limit_mmhg) == ("1.00", False, 20)
    assert "none were taken" in leg.abpi.why_not
    low = pressures(**NORMAL | {"left_dp": 100})
    assert legs(screened(answers(abpi_taken=answer), low)) == ("stop", "cleared")
    assert screened(answers(abpi_taken="yes"), pressures(**NORMAL)).max_mmhg is None


def test_with_two_arms_here_and_one_there_the_one_arm_counts() -> None:
    given = {name: (Decimal(138),) for name in ("arm_left", "left_dp", "right_dp")}
    taken = Pressures(given | {"arm_right": (Decimal(134), NO_SIGNAL)})
    assert [leg.abpi.valid for leg in screened(taken=taken).legs] == [False, False]
    stiff = Pressures(given | {"arm_right": (Decimal(134), STIFF)})
    for leg in screened(taken=stiff).legs:
        assert not leg.abpi.valid
        assert "would not compress" in leg.abpi.why_not


def test_a_low_ankle_pressure_keeps_a_good_index_from_clearing() -> None:
    """An arm as low as the ankle gives an index of 1: it is the ankle that counts."""
    quiet = tuple(
        rule.model_copy(update={"action": "ask", "threshold": Decimal(100)})
        if rule.measure == "ankle_mmhg"
        else rule
        for rule in BOOK.rules.rules
    )
    own = replace(BOOK, rules=BOOK.rules.model_copy(update={"rules": quiet}))
    taken = pressures(arm_left=90, arm_right=90, left_dp=90, right_dp=110)
    result = screen(answers(), taken, own, on=TODAY)
    assert [leg.abpi.clears for leg in result.legs] == [False, True]


def test_of_several_rules_on_an_index_the_worst_counts_in_whatever_order() -> None:
    """Between two disputed values the one that stops more is shown."""
    order = sorted(BOOK.rules.rules, key=lambda rule: rule.id == "abpi_hold")
    own = replace(BOOK, rules=BOOK.rules.model_copy(update={"rules": tuple(order)}))
    taken = Pressures(
        {
            "arm_left": (Decimal(140),),
            "arm_right": (Decimal(140),),
            "left_dp": (Decimal(100), Decimal(200)),
            "right_dp": (Decimal(140),),
        }
    )
    for book_used in (BOOK, own):
        assert screen(answers(), taken, book_used, on=TODAY).as_json()["abpi"] == {
            "left": "0.71",
            "right": "1.00",
        }


def test_where_a_clot_is_suspected_no_abpi_is_asked_and_none_clears() -> None:
    swollen = answers(leg_swelling="yes", swelling_new_left="yes", hot_or_painful_left="no")
    result = screened(swollen, pressures(**NORMAL))
    assert legs(result) == ("hold", "hold")
    assert not any(leg.may_take_abpi or leg.abpi.clears for leg in result.legs)
    assert all(leg.may_take_abpi for leg in screened().legs)


def test_with_diabetes_or_kidney_disease_an_abpi_alone_does_not_clear() -> None:
    for name in ("diabetes", "kidney_disease"):
        given = {"diabetes_or_kidney": "yes", "diabetes": "no", "kidney_disease": "no"}
        given |= {name: "yes", "touch_felt": "yes", "foot_check": "yes", "smoker": "no",
                  "hot_foot_left": "no", "hot_foot_right": "no"}  # fmt: skip
        result = screened(answers(**given), pressures(**NORMAL))
        assert (result.outcome, fired(result)) == ("ask", {name})


def test_a_stronger_garment_without_an_abpi_asks_for_one() -> None:
    assert screened(answers(garment_high_mmhg=Decimal(20))).outcome == "go"
    strong = answers(garment_high_mmhg=Decimal("20.1"))
    assert (screened(strong).outcome, fired(screened(strong))) == ("ask", {"without_abpi"})
    assert screened(strong, pressures(**NORMAL)).outcome == "go"
    half = screened(strong, pressures(arm_left=130, arm_right=128, left_dp=125))
    assert legs(half) == ("cleared", "ask")
    for name in ("garment_high_mmhg", "prescribed_high_mmhg"):
        unknown = screened(answers(**{name: "unknown"}))
        assert "without_abpi" in fired(unknown), "nobody knows how strong it is"


def test_disputed_pressures_are_judged_each_and_the_worst_is_shown() -> None:
    taken = Pressures(
        {
            "arm_left": (Decimal(140),),
            "arm_right": (Decimal(138),),
            "left_dp": (Decimal(140), Decimal(111), Decimal(126)),
            "right_dp": (Decimal(140), Decimal(128)),
        }
    )
    result = screened(taken=taken)
    assert result.as_json()["abpi"] == {"left": "0.79", "right": "0.91"}
    assert legs(result) == ("stop", "cleared")


def test_a_pressure_one_laptop_could_not_take_leaves_the_leg_without_an_abpi() -> None:
    taken = Pressures(
        {
            "arm_left": (Decimal(140),),
            "arm_right": (Decimal(138),),
            "left_dp": (Decimal(140), NO_SIGNAL),
        }
    )
    leg = screened(taken=taken).legs[0]
    assert (leg.clearance, leg.abpi.clears, leg.limit_mmhg) == ("ask", False, 20)


def test_an_abpi_that_stops_is_still_an_abpi() -> None:
    taken = pressures(**{**NORMAL, "left_dp": 100, "right_dp": 138})
    low, normal = screened(answers(garment_high_mmhg=Decimal(24)), taken).legs
    assert (low.abpi.valid, low.abpi.clears, low.limit_mmhg) == (True, False, None)
    assert (normal.abpi.valid, normal.abpi.clears, normal.limit_mmhg) == (True, True, None)
    assert fired(screened(answers(garment_high_mmhg=Decimal(24)), taken)) == {"abpi_low"}


# ---- guideline files --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rules", "ratio", "outcome"),
    [
        ("icc-2020", "0.599", "hold"),
        ("icc-2020", "0.6", "ask"),
        ("icc-2020", "0.8", "go"),
        ("icc-2020", "0.901", "go"),
        ("german-s2k-2018", "0.499", "hold"),
        ("german-s2k-2018", "0.5", "ask"),
        ("has-2010", "0.599", "hold"),
        ("has-2010", "0.899", "ask"),
        ("has-2010", "0.9", "go"),
        ("nice-cks", "0.799", "stop"),
        ("nice-cks", "0.8", "go"),
        ("nhs-devon-2025", "0.8", "go"),
        ("nice-cks", "1.301", "stop"),
        ("nhs-devon-2025", "1.39", "go"),
        ("nhs-devon-2025", "1.395", "stop"),
        ("nhs-devon-2025", "0.5", "stop"),
        ("sign-120", "0.8", "go"),
        ("sign-120", "0.799", "stop"),
        ("avf-2019", "0.5", "hold"),
        ("avf-2019", "0.501", "stop"),
    ],
)
def test_each_guideline_has_its_own_bands(rules: str, ratio: str, outcome: str) -> None:
    ankle = Decimal(ratio) * 200  # an arm of 200 keeps the ankle itself above 60 mmHg
    taken = Pressures(
        {
            "arm_left": (Decimal(200),),
            "arm_right": (Decimal(200),),
            "left_dp": (ankle,),
            "right_dp": (Decimal(200),),
        }
    )
    assert screened(taken=taken, rules=rules).outcome == outcome


@pytest.mark.parametrize("rules", GUIDELINES)
def test_each_guideline_keeps_the_red_flags_of_the_strictest(rules: str) -> None:
    other = book(rules)
    assert other.used.id == rules
    assert other.used.digest != BOOK.used.digest
    flags = {rule for rule in BOOK.rules.rules if rule.action == "hold" and rule.questions}
    assert flags <= set(other.rules.rules)
    unknown = screened(Answers().with_absent_unknown(BOOK.questions), rules=rules)
    assert (unknown.outcome, unknown.urgency) == ("hold", "now")
    assert screened(rules=rules).outcome == "go"


def test_every_rule_names_its_source_and_what_is_known_of_it() -> None:
    for name in ("strictest", *GUIDELINES):
        rules = book(name).rules.rules
        assert all(rule.source and rule.status for rule in rules)
        holds = {rule.id for rule in rules if rule.action == "hold"}
        assert {"emergency", "swelling_new", "black_skin", "infection_spreading", "abpi_hold",
                "ankle_pressure", "toe_pressure", "breathless_at_rest"} <= holds  # fmt: skip


def test_a_service_may_choose_17_mmhg() -> None:
    own = BOOK.rules.model_dump(mode="python") | {"id": "ours", "base": "strictest", "rules": ()}
    own["without_abpi"] = own["without_abpi"] | {"max_mmhg": 17}
    rules = resolve_rules(ScreeningRules.model_validate(own), BOOK.rules)
    assert rules.without_abpi is not None
    assert (rules.without_abpi.max_mmhg, len(rules.rules)) == (17, len(BOOK.rules.rules))
    own["without_abpi"]["max_mmhg"] = 25
    with pytest.raises(ValueError, match="max_mmhg"):
        ScreeningRules.model_validate(own)


# ---- faults in rule files -----------------------------------------------------------------------

RULE = {"id": "ours", "questions": ["skin"], "when": "yes", "action": "ask", "urgency": "routine",
        "text": "Ask.", "source": "Ours.", "status": "judgement"}  # fmt: skip


@pytest.mark.parametrize(
    "wrong",
    [
        {"questions": []},
        {"measure": "abpi"},
        {"when": "below"},
        {"threshold": 1},
        {"when": "one_of"},
        {"urgency": "none"},
        {"action": "note"},
        {"action": "hold", "lifted_by": ["specialist"]},
        {"action": "forbid"},
        {"urgency": "tomorrow"},
        {"questions": ["skin_left"]},
        {"action": "hold", "unless_abpi_clears": True},
        {"says_enough": True},
        {"source": ""},
    ],
)
def test_a_rule_that_cannot_be_meant_is_refused(wrong: dict[str, object]) -> None:
    Rule.model_validate(RULE)
    with pytest.raises(ValueError, match="validation error"):
        Rule.model_validate(RULE | wrong)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"questions": ["skinn"]}, "unknown_question"),
        ({"questions": ["weeks_pregnant"]}, "no_such_answer"),
        ({"questions": ["skin"], "when": "one_of", "one_of": ["circulation"]}, "no_such_answer"),
        ({"questions": ["leg_why"], "when": "one_of", "one_of": ["bad_luck"]}, "no_such_answer"),
        ({"questions": ["skin"], "when": "above", "threshold": 1}, "no_such_answer"),
        ({"id": "nothing_named"}, "same_id"),
        ({"id": "travel_risk"}, "same_id"),
    ],
)
def test_a_rule_about_no_question_or_no_answer_is_an_error(
    change: dict[str, object], code: str
) -> None:
    rule = Rule.model_validate(RULE | change)
    rules = BOOK.rules.model_copy(update={"rules": (*BOOK.rules.rules, rule)})
    (problem,) = (
        *rule_problems(rules, BOOK.questions),
        *purpose_problems(BOOK.purposes, BOOK.questions, rules),
    )
    assert (problem.code, problem.level) == (code, "error")


def test_a_line_no_rule_speaks_of_is_a_warning_and_still_asks() -> None:
    kept = tuple(rule for rule in BOOK.rules.rules if "under_18" not in rule.questions)
    rules = BOOK.rules.model_copy(update={"rules": kept})
    (problem,) = rule_problems(rules, BOOK.questions)
    assert (problem.code, problem.level) == ("unspoken_question", "warning")


# ---- answers as typed ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "typed", "read"),
    [
        ("skin", "Yes", "yes"),
        ("skin", " unknown ", "unknown"),
        ("weeks_pregnant", 31, Decimal(31)),
        ("weeks_pregnant", "31", Decimal(31)),
        ("weeks_pregnant", "unknown", "unknown"),
        ("garment_high_mmhg", "23,5", Decimal("23.5")),
        ("leg_state_left", "absent", "absent"),
        ("prescriber", "Dr-7", "Dr-7"),
    ],
)
def test_answers_that_are_read(name: str, typed: object, read: object) -> None:
    assert parse_answer(find(name), typed) == read


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("skin", "maybe"),
        ("skin", ""),
        ("skin", True),
        ("skin", 1),
        ("weeks_pregnant", 45),
        ("weeks_pregnant", "31 weeks"),
        ("weeks_pregnant", Decimal("NaN")),
        ("weeks_pregnant", False),
        ("leg_state_left", "yes"),
        ("prescriber", "\x1b"),
    ],
)
def test_answers_that_are_refused(name: str, typed: object) -> None:
    with pytest.raises(ReadingError) as caught:
        parse_answer(find(name), typed)
    assert caught.value.problem.mend.startswith("Answer with: ")


@pytest.mark.parametrize("value", [0, 39, 301, "13o", "", True, Decimal("inf"), [120]])
def test_blood_pressures_that_are_refused(value: object) -> None:
    with pytest.raises(ReadingError):
        parse_pressure(BOOK.questions.pressures[0], value)


@pytest.mark.parametrize(
    ("value", "read"),
    [
        (40, Decimal(40)),
        ("138,5", Decimal("138.5")),
        ("could_not_obtain", NO_SIGNAL),
        ("Would_not_compress", STIFF),
        ("unknown", None),
    ],
)
def test_blood_pressures_that_are_read(value: object, read: object) -> None:
    assert parse_pressure(BOOK.questions.pressures[0], value) == read


# ---- the demo day -------------------------------------------------------------------------------

PRESCRIPTION = {"purpose": "prescribed", "prescriber": "Dr-7", "prescribed_standard": "bs-6612",
                "prescribed_low_mmhg": Decimal(14), "prescribed_high_mmhg": Decimal(17),
                "prescribed_length": "below_knee", "prescribed_toe": "closed",
                "prescribed_legs": "both", "prescribed_pairs": Decimal(2)}  # fmt: skip
NOT_SWOLLEN = {f"{name}_{side}": "no" for name in ("swelling_new", "hot_or_painful",
               "swelling_unexplained") for side in LEGS} | {"heart_swelling": "no",
               "swelling_old": "yes"}  # fmt: skip


def test_case_5_warm_and_larger_for_two_days_is_a_stop_today() -> None:
    given = {**NOT_SWOLLEN, "leg_swelling": "yes", "swelling_new_left": "yes"}
    result = screened(answers(**given | {"hot_or_painful_left": "yes"}))
    assert (result.outcome, result.urgency) == ("hold", "today")
    assert legs(result) == ("hold", "hold")


def test_case_6_known_lymphoedema_is_a_note_and_made_to_measure() -> None:
    given = {**PRESCRIPTION, **NOT_SWOLLEN, "leg_swelling": "yes", "lymph": "yes",
             "lymphoedema_left": "yes", "lymphoedema_right": "no", "lipoedema": "no",
             "prescriber_knows": "yes"}  # fmt: skip
    result = screened(answers(**given))
    assert (result.outcome, result.urgency) == ("go", "none")
    assert fired(result) == {"swelling_known", "lymph_known"}
    assert "made to measure" in " ".join(rule.text for rule in result.rules)


def test_case_7_refers_the_left_leg_and_not_the_right() -> None:
    taken = pressures(arm_left=138, arm_right=134, left_dp=110, right_dp=128)
    result = screened(answers(**PRESCRIPTION), taken)
    assert result.as_json()["abpi"] == {"left": "0.797", "right": "0.93"}
    assert (result.outcome, legs(result)) == ("stop", ("stop", "cleared"))
    assert "refer" in result.rules[0].text


def test_case_8_diabetes_with_numb_toes_and_a_high_abpi_stops_for_the_specialist() -> None:
    given = {"diabetes_or_kidney": "yes", "diabetes": "yes", "kidney_disease": "no",
             "touch_felt": "no", "foot_check": "yes", "hot_foot_left": "no",
             "hot_foot_right": "no", "smoker": "no", "no_feeling": "yes", "numb_left": "yes",
             "numb_right": "yes", "cannot_report_pain": "no"}  # fmt: skip
    taken = pressures(arm_left=140, left_dp=190, right_dp=190)
    result = screened(answers(**given), taken)
    assert result.as_json()["abpi"] == {"left": "1.36", "right": "1.36"}
    assert (result.outcome, legs(result)) == ("stop", ("stop", "stop"))
    assert {"abpi_high", "touch_not_felt", "diabetes", "numb"} <= fired(result)
    assert "specialist" in result.rules[0].text


def test_case_9_stable_heart_failure_and_18_to_24_without_an_abpi_asks() -> None:
    given = {**PRESCRIPTION, "prescribed_low_mmhg": Decimal(18), "smoker": "yes",
             "prescribed_high_mmhg": Decimal(24), "heart": "yes", "heart_failure": "yes",
             "breathless_worse": "no", "heart_swelling": "no", "breathless_at_rest": "no",
             "breathless_slight_effort": "no"}  # fmt: skip
    result = screened(answers(**given))
    assert (result.outcome, legs(result)) == ("ask", ("ask", "ask"))
    assert fired(result) == {"heart_failure", "smoker", "without_abpi"}


def test_case_10_a_boy_of_13_goes_to_the_childrens_service_whoever_decides() -> None:
    result = screened(answers(under_18="yes", purpose="sport"))
    (rule,) = result.rules
    assert (result.outcome, rule.lifted_by) == ("stop", ())
    assert "children's service" in rule.text


def test_case_11_a_leg_lost_to_circulation_asks_vascular_advice_first() -> None:
    given = {"leg_state_left": "absent", "leg_why_left": "circulation"}
    result = screened(answers(**given))
    assert legs(result) == ("not_screened", "stop")
    assert result.outcome == "stop"
    assert "vascular advice first" in result.rules[0].text
    named = {"arteries": "yes", "arterial_disease": "no", "amputation_circulation": "yes",
             "bypass_right": "no", "smoker": "no"}  # fmt: skip
    again = screened(answers(**named), sides=(Side.RIGHT,))
    assert legs(again) == ("not_screened", "stop")
    injured = screened(answers(leg_state_left="absent", leg_why_left="injury"))
    assert legs(injured) == ("not_screened", "cleared")
    nobody_knows = screened(answers(leg_state_left="absent"))
    assert legs(nobody_knows) == ("not_screened", "stop")


def test_case_12_lying_with_clawed_toes_is_no_matter_of_screening() -> None:
    result = screened(answers(**PRESCRIPTION | {"prescribed_toe": "open"}))
    assert (result.outcome, result.rules) == ("go", ())


def test_case_13_31_weeks_and_a_flight_asks_the_midwife() -> None:
    given = {"pregnant": "yes", "pregnancy_warning": "no", "gave_birth": "no",
             "weeks_pregnant": Decimal(31), "midwife_knows": "yes",
             "purpose": "travel"}  # fmt: skip
    result = screened(answers(**given))
    assert (result.outcome, fired(result)) == ("ask", {"pregnant", "travel_risk"})
    assert all("midwife" in rule.lifted_by for rule in result.rules)
    warned = screened(answers(**given | {"pregnancy_warning": "yes"}))
    assert (warned.outcome, warned.urgency) == ("hold", "now")


# ---- purposes ------------------------------------------------------------------------------------


def test_a_sleeve_for_travel_is_called_not_studied() -> None:
    result = screened(answers(purpose="travel", garment_form="footless_sleeve"))
    assert (result.outcome, fired(result)) == ("go", {"travel_sleeve"})
    assert screened(answers(purpose="sport", garment_form="footless_sleeve")).rules == ()


def test_with_the_purpose_not_known_the_rules_of_every_purpose_count() -> None:
    sleeve = screened(answers(purpose="unknown", garment_form="footless_sleeve"))
    assert "travel_sleeve" in fired(sleeve)
    assert "prescription_not_exact" in fired(
        screened(answers(purpose="unknown", prescriber="unknown"))
    )


@pytest.mark.parametrize("missing", [name for name in PRESCRIPTION if name != "purpose"])
def test_a_prescription_that_is_not_exact_asks(missing: str) -> None:
    given = {name: value for name, value in PRESCRIPTION.items() if name != missing}
    assert "prescription_not_exact" in fired(screened(answers(**given)))
    assert screened(answers(**PRESCRIPTION)).outcome == "go"


def test_a_pressure_for_travel_never_stands_without_the_people_it_is_for() -> None:
    advice = BOOK.advice("travel")
    assert advice is not None
    assert advice.mmhg == (Decimal(15), Decimal(30))
    assert advice.for_whom is not None
    assert "increased risk" in advice.for_whom
    above = screened(answers(purpose="travel", garment_high_mmhg=Decimal(31)), pressures(**NORMAL))
    assert fired(above) == {"travel_pressure"}


def test_screening_is_a_function_of_what_it_is_given() -> None:
    given, taken = answers(skin="yes"), pressures(**NORMAL)
    assert screen(given, taken, BOOK, on=TODAY) == screen(given, taken, BOOK, on=TODAY)
