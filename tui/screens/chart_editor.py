"""The chart editor: a maker's table typed or pasted, judged as it grows, saved as a chart file."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.disk.chart_files import write_draft
from fitcore.problems import FitError
from fitcore.words import say
from tui.chart_drafts import draft_text, without_place
from tui.chart_grid_reading import GridReading, gap_columns, read_grid_table
from tui.chart_head_form import head_asks, missing_keys, title_of
from tui.chart_paste import paste_into
from tui.chart_saving import ChartSave, plan_save
from tui.chart_table_state import HEADINGS
from tui.question_form import QuestionForm
from tui.screens.chart_editor_view import (
    about_content,
    cell_content,
    grid_content,
    remarks_content,
)
from tui.screens.chart_errors import ChartErrorsScreen
from tui.screens.chart_head import ChartHeadScreen
from tui.screens.chart_preview import show_preview
from tui.screens.reason import ConfirmScreen
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar
from tui.widgets.typed_line import clean_typed

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable, Mapping

    from textual import events
    from textual.screen import Screen
    from textual.widget import Widget

    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.profile_models import Ranges
    from fitcore.record.entries import Value
    from tui.chart_grid import ChartGrid
    from tui.chart_grid_remarks import GridRemark

_TALL_ROWS = 32


class ChartEditorScreen(WorkScreen):
    """One table."""

    KEYMAP = "chart_editor"
    CSS_PATH = "chart_editor.tcss"

    def __init__(self, grid: ChartGrid, draft: str, edits: str = "") -> None:
        """Lay out the editor.

        Args:
            grid: the table as it stands.
            draft: name of the file that keeps it until it is saved.
            edits: id of the own chart it changes; empty for a new one.
        """
        super().__init__()
        self.grid = grid
        self._draft, self._edits = draft, edits
        self._reading = GridReading()
        self._written = ""
        self._ranges: Ranges | None = None
        self._standards: tuple[PressureStandard, ...] = ()
        self._led_to: tuple[int, int] | None = None
        """The cell F9 led to last: from there it goes on to the next."""
        self._kept = False
        """Whether the draft was written while this screen was up."""

    def compose_body(self) -> Iterable[Widget]:
        """Return what the chart is, the grid, the present cell, and what is remarked."""
        yield Static(id="about")
        yield Static(id="grid")
        yield Static(id="cell")
        yield Static(id="message")
        yield Static(id="remarks")

    async def on_mount(self) -> None:
        """Show the table."""
        profiles = await self.desk_app.load_profiles()
        self._ranges, self._standards = profiles.ranges, profiles.standards
        self._written = draft_text(self.grid, self._edits)
        self._judge()
        self.call_after_refresh(self._draw)

    def on_resize(self, event: events.Resize) -> None:
        """Draw the grid to the window's size."""
        super().on_resize(event)
        self.set_class(event.size.height >= _TALL_ROWS, "-tall")
        self.call_after_refresh(self._draw)

    # --- keys --------------------------------------------------------------------------------

    async def take_key(self, event: events.Key) -> None:
        """Take an answer, a character of the present cell, or an action."""
        if self.too_small:
            return
        sign = event.character or ""
        if event.key == "backspace":
            self.grid.erase()
            self._draw()
        elif event.is_printable and sign:
            await self._take_sign(clean_typed(sign))
        else:
            await super().take_key(event)

    async def _take_sign(self, sign: str) -> None:
        if not sign:
            return  # nothing that may be stored: it must not begin the cell anew
        asked = self.grid.asks_unit or (self.grid.question is not None and self.grid.typed is None)
        if asked and self.grid.choose(sign):
            await self._changed()
        elif self.grid.asks_unit:
            self._draw(say("Answer by its number first."))
        else:
            self._draw(self.grid.type(sign))

    def take_paste(self, text: str) -> None:
        """Take a pasted table, or one cell."""
        if self.too_small:
            return
        told = paste_into(self.grid, text)
        # Written here and now: a key that follows must find it kept, and only one may write.
        fault = self._write_draft(draft_text(self.grid, self._edits))
        self._judge()
        self._draw(fault or told)

    async def do_accept(self) -> None:
        """Take the cell and go on; at an open heading, leave its question for later."""
        grid = self.grid
        if grid.row == HEADINGS and grid.typed is None and grid.question is not None:
            grid.put_off()
            grid.place += 1
            self._draw()
            return
        await self._changed(grid.enter())

    async def do_across(self) -> None:
        """Take the cell and go one on."""
        await self._move(across=1)

    async def do_back(self) -> None:
        """Take the cell and go one back."""
        await self._move(across=-1)

    async def do_up(self) -> None:
        """Take the cell and go up."""
        await self._move(down=-1)

    async def do_down(self) -> None:
        """Take the cell and go down."""
        await self._move(down=1)

    async def do_delete_row(self) -> None:
        """Take the present row out."""
        await self._changed(self.grid.delete_row())

    async def do_delete_column(self) -> None:
        """Take the present column out."""
        await self._changed(self.grid.delete_column())

    async def do_insert_row(self) -> None:
        """Put a row above."""
        self.grid.insert_row()
        await self._changed()

    async def do_undo(self) -> None:
        """Take the last change back."""
        await self._changed(self.grid.undo())

    async def do_next_remark(self) -> None:
        """Go to the cell of the remark on top, from there to the next; ask again what is open."""
        self.grid.commit()
        self.grid.ask_again()
        self._judge()
        here = (self.grid.row, self.grid.place)
        place = self._shown.next_place(here, led=self._led_to == here)
        if place is not None:
            self.grid.go_to(*place)
        self._led_to = place
        told = say("No cell has a remark.")
        if place is None and self._reading.remarks:
            told = say("No cell has a remark; what is left is said with F2, the leaflet.")
        await self._changed("" if place is not None else told)

    async def do_leave(self) -> None:
        """Put the cell back, put a question off, or leave; what is typed is kept."""
        if self.grid.drop_typed():
            self._draw()
        elif self.grid.question is not None:
            self.grid.put_off()
            self._draw(say("Left open. F9 asks again."))
        elif await self.pause():
            told = say("Kept as unfinished; it is no chart yet.") if self._kept else ""
            await self.desk_app.show_charts(self._draft, told)

    async def do_preview(self) -> None:
        """Show which legs get which size in the chart as it stands."""
        self.grid.commit()
        self._judge()
        chart = self._reading.chart
        if chart is None:
            self._draw(say("No row can be read yet."))
            return
        await show_preview(self.desk_app, chart, title_of(self.grid.head))

    async def do_head(self) -> None:
        """Ask what the leaflet says beside its table."""
        await self._ask_head(self._nothing)

    # --- saving ------------------------------------------------------------------------------

    async def do_save(self) -> None:
        """Write the chart file; what is missing is asked first."""
        self.grid.commit()
        await self._changed()
        reading = self._reading
        if reading.unread or reading.chart is None:
            for remark in reading.unread[:1]:
                if remark.row is not None and remark.place is not None:
                    self.grid.go_to(remark.row, remark.place)
            self._draw(say("Not saved as a chart: the cells marked ! must be mended first. Kept."))
        elif missing_keys(self.grid.head, reading.gaps):
            await self._ask_head(self.do_save)
        else:
            await self._save_whole()

    async def _save_whole(self) -> None:
        try:
            save = await asyncio.to_thread(
                plan_save, self.grid, self._reading, self.desk_app.data, self._edits
            )
        except FitError as error:
            self._draw(f"{error.problem.text} {error.problem.mend}")
            return
        if save.wrong:
            first = save.wrong[0]
            confirm: Screen[None] = ChartErrorsScreen(
                save.question,
                save.told,
                back=lambda: self._go_to(first),
                save=lambda: self._write(save),
            )
            await self.app.push_screen(confirm)
        elif save.told:
            confirm = ConfirmScreen(save.question, save.told, lambda: self._write(save))
            await self.app.push_screen(confirm)
        else:
            await self._write(save)

    async def _go_to(self, remark: GridRemark) -> None:
        """Go to the cell of a remark; one about no cell is told."""
        if remark.row is None or remark.place is None:
            self._draw(f"{remark.text} {remark.mend}")
            return
        self.grid.go_to(remark.row, remark.place)
        self._led_to = (remark.row, remark.place)
        self._draw()

    async def _write(self, save: ChartSave) -> None:
        app = self.desk_app
        try:
            left = await asyncio.to_thread(save.write, app.data, self._draft)
            await app.reload_profiles()
        except FitError as error:
            self._draw(f"{error.problem.text} {error.problem.mend}")
            return
        name = save.path.name
        told = say("Saved as charts/{name}. Compare every number with the leaflet.", name=name)
        await app.show_charts(str(self.grid.head["id"]), f"{told} {left}".rstrip())

    async def _ask_head(self, then: Callable[[], Awaitable[None]]) -> None:
        self.grid.commit()
        self._judge()
        gaps = self._reading.gaps
        shoes = any(
            column.meaning is not None and column.meaning.system is not None
            for column in self.grid.table.columns
        )
        wide = gap_columns(self.grid, self._reading)
        form = QuestionForm(
            lambda answers: head_asks(
                answers, gaps, shoes=shoes, gap_columns=wide, standards=self._standards
            ),
            self.grid.head,
        )
        page = ChartHeadScreen(title_of(self.grid.head), form, keep=self._keep_head, then=then)
        await self.app.push_screen(page)

    async def _keep_head(self, answers: Mapping[str, Value]) -> None:
        self.grid.head = {**self.grid.head, **answers}
        for key in [key for key in self.grid.head if key not in answers and key != "unit"]:
            if key not in ("step_mm", "shoe_step"):
                del self.grid.head[key]
        await self._changed()

    async def _nothing(self) -> None:
        self._draw()

    # --- keeping -----------------------------------------------------------------------------

    async def pause(self) -> bool:
        """Keep everything typed in the draft; whether that could be written."""
        return not await self._keep_draft()

    async def _keep_draft(self) -> str:
        """Write the draft where anything changed; returns what went wrong."""
        text = draft_text(self.grid, self._edits)
        return await asyncio.to_thread(self._write_draft, text)

    def _write_draft(self, text: str) -> str:
        if without_place(text) == without_place(self._written):
            return ""
        try:
            write_draft(self.desk_app.data, self._draft, text)
        except FitError as error:
            return f"{error.problem.text} {error.problem.mend}"
        self._written = text
        self._kept = True
        return ""

    # -----------------------------------------------------------------------------------------

    async def _move(self, down: int = 0, across: int = 0) -> None:
        self.grid.move(down, across)
        await self._changed()

    async def _changed(self, told: str = "") -> None:
        """Keep and judge what is there now, and show it."""
        fault = await self._keep_draft()
        self._judge()
        self._draw(fault or told)

    def _judge(self) -> None:
        if self._ranges is not None:
            today = self.desk_app.now().date()
            self._reading = read_grid_table(
                self.grid, self._ranges, on=today, standards=self._standards
            )

    @property
    def _shown(self) -> GridReading:
        return self._reading.while_typing(self.grid.row, self.grid.place)

    def _draw(self, told: str = "") -> None:
        if not self.is_attached:
            return
        self.query_one(TopBar).show(
            say("Chart"),
            title_of(self.grid.head) or say("new"),
            say("kept, not saved") if self._kept else "",
        )
        shown = self._shown
        missing = missing_keys(self.grid.head, self._reading.gaps)
        about, grid, remarks = (
            self.query_one(name, Static) for name in ("#about", "#grid", "#remarks")
        )
        about.update(about_content(shown, len(missing)))
        grid.update(grid_content(self.grid, shown, grid.content_size))
        self.query_one("#cell", Static).update(cell_content(self.grid))
        self.query_one("#message", Static).update(
            Content.styled(f"! {told}" if told else "", "bold")
        )
        remarks.update(remarks_content(self.grid, shown, remarks.content_size))
