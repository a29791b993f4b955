"""What pressing Enter on a typed text comes to: saved, refused, looked at again, or a reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitcore.doubts.shoe_doubts import doubt_other_foot, doubt_shoe
from fitcore.doubts.typed_doubts import doubt_typed
from fitcore.flags import Flag, Level, codes_to_store
from fitcore.moment.spacing import SET_TOOK_LONG
from fitcore.points import Kind, Point, other_side
from fitcore.problems import UnitError
from fitcore.record.edits import Typed, parse_typed
from fitcore.record.glance import last_remark
from fitcore.record.reasons import wants_reason
from fitcore.shoes import ShoeSize
from fitcore.units import show_length
from fitcore.words import say
from tui.desk_again import arrival_words
from tui.desk_conditions import standing_flags, unanswered
from tui.telling import flag_words, more_words, page
from tui.usual_reasons import Ask, why_at_such_a_time, why_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.points import Place
    from tui.desk import Desk

Outcome = Literal["ready", "nothing_typed", "refused", "look_again", "needs_reason"]
_SIGN = "\n! "
"""Before each further paragraph; the screen sets the first."""
_MOST_CHARACTERS = 130
"""Of doubts about a number beside the field, so that what Enter does stands below them; ours, for
80x24."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What pressing Enter on a typed text comes to."""

    outcome: Outcome
    message: str = ""
    """Behind its sign; further paragraphs carry their own."""
    typed: Typed | None = None
    doubts: tuple[str, ...] = ()
    """Codes to store beside the reading."""
    tells: tuple[Flag, ...] = ()
    """What the message tells of hour, conditions and clock for the first time."""
    asks: tuple[Ask, ...] = ()
    """The reasons to ask for, one after the other."""

    @property
    def blocks(self) -> tuple[str, ...]:
        """Codes of what reasons are asked for."""
        return tuple(code for ask in self.asks for code in ask.codes)


def judge_typed(desk: Desk, text: str, *, seen: bool) -> Judged:
    """Judge what was typed in the present field.

    Args:
        desk: the open session.
        text: as typed.
        seen: whether the doubt about this very text has been shown already.
    """
    step = desk.step
    if not text.strip():
        return _judge_nothing(desk)
    try:
        typed = parse_typed(step.kind, text, desk.unit, or_shoe=step.or_shoe)
    except UnitError as error:
        return Judged("refused", f"{error.problem.text} {error.problem.mend}")
    shoe = isinstance(typed, ShoeSize)
    found = _doubts(desk, typed)
    timed = desk.time_flags()
    told = sorted((f for f in found if f.level is not Level.NOTE), key=_rank)
    blocks = unanswered(desk, timed)
    asks = _asks(text.strip(), told, blocks)
    untold = desk.telling.untold((*timed, *standing_flags(desk)))
    again = [] if seen else desk.telling.told(blocks)
    number = "" if seen else _number_words(told, or_shoe=step.or_shoe)
    news = page([*again, *untold], number)
    # A doubt about another point than the one just typed is not stored beside this one, nor what
    # nobody was told of.
    about_this = [f for f in found if shoe or (f.side, f.point) == step.place[:2]]
    about_this = [f for f in about_this if shoe or f.kind in (step.kind, Kind.SHOE)]
    known = [f for f in timed if f in news or desk.telling.told([f])]
    codes = codes_to_store((*about_this, *known))
    if not number and not news:
        return Judged("needs_reason" if asks else "ready", "", typed, codes, asks=asks)
    left = sum(flag not in news for flag in untold)
    end = say("Enter again keeps it, with a reason.") if asks else say("Enter again keeps it.")
    message = _message(number, news, more_words(left) or end)
    return Judged("look_again", message, typed, codes, tuple(news), asks)


def opening_words(desk: Desk, before: str = "") -> tuple[str, tuple[Flag, ...]]:
    """Return what is told before the tape is read, and of which flags it tells.

    Args:
        desk: the open session.
        before: what is told above it.
    """
    remark = last_remark(desk.session)
    noted = say("Noted before: {remark}", remark=remark) if remark else ""
    above = _SIGN.join(text for text in (before, noted, arrival_words(desk)) if text)
    words, tells = _news(desk, above)
    return _SIGN.join(text for text in (above, words) if text), tells


def _news(desk: Desk, above: str = "") -> tuple[str, tuple[Flag, ...]]:
    untold = desk.telling.untold((*desk.time_flags(), *standing_flags(desk)))
    news = page(untold, above)
    return _message("", news, more_words(len(untold) - len(news))), tuple(news)


def _judge_nothing(desk: Desk) -> Judged:
    if desk.reading_here is not None:
        return Judged("nothing_typed")
    message, tells = _news(desk)
    if tells:
        return Judged("look_again", message, tells=tells)
    return Judged("refused", say("Type what the tape shows, or F2 if it cannot be taken."))


def _asks(text: str, told: Sequence[Flag], blocks: Sequence[Flag]) -> tuple[Ask, ...]:
    """Return the reasons to ask for: for the number, for hour and clock, for a set that took long.

    A wrong clock may raise several blocks; one reason is enough for them.
    """
    impossible = [flag for flag in told if wants_reason(flag)]
    asks = [why_number(text, impossible)] if impossible else []
    took = [flag for flag in blocks if flag.code == SET_TOOK_LONG]
    hour = [flag for flag in blocks if flag.code != SET_TOOK_LONG]
    asks += [why_at_such_a_time(text, flags) for flags in (hour, took) if flags]
    return tuple(asks)


def _number_words(told: Sequence[Flag], *, or_shoe: bool) -> str:
    """Return the worst doubt, and others as far as there is room; F9 leads to the rest later."""
    if not told:
        return ""
    # Several codes may carry one sentence, such as a range and the slip that explains it.
    texts = list(dict.fromkeys(flag.text for flag in told))
    words = texts[0]
    for text in texts[1:]:
        if len(words) + len(text) < _MOST_CHARACTERS:
            words += f" {text}"
    if or_shoe and any(flag.code == "hard_range" for flag in told):
        shoe = say("A shoe size? Type its system too: EU, UK, US W or US M.")
        words = f"{shoe} {words}"
    return words


def _message(number: str, flags: Sequence[Flag], end: str) -> str:
    """Put together what is told: a paragraph for the number, one for each flag, what Enter does."""
    paragraphs = [number, *map(flag_words, flags)]
    return " ".join([_SIGN.join(text for text in paragraphs if text), end]).strip()


def _doubts(desk: Desk, typed: Typed) -> tuple[Flag, ...]:
    return (*_doubts_of(desk, typed), *_foot_doubts(desk, typed))


def _foot_doubts(desk: Desk, typed: Typed) -> tuple[Flag, ...]:
    """Ask about a foot length unlike what it would correct; a shoe size names its system."""
    here = desk.reading_here
    if here is None or isinstance(typed, ShoeSize) or desk.step.point is not Point.FOOT:
        return ()
    if desk.step.kind is Kind.GIRTH:
        return ()
    found = doubt_other_foot(here, typed.mm, show_length(typed.mm, typed.typed, typed.unit))
    return () if found is None else (found,)


def _doubts_of(desk: Desk, typed: Typed) -> tuple[Flag, ...]:
    if isinstance(typed, ShoeSize):
        # A number meant for another field reads as a size of shoe, too: it is asked about as well.
        ranges = desk.profiles.rules.ranges
        return doubt_shoe(ranges, desk.step.place, typed.value, typed.system)
    return doubt_typed(
        desk.session,
        desk.step.place,
        typed,
        desk.profiles.rules.ranges,
        laptop=desk.folder.laptop.id,
        tape_unit=desk.unit,
        earlier=desk.earlier,
        repeat=desk.protocol.repeat,
        hidden=_hidden(desk),
    )


def _hidden(desk: Desk) -> tuple[Place, ...]:
    """Return the other leg's place at a repeat while that leg's own repeat is still to come.

    In the first time round it is compared: a slip is best told at once.
    """
    step = desk.step
    there = (other_side(step.side), step.point, step.kind)
    return (there,) if step.round > 1 and not desk.shows(there) else ()


def _rank(flag: Flag) -> int:
    return (Level.BLOCK, Level.WARN, Level.NOTE).index(flag.level)
