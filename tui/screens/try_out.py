"""The try-out: change a value by keys, see what every chart would say; nothing is saved."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Static

from fitcore.points import Kind, side_words
from fitcore.problems import UnitError
from fitcore.words import say
from tui.result_words import margin_words
from tui.screens.result import offer_content
from tui.screens.work_screen import WorkScreen
from tui.try_out import TriedChart, TryOut, begin
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import PickList
from tui.widgets.typed_line import TypedLine

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from textual import events
    from textual.widget import Widget

    from fitcore.fit import SessionFit
    from fitcore.points import Side
    from tui.desk import Desk
    from tui.try_out import TriedValue

_NAME_COLUMNS = 34
"""Cells for what is measured; the longest name has 30."""
_LEAST_TITLE_COLUMNS = 26
"""Cells of a chart's name below which the measured answer stands only among the reasons."""
_WIDEST_LINE = 100
"""Cells over which a chart's line is spread: wider, the eye loses it between name and answer."""
_TALL_ROWS = 30
_MOST_VALUES = (5, 12)
_MOST_CHARTS = (6, 10)
"""Rows of each list in a low and in a tall window; the lists move under their marks."""


class TryOutScreen(WorkScreen):
    """Values above, what every chart says to them below."""

    KEYMAP = "try_out"
    CSS_PATH = "try_out.tcss"

    def __init__(self, desk: Desk, fit: SessionFit, side_index: int, chart: str) -> None:
        """Begin with what was measured.

        Args:
            desk: the open session.
            fit: its result.
            side_index: which of the result's legs.
            chart: id of the chart to mark.
        """
        super().__init__()
        self._desk = desk
        self._fit = fit
        self._side_index = side_index
        self._chart = chart
        self._begun: dict[Side, TryOut] = {}

    def compose_body(self) -> Iterable[Widget]:
        """Return the warning, the values, the field, the charts and the reasons of one of them."""
        yield Static(id="heading")
        yield Static(id="not-cleared")
        yield PickList(id="values")
        yield Horizontal(
            Static(id="asked"), TypedLine(id="value", max_length=24), Static(id="hint"), id="field"
        )
        yield Static(id="told")
        yield Static(id="columns")
        yield PickList(id="charts")
        yield Static(id="reasons")

    def on_mount(self) -> None:
        """Show the leg as it was measured."""
        self.query_one("#not-cleared", Static).update(offer_content(self._fit))
        self.set_focus(self.query_one(TypedLine))
        self._begin_leg()

    def on_resize(self, event: events.Resize) -> None:
        """Give the lists what room there is."""
        super().on_resize(event)
        tall = event.size.height >= _TALL_ROWS
        self._values.styles.height = min(_MOST_VALUES[tall], max(1, len(self._try_out.values)))
        self._charts.styles.height = _MOST_CHARTS[tall]
        self.call_after_refresh(self._show)

    async def take_key(self, event: events.Key) -> None:
        """While something is typed, the keys that move within a line do so."""
        line = self.query_one(TypedLine)
        if line.value and not self.too_small and event.key in ("left", "right"):
            line.edit(event)
            return
        await super().take_key(event)

    def text_changed(self) -> None:
        """Take a complaint about what was typed away."""
        self._tell()

    def _begin_leg(self) -> None:
        """Mark the first girth, the ankle of most: it decides the size."""
        kinds = [value.measured.kind for value in self._try_out.values]
        self._values.index = kinds.index(Kind.GIRTH) if Kind.GIRTH in kinds else 0
        self._show()

    # --- what is seen ------------------------------------------------------------------------

    @property
    def _try_out(self) -> TryOut:
        side = self._fit.legs[self._side_index].side
        if side not in self._begun:
            self._begun[side] = begin(self._desk, self._fit, side)
        return self._begun[side]

    @property
    def _values(self) -> PickList:
        return self.query_one("#values", PickList)

    @property
    def _charts(self) -> PickList:
        return self.query_one("#charts", PickList)

    def _show(self) -> None:
        trial = self._try_out
        side = side_words(trial.side)
        at = self._fit.session.measured_at
        self.query_one(TopBar).show(
            say("Try-out"),
            self._fit.client,
            f"{at:%Y-%m-%d %H:%M}" if at else "",
            say("NOT SAVED"),
        )
        heading = (say(" TRY-OUT, NOT SAVED "), "bold reverse")
        told = say(" {side} leg. Every size is for information.", side=side)
        if len(self._fit.legs) > 1:
            told += say(" F4: other leg.")
        self.query_one("#heading", Static).update(Content.assemble(" ", heading, told))
        self._values.show([_value_line(value) for value in trial.values])
        self._show_field()
        self._show_charts()
        self._tell()

    def _show_field(self) -> None:
        value = self._value
        asked = say("No value was measured at this leg.")
        if value is not None:
            asked = say(
                "{number} of {count}, try in {unit} > ",
                number=self._values.index + 1,
                count=len(self._try_out.values),
                unit=value.unit_words,
            )
        self.query_one("#asked", Static).update(Content(asked))
        hint = "" if value is None else _hint(value)
        self.query_one("#hint", Static).update(Content(hint))

    def _show_charts(self) -> None:
        charts = self._try_out.charts
        width = min(self.size.width, _WIDEST_LINE) - 4
        tried = max((cell_len(chart.words) for chart in charts), default=0)
        before = max((cell_len(chart.measured_words) for chart in charts), default=0)
        changed = say("changed")
        answer = max(tried, cell_len(say("tried"))) + 5
        room = width - answer - cell_len(changed)
        both = room - before - 2 >= _LEAST_TITLE_COLUMNS
        title = room - before - 2 if both else room

        def line(name: str, measured: str, sign: str, words: str, end: str) -> str:
            middle = set_cell_size(measured, before + 2) if both else ""
            shown = set_cell_size(f"{sign:<3}{words}", answer)
            return f"{_cut(name, title - 1)} {middle}{shown}{end}"

        count = sum(chart.changed for chart in charts)
        heading = say("Size chart, as in the result")
        if count:
            heading = say("Size chart ({count} of {all} changed: F6)", count=count, all=len(charts))
        columns = line(heading, say("measured"), "", say("tried"), "")
        self.query_one("#columns", Static).update(Content.styled(f"  {columns}", "bold"))
        ids = [chart.ranked.chart.id for chart in charts]
        lines = [
            line(
                f"* {chart.ranked.chart.title}"
                if chart.ranked.favourite
                else chart.ranked.chart.title,
                chart.measured_words,
                "->" if chart.changed else "",
                chart.words,
                changed if chart.changed else "",
            )
            for chart in charts
        ]
        self._charts.show(lines, ids.index(self._chart) if self._chart in ids else 0)
        self._show_reasons()

    def _show_reasons(self) -> None:
        chart, area = self._marked, self.query_one("#reasons", Static)
        if chart is None:
            area.update("")
        else:
            area.update(reasons_content(self._try_out.side, chart))

    def _tell(self, text: str = "") -> None:
        """Tell what could not be tried; else why the leg would be kept back, if it would."""
        told = text or self._try_out.warning()
        area = self.query_one("#told", Static)
        area.display = bool(told)
        area.update(Content.styled(f"! {told}", "bold"))

    @property
    def _value(self) -> TriedValue | None:
        values, index = self._try_out.values, self._values.index
        return values[index] if 0 <= index < len(values) else None

    @property
    def _marked(self) -> TriedChart | None:
        charts, index = self._try_out.charts, self._charts.index
        return charts[index] if 0 <= index < len(charts) else None

    # --- actions -----------------------------------------------------------------------------

    async def do_accept(self) -> None:
        """Try what was typed."""
        self._take_typed()

    async def do_more(self) -> None:
        """One mark of the tape more."""
        self._step(1)

    async def do_less(self) -> None:
        """One mark of the tape less."""
        self._step(-1)

    async def do_much_more(self) -> None:
        """One number of the tape more."""
        self._step(1, large=True)

    async def do_much_less(self) -> None:
        """One number of the tape less."""
        self._step(-1, large=True)

    async def do_up(self) -> None:
        """Go to the value above."""
        self._go(-1)

    async def do_down(self) -> None:
        """Go to the value below."""
        self._go(1)

    async def do_next_chart(self) -> None:
        """Mark the chart below."""
        self._mark(self._charts.index + 1)

    async def do_last_chart(self) -> None:
        """Mark the chart above."""
        self._mark(self._charts.index - 1)

    async def do_next_change(self) -> None:
        """Mark the next chart whose answer is another one now; after the last, the first."""
        changed = [n for n, chart in enumerate(self._try_out.charts) if chart.changed]
        here = self._charts.index
        if changed:
            self._mark(next((number for number in changed if number > here), changed[0]))
        else:
            self._tell(say("No chart's answer has changed."))

    async def do_put_back(self) -> None:
        """Put one value back as it was measured."""
        self._forget_typed()
        if self._value is not None:
            self._try_out.put_back(self._values.index)
        self._show()

    async def do_put_all_back(self) -> None:
        """Put all values of this leg back as they were measured."""
        self._forget_typed()
        self._try_out.put_all_back()
        self._show()

    async def do_other_side(self) -> None:
        """Try the other leg; what was tried at this one waits."""
        if self._take_typed():
            self._side_index = (self._side_index + 1) % len(self._fit.legs)
            self._begin_leg()

    async def do_reasons(self) -> None:
        """Show all that is said of the marked chart."""
        from tui.screens.text import TextScreen

        chart = self._marked
        if chart is not None:
            content = reasons_content(self._try_out.side, chart)
            await self.app.push_screen(TextScreen(say("Try-out, not saved"), content))

    async def do_leave(self) -> None:
        """Take what is half typed away; else go back to the result, where all is as measured."""
        if self.query_one(TypedLine).value:
            self._forget_typed()
            self._tell()
        else:
            await self.app.pop_screen()

    def _go(self, by: int) -> None:
        if self._take_typed():
            self._values.move(by)
            self._show_field()

    def _mark(self, index: int) -> None:
        charts = self._try_out.charts
        if charts:
            self._chart = charts[max(0, min(len(charts) - 1, index))].ranked.chart.id
            self._show_charts()

    def _step(self, by: int, *, large: bool = False) -> None:
        if self._take_typed() and self._value is not None:
            index = self._values.index
            self._try(lambda: self._try_out.step(index, by, large=large))

    def _take_typed(self) -> bool:
        """Try what is typed; whether nothing is left in the line."""
        text = self.query_one(TypedLine).text.strip()
        if not text or self._value is None:
            return True
        index = self._values.index
        done = self._try(lambda: self._try_out.type(index, text))
        if done:
            self._forget_typed()
        return done

    def _forget_typed(self) -> None:
        self.query_one(TypedLine).value = ""

    def _try(self, move: Callable[[], None]) -> bool:
        try:
            move()
        except UnitError as error:
            self._tell(f"{error.problem.text} {error.problem.mend}")
            return False
        self._show()
        return True


def reasons_content(side: Side, chart: TriedChart) -> Content:
    """Return what one chart says of the values tried, and what it said of those measured."""
    fit = chart.tried
    parts: list[str | tuple[str, str]] = [
        (f"{side_words(side)}  {fit.chart.title}: {chart.words}", "bold"),
        "\n",
    ]
    if chart.changed:
        parts.append(say("As measured: {words}", words=chart.measured_words) + "\n")
    told = [*([fit.summary.text] if fit.certainty is not None else []), *fit.answer.reasons]
    parts += [
        " ".join(told),
        *(f"\n  {margin_words(fit.chart, margin)}" for margin in fit.answer.margins),
        *(f"\n! {caution}" for caution in fit.answer.cautions),
        "\n" + say("! Tried, not measured: never order from it."),
    ]
    return Content.assemble(*parts)


def _hint(value: TriedValue) -> str:
    """Say how far the keys move a value."""
    if value.measured.system == "mondo":
        return say("← → 5  PgUp PgDn 10  Enter tries it")
    if value.measured.system is not None:
        return say("← → 0.5  PgUp PgDn 1  Enter tries it")
    if value.unit == "in":
        return say("← → 1/8 in  PgUp PgDn 1 in  Enter tries it")
    return say("← → 1 mm  PgUp PgDn 1 cm  Enter tries it")


def _value_line(value: TriedValue) -> str:
    line = f"{value.name:<{_NAME_COLUMNS}}{value.words()}"
    count = value.measured.readings
    return line if count == 1 else line + "  " + say("of {count} readings", count=count)


def _cut(text: str, room: int) -> str:
    """Return a name as wide as there is room: a name may be cut, a size never."""
    return (
        set_cell_size(text, room) if cell_len(text) <= room else set_cell_size(text, room - 1) + "…"
    )
