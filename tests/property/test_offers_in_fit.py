"""No path to an offered size without clearance: in what `fit` says, on the screen, on paper.

What may be offered is worked out anew here from the answers alone, as the strictest rules and the
design read: without an ABPI 20 mmHg at most, and nothing while a line is open or a yes stands.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st
from screening_cases import TODAY, Sitting, book, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.fit import SessionFit, fit_session
from fitcore.papers.referral import referral_lines
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.record.edits import draft_reading
from fitcore.safety.decisions import Decision, draft_decision
from fitcore.units import Length, Millimetre
from tui.commands.fit_words import fit_lines
from tui.screens.result import cell_words, offer_content

if TYPE_CHECKING:
    from collections.abc import Mapping

PROFILES = load_profiles()
FIRST = [question.id for question in book().questions.first_page]
GIRTHS = {Point.B: 224, Point.C: 362}
SIZES = {"mill-four-low-tide": "3", "mill-two-spindrift": "M"}
"""What those girths with a length of 40 cm come to: 10 to 16 mmHg, and 16 to 22."""


def sitting_with_legs(answers: Mapping[str, str]) -> Sitting:
    """Return a sitting with both legs read and these answers of the first page."""
    sitting = Sitting()
    for what, value in {"purpose": "standing", "forms": ["below_knee"]}.items():
        sitting.answer(what, value)
    sitting.answer("sides", ["left", "right"])
    sitting.answer_all(**answers)
    for side in LEGS:
        for point, mm in GIRTHS.items():
            sitting.add(_reading(sitting, side, point, Kind.GIRTH, mm))
        sitting.add(_reading(sitting, side, Point.D, Kind.LENGTH, 400))
    return sitting


def _reading(sitting: Sitting, side: Side, point: Point, kind: Kind, mm: int):  # type: ignore[no-untyped-def] # noqa: ANN202
    length = Length(str(mm / 10), "cm", Millimetre(Decimal(mm)))
    return draft_reading((side, point, kind), 1, length, sitting.at)


def fitted(sitting: Sitting) -> SessionFit:
    return fit_session(sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY)


def offers(fit: SessionFit) -> set[tuple[str, str]]:
    """Return side and chart of everything `fit --json` offers."""
    document = fit.as_json()
    return {
        (leg["side"], chart["chart"])
        for leg in document["legs"]  # type: ignore[attr-defined]
        for chart in leg["charts"]
        if chart["offered"]
    }


def check_everywhere(fit: SessionFit) -> None:
    """Screen, command line and paper offer what `fit` offers, and nothing else."""
    offered = offers(fit)
    text = "\n".join(fit_lines([fit]))
    note = " ".join(referral_lines(fit, made_at=fit.session.measured_at or Sitting().at))
    assert "May be offered" not in note
    for leg in fit.legs:
        for chart in leg.charts:
            is_offered = (leg.side.value, chart.chart.id) in offered
            words = cell_words(leg, chart)
            size = SIZES.get(chart.chart.id, "")
            if not is_offered and size and leg.offer.offered:
                assert words.startswith(size)
                assert words.endswith(", not to fit")
            if not is_offered:
                assert f"{chart.chart.title} ({chart.chart.id}): fits" not in text or any(
                    other.value != leg.side.value and (other.value, chart.chart.id) in offered
                    for other in LEGS
                )
    if not all(leg.offer.offered for leg in fit.legs):
        assert "Size for information. Not cleared to fit." in offer_content(fit).plain
        assert "Size for information. Not cleared to fit." in text


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(FIRST), st.sampled_from(["no", "yes", "unknown", ""])))
def test_only_a_page_of_nos_is_offered_and_only_up_to_the_limit(changed: dict[str, str]) -> None:
    answers = {name: str(value) for name, value in ordinary().items()}
    answers = {name: value for name, value in (answers | changed).items() if value}
    clean = set(answers) == set(FIRST) and set(answers.values()) == {"no"}
    fit = fitted(sitting_with_legs(answers))
    expected = {(side.value, "mill-four-low-tide") for side in LEGS} if clean else set()
    assert offers(fit) == expected
    check_everywhere(fit)


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(["pregnant", "clot_risk", "skin", "emergency", "limb_at_risk"]),
    st.sampled_from(["prescriber", "specialist", "midwife"]),
    st.sampled_from([Decimal(10), Decimal(16), Decimal(22)]),
    st.booleans(),
)
def test_a_decision_lifts_what_it_was_asked_about_up_to_its_pressure(
    line: str,
    role: str,
    highest: Decimal,
    covers_all: bool,  # noqa: FBT001
) -> None:
    sitting = sitting_with_legs({**{n: str(v) for n, v in ordinary().items()}, line: "yes"})
    rules = fitted(sitting).clearance.result.rules_of(Side.LEFT)
    covers = tuple(rule.id for rule in rules)[: None if covers_all else -1]
    if covers:
        decision = Decision(
            Side.LEFT, "P-04", role, "written", highest, TODAY, TODAY, "seen", covers
        )
        sitting.add(draft_decision(sitting.session, decision, sitting.at))
    fit = fitted(sitting)
    stopping = [rule for rule in rules if rule.action.value != "note"]
    lifted = all(rule.id in covers and role in rule.lifted_by for rule in stopping)
    held = any(rule.action.value == "hold" for rule in stopping)
    limit = highest if "without_abpi" in covers else min(highest, Decimal(20))
    expected = {
        ("left", chart)
        for chart, upper in (("mill-four-low-tide", 16), ("mill-two-spindrift", 22))
        if lifted and not held and upper <= limit
    }
    assert offers(fit) == expected
    check_everywhere(fit)
