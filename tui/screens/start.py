"""The start: paused sessions, today's, every client. Typing part of a code narrows the list."""

from __future__ import annotations

import asyncio
import os
from dataclasses import replace
from typing import TYPE_CHECKING

from rich.cells import set_cell_size
from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Static

from fitcore.identity import OWN_CODE, judge_client_code, own_client_code
from fitcore.problems import FitError, ProfileError
from fitcore.words import say
from tui.loading import read_late_stops, read_stopped
from tui.measured_when import known_clocks
from tui.screens.work_screen import WorkScreen
from tui.start_list import StartLine, StartList
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import NO_MARK, PickList
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual.widget import Widget

    from fitcore.disk.session_book import SessionBook
    from fitcore.merge.clients import Clients
    from fitcore.record.session import Session


class StartScreen(WorkScreen):
    """Whom to measure, and what was left open."""

    KEYMAP = "start"
    CSS_PATH = "start.tcss"

    def __init__(self, left: Session | None = None, *, marked: bool = True) -> None:
        """Lay out the start.

        Args:
            left: the session just left, whose paused line is marked.
            marked: whether a line is marked at all. After *finish* none is: a second Enter must
                not open somebody else.
        """
        super().__init__()
        self._list: StartList | None = None
        self._lines: list[StartLine] = []
        self._left = left.id if left is not None else ""
        self._unmarked = not marked
        self._stopped: frozenset[str] = frozenset()
        self._said = ""

    def compose_body(self) -> Iterable[Widget]:
        """Return the line to look for a client, and the list."""
        yield Static(id="welcome")
        yield Horizontal(Static(Content(say("Client's code >"))), TypedLine(id="code"), id="find")
        yield Static(id="columns")
        yield PickList(id="list")
        yield Static(id="message")

    def on_mount(self) -> None:
        """Show the name, then the list as soon as the sessions are read."""
        app = self.desk_app
        laptop = app.folder.laptop
        self.query_one(TopBar).show(
            say("Start"),
            say("laptop {name}", name=laptop.id),
            say("by {who}", who=laptop.measurer or "?"),
            say("DEMO: nothing is kept") if app.demo else "",
        )
        self.query_one("#welcome", Static).update(
            Content.assemble(
                ("anklefirst", "bold"),
                "  ",
                say("measure the leg, check the reading, find the size"),
                "\n",
                say(
                    "Screening comes first. Your training, local policy and the prescriber decide."
                ),
            )
        )
        self._show_heading()
        self.set_focus(self.query_one(TypedLine))
        if app.sessions_read.is_set():
            self.call_after_refresh(self._show_lines)
        else:
            self.say(" ".join(app.folder.notes) or say("Reading the sessions ..."))
        # After the first frame: reading takes a while and what there is can be shown already.
        self.call_after_refresh(lambda: self.run_worker(self._load(), exclusive=True))

    async def _load(self) -> None:
        problems = await self.desk_app.read_all_sessions()
        app = self.desk_app
        lines = await asyncio.to_thread(self._sorted, app.book, app.links)
        if not self.is_attached:
            return
        self._list = lines
        self._show_lines()
        demo = [say("Everybody here is invented; nothing you type is kept.")]
        told = [*(demo if app.demo else []), *app.folder.notes, *problems]
        at_first = " ".join(told[:2])
        self.say(f"{at_first} {app.at_merge_desk.words()}".strip())
        if await self._can_judge():
            await self._mark_stops(at_first)

    async def _mark_stops(self, at_first: str) -> None:
        """Say in the list where a stop stands: whoever goes on must not have to open it first.

        Once a run, a stop is also looked for that another laptop found for somebody with a size.

        Args:
            at_first: what the foot of the list says; where something newer stands, that stays.
        """
        app = self.desk_app
        profiles, on = await app.load_profiles(), app.now().date()
        begun = self._list.begun if self._list is not None else ()
        self._stopped = await asyncio.to_thread(
            read_stopped, app.book, begun, app.links, profiles.rules, on
        )
        if self._stopped and self.is_attached:
            self._show_lines()
        memory = app.at_merge_desk
        if memory.is_known:
            return
        late = await asyncio.to_thread(read_late_stops, app.book, app.links, profiles.rules, on)
        if not memory.is_known:  # else somebody was at the desk meanwhile, which knows all of it
            memory.know(late)
            if late and self.is_attached:
                self._show_lines()
            if late and self._said == at_first:
                self.say(f"{at_first} {memory.words()}".strip())

    def text_changed(self) -> None:
        """Narrow the list to what is typed."""
        self._show_lines(index=0)

    async def do_open(self) -> None:
        """Open the marked line: go on, look at a result, or start a new session."""
        await self._list_ready()
        line = self._marked()
        if line is None:
            told = say("Type a client's code, mark a line with ↓, or press F2 for a new client.")
            self.say(told, doubt=True)
        elif line.kind == "new":
            await self._start_new(line.client, confirm=True)
        elif line.kind == "client":
            await self._start_new(line.client)
        else:
            await self._open_session(line.session_id)

    async def do_again(self) -> None:
        """Start a new session with the client of the marked line."""
        await self._list_ready()
        line = self._marked()
        if line is not None:
            await self._start_new(line.client, confirm=line.kind == "new")

    async def do_new_client(self) -> None:
        """Start a session with the next free code of this laptop."""
        await self.desk_app.sessions_read.wait()
        label = self.desk_app.folder.laptop.label
        taken = [
            int(match[2])
            for glance in self.desk_app.book.glances.values()
            if (match := OWN_CODE.fullmatch(glance.client)) and match[1] == label
        ]
        await self._start_new(own_client_code(label, max(taken, default=0) + 1))

    async def do_measurer(self) -> None:
        """Ask who holds the tape now."""
        from tui.screens.reason import ReasonScreen

        question = say("Measured by (staff code, never a name)")
        await self.app.push_screen(ReasonScreen(question, (), self._set_measurer))

    async def do_quality(self) -> None:
        """Show how well readings agree, by measurer and point."""
        from tui.screens.text import TextScreen

        await self.desk_app.sessions_read.wait()
        rows = await asyncio.to_thread(_quality_rows, self.desk_app.book)
        text = TextScreen(say("How well readings agree"), Content("\n".join(rows)))
        await self.app.push_screen(text)

    async def do_merge(self) -> None:
        """Merge other laptops' sticks, and see to what is open."""
        from tui.screens.merge_desk import open_merge_desk

        await open_merge_desk(self.desk_app)

    async def do_charts(self) -> None:
        """Look through the size charts."""
        if await self._can_judge():
            await self.desk_app.show_charts()

    async def do_up(self) -> None:
        """Mark the line above."""
        self.query_one(PickList).move(-1)

    async def do_down(self) -> None:
        """Mark the line below."""
        self.query_one(PickList).move(1)

    def say(self, text: str, *, doubt: bool = False) -> None:
        """Say something at the foot of the list."""
        self._said = text
        style = "bold $warning" if doubt else ""
        shown = f"! {text}" if doubt else text
        for message in self.query("#message").results(Static):  # none once the screen was left
            message.update(Content.styled(shown, style))

    # -----------------------------------------------------------------------------------------

    async def _set_measurer(self, code: str) -> str:
        try:
            await asyncio.to_thread(self.desk_app.folder.set_measurer, code)
        except FitError as error:
            return f"{error.problem.text} {error.problem.mend}"
        await self.desk_app.show_start()
        return ""

    async def _can_judge(self) -> bool:
        """Whether the rules can be loaded; says which file cannot be used, and the mend."""
        try:
            await self.desk_app.load_profiles()
        except ProfileError as error:
            problem, folder = error.problem, f"{self.desk_app.data}{os.sep}"
            place = (problem.path or "").removeprefix(folder)  # the rest would fill the line
            self.say(str(replace(problem, path=place or None)), doubt=True)
            return False
        return True

    async def _open_session(self, session_id: str) -> None:
        # Imported here: the first frame need not wait for what judges.
        from tui.clearance_view import is_stopped
        from tui.screening_stages import next_stage

        if not await self._can_judge():
            return
        try:
            desk = await self.desk_app.open_desk(session_id)
        except ProfileError as error:  # it follows a protocol this laptop does not have
            self.say(str(error.problem), doubt=True)
            return
        if desk is None:
            told = say("This session is not in its file any more: run anklefirst check.")
            self.say(told, doubt=True)
            return
        if desk.session.value("finished") is True or (desk.all_done and not desk.in_setup):
            await self.desk_app.show_result(desk)
        elif next_stage(desk) is None and is_stopped(desk.clearance):
            await self.desk_app.show_clearance(desk)
        else:
            await self.desk_app.go_on(desk)

    async def _start_new(self, client: str, *, confirm: bool = False) -> None:
        problem = judge_client_code(client)
        if problem is not None:
            self.say(f"{problem.text} {problem.mend}", doubt=True)
            return
        if confirm and not OWN_CODE.fullmatch(client):
            from tui.screens.reason import ConfirmScreen

            question = say("A new client with the code {code}?", code=client)
            lines = [say("A code from the service's list, never a name. Look at it once more.")]

            await self.app.push_screen(
                ConfirmScreen(question, lines, lambda: self._start_new(client))
            )
            return
        if not await self._can_judge():
            return
        desk = await self.desk_app.new_desk(client)
        await self.desk_app.go_on(desk)

    async def _list_ready(self) -> None:
        """Wait until the sessions are read: what Enter opens must be what the list will show."""
        if not self.desk_app.sessions_read.is_set():
            await self.desk_app.sessions_read.wait()
            self._list = None  # what it was sorted from was not all
            self._show_lines(index=0)

    def _marked(self) -> StartLine | None:
        index = self.query_one(PickList).index
        return self._lines[index] if 0 <= index < len(self._lines) else None

    def _show_lines(self, index: int | None = None) -> None:
        field = self.active_line
        if field is None or not self.query(PickList):
            return  # the screen was left meanwhile, or is being taken down
        app, before = self.desk_app, self._marked()
        if self._list is None:
            self._list = self._sorted(app.book, app.links)
        told = app.at_merge_desk.stopped_codes
        self._lines = self._list.lines(field.text, self._stopped, told)
        self._show_heading()
        shown = [
            f"{set_cell_size(line.client, 24)}  {line.when:<17}  {line.state}"
            for line in self._lines
        ]
        self.query_one(PickList).show(shown, self._place(before) if index is None else index)

    def _sorted(self, book: SessionBook, links: Clients | None) -> StartList:
        return StartList(book, self.desk_app.now().date(), known_clocks(links))

    def _show_heading(self) -> None:
        """Show what the columns are, and above them what signs behind times mean."""
        legend = "  ".join(sorted({line.legend for line in self._lines} - {""}))
        columns = f"  {say('Client'):<26}{say('Last'):<19}{say('Enter')}"
        self.query_one("#columns", Static).update(
            Content.assemble(f"{'':<28}{legend}\n", (columns, "bold")), layout=False
        )

    def _place(self, before: StartLine | None) -> int:
        """Return which line to mark: the one that was, else the session just left, else first."""
        for number, line in enumerate(self._lines):
            if before is not None and line.same_as(before):
                return number
        for number, line in enumerate(self._lines):
            if (
                before is None
                and self._left
                and line.session_id == self._left
                and not self._unmarked
            ):
                return number
        return NO_MARK if self._unmarked else 0


def _quality_rows(book: SessionBook) -> list[str]:
    # Imported here, in the thread: the thresholds' reader is heavy.
    from fitcore.disk.profile_files import load_quality_rules
    from fitcore.quality.quality_report import report_quality
    from tui.wording.quality import quality_rows

    rules, _ = load_quality_rules(book.root)
    return quality_rows(report_quality(book.read_each(book.glances), rules))
