"""The application: opens the data folder, moves between screens, ends without losing a thing."""

from __future__ import annotations

import asyncio
import os
from typing import TYPE_CHECKING

from textual import events
from textual.app import App
from textual.worker import WorkerFailed

from fitcore.disk.data_folder import DataFolder, is_named
from fitcore.disk.session_book import SessionBook
from fitcore.words import say
from tui.clock_watch import ClockWatch
from tui.loading import OwnErrors, ProfileShelf, look_at_sessions, read_codes, read_person
from tui.merge_memory import MergeMemory
from tui.screens.work_screen import WorkScreen

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable
    from datetime import datetime
    from pathlib import Path

    from fitcore.disk.profile_files import Profiles
    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.clients import Clients
    from fitcore.record.session import Session
    from tui.chart_grid import ChartGrid
    from tui.desk import Desk
    from tui.screening_stages import Stage

_ENTER = events.Key("enter", "\r")
"""Pressed before the terminal is in raw mode, Enter arrives as a line feed."""
_ALWAYS_CLOSE = ("ctrl+q", "ctrl+c")
EXIT_FAULT = 2
EXIT_SIGNAL = 3
_PLAIN_TERMINALS = ("linux", "ansi", "vt100", "vt220", "xterm-16color", "screen", "cons25")


class AnklefirstApp(App[int]):
    """The program on the screen."""

    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = False
    TITLE = "anklefirst"

    def __init__(self, data: Path, surroundings: Surroundings, *, demo: bool = False) -> None:
        # NO_COLOR picks its filter while the application is built: a theme set later would be
        # drawn black on black.
        self.set_reactive(App.theme, _theme())
        super().__init__()
        self.animation_level = "none"
        self.data = data
        self.demo = demo
        self.surroundings = surroundings
        self.book = SessionBook(data)
        self.links: Clients | None = None
        self.sessions_read = asyncio.Event()
        self.at_merge_desk = MergeMemory()
        self._clock = ClockWatch(surroundings)
        self._folder: DataFolder | None = None
        self._shelf = ProfileShelf(data)
        self._own_errors = OwnErrors()
        self._desk: Desk | None = None
        """The session opened last."""
        self._running_loop: asyncio.AbstractEventLoop | None = None
        self._asked_to_end = False
        self._keys: asyncio.Queue[events.Key | events.Paste | None] = asyncio.Queue()

    @property
    def folder(self) -> DataFolder:
        """The open data folder."""
        if self._folder is None:
            raise RuntimeError("no data folder is open")
        return self._folder

    @property
    def fault(self) -> BaseException | None:
        """What ended the program unexpectedly, if anything did."""
        failed = self._exception
        return failed.error if isinstance(failed, WorkerFailed) else failed

    def now(self) -> datetime:
        """Return the present instant."""
        return self.surroundings.now()

    async def on_mount(self) -> None:
        """Show the start, or the first run's questions; end cleanly when the window closes."""
        self._running_loop = asyncio.get_running_loop()
        if self._asked_to_end:
            self._keys.put_nowait(None)
        if self._folder is not None or is_named(self.data):
            if self._folder is None:
                self.open_folder()
            await self.show_start()
        else:
            from tui.screens.first_run import FirstRunScreen

            await self.push_screen(FirstRunScreen())
        self.run_worker(self._take_keys(), name="keys", group="keys")

    def open_folder(self, label: str = "laptop", measurer: str = "") -> None:
        """Open the data folder for writing.

        Raises:
            FitError: it is in use or cannot be written.
        """
        self._folder = DataFolder(self.data, self.surroundings, label=label, measurer=measurer)

    def close_folder(self) -> None:
        """Let the data folder go."""
        if self._folder is not None:
            self._folder.close()

    # --- keys: one at a time, each to its end ------------------------------------------------

    async def on_event(self, event: events.Event) -> None:
        """Queue keys and pasted text; everything else goes the framework's way.

        The framework delivers keys through each widget's own queue, where a key can overtake the
        effect of the one before: Enter opened the wrong client when a code was typed quickly.
        """
        if isinstance(event, events.Key | events.Paste) and not event.is_forwarded:
            self._keys.put_nowait(event)
        else:
            await super().on_event(event)

    async def _take_keys(self) -> None:
        """Hand keys to the screen in front, each only when the one before is done.

        While a reading is being saved or a screen changes, later keys wait here and then reach
        the next field: none is lost, none overtakes.
        """
        while True:
            event = await self._keys.get()
            screen = self.screen
            if event is None:
                await self._pause_open_work()
                self.exit(EXIT_SIGNAL, return_code=EXIT_SIGNAL)
            elif not isinstance(screen, WorkScreen):
                continue
            elif isinstance(event, events.Paste):
                screen.take_paste(event.text)
            elif event.key in _ALWAYS_CLOSE:
                await self.close_safely()
            else:
                await screen.take_key(_ENTER if event.key == "ctrl+j" else event)

    # --- moving between screens --------------------------------------------------------------

    async def show_start(self, *, finished: bool = False) -> None:
        """Show the start screen, with the session just left as it is now."""
        if self._desk is not None and self._desk.session.entries:
            self.book = self.book.with_session(self._desk.session)
        from tui.screens.start import StartScreen

        left = self._desk.session if self._desk is not None else None
        await self._show(StartScreen(left, marked=not finished))

    async def show_charts(self, marked: str = "", told: str = "") -> None:
        """Show all size charts, one of them marked, and what has just become of it."""
        from tui.screens.charts import ChartsScreen

        await self._show(ChartsScreen(marked, told))

    async def show_chart_editor(self, grid: ChartGrid, draft: str, edits: str = "") -> None:
        """Show the editor of one chart; `draft` names the file that keeps it until it is saved."""
        from tui.screens.chart_editor import ChartEditorScreen

        await self._show(ChartEditorScreen(grid, draft, edits))

    async def show_setup(self, desk: Desk) -> None:
        """Show the questions before measuring."""
        from tui.screens.setup import SetupScreen
        from tui.setup_form import SetupForm

        given = {what: desk.session.value(what) for what in desk.session.heads.fields}
        known = {what: value for what, value in given.items() if value is not None}
        form = SetupForm(
            desk.profiles.protocols,
            self.now,
            known,
            ask_after_hours=float(desk.profiles.rules.time.ask_after_hours),
            ask_clock=not self._clock.confirmed_today(
                self.book.glances, self._open_session, self.folder.laptop.id
            ),
        )
        await self._show(SetupScreen(desk, form))

    async def go_on(self, desk: Desk) -> None:
        """Go where a session goes on: questions still open, then measuring."""
        from tui.screening_stages import next_stage

        stage = next_stage(desk)
        if stage is not None:
            await self.show_questions(desk, stage)
        elif desk.in_setup:
            await self.show_setup(desk)
        else:
            await self.show_measure(desk)

    async def show_questions(self, desk: Desk, stage: Stage) -> None:
        """Show one page of screening's questions."""
        from tui.screening_pages import questions_screen

        await self._show(questions_screen(desk, stage, self.after_questions))

    async def after_questions(self, desk: Desk, stage: Stage) -> None:
        """Go on from a page of questions; by way of what was found where something was."""
        from tui.screening_stages import following, is_news

        after = following(desk, stage)
        if is_news(desk, stage):
            await self.show_clearance(desk)
        elif after is not None:
            await self.show_questions(desk, after)
        else:
            await self.go_on(desk)

    async def show_clearance(self, desk: Desk) -> None:
        """Show whether compression may be fitted."""
        from tui.screens.clearance import ClearanceScreen

        await self._show(ClearanceScreen(desk))

    async def show_measure(self, desk: Desk) -> None:
        """Show the measuring screen."""
        from tui.screens.measure import MeasureScreen

        await self._show(MeasureScreen(desk))

    async def show_review(self, desk: Desk) -> None:
        """Show what is still doubtful."""
        from tui.screens.review import ReviewScreen

        await self._show(ReviewScreen(desk))

    async def show_result(self, desk: Desk) -> None:
        """Show the result; before it the legs' shape is asked where it must be."""
        from tui.screens.result import ResultScreen
        from tui.shape_page import shape_is_due

        if shape_is_due(desk):
            await self.show_shape(desk)
            return
        profiles = await self.load_profiles()
        if profiles is not desk.profiles:
            desk.use_profiles(profiles)
        await self._show(ResultScreen(desk))

    async def show_shape(
        self, desk: Desk, back: Callable[[], Awaitable[None]] | None = None
    ) -> None:
        """Ask what a tape does not see, then show the result; Esc leads back, else to measuring."""
        from tui.screens.questions import QuestionsScreen
        from tui.shape_page import shape_form, store_shapes

        page = QuestionsScreen(
            desk,
            shape_form(desk),
            say("The legs' shape, which no tape sees."),
            title=say("Shape"),
            save=lambda answers: store_shapes(desk, answers),
            then=lambda: self.show_result(desk),
            back=back or (lambda: self.show_measure(desk)),
        )
        await self._show(page)

    async def _show(self, screen: WorkScreen) -> None:
        if len(self.screen_stack) > 1:
            await self.switch_screen(screen)
        else:
            await self.push_screen(screen)

    # --- what screens need -------------------------------------------------------------------

    async def read_all_sessions(self) -> list[str]:
        """Look at the folder's sessions in a thread; return what a person should know of them.

        Looked at anew at each start screen: a stick may have been copied in meanwhile. What was
        known before is shown until then.
        """
        book, highest = await asyncio.to_thread(
            look_at_sessions, self.data, self.book, self.now(), self.folder.laptop.id
        )
        self.links, unlinked = await asyncio.to_thread(read_codes, self.data)
        self.book = book
        await asyncio.to_thread(self.folder.meet_frontier, highest)
        self.sessions_read.set()
        unread = book.unread + unlinked
        told = say("! {count} files could not be read: run anklefirst check.", count=unread)
        return [told] if unread else []

    def keep_profiles(self, profiles: Profiles) -> None:
        """Take profiles as they are by now, for the sessions to come."""
        self._shelf.keep(profiles)

    async def reload_profiles(self) -> Profiles:
        """Load charts, protocols and rules again, as they lie there now."""
        return await self._shelf.load(anew=True)

    async def load_profiles(self) -> Profiles:
        """Load charts, protocols and rules in a thread; again where chart files have changed."""
        return await self._shelf.load()

    async def open_desk(self, session_id: str) -> Desk | None:
        """Open a session of the folder, as it is on disk now; None where it is not there."""
        on_disk = await asyncio.to_thread(self.folder.read, session_id)
        return await self._make_desk(on_disk, on_disk.text("client")) if on_disk else None

    async def new_desk(self, client: str) -> Desk:
        """Begin a session with a client; nothing is written before the first answer."""
        return await self._make_desk(self.folder.new_session(), client)

    async def _make_desk(self, session: Session, client: str) -> Desk:
        from tui.desk import Desk

        await self.sessions_read.wait()
        theirs = await asyncio.to_thread(read_person, self.book, session, client, self.links)
        laptop = self.folder.laptop
        opening = {"client": client, "measurer": laptop.measurer, "zone": laptop.zone}
        profiles = await self.load_profiles()
        own_error = await asyncio.to_thread(self._own_errors.read, self.book, laptop.measurer)
        self._desk = Desk(
            self.folder,
            profiles,
            session,
            now=self.now,
            earlier=theirs.earlier,
            opening={k: value for k, value in opening.items() if value and not session.entries},
            clock_flags=lambda: self._clock.flags(
                self.book.glances, self._open_session, laptop.id, profiles.rules.time
            ),
            own_error=own_error,
            linked=theirs.linked,
        )
        return self._desk

    @property
    def _open_session(self) -> Session | None:
        return self._desk.session if self._desk is not None else None

    # --- ending ------------------------------------------------------------------------------

    async def close_safely(self) -> None:
        """Pause what is open, then end."""
        await self._pause_open_work()
        self.exit(0)

    def ask_to_end(self) -> None:
        """End as soon as the keys typed so far are dealt with; may be called by a signal handler.

        What was accepted is saved first; the terminal may be gone by then.
        """
        self._asked_to_end = True
        if self._running_loop is not None:
            self._running_loop.call_soon_threadsafe(self._keys.put_nowait, None)

    def panic(self, *_: object) -> None:
        """End without printing what the framework would: a traceback, from its input thread too."""
        self._fatal_error()

    async def _pause_open_work(self) -> None:
        for screen in self.screen_stack:
            if isinstance(screen, WorkScreen):
                await screen.pause()

    def _handle_exception(self, error: Exception) -> None:
        # The framework would print a traceback with local variables, names and readings in it,
        # and would print an error's own drawing where it has one. Neither happens here.
        self._return_code = EXIT_FAULT
        if self._exception is None:
            self._exception = error
            self._exception_event.set()
        self._close_messages_no_wait()

    def _fatal_error(self) -> None:
        self._return_code = EXIT_FAULT
        if self._exception is None:
            self._exception = RuntimeError()
        self._close_messages_no_wait()


def _theme() -> str:
    """Choose colours: the terminal's own sixteen where there are no more, or none are wanted."""
    term = os.environ.get("TERM", "")
    few = (
        "NO_COLOR" in os.environ
        or os.environ.get("TEXTUAL_COLOR_SYSTEM") == "standard"
        or term in _PLAIN_TERMINALS
    )
    return os.environ.get("TEXTUAL_THEME") or ("ansi-dark" if few else "textual-dark")
