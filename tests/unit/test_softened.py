"""What a service makes milder than the strictest rules is told, each way by itself."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from screening_cases import GUIDELINES, book

from fitcore.safety.softened import softened_purposes, softened_rules

if TYPE_CHECKING:
    from fitcore.safety.screening_model import Purposes, ScreeningRules

STRICTEST, PURPOSES = book().rules, book().purposes


def with_rule(name: str, **changed: Any) -> ScreeningRules:
    assert name in {rule.id for rule in STRICTEST.rules}
    rules = tuple(
        rule.model_copy(update=changed) if rule.id == name else rule for rule in STRICTEST.rules
    )
    return STRICTEST.model_copy(update={"rules": rules})


def with_setting(name: str, **changed: Any) -> ScreeningRules:
    return STRICTEST.model_copy(update={name: getattr(STRICTEST, name).model_copy(update=changed)})


def told(rules: ScreeningRules) -> list[str]:
    problems = softened_rules(rules, STRICTEST)
    assert {(p.code, p.level.value) for p in problems} <= {("milder_rule", "warning")}
    return [problem.text for problem in problems]


@pytest.mark.parametrize(
    ("name", "changed", "words"),
    [
        ("emergency", {"action": "note"}, "note instead of hold"),
        ("emergency", {"action": "stop"}, "stop instead of hold"),
        ("emergency", {"urgency": "today"}, "today instead of now"),
        ("emergency", {"when": "no"}, "it fires on less"),
        ("emergency", {"when": "unknown"}, "it fires on less"),
        ("lymph_known", {"questions": ("lymph",)}, "it looks at less"),
        ("leg_lost_to_circulation", {"one_of": ("injury",)}, "it fires on less"),
        ("leg_lost_to_circulation", {"both_legs": False}, "no longer holds for both legs"),
        ("swelling_new", {"suspects_clot": False}, "no longer stands for a suspected clot"),
        ("diabetes", {"unless_abpi_clears": True}, "an ABPI spares a leg"),
        ("bypass", {"lifted_by": ("specialist", "midwife")}, "others may lift it"),
        ("under_18", {"lifted_by": None}, "others may lift it"),
        ("abpi_hold", {"threshold": Decimal("0.4")}, "it fires on less"),
        ("abpi_hold", {"when": "above", "threshold": Decimal("1.5")}, "it fires on less"),
        ("abpi_hold", {"when": "above", "threshold": Decimal("0.4")}, "it fires on less"),
        ("abpi_low", {"threshold": Decimal("0.7")}, "it fires on less"),
        ("abpi_high", {"threshold": Decimal("1.4")}, "it fires on less"),
        ("abpi_high", {"when": "below", "threshold": Decimal("1.2")}, "it fires on less"),
        ("ankle_pressure", {"threshold": Decimal(50)}, "it fires on less"),
        ("toe_pressure", {"threshold": Decimal(20)}, "it fires on less"),
        ("toe_pressure", {"measure": "ankle_mmhg"}, "it looks at less"),
    ],
)
def test_each_way_of_making_a_rule_milder_is_told(
    name: str, changed: dict[str, Any], words: str
) -> None:
    texts = told(with_rule(name, **changed))
    assert any(words in text and f"'{name}'" in text for text in texts), texts


@pytest.mark.parametrize(
    ("name", "changed"),
    [
        ("lymph_known", {"action": "ask", "urgency": "routine", "says_enough": False}),
        ("numb", {"action": "hold", "urgency": "now"}),
        ("bypass", {"both_legs": True}),
        ("weeping_skin", {"lifted_by": ()}),
        ("leg_lost_to_circulation", {"one_of": ("circulation", "tumour")}),
        ("abpi_hold", {"threshold": Decimal("0.7")}),
        ("abpi_hold", {"when": "at_or_below"}),
        ("abpi_high", {"threshold": Decimal("1.2")}),
        ("abpi_high", {"when": "at_or_above"}),
        ("smoker", {"unless_abpi_clears": False}),
    ],
)
def test_a_rule_that_is_as_strict_or_stricter_is_no_news(
    name: str, changed: dict[str, Any]
) -> None:
    assert told(with_rule(name, **changed)) == []


def test_a_rule_left_out_and_a_note_that_says_enough_are_told() -> None:
    fewer = tuple(rule for rule in STRICTEST.rules if rule.id != "cold_foot")
    texts = told(STRICTEST.model_copy(update={"rules": fewer}))
    assert texts == ["'cold_foot' is milder than in the strictest rules: it is left out."]
    quiet = with_rule("lymph_known", says_enough=False)
    (problem,) = softened_rules(STRICTEST, quiet)
    assert "nothing below its line of the first page is missed" in problem.text


@pytest.mark.parametrize(
    ("name", "changed", "key"),
    [
        ("abpi", {"max_age_days": 91}, "abpi.max_age_days"),
        ("side_difference", {"action": "ask"}, "side_difference.action"),
        ("side_difference", {"urgency": "routine"}, "side_difference.action"),
        ("without_abpi", {"urgency": "routine"}, None),
        ("lifted_by", {"ask": ("prescriber", "specialist", "midwife")}, "lifted_by.ask"),
        ("lifted_by", {"stop": ("specialist", "prescriber")}, "lifted_by.ask"),
        ("lifted_by", {"stop": ()}, None),
        ("abpi", {"max_age_days": 30}, None),
    ],
)
def test_settings_made_milder_are_told(name: str, changed: dict[str, Any], key: str | None) -> None:
    problems = softened_rules(with_setting(name, **changed), STRICTEST)
    assert [problem.key for problem in problems] == ([] if key is None else [key])


def test_limits_wider_than_the_strictest_are_told() -> None:
    small = with_setting("side_difference", cm=Decimal(2), grown_cm=Decimal(2))
    for wider in (
        with_setting("side_difference", cm=Decimal(2)),
        with_setting("side_difference", grown_cm=Decimal(2)),
    ):
        (problem,) = softened_rules(wider, small)
        assert problem.key == "side_difference.cm"
        assert softened_rules(small, wider) == ()
    seventeen = with_setting("without_abpi", max_mmhg=17)
    (problem,) = softened_rules(STRICTEST, seventeen)
    assert problem.key == "without_abpi.max_mmhg"
    assert softened_rules(seventeen, STRICTEST) == ()


def test_purposes_made_milder_are_told() -> None:
    def travel(**changed: Any) -> Purposes:
        advice = tuple(
            a.model_copy(update=changed) if a.purpose == "travel" else a for a in PURPOSES.purposes
        )
        return PURPOSES.model_copy(update={"purposes": advice})

    assert softened_purposes(PURPOSES, PURPOSES, STRICTEST) == ()
    left_out = softened_purposes(travel(rules=()), PURPOSES, STRICTEST)
    assert [p.text.split("'")[1] for p in left_out] == [
        "travel_risk", "travel_pressure", "travel_sleeve",
    ]  # fmt: skip
    none = PURPOSES.model_copy(update={"purposes": ()})
    assert len(softened_purposes(none, PURPOSES, STRICTEST)) == 4


def test_the_strictest_itself_is_never_told_and_a_guideline_would_be() -> None:
    assert softened_rules(STRICTEST, STRICTEST) == ()
    told_of = {name for name in GUIDELINES if softened_rules(book(name).rules, STRICTEST)}
    assert {"german-s2k-2018", "has-2010", "nhs-devon-2025"} <= told_of
