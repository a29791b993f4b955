"""Measuring in protocol order: where the tape goes, one field, Enter saves and moves on."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import Static

from fitcore.points import LEGS, Kind, Point, Side, other_side, place_words, side_words
from fitcore.problems import FitError
from fitcore.protocol import Step, done_reading
from fitcore.words import say
from tui.desk_words import reading_words, step_rows
from tui.leg_drawing import draw_leg
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar
from tui.widgets.leg_view import LegView
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable

    from textual import events
    from textual.widget import Widget

    from tui.desk import Desk, Judged

LEG_COLUMNS = 30


class MeasureScreen(WorkScreen):
    """One field at a time, in protocol order."""

    KEYMAP = "measure"
    CSS_PATH = "measure.tcss"

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
        self._seen_text: str | None = None
        """The text whose doubt has been shown, so that Enter again keeps it."""

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
        self.call_after_refresh(self.show_step)
        await self._write(self.desk.resume)

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
        self._show_leg(step)
        number = say("{number} of {count}", number=desk.index + 1, count=len(desk.steps))
        what = place_words(step.point, step.kind)
        leg = side_words(step.side) if step.side in LEGS else ""
        again = say(", time {round}", round=step.round) if step.round > 1 else ""
        self.query_one("#step", Static).update(
            Content.assemble((f"{leg}{': ' if leg else ''}{what}", "bold"), f"  {number}{again}")
        )
        self.query_one("#where", Static).update(Content(step.where))
        self.query_one("#tape-rule", Static).update(Content.styled(self._hint(step), "dim"))
        unit = say("size") if step.kind is Kind.SHOE else desk.unit
        self.query_one("#unit", Static).update(Content(f"{unit} >"))
        self.query_one("#usual", Static).update(Content(self._beside_field(step)))
        self.query_one("#list", Static).update(self._steps_content(step))
        self.query_one("#hours", Static).update(self._hours_content())

    def _beside_field(self, step: Step) -> str:
        here = self.desk.reading_here
        if here is not None:
            return say("recorded: {value}", value=reading_words(here))
        if step.kind is Kind.SHOE:
            return say("such as 39, UK 6, US W 8")
        return self.desk.usual_words()

    def _hint(self, step: Step) -> str:
        if step.or_shoe:
            return say("A shoe size will do: type EU 39, UK 6, US W 8.")
        return self.desk.protocol.tape_rule if step.kind is Kind.GIRTH else ""

    def _show_leg(self, step: Step) -> None:
        view = self.query_one(LegView)
        rows = view.size.height
        drawn_side = step.side if step.side in LEGS else LEGS[0]
        if step.side not in LEGS:
            title = say("both feet")
        else:
            title = say("client's {side} leg, front", side=side_words(step.side))
        self.query_one("#leg-title", Static).update(Content.styled(title, "bold"))
        if rows < 12:
            return
        readings = self.desk.readings
        girths = {
            value.point: float(value.mm) / 10
            for value in readings.adopted_of_leg(drawn_side)
            if value.kind is Kind.GIRTH
        }
        done = {
            s.point
            for s in self.desk.steps
            if s.side is drawn_side
            and s.kind is Kind.GIRTH
            and done_reading(s, readings) is not None
        }
        high = any(s.point in (Point.E, Point.F, Point.G) for s in self.desk.steps)
        view.show(
            draw_leg(
                girths,
                side=drawn_side,
                current=step.point,
                kind=step.kind,
                done=done,
                rows=rows,
                columns=LEG_COLUMNS,
                top=Point.G if high else Point.D,
                asked={s.point for s in self.desk.steps},
            )
        )

    def _steps_content(self, present: Step) -> Content:
        """List the leg's fields; the other leg shows only that it was read, never a value."""
        area = self.query_one("#list", Static).content_size
        steps = [s for s in self.desk.steps if s.side in (present.side, Side.BOTH)]
        rows: list[tuple[str, bool]] = []
        for step in steps:
            reading, here = done_reading(step, self.desk.readings), step == present
            rows += [(row, here) for row in step_rows(step, reading, area.width, here=here)]
        at = [here for _, here in rows].index(True)
        first = max(0, min(at - area.height // 2, len(rows) - area.height))
        parts: list[str | tuple[str, str]] = []
        for row, here in rows[first : first + max(area.height, 3)]:
            parts += [(row, "bold") if here else row, "\n"]
        return Content.assemble(*parts[:-1])

    def _hours_content(self) -> Content:
        desk = self.desk
        hours = desk.hours_up()
        other = other_side(desk.step.side)
        read = [s for s in desk.steps if s.side is other and done_reading(s, desk.readings)]
        told = (
            say("{side}: {done} read.  ", side=side_words(other), done=len(read))
            if other in desk.sides and other is not desk.step.side
            else ""
        )
        if hours is None:
            return Content(told + say("Time of rising not known."))
        up = say("Up {hours:.1f} h.", hours=hours)
        codes = desk.time_doubts()
        warned = ""
        if "late_in_day" in codes:
            warned = say(" ! late in the day")
        elif "compression_just_off" in codes:
            warned = say(" Compression just off.")
        return Content.assemble(told, up, (warned, "bold"))

    def _say(self, text: str, *, doubt: bool = False) -> None:
        sign = "! " if doubt else ""
        style = "bold $warning" if doubt else ""
        self.query_one("#message", Static).update(Content.styled(f"{sign}{text}", style))

    # --- actions -----------------------------------------------------------------------------

    async def do_accept(self) -> None:
        """Judge what was typed; save it and go on, or say what is doubtful."""
        field = self.query_one(TypedLine)
        text = field.value
        judged = self.desk.judge(text, seen=self._seen_text == text)
        if judged.outcome == "nothing_typed":
            await self._go(1)
        elif judged.outcome in ("refused", "look_again"):
            self._seen_text = text if judged.outcome == "look_again" else None
            self._say(judged.message, doubt=True)
        elif judged.outcome == "needs_reason":
            await self._ask_reason(
                say("Keep {text}? Why is it right?", text=field.text),
                (say("measured twice, it is so"), say("very swollen leg"), say("other")),
                lambda why: self._store(judged, why),
            )
        else:
            await self._store(judged)

    async def _store(self, judged: Judged, why: str = "") -> str:
        return await self._fill(lambda: self.desk.store(judged, why))

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
            if leads_on and self.desk.all_done:
                await self.desk_app.show_result(self.desk)
        return fault

    def _leads_on(self) -> bool:
        """Whether filling this field may lead to the result: a correction on the way does not."""
        last = self.desk.index == len(self.desk.steps) - 1
        return last or self.desk.reading_here is None

    async def do_up(self) -> None:
        """Go to the field before."""
        await self._go(-1)

    async def do_down(self) -> None:
        """Go to the field after."""
        await self._go(1)

    async def do_not_taken(self) -> None:
        """Ask why this reading is not taken, and record it."""
        await self._ask_reason(
            say(
                "Not taken: {place}. Why?",
                place=place_words(self.desk.step.point, self.desk.step.kind),
            ),
            (
                say("wound or dressing"),
                say("pain"),
                say("amputation"),
                say("cannot stand"),
                say("client refuses"),
                say("not needed"),
            ),
            self._record_not_taken,
        )

    async def _record_not_taken(self, why: str) -> str:
        return await self._fill(lambda: self.desk.store_not_taken(why))

    async def do_strike_out(self) -> None:
        """Ask why the reading shown is wrong, and strike it out."""
        if self.desk.reading_here is None:
            self._say(say("Nothing is recorded here yet."), doubt=True)
            return
        await self._ask_reason(
            say("Strike out {value}. Why?", value=reading_words(self.desk.reading_here)),
            (say("tape had slipped"), say("wrong point"), say("misread"), say("other")),
            self._record_strike_out,
        )

    async def _record_strike_out(self, why: str) -> str:
        fault = await self._write(lambda: self.desk.strike_out(why))
        self.show_step()
        return fault

    async def do_other_leg(self) -> None:
        """Show what would move to the other leg, and move it if wanted."""
        from tui.screens.reason import ConfirmScreen

        lines = [
            f"{side_words(place[0])} {place_words(place[1], place[2])} "
            f"{reading_words(reading)}  ->  {side_words(other_side(place[0]))}"
            for place in self.desk.readings.places()
            if place[0] in LEGS
            for reading in self.desk.readings.current(place)
        ]
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

    async def do_remark(self) -> None:
        """Note something."""
        await self._ask_reason(say("Remark"), (), self._record_remark)

    async def _record_remark(self, text: str) -> str:
        return await self._write(lambda: self.desk.add_remark(text))

    async def do_result(self) -> None:
        """Show the result with what there is."""
        self._keep_typed()
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
        self._say(
            say("Type a new value to correct it; the old one is kept, struck through.")
            if self.desk.reading_here
            else ""
        )
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
        self._seen_text = None
        if field.value:
            self._say(say("You had typed this and not accepted it."), doubt=True)

    async def _ask_reason(
        self, question: str, choices: tuple[str, ...], then: Callable[[str], Awaitable[str]]
    ) -> None:
        from tui.screens.reason import ReasonScreen

        async def rescue(words: str) -> str:
            unfinished = say("Not finished: {question} {words}", question=question, words=words)
            return await self._record_remark(unfinished)

        await self.app.push_screen(ReasonScreen(question, choices, then, rescue=rescue))

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
