"""Whether a garment is one to choose from: dates at their edges, notes of a purpose, the limit."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from screening_cases import TODAY, Sitting, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.leg_fit import fit_leg
from fitcore.points import LEGS, Side
from fitcore.record.readings import Readings
from fitcore.safety.clearance import judge_clearance
from fitcore.suitability import what_rules_out, why_not_valid

if TYPE_CHECKING:
    from fitcore.record.entries import Value
    from fitcore.safety.clearance import SessionClearance

PROFILES = load_profiles()
CHARTS = {chart.id: chart for chart in PROFILES.charts}
LOW_TIDE = CHARTS["mill-four-low-tide"]
"""10 to 16 mmHg, below the knee."""
SLEEVE = CHARTS["mill-three-sandbar"].model_copy(update={"purposes": ("travel", "sport")})
NOT_STUDIED = "The trials on travel covered the foot; sleeves were not studied."
DAY = date(2026, 3, 4)


def cleared(purpose: str, **changed: Value) -> SessionClearance:
    sitting = Sitting()
    sitting.answer("purpose", purpose)
    sitting.answer_all(**(ordinary() | changed))  # type: ignore[operator]
    return judge_clearance(sitting.session, Readings(sitting.session), PROFILES.rules, on=TODAY)


@pytest.mark.parametrize(
    ("first", "last", "valid"),
    [
        (DAY, DAY, True),
        (None, DAY, True),
        (DAY, None, True),
        (None, DAY - timedelta(days=1), False),
        (DAY + timedelta(days=1), None, False),
        (None, None, True),
    ],
)
def test_a_chart_holds_on_its_first_and_its_last_day(
    first: date | None,
    last: date | None,
    valid: bool,  # noqa: FBT001
) -> None:
    chart = LOW_TIDE.model_copy(update={"valid_from": first, "valid_until": last})
    assert (why_not_valid(chart, DAY) == "") is valid
    assert (what_rules_out(cleared("standing"), Side.LEFT, chart) is None) is valid


def test_what_is_known_of_a_garment_for_a_purpose_is_a_caution_of_its_answer() -> None:
    def cautions(purpose: str) -> tuple[str, ...]:
        found = cleared(purpose)
        return fit_leg(found, Readings(found.session), Side.LEFT, SLEEVE).cautions

    assert NOT_STUDIED in cautions("travel")
    assert NOT_STUDIED not in cautions("sport")
    told_already = cleared("travel", lymph="yes", prescriber_knows="yes", lipoedema="yes",
                           lymphoedema_left="no", lymphoedema_right="no")  # fmt: skip
    assert told_already.garment_notes(Side.LEFT, SLEEVE) == (NOT_STUDIED,)


def test_no_garment_is_offered_to_a_leg_that_must_be_asked_about_first() -> None:
    """Told or prescribed stronger than the leg may get: a weaker one is not a way round it."""
    for changed in ({"garment_high_mmhg": Decimal(40)}, {"garment_high_mmhg": "unknown"},
                    {"prescribed_high_mmhg": Decimal(30)}):  # fmt: skip
        found = cleared("standing", **changed)  # type: ignore[arg-type]
        for side in LEGS:
            assert (found.leg(side).clearance, found.leg(side).offered) == ("ask", False)
            assert (found.offer(side, LOW_TIDE).clearance, found.offer(side, LOW_TIDE).offered) == (
                "ask",
                False,
            )
    usual = cleared("standing", garment_high_mmhg=Decimal(20))
    assert all(usual.leg(side).offered for side in LEGS)
