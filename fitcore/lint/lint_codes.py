"""The register of what lint can say of a chart: each code with its levels, in one place. Pure.

A code that stands in no register is no `LintName`, which the type checker refuses where a remark is
made; that the levels are these as well is tested.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from fitcore.problems import ProblemLevel

LintName = Literal[
    "ankle_rule_without_ankle",
    "closed_toe_without_foot",
    "expired",
    "invented_chart",
    "invented_not_marked",
    "no_source",
    "no_source_date",
    "no_validity",
    "not_from_leaflet",
    "not_yet_valid",
    "prescribed_without_ankle",
    "printed_in_future",
    "same_measure_twice",
    "shoe_without_step",
    "step_unused",
    "toe_and_form",
    "usual_girth_missing",
    "class_unknown",
    "no_pressure",
    "pressure_not_mmhg",
    "pressure_not_of_class",
    "standard_unknown",
    "ankle_not_below_calf",
    "ankle_not_below_thigh",
    "calf_not_below_thigh",
    "column_in_other_unit",
    "impossible_edge",
    "impossible_range",
    "impossible_shoe",
    "lengths_not_rising",
    "looks_like_cm",
    "looks_like_inches",
    "looks_like_mm",
    "other_shoe_system",
    "point_lost",
    "proportions_of_nobody",
    "rare_legs_only",
    "table_in_other_unit",
    "edges_touch",
    "end_range_wide",
    "gap",
    "inside_another",
    "largest_first",
    "never_chosen",
    "order_falls",
    "overlap",
    "range_jumps",
    "same_ranges",
    "single_value",
    "step_not_set",
    "step_too_wide",
    "variant_before_regular",
    "variant_missing",
    "variant_without_regular",
]
"""Short fixed names of remarks, for programs and tests: once released, one never changes."""

ERROR, WARNING, NOTE = ProblemLevel.ERROR, ProblemLevel.WARNING, ProblemLevel.NOTE


class LintCode(NamedTuple):
    """What is known of a remark before any chart is looked at."""

    level: ProblemLevel
    """An error is surely a slip: no size of such a chart is offered."""
    milder: ProblemLevel | None = None
    """The level where the chart itself explains it; None where it is always the same."""
    needs_head: bool = False
    """Whether it hangs on what the leaflet says beside its table: not told of a table alone."""

    @property
    def levels(self) -> frozenset[ProblemLevel]:
        """The levels it can have."""
        return frozenset({self.level, self.milder or self.level})


LINT_CODES: dict[LintName, LintCode] = {
    # What the leaflet says beside its table: lint_facts.
    "ankle_rule_without_ankle": LintCode(WARNING, needs_head=True),
    "closed_toe_without_foot": LintCode(WARNING, needs_head=True),
    "expired": LintCode(WARNING, needs_head=True),
    "invented_chart": LintCode(NOTE, needs_head=True),
    "invented_not_marked": LintCode(ERROR, needs_head=True),
    "no_source": LintCode(ERROR, needs_head=True),
    "no_source_date": LintCode(WARNING, needs_head=True),
    "no_validity": LintCode(NOTE, needs_head=True),
    "not_from_leaflet": LintCode(WARNING, needs_head=True),
    "not_yet_valid": LintCode(WARNING, needs_head=True),
    "prescribed_without_ankle": LintCode(WARNING, needs_head=True),
    "printed_in_future": LintCode(WARNING, needs_head=True),
    "same_measure_twice": LintCode(ERROR),
    "shoe_without_step": LintCode(WARNING),
    "step_unused": LintCode(WARNING),
    "toe_and_form": LintCode(WARNING, needs_head=True),
    "usual_girth_missing": LintCode(NOTE, needs_head=True),
    # The pressure printed on the garment: lint_pressure.
    "class_unknown": LintCode(WARNING, needs_head=True),
    "no_pressure": LintCode(WARNING, NOTE, needs_head=True),
    "pressure_not_mmhg": LintCode(ERROR, needs_head=True),
    "pressure_not_of_class": LintCode(ERROR, needs_head=True),
    "standard_unknown": LintCode(WARNING, needs_head=True),
    # Single ranges, and the measures of one row beside each other: lint_limits.
    "ankle_not_below_calf": LintCode(ERROR),
    "ankle_not_below_thigh": LintCode(ERROR),
    "calf_not_below_thigh": LintCode(ERROR),
    "column_in_other_unit": LintCode(ERROR),
    "impossible_edge": LintCode(WARNING),
    "impossible_range": LintCode(ERROR),
    "impossible_shoe": LintCode(ERROR),
    "lengths_not_rising": LintCode(ERROR),
    "looks_like_cm": LintCode(ERROR),
    "looks_like_inches": LintCode(ERROR),
    "looks_like_mm": LintCode(ERROR),
    "other_shoe_system": LintCode(ERROR),
    "point_lost": LintCode(ERROR),
    "proportions_of_nobody": LintCode(WARNING),
    "rare_legs_only": LintCode(NOTE),
    "table_in_other_unit": LintCode(ERROR, needs_head=True),
    # The rows beside each other: lint_rows.
    "edges_touch": LintCode(NOTE),
    "end_range_wide": LintCode(NOTE),
    "gap": LintCode(WARNING, NOTE),
    "inside_another": LintCode(WARNING),
    "largest_first": LintCode(ERROR),
    "never_chosen": LintCode(WARNING),
    "order_falls": LintCode(WARNING),
    "overlap": LintCode(NOTE),
    "range_jumps": LintCode(WARNING),
    "same_ranges": LintCode(WARNING),
    "single_value": LintCode(WARNING),
    "step_not_set": LintCode(WARNING, needs_head=True),
    "step_too_wide": LintCode(ERROR, needs_head=True),
    "variant_before_regular": LintCode(WARNING),
    "variant_missing": LintCode(NOTE),
    "variant_without_regular": LintCode(WARNING),
}
"""Every code there is. How a remark is added stands in DEVELOPERS.md."""

OF_PRESSURE: frozenset[LintName] = frozenset(
    {"pressure_not_mmhg", "standard_unknown", "class_unknown", "pressure_not_of_class"}
)
"""Remarks on a pressure that is given: told at import already."""
IN_OTHER_UNIT: frozenset[LintName] = frozenset({"table_in_other_unit", "column_in_other_unit"})
"""Remarks that name a whole table or column for what its cells have in common."""
