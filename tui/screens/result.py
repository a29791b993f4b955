"""The result: each chart's answer for each leg, with reasons, and whether it may be offered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.content import Content
from textual.widgets import Static

from fitcore.charts.sizing import Margin, SizeAnswer, Verdict, dimension_words
from fitcore.flags import Level, told_once
from fitcore.moment.morning import morning_words
from fitcore.papers.leg_profile import garment_words, leg_profile
from fitcore.points import place_words, side_words
from fitcore.pressures.pressure_drawing import draw_profile
from fitcore.shoes import system_words
from fitcore.units import plain, show_cm
from fitcore.words import say
from tui.screens.ending_screen import EndingScreen
from tui.widgets.bars import TopBar
from tui.widgets.pick_list import PickList

if TYPE_CHECKING:
    from collections.abc import Iterable

    from textual.widget import Widget

    from fitcore.charts.chart import Chart
    from fitcore.fit import ChartFit, LegFit, SessionFit
    from tui.desk import Desk

_ORDER = (
    Verdict.FITS,
    Verdict.OVERLAP,
    Verdict.BETWEEN,
    Verdict.PROPORTIONS,
    Verdict.OFF_CHART,
    Verdict.NOT_MEASURED,
    Verdict.NOT_SUITABLE,
)
_COLUMNS = 78
_NOTE_COLUMNS = 66
"""Cells a wrapped row of notes surely fills; words do not break."""
_LEAST_LEG_COLUMNS = 12
MOST_NOTE_ROWS = 5
"""Rows of notes below the reasons; F3 shows all."""


class ResultScreen(EndingScreen):
    """Every chart, every leg."""

    KEYMAP = "result"
    CSS_PATH = "result.tcss"
    FAULT_PLACE = "#flags"

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._fit: SessionFit = desk.result()
        self._side_index = 0
        self._rows = chart_rows(self._fit)

    def compose_body(self) -> Iterable[Widget]:
        """Return the warning, the charts and the reasons of one of them."""
        yield Static(id="not-cleared")
        yield Static(id="columns")
        yield PickList(id="charts")
        yield Static(id="reasons")
        yield Static(id="flags")

    def on_mount(self) -> None:
        """Show the result."""
        fit = self._fit
        at = fit.session.measured_at
        self.query_one(TopBar).show(
            say("Result"),
            fit.client,
            f"{at:%Y-%m-%d %H:%M}" if at else "",
            say("by {who}", who=fit.session.text("measurer") or "?"),
            say("saved"),
        )
        self.query_one("#not-cleared", Static).update(offer_content(fit))
        legs = "".join(set_cell_size(side_words(leg.side), self._leg_width) for leg in fit.legs)
        heading = set_cell_size("  " + say("Size chart"), self._name_width) + legs
        self.query_one("#columns", Static).update(Content.styled(heading, "bold"))
        self.query_one(PickList).show([self._line(row) for row in self._rows], 0)
        self.show_marked()

    @property
    def _name_width(self) -> int:
        return _COLUMNS - self._leg_width * max(1, len(self._fit.legs))

    @property
    def _leg_width(self) -> int:
        """As wide as the longest answer: a chart's name may be cut, a size never."""
        answers = [words for row in self._rows for words in self._cells(row)]
        return max([_LEAST_LEG_COLUMNS, *(cell_len(answer) + 2 for answer in answers)])

    def _cells(self, row: tuple[ChartFit, ...]) -> list[str]:
        return [cell_words(leg, fit) for leg, fit in zip(self._fit.legs, row, strict=True)]

    def _line(self, row: tuple[ChartFit, ...]) -> str:
        chart = row[0].chart
        cells = "".join(set_cell_size(words, self._leg_width) for words in self._cells(row))
        room = self._name_width - 3
        title = chart.title
        if cell_len(title) > room:
            title = set_cell_size(title, room - 1) + "…"
        return set_cell_size(title, room) + " " + cells

    def show_marked(self) -> None:
        """Show the reasons of the marked chart for one leg."""
        self.query_one("#flags", Static).update(self._flags_content())
        if not self._rows or not self._fit.legs:
            return
        leg = self._fit.legs[self._side_index]
        fit = self._rows[self.query_one(PickList).index][self._side_index]
        self.query_one("#reasons", Static).update(reasons_content(leg, fit))

    def _flags_content(self) -> Content:
        lines = note_lines(self._fit)
        shown: list[str] = []
        rows = 0
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
        chart = self._rows[self.query_one(PickList).index][self._side_index].chart
        profiles = self.desk.profiles
        profile = leg_profile(leg, chart, profiles.illustration, profiles.standards)
        rows = (
            [say("This garment prints no pressure, so there is nothing to illustrate.")]
            if profile is None
            else draw_profile(profile, side=leg.side, garment=garment_words(chart))
        )
        text = TextScreen(say("Pressure up the leg"), Content("\n".join(rows)))
        await self.app.push_screen(text)

    async def do_clearance(self) -> None:
        """Show whether compression may be fitted, and the answers behind it."""
        await self.desk_app.show_clearance(self.desk)

    async def do_finish(self) -> None:
        """Mark the session finished and go to the start."""
        if await self.write(self.desk.finish):
            await self.desk_app.show_start(finished=True)

    async def do_notes(self) -> None:
        """Show the values used, every note and every remark."""
        from tui.screens.text import TextScreen

        await self.app.push_screen(TextScreen(say("Notes"), notes_content(self._fit)))


def offer_content(fit: SessionFit) -> Content:
    """Return whether a size may be offered, and why or why not, for each leg."""
    if not fit.legs:
        return Content(say(" Nothing was measured."))
    whys: dict[tuple[bool, str], list[str]] = {}
    for leg in fit.legs:
        whys.setdefault((leg.offer.offered, leg.offer.why), []).append(side_words(leg.side))
    told = [
        why if len(sides) == len(fit.legs) else f"{', '.join(sides)}: {why}"
        for (_, why), sides in sorted(whys.items())
    ]
    if all(offered for offered, _ in whys):
        heading = (say(" May be fitted, where the garment's pressure allows it. "), "bold")
    else:
        heading = (say(" Size for information. Not cleared to fit. "), "bold reverse")
    return Content.assemble(heading, "\n ", "  ".join(told))


def cell_words(leg: LegFit, fit: ChartFit) -> str:
    """Return a chart's answer in a few words.

    Where the leg may be fitted and this garment may not, its size says so; where the leg may not
    be fitted the heading says it of all sizes.
    """
    words = verdict_words(fit.answer)
    has_size = fit.answer.size is not None or bool(fit.answer.alternatives)
    kept_back = has_size and leg.offer.offered and not fit.offer.offered
    return say("{size}, not to fit", size=words) if kept_back else words


def note_lines(fit: SessionFit) -> list[str]:
    """Return the notes on a session: what was not taken and why first, remarks, then flags."""
    signs = {Level.BLOCK: "!!", Level.WARN: "!", Level.NOTE: "-"}
    lines = [
        f"! {side_words(leg.side)}: {missing}" for leg in fit.legs for missing in leg.not_taken
    ]
    remarks = fit.session.heads.heads_of("remarks")
    lines += [say("! remark: {text}", text=entry.text("text")) for entry in remarks]
    lines += [
        f"{signs[flag.level]} {side_words(flag.side)}: {flag.text}"
        if flag.side
        else f"{signs[flag.level]} {flag.text}"
        for flag in told_once(fit.flags)
    ]
    for leg in fit.legs:
        if leg.times is None:
            continue
        side, hours = side_words(leg.side), leg.times.hours_up
        lines.append(
            say("- {side}: time of rising not known; a leg swells during the day", side=side)
            if hours is None
            else say("- {side}: {hours:.1f} h after rising", side=side, hours=hours)
        )
    return lines


def notes_content(fit: SessionFit) -> Content:
    """Return the values used for each leg and all notes."""
    parts: list[str | tuple[str, str]] = []
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
    parts += [("\n" + say("Notes"), "bold"), "\n", "\n".join(note_lines(fit)), "\n\n"]
    parts.append("\n".join(fit.clearance.purpose_notes()))
    return Content.assemble(*parts)


def chart_rows(fit: SessionFit) -> list[tuple[ChartFit, ...]]:
    """Return one row per chart, a column per leg; charts that have an answer stand first."""
    rows = list(zip(*(leg.charts for leg in fit.legs), strict=True))
    return sorted(
        rows,
        key=lambda row: (min(_ORDER.index(f.answer.verdict) for f in row), row[0].chart.title),
    )


def verdict_words(answer: SizeAnswer) -> str:
    """Return a verdict in a few words."""
    size = f"{answer.size or ''} {answer.variant or ''}".strip()
    words = {
        Verdict.FITS: say("{size}", size=size),
        Verdict.OVERLAP: say(
            "{size} (or {others})", size=size, others="/".join(answer.alternatives)
        )
        if size
        else say("{others}: choose", others=" / ".join(answer.alternatives)),
        Verdict.BETWEEN: say("between two sizes"),
        Verdict.OFF_CHART: say("outside all sizes"),
        Verdict.PROPORTIONS: say("sizes disagree"),
        Verdict.NOT_SUITABLE: say("not suitable"),
        Verdict.NOT_MEASURED: say("not measured"),
    }
    return words[answer.verdict]


def reasons_content(leg: LegFit, fit: ChartFit) -> Content:
    """Return why one chart says what it says about one leg."""
    answer = fit.answer
    parts: list[str | tuple[str, str]] = [
        (f"{side_words(leg.side)}  {fit.chart.title}: {verdict_words(answer)}", "bold"),
        "\n",
        " ".join(answer.reasons),
        "\n" + _offer_words(fit),
        *(f"\n  {_margin_words(fit.chart, margin)}" for margin in answer.margins),
        *(f"\n! {caution}" for caution in answer.cautions),
    ]
    if by_morning := morning_words(fit.morning):
        parts.append(f"\n! {by_morning}")
    if fit.chart.invented:
        parts.append("\n" + say("! An invented chart, for trying out: never order from it."))
    return Content.assemble(*parts)


def _offer_words(fit: ChartFit) -> str:
    if fit.offered:
        return say("May be offered. {why}", why=fit.offered_why)
    return say("! For information only. {why}", why=fit.offered_why)


def _margin_words(chart: Chart, margin: Margin) -> str:
    shoe = any(d.id == margin.dimension and d.system is not None for d in chart.dimensions)
    # Lengths are shown exactly as read; what a shoe size stands for is rounded to a millimetre.
    value = round(margin.value_mm, 0) if shoe else margin.value_mm
    name = dimension_words(margin.dimension)
    distance = abs(round(margin.margin_mm, 1))
    told = say(
        "{name}: {value} cm, size {low} to {high} cm",
        name=say("{name}, as foot length", name=name) if shoe else name,
        value=show_cm(value),
        low=show_cm(round(margin.low_mm, 1)),
        high=show_cm(round(margin.high_mm, 1)),
    )
    how = (
        say("{mm} mm inside", mm=distance)
        if margin.margin_mm >= 0
        else say("{mm} mm outside", mm=distance)
    )
    return f"{told}, {how}"
