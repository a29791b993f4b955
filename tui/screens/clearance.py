"""May it be fitted? Each leg's answer, every rule behind it, and what a person can do about it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content
from textual.widgets import Static

from fitcore.safety.outcomes import Action, Urgency
from fitcore.words import say
from tui.clearance_view import advice, is_stopped, legs_content, rule_content, rule_lines
from tui.desk_screening import (
    assessment_form,
    decidable_sides,
    decision_form,
    replaceable,
    store_assessment,
    store_decision,
)
from tui.screening_stages import Stage, has_lines, next_stage
from tui.screens.ending_screen import EndingScreen
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import PickList

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from textual.widget import Widget

    from fitcore.record.entries import Value
    from fitcore.safety.outcomes import FiredRule
    from tui.desk import Desk
    from tui.question_form import QuestionForm


class ClearanceScreen(EndingScreen):
    """What screening found."""

    KEYMAP = "clearance"
    CSS_PATH = "clearance.tcss"
    FAULT_PLACE = "#fault"

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._clearance = desk.clearance
        self._rules = self._clearance.result.rules

    def compose_body(self) -> Iterable[Widget]:
        """Return each leg's answer, what to do, the rules, and one of them whole."""
        yield Static(id="legs")
        yield Static(id="advice")
        yield PickList(id="rules")
        yield Static(id="rule")
        yield Static(id="fault")

    def on_mount(self) -> None:
        """Show what was found."""
        self.query_one(TopBar).show(
            say("May it be fitted?"), self.desk.client, say("by {who}", who=self.desk.measurer)
        )
        self.query_one("#legs", Static).update(legs_content(self._clearance))
        self.query_one("#advice", Static).update(Content.styled(advice(self._clearance), "bold"))
        self.query_one(PickList).show(rule_lines(self._rules), 0)
        self.show_marked()

    def show_marked(self) -> None:
        """Show the marked rule whole."""
        self.query_one("#rule", Static).update(rule_content(self._clearance, self._marked))

    @property
    def _marked(self) -> FiredRule | None:
        index = self.query_one(PickList).index
        return self._rules[index] if 0 <= index < len(self._rules) else None

    # --- actions -----------------------------------------------------------------------------

    async def do_accept(self) -> None:
        """Go on; past a stop only to questions still open, never to measuring by a run of Enter."""
        if is_stopped(self._clearance) and next_stage(self.desk) is None:
            self._say(say("There is a stop. F8 measures what the referral needs; Esc pauses."))
        else:
            await self.do_measure()

    async def do_measure(self) -> None:
        """Go on: to the questions still open, to measuring, or to the result where all is read.

        Not while an emergency has not been passed on: nobody measures first.
        """
        desk = self.desk
        now = self._clearance.result.urgency is Urgency.NOW
        if now and next_stage(desk) is None and not desk.session.answer("told").heads:
            self._say(say("Call first. F6 records who was told; then F8 measures."))
        elif next_stage(desk) is None and not desk.in_setup and desk.all_done:
            await self.desk_app.show_result(desk)
        else:
            await self.desk_app.go_on(desk)

    async def do_decision(self) -> None:
        """Record a prescriber's decision."""
        if not decidable_sides(self.desk):
            self._say(say("There is nothing here that a decision lifts."))
            return
        await self._ask(decision_form(self.desk), say("A prescriber's decision"), store_decision)

    async def do_assessment(self) -> None:
        """Record a new assessment of what the marked hold rests on."""
        rule = self._marked
        if rule is None or rule.action is not Action.HOLD:
            self._say(say("Mark a HOLD first: an assessment replaces the answer it rests on."))
        elif rule.found_in:
            self._say(say("Found in another session: it is assessed anew in that session."))
        elif not replaceable(rule):
            self._say(say("Nothing was answered here yet. F7 goes to the questions."))
        else:
            form = assessment_form(self.desk, rule)
            await self._ask(form, say("A new assessment"), store_assessment)

    async def do_note(self) -> None:
        """Show the referral note."""
        from fitcore.papers.referral import referral_lines
        from tui.screens.text import TextScreen

        lines = referral_lines(self.desk.result(), made_at=self.desk.now())
        await self.app.push_screen(TextScreen(say("Referral note"), Content("\n".join(lines))))

    async def do_told(self) -> None:
        """Record who was told."""
        from tui.screens.reason import ReasonScreen

        question = say("Who was told, and how?")
        choices = (
            say("emergency number"),
            say("doctor, by telephone"),
            say("prescriber, by telephone"),
            say("client, who will see the doctor today"),
        )
        await self.app.push_screen(ReasonScreen(question, choices, self._record_told))

    async def do_pressures(self) -> None:
        """Go to the blood pressures."""
        if has_lines(self.desk, Stage.PRESSURES):
            await self.desk_app.show_questions(self.desk, Stage.PRESSURES)
        else:
            self._say(say("A clot is suspected: take no ABPI."))

    async def do_questions(self) -> None:
        """Go back to the questions."""
        await self.desk_app.show_questions(self.desk, Stage.FIRST)

    # -----------------------------------------------------------------------------------------

    async def _ask(
        self,
        form: QuestionForm,
        heading: str,
        store: Callable[[Desk, Mapping[str, Value]], None],
    ) -> None:
        from tui.screens.questions import QuestionsScreen

        async def again() -> None:
            await self.app.pop_screen()
            await self.desk_app.show_clearance(self.desk)

        page = QuestionsScreen(
            self.desk,
            form,
            heading,
            save=lambda told: store(self.desk, told),
            then=again,
            back=again,
        )
        await self.app.push_screen(page)

    async def _record_told(self, who: str) -> str:
        saved = await self.write(lambda: self.desk.answer({"told": who}))
        if saved:
            self._say(say("Saved: {who}.", who=who))
        return ""

    def _say(self, text: str) -> None:
        self.query_one(self.FAULT_PLACE, Static).update(Content(text))
