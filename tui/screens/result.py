"""The result: each chart's answer for each leg, with reasons, and whether it may be offered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.content import Content
from textual.widgets import Static

from fitcore.papers.leg_profile import garment_words, leg_profile
from fitcore.points import place_words, side_words
from fitcore.pressures.pressure_drawing import draw_profile
from fitcore.ranking import RankedChart, rank_charts
from fitcore.safety.shape import is_asked
from fitcore.shoes import system_words
from fitcore.units import plain, show_cm
from fitcore.words import say
from tui.desk_again import go_to_measure
from tui.desk_charts import toggle_favourite
from tui.measured_when import MeasuredWhen, known_clocks, measured_when
from tui.result_words import (
    cell_words,
    margin_words,
    morning_line,
    note_lines,
    offer_words,
    verdict_words,
)
from tui.screens.ending_screen import EndingScreen
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import PickList
from tui.widgets.typed_line import clean_typed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from textual import events
    from textual.widget import Widget

    from fitcore.fit import SessionFit
    from fitcore.leg_fit import ChartFit, LegFit
    from fitcore.pair_fit import PairFit
    from tui.desk import Desk

_COLUMNS = 78
_NOTE_COLUMNS = 66
"""Cells a wrapped row of notes surely fills; words do not break."""
_LEAST_LEG_COLUMNS = 12
MOST_NOTE_ROWS = 5
"""Rows of notes below the reasons; F3 shows all."""
_LEAST_CHART_ROWS, _LEAST_HEIGHT = 6, 24
"""Rows of the list of charts on the lowest screen; of what is higher the list takes two thirds."""


class ResultScreen(EndingScreen):
    """Every chart, every leg."""

    KEYMAP = "result"
    CSS_PATH = "result.tcss"
    FAULT_PLACE = "#flags"

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._fit: SessionFit = desk.result()
        self._when = MeasuredWhen(None)
        self._side_index = 0
        self._rows: Sequence[RankedChart] = ()
        self._search = ""

    def compose_body(self) -> Iterable[Widget]:
        """Return the warning, the charts and the reasons of one of them."""
        yield Static(id="not-cleared")
        yield Static(id="columns")
        yield PickList(id="charts", tells_more=True)
        yield Static(id="reasons")
        yield Static(id="flags")

    def on_mount(self) -> None:
        """Show the result."""
        fit = self._fit
        self._when = measured_when(fit.session, known_clocks(self.desk_app.links))
        self.query_one(TopBar).show(
            say("Result"),
            fit.client,
            self._when.words,
            say("by {who}", who=fit.session.text("measurer") or "?"),
            say("saved"),
        )
        self.query_one("#not-cleared", Static).update(offer_content(fit))
        self._show_charts()

    def _show_charts(self, marked: str = "") -> None:
        """Show the charts that are looked for, best first.

        Args:
            marked: id of the chart to mark; else the first is.
        """
        wanted = self._search.casefold()
        self._rows = [row for row in rank_charts(self._fit) if wanted in _names(row).casefold()]
        legs = "".join(
            set_cell_size(side_words(leg.side), self._leg_width) for leg in self._fit.legs
        )
        count = len(self._rows)
        named = (
            say("Looked for: {text}_ ({count})", text=self._search, count=count)
            if self._search
            else say("Size chart, best first")
        )
        heading = set_cell_size(f"  {named}", self._name_width - 1) + " " + legs
        self.query_one("#columns", Static).update(Content.styled(heading, "bold"))
        ids = [row.chart.id for row in self._rows]
        at = ids.index(marked) if marked in ids else 0
        charts = self.query_one(PickList)
        room = _LEAST_CHART_ROWS + max(0, self.size.height - _LEAST_HEIGHT) * 2 // 3
        charts.styles.height = max(1, min(len(self._rows), room))
        charts.show([self._line(row) for row in self._rows], at)
        self.show_marked()

    def on_resize(self, event: events.Resize) -> None:
        """Show as many charts as there is room for now."""
        super().on_resize(event)
        row = self._marked
        self._show_charts(marked=row.chart.id if row is not None else "")

    @property
    def _marked(self) -> RankedChart | None:
        index = self.query_one(PickList).index
        return self._rows[index] if 0 <= index < len(self._rows) else None

    async def take_key(self, event: events.Key) -> None:
        """Look for a chart by what is typed; everything else is an action."""
        sign = event.character or ""
        if self.too_small or not (event.key == "backspace" or (event.is_printable and sign)):
            await super().take_key(event)
            return
        erased = event.key == "backspace"
        self._search = self._search[:-1] if erased else self._search + clean_typed(sign)
        self._show_charts()

    async def do_leave(self) -> None:
        """Take what is looked for away; else go to the start, the session is not finished yet."""
        if self._search:
            self._search = ""
            self._show_charts()
        else:
            await super().do_leave()

    @property
    def _name_width(self) -> int:
        return _COLUMNS - self._leg_width * max(1, len(self._fit.legs))

    @property
    def _leg_width(self) -> int:
        """As wide as the longest answer: a chart's name may be cut, a size never."""
        answers = [words for row in self._rows for words in self._cells(row)]
        return max([_LEAST_LEG_COLUMNS, *(cell_len(answer) + 2 for answer in answers)])

    def _cells(self, row: RankedChart) -> list[str]:
        return [cell_words(fit) for fit in row.legs]

    def _line(self, row: RankedChart) -> str:
        cells = "".join(set_cell_size(words, self._leg_width) for words in self._cells(row))
        room = self._name_width - 3
        title = f"* {row.title}" if row.favourite else row.title
        if cell_len(title) > room:
            title = set_cell_size(title, room - 1) + "…"
        return set_cell_size(title, room) + " " + cells

    def show_marked(self) -> None:
        """Show the reasons of the marked chart for one leg."""
        self.query_one("#flags", Static).update(self._flags_content())
        area = self.query_one("#reasons", Static)
        if not self._rows or not self._fit.legs:
            nothing = say("No size chart is called so. Backspace or Esc.") if self._search else ""
            area.update(Content(nothing))
            return
        leg = self._fit.legs[self._side_index]
        row = self._rows[self.query_one(PickList).index]
        area.update(reasons_content(leg, row.legs[self._side_index], row.pair))

    def _flags_content(self) -> Content:
        legs = self._fit.legs
        side = legs[self._side_index].side if legs else None
        lines = note_lines(self._fit, side, self._when)
        shown: list[str] = []
        rows = 0
        if self._search:
            lines = [say("Enter or Esc shows all charts again; then Enter finishes."), *lines]
        for line in lines:
            rows += -(-cell_len(line) // _NOTE_COLUMNS)
            last = len(shown) == len(lines) - 1
            if rows > MOST_NOTE_ROWS - (0 if last else 1):
                shown.append(say("... and {count} more: F3", count=len(lines) - len(shown)))
                break
            shown.append(line)
        return Content("\n".join(shown))

    # --- actions -----------------------------------------------------------------------------

    async def do_other_side(self) -> None:
        """Show the reasons for the other leg."""
        self._side_index = (self._side_index + 1) % max(1, len(self._fit.legs))
        self.show_marked()

    async def do_picture(self) -> None:
        """Illustrate the pressure of the marked garment up the leg shown; off unless asked for."""
        from tui.screens.text import TextScreen

        if not self._rows or not self._fit.legs:
            return
        leg = self._fit.legs[self._side_index]
        fit = self._rows[self.query_one(PickList).index].legs[self._side_index]
        chart, profiles = fit.chart, self.desk.profiles
        profile = leg_profile(leg, chart, profiles.illustration, profiles.standards)
        if fit.errors:
            rows = [fit.offered_why]
        elif profile is None:
            rows = [say("This garment prints no pressure, so there is nothing to illustrate.")]
        else:
            rows = draw_profile(profile, side=leg.side, garment=garment_words(chart))
        text = TextScreen(say("Pressure up the leg"), Content("\n".join(rows)))
        await self.app.push_screen(text)

    async def do_try_out(self) -> None:
        """Try other values at the leg shown; nothing is saved, and the chart stays marked."""
        from tui.screens.try_out import TryOutScreen

        if self._rows and self._fit.legs:
            chart = self._rows[self.query_one(PickList).index].chart
            screen = TryOutScreen(self.desk, self._fit, self._side_index, chart.id)
            await self.app.push_screen(screen)

    async def do_favourite(self) -> None:
        """Take the marked chart among the service's favourites, or out of them."""
        if not self._rows:
            return
        chart = self._rows[self.query_one(PickList).index].chart
        if await self.write(lambda: toggle_favourite(self.desk, chart.id)):
            self.desk_app.keep_profiles(self.desk.profiles)
            self._fit = self.desk.result()
            self._show_charts(marked=chart.id)

    async def do_clearance(self) -> None:
        """Show whether compression may be fitted, and the answers behind it."""
        await self.desk_app.show_clearance(self.desk)

    async def do_measure(self) -> None:
        """Go to the measure the marked chart names, to read it once more; else to what is doubtful.

        Readings taken there stand beside the ones kept; no field is opened to write over one.
        """
        row = self._marked
        if self._fit.legs:
            leg = self._fit.legs[self._side_index]
            fit = row.legs[self._side_index] if row is not None else None
            go_to_measure(self.desk, leg.side, fit)
        await self.desk_app.show_measure(self.desk)

    async def do_shape(self) -> None:
        """Say what the legs' shape is; Esc comes back here."""
        await self.desk_app.show_shape(self.desk, lambda: self.desk_app.show_result(self.desk))

    async def do_finish(self) -> None:
        """Mark the session finished and go to the start; where one is looked for, show all first.

        A letter typed by mistake and Enter must not end a session.
        """
        if self._search:
            row, self._search = self._marked, ""
            self._show_charts(marked=row.chart.id if row is not None else "")
            return
        if await self.write(self.desk.finish):
            await self.desk_app.show_start(finished=True)

    async def do_notes(self) -> None:
        """Show the values used, every note and every remark."""
        from tui.screens.text import TextScreen

        await self.app.push_screen(TextScreen(say("Notes"), notes_content(self._fit, self._when)))


def offer_content(fit: SessionFit) -> Content:
    """Return whether a size may be offered, and why or why not, for each leg."""
    if not fit.legs:
        return Content(say(" Nothing was measured."))
    asked = all(is_asked(fit.session, leg.side) for leg in fit.legs)
    parts: list[str | tuple[str, str]] = []
    # A leg that is not cleared stands first, and never as a heading over one that is.
    for offered in (False, True):
        legs = [leg for leg in fit.legs if leg.may_be_fitted is offered]
        if not legs:
            continue
        sides = ", ".join(side_words(leg.side) for leg in legs)
        heading = (
            say("May be fitted, where the garment's pressure allows it.")
            if offered
            else say("Size for information. Not cleared to fit.")
        )
        named = heading if len(legs) == len(fit.legs) else f"{sides}: {heading}"
        parts += ["\n"] if parts else []
        parts.append((f" {named} ", "bold" if offered else "bold reverse"))
        if not asked:
            parts.append(say(" Shape not asked: F8."))
            asked = True
        whys: dict[str, list[str]] = {}
        for leg in legs:
            whys.setdefault(leg.why, []).append(side_words(leg.side))
        for why, told in whys.items():
            parts.append(f"\n {why}" if len(whys) == 1 else f"\n {', '.join(told)}: {why}")
    return Content.assemble(*parts)


def notes_content(fit: SessionFit, when: MeasuredWhen | None = None) -> Content:
    """Return all notes, the worst first, the values used, and what is known beside them.

    Args:
        fit: the session, judged.
        when: when it was measured, where notes on clocks are known.
    """
    # On top: what somebody must be asked about today stands on no later page.
    parts: list[str | tuple[str, str]] = [(say("Notes"), "bold"), "\n"]
    parts += ["\n".join(note_lines(fit, when=when)), "\n\n"]
    for leg in fit.legs:
        parts += [(say("{side}, values used", side=side_words(leg.side)), "bold"), "\n"]
        for value in leg.adopted:
            shown = (
                f"{system_words(value.system)} {plain(value.value)}"
                if value.system is not None and value.value is not None
                else f"{show_cm(value.mm)} cm"
            )
            count = say("{count} readings", count=value.readings) if value.readings > 1 else ""
            parts.append(f"  {place_words(value.point, value.kind):<34}{shown:<12}{count}\n")
    for leg in fit.legs:
        side = side_words(leg.side)
        parts += [("\n" + say("{side}, by the morning", side=side), "bold"), "\n  "]
        parts += ["\n  ".join(leg.morning.words()), "\n"]
    whys = {leg.why for leg in fit.legs}  # told at the top already, not once more of each chart
    away = [
        f"  {row.title}: {row.fell_away}"
        for row in rank_charts(fit)
        if row.fell_away and row.fell_away not in whys
    ]
    if away:
        parts += [("\n" + say("Why charts fell away"), "bold"), "\n", "\n".join(away), "\n"]
    both = [f"  {pair.chart.title}: {pair.text}" for pair in fit.pairs if pair.text]
    if both:
        parts += [("\n" + say("Both legs"), "bold"), "\n", "\n".join(both), "\n"]
    parts += ["\n", "\n".join(fit.clearance.purpose_notes())]
    return Content.assemble(*parts)


def _names(row: RankedChart) -> str:
    return f"{row.title} {row.chart.id}"


def reasons_content(leg: LegFit, fit: ChartFit, pair: PairFit | None) -> Content:
    """Return why one chart says what it says about one leg, how sure it is, and of both legs."""
    answer = fit.answer
    parts: list[str | tuple[str, str]] = [
        (f"{side_words(leg.side)}  {fit.chart.title}: {verdict_words(answer)}", "bold"),
        # In the first line: below long reasons nobody would see it at 24 rows.
        *([(say("  ! Invented: never order from it."), "bold")] if fit.chart.invented else []),
        # Of what is to be ordered: below long reasons nobody would see it either.
        *([(f"\n! {pair.sizes}", "bold")] if pair is not None and pair.sizes else []),
        *([f"\n{fit.summary.text}"] if fit.certainty is not None else []),
        "\n",
        " ".join([*answer.reasons, offer_words(leg, fit)]),
        *(f"\n  {margin_words(fit.chart, margin)}" for margin in answer.margins),
        *(f"\n! {caution}" for caution in answer.cautions),
    ]
    by_morning = morning_line(fit)
    parts += [f"\n{by_morning}"] if by_morning else []
    if fit.firmer is not None:
        parts.append(
            "\n" + say("{size} holds, too, where a firmer hold is liked.", size=fit.firmer)
        )
    both = pair.text.removeprefix(pair.sizes).strip() if pair is not None else ""
    parts += [f"\n{both}"] if both else []
    return Content.assemble(*parts)
