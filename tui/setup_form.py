"""The questions before measuring, as one form without a screen: lines, choices, answers.

The first lines are asked one by one; the lines below them have defaults that are shown and count
as answered once the nurse starts measuring.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from fitcore.instants import hours_between, long_date
from fitcore.points import LEGS
from fitcore.problems import FitError
from fitcore.record.fields import FIELDS, UNKNOWN, choice_words, field_words, parse_answer
from fitcore.words import say
from tui.setup_line import Line, choice_line, given_list, time_line

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fitcore.profile_models import Protocol
    from fitcore.record.entries import Value

BOTH_LEGS = "left,right"
_LONGEST_TIME = 20
"""Characters of a time of day; ours."""
_DEFAULT_FORMS = ("below_knee", "mid_calf")
_CONDITIONS = (
    ("dent", "not_tried"),
    ("swollen", "none"),
    ("swelling_known", "none"),
    ("long_ride", "none"),
)
"""Questions about the legs with one answer each, and the answer shown at first."""


class SetupForm:
    """The form before measuring."""

    def __init__(
        self,
        protocols: Mapping[str, Protocol],
        now: Callable[[], datetime],
        given: Mapping[str, Value],
        *,
        ask_after_hours: float,
        ask_clock: bool = False,
    ) -> None:
        """Lay out the form.

        Args:
            protocols: all protocols by id.
            now: the clock, for times of day.
            given: what the session says already.
            ask_after_hours: a time that long ago is asked about once.
            ask_clock: whether somebody must first say that date and time are right.
        """
        self._protocols = protocols
        self._now = now
        self._ask_after_hours = ask_after_hours
        self.at = 0
        """Index of the line the cursor is on, among `lines`."""
        self._all = [
            choice_line("purpose", given, "work"),
            Line(
                "forms",
                field_words("forms"),
                FIELDS["forms"].choices,
                given_list(given, "forms", _DEFAULT_FORMS),
                several=True,
            ),
            Line(
                "sides",
                field_words("sides"),
                (BOTH_LEGS, *(side.value for side in LEGS)),
                [",".join(given_list(given, "sides", tuple(s.value for s in LEGS)))],
            ),
            Line("protocol", field_words("protocol"), (), [str(given.get("protocol", ""))]),
            time_line("rising_at", given),
            choice_line("posture", given, ""),
            choice_line("bare_skin", given, "yes"),
            choice_line(
                "compression",
                given,
                "none",
            ),
            time_line("compression_off_at", given),
            choice_line("tape", given, "cm"),
            *(choice_line(what, given, default) for what, default in _CONDITIONS),
            Line(
                "lately",
                field_words("lately"),
                FIELDS["lately"].choices,
                given_list(given, "lately", ("nothing",)),
                several=True,
            ),
            time_line("posture_since", given),
            choice_line("repeats", given, ""),
        ]
        for line in self._all[5:]:
            line.has_default = line.what != "compression_off_at"
        self._line("posture_since").may_stay_empty = True
        if ask_clock:
            clock = choice_line("clock", {}, "correct")
            self._all.insert(0, clock)
        self._chosen_by_hand = {what for what in ("posture", "repeats") if what in given}
        self._fit_protocols()

    @property
    def lines(self) -> tuple[Line, ...]:
        """The lines that apply, in order."""
        off = self._line("compression").chosen == ["off"]
        return tuple(line for line in self._all if line.what != "compression_off_at" or off)

    @property
    def line(self) -> Line:
        """The line the cursor is on."""
        return self.lines[min(self.at, len(self.lines) - 1)]

    def move(self, by: int) -> None:
        """Go to another line."""
        self._seen(self.line)
        self.at = max(0, min(len(self.lines) - 1, self.at + by))

    def change(self, by: int) -> None:
        """Take the next or the last answer of a line with choices."""
        line = self.line
        if line.is_time:
            return
        self._seen(line)
        line.touched = True
        line.chosen = [_neighbour(line.choices, line.chosen[0] if line.chosen else "", by)]
        self._changed(line)

    def type(self, character: str) -> str:
        """Type a character: a choice's number, or part of a time.

        Returns:
            What is wrong with it, in words. Something typed on the wrong line, such as a time
            where numbers choose, leaves the line's answer as it was before.
        """
        line = self.line
        if line.is_time:
            return self._type_time(line, character)
        if line.refused:
            return self._refusal(line)
        if not (character.isascii() and character.isdigit()) or not (
            1 <= int(character) <= len(line.choices)
        ):
            self._put_back(line)
            line.refused = True
            return self._refusal(line)
        if line.before is None:
            line.before = {other.what: list(other.chosen) for other in self._all}
        line.touched = True
        choice = line.choices[int(character) - 1]
        if not line.several or choice == "nothing":
            line.chosen = [choice]
        elif choice in line.chosen:
            line.chosen = [other for other in line.chosen if other != choice] or [choice]
        else:
            kept = {*line.chosen, choice} - {"nothing"}
            line.chosen = [c for c in line.choices if c in kept]
        self._changed(line)
        return ""

    def erase(self) -> None:
        """Take back the last typed character."""
        line = self.line
        self._seen(line)
        line.given, line.touched = None, line.touched or line.is_time
        line.typed = line.typed[:-1]

    def accept(self) -> str:
        """Accept the present line and go to the next that needs a person.

        Returns:
            What is wrong with the line, in words; empty where it is fine.
        """
        line = self.line
        if fault := self._stays(line) or self._fault(line) or self._long_ago(line):
            return fault
        self._seen(line)
        line.touched = True
        self.at += 1
        if not all(other.has_default for other in self.lines[self.at :]):
            return ""
        return self._first_fault()

    def accept_all(self) -> str:
        """Accept every line as it stands: for a form that was answered before.

        Returns:
            What is wrong with a line, in words, and the cursor is on it; empty where all is fine.
        """
        fault = self._stays(self.line) or self._first_fault() or self._long_ago(self.line)
        if not fault:
            self._seen(self.line)
            self.at = len(self.lines)
        return fault

    @property
    def complete(self) -> bool:
        """Whether the cursor has passed the last open line, so that measuring can start."""
        rest = self.lines[self.at :]
        return all(line.has_default for line in rest)

    def answers(self) -> dict[str, Value]:
        """Return the answers of all lines that apply; a time that cannot be read has none."""
        found: dict[str, Value] = {}
        for line in self.lines:
            if line.is_time:
                if line.typed and not self._fault(line):
                    found[line.what] = self._time(line)
                elif line.may_stay_empty and line.was_answered and not line.typed:
                    found[line.what] = UNKNOWN
            elif line.several or line.what == "sides":
                found[line.what] = ",".join(line.chosen).split(",")
            else:
                found[line.what] = line.chosen[0]
        return found

    def accepted_answers(self) -> dict[str, Value]:
        """Return the answers of the lines a person changed or accepted so far."""
        touched = {line.what for line in self.lines if line.touched}
        return {what: value for what, value in self.answers().items() if what in touched}

    def words(self, line: Line) -> str:
        """Return a line's answer for people."""
        if not line.is_time:
            return ", ".join(self.choice_words(line, choice) for choice in line.chosen)
        if line.typed in ("", "?"):
            return say("nobody knows") if line.typed else ""
        value = None if self._fault(line) else self._time(line)
        if isinstance(value, datetime):
            ago = hours_between(value, self._now())
            return say("{typed} ({hours:.1f} h ago)", typed=line.typed, hours=ago)
        return line.typed

    def choice_words(self, line: Line, choice: str) -> str:
        """Return one choice for people."""
        if line.what == "sides" and choice == BOTH_LEGS:
            return say("both")
        if line.what == "clock":
            now = self._now()
            told = say("{date}, {time}", date=long_date(now), time=f"{now:%H:%M}")
            return f"{told}: {choice_words(choice)}"
        if line.what == "protocol":
            return self._protocols[choice].name if choice in self._protocols else choice
        return choice_words(choice)

    # -----------------------------------------------------------------------------------------

    def _type_time(self, line: Line, character: str) -> str:
        if len(line.typed) >= _LONGEST_TIME:
            return say("That is longer than any time.")
        # A time from before is replaced and not written on; Backspace corrects it.
        before = "" if line.typed == "?" or line.given is not None else line.typed
        line.typed = before + character
        line.given, line.touched = None, True
        return ""

    def _refusal(self, line: Line) -> str:
        return say(
            "This line takes a number from 1 to {most}. {label} stays: {answer}.",
            most=len(line.choices),
            label=line.label,
            answer=self.words(line),
        )

    def _stays(self, line: Line) -> str:
        """Say once that what was typed was no answer and the line keeps the one it had."""
        if not line.refused:
            return ""
        self._seen(line)
        return say(
            "{label} stays: {answer}. The key again accepts it.",
            label=line.label,
            answer=self.words(line),
        )

    def _put_back(self, line: Line) -> None:
        """Give all lines the answers they had before numbers were typed on this one."""
        if line.before is None:
            return
        for other in self._all:
            other.chosen = line.before[other.what]
        self._fit_protocols()

    def _seen(self, line: Line) -> None:
        line.before, line.refused = None, False

    def _long_ago(self, line: Line) -> str:
        """Ask once about a time that is long ago: `10` typed for ten minutes, or a wrong day."""
        if not line.is_time or not line.typed or line.asked_about == line.typed:
            return ""
        value = self._time(line)
        hours = hours_between(value, self._now()) if isinstance(value, datetime) else 0
        if hours <= self._ask_after_hours:
            return ""
        line.asked_about = line.typed
        return say(
            "{typed} is {hours:.1f} h ago. Right? Enter again keeps it.",
            typed=line.typed,
            hours=hours,
        )

    def _line(self, what: str) -> Line:
        return next(line for line in self._all if line.what == what)

    def _changed(self, line: Line) -> None:
        self._chosen_by_hand.add(line.what)
        if line.what in ("forms", "protocol"):
            self._fit_protocols()

    def _fit_protocols(self) -> None:
        """Offer the protocols that are enough for the garments asked for, shortest first."""
        forms, line = set(self._line("forms").chosen), self._line("protocol")
        enough = [p for p in self._protocols.values() if forms <= set(p.forms)]
        fitting = enough or [p for p in self._protocols.values() if forms & set(p.forms)]
        in_order = sorted(fitting, key=lambda p: (not p.usual, len(p.steps), p.id))
        line.choices = tuple(protocol.id for protocol in in_order or self._protocols.values())
        if line.chosen[0] not in line.choices:
            line.chosen = [line.choices[0]]
        protocol = self._protocols[line.chosen[0]]
        for what, default in (("posture", protocol.posture), ("repeats", protocol.repeat.way)):
            if what not in self._chosen_by_hand:
                self._line(what).chosen = [default]

    def _first_fault(self) -> str:
        """Return what is wrong with the first line that is wrong, and go there."""
        for index, line in enumerate(self.lines):
            if fault := self._fault(line):
                self.at = index
                return fault
        return ""

    def _time(self, line: Line) -> Value:
        if line.given is not None:
            return line.given
        if line.typed == "?":
            return UNKNOWN
        return parse_answer(line.what, line.typed, self._now())

    def _fault(self, line: Line) -> str:
        if not line.is_time:
            return ""
        if not line.typed and line.may_stay_empty:
            return ""
        if not line.typed:
            return say("Type the time, such as 6:30, or ? if nobody knows.")
        try:
            self._time(line)
        except FitError as error:
            return f"{error.problem.text} {error.problem.mend}"
        return ""


def _neighbour(choices: Sequence[str], chosen: str, by: int) -> str:
    index = choices.index(chosen) if chosen in choices else 0
    return choices[(index + by) % len(choices)]
