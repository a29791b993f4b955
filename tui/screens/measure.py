"""Measuring in protocol order: where the tape goes, one field, Enter saves and moves on."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import Static

from fitcore.points import LEGS, Kind, Point, Side, other_side, place_words, side_words
from fitcore.problems import FileFault, FitError
from fitcore.protocol import Step, done_reading
from fitcore.words import say
from tui.desk import Desk, Judged, reading_words
from tui.leg_drawing import draw_leg
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar
from tui.widgets.leg_view import LegView
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable

    from textual import events
    from textual.widget import Widget

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
        field = self.query_one(TypedLine)
        self.set_focus(field)
        self.call_after_refresh(self.show_step)
        if self.desk.unfinished_text:
            field.value = self.desk.unfinished_text
            field.action_end()
            self._say(say("You had typed this and not accepted it."), doubt=True)
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
            desk.protocol.name,
            say("by {who}", who=desk.measurer),
        )
        self._show_leg(step)
        number = say("{number} of {count}", number=desk.index + 1, count=len(desk.steps))
        what = place_words(step.point, step.kind)
        leg = side_words(step.side) if step.side in LEGS else ""
        again = say(", time {round}", round=step.round) if step.round > 1 else ""
        self.query_one("#step", Static).update(
            Content.assemble((f"{leg}{': ' if leg else ''}{what}", "bold"), f"   {number}{again}")
        )
        self.query_one("#where", Static).update(Content(step.where))
        self.query_one("#tape-rule", Static).update(
            Content.styled(desk.protocol.tape_rule if step.kind is Kind.GIRTH else "", "dim")
        )
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
        if step.or_shoe:
            return say("{usual}, or EU 39", usual=self.desk.usual_words() or say("cm"))
        return self.desk.usual_words()

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
        side = present.side
        steps = [s for s in self.desk.steps if s.side in (side, Side.BOTH)]
        height = max(3, self.query_one("#list", Static).size.height)
        at = steps.index(present) if present in steps else 0
        first = max(0, min(at - height // 2, len(steps) - height))
        parts: list[str | tuple[str, str]] = []
        for step in steps[first : first + height]:
            reading = done_reading(step, self.desk.readings)
            mark = ">" if step == present else " "
            value = reading_words(reading) if reading else ""
            if reading and "hard_range" in reading.doubts:
                value += say("  ! impossible, kept")
            elif reading and "soft_range" in reading.doubts:
                value += say("  ! unusual, kept")
            tick = "+" if reading else " "
            line = f"{mark}{tick} {place_words(step.point, step.kind):<30}{value}"
            parts += [(line, "bold") if step == present else line, "\n"]
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
        late = hours > float(desk.profiles.time_rules.late_after_hours)
        up = say("Up {hours:.1f} h.", hours=hours)
        return Content.assemble(told, up, (say(" ! late in the day"), "bold") if late else "")

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
                say("Keep {text}? Why is it right?", text=text),
                (say("measured twice, it is so"), say("very swollen leg"), say("other")),
                lambda why: self._store(judged, why),
            )
        else:
            await self._store(judged)

    async def _store(self, judged: Judged, why: str = "") -> None:
        last = self.desk.index
        said = await self._write(lambda: self.desk.store(judged, why))
        if said is not None:
            await self._after_saving(said, last)

    async def _after_saving(self, said: str, last_index: int) -> None:
        self._clear_field()
        self._say(said)
        self.show_step()
        if self.desk.all_done and last_index == len(self.desk.steps) - 1:
            await self.desk_app.show_result(self.desk)

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

    async def _record_not_taken(self, why: str) -> None:
        last = self.desk.index
        said = await self._write(lambda: self.desk.store_not_taken(why))
        if said is not None:
            await self._after_saving(said, last)

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

    async def _record_strike_out(self, why: str) -> None:
        said = await self._write(lambda: self.desk.strike_out(why))
        if said is not None:
            self._clear_field()
            self._say(said)
            self.show_step()

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
        said = await self._write(self.desk.move_to_other_leg)
        if said is not None:
            self._clear_field()
            self._say(said)
            self.show_step()

    async def do_remark(self) -> None:
        """Note something."""
        await self._ask_reason(say("Remark"), (), self._record_remark)

    async def _record_remark(self, text: str) -> None:
        said = await self._write(lambda: self.desk.add_remark(text))
        if said is not None:
            self._say(said)

    async def do_result(self) -> None:
        """Show the result with what there is."""
        await self.desk_app.show_result(self.desk)

    async def do_leave(self) -> None:
        """Pause here and go to the start."""
        if await self.pause():
            await self.desk_app.show_start()

    async def pause(self) -> bool:
        """Note where the session is left; whether that could be written."""
        typed = self.query_one(TypedLine).value
        return await self._write(lambda: self.desk.pause(typed)) is not None

    # -----------------------------------------------------------------------------------------

    async def _go(self, by: int) -> None:
        self.desk.move(by)
        self._clear_field()
        here = self.desk.reading_here
        self._say(
            say("Type a new value to correct it; the old one is kept, struck through.")
            if here
            else ""
        )
        self.show_step()

    def _clear_field(self) -> None:
        self.query_one(TypedLine).value = ""
        self._seen_text = None

    async def _ask_reason(
        self, question: str, choices: tuple[str, ...], then: Callable[[str], Awaitable[None]]
    ) -> None:
        from tui.screens.reason import ReasonScreen

        await self.app.push_screen(ReasonScreen(question, choices, then))

    async def _write(self, move: Callable[[], object]) -> str | None:
        """Run a move that writes, in a thread; keys typed meanwhile wait for the next field.

        Returns:
            What to say, or None where nothing was stored: the fault is shown and the text stays.
        """
        try:
            said = await asyncio.to_thread(move)
        except (FileFault, FitError) as error:
            self._say(f"{error.problem.text} {error.problem.mend}", doubt=True)
            return None
        return said if isinstance(said, str) else ""
