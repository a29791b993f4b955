"""The merge desk's door: which sticks, how far the merge is, and what it came to on one page."""

from __future__ import annotations

import asyncio
from textwrap import wrap
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.clean_text import visible
from fitcore.problems import FitError, ProfileError
from fitcore.words import say
from tui.merge_desk import MergeDesk
from tui.merge_words import missing_words, summary_lines
from tui.merge_work import MergeWork
from tui.screens.merge_pages import Merge, MergePage, StickPage, progress_words
from tui.widgets.bars import TopBar
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from textual import events
    from textual.widget import Widget

    from tui.app import AnklefirstApp


async def open_merge_desk(app: AnklefirstApp) -> None:
    """Open the desk on the open data folder, once its sessions are read."""
    await app.sessions_read.wait()
    try:
        rules = (await app.load_profiles()).rules
    except ProfileError:
        rules = None  # merging goes on; the summary says that stops were not looked for
    desk = MergeDesk(who=app.folder.laptop.measurer, seen=app.at_merge_desk.seen)
    await app.switch_screen(
        MergeDeskScreen(Merge(desk, MergeWork(app.folder, app.surroundings, rules)))
    )


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
        try:
            self.desk.merging = await asyncio.to_thread(self.work.merge, sticks, progress)
        except (FitError, OSError):
            await self.look()  # a stick may be gone: it is not offered any more
            raise
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
        return summary_lines(self.desk.merging, self.desk.facts, self.desk.seen)

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
        count, missing = len(self.desk.items), missing_words(self.desk.facts)
        if count:
            told = say("Enter goes through what only you can see to: {count}.", count=count)
        elif missing:
            told = say(
                "Nothing to answer; still missing: {missing}. Enter: carry back.", missing=missing
            )
        else:
            told = say("Nothing is open. Enter: carry back.")
        self.say(told)


def _short(path: str) -> str:
    """Return a path that fits a line at 80 columns; its end tells folders apart."""
    return path if len(path) <= 76 else "…" + path[-75:]
