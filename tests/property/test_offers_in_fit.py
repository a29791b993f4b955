"""No path to an offered size without clearance: in what `fit` says, on the screen, on paper.

What may be offered is worked out anew here from the answers alone, as the strictest rules and the
design read: without an ABPI 20 mmHg at most, and nothing while a line is open or a yes stands.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st
from screening_cases import TODAY, Sitting, about, book, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.fit import SessionFit, fit_session
from fitcore.papers.referral import referral_lines
from fitcore.points import LEGS, Kind, Point, Side, side_words
from fitcore.record.edits import draft_reading
from fitcore.record.readings import Readings
from fitcore.record.session import join
from fitcore.safety.decisions import Decision, draft_decision
from fitcore.units import Length, Millimetre
from tui.commands.fit_words import fit_lines
from tui.result_words import cell_words
from tui.screens.result import offer_content

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.record.entries import Draft

PROFILES = load_profiles()
FIRST = [question.id for question in book().questions.first_page]
GIRTHS: dict[Point, int | None] = {Point.B: 224}
SIZES = {"mill-four-low-tide": "3", "mill-two-spindrift": "M"}
"""What those girths with a length of 40 cm come to: 10 to 16 mmHg, and 16 to 22."""


def sitting_with_legs(
    answers: Mapping[str, str], calves: tuple[int | None, int | None] = (362, 362)
) -> Sitting:
    """Return a sitting with both legs read and these answers of the first page; calves in mm."""
    sitting = Sitting()
    for what, value in {"purpose": "standing", "forms": ["below_knee"]}.items():
        sitting.answer(what, value)
    sitting.answer("sides", ["left", "right"])
    sitting.answer_all(**answers)
    for side, calf in zip(LEGS, calves, strict=True):
        for point, mm in {**GIRTHS, Point.C: calf}.items():
            for _ in range(0 if mm is None else 2):
                sitting.add(_reading(sitting, side, point, Kind.GIRTH, mm or 0))
        sitting.add(_reading(sitting, side, Point.D, Kind.LENGTH, 400))
    return sitting


def _reading(sitting: Sitting, side: Side, point: Point, kind: Kind, mm: int) -> Draft:
    """Read once more what may have been read before."""
    length = Length(str(mm / 10), "cm", Millimetre(Decimal(mm)))
    number = len(Readings(sitting.session).current((side, point, kind))) + 1
    return draft_reading((side, point, kind), number, length, sitting.at)


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


def section_of(text: str, side: Side) -> list[str]:
    """Return the lines `fit` prints of one leg."""
    lines = text.split("\n")
    start = lines.index(side_words(side))
    heads = {*(side_words(leg) for leg in LEGS), "BOTH LEGS"}
    ends = (number for number in range(start + 1, len(lines)) if lines[number] in heads)
    return lines[start : next(ends, len(lines))]


def check_everywhere(fit: SessionFit, sizes: Mapping[str, str] = SIZES) -> None:
    """Screen, command line and paper offer what `fit` offers, and nothing else."""
    offered = offers(fit)
    text = "\n".join(fit_lines([fit]))
    note = " ".join(referral_lines(fit, made_at=fit.session.measured_at or Sitting().at))
    assert "May be offered" not in note
    for leg in fit.legs:
        own = section_of(text, leg.side)
        for chart in leg.charts:
            is_offered = (leg.side.value, chart.chart.id) in offered
            words = cell_words(chart)
            size = sizes.get(chart.chart.id, "")
            if not is_offered and size:
                assert words == f"{size}, not to fit"
            (line,) = (one for one in own if f" ({chart.chart.id}): " in one)
            told = line.split(f" ({chart.chart.id}): ")[1]
            assert not told.startswith("for information: ") or not is_offered
            if not is_offered:
                assert not told.startswith("fits")
            elif size:
                assert told == f"fits, size {size}"
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
    result = fitted(sitting).clearance.result
    rules = result.rules_of(Side.LEFT)
    covers = tuple(rule.id for rule in rules)[: None if covers_all else -1]
    if covers:
        decision = Decision(
            Side.LEFT, "P-04", role, "written", highest, TODAY, TODAY, "seen", covers
        )
        sitting.add(draft_decision(sitting.session, about(decision, result), sitting.at))
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


states = st.sampled_from(
    [(), ("present",), ("absent",), ("cannot_be_measured",), ("present", "absent")]
)
calves = st.sampled_from([None, 340, 362, 371, 392, 393])


@settings(max_examples=150, deadline=None)
@given(
    st.tuples(calves, calves),
    st.tuples(states, states),
    st.sampled_from([("left", "right"), ("left",), ("right",)]),
    st.booleans(),
)
def test_calves_that_were_not_compared_or_differ_are_not_offered(
    girths: tuple[int | None, int | None],
    told: tuple[tuple[str, ...], tuple[str, ...]],
    wanted: tuple[str, ...],
    answered: bool,  # noqa: FBT001
) -> None:
    """Whatever was said of the legs; answers that name no readings settle nothing."""
    sitting = sitting_with_legs({name: str(value) for name, value in ordinary().items()}, girths)
    sitting.answer("sides", list(wanted))
    if answered:
        sitting.answer_all(larger_leg_new="no", larger_leg_explained="yes")
    laptops = [sitting, sitting.elsewhere()]
    for side, values in zip(LEGS, told, strict=True):
        for laptop, value in zip(laptops, values, strict=False):
            laptop.answer(f"screen.leg_state_{side}", value)
            laptop.answer(f"screen.leg_why_{side}", "injury")
    fit = fitted(Sitting(join(laptops[0].session, laptops[1].session)))
    out = {"absent", "cannot_be_measured"}
    measured = [
        side
        for side, values in zip(LEGS, told, strict=True)
        if side.value in wanted and not (values and set(values) <= out)
    ]
    read = [side for side, mm in zip(LEGS, girths, strict=True) if mm is not None]
    left, right = girths
    differ = left is not None and right is not None and abs(left - right) >= 30
    unread = bool(read) and not set(measured) <= set(read)
    expected = {
        (side.value, "mill-four-low-tide")
        for side, mm, values in zip(LEGS, girths, told, strict=True)
        if mm == 362 and side in measured and not set(values) & out and not differ and not unread
    }
    offered = {pair for pair in offers(fit) if pair[1] == "mill-four-low-tide"}
    assert expected <= offered
    if differ or unread:
        assert not offers(fit)
    assert {side for side, _ in offers(fit)} <= {side.value for side in measured}
    check_everywhere(fit, sizes={})


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(FIRST), st.sampled_from(FIRST), st.sampled_from(["yes", "unknown"]))
def test_a_decision_on_one_line_is_none_on_another(line: str, later: str, answer: str) -> None:
    """Answered one by one: what is found after a decision is asked about again."""
    sitting = sitting_with_legs({**{n: str(v) for n, v in ordinary().items()}, line: answer})
    cleared = fitted(sitting).clearance
    covers = tuple(rule.id for rule in cleared.open_rules(Side.LEFT))
    if not covers or later == line:
        return
    decision = Decision(
        Side.LEFT, "S-02", "specialist", "written", Decimal(22), TODAY, TODAY, "seen", covers
    )
    made = about(decision, cleared.result)
    sitting.add(draft_decision(sitting.session, made, sitting.at))
    sitting.answer(f"screen.{later}", answer)
    assert not offers(fitted(sitting))
