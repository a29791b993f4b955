"""Visits of one invented person under several codes: here KES-17, elsewhere dunlin-3, petrel-9."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from screening_cases import Sitting, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.identity import make_uuid7
from fitcore.merge.clients import Clients, draft_link
from fitcore.merge.ledger_lines import gather
from fitcore.points import LEGS, Kind, Point
from fitcore.record.edits import draft_answer, draft_reading
from fitcore.record.readings import Readings
from fitcore.safety.clearance import SessionClearance, judge_clearance
from fitcore.units import Length, Millimetre

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.disk.data_folder import DataFolder
    from fitcore.record.entries import Value

PROFILES = load_profiles()
HERE, THERE, THIRD = "KES-17", "dunlin-3", "petrel-9"
NOW = datetime(2026, 3, 20, 9, 0, tzinfo=UTC)
TODAY = NOW.date()
HOURS_A_DAY = 24
STOP = {"bypass_left": "yes"}
HOLD = {"swelling_new_left": "yes"}
ASK = {"weak_pulse_left": "yes"}
BLOODS = {"arm_left": 140, "arm_right": 140}


def visit(
    code: str = THERE,
    *,
    hours: float = 0,
    laptop: str = "dunlin-m4ex",
    pressures: Mapping[str, Value] | None = None,
    **answers: Value,
) -> Sitting:
    """Return a visit begun so many hours from now, the first page answered with no but for these.

    A new laptop number goes on from the hours, as a laptop's own numbers do.
    """
    at = NOW + timedelta(hours=hours)
    drawn = f"{code}{hours}{laptop}".encode().ljust(10)[-10:]
    sitting = Sitting(laptop=laptop)
    sitting.session = replace(sitting.session, id=make_uuid7(int(at.timestamp() * 1000), drawn))
    sitting.at, sitting.number = at, int(500_000 + hours * 20)
    sitting.answer("client", code)
    sitting.answer("sides", ["left", "right"])
    sitting.answer_all(**ordinary(**answers))  # type: ignore[arg-type]
    for name, value in (pressures or {}).items():
        sitting.answer(f"pressure.{name}", value)
    return sitting


def read_calves(sitting: Sitting, left: int, right: int | None) -> Sitting:
    for side, mm in zip(LEGS, (left, right), strict=True):
        if mm is None:
            continue
        for number in (1, 2):
            length = Length(str(mm / 10), "cm", Millimetre(Decimal(mm)))
            place = (side, Point.C, Kind.GIRTH)
            sitting.add(draft_reading(place, number, length, sitting.at))
    return sitting


def judged(here: Sitting, *there: Sitting, on: date = TODAY) -> SessionClearance:
    session, linked = here.session, [sitting.session for sitting in there]
    return judge_clearance(session, Readings(session), PROFILES.rules, on=on, linked=linked)


def here(**answers: Value) -> Sitting:
    return visit(HERE, laptop="tern-k7qd", **answers)


def file_visit(folder: DataFolder, code: str, at: datetime, **answers: Value) -> str:
    """Write one visit into a data folder at once: screened, and both legs read; return its id."""
    session = folder.new_session()
    given = {"client": code, "sides": ["left", "right"]} | {
        f"screen.{name}": value
        for name, value in ordinary(**answers).items()  # type: ignore[arg-type]
    }
    drafts = [draft_answer(session, what, value, at) for what, value in given.items()]
    places = ((Point.B, Kind.GIRTH, 224), (Point.C, Kind.GIRTH, 362), (Point.D, Kind.LENGTH, 400))
    for side in LEGS:
        for point, kind, mm in places:
            length = Length(str(mm / 10), "cm", Millimetre(Decimal(mm)))
            drafts += [draft_reading((side, point, kind), number, length, at) for number in (1, 2)]
    folder.append(session, [draft for draft in drafts if draft is not None])
    return session.id


def link_codes(folder: DataFolder, *codes: str, at: datetime = NOW) -> None:
    """Say in a data folder's ledger that codes are one person's."""
    nothing_said = Clients(gather([]))
    why = "asked at the door"
    folder.append_to_ledger([draft_link(nothing_said, codes, who="C-02", why=why, at=at)])
