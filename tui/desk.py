"""The open session and its moves: what the measuring screen can do, without any screen.

Moves that write block until the entry is on disk; the screen runs them in a thread. Everything
judged here is judged by the core.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.doubts.repeats import TAKEN_UP_AGAIN, repeat_way, skip_reason
from fitcore.fit import SessionFit, fit_session
from fitcore.moment.postures import posture_to_store
from fitcore.moment.swelling import model_words
from fitcore.points import LEGS, Kind, Place, Side, other_side
from fitcore.protocol import Step, done_reading, is_done, next_open
from fitcore.record.edits import (
    draft_answer,
    draft_not_taken,
    draft_other_leg,
    draft_reading,
    draft_remark,
    draft_withdrawal,
)
from fitcore.shoes import ShoeSize
from fitcore.words import say
from tui.desk_again import rounds_paused_at
from tui.desk_conditions import time_flags
from tui.desk_view import View, following_field, look
from tui.desk_words import reading_words, saved_words, where_words
from tui.telling import Telling

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime

    from fitcore.certainty.certainty_errors import RepeatErrorOf
    from fitcore.disk.data_folder import DataFolder
    from fitcore.disk.profile_files import Profiles
    from fitcore.flags import Flag
    from fitcore.profile_models import Protocol
    from fitcore.record.entries import Draft, Value
    from fitcore.record.reading import Reading
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session
    from fitcore.safety.clearance import SessionClearance
    from fitcore.units import Unit
    from tui.judging import Judged

DEFAULT_PROTOCOL = "below-knee-short"
SETUP = "setup"
"""Stands in `paused` while the questions before measuring are open."""


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
        clock_flags: Callable[[], tuple[Flag, ...]] = tuple,
        own_error: RepeatErrorOf | None = None,
        linked: Sequence[Session] = (),
    ) -> None:
        """Open a session at the field it was left at.

        Args:
            folder: the open data folder.
            profiles: charts, protocols and rules.
            session: the session; new or paused.
            now: the clock.
            earlier: the same client's older sessions, newest first.
            opening: answers a new session begins with; written with the first others.
            clock_flags: what is doubtful about the laptop's clock at this moment.
            own_error: the measurer's own repeat error in mm, where enough is known of it.
            linked: all other sessions of the client, judged together with this one.
        """
        self.folder = folder
        self.profiles = profiles
        self.session = session
        self.earlier = earlier
        self._own_error, self._linked = own_error, linked
        self._opening = dict(opening or {})
        self.half_typed: dict[str, str] = {}
        """Name of a field to what is typed there and not accepted."""
        self.clock_flags = clock_flags
        self.telling = Telling()
        self.posture_changed = False
        """Whether the questions just gave another posture than before: asked about once."""
        self.again = rounds_paused_at(session.value("paused"))
        """Times round of places to be read once more, asked for at the result."""
        self.now = now
        self._view: View | None = None
        self._at = self._resume_at()

    # --- views -------------------------------------------------------------------------------

    @property
    def _seen(self) -> View:
        if self._view is None or self._view.session is not self.session:
            judged = self.result()
            self._view = look(self.session, self.sides, self.protocol, judged, self.again)
        return self._view

    @property
    def readings(self) -> Readings:
        """The session's readings as they stand."""
        return self._seen.readings

    @property
    def steps(self) -> tuple[Step, ...]:
        """All fields in measuring order, the repeats wanted by now among them."""
        return self._seen.steps

    @property
    def flags(self) -> tuple[Flag, ...]:
        """What is doubtful about the session as it stands, worst first."""
        return self._seen.flags

    @property
    def clearance(self) -> SessionClearance:
        """Whether the legs may be fitted, as the session stands."""
        return self._seen.clearance

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
    def index(self) -> int:
        """Which of the steps the cursor is on."""
        names = [step.name for step in self.steps]
        return names.index(self._at) if self._at in names else self._first_open()

    @property
    def step(self) -> Step:
        """The field the cursor is on."""
        return self.steps[self.index]

    @property
    def reading_here(self) -> Reading | None:
        """The reading that fills the present field, or None."""
        return done_reading(self.step, self.readings)

    def shows(self, place: Place) -> bool:
        """Whether a place's values may be seen: not while a repeat of it is still to come.

        A repeat is worth something only where nobody sees the first reading. The field the cursor
        is on shows its own value, so that it can be corrected.
        """
        step = self.step
        if (step.place, step.round) == (place, 1) and self.reading_here is not None:
            return True
        still_open = any(s.place == place and not is_done(s, self.readings) for s in self.steps)
        repeating = step.round > 1 or self._repeats_at_once(place[0])
        return not (still_open and repeating and self.readings.current(place))

    def _repeats_at_once(self, side: Side) -> bool:
        return repeat_way(self.session, self.protocol.repeat, side) == "each_point"

    @property
    def unit(self) -> Unit:
        """Unit printed on the tape in use."""
        return "in" if self.session.text("tape") == "in" else "cm"

    @property
    def all_done(self) -> bool:
        """Whether every field is answered."""
        return next_open(self.steps, self.readings) is None

    def time_flags(self) -> tuple[Flag, ...]:
        """Return what hour and clock say about a reading taken now, or corrected: taken then."""
        return time_flags(self)

    def result(self) -> SessionFit:
        """Judge the session against every chart."""
        return fit_session(
            self.session,
            self.profiles.charts,
            self.profiles.rules,
            self.earlier,
            on=self.now().date(),
            own_error=self._own_error,
            linked=self._linked,
        )

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
            self.now(),
            instead_of=self.readings.rivals(old) if old else (),
            why=why,
            why_for=judged.blocks if why else (),
            doubts=judged.doubts,
            posture=old.posture if old else posture_to_store(self.session, kind),
            measurer=self._measurer_of(old),
        )
        self.append(draft)
        self._move_on(corrected=old is not None)
        return saved_words(self, step, corrected=old is not None)

    def store_not_taken(self, reason: str) -> str:
        """Record that the present field is not taken, and why; then go to the next field."""
        step, old = self.step, self.reading_here
        draft = draft_not_taken(
            step.place,
            step.round,
            reason,
            self.now(),
            instead_of=self.readings.rivals(old) if old else (),
        )
        self.append(draft)
        self._move_on()
        return say("Saved: {place} not taken ({why}).", place=where_words(step.place), why=reason)

    def strike_out(self, reason: str) -> str:
        """Withdraw the present field's reading; the field is open again."""
        old = self.reading_here
        if old is None:
            return ""
        self.append(draft_withdrawal(self.readings.strikable(old), reason, self.now()))
        return say(
            "Struck out and kept: {place} {value}.",
            place=where_words(old.place),
            value=reading_words(old),
        )

    def move_to_other_leg(self) -> str:
        """Move the readings taken so far to the other leg, as corrections.

        Where both legs have readings they change places. Where one leg was to be measured it is
        the other one from now on, so that its fields go with its readings.
        """
        at = self.now()
        drafts = draft_other_leg(self.readings, LEGS, at)
        if not drafts:
            return ""
        sides = [other_side(side).value for side in self.sides]
        legs = draft_answer(self.session, "sides", sides, at) if len(sides) == 1 else None
        self.append(*drafts, *([legs] if legs is not None else []))
        self._at = self.steps[self._first_open()].name
        return say("{count} readings moved to the other leg.", count=len(drafts))

    def add_remark(self, text: str) -> str:
        """Add a remark."""
        self.append(draft_remark(text, self.now()))
        return say("Remark saved.")

    def answer(self, answers: Mapping[str, Value]) -> None:
        """Answer fields; those that already say so are left alone."""
        at = self.now()
        drafts = [draft_answer(self.session, what, value, at) for what, value in answers.items()]
        self.append(*(draft for draft in drafts if draft is not None))

    def begin(self) -> None:
        """Write what a new session begins with; nothing where it is there already."""
        self.answer(self._opening)

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
        begun: dict[str, Value] = {"paused": []} if self.session.answer("paused").heads else {}
        before = self.session.text("posture")
        self.answer({**self._opening, **answers, **begun})
        self.posture_changed = before not in ("", self.session.text("posture"))
        self.telling.forget()
        self._at = self._resume_at()

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
        used = model_words(self.profiles.swelling)
        self.answer({"finished": True, "swelling_model": used})

    def skip_repeats(self, reason: str) -> str:
        """Leave out the repeats that are still open, and say why."""
        self.answer({"round_skipped": reason})
        return say("Repeats left out: {why}. F8 takes them up again.", why=reason)

    def take_up_repeats(self) -> str:
        """Ask for the repeats again that were left out."""
        self.answer({"round_skipped": TAKEN_UP_AGAIN})
        return say("Repeats are asked again.")

    @property
    def repeats_left_out(self) -> bool:
        """Whether the repeats were left out."""
        return bool(skip_reason(self.session))

    def move(self, by: int) -> None:
        """Go to a field before or after."""
        self._at = self.steps[max(0, min(len(self.steps) - 1, self.index + by))].name

    def go_to(self, step: Step) -> None:
        """Go to a field."""
        self._at = step.name

    def read_again(self, place: Place, number: int) -> None:
        """Lay out one more time round of a place, beside the readings it has."""
        self.again[place], self._view = number, None

    def _move_on(self, *, corrected: bool = False) -> None:
        following = following_field(self._seen, self.index, corrected=corrected)
        self._at = self.steps[-1 if following is None else following].name

    def _first_open(self) -> int:
        return next_open(self.steps, self.readings) or 0

    def _measurer_of(self, old: Reading | None) -> str:
        """Return who holds the tape where it is not the session's measurer; else empty."""
        if old is not None:
            return old.measurer
        now = self.folder.laptop.measurer
        return now if now != self.measurer else ""

    def use_profiles(self, profiles: Profiles) -> None:
        """Judge by other profiles from now on."""
        self.profiles, self._view = profiles, None

    def append(self, *drafts: Draft) -> None:
        """Write entries and take up the session as it then stands."""
        self.session = self.folder.append(self.session, drafts)

    def _resume_at(self) -> str:
        paused = self.session.value("paused")
        if isinstance(paused, list) and len(paused) >= 2:
            names = [step.name for step in self.steps]
            for name, text in zip(paused[::2], paused[1::2], strict=False):
                if text and name in names:
                    self.half_typed[str(name)] = clean(str(text)).text
            if paused[0] in names:
                return str(paused[0])
        return self.steps[self._first_open()].name

    @property
    def client(self) -> str:
        """The client's code."""
        return self.session.text("client") or str(self._opening.get("client", ""))

    @property
    def measurer(self) -> str:
        """Staff code of whoever holds the tape."""
        return self.session.text("measurer") or str(self._opening.get("measurer", "?"))
