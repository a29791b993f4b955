"""Measuring in protocol order: where the tape goes, one field, Enter saves and moves on."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import Static

from fitcore.points import LEGS, Kind, place_words, side_words
from fitcore.problems import FitError
from fitcore.words import say
from tui.desk_conditions import correction_words, posture_question, put_postures_right
from tui.judging import judge_typed, opening_words
from tui.measure_view import (
    LEAST_ROWS,
    beside_field,
    hint,
    hours_content,
    leg_of,
    leg_title,
    moving_lines,
    steps_content,
)
from tui.review import doubt_words, next_doubt, review_lines
from tui.screens.work_screen import WorkScreen
from tui.usual_reasons import Ask, why_no_repeats, why_not_taken, why_struck_out
from tui.widgets.bars import TopBar
from tui.widgets.leg_view import LegView
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable

    from textual import events
    from textual.widget import Widget

    from tui.desk import Desk
    from tui.judging import Judged


class MeasureScreen(WorkScreen):
    """One field at a time, in protocol order."""

    KEYMAP = "measure"
    CSS_PATH = "measure.tcss"

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
        self._seen_text: str | None = None
        """The text whose doubt has been shown, so that Enter again keeps it."""
        self._refused_text: str | None = None
        """The text that was refused or doubted: the next digit begins anew."""

    def compose_body(self) -> Iterable[Widget]:
        """Return the drawn leg and the field beside it."""
        yield Horizontal(
            Vertical(Static(id="leg-title"), LegView(id="leg")),
            Vertical(
                Static(id="step"),
                Static(id="where"),
                Static(id="tape-rule"),
                Horizontal(
                    Static(id="unit"),
                    TypedLine(id="value", max_length=24),
                    Static(id="usual"),
                    id="field",
                ),
                Static(id="message"),
                Static(id="list"),
                Static(id="hours"),
                id="right",
            ),
            id="body",
        )

    async def on_mount(self) -> None:
        """Show the first open field and what was left unfinished there."""
        self.set_focus(self.query_one(TypedLine))
        self._restore_typed()
        self._tell_at_first()
        self.call_after_refresh(self.show_step)
        await self._write(self.desk.resume)
        if self.desk.posture_changed:
            self.desk.posture_changed = False
            await self._ask_posture()

    def _tell_at_first(self) -> None:
        """Tell what is doubtful before the tape is read, what was typed here, what was noted."""
        typed = _typed_before() if self.query_one(TypedLine).value else ""
        words, tells = opening_words(self.desk, typed)
        self.desk.telling.note(tells)
        if words:
            self._say(words, doubt=True)

    async def take_key(self, event: events.Key) -> None:
        """Take a key; a digit after a refused number begins a new one instead of adding to it."""
        field = self.query_one(TypedLine)
        digit = event.is_printable and (event.character or "").isdigit()
        if digit and field.value and field.value == self._refused_text:
            field.value = ""
        await super().take_key(event)

    def text_changed(self) -> None:
        """Take the doubt about the last text away: it is another text now."""
        if self._refused_text is not None and self._refused_text != self.query_one(TypedLine).value:
            self._refused_text = None
            self._say("")

    def on_resize(self, event: events.Resize) -> None:
        """Draw the leg in the new height."""
        super().on_resize(event)
        self.call_after_refresh(self.show_step)

    # --- what is shown -----------------------------------------------------------------------

    def show_step(self) -> None:
        """Show everything about the present field."""
        desk, step = self.desk, self.desk.step
        self.query_one(TopBar).show(
            say("Measure"),
            desk.client,
            say("by {who}", who=desk.measurer),
            desk.protocol.name,
        )
        self.query_one("#leg-title", Static).update(Content.styled(leg_title(step), "bold"))
        leg_view = self.query_one(LegView)
        if leg_view.size.height >= LEAST_ROWS:
            leg_view.show(leg_of(desk, leg_view.size.height))
        number = say("{number} of {count}", number=desk.index + 1, count=len(desk.steps))
        what = place_words(step.point, step.kind)
        leg = side_words(step.side) if step.side in LEGS else ""
        self.query_one("#step", Static).update(
            Content.assemble((f"{leg}{': ' if leg else ''}{what}", "bold"), f"  {number}")
        )
        self.query_one("#where", Static).update(Content(step.where))
        self.query_one("#tape-rule", Static).update(Content.styled(hint(desk), "dim"))
        unit = say("size") if step.kind is Kind.SHOE else desk.unit
        self.query_one("#unit", Static).update(Content(f"{unit} >"))
        self.query_one("#usual", Static).update(Content(beside_field(desk)))
        self._show_list()
        self.query_one("#hours", Static).update(hours_content(desk))

    def _say(self, text: str, *, doubt: bool = False) -> None:
        sign = "! " if doubt else ""
        style = "bold $warning" if doubt else ""
        self.query_one("#message", Static).update(Content.styled(f"{sign}{text}", style))
        # A long message takes room from the list, which then shows what is round the cursor.
        self.call_after_refresh(self._show_list)

    def _show_list(self) -> None:
        for area in self.query("#list").results(Static):  # none where the screen is gone already
            size = area.content_size
            area.update(steps_content(self.desk, size.width, size.height))

    # --- actions -----------------------------------------------------------------------------

    async def do_accept(self) -> None:
        """Judge what was typed; save it and go on, or say what is doubtful."""
        field = self.query_one(TypedLine)
        text = field.value
        judged = judge_typed(self.desk, text, seen=self._seen_text == text)
        if judged.outcome == "nothing_typed":
            await self._go(1)
        elif judged.outcome in ("refused", "look_again"):
            self._seen_text = text if judged.outcome == "look_again" else None
            self._refused_text = text or None
            self._say(judged.message, doubt=True)
            self.desk.telling.note(judged.tells)
        elif judged.outcome == "needs_reason":
            await self._ask_why(judged)
        else:
            await self._fill(lambda: self.desk.store(judged))

    async def _ask_why(self, judged: Judged, *given: str) -> str:
        """Ask for each reason in turn, then save: one answers for one thing only."""
        ask = judged.asks[len(given)]

        async def then(why: str) -> str:
            if len(given) + 1 < len(judged.asks):
                return await self._ask_why(judged, *given, why)
            reasons = "; ".join([*given, why])
            return await self._fill(lambda: self.desk.store(judged, reasons))

        await self._ask_reason(ask, then)
        return ""

    async def _ask_posture(self) -> None:
        """Ask whether readings taken before another posture was answered were read in that one."""
        asked = posture_question(self.desk)
        if asked is None:
            return

        async def then(answer: str) -> str:
            if answer not in (asked.stay, asked.change):
                return say("Mark one of the two.")
            fault = ""
            if answer == asked.change:
                fault = await self._write(lambda: put_postures_right(self.desk))
            self.show_step()
            return fault

        await self._ask_reason(Ask(asked.text, (asked.stay, asked.change)), then)

    async def _fill(self, move: Callable[[], str]) -> str:
        """Write what fills the present field and go on.

        Returns:
            What went wrong; empty where it is saved.
        """
        leads_on, filled = self._leads_on(), self.desk.step.name
        fault = await self._write(move)
        if not fault:
            self.desk.half_typed.pop(filled, None)
            self._restore_typed()
            self.show_step()
            if self.desk.clearance.calves.asks is not None:
                await self.desk_app.go_on(self.desk)
            elif leads_on and self.desk.all_done:
                await self._show_end()
        return fault

    def _leads_on(self) -> bool:
        """Whether filling this field may lead to the result: a correction on the way does not."""
        last = self.desk.index == len(self.desk.steps) - 1
        return last or self.desk.reading_here is None

    async def do_up(self) -> None:
        """Go to the field before; at the first, say how the questions are reached."""
        if self.desk.index == 0:
            self._say(say("This is the first field. F7 goes back to the questions."))
        else:
            await self._go(-1)

    async def do_questions(self) -> None:
        """Go back to the questions before measuring; readings stay."""
        self._keep_typed()
        await self.desk_app.show_setup(self.desk)

    async def do_down(self) -> None:
        """Go to the field after."""
        await self._go(1)

    async def do_not_taken(self) -> None:
        """Ask why this reading is not taken, and record it."""
        await self._ask_reason(why_not_taken(self.desk.step), self._record_not_taken)

    async def _record_not_taken(self, why: str) -> str:
        return await self._fill(lambda: self.desk.store_not_taken(why))

    async def do_strike_out(self) -> None:
        """Ask why the reading shown is wrong, and strike it out."""
        here = self.desk.reading_here
        if here is None:
            self._say(say("Nothing is recorded here yet."), doubt=True)
            return
        await self._ask_reason(why_struck_out(here), self._record_strike_out)

    async def _record_strike_out(self, why: str) -> str:
        fault = await self._write(lambda: self.desk.strike_out(why))
        self.show_step()
        return fault

    async def do_other_leg(self) -> None:
        """Show what would move to the other leg, and move it if wanted."""
        from tui.screens.reason import ConfirmScreen

        lines = moving_lines(self.desk)
        if not lines:
            self._say(say("Nothing is recorded yet."), doubt=True)
            return
        question = say("Taken on the other leg? These readings change sides, as corrections:")
        await self.app.push_screen(ConfirmScreen(question, lines, self._move_to_other_leg))

    async def _move_to_other_leg(self) -> None:
        self._keep_typed()
        await self._write(self.desk.move_to_other_leg)
        self._restore_typed()
        self.show_step()

    async def do_skip_repeats(self) -> None:
        """Leave the open repeats out, with the reason; or take them up again."""
        if self.desk.repeats_left_out:
            await self._write(self.desk.take_up_repeats)
            self.show_step()
        elif any(step.round > 1 for step in self.desk.steps):
            await self._ask_reason(why_no_repeats(), self._record_skipping)
        else:
            self._say(say("No repeat is asked for."))

    async def _record_skipping(self, why: str) -> str:
        self._keep_typed()
        fault = await self._write(lambda: self.desk.skip_repeats(why))
        if not fault:
            self._restore_typed()
            self.show_step()
            if self.desk.all_done:
                await self._show_end()
        return fault

    async def do_next_doubt(self) -> None:
        """Go to the next field in doubt."""
        step = next_doubt(self.desk)
        if step is None:
            self._say(say("Nothing is in doubt."))
            return
        self._keep_typed()
        self.desk.go_to(step)
        self._restore_typed()
        self.show_step()
        self._say(doubt_words(self.desk, step), doubt=True)

    async def do_remark(self) -> None:
        """Note something."""
        await self._ask_reason(Ask(say("Remark"), ()), self._record_remark)

    async def _record_remark(self, text: str) -> str:
        return await self._write(lambda: self.desk.add_remark(text))

    async def do_result(self) -> None:
        """Show the result with what there is, what is doubtful before it."""
        self._keep_typed()
        await self._show_end()

    async def _show_end(self) -> None:
        """Go to the review where something is doubtful, else to the result."""
        if review_lines(self.desk):
            await self.desk_app.show_review(self.desk)
        else:
            await self.desk_app.show_result(self.desk)

    async def do_leave(self) -> None:
        """Pause here and go to the start."""
        if await self.pause():
            await self.desk_app.show_start()

    async def pause(self) -> bool:
        """Note where the session is left; whether that could be written."""
        self._keep_typed()
        return not await self._write(self.desk.pause)

    # -----------------------------------------------------------------------------------------

    async def _go(self, by: int) -> None:
        self._keep_typed()
        self.desk.move(by)
        self._say(correction_words(self.desk))
        self._restore_typed()
        self.show_step()

    def _keep_typed(self) -> None:
        """Remember what is typed in the present field and not accepted."""
        typed = self.query_one(TypedLine).text
        if typed:
            self.desk.half_typed[self.desk.step.name] = typed
        else:
            self.desk.half_typed.pop(self.desk.step.name, None)

    def _restore_typed(self) -> None:
        """Put back what was typed in the present field and not accepted."""
        field = self.query_one(TypedLine)
        field.value = self.desk.half_typed.get(self.desk.step.name, "")
        field.action_end()
        self._seen_text = self._refused_text = None
        if field.value:
            self._say(_typed_before(), doubt=True)

    async def _ask_reason(self, ask: Ask, then: Callable[[str], Awaitable[str]]) -> None:
        from tui.screens.reason import ReasonScreen

        async def rescue(words: str) -> str:
            unfinished = say("Not finished: {question} {words}", question=ask.question, words=words)
            return await self._record_remark(unfinished)

        await self.app.push_screen(ReasonScreen(ask.question, ask.choices, then, rescue=rescue))

    async def _write(self, move: Callable[[], str | None]) -> str:
        """Run a move that writes, in a thread, and say what came of it.

        Returns:
            What went wrong; empty where it is on disk.
        """
        try:
            said = await asyncio.to_thread(move)
        except FitError as error:
            fault = f"{error.problem.text} {error.problem.mend}"
            self._say(fault, doubt=True)
            return fault
        if said is not None:
            self._say(said)
        return ""


def _typed_before() -> str:
    return say("You had typed this and not accepted it. Go on typing, or Backspace takes it away.")
