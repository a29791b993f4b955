"""Days of three laptops and two coordinators by verbs alone, and a checker of their history.

What a verb printed as saved must stand in the archive at the end, and nothing may stand there that
no verb was asked for. The folders are read here by a TOML reader, not by the program.
"""

from __future__ import annotations

import itertools
import random
import shutil
import tomllib
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
from command.conftest import REPOSITORY, Anklefirst, World
from hypothesis import settings

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from command.conftest import Ran

LAPTOPS = {"tern": 0, "dunlin": -1, "petrel": -8 * 365 * 24}
"""How many hours each laptop's clock is behind."""
COORDINATORS = ("curlew", "whimbrel")
CODES = ("SK-07", "SK-08", "KES-1", "KES-2")
ANSWERS = {
    "posture": ("standing", "sitting", "lying"),
    "measurer": ("N-17", "N-02"),
    "screen.diabetes": ("yes", "no", "unknown"),
    "tape": ("cm", "in"),
}
WHO = ("--who", "C-02", "--why", "phoned N-17")
# A day costs about a second; a run of 500 examples elsewhere means 50 days here.
_EXAMPLES = settings.default.max_examples if settings.default is not None else 50
DAYS = range(3 if _EXAMPLES <= 50 else 50)


@dataclass
class Day:
    """What happens on one day, and what everybody was told of it."""

    place: Path
    chance: random.Random
    machines: dict[str, Anklefirst]
    saved: list[tuple[str, list[str], dict[str, Any]]] = field(default_factory=list)
    """Of each verb: session (or `ledger`), names it printed as saved, and what it was asked."""
    sticks: list[Path] = field(default_factory=list)

    # --- verbs ---------------------------------------------------------------------------------

    def verb(self, machine: Anklefirst, words: list[str], **told: Any) -> Ran:
        """Run an editing verb, and note what it was asked and what it said was saved."""
        machine.world.later(seconds=40)
        ran = machine(*words, "--json")
        assert ran.code in (0, 1, 2), ran
        if names := ran.json.get("entries"):
            self.saved.append((ran.json["session"], names, told))
        return ran

    def work(self, machine: Anklefirst) -> None:
        """Let somebody do one thing on a laptop."""
        sessions = sorted(path.stem for path in machine.data.glob("sessions/*/*.toml"))
        if not sessions or self.chance.random() < 0.1:
            code = self.chance.choice(CODES)
            ran = self.verb(machine, ["new", "--client", code], what="client", **{"is": code})
            assert ran.code == 0, ran
            return
        session = self.chance.choice(sessions)
        rows = list(rows_of(machine.data, session))
        doing = self.chance.choice(("set", "set", "record", "record", "correct", "withdraw", "say"))
        readings = [row["by"] for array, row in rows if array == "readings"]
        value = f"{self.chance.randint(200, 460) / 10}"
        if doing == "set":
            what = self.chance.choice(sorted(ANSWERS))
            answer = self.chance.choice(ANSWERS[what])
            self.verb(machine, ["set", session, what, answer], what=what, **{"is": answer})
        elif doing == "record":
            point = self.chance.choice("BCD")
            words = ["record", session, "left", point, "girth", value]
            self.verb(machine, words, point=point, typed=value)
        elif doing == "say":
            text = f"skin warm, {self.chance.randint(1, 99)}"
            self.verb(machine, ["remark", session, text], text=text)
        elif readings and doing == "correct":
            name = self.chance.choice(readings)
            words = ["correct", name, value, "--why", "read again"]
            self.verb(machine, words, typed=value, why="read again")
        elif rows:
            name = self.chance.choice([row["by"] for _, row in rows])
            words = ["withdraw", name, "--why", "other client"]
            self.verb(machine, words, takes_back=[name], why="other client")

    def decide(self, machine: Anklefirst) -> bool:
        """Answer one open question, if there is one."""
        found = machine("conflicts", "--json").json["conflicts"]
        if not found:
            return False
        question = self.chance.choice(found)
        value = self.chance.choice(question["values"])
        by = value["from"][0]["entry"]
        choose = value["choose"] if question["kind"] in ("clients", "group") else by
        if len(question["field"].split(" = ")) > 2:
            choose = "linked"  # a whole group is parted two codes at a time, by other verbs
        ran = machine("decide", question["id"], choose, *WHO, "--json")
        assert ran.code in (0, 1), ran
        told = {"who": "C-02", "why": "phoned N-17"}
        for decided in ran.json["decided"]:
            self.saved.append((decided["session"] or "ledger", decided["entries"], told))
        return True

    def tie(self, machine: Anklefirst) -> None:
        """Say something of two codes."""
        codes = self.chance.sample(CODES, 2)
        verb = self.chance.choice(("link", "distinct"))
        ran = machine(verb, *codes, *WHO, "--json")
        if ran.code in (0, 1) and ran.json.get("entry"):
            self.saved.append(("ledger", [ran.json["entry"]], {"codes": codes}))

    # --- sticks --------------------------------------------------------------------------------

    def copy_to_stick(self, machine: Anklefirst) -> None:
        """Copy a laptop's folder; sometimes the stick is pulled early."""
        stick = self.place / f"stick{len(self.sticks)}"
        shutil.copytree(machine.data, stick)
        files = sorted(stick.glob("*/*.toml")) + sorted(stick.glob("sessions/*/*.toml"))
        if files and self.chance.random() < 0.4:
            cut = self.chance.randrange(len(files))
            raw = files[cut].read_bytes()
            files[cut].write_bytes(raw[: self.chance.randrange(len(raw))])
            for path in files[cut + 1 :]:
                path.unlink()
        self.sticks.append(stick)

    def merge(self, machine: Anklefirst, *sticks: Path, code: int | None = None) -> Any:
        ran = machine.bare("merge", machine.data, *sticks, "--json")
        assert ran.code == code if code is not None else ran.code in (0, 1), ran
        return ran.json

    # --- the checker ---------------------------------------------------------------------------

    def check(self, folder: Path) -> None:
        """Acknowledged minus final is empty; final minus attempted is empty."""
        final = {(place, row["by"]): row for place, row in all_rows(folder)}
        acknowledged = {(place, name) for place, names, _ in self.saved for name in names}
        assert acknowledged - set(final) == set()
        assert set(final) - acknowledged == set()
        for place, names, told in self.saved:
            # A verb may write more than it was asked, such as the rules it was asked under.
            written = [final[(place, name)] for name in names]
            assert any(told.items() <= row.items() for row in written), (names, told, written)


def rows_of(folder: Path, session: str) -> Iterable[tuple[str, dict[str, Any]]]:
    (path,) = folder.glob(f"sessions/*/{session}.toml")
    return rows_in(path)


def rows_in(path: Path) -> list[tuple[str, dict[str, Any]]]:
    """Return array and fields of each entry of a file, as a TOML reader sees them."""
    values = tomllib.loads(path.read_text(encoding="utf-8"))
    arrays = {key: value for key, value in values.items() if isinstance(value, list)}
    return [(array, row) for array, rows in arrays.items() for row in rows]


def all_rows(folder: Path) -> list[tuple[str, dict[str, Any]]]:
    """Return session id or `ledger`, and fields, of every entry of a folder."""
    sessions = [(path, path.stem) for path in folder.glob("sessions/*/*.toml")]
    ledgers = [(path, "ledger") for path in folder.glob("ledger/*.toml")]
    return [(place, row) for path, place in [*sessions, *ledgers] for _, row in rows_in(path)]


def bytes_of(folder: Path) -> dict[str, bytes]:
    """Return every file of a folder but the laptop's own name."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != "laptop.toml"
    }


@pytest.fixture
def day(request: pytest.FixtureRequest, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Day:
    """Give three laptops and two coordinators, each with its own clock and its own memory."""
    noon = datetime(2026, 3, 4, 9, 12, 40, tzinfo=ZoneInfo("Europe/London"))
    machines = {}
    for number, name in enumerate((*LAPTOPS, *COORDINATORS)):
        behind = timedelta(hours=LAPTOPS.get(name, 0))
        state = tmp_path / f"state-{name}"
        world = World(state, noon + behind, drawn=1_000_000 * number)
        machines[name] = Anklefirst(tmp_path / name, world, capsys)
    return Day(tmp_path, random.Random(getattr(request, "param", 0)), machines)  # noqa: S311


@pytest.mark.parametrize("day", DAYS, indirect=True)
def test_what_was_acknowledged_is_there_and_nothing_else(day: Day) -> None:
    laptops = [day.machines[name] for name in LAPTOPS]
    curlew, whimbrel = (day.machines[name] for name in COORDINATORS)
    for machine in laptops:
        day.work(machine)
    for _ in range(45):
        event = day.chance.random()
        laptop = day.chance.choice(laptops)
        coordinator = day.chance.choice((curlew, whimbrel))
        if event < 0.65:
            day.work(laptop)
        elif event < 0.75:
            day.copy_to_stick(laptop)
        elif event < 0.87 and day.sticks:
            receiver = day.chance.choice((coordinator, coordinator, laptop))
            day.merge(receiver, day.chance.choice(day.sticks))
        elif coordinator.data.exists():
            day.decide(coordinator)
            day.tie(coordinator)

    folders = [laptop.data for laptop in laptops]
    there = [c.data for c in (curlew, whimbrel) if c.data.exists()]
    report = day.merge(curlew, *folders, *there, *day.sticks)
    assert report["gaps"] == []
    day.check(curlew.data)

    # The same from nothing, in other orders, one stick after the other.
    folders = [*folders, *day.sticks, *[data for data in there if data != curlew.data]]
    outcomes = []
    for number in range(2):
        shutil.copytree(curlew.data, day.place / f"copy{number}")
        day.chance.shuffle(folders)
        other = replace(curlew, data=day.place / f"other{number}")
        for folder in [*folders, day.place / f"copy{number}"]:
            day.merge(other, folder)
        outcomes.append({k: v for k, v in bytes_of(other.data).items() if "set-aside" not in k})
    assert outcomes[0] == outcomes[1]

    while day.decide(curlew):
        pass
    day.check(curlew.data)
    stick = day.place / "to-all"
    stick.mkdir()
    assert curlew("carry-back", stick).code == 0
    for laptop in laptops:
        day.merge(laptop, stick)
        assert laptop("conflicts", "--json").json["conflicts"] == []
        day.check(laptop.data)
    before = bytes_of(curlew.data)
    again = day.merge(curlew, *[laptop.data for laptop in laptops], stick)
    assert (again["added"], again["updated"], again["conflicts_open"]) == (0, 0, 0)
    assert bytes_of(curlew.data) == before
    assert curlew.bare("verify", curlew.data).code == 0


# --- the demo day ------------------------------------------------------------------------------


def test_the_demo_day_asks_what_it_is_known_to_ask_and_after_the_answers_nothing(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    """Case 14: two laptops put one posture right, differently, for a client of two codes."""
    laptops = [tmp_path / name for name in LAPTOPS]
    for laptop in laptops:
        shutil.copytree(REPOSITORY / "sample_sessions" / laptop.name, laptop)
    orders = list(itertools.permutations(laptops))
    archives = [replace(anklefirst, data=tmp_path / f"archive{n}") for n in range(len(orders))]
    for archive, order in zip(archives, orders, strict=True):
        assert archive.bare("merge", archive.data, *order).code == 1
        questions = archive("conflicts", "--json").json
        (question,) = questions["conflicts"]
        assert questions["proposals"] == []
        assert (question["client"], question["field"]) == ("tern-006-0", "posture")
        assert {
            value["choose"]: [(by["entry"], by["had_seen"]) for by in value["from"]]
            for value in question["values"]
        } == {
            "lying": [("dunlin-autj:45", ["tern-8qpr:64"])],
            "sitting": [("tern-8qpr:82", ["tern-8qpr:64"])],
        }

    first = archives[0]
    (question,) = first("conflicts", "--json").json["conflicts"]
    assert first("decide", question["id"], "sitting", *WHO).code == 0
    linked = first("link", "tern-006-0", "dunlin-006-M", *WHO, "--json")
    assert (linked.code, linked.json["questions"]) == (0, [])
    stick = tmp_path / "stick"
    stick.mkdir()
    assert first("carry-back", stick).code == 0
    for laptop in laptops:
        assert first.bare("merge", laptop, stick).code == 0
        assert first.bare("conflicts", laptop).code == 0
    outcomes = []
    for archive, order in zip(archives, orders, strict=True):
        ran = archive.bare("merge", archive.data, *order, stick, "--json")
        assert (ran.code, ran.json["conflicts_open"]) == (0, 0)
        open_now = archive("conflicts", "--json").json
        assert [open_now[key] for key in ("conflicts", "proposals", "late_stops")] == [[], [], []]
        outcomes.append(bytes_of(archive.data))
    assert outcomes == [outcomes[0]] * len(orders)
    assert len([name for name in outcomes[0] if name.startswith("sessions/")]) == 16
    assert "manifest.toml" in outcomes[0]
