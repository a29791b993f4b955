"""The merge desk: where somebody stands among the open items, and what each answer comes to.

No screen and no file here. Answers are drafted; `merge_work` keeps them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, cast

from fitcore.instants import hours_between
from fitcore.merge.choices import draft_choice, draft_other_value
from fitcore.merge.clock_notes import draft_clock_note
from fitcore.merge.conflicts import Conflict
from fitcore.merge.late_stops import draft_passed_on, told_in
from fitcore.moment.wrong_clocks import parse_right_time
from fitcore.problems import Problem, ReadingError
from fitcore.record.fields import answer_words
from fitcore.record.session import value_key
from fitcore.words import say
from tui.answers import (
    Answer,
    Told,
    alike,
    answer_changed,
    content_of,
    draft_codes,
    is_one_by_one,
)
from tui.merge_items import desk_items
from tui.wording.codes import codes_words
from tui.wording.questions import question_words
from tui.wording.sittings import when_words
from tui.wording.stops import passed_on_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from fitcore.disk.archive_parts import Merging
    from fitcore.merge.conflicts import Candidate
    from fitcore.merge.late_stops import LateStop
    from fitcore.merge.proposals import Proposal
    from fitcore.moment.wrong_clocks import WrongClock
    from fitcore.record.entries import Value
    from tui.answers import Stored
    from tui.merge_facts import DeskFacts
    from tui.merge_item import Item
    from tui.wording.codes import Suggestion

NOTHING = -1
"""No value is marked: Enter alone must not choose for anybody."""


@dataclass
class Given:
    """One answer somebody gave here, perhaps to several questions alike."""

    words: tuple[str, ...]
    """One sentence for each question."""
    who: str
    why: str
    stored: tuple[Stored, ...]
    about: str = ""
    """Id of the item it was given to."""
    taken: tuple[tuple[str, str], ...] = ()
    """Session (empty: a ledger) and name of each line taken over from a file changed outside."""
    is_taken_back: bool = False


@dataclass
class MergeDesk:
    """What was merged, what is open, what was answered."""

    who: str = ""
    """Staff code of whoever answers."""
    merging: Merging | None = None
    """What the last merge came to; None where nothing was merged yet."""
    given: list[Given] = field(default_factory=list)
    seen: set[str] = field(default_factory=set)
    """Digests of set-aside files somebody looked at: nothing is stored of it, so whoever opens the
    desk hands over what was seen before."""
    items: tuple[Item, ...] = ()
    marked: int = NOTHING
    _facts: DeskFacts | None = None
    _at: int = 0
    _later: set[str] = field(default_factory=set)
    """Ids of items put off."""

    @property
    def facts(self) -> DeskFacts:
        """What is open."""
        if self._facts is None:
            raise RuntimeError("the archive was not looked through yet")
        return self._facts

    @property
    def is_shown(self) -> bool:
        """Whether the archive was looked through."""
        return self._facts is not None

    def show(self, facts: DeskFacts) -> None:
        """Take what is open now; whoever stood at an item still open stays there."""
        before = self.item.id if self.item is not None else ""
        self._facts = facts
        self.items = tuple(item for item in desk_items(facts) if item.id not in self.seen)
        ids = [item.id for item in self.items]
        if before in ids:
            self._at = ids.index(before)
        else:
            self._at = min(self._at, max(len(ids) - 1, 0))
            self._skip_put_off()
            self._mark_only_one()

    @property
    def item(self) -> Item | None:
        """The item somebody stands at; None where nothing is open."""
        return self.items[self._at] if self._at < len(self.items) else None

    @property
    def question(self) -> Conflict | None:
        """The question somebody stands at; None where the item is none."""
        item = self.item
        return _question(item) if item is not None and item.kind == "question" else None

    @property
    def place(self) -> tuple[int, int]:
        """Number of the item, from 1, and how many there are."""
        return min(self._at + 1, len(self.items)), len(self.items)

    @property
    def last_given(self) -> Given | None:
        """The last answer that was not taken back."""
        return next((given for given in reversed(self.given) if not given.is_taken_back), None)

    @property
    def stops(self) -> tuple[Item, ...]:
        """The stops somebody with a size is still to be told of."""
        return tuple(item for item in self.items if item.kind == "stop")

    @property
    def put_off(self) -> int:
        """How many items were put off and are still open."""
        return sum(item.id in self._later for item in self.items)

    def is_put_off(self, item: Item) -> bool:
        """Whether an item was put off."""
        return item.id in self._later

    # --- going about -------------------------------------------------------------------------

    def move(self, by: int) -> None:
        """Go to another item."""
        wanted = min(max(self._at + by, 0), max(len(self.items) - 1, 0))
        if wanted != self._at:
            self._at = wanted
            self._mark_only_one()

    def go_to(self, item_id: str) -> None:
        """Go to an item by its id, where it is open."""
        ids = [item.id for item in self.items]
        if item_id in ids:
            self._later.discard(item_id)
            self._at = ids.index(item_id)
            self._mark_only_one()

    def mark(self, number: int) -> bool:
        """Mark a value by its number from 0; whether there is such a one."""
        item = self.item
        if item is None or not 0 <= number < len(item.choices):
            return False
        self.marked = number
        return True

    def mark_next(self, by: int) -> None:
        """Mark the next value; from none the first."""
        item = self.item
        if item is not None and item.choices:
            wanted = 0 if self.marked == NOTHING else self.marked + by
            self.marked = min(max(wanted, 0), len(item.choices) - 1)

    def put_off_item(self) -> bool:
        """Put the item off and go to the next that is not; whether there is one."""
        item = self.item
        if item is None:
            return False
        self._later.add(item.id)
        before = self._at
        self._skip_put_off()
        if self._at != before:
            self._mark_only_one()
        return self._at != before

    def see(self) -> None:
        """Lay an item aside that only had to be seen."""
        item = self.item
        if item is not None:
            self.seen.add(item.id)
            self.show(self.facts)

    def _skip_put_off(self) -> None:
        """Go to the next item that was not put off, from the first on again; else stay."""
        count = len(self.items)
        for step in range(count):
            at = (self._at + step) % count
            if self.items[at].id not in self._later:
                self._at = at
                return

    def _mark_only_one(self) -> None:
        item = self.item
        # What can only be told or noted asks for its words next, so Enter decides nothing alone.
        only = item is not None and len(item.choices) == 1 and item.needs != "why"
        self.marked = 0 if only else NOTHING

    # --- answers -----------------------------------------------------------------------------

    def alike(self) -> list[Conflict]:
        """Return the questions of the same field and values as the present one, itself among them.

        None for anything but a question of a session: what is said of codes is said one by one.
        """
        item = self.item
        if item is None or item.kind != "question" or not _question(item).session:
            return []
        question = _question(item)
        values = {value_key(candidate.value) for candidate in question.candidates}
        if len(values) < len(question.candidates) or is_one_by_one(question):
            return [question]  # lines that differ in more than their value: each is looked at
        found = alike(self.facts.questions, [question])
        return [like for like in found if isinstance(like, Conflict)]

    def answers(
        self, typed: str, at: datetime, *, to_all: bool = False, time: str = ""
    ) -> list[Answer]:
        """Draft the answer of the marked value; nothing is stored.

        Args:
            typed: why; or who was told.
            at: the instant, from the caller's clock.
            to_all: whether all questions alike are answered.
            time: what time it was, where that is asked.

        Raises:
            ReadingError: nothing is marked, or it cannot be answered so.
            UnitError: a time that is none.
        """
        item = self.item
        if item is None or self.marked == NOTHING:
            raise ReadingError(_nothing_marked())
        key = item.choices[self.marked].key
        if item.kind == "stop":
            return [self._passed_on(item, typed, at)]
        if item.kind == "clock":
            return [self._noted(item, time, Told.of(self.who, typed, at))]
        told = Told.of(self.who, typed, at)
        if item.kind == "codes":
            return [self._of_codes(item, cast("Suggestion", item.subject).codes, key, told)]
        if item.kind == "lines":
            lines = cast("tuple[Proposal, ...]", item.subject)
            return [self._of_line(line, key, told) for line in lines]
        if item.kind == "changed":
            answer = answer_changed(cast("Proposal", item.subject), key, told)
            words = say("{about}. {answer}.", about=item.title, answer=self._title)
            return [_with_words(answer, words)]
        question = _question(item)
        if question.kind in ("clients", "group"):
            return [self._of_codes(item, question.field.split(" = "), key, told)]
        wanted = question.candidates[int(key)]
        others = [found for found in self.alike() if found.id != question.id] if to_all else []
        return [
            self._chosen(question, wanted, told),
            *(self._chosen(each, _same(each, wanted), told) for each in others),
        ]

    def other_answer(self, value: Value, told: Told) -> Answer:
        """Settle the present question with a value nobody brought.

        Raises:
            ReadingError: it is about readings or codes.
        """
        item = self.item
        if item is None or item.kind != "question":
            raise ReadingError(_no_other_value())
        question = _question(item)
        draft = draft_other_value(question, value, who=told.who, why=told.why, at=told.at)
        words = say("{about}: {value}.", about=item.title, value=answer_words(value))
        return Answer(question.id, question.session, draft, None, words)

    @property
    def _title(self) -> str:
        item = self.item
        return item.choices[self.marked].title if item is not None else ""

    def _chosen(self, question: Conflict, candidate: Candidate, told: Told) -> Answer:
        draft = draft_choice(question, candidate, who=told.who, why=told.why, at=told.at)
        about = question_words(question, self.facts.questions)
        words = say("{about}: {value}.", about=about, value=self._title)
        return Answer(question.id, question.session, draft, None, words)

    def _of_codes(self, item: Item, codes: Sequence[str], key: str, told: Told) -> Answer:
        ruling = draft_codes(self.facts.clients, codes, key, told)
        words = say("{codes}.", codes=codes_words(codes, key))
        return Answer(item.id, "", None, ruling, words)

    def _of_line(self, line: Proposal, key: str, told: Told) -> Answer:
        words = say("{entry}: {answer}.", entry=str(line.name), answer=self._title)
        return _with_words(answer_changed(line, key, told), words)

    def _passed_on(self, item: Item, typed: str, at: datetime) -> Answer:
        late = cast("LateStop", item.subject)
        draft = draft_passed_on(late, typed, who=self.who, at=at)
        return Answer(item.id, told_in(late).id, draft, None, passed_on_words(late, typed))

    def _noted(self, item: Item, time: str, told: Told) -> Answer:
        found = cast("WrongClock", item.subject)
        shown = found.shown
        if shown is None:
            raise ReadingError(_nothing_marked())
        right = parse_right_time(time, told.at)
        seconds = round(hours_between(shown, right) * 3600)
        why = say(
            "{why}: at {entry} it was {right}, the clock showed {shown}",
            why=told.why,
            entry=str(found.example.by),
            right=when_words(right),
            shown=when_words(shown),
        )
        numbers = (found.first, found.last)
        ruling = draft_clock_note(found.laptop, numbers, seconds, who=told.who, why=why, at=told.at)
        words = say(
            "{laptop}, entries {first} to {last}: {why}.",
            laptop=found.laptop,
            first=found.first,
            last=found.last,
            why=why,
        )
        return Answer(item.id, "", None, ruling, words)


def _question(item: Item) -> Conflict:
    return cast("Conflict", item.subject)


def _same(question: Conflict, wanted: Candidate) -> Candidate:
    """Return the candidate of a question alike that says the same, in all it says."""
    content = content_of(wanted)
    return next(c for c in question.candidates if content_of(c) == content)


def _with_words(answer: Answer, words: str) -> Answer:
    return Answer(answer.id, answer.session, answer.draft, answer.ruling, words)


def _nothing_marked() -> Problem:
    return Problem(
        code="nothing_marked",
        text=say("No value is marked."),
        mend=say("Mark one with ← → or its number."),
    )


def _no_other_value() -> Problem:
    return Problem(
        code="no_such_choice",
        text=say("Only one of the values shown can be chosen here."),
        mend=say("Read the tape again where none of them can be right."),
    )
