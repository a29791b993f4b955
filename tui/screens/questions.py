"""A page of questions: screening, the prescription, blood pressures, a decision, an assessment."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.content import Content
from textual.widgets import Static

from fitcore.points import side_words
from fitcore.problems import FitError
from fitcore.safety.outcomes import first_words
from fitcore.words import say
from tui.keymap import find_action
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import PickList

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable, Mapping

    from textual import events
    from textual.widget import Widget

    from fitcore.record.entries import Value
    from tui.desk import Desk
    from tui.question_form import Ask, QuestionForm

_COLUMNS = 76
"""Cells of a line beside its mark, at 80 columns."""
_SIDE_COLUMNS = 7
_LEAST_ANSWER, _MOST_ANSWER = 9, 26


class QuestionsScreen(WorkScreen):
    """One page; Enter goes on when every line is answered, and never answers one."""

    CSS_PATH = "questions.tcss"

    def __init__(
        self,
        desk: Desk,
        form: QuestionForm,
        heading: str,
        *,
        title: str = "",
        save: Callable[[Mapping[str, Value]], None],
        then: Callable[[], Awaitable[None]],
        back: Callable[[], Awaitable[None]] | None = None,
        keep: Callable[[Mapping[str, Value]], None] | None = None,
        urgent: Callable[[Mapping[str, Value]], str] = lambda _: "",
    ) -> None:
        """Lay out a page.

        Args:
            desk: the open session.
            form: its lines and answers.
            heading: what the page is about.
            title: the page's name in the top line, where it is not screening.
            save: stores the answers; it blocks and may raise FitError.
            then: where to go once they are stored.
            back: where Esc leads; to the start where there is no such place.
            keep: stores what was answered line by line where the page is left open.
            urgent: what must be done now, by the answers so far; it heads the page at once.
        """
        super().__init__()
        self.desk = desk
        self.form = form
        self.KEYMAP = "first_page" if form.all_none else "questions"
        self._heading, self._title = heading, title or say("May it be fitted?")
        self._save, self._then, self._back, self._keep = save, then, back, keep
        self._urgent = urgent
        self._drawn = False

    def compose_body(self) -> Iterable[Widget]:
        """Return the heading, the lines, and the marked question whole."""
        yield Static(id="heading")
        yield PickList(id="lines")
        yield Static(id="ask")
        yield Static(id="message")

    def on_mount(self) -> None:
        """Show the page."""
        self.query_one(TopBar).show(
            self._title, self.desk.client, say("by {who}", who=self.desk.measurer)
        )
        self.call_after_refresh(self._draw_first)

    async def take_key(self, event: events.Key) -> None:
        """Take an answer or part of one; everything else as an action."""
        if self.too_small:
            return
        sign = event.character or ""
        if event.key == "backspace":
            self.form.erase()
            self._draw()
        elif event.is_printable and sign:
            typed_line = self.form.line.parse is not None
            action = None if typed_line else find_action(self.KEYMAP, event.key)
            if action is not None:
                await getattr(self, f"do_{action.name}")()
            else:
                self._draw(self.form.type(sign))
        else:
            await super().take_key(event)

    def take_paste(self, text: str) -> None:
        """Take pasted text into a typed line, as if it were typed."""
        fault = ""
        if not self.too_small and self.form.line.parse is not None:
            for sign in text.splitlines()[0] if text else "":
                fault = fault or self.form.type(sign)
        self._draw(fault)

    async def do_accept(self) -> None:
        """Go on: to the next open line, or store the page and leave it.

        In an emergency it is left with what was answered: the other lines can wait.
        """
        complete, fault = self.form.accept()
        urgent = self._urgent(self.form.answers())
        if not (complete or urgent):
            self._draw(fault)
            return
        told = self.form.answers() if complete else self.form.answers_by_hand()
        try:
            await asyncio.to_thread(self._save, told)
        except FitError as error:
            self._draw(f"{error.problem.text} {error.problem.mend}")
            return
        await self._then()

    async def do_yes(self) -> None:
        """Answer yes."""
        self._draw(self.form.type("y"))

    async def do_no(self) -> None:
        """Answer no."""
        self._draw(self.form.type("n"))

    async def do_unknown(self) -> None:
        """Answer that nobody knows."""
        self._draw(self.form.type("?"))

    async def do_all_none(self) -> None:
        """Say that every open line was asked and none of it holds."""
        self.form.answer_rest_no()
        self._draw(say("Every open line: asked, no. Look once more; Enter goes on."))

    async def do_up(self) -> None:
        """Go to the line above."""
        self._draw(self.form.move(-1))

    async def do_down(self) -> None:
        """Go to the line below."""
        self._draw(self.form.move(1))

    async def do_leave(self) -> None:
        """Leave the page; what was answered line by line is kept."""
        if not await self.pause():
            return
        if self._back is not None:
            await self._back()
        else:
            await self.desk_app.show_start()

    async def pause(self) -> bool:
        """Keep what was answered line by line; whether that could be written."""
        answers = self.form.answers_by_hand()
        if self._keep is None or (not answers and not self.desk.session.entries):
            return True
        try:
            await asyncio.to_thread(self._keep, answers)
        except FitError as error:
            self._draw(f"{error.problem.text} {error.problem.mend}")
            return False
        return True

    # -----------------------------------------------------------------------------------------

    def _draw_first(self) -> None:
        """Draw once there is room; not over what was said of a key typed ahead."""
        if not self._drawn:
            self._draw()

    def _draw(self, fault: str = "") -> None:
        self._drawn = True
        lines = self.form.lines
        words = [self.form.words(line) for line in lines]
        longest = max((cell_len(word) for word in words), default=0)
        wide = max(_LEAST_ANSWER, min(_MOST_ANSWER, longest + 1))
        sided = any(line.side is not None for line in lines)
        shown = [
            self._row(line, word, wide, sided=sided)
            for line, word in zip(lines, words, strict=True)
        ]
        self.query_one(PickList).show(shown, min(self.form.at, len(lines) - 1))
        self.query_one("#heading", Static).update(self._heading_content())
        self.query_one("#ask", Static).update(self._ask_content(self.form.line))
        self.query_one("#message", Static).update(
            Content.styled(f"! {fault}" if fault else "", "bold $warning")
        )

    def _heading_content(self) -> Content:
        urgent = self._urgent(self.form.answers())
        if urgent:
            rest = say("Enter leaves the questions here: the rest can wait.")
            return Content.assemble((f" !! {urgent} ", "bold reverse"), f"\n{rest}")
        told = say("Shift+N: all asked, none.") if self.form.all_none else ""
        return Content.assemble((self._heading, "bold"), f"  {told}\n", (first_words(), "dim"))

    def _row(self, line: Ask, answer: str, wide: int, *, sided: bool) -> str:
        side = side_words(line.side) if line.side is not None else ""
        before = set_cell_size(side, _SIDE_COLUMNS) if sided else ""
        room = _COLUMNS - len(before) - wide
        return before + _cut(line.text, room - 1) + " " + _cut(answer, wide).rstrip()

    def _ask_content(self, line: Ask) -> Content:
        side = f"{side_words(line.side)}: " if line.side is not None else ""
        parts: list[str | tuple[str, str]] = [(f"{side}{line.text}", "bold"), "\n"]
        if line.parse is not None:
            parts += [(f"> {self.form.typed(line)}_", "bold"), "  ", (line.hint, "dim")]
        elif line.is_yes_no:
            parts.append(say("y yes    n no    ? nobody knows"))
        else:
            numbered = [f"{number} {words}" for number, (_, words) in enumerate(line.choices, 1)]
            numbered += [say("? not known")] if line.knows_unknown else []
            parts.append("   ".join(numbered))
        return Content.assemble(*parts)


def _cut(text: str, columns: int) -> str:
    """Return a text in so many cells; one cut short ends in a sign and stands whole below."""
    if cell_len(text) > columns:
        return set_cell_size(text, columns - 1) + "…"
    return set_cell_size(text, columns)
