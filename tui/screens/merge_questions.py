"""One open item at a time: what it is about, its values side by side, and the answer to it."""

from __future__ import annotations

import asyncio
from textwrap import wrap
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.clean_text import visible
from fitcore.disk.screening_files import load_screening
from fitcore.moment.wrong_clocks import parse_right_time
from fitcore.problems import FitError
from fitcore.words import say
from tui.answers import Told, parse_value
from tui.merge_desk import NOTHING, Given
from tui.merge_item import LATER
from tui.merge_words import missing_words
from tui.screens.merge_desk import MergeSummaryScreen
from tui.screens.merge_pages import MergePage, fault_words
from tui.screens.reason import ConfirmScreen, ReasonScreen
from tui.side_by_side import Block, side_by_side
from tui.widgets.bars import TopBar
from tui.wording.questions import and_alike, given_words, question_words

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable, Sequence

    from textual import events
    from textual.widget import Widget

    from fitcore.record.entries import Value
    from fitcore.safety.screening_book import ScreeningBook
    from tui.answers import Answer
    from tui.merge_item import Item
    from tui.screens.merge_pages import Merge

_FEWEST_VALUE_ROWS = 8
"""Rows kept for the values: a heading and all that is told of one writer."""
_OTHER_ROWS = 7
"""Bars, title, blanks and the message."""


class MergeQuestionsScreen(MergePage):
    """What only a person can see to."""

    KEYMAP = "merge_questions"

    def __init__(self, merge: Merge) -> None:
        super().__init__(merge)
        self._digit = NOTHING
        self._last_why: dict[str, str] = {}
        """The reason given last, by the kind of item: the next one often has the same."""

    def compose_body(self) -> Iterable[Widget]:
        """Return title, what to know, values, and what there is to say."""
        yield Static(id="title")
        yield Static(id="about")
        yield Static(id="values")
        yield Static(id="message")

    def on_mount(self) -> None:
        """Show the first item."""
        self.call_after_refresh(self._draw)

    def on_resize(self, event: events.Resize) -> None:
        """Draw again: the window has another size."""
        super().on_resize(event)
        self.call_after_refresh(self._draw)

    async def take_key(self, event: events.Key) -> None:
        """Note which number it was, if it was one."""
        sign = event.character or ""
        self._digit = int(sign) - 1 if sign.isascii() and sign.isdigit() else NOTHING
        await super().take_key(event)

    # --- going about -------------------------------------------------------------------------

    async def do_up(self) -> None:
        """Go to the item before."""
        self._go(-1)

    async def do_down(self) -> None:
        """Go to the next item; it is not put off."""
        self._go(1)

    async def do_left(self) -> None:
        """Mark the value before."""
        self.desk.mark_next(-1)
        self._draw()
        self.say("")

    async def do_right(self) -> None:
        """Mark the next value."""
        self.desk.mark_next(1)
        self._draw()
        self.say("")

    async def do_number(self) -> None:
        """Mark the value of a number."""
        if self.desk.mark(self._digit):
            self._draw()
            self.say("")
        else:
            self.say(say("There is no value of that number."), doubt=True)

    async def do_later(self) -> None:
        """Put the item off."""
        moved = self.desk.put_off_item()
        self._draw()
        self.say(say("Put off; it stays open.") if moved else say("All that is left is put off."))

    async def do_summary(self) -> None:
        """Show the summary again."""
        await self.app.switch_screen(MergeSummaryScreen(self.merge))

    async def do_end(self) -> None:
        """See what was decided."""
        from tui.screens.merge_end import MergeEndScreen

        await self.app.switch_screen(MergeEndScreen(self.merge))

    async def do_whole(self) -> None:
        """Show all of an item."""
        from tui.screens.text import TextScreen

        item = self.desk.item
        if item is not None:
            rows = [item.title, "", *item.lines]
            for number, choice in enumerate(item.choices, 1):
                rows += ["", f"{number} {choice.title}", *(f"  {line}" for line in choice.lines)]
            await self.app.push_screen(TextScreen(say("All of it"), Content("\n".join(rows))))

    async def do_who(self) -> None:
        """Say who answers."""
        await self._ask_who(self._nothing_more)

    # --- answering ---------------------------------------------------------------------------

    async def do_accept(self) -> None:
        """Answer with the marked value."""
        item = self.desk.item
        if item is None:
            await self.do_end()
        elif item.kind == "file":
            self.desk.see()
            self._draw()
        elif self.desk.marked == NOTHING:
            self.say(say("Mark a value first: ← → or its number."), doubt=True)
        elif item.kind == "lines":
            await self._answer_lines(item)
        else:
            await self._with_who(lambda: self._ask(item, to_all=False))

    async def _answer_lines(self, item: Item) -> None:
        """Answer for many lines at once, only after they were shown; or put them off."""
        choice = item.choices[self.desk.marked]
        if choice.key == LATER:
            await self.do_later()
            return
        question = say("{title}. {answer}?", title=item.title, answer=choice.title)
        confirm = ConfirmScreen(
            question,
            item.choices[-1].lines,
            lambda: self._with_who(lambda: self._ask(item, to_all=False)),
        )
        await self.app.push_screen(confirm)

    async def do_alike(self) -> None:
        """Answer all questions alike, once they were shown."""
        item, alike = self.desk.item, self.desk.alike()
        if item is None or len(alike) < 2:
            self.say(say("No other open question is like this one."))
            return
        if self.desk.marked == NOTHING:
            self.say(say("Mark a value first: ← → or its number."), doubt=True)
            return
        title = item.choices[self.desk.marked].title
        question = say("Answer these {count} with: {value}?", count=len(alike), value=title)
        lines = [visible(question_words(like, self.desk.facts.questions)) for like in alike]
        confirm = ConfirmScreen(
            question, lines, lambda: self._with_who(lambda: self._ask(item, to_all=True))
        )
        await self.app.push_screen(confirm)

    async def do_undo(self) -> None:
        """Take the last answer back."""
        if await self.take_back_last():
            self._draw()

    async def do_other(self) -> None:
        """Answer with a value nobody brought."""
        item, question = self.desk.item, self.desk.question
        if item is None or question is None or question.kind != "answer":
            self.say(say("Only one of the values shown can be chosen here."))
            return

        async def then(typed: str) -> str:
            at = self.desk_app.now()
            try:
                value = await asyncio.to_thread(parse_value, question, typed, self._book, at)
            except FitError as error:
                return fault_words(error)
            await self._with_who(lambda: self._ask_why_other(item, value))
            return ""

        await self.app.push_screen(ReasonScreen(say("Which value is right?"), (), then))

    async def _ask_why_other(self, item: Item, value: Value) -> None:
        async def then(why: str) -> str:
            def draft() -> list[Answer]:
                told = Told.of(self.desk.who, why, self.desk_app.now())
                return [self.desk.other_answer(value, told)]

            return await self._keep(item, draft, why)

        question = say("{title}. Why?", title=item.title)
        await self.app.push_screen(ReasonScreen(question, self._reasons(item), then))

    async def _ask_time(self, item: Item) -> None:
        """Ask what time it was, then why that is known."""

        async def then(time: str) -> str:
            try:
                parse_right_time(time, self.desk_app.now())
            except FitError as error:
                return fault_words(error)
            await self._ask(item, to_all=False, time=time)
            return ""

        question = say("What date and time was it really? Such as 2026-03-04 15:10")
        await self.app.push_screen(ReasonScreen(question, (), then))

    async def _ask(self, item: Item, *, to_all: bool, time: str = "") -> None:
        """Ask what the answer still needs, then keep it."""
        if item.needs == "time" and not time:
            await self._ask_time(item)
            return

        async def then(typed: str) -> str:
            def draft() -> list[Answer]:
                return self.desk.answers(typed, self.desk_app.now(), to_all=to_all, time=time)

            return await self._keep(item, draft, typed)

        title = item.choices[self.desk.marked].title
        value = and_alike(title, len(self.desk.alike()) if to_all else 1)
        questions = {
            "why": say("{about}: {value}. Why?", about=item.title, value=value),
            "told": say("Who was told, and how?"),
            "time": say("It was {time}. How is that known?", time=time),
        }
        await self.app.push_screen(ReasonScreen(questions[item.needs], self._reasons(item), then))

    async def _keep(self, item: Item, draft: Callable[[], list[Answer]], why: str) -> str:
        """Store an answer at once; return what went wrong."""
        given = Given((), self.desk.who, why, (), item.id)
        try:
            answers = draft()
            facts = await asyncio.to_thread(self.work.store, answers, self.desk.facts, given)
        except FitError as error:
            if given.stored:  # of several alike some are on disk
                self.desk.given.append(given)
                self.desk.show(await asyncio.to_thread(self.work.look_through))
                self._draw()
            return fault_words(error)
        self.desk.given.append(given)
        if item.needs == "why":
            self._last_why[item.kind] = why
        self.desk.show(facts)
        self._draw()
        words = given_words(given.words)
        self.say(say("Saved: {words} F4 takes it back.", words=words))
        return ""

    async def _with_who(self, then: Callable[[], Awaitable[None]]) -> None:
        """Ask who answers where nobody is named yet."""
        if self.desk.who:
            await then()
        else:
            await self._ask_who(then)

    async def _ask_who(self, then: Callable[[], Awaitable[None]]) -> None:
        async def take(who: str) -> str:
            self.desk.who = who
            self._draw()
            await then()
            return ""

        question = say("Who answers? (staff code, never a name)")
        await self.app.push_screen(ReasonScreen(question, (), take))

    async def _nothing_more(self) -> None:
        self.say(say("Answers are by {who} from now on.", who=self.desk.who))

    def _book(self) -> ScreeningBook:
        return load_screening(self.desk_app.data)[0]

    def _reasons(self, item: Item) -> Sequence[str]:
        usual = {
            "stop": (
                say("doctor, by telephone"),
                say("prescriber, by telephone"),
                say("whoever ordered, by telephone"),
                say("client, who takes nothing on and will see the doctor"),
            ),
            "codes": (say("asked the client"), say("looked at the service's list")),
            "changed": (say("asked who changed it"), say("nobody knows who changed it")),
            "lines": (say("that laptop is lost"), say("asked who wrote them")),
            "clock": (say("asked who measured"), say("by the list of visits")),
        }.get(item.kind, (say("phoned who measured"), say("asked the client"), say("read again")))
        first = [self._last_why[item.kind]] if item.kind in self._last_why else []
        return [*first, *(why for why in usual if why not in first)]

    # --- drawing -----------------------------------------------------------------------------

    def _go(self, by: int) -> None:
        self.desk.move(by)
        self._draw()
        self.say("")

    def _draw(self) -> None:
        if not self.is_attached or not self.query("#title"):
            return
        desk, item = self.desk, self.desk.item
        number, count = desk.place
        later = say("{count} put off", count=desk.put_off) if desk.put_off else ""
        self.query_one(TopBar).show(
            say("Merge desk"),
            say("{number} of {count} open", number=number, count=count) if count else "",
            later,
            say("answers by {who}", who=desk.who or "?"),
        )
        title, about, values = (
            self.query_one(f"#{name}", Static) for name in ("title", "about", "values")
        )
        if item is None:
            missing = missing_words(desk.facts)
            told = say("Nothing to answer; still missing: {missing}.", missing=missing)
            done = told if missing else say("Nothing is open any more.")
            title.update(Content.styled(done, "bold"))
            about.update(Content(say("Enter shows what was decided, and carries it back.")))
            values.update("")
            return
        sign = say("  (put off)") if desk.is_put_off(item) else ""
        title.update(Content.styled(f"{item.title}{sign}", "bold"))
        width = max(self.size.width - 2, 20)
        height = self.size.height - max(len(wrap(f"{item.title}{sign}", width)) - 1, 0)
        about.update(self._about_content(item, width, height))
        self._draw_values(item, values, width, height)

    def _about_rows(self, item: Item, width: int, height: int) -> list[str]:
        """Return what to know before choosing, as much as leaves room for the values."""
        rows = [
            part
            for line in item.lines
            for part in wrap(line, width, subsequent_indent="  ", break_on_hyphens=False)
        ]
        room = max(height - _OTHER_ROWS - _FEWEST_VALUE_ROWS, 1)
        if item.kind in ("stop", "clock", "file"):  # their one answer needs few rows
            room += _FEWEST_VALUE_ROWS - 3
        if len(rows) > room:
            rows = [*rows[: room - 1], say("F5 shows {count} more.", count=len(rows) - room + 1)]
        return rows

    def _about_content(self, item: Item, width: int, height: int) -> Content:
        rows = self._about_rows(item, width, height)
        parts: list[tuple[str, str]] = []
        for row in rows:
            parts += [(row, "bold" if row.startswith("!") else ""), ("\n", "")]
        return Content.assemble(*parts[:-1])

    def _draw_values(self, item: Item, values: Static, width: int, height: int) -> None:
        room = max(height - _OTHER_ROWS - len(self._about_rows(item, width, height)), 3)
        blocks = [Block(choice.title, choice.lines) for choice in item.choices]
        rows, _ = side_by_side(blocks, self.desk.marked, width, room)
        parts: list[tuple[str, str]] = []
        for row in rows:
            start, end = row.marked or (0, 0)
            parts += [
                (row.text[:start], ""),
                (row.text[start:end], "reverse bold"),
                (row.text[end:], ""),
                ("\n", ""),
            ]
        values.update(Content.assemble(*(part for part in parts[:-1] if part[0])))
