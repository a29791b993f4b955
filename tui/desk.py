"""The open session and its moves: what the measuring screen can do, without any screen.

Moves that write block until the entry is on disk; the screen runs them in a thread. Everything
judged here is judged by the core.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from fitcore.clean_text import clean
from fitcore.conditions import judge_now
from fitcore.edits import (
    Typed,
    draft_answer,
    draft_not_taken,
    draft_other_leg,
    draft_reading,
    draft_remark,
    draft_withdrawal,
    parse_typed,
)
from fitcore.fit import SessionFit, fit_session
from fitcore.instants import hours_between
from fitcore.plausibility import judge_range
from fitcore.points import LEGS, Kind, Side, other_side, side_words
from fitcore.problems import UnitError
from fitcore.protocol import Step, done_reading, next_open, plan
from fitcore.readings import Readings
from fitcore.shoes import ShoeSize
from fitcore.units import Unit, show_cm
from fitcore.words import say
from tui.desk_words import reading_words, signed_cm, usual_words, where_words

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fitcore.disk.data_folder import DataFolder
    from fitcore.disk.profile_files import Profiles
    from fitcore.entries import Draft, Value
    from fitcore.profile_models import Protocol
    from fitcore.reading import Reading
    from fitcore.session import Session

DEFAULT_PROTOCOL = "below-knee-short"
SETUP = "setup"
"""Stands in `paused` while the questions before measuring are open."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What pressing Enter on a typed text comes to."""

    outcome: Literal["ready", "nothing_typed", "refused", "look_again", "needs_reason"]
    message: str = ""
    typed: Typed | None = None
    doubts: tuple[str, ...] = ()
    """Codes to store beside the reading."""


class Desk:
    """One open session, its protocol and the field the cursor is on."""

    def __init__(
        self,
        folder: DataFolder,
        profiles: Profiles,
        session: Session,
        *,
        now: Callable[[], datetime],
        earlier: Sequence[Session] = (),
        opening: Mapping[str, Value] | None = None,
    ) -> None:
        """Open a session at the field it was left at.

        Args:
            folder: the open data folder.
            profiles: charts, protocols and rules.
            session: the session; new or paused.
            now: the clock.
            earlier: the same client's older sessions, newest first.
            opening: answers a new session begins with; written with the first others.
        """
        self.folder = folder
        self.profiles = profiles
        self.session = session
        self.earlier = earlier
        self._opening = dict(opening or {})
        self.half_typed: dict[str, str] = {}
        """Name of a field to what is typed there and not accepted."""
        self._now = now
        self._sorted: tuple[Session, Readings] | None = None
        self.index = self._resume_index()

    # --- views -------------------------------------------------------------------------------

    @property
    def readings(self) -> Readings:
        """The session's readings as they stand."""
        if self._sorted is None or self._sorted[0] is not self.session:
            self._sorted = (self.session, Readings(self.session))
        return self._sorted[1]

    @property
    def protocol(self) -> Protocol:
        """The protocol the session follows."""
        return self.profiles.protocol(self.session.text("protocol") or DEFAULT_PROTOCOL)

    @property
    def sides(self) -> tuple[Side, ...]:
        """Which legs are measured, left first."""
        answered = self.session.value("sides")
        named = answered if isinstance(answered, list) else [side.value for side in LEGS]
        return tuple(side for side in LEGS if side.value in named) or LEGS

    @property
    def steps(self) -> tuple[Step, ...]:
        """All fields in measuring order."""
        return plan(self.protocol, self.sides)

    @property
    def step(self) -> Step:
        """The field the cursor is on."""
        return self.steps[min(self.index, len(self.steps) - 1)]

    @property
    def reading_here(self) -> Reading | None:
        """The reading that fills the present field, or None."""
        return done_reading(self.step, self.readings)

    @property
    def unit(self) -> Unit:
        """Unit printed on the tape in use."""
        return "in" if self.session.text("tape") == "in" else "cm"

    @property
    def all_done(self) -> bool:
        """Whether every field is answered."""
        return next_open(self.steps, self.readings) is None

    def hours_up(self) -> float | None:
        """Hours since rising, by the laptop's clock; None where it is not known."""
        rising = self.session.value("rising_at")
        return hours_between(rising, self._now()) if isinstance(rising, datetime) else None

    def time_doubts(self) -> tuple[str, ...]:
        """Codes of what the hour says about a reading taken now, or corrected: taken then."""
        here = self.reading_here
        taken = here is not None and not here.not_taken
        read_at = self.readings.read_at(here) if here is not None and taken else None
        return judge_now(self.session, read_at or self._now(), self.profiles.time_rules)

    def result(self) -> SessionFit:
        """Judge the session against every chart."""
        return fit_session(
            self.session, self.profiles.charts, self.profiles.ranges, self.profiles.time_rules
        )

    def usual_words(self) -> str:
        """Return the usual range of the present field, in the tape's unit."""
        return usual_words(self.profiles.ranges.of(self.step.point, self.step.kind), self.unit)

    def compare_words(self, step: Step) -> str:
        """Return the other leg's and last time's value for a field that has been read.

        Shown only after Enter, so that nobody copies a number instead of reading the tape.
        """
        mine = self.readings.adopted(step.side, step.point, step.kind)
        if mine is None or step.kind is Kind.SHOE:
            return ""
        parts = []
        other = self.readings.adopted(other_side(step.side), step.point, step.kind)
        if other is not None and step.side is not Side.BOTH:
            parts.append(
                say(
                    "{side} {cm} ({change}).",
                    side=side_words(other_side(step.side)),
                    cm=show_cm(other.mm),
                    change=signed_cm(mine.mm - other.mm),
                )
            )
        for session in self.earlier:
            before = Readings(session).adopted(step.side, step.point, step.kind)
            at = session.measured_at
            if before is not None and at is not None:
                parts.append(
                    say(
                        "On {date} {cm} ({change}).",
                        date=f"{at:%Y-%m-%d}",
                        cm=show_cm(before.mm),
                        change=signed_cm(mine.mm - before.mm),
                    )
                )
                break
        return " ".join(parts)

    # --- judging what was typed --------------------------------------------------------------

    def judge(self, text: str, *, seen: bool) -> Judged:
        """Judge what was typed in the present field.

        Args:
            text: as typed.
            seen: whether the doubt about this very text has been shown already.
        """
        step = self.step
        if not text.strip():
            return self._judge_empty()
        try:
            typed = parse_typed(step.kind, text, self.unit, or_shoe=step.or_shoe)
        except UnitError as error:
            problem = error.problem
            return Judged("refused", f"{problem.text} {problem.mend}")
        doubts = self.time_doubts()
        if isinstance(typed, ShoeSize):
            return Judged("ready", typed=typed, doubts=doubts)
        flag = judge_range(self.profiles.ranges, step.side, step.point, step.kind, typed.mm)
        if flag is None:
            return Judged("ready", typed=typed, doubts=doubts)
        doubts = (flag.code, *doubts)
        if seen:
            outcome: Literal["ready", "needs_reason"] = (
                "needs_reason" if flag.code == "hard_range" else "ready"
            )
            return Judged(outcome, flag.text, typed, doubts)
        ask = (
            say("Enter again keeps it, with a reason.")
            if flag.code == "hard_range"
            else say("Enter again keeps it.")
        )
        if step.or_shoe and flag.code == "hard_range":
            ask = say("A shoe size? Then type EU {text}.", text=text.strip()) + f" {ask}"
        return Judged("look_again", f"{flag.text} {ask}", typed, doubts)

    def _judge_empty(self) -> Judged:
        if self.reading_here is not None:
            return Judged("nothing_typed")
        return Judged("refused", say("Type what the tape shows, or F2 if it cannot be taken."))

    # --- moves that write (blocking) ---------------------------------------------------------

    def store(self, judged: Judged, why: str = "") -> str:
        """Store a reading, or a correction of the one that is there; then go to the next field.

        Returns:
            What was saved, in words.

        Raises:
            FileFault: nothing was stored and the cursor stays.
        """
        if judged.typed is None:
            return ""
        step, old = self.step, self.reading_here
        kind = Kind.SHOE if isinstance(judged.typed, ShoeSize) else step.kind
        draft = draft_reading(
            (step.side, step.point, kind),
            step.round,
            judged.typed,
            self._now(),
            instead_of=self.readings.rivals(old) if old else (),
            why=why,
            doubts=judged.doubts,
            posture=old.posture if old else "",
        )
        self._append(draft)
        self._move_on()
        return self._saved_words(step, corrected=old is not None)

    def store_not_taken(self, reason: str) -> str:
        """Record that the present field is not taken, and why; then go to the next field."""
        step, old = self.step, self.reading_here
        draft = draft_not_taken(
            step.place,
            step.round,
            reason,
            self._now(),
            instead_of=self.readings.rivals(old) if old else (),
        )
        self._append(draft)
        self._move_on()
        return say("Saved: {place} not taken ({why}).", place=where_words(step.place), why=reason)

    def strike_out(self, reason: str) -> str:
        """Withdraw the present field's reading; the field is open again."""
        old = self.reading_here
        if old is None:
            return ""
        self._append(draft_withdrawal(self.readings.strikable(old), reason, self._now()))
        return say(
            "Struck out and kept: {place} {value}.",
            place=where_words(old.place),
            value=reading_words(old),
        )

    def move_to_other_leg(self) -> str:
        """Move the readings taken so far to the other leg, as corrections.

        Where both legs have readings they change places.
        """
        drafts = draft_other_leg(self.readings, LEGS, self._now())
        if not drafts:
            return ""
        self._append(*drafts)
        self.index = next_open(self.steps, self.readings) or 0
        return say("{count} readings moved to the other leg.", count=len(drafts))

    def add_remark(self, text: str) -> str:
        """Add a remark."""
        self._append(draft_remark(text, self._now()))
        return say("Remark saved.")

    def answer(self, answers: Mapping[str, Value]) -> None:
        """Answer fields; those that already say so are left alone."""
        at = self._now()
        drafts = [draft_answer(self.session, what, value, at) for what, value in answers.items()]
        self._append(*(draft for draft in drafts if draft is not None))

    def pause(self) -> None:
        """Note the field the session is left at, and what was typed there and not accepted."""
        if not self.session.value("finished"):
            here = self.step.name
            others = [pair for pair in self.half_typed.items() if pair[0] != here]
            pairs = [(here, self.half_typed.get(here, "")), *others]
            self.answer({"paused": [part for pair in pairs for part in pair]})

    def pause_setup(self, answers: Mapping[str, Value]) -> None:
        """Keep what was answered before measuring began, and note that it has not begun."""
        self.answer({**self._opening, **answers, "paused": [SETUP, ""]})

    def start_measuring(self, answers: Mapping[str, Value]) -> None:
        """Answer the questions before measuring and go to the first open field."""
        self.answer({**self._opening, **answers})
        self.index = self._resume_index()

    @property
    def in_setup(self) -> bool:
        """Whether the questions before measuring are still open."""
        paused = self.session.value("paused")
        asked = self.session.value("rising_at") is not None
        return not asked or (isinstance(paused, list) and paused[:1] == [SETUP])

    def resume(self) -> None:
        """Note that measuring goes on, so that a later crash comes back to the next open field."""
        heads = self.session.answer("paused").heads
        if heads and self.session.value("paused") != []:
            self.answer({"paused": []})

    def finish(self) -> None:
        """Mark the session finished."""
        self.answer({"finished": True})

    def move(self, by: int) -> None:
        """Go to a field before or after."""
        self.index = max(0, min(len(self.steps) - 1, self.index + by))

    def _move_on(self) -> None:
        following = next_open(self.steps, self.readings, self.index)
        self.index = len(self.steps) - 1 if following is None else following

    def _append(self, *drafts: Draft) -> None:
        self.session = self.folder.append(self.session, drafts)

    def _resume_index(self) -> int:
        paused = self.session.value("paused")
        if isinstance(paused, list) and len(paused) >= 2:
            names = [step.name for step in self.steps]
            for name, text in zip(paused[::2], paused[1::2], strict=False):
                if text and name in names:
                    self.half_typed[str(name)] = clean(str(text)).text
            if paused[0] in names:
                return names.index(str(paused[0]))
        return next_open(self.steps, self.readings) or 0

    def _saved_words(self, step: Step, *, corrected: bool) -> str:
        reading = done_reading(step, self.readings)
        if reading is None:
            return ""
        place, value = where_words(reading.place), reading_words(reading)
        if self.step.place == (other_side(step.side), step.point, step.kind):
            # The same point of the other leg is next: its field must not stand beside this value.
            return say("Saved: {place}.", place=place)
        said = (
            say("Corrected: {place} {value}.", place=place, value=value)
            if corrected
            else say("Saved: {place} {value}.", place=place, value=value)
        )
        return f"{said} {self.compare_words(step)}".strip()

    @property
    def client(self) -> str:
        """The client's code."""
        return self.session.text("client") or str(self._opening.get("client", ""))

    @property
    def measurer(self) -> str:
        """Staff code of whoever holds the tape."""
        return self.session.text("measurer") or str(self._opening.get("measurer", "?"))
