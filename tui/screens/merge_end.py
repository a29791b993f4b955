"""The end of the day: what was decided, by whom, what is left open, and back to the laptops."""

from __future__ import annotations

import asyncio
from textwrap import wrap
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.clean_text import visible
from fitcore.problems import FitError
from fitcore.words import say
from tui.merge_words import carried_lines, decided_lines, left_words
from tui.merge_work import StoppedError
from tui.screens.merge_pages import StickPage, fault_words, progress_words
from tui.widgets.bars import TopBar
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from textual import events
    from textual.widget import Widget

    from fitcore.disk.carrying_back import CarriedBack

_OTHER_ROWS = 15
"""Bars, headings, the sticks and the message."""
_MOST_STOPS = 3
"""Stops named at the top of the page; more are counted (ours)."""


class MergeEndScreen(StickPage):
    """What was decided, and carrying it back."""

    KEYMAP = "merge_end"

    def compose_body(self) -> Iterable[Widget]:
        """Return what was decided, and the sticks."""
        yield Static(id="title")
        yield Static(id="decided")
        yield Static(id="heading")
        yield from self.stick_parts()

    async def on_mount(self) -> None:
        """Show what was decided, and look for sticks."""
        self.query_one(TopBar).show(say("Merge desk"), say("Decided today"))
        heading = say("Carry it back: mark the sticks for the laptops, then Enter.")
        self.query_one("#heading", Static).update(Content.styled(heading, "bold"))
        self.set_focus(self.query_one(TypedLine))
        self.call_after_refresh(self._show)
        await self.look()

    def on_resize(self, event: events.Resize) -> None:
        """Draw again: more or fewer lines fit."""
        super().on_resize(event)
        self.call_after_refresh(self._show)

    async def do_accept(self) -> None:
        """Take a typed folder; else carry back to what is marked."""
        if not self.idle.is_set():
            self.say(say("Carrying back still runs. Leave the stick in. Esc stops it."))
        elif await self.take_typed():
            return
        elif self.sticks.marked:
            sticks = list(self.sticks.marked)
            self.say(progress_words(say("Carrying back"), 0))
            self.begin(lambda: self._carry_back(sticks))
        else:
            self.say(say("Mark a stick with Space first, or type a folder."), doubt=True)

    async def do_whole(self) -> None:
        """Show everything that was decided."""
        from tui.screens.text import TextScreen

        text = Content("\n".join(self._decided() or [say("Nothing was decided today.")]))
        await self.app.push_screen(TextScreen(say("Decided today at this laptop"), text))

    async def do_undo(self) -> None:
        """Take the last answer back."""
        if self.idle.is_set() and await self.take_back_last():
            self._show()

    async def do_questions(self) -> None:
        """Go back to what is open."""
        from tui.screens.merge_questions import MergeQuestionsScreen

        if self.idle.is_set():
            await self.app.switch_screen(MergeQuestionsScreen(self.merge))

    async def _carry_back(self, sticks: Sequence[Path]) -> None:
        outcomes: list[tuple[Path, CarriedBack | str]] = []
        for stick in sticks:
            words = say("Carrying back to {stick}", stick=visible(stick.name or str(stick)))
            try:
                carried = await asyncio.to_thread(self.work.carry_back, stick, self.watcher(words))
            except StoppedError:
                raise
            except (FitError, OSError) as error:  # the other sticks are written all the same
                outcomes.append((stick, fault_words(error)))
            else:
                outcomes.append((stick, carried))
        told = carried_lines(outcomes, self.desk_app.folder.path)
        # The last step of the progress line is on its way to the screen: this must follow it.
        asyncio.get_running_loop().call_soon(self.say, "\n".join(told))
        await self.look()

    def _decided(self) -> list[str]:
        app = self.desk_app
        return decided_lines(self.desk.facts, app.folder.laptop.id, app.now().date())

    def _show(self) -> None:
        if not self.is_attached or not self.query("#title"):
            return
        rows = self._decided()
        left = left_words(self.desk.facts, len(self.desk.items))
        titles = [say("! Not passed on yet (F7): {stop}", stop=s.title) for s in self.desk.stops]
        if len(titles) > _MOST_STOPS:
            more = say("! And {count} more stops.", count=len(titles) - _MOST_STOPS + 1)
            titles = [*titles[: _MOST_STOPS - 1], more]
        titles.append(
            say("Decided today at this laptop: {count}. {left}", count=len(rows), left=left)
        )
        self.query_one("#title", Static).update(Content.styled("\n".join(titles), "bold"))
        width = max(self.size.width - 2, 20)
        above = sum(len(wrap(title, width)) for title in titles) - 1
        rows = [part for row in rows for part in wrap(row, width, subsequent_indent="  ")]
        room = max(self.size.height - _OTHER_ROWS - above, 3)
        if len(rows) > room:
            more = say("F6 shows {count} more lines.", count=len(rows) - room + 1)
            rows = [*rows[: room - 1], more]
        self.query_one("#decided", Static).update(Content("\n".join(rows)))
