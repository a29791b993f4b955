"""Makes the demo day: one invented working day on the made-up Skerrow Isles, on three laptops.

Everybody and every number here is invented. The day is written through the program's own
functions, the same that the screen calls, with a fixed clock and fixed chance, so making it again
gives the same bytes:

    python sample_sessions/make_day.py [FOLDER]
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.profile_files import Profiles, load_profiles
from fitcore.disk.session_files import session_path
from fitcore.disk.surroundings import Surroundings
from fitcore.identity import own_client_code
from fitcore.instants import parse_time_of_day
from fitcore.record.fields import UNKNOWN
from tui.desk import Desk
from tui.desk_screening import store_answers
from tui.judging import judge_typed
from tui.screening_stages import make_form, next_stage
from tui.setup_form import SetupForm
from tui.shape_page import shape_form, shape_is_due, store_shapes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.record.entries import Value
    from fitcore.record.session import Session

ZONE = ZoneInfo("Europe/London")
DAY = datetime(2026, 3, 4, tzinfo=ZONE)
LAPTOPS = ("tern", "dunlin", "petrel")
NO_READING = "not needed"
CHARTED = ("below_knee", "mid_calf")
TWO_CODES_AT = "09:10"
"""When case 14 is measured; every other case starts before or after."""


class DayClock:
    """A clock that stands where it is put and goes on four seconds at each look."""

    def __init__(self, start: datetime) -> None:
        self.instant = start

    def now(self) -> datetime:
        """Return the present instant."""
        self.instant += timedelta(seconds=4)
        return self.instant


@dataclass(frozen=True)
class Case:
    """One invented client's sitting."""

    laptop: str
    number: int
    start: str
    up: str
    purpose: str
    protocol: str
    typed: Sequence[str]
    """What was typed in each field, in order; `-` is not taken."""
    sides: Sequence[str] = ("left", "right")
    forms: Sequence[str] = CHARTED
    remark: str = ""
    finished: bool = True
    answers: dict[str, str] = field(default_factory=dict)
    told: str = ""
    """Who was told of a stop."""
    screened: dict[str, str] = field(default_factory=dict)
    """Question to the keys that answer it; every other line is asked, and no."""
    shape: dict[str, str] = field(default_factory=dict)
    """Shape and leg, such as `deep_folds:left`, to the answer; every other line is no."""


PRESCRIBED = {
    "prescriber": "P-04",
    "prescribed_standard": "7",
    "prescribed_class": "",
    "prescribed_low_mmhg": "16",
    "prescribed_high_mmhg": "22",
    "prescribed_length": "1",
    "prescribed_toe": "1",
    "prescribed_legs": "3",
    "prescribed_pairs": "2",
}
SHORT, SOCK = "below-knee-short", "below-knee-sock"
CASES = (
    Case("tern", 1, "07:10", "06:30", "work", SOCK, ("39", "36.2", "36.4"), remark="Shop worker."),
    Case(
        "tern",
        2,
        "16:40",
        "16:00",
        "work",
        SOCK,
        ("43", "38.0", "38.1"),
        remark="Night baker: gets up in the afternoon.",
    ),
    Case(
        "tern",
        3,
        "16:40",
        "06:00",
        "standing",
        SHORT,
        ("24.6", "39.9", "41.0", "-", "24.5", "40.0", "41.0", "-"),
        remark="Teacher.",
    ),
    Case(
        "tern",
        4,
        "10:05",
        "08:00",
        "standing",
        SHORT,
        ("8.7", "46.0", "40.5", "-", "8 3/4 in", "45.8", "40.5", "-"),
    ),
    Case(
        "tern",
        5,
        "11:20",
        "09:30",
        "standing",
        SHORT,
        ("-", "40.2", "-", "-", "-", "-", "37.0", "-", "-"),
        finished=False,
        answers={"swollen": "left"},
        told="doctor, by telephone",
        screened={
            "leg_swelling": "y",
            "swelling_new_left": "y",
            "hot_or_painful_left": "y",
            "swelling_unexplained_left": "y",
        },
        remark="Left calf larger and warm for two days. Stopped; medical help today.",
    ),
    Case(
        "dunlin",
        1,
        "15:30",
        "07:00",
        "prescribed",
        SHORT,
        # Both calves first, and at once again where they differ; a swollen leg twice at each point.
        (
            *("44.0", "44.0", "37.8", "37.8", "29.5", "29.5", "42.0", "42.0", "-"),
            *("22.6", "42.0", "-"),
        ),
        forms=("below_knee",),
        answers={
            "compression": "off",
            "compression_off_at": "15:20",
            "swollen": "left",
            "swelling_known": "oedema",
            "dent": "none",
        },
        screened={
            **PRESCRIBED,
            "prescribed_legs": "1",
            "leg_swelling": "y",
            "swelling_old": "y",
            "lymph": "y",
            "lymphoedema_left": "y",
            "prescriber_knows": "y",
            "larger_leg_explained": "y",
            "abpi_taken": "y",
            "arm_left": "132",
            "arm_right": "128",
            "left_dp": "140",
            "right_dp": "138",
        },
        shape={"deep_folds:left": "yes"},
        remark="Lymphoedema left, unchanged for months; deep folds at the ankle.",
    ),
    Case(
        "dunlin",
        2,
        "09:40",
        "07:30",
        "prescribed",
        SHORT,
        (),
        forms=("below_knee",),
        finished=False,
        screened={
            **PRESCRIBED,
            "abpi_taken": "y",
            "arm_left": "138",
            "arm_right": "134",
            "left_dp": "110",
            "right_dp": "128",
        },
        remark="Left referred before measuring.",
    ),
    Case(
        "dunlin",
        3,
        "10:20",
        "07:00",
        "prescribed",
        SHORT,
        (),
        forms=("below_knee",),
        finished=False,
        screened={
            **PRESCRIBED,
            "diabetes_or_kidney": "y",
            "diabetes": "y",
            "foot_check": "y",
            "no_feeling": "y",
            "numb_left": "y",
            "numb_right": "y",
            "abpi_taken": "y",
            "arm_left": "140",
            "arm_right": "136",
            "left_dp": "190",
            "right_dp": "190",
        },
        remark="Numb toes. Not measured.",
    ),
    Case(
        "dunlin",
        4,
        "11:00",
        "08:30",
        "prescribed",
        SHORT,
        ("37.5", "37.4", "23.8", "41.0", "-", "23.7", "41.0", "-"),
        forms=("below_knee",),
        answers={"swelling_known": "heart_failure"},
        screened={
            **PRESCRIBED,
            "prescribed_low_mmhg": "18",
            "prescribed_high_mmhg": "24",
            "heart": "y",
            "heart_failure": "y",
            "smoker": "y",
        },
        remark="Heart failure, stable for a year.",
    ),
    Case(
        "dunlin",
        5,
        "15:10",
        "13:30",
        "sport",
        SOCK,
        ("38", "31.0", "31.0"),
        finished=False,
        screened={"under_18": "y"},
        remark="Boy of 13, football. Not for this program: children's service.",
    ),
    Case(
        "petrel",
        1,
        "09:05",
        "07:00",
        "prescribed",
        SHORT,
        ("37.9", "23.1", "41.0", "-"),
        sides=("right",),
        forms=("below_knee",),
        screened={
            **PRESCRIBED,
            "prescribed_legs": "2",
            "arteries": "y",
            "amputation_circulation": "y",
            "leg_state_left": "2",
            "leg_why_left": "1",
            "leg_state_right": "1",
        },
        remark="Left leg lost to poor circulation. Vascular advice first.",
    ),
    Case(
        "petrel",
        2,
        "10:00",
        "08:00",
        "prescribed",
        SHORT,
        ("29.8", "29.7", "20.4", "38.0", "-", "20.5", "38.0", "-"),
        forms=("below_knee",),
        answers={"posture": "lying"},
        screened={
            **PRESCRIBED,
            "abpi_taken": "y",
            "arm_left": "126",
            "arm_right": "124",
            "left_dp": "130",
            "right_pt": "128",
        },
        shape={
            f"{shape}:{side}": "yes"
            for shape in ("deformed_toes", "contracture")
            for side in ("left", "right")
        },
        remark="Measured lying, knee bent about 30 degrees; clawed toes.",
    ),
    Case(
        "petrel",
        3,
        "11:30",
        "09:00",
        "travel",
        SHORT,
        ("24.0", "38.8", "40.0", "-", "24.2", "39.0", "40.0", "-"),
        answers={"swelling_known": "late_pregnancy"},
        screened={"pregnant": "y", "weeks_pregnant": "31"},
        remark="31 weeks pregnant, flight tomorrow, no warning signs: ask the midwife.",
    ),
)


class Day:
    """The three laptops while the day goes on."""

    def __init__(self, root: Path, state: Path) -> None:
        self.root = root
        self.profiles: Profiles = load_profiles()
        self.clock = DayClock(DAY)
        self.folders: dict[str, DataFolder] = {}
        self._clock_confirmed: set[str] = set()
        """Laptops at which somebody said today that date and time are right."""
        for laptop in LAPTOPS:
            chance = random.Random(laptop)  # noqa: S311 - fixed on purpose, no secret
            surroundings = Surroundings(self.clock.now, chance.randbytes, state, ZONE.key)
            self.folders[laptop] = DataFolder(
                root / laptop, surroundings, label=laptop, measurer=f"N-{len(laptop) + 10}"
            )

    def at(self, time_of_day: str, day: datetime = DAY) -> None:
        """Set all clocks."""
        hour, minute = time_of_day.split(":")
        self.clock.instant = day.replace(hour=int(hour), minute=int(minute))

    def desk(self, laptop: str, client: str, session: Session | None = None) -> Desk:
        """Sit down at a laptop with a client."""
        folder = self.folders[laptop]
        opening: dict[str, Value] = {
            "client": client,
            "measurer": folder.laptop.measurer,
            "zone": folder.laptop.zone,
        }
        return Desk(
            folder,
            self.profiles,
            session or folder.new_session(),
            now=self.clock.now,
            opening={} if session else opening,
        )

    def play(self, case: Case) -> None:
        """Play one sitting; screening takes the ten minutes before the tape."""
        self.at(case.start)
        self.clock.instant -= timedelta(minutes=10)
        desk = self.desk(case.laptop, own_client_code(case.laptop, case.number))
        given: dict[str, Value] = {
            "purpose": case.purpose,
            "forms": list(case.forms),
            "sides": list(case.sides),
            "protocol": case.protocol,
            "rising_at": parse_time_of_day(case.up, self.clock.instant),
        }
        for what, text in case.answers.items():
            is_time = what.endswith("_at")
            given[what] = parse_time_of_day(text, self.clock.instant) if is_time else text
        screen(desk, case.screened)
        desk.start_measuring(self.answers(case.laptop, given))
        screen(desk, case.screened)
        self.at(case.start)
        for text in case.typed:
            measure(desk, text)
            screen(desk, case.screened)
        if (case.laptop, case.number) == ("tern", 4):
            correct_unit_slip(desk)
        if case.finished and shape_is_due(desk):
            page = shape_form(desk)
            page.answer_rest_no()
            store_shapes(desk, page.answers() | case.shape)
        if case.told:
            desk.answer({"told": case.told})
        if case.remark:
            desk.add_remark(case.remark)
        if case.finished:
            desk.finish()
        else:
            desk.pause()

    def answers(self, laptop: str, given: dict[str, Value]) -> dict[str, Value]:
        """Answer the questions before measuring: what is given, else as the form shows it.

        At a laptop's first sitting of the day somebody looks at a watch.
        """
        form = SetupForm(
            self.profiles.protocols,
            self.clock.now,
            given,
            ask_after_hours=float(self.profiles.rules.time.ask_after_hours),
            ask_clock=laptop not in self._clock_confirmed,
        )
        self._clock_confirmed.add(laptop)
        return form.answers()

    def close(self) -> None:
        """Close the laptops."""
        for folder in self.folders.values():
            folder.close()


def screen(desk: Desk, keys: dict[str, str]) -> None:
    """Answer the pages of screening that are due, by the keys that would be pressed."""
    while (stage := next_stage(desk)) is not None:
        form = make_form(desk, stage)
        complete = False
        while not complete:
            line = form.line
            told = keys.get(line.what.partition(".")[2], "" if line.may_stay_open else "n")
            if form.answer(line) is None:
                for key in told:
                    form.type(key)
            if line.what != form.line.what:
                continue
            before = form.at
            complete, fault = form.accept()
            if not complete and form.at == before:
                raise RuntimeError(f"{line.what}: {fault}")
        store_answers(desk, form.answers())


def measure(desk: Desk, text: str, why: str = "read so from the tape") -> None:
    """Type one field's text and keep it even where the program doubts it."""
    if text == "-":
        desk.store_not_taken(NO_READING)
        return
    judged = judge_typed(desk, text, seen=True)
    desk.store(judged, why if judged.outcome == "needs_reason" else "")


def correct_unit_slip(desk: Desk) -> None:
    """Case 4: the ankle typed as 8.7 was read on an inch tape; it is 8 11/16 in.

    Then the calves, wide beside such ankles, are read again and are what they were.
    """
    desk.go_to(desk.steps[0])
    judged = judge_typed(desk, "8 11/16 in", seen=True)
    desk.store(judged, "the tape shows inches")
    measure(desk, "46.0")
    measure(desk, "45.8")


def two_codes_one_person(day: Day) -> None:
    """Case 14: measured on two laptops under two codes, and edited on both."""
    day.at(TWO_CODES_AT)
    mine = day.desk("tern", own_client_code("tern", 6))
    yours = day.desk("dunlin", own_client_code("dunlin", 6))
    for laptop, desk, ankle in (("tern", mine, "22.3"), ("dunlin", yours, "22.4")):
        given: dict[str, Value] = {
            "purpose": "standing",
            "protocol": SHORT,
            "rising_at": parse_time_of_day("07:00", day.clock.instant),
        }
        screen(desk, {})
        desk.start_measuring(day.answers(laptop, given))
        for text in (ankle, "37.0", "40.0", "-", "22.4", "37.1", "40.0", "-"):
            measure(desk, text)
    yours.finish()
    # tern's session is carried to dunlin on a stick; then both put the posture right, differently.
    source = session_path(day.root / "tern", mine.session.id)
    target = session_path(day.root / "dunlin", mine.session.id)
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)
    copied = day.folders["dunlin"].read(mine.session.id)
    if copied is None:
        raise RuntimeError("the copied session cannot be read")
    mine.answer({"posture": "sitting"})
    mine.finish()
    day.desk("dunlin", "", copied).answer({"posture": "lying"})


def check_after_two_weeks(day: Day) -> None:
    """Case 14, two weeks later, on petrel, whose battery was flat: its clock says 1970."""
    day.at("01:20", datetime(1970, 1, 1, tzinfo=ZONE))
    check = day.desk("petrel", own_client_code("tern", 6))
    given: dict[str, Value] = {"purpose": "standing", "protocol": SHORT, "rising_at": UNKNOWN}
    screen(check, {})
    check.start_measuring(day.answers("petrel", given) | {"clock": "wrong"})
    check.add_remark("Check after two weeks: heel sore. Change the size.")
    check.pause()


def make_day(root: Path) -> None:
    """Write the day below a folder, in place of what stands there."""
    for laptop in LAPTOPS:
        shutil.rmtree(root / laptop, ignore_errors=True)
    in_order = sorted(CASES, key=lambda case: (case.start, case.laptop, case.number))
    with tempfile.TemporaryDirectory() as state:
        day = Day(root, Path(state))
        for case in in_order:
            if case.start < TWO_CODES_AT:
                day.play(case)
        two_codes_one_person(day)
        for case in in_order:
            if case.start > TWO_CODES_AT:
                day.play(case)
        check_after_two_weeks(day)
        day.close()


if __name__ == "__main__":
    make_day(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
