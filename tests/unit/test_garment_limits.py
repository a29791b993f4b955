"""How much pressure may be offered: the garment, layers the session tells of, and a decision."""

from __future__ import annotations

from decimal import Decimal

import pytest
from screening_cases import TODAY, Sitting, about, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.points import Side
from fitcore.record.readings import Readings
from fitcore.record.session import join
from fitcore.safety.clearance import SessionClearance, judge_clearance
from fitcore.safety.decisions import Decision, draft_decision
from fitcore.safety.screening_answers import UNKNOWN, Answers, Garment

PROFILES = load_profiles()
SIXTEEN, TWENTY_TWO = (
    next(chart for chart in PROFILES.charts if chart.id == name)
    for name in ("mill-four-low-tide", "mill-two-spindrift")
)


def judged(sitting: Sitting) -> SessionClearance:
    return judge_clearance(sitting.session, Readings(sitting.session), PROFILES.rules, on=TODAY)


def sitting_told(*told: Decimal | str) -> Sitting:
    """Screen an ordinary client; each laptop was told of other layers."""
    sitting = Sitting()
    for what, value in {"purpose": "standing", "forms": ["below_knee"]}.items():
        sitting.answer(what, value)
    sitting.answer_all(**ordinary())
    laptops = [sitting.elsewhere(f"laptop{number}-aaaa") for number in range(len(told))]
    for laptop, value in zip(laptops, told, strict=True):
        laptop.answer("screen.garment_high_mmhg", value)
        sitting = Sitting(join(sitting.session, laptop.session))
    return sitting


def decide(sitting: Sitting, mmhg: int) -> None:
    found = judged(sitting)
    covers = tuple(rule.id for rule in found.open_rules(Side.LEFT))
    given = Decision(
        Side.LEFT, "P-04", "prescriber", "written", Decimal(mmhg), TODAY, TODAY, "seen", covers
    )
    made = about(given, found.result)
    sitting.add(draft_decision(sitting.session, made, sitting.at))


def offered(sitting: Sitting) -> tuple[bool, bool]:
    found = judged(sitting)
    low, high = (found.offer(Side.LEFT, chart).offered for chart in (SIXTEEN, TWENTY_TWO))
    return low, high


@pytest.mark.parametrize(
    ("layers", "decision", "expected"),
    [(40, 24, False), (40, 39, False), (40, 40, True), (24, 24, True), (21, 20, False)],
)
def test_a_decision_is_held_against_the_layers_too(
    layers: int,
    decision: int,
    expected: bool,  # noqa: FBT001
) -> None:
    sitting = sitting_told(Decimal(layers))
    assert offered(sitting) == (False, False)
    decide(sitting, decision)
    assert offered(sitting) == (expected, expected)
    if not expected:
        why = judged(sitting).offer(Side.LEFT, SIXTEEN).why
        assert why == f"Up to {layers} mmHg, layers added; at most {decision} may be fitted."


def test_layers_nobody_knows_are_within_no_limit() -> None:
    sitting = sitting_told(UNKNOWN)
    assert offered(sitting) == (False, False)
    decide(sitting, 24)
    assert offered(sitting) == (False, False)
    why = judged(sitting).offer(Side.LEFT, SIXTEEN).why
    assert why == "At most 24 mmHg, layers added, and how much they come to is not known."


def test_where_laptops_differ_about_layers_the_more_careful_rules() -> None:
    assert offered(sitting_told(Decimal(18))) == (True, False)
    for other in (UNKNOWN, Decimal(40)):
        assert offered(sitting_told(Decimal(18), other)) == (False, False)
    some = sitting_told(Decimal(22), Decimal(30))
    decide(some, 24)
    assert offered(some) == (False, False)


@pytest.mark.parametrize(
    ("told", "printed", "expected"),
    [
        ((), 16, 16),
        ((Decimal(10),), 16, 16),
        ((Decimal(40),), 16, 40),
        ((Decimal(10), Decimal(40)), 16, 40),
        ((UNKNOWN,), 16, None),
        ((Decimal(40), UNKNOWN), 16, None),
        ((Decimal(40),), None, None),
        ((), None, None),
    ],
)
def test_what_is_worn_is_the_most_of_garment_and_layers(
    told: tuple[Decimal | str, ...], printed: int | None, expected: int | None
) -> None:
    answers = Answers({"garment_high_mmhg": told} if told else {})
    upper = None if printed is None else Decimal(printed)
    worn = answers.worn_mmhg(upper)
    assert worn == (None if expected is None else Decimal(expected))


@pytest.mark.parametrize(
    ("told", "printed", "expected"),
    [
        ((), 16, (16,)),
        ((Decimal(10),), 16, (16,)),
        ((Decimal(40),), 16, (40,)),
        ((Decimal(40),), None, (40,)),
        ((UNKNOWN,), 16, (16, UNKNOWN)),
        ((Decimal(40), UNKNOWN), 16, (40, UNKNOWN)),
        ((UNKNOWN,), None, (UNKNOWN,)),
        ((), None, ()),
    ],
)
def test_screening_is_asked_of_the_most_and_of_what_nobody_knows(
    told: tuple[Decimal | str, ...], printed: int | None, expected: tuple[object, ...]
) -> None:
    answers = Answers({"garment_high_mmhg": told} if told else {})
    garment = Garment("below_knee", None if printed is None else Decimal(printed))
    assert answers.for_garment(garment).of("garment_high_mmhg") == expected


def test_an_offer_is_never_better_than_its_leg() -> None:
    for told in ((UNKNOWN,), (Decimal(18), UNKNOWN)):
        found = judged(sitting_told(*told))
        assert found.leg(Side.LEFT).clearance == "ask"
        for chart in (SIXTEEN, TWENTY_TWO):
            offer = found.offer(Side.LEFT, chart)
            assert (offer.offered, offer.clearance) == (False, "ask")


def test_the_limit_without_an_abpi_stands_again_once_the_garment_is_corrected() -> None:
    """A midwife may not lift it, even where her decision was asked about it."""
    sitting = sitting_told(Decimal(30))
    sitting.answer_all(
        pregnant="yes", pregnancy_warning="no", gave_birth="no", midwife_knows="yes",
        weeks_pregnant=Decimal(30),
    )  # fmt: skip
    found = judged(sitting)
    covers = tuple(rule.id for rule in found.open_rules(Side.LEFT))
    assert "without_abpi" in covers
    given = Decision(
        Side.LEFT, "M-02", "midwife", "written", Decimal(30), TODAY, TODAY, "seen", covers
    )
    made = about(given, found.result)
    sitting.add(draft_decision(sitting.session, made, sitting.at))
    assert offered(sitting) == (False, False)
    sitting.answer("screen.garment_high_mmhg", Decimal(18))
    assert offered(sitting) == (True, False)
