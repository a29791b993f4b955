"""What the rules on time and conditions in `profiles/rules/` must look like. Loads pydantic.

One table per check, named by the code of its flag. A key's name says its level and its unit.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, ClassVar, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from fitcore.flags import Level
from fitcore.profile_models import Exact, Identifier, ProfileModel, Source
from fitcore.words import say


def _level(value: object) -> object:
    return Level(value) if isinstance(value, str) and value in set(Level) else value


LevelField = Annotated[Level, BeforeValidator(_level)]
Limit = Annotated[Exact, Field(ge=0)]


class Check(ProfileModel):
    """One check: its number in the list of checks, and where its figures come from."""

    rising: ClassVar[tuple[str, ...]] = ()
    """Limits of one unit that must not fall, the mildest first."""

    number: int = Field(ge=1)
    source: Source

    @model_validator(mode="after")
    def _limits_rise(self) -> Self:
        for milder, worse in pairwise(self.rising):
            if getattr(self, milder) > getattr(self, worse):
                raise ValueError(
                    say("{milder} must not be above {worse}", milder=milder, worse=worse)
                )
        return self


class PlainCheck(Check):
    """A check that holds or does not: no limit, one level."""

    level: LevelField


class LateInDay(Check):
    """Time since rising, of a leg's last reading."""

    rising = ("note_after_hours", "late_after_hours", "very_late_after_hours")

    note_after_hours: Limit
    late_after_hours: Limit
    very_late_after_hours: Limit
    """Still a doubt, said in stronger words."""


class RisingTime(Check):
    """Whether the time of rising can be right; one after a reading never is."""

    rising = ("ask_after_hours", "block_after_hours")

    ask_after_hours: Limit
    """A time of day that long ago is asked about once: today's may have been meant."""
    block_after_hours: Limit


class SetTookLong(Check):
    """From the first to the last reading of one leg, one time round."""

    rising = ("note_after_minutes", "warn_after_minutes", "block_after_minutes")

    note_after_minutes: Limit
    warn_after_minutes: Limit
    block_after_minutes: Limit


class LegsFarApart(Check):
    """Between the same reading of the left and the right leg."""

    warn_after_minutes: Limit


class RepeatSpacing(Check):
    """Between a reading and its repeat."""

    note_below_seconds: Limit
    warn_after_minutes_each_point: Limit
    """Where the repeat follows at once, and where the way of repeating is not known."""
    warn_after_minutes_where_doubtful: Limit
    """Where it follows after all first readings."""
    warn_after_minutes_second_round: Limit
    """Where a whole round of both legs lies in between."""

    def warn_after_minutes(self, way: str) -> Exact:
        """Return the limit in minutes of a way of repeating (`fitcore.doubts.repeats`)."""
        ways = {
            "where_doubtful": self.warn_after_minutes_where_doubtful,
            "second_round": self.warn_after_minutes_second_round,
        }
        return ways.get(way, self.warn_after_minutes_each_point)


class PostureJustChanged(Check):
    """From taking up the posture to a leg's first reading."""

    rising = ("warn_below_minutes", "warn_below_minutes_after_lying")

    warn_below_minutes: Limit
    warn_below_minutes_after_lying: Limit
    """The posture before is not recorded, so this is a question."""


class CompressionOffLong(Check):
    """From compression coming off to a leg's first reading."""

    rising = ("warn_after_hours", "back_after_hours")

    fresh_after_compression_minutes: Limit
    """Up to here the leg counts as fresh out of compression, beyond it is noted."""
    warn_after_hours: Limit
    back_after_hours: Limit
    """Still a doubt: the swelling may be back."""

    @model_validator(mode="after")
    def _fresh_ends_first(self) -> Self:
        if self.fresh_after_compression_minutes > self.warn_after_hours * 60:
            raise ValueError(say("fresh_after_compression_minutes ends after warn_after_hours"))
        return self


class HeatOrExercise(Check):
    """Exercise, hot bath or hot room in the half hour before, as the question asks."""

    one: LevelField
    heat_and_exercise: LevelField


class LongTravel(Check):
    """A flight or ride of more than four hours, as the question asks."""

    within_day: LevelField
    within_three_days: LevelField


class FollowUpDiffers(Check):
    """Conditions against the client's last session."""

    level: LevelField
    hours: Limit
    """Hours since rising may differ by so much."""


class Ahead(Check):
    """How far one instant may lie before another that should be the earlier one."""

    warn_after_minutes: Limit
    block_after_hours: Limit

    @model_validator(mode="after")
    def _doubt_comes_first(self) -> Self:
        if self.warn_after_minutes > self.block_after_hours * 60:
            raise ValueError(say("warn_after_minutes must not be above block_after_hours"))
        return self


class ClockMoved(Check):
    """The laptop's clock against the time passed since the program was opened."""

    seconds: Limit
    behind: LevelField
    ahead: LevelField
    """Milder: while a laptop sleeps, the time passed may stand still."""


class LocalTimeAmbiguous(Check):
    """A local time around a change of the clocks."""

    twice: LevelField
    never: LevelField


class Dent(Check):
    """Pressing the skin for ten seconds."""

    stays: LevelField
    not_tried: LevelField
    """Only where the leg is recorded as swollen."""


class TimeRules(ProfileModel):
    """Thresholds and levels of all checks on time and conditions."""

    format: Literal[1]
    id: Identifier
    source: Source
    late_in_day: LateInDay
    rising_time: RisingTime
    set_took_long: SetTookLong
    legs_far_apart: LegsFarApart
    repeat_spacing: RepeatSpacing
    posture_differs: PlainCheck
    posture_just_changed: PostureJustChanged
    compression_off_long: CompressionOffLong
    heat_or_exercise: HeatOrExercise
    long_travel: LongTravel
    follow_up_differs: FollowUpDiffers
    reading_in_future: Ahead
    clock_behind: Ahead
    clock_moved: ClockMoved
    clock_not_confirmed: PlainCheck
    offset_missing: PlainCheck
    offset_wrong: PlainCheck
    local_time_ambiguous: LocalTimeAmbiguous
    zone_changed: PlainCheck
    compression_just_off: PlainCheck
    off_after_reading: PlainCheck
    compression_on: PlainCheck
    not_bare_skin: PlainCheck
    dent: Dent

    @property
    def late_after_hours(self) -> Exact:
        """Hours since rising beyond which a reading is late."""
        return self.late_in_day.late_after_hours

    @property
    def ask_after_hours(self) -> Exact:
        """Hours ago beyond which a time of day is asked about once."""
        return self.rising_time.ask_after_hours

    @property
    def fresh_after_compression_minutes(self) -> Exact:
        """Minutes up to which a leg is as small as compression made it."""
        return self.compression_off_long.fresh_after_compression_minutes

    @model_validator(mode="after")
    def _each_number_once(self) -> Self:
        checks = [value for _, value in self if isinstance(value, Check)]
        if len({check.number for check in checks}) != len(checks):
            raise ValueError(say("two checks have the same number"))
        return self
