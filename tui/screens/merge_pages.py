"""What all pages of the merge desk share: their work, the foot of the page, a list of sticks."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Static

from fitcore.clean_text import visible
from fitcore.disk.drives import data_folders_on
from fitcore.merge.late_stops import LateStop
from fitcore.problems import FitError
from fitcore.words import say
from tui.merge_work import MergeWork, folders_of
from tui.screens.work_screen import WorkScreen
from tui.stick_list import StickList
from tui.widgets.pick_list import PickList
from tui.widgets.typed_line import TypedLine
from tui.wording.questions import given_words

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence

    from textual.widget import Widget

    from tui.merge_desk import MergeDesk

_BAR = 30
"""Signs of the line that shows how far the work is."""


@dataclass(frozen=True)
class Merge:
    """What all pages of the desk share."""

    desk: MergeDesk
    work: MergeWork
    sticks: StickList = field(default_factory=StickList)


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
        if self.desk.is_shown:
            stops = [item.subject for item in self.desk.stops]
            codes = [late.codes for late in stops if isinstance(late, LateStop)]
            self.desk_app.at_merge_desk.know(codes, len(self.desk.items))
        self.desk_app.sessions_read.clear()
        await self.desk_app.show_start()

    async def take_back_last(self) -> bool:
        """Take the last answer back; whether that was done. What came of it is said."""
        given = self.desk.last_given
        if given is None:
            told = say("Nothing was answered since this desk was opened. Older ones: withdraw.")
            self.say(told)
            return False
        try:
            facts = await asyncio.to_thread(self.work.take_back, given, self.desk.who)
        except FitError as error:
            self.fault(error)
            return False
        self.desk.show(facts)
        self.desk.go_to(given.about)
        words = given_words(given.words)
        told = say("Taken back; both lines are kept: {words}", words=words)
        several = say("Taken back; all lines are kept: {words}", words=words)
        self.say(several if len(given.words) > 1 else told)
        return True

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
        """Offer what is there now: what is plugged in, and typed folders that are not gone."""
        drives, data = self.desk_app.surroundings.drives, self.desk_app.data
        found = await asyncio.to_thread(_drives, drives, data)
        typed = await asyncio.to_thread(_there, self.sticks.typed)
        self.sticks.offer(found, typed)
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
        """Look for sticks plugged in since, and for those that are gone."""
        if not self.idle.is_set():
            return
        before = list(self.sticks.folders)
        await self.look()
        told = [
            say("{stick} is gone.", stick=visible(str(stick)))
            for stick in before
            if stick not in self.sticks.folders
        ]
        if not self.sticks.folders:
            told.append(say("Nothing is plugged in. Type a folder instead."))
        self.say(" ".join(told))

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
        line.value = ""  # else the next one would be typed behind a refused one
        if not await asyncio.to_thread(path.is_dir):
            self.say(say("No folder here: {path}", path=visible(str(path))), doubt=True)
        elif not await asyncio.to_thread(folders_of, [path], self.desk_app.data):
            told = say(
                "This is the open data folder itself; it is no stick: {path}",
                path=visible(str(path)),
            )
            self.say(told, doubt=True)
        else:
            names = await asyncio.to_thread(data_folders_on, path)
            self.say("")
            self.show_sticks(self.sticks.add(path, names))
        return True


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


def _there(folders: Iterable[Path]) -> Mapping[Path, Sequence[str]]:
    return {path: data_folders_on(path) for path in folders if path.is_dir()}
