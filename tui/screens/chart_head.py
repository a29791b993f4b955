"""What the leaflet says beside its table: one page of questions, kept line by line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.content import Content
from textual.widgets import Static

from fitcore.words import say
from tui.chart_head_reading import NOT_KNOWN
from tui.screens.work_screen import WorkScreen
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import PickList
from tui.widgets.typed_line import clean_typed

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable, Mapping

    from textual import events
    from textual.widget import Widget

    from fitcore.record.entries import Value
    from tui.question_form import Ask, QuestionForm

_QUESTION_COLUMNS = 44


class ChartHeadScreen(WorkScreen):
    """Maker, garment, source and the rest; Enter goes on where everything needed is said."""

    KEYMAP = "chart_head"
    CSS_PATH = "chart_head.tcss"

    def __init__(
        self,
        title: str,
        form: QuestionForm,
        *,
        keep: Callable[[Mapping[str, Value]], Awaitable[None]],
        then: Callable[[], Awaitable[None]],
    ) -> None:
        """Lay out the page.

        Args:
            title: the chart's.
            form: its lines and answers.
            keep: stores the answers so far.
            then: where to go once everything needed is said; after Esc the table is shown.
        """
        super().__init__()
        self._title, self._form, self._keep, self._then = title, form, keep, then
        self._drawn = False

    def compose_body(self) -> Iterable[Widget]:
        """Return the lines, and the marked one whole."""
        yield PickList(id="lines")
        yield Static(id="ask")
        yield Static(id="message")

    def on_mount(self) -> None:
        """Show the page."""
        self.query_one(TopBar).show(say("The leaflet"), self._title)
        self.call_after_refresh(self._draw_first)

    async def take_key(self, event: events.Key) -> None:
        """Take an answer or part of one; everything else as an action."""
        sign = event.character or ""
        if self.too_small:
            return
        if event.key == "backspace":
            self._form.erase()
            self._draw()
        elif event.is_printable and sign:
            self._draw(self._form.type(clean_typed(sign)))
        else:
            await super().take_key(event)

    def take_paste(self, text: str) -> None:
        """Take pasted text into a typed line, as if it were typed."""
        fault = ""
        if not self.too_small and self._form.line.parse is not None:
            for sign in text.splitlines()[0] if text else "":
                fault = fault or self._form.type(clean_typed(sign))
        self._draw(fault)

    async def do_accept(self) -> None:
        """Go on: to the next line that is open, or with the table."""
        complete, fault = self._form.accept()
        if complete:
            await self._end()
        else:
            self._draw(fault)

    async def do_done(self) -> None:
        """Go on with the table; what may stay open is left so."""
        fault = self._form.move(0)
        if not fault and not self._form.open_count:
            await self._end()
        elif fault:
            self._draw(fault)
        else:
            self._draw(self._form.accept()[1])

    async def do_up(self) -> None:
        """Go to the line above."""
        self._draw(self._form.move(-1))

    async def do_down(self) -> None:
        """Go to the line below."""
        self._draw(self._form.move(1))

    async def do_leave(self) -> None:
        """Go back to the table."""
        await self.pause()
        await self.app.pop_screen()

    async def pause(self) -> bool:
        """Keep the answers so far."""
        self._form.answers_by_hand()  # takes what is half typed along, where it is an answer
        await self._keep(self._form.answers())
        return True

    async def _end(self) -> None:
        await self._keep(self._form.answers())
        await self.app.pop_screen()
        await self._then()

    def _draw_first(self) -> None:
        """Draw once there is room; not over what was said of a key typed ahead."""
        if not self._drawn:
            self._draw()

    def _draw(self, fault: str = "") -> None:
        self._drawn = True
        form = self._form
        lines = form.lines
        shown = [
            f"{set_cell_size(_cut(line.text, _QUESTION_COLUMNS - 1), _QUESTION_COLUMNS)}"
            f"{self._answer_words(line)}"
            for line in lines
        ]
        self.query_one(PickList).show(shown, min(form.at, len(lines) - 1))
        self.query_one("#ask", Static).update(self._ask_content(form.line))
        self.query_one("#message", Static).update(
            Content.styled(f"! {fault}" if fault else "", "bold $warning")
        )

    def _answer_words(self, line: Ask) -> str:
        """Return a line's answer; what is only proposed, or not known, is marked so."""
        words = self._form.words(line)
        if not words:
            return "" if line.may_stay_open else "?"
        if words == NOT_KNOWN:
            return say("? not known")
        proposed = self._form.answer(line) is None and words == line.proposed
        return say("? {words} (not confirmed)", words=words) if proposed else words

    def _ask_content(self, line: Ask) -> Content:
        parts: list[str | tuple[str, str]] = [(line.text, "bold")]
        if line.may_stay_open:
            parts.append(say("  (may stay open)"))
        if line.parse is not None:
            parts += ["\n", (f"> {self._form.typed(line)}_", "bold"), "  ", line.hint]
        else:
            numbered = [f"{number} {words}" for number, (_, words) in enumerate(line.choices, 1)]
            parts += ["\n", "   ".join(numbered)]
        return Content.assemble(*parts)


def _cut(text: str, columns: int) -> str:
    return set_cell_size(text, columns - 1) + "…" if cell_len(text) > columns else text
