"""All size charts: look for one by typing, get a new one in, change one, mark favourites."""

from __future__ import annotations

import asyncio
import os
from dataclasses import replace
from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.content import Content
from textual.widgets import Static

from fitcore.disk.chart_files import (
    chart_files,
    draft_values,
    drafts,
    drop_draft,
    is_file_name,
)
from fitcore.disk.favourites import write_favourites
from fitcore.problems import FitError
from fitcore.suitability import wrong_charts
from fitcore.words import say
from tui.chart_drafts import grid_of_chart, grid_of_draft
from tui.chart_grid import ChartGrid
from tui.chart_head_form import head_of_values, title_of
from tui.charts_list import ChartLine, chart_lines, free_copy_id, free_draft_name
from tui.screens.chart_preview import show_preview
from tui.screens.reason import ConfirmScreen
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import NO_MARK, PickList
from tui.widgets.typed_line import clean_typed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from textual import events
    from textual.widget import Widget

    from fitcore.charts.chart import Chart
    from fitcore.disk.chart_files import ChartFile
    from fitcore.disk.profile_files import Profiles

_TITLE_COLUMNS = 34


class ChartsScreen(WorkScreen):
    """Every chart there is."""

    KEYMAP = "charts"
    CSS_PATH = "charts.tcss"

    def __init__(self, marked: str = "", told: str = "") -> None:
        """Lay out the list.

        Args:
            marked: id of the chart, or name of the draft, to mark.
            told: what has just become of it.
        """
        super().__init__()
        self._marked, self._told = marked, told
        self._search = ""
        self._lines: list[ChartLine] = []
        self._profiles: Profiles | None = None
        self._wrong: frozenset[str] = frozenset()
        self._files: Mapping[str, ChartFile] = {}
        self._drafts: dict[str, tuple[ChartGrid, str]] = {}

    def compose_body(self) -> Iterable[Widget]:
        """Return the heading, the list, and what there is to say."""
        yield Static(id="columns")
        yield PickList(id="list", tells_more=True)
        yield Static(id="message")

    async def on_mount(self) -> None:
        """Read the charts and show them."""
        self.query_one(TopBar).show(say("Size charts"))
        app = self.desk_app
        self._profiles = await app.load_profiles()
        ranges, rules = self._profiles.ranges, self._profiles.rules
        # In a thread: a folder's charts are judged once, which takes a moment.
        self._wrong = await asyncio.to_thread(wrong_charts, rules, self._charts)
        self._files = await asyncio.to_thread(chart_files, app.data)
        held = await asyncio.to_thread(drafts, app.data)
        self._drafts = {
            name: grid_of_draft(draft_values(raw), ranges) for name, raw in held.items()
        }
        told = [self._told] if self._told else []
        folder = f"{app.data}{os.sep}"
        told += [
            str(replace(problem, path=(problem.path or "").removeprefix(folder)))
            for problem in self._profiles.problems[:1]
        ]
        self._say(" ".join(told))
        self.call_after_refresh(self._show_lines)

    async def take_key(self, event: events.Key) -> None:
        """Look for a chart by what is typed; everything else is an action."""
        sign = event.character or ""
        if self.too_small or not (event.key == "backspace" or (event.is_printable and sign)):
            await super().take_key(event)
            return
        erased = event.key == "backspace"
        self._search = self._search[:-1] if erased else self._search + clean_typed(sign)
        self._marked = ""
        self._show_lines()

    async def do_edit(self) -> None:
        """Open the marked line in the editor; a shipped chart as a copy with another id."""
        line = self._line()
        if line is None or self._profiles is None:
            return
        if line.draft:
            grid, edits = self._drafts[line.id]
            await self.desk_app.show_chart_editor(grid, line.id, edits)
            return
        file = self._files.get(line.id)
        if file is None:
            self._say(say("The chart's file is not there any more."))
            return
        if line.id in self._drafts or line.id in {edits for _, edits in self._drafts.values()}:
            self._say(say("This chart is being changed already: open its unfinished line."))
            return
        grid = grid_of_chart(file.values, self._profiles.ranges)
        name, edits = line.id, line.id
        taken = {*self._files, *self._drafts}
        if file.path is None:
            name, edits = free_copy_id(line.id, taken), ""
            grid.head["id"] = name
        else:
            grid.opened = file.digest
            if not is_file_name(name):  # an own file may name any id: that is what is to be mended
                name = free_draft_name(taken)
        await self.desk_app.show_chart_editor(grid, name, edits)

    async def do_new_chart(self) -> None:
        """Begin a new table."""
        if self._profiles is not None:
            name = free_draft_name({*self._files, *self._drafts})
            await self.desk_app.show_chart_editor(ChartGrid(ranges=self._profiles.ranges), name)

    async def do_preview(self) -> None:
        """Show whom the marked chart fits."""
        line = self._line()
        chart = next((c for c in self._charts if line is not None and c.id == line.id), None)
        if chart is None or line is None or line.draft:
            self._say(say("Open it first: F3 shows it there."))
            return
        await show_preview(self.desk_app, chart, chart.title)

    async def do_discard(self) -> None:
        """Throw an unfinished chart away, once that is confirmed."""
        line = self._line()
        if line is None or not line.draft:
            self._say(say("Only what is not finished can be discarded here."))
            return
        question = say("Throw this unfinished chart away?")
        lines = [line.title, line.state]
        await self.app.push_screen(ConfirmScreen(question, lines, lambda: self._discard(line.id)))

    async def do_favourite(self) -> None:
        """Take the marked chart among the service's favourites, or out of them."""
        line, profiles = self._line(), self._profiles
        if line is None or line.draft or profiles is None:
            return
        kept = profiles.favourites ^ {line.id}
        try:
            await asyncio.to_thread(write_favourites, self.desk_app.data, kept)
        except FitError as error:
            self._say(f"{error.problem.text} {error.problem.mend}")
            return
        self._profiles = replace(profiles, favourites=kept)
        self.desk_app.keep_profiles(self._profiles)
        self._marked = line.id
        self._show_lines()

    async def do_up(self) -> None:
        """Mark the line above."""
        self.query_one(PickList).move(-1)

    async def do_down(self) -> None:
        """Mark the line below."""
        self.query_one(PickList).move(1)

    async def do_leave(self) -> None:
        """Show all charts again; else go back to the start."""
        if self._search:
            self._search = ""
            self._show_lines()
        else:
            await self.desk_app.show_start()

    # -----------------------------------------------------------------------------------------

    @property
    def _charts(self) -> tuple[Chart, ...]:
        return self._profiles.charts if self._profiles is not None else ()

    async def _discard(self, name: str) -> None:
        try:
            await asyncio.to_thread(drop_draft, self.desk_app.data, name)
        except FitError as error:
            self._say(f"{error.problem.text} {error.problem.mend}")
            return
        del self._drafts[name]
        self._say(say("Thrown away."))
        self._show_lines()

    def _line(self) -> ChartLine | None:
        index = self.query_one(PickList).index
        return self._lines[index] if 0 <= index < len(self._lines) else None

    def _show_lines(self) -> None:
        if not self.is_attached or self._profiles is None:
            return
        faults = {problem.path for problem in self._profiles.problems}
        broken = {
            name: file
            for name, file in self._files.items()
            if file.path is not None and str(file.path) in faults
        }
        self._lines = chart_lines(
            self._charts,
            {name: grid for name, (grid, _) in self._drafts.items()},
            {name: title_of(head_of_values(file.values)) for name, file in broken.items()},
            own={
                name
                for name, file in self._files.items()
                if file.path is not None and name not in broken
            },
            favourites=self._profiles.favourites,
            on=self.desk_app.now().date(),
            wanted=self._search,
            wrong=self._wrong,
        )
        heading = (
            say("Looked for: {text}_ ({count})", text=self._search, count=len(self._lines))
            if self._search
            else say("Type part of a name to look for it ({count})", count=len(self._lines))
        )
        self.query_one("#columns", Static).update(Content.styled(f"  {heading}", "bold"))
        ids = [line.id for line in self._lines]
        at = ids.index(self._marked) if self._marked in ids else 0
        if self._search and not self._lines:
            told = say("No chart's name holds '{text}'. Esc shows all.", text=self._search)
            self.query_one(PickList).show([told], NO_MARK)
        else:
            self.query_one(PickList).show([_row(line) for line in self._lines], at)

    def _say(self, text: str) -> None:
        self.query_one("#message", Static).update(Content(text))


def _row(line: ChartLine) -> str:
    sign = "* " if line.favourite else "  "
    title = line.title
    if cell_len(title) > _TITLE_COLUMNS - 2:
        title = set_cell_size(title, _TITLE_COLUMNS - 3) + "…"
    return f"{sign}{set_cell_size(title, _TITLE_COLUMNS - 1)} {line.state}"
