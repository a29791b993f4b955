"""The first run: what the laptop is called and who measures. Two questions, or the demo."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Static

from fitcore.identity import LAPTOP_LABEL
from fitcore.problems import FitError
from fitcore.safety.clearance import cautions
from fitcore.words import say
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual.widget import Widget


class FirstRunScreen(WorkScreen):
    """Names the laptop and the measurer."""

    KEYMAP = "first_run"
    CSS_PATH = "first_run.tcss"

    def compose_body(self) -> Iterable[Widget]:
        """Return the welcome and the two questions."""
        yield Static(
            Content.assemble(
                ("anklefirst", "bold"),
                "  ",
                say("measure the leg, check the reading, find the size"),
                "\n\n",
                say("Two questions, once. Or press F2 to try it on invented clients first."),
            ),
            id="welcome",
        )
        yield Horizontal(
            Static(Content(say("This laptop is called"))),
            TypedLine(id="label", max_length=12),
            classes="line",
        )
        yield Static(Content(say("  A short word your team knows, such as a bird: tern")))
        yield Horizontal(
            Static(Content(say("Measured by"))),
            TypedLine(id="measurer", max_length=40),
            classes="line",
        )
        yield Static(Content(say("  Your staff code, never a name: N-17")))
        yield Static(id="message")
        yield Static(Content(cautions()), id="cautions")

    def on_mount(self) -> None:
        """Start with the laptop's name."""
        self.query_one(TopBar).show(say("Welcome"))
        self.set_focus(self.query_one("#label", TypedLine))

    async def do_up(self) -> None:
        """Go to the first question."""
        self.set_focus(self.query_one("#label", TypedLine))

    async def do_down(self) -> None:
        """Go to the second question."""
        self.set_focus(self.query_one("#measurer", TypedLine))

    async def do_demo(self) -> None:
        """Open the demo instead."""
        self.app.exit(DEMO_WANTED)

    async def do_accept(self) -> None:
        """Go on; with both answers, open the folder."""
        label = self.query_one("#label", TypedLine)
        measurer = self.query_one("#measurer", TypedLine)
        if not LAPTOP_LABEL.fullmatch(label.text.casefold()):
            self.set_focus(label)
            self._say(say("Use up to 12 letters or digits, a letter first: tern, bag2."))
        elif not measurer.text:
            self.set_focus(measurer)
            self._say("")
        else:
            try:
                await asyncio.to_thread(
                    self.desk_app.open_folder,
                    label.text.casefold(),
                    measurer.text,
                )
            except FitError as error:
                self._say(f"{error.problem.text} {error.problem.mend}")
                return
            await self.desk_app.show_start()

    def _say(self, text: str) -> None:
        self.query_one("#message", Static).update(
            Content.styled(f"! {text}" if text else "", "bold $warning")
        )


DEMO_WANTED = -1
"""What the application returns when the demo was asked for on the first run."""
