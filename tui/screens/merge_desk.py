"""The merge desk's door: which sticks, how far the merge is, and what it came to on one page."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING

from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Static

from fitcore.clean_text import visible
from fitcore.disk.drives import data_folders_on
from fitcore.problems import FitError, ProfileError
from fitcore.words import say
from tui.merge_desk import MergeDesk
from tui.merge_words import summary_lines
from tui.merge_work import MergeWork, folders_of
from tui.screens.work_screen import WorkScreen
from tui.stick_list import StickList
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import PickList
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence

    from textual import events
    from textual.widget import Widget

    from tui.app import AnklefirstApp

_BAR = 30
"""Signs of the line that shows how far the work is."""


@dataclass(frozen=True)
class Merge:
    """What all pages of the desk share."""

    desk: MergeDesk
    work: MergeWork
    sticks: StickList = field(default_factory=StickList)


async def open_merge_desk(app: AnklefirstApp) -> None:
    """Open the desk on the open data folder, once its sessions are read."""
    await app.sessions_read.wait()
    try:
        rules = (await app.load_profiles()).rules
    except ProfileError:
        rules = None  # merging goes on; the summary says that stops were not looked for
    desk = MergeDesk(who=app.folder.laptop.measurer)
    await app.switch_screen(
        MergeDeskScreen(Merge(desk, MergeWork(app.folder, app.surroundings, rules)))
    )


class MergePage(WorkScreen):
    """A page of the desk: says things at its foot, and goes back to a start that reads anew."""

    CSS_PATH = "merge_desk.tcss"

    def __init__(self, merge: Merge) -> None:
        super().__init__()
        self.merge = merge
        self.idle = asyncio.Event()
        """Set while nothing runs in another thread."""
        self.idle.set()
        self.is_ending = False
        """Whether the program is about to end: then no other page is shown."""

    @property
    def desk(self) -> MergeDesk:
        """What was merged and what is open."""
        return self.merge.desk

    @property
    def work(self) -> MergeWork:
        """The work on disk."""
        return self.merge.work

    def say(self, text: str, *, doubt: bool = False) -> None:
        """Say something at the foot of the page."""
        style = "bold $warning" if doubt else ""
        shown = f"! {text}" if doubt else text
        for message in self.query("#message").results(Static):  # none once the page was left
            message.update(Content.styled(shown, style))

    def fault(self, error: FitError | OSError) -> None:
        """Say what went wrong, and the mend."""
        self.say(fault_words(error), doubt=True)

    async def do_leave(self) -> None:
        """Stop what runs; else go back to the start, which reads its sessions anew."""
        if not self.idle.is_set():
            self.work.stop()
            self.say(say("Stopping at the next step ..."))
            return
        self.desk_app.sessions_read.clear()
        await self.desk_app.show_start()

    async def pause(self) -> bool:
        """Stop what runs and wait for it, before the program ends."""
        self.is_ending = True
        self.work.stop()
        await self.idle.wait()
        return True

    def begin(self, job: Callable[[], Awaitable[None]]) -> None:
        """Run something beside the keys; one at a time."""
        self.idle.clear()

        async def run() -> None:
            try:
                await job()
            except (FitError, OSError) as error:
                self.fault(error)
            finally:
                self.idle.set()

        # The application's, not this page's: the page may be gone before it ends, and what shows
        # the next page cannot be ended by that.
        self.app.run_worker(run(), name="merging", group="merging")

    def watcher(self, words: str) -> Callable[[int, int], None]:
        """Return what shows how far the work is; called in the other thread."""
        loop, shown = asyncio.get_running_loop(), [-1]

        def progress(done: int, total: int) -> None:
            percent = 100 * done // max(total, 1)
            if percent != shown[0]:
                shown[0] = percent
                loop.call_soon_threadsafe(self.say, progress_words(words, percent))

        return progress


class StickPage(MergePage):
    """A page with sticks to mark, and a line to type a folder."""

    def __init__(self, merge: Merge) -> None:
        super().__init__(merge)
        self.sticks = merge.sticks
        self.sticks.marked.clear()  # marked to be merged is not marked to be written to

    def stick_parts(self) -> Iterable[Widget]:
        """Return the line to type a folder, and the list."""
        yield Horizontal(
            Static(Content(say("Folder >"))), TypedLine(id="folder", max_length=200), id="find"
        )
        yield PickList(id="list")
        yield Static(id="message")

    async def look(self) -> None:
        """Offer what is plugged in now."""
        drives, data = self.desk_app.surroundings.drives, self.desk_app.data
        found = await asyncio.to_thread(_drives, drives, data)
        self.sticks.offer(found)
        self.show_sticks()

    def show_sticks(self, index: int | None = None) -> None:
        """Draw the list."""
        for shown in self.query("#list").results(PickList):
            shown.show(self.sticks.rows(), max(shown.index, 0) if index is None else index)

    def text_changed(self) -> None:
        """Take what was said before away: it was about other text."""
        self.say("")

    async def do_mark(self) -> None:
        """Mark a line."""
        if self.idle.is_set():
            self.sticks.toggle(self.query_one(PickList).index)
            self.show_sticks()

    async def do_look_again(self) -> None:
        """Look for sticks plugged in since."""
        if self.idle.is_set():
            await self.look()
            told = say("Nothing is plugged in. Type a folder instead.")
            self.say("" if self.sticks.folders else told)

    async def do_up(self) -> None:
        """Go to the line above."""
        self.query_one(PickList).move(-1)

    async def do_down(self) -> None:
        """Go to the line below."""
        self.query_one(PickList).move(1)

    async def take_typed(self) -> bool:
        """Take a typed folder into the list; whether there was anything typed."""
        line = self.query_one(TypedLine)
        if not line.text:
            return False
        path = Path(line.text).expanduser()
        if not await asyncio.to_thread(path.is_dir):
            told = say("{path} is no folder here.", path=visible(str(path)))
            self.say(told, doubt=True)
        elif not await asyncio.to_thread(folders_of, [path], self.desk_app.data):
            self.say(say("This is the open data folder itself; it is no stick."), doubt=True)
        else:
            names = await asyncio.to_thread(data_folders_on, path)
            line.value = ""
            self.say("")
            self.show_sticks(self.sticks.add(path, names))
        return True


class MergeDeskScreen(StickPage):
    """Which sticks are merged."""

    KEYMAP = "merge_sticks"

    def compose_body(self) -> Iterable[Widget]:
        """Return what this is, and the sticks."""
        yield Static(id="heading")
        yield from self.stick_parts()

    async def on_mount(self) -> None:
        """Say where to, and look for sticks."""
        app = self.desk_app
        self.query_one(TopBar).show(
            say("Merge desk"), say("laptop {name}", name=app.folder.laptop.id)
        )
        self.query_one("#heading", Static).update(
            Content.assemble(
                (say("Which sticks are merged into this laptop's folder?"), "bold"),
                "\n",
                visible(_short(str(app.data))),
                "\n",
                say("Space marks, Enter merges. Nothing on a stick is changed or deleted."),
            )
        )
        self.set_focus(self.query_one(TypedLine))
        await self.look()
        if not self.sticks.folders:
            self.say(say("Nothing is plugged in. Plug sticks in and press F5, or type a folder."))

    async def do_accept(self) -> None:
        """Take a typed folder; else merge what is marked."""
        if not self.idle.is_set():
            self.say(say("The merge still runs. Esc stops it."))
        elif await self.take_typed():
            return
        elif self.sticks.marked:
            sticks = list(self.sticks.marked)
            self.say(progress_words(say("Merging"), 0))
            self.begin(lambda: self._merge(sticks))
        else:
            self.say(say("Mark a stick with Space first, or type a folder."), doubt=True)

    async def do_questions(self) -> None:
        """Go on with what is open, without merging."""
        if self.idle.is_set():
            self.begin(self._look_through)

    async def _merge(self, sticks: Sequence[Path]) -> None:
        progress = self.watcher(say("Merging"))
        self.desk.merging = await asyncio.to_thread(self.work.merge, sticks, progress)
        await self._look_through()

    async def _look_through(self) -> None:
        self.say(say("Looking through the archive for what is open ..."))
        self.desk.show(await asyncio.to_thread(self.work.look_through))
        if self.is_attached and not self.is_ending:
            self.idle.set()
            await self.app.switch_screen(MergeSummaryScreen(self.merge))


class MergeSummaryScreen(MergePage):
    """What a merge came to, and what is open."""

    KEYMAP = "merge_summary"

    def compose_body(self) -> Iterable[Widget]:
        """Return the heading, the lines and what comes next."""
        yield Static(Content.styled(say("What the merge came to"), "bold"), id="title")
        yield Static(id="summary")
        yield Static(id="message")

    def on_mount(self) -> None:
        """Show the lines once the page's size is known."""
        self.query_one(TopBar).show(say("Merge desk"), say("Summary"))
        self.call_after_refresh(self._show)

    def on_resize(self, event: events.Resize) -> None:
        """Draw again: more or fewer lines fit."""
        super().on_resize(event)
        self.call_after_refresh(self._show)

    async def do_accept(self) -> None:
        """Go through what is open; where nothing is, to the end."""
        if self.desk.items:
            from tui.screens.merge_questions import MergeQuestionsScreen

            await self.app.switch_screen(MergeQuestionsScreen(self.merge))
        else:
            await self.do_end()

    async def do_whole(self) -> None:
        """Show every line."""
        from tui.screens.text import TextScreen

        text = Content("\n".join(self._lines))
        await self.app.push_screen(TextScreen(say("What the merge came to"), text))

    async def do_sticks(self) -> None:
        """Merge other sticks."""
        await self.app.switch_screen(MergeDeskScreen(self.merge))

    async def do_end(self) -> None:
        """See what was decided."""
        from tui.screens.merge_end import MergeEndScreen

        await self.app.switch_screen(MergeEndScreen(self.merge))

    @property
    def _lines(self) -> list[str]:
        return summary_lines(self.desk.merging, self.desk.facts)

    def _show(self) -> None:
        for shown in self.query("#summary").results(Static):
            width, room = max(shown.size.width, 20), max(shown.size.height, 3)
            rows = [
                part
                for line in self._lines
                for part in wrap(line, width, subsequent_indent="  ", break_on_hyphens=False)
                or [""]
            ]
            left = len(rows) - room
            if left > 0:
                rows = [*rows[: room - 1], say("F5 shows {count} more lines.", count=left + 1)]
            shown.update(Content("\n".join(rows)))
        count = len(self.desk.items)
        told = (
            say("Enter goes through what only you can see to: {count}.", count=count)
            if count
            else say("Nothing is open. Enter: carry back.")
        )
        self.say(told)


def fault_words(error: FitError | OSError) -> str:
    """Return what went wrong, and the mend."""
    if isinstance(error, FitError):
        return f"{error.problem.text} {error.problem.mend}"
    return say(
        "A stick cannot be read: {error}. Leave it in, or merge without it.",
        error=error.strerror or type(error).__name__,
    )


def progress_words(words: str, percent: int) -> str:
    """Return how far the work is, as words and as a bar."""
    full = _BAR * percent // 100
    return f"{words}  {'█' * full}{'░' * (_BAR - full)}  {percent} %"


def _drives(
    drives: Callable[[], Sequence[Path]] | None, data: Path
) -> Mapping[Path, Sequence[str]]:
    found = drives() if drives is not None else []
    return {path: data_folders_on(path) for path in folders_of(found, data)}


def _short(path: str) -> str:
    """Return a path that fits a line at 80 columns; its end tells folders apart."""
    return path if len(path) <= 76 else "…" + path[-75:]
