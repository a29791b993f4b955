"""Saving an own chart that was opened in the editor: changed meanwhile, badly named, half done."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fitcore.disk.chart_files import (
    chart_files,
    digest_of,
    draft_values,
    drafts,
    is_file_name,
    own_chart_path,
    write_draft,
    write_own_chart,
)
from fitcore.disk.profile_files import load_profiles
from fitcore.problems import FileFault, ProfileError
from tui import chart_saving
from tui.chart_drafts import draft_text, grid_of_chart, grid_of_draft
from tui.chart_grid_reading import read_grid_table
from tui.chart_saving import ChartSave, plan_save

if TYPE_CHECKING:
    from pathlib import Path

    from tui.chart_grid import ChartGrid

RANGES = load_profiles().ranges
CHART = """format = 1
id = "{id}"
maker = "Invented Mill Nine"
line = "Neap"
invented = true
form = "below_knee"
toe = "open"
purposes = ["work"]
unit = "cm"
step_mm = 1
posture = "standing"
overlap = "ask"
valid_from = 2026-01-01

[source]
status = "invented"
text = "Made up for a test"

[[dimensions]]
id = "ankle"
point = "B"
kind = "girth"

[[dimensions]]
id = "calf"
point = "C"
kind = "girth"

[[sizes]]
size = "S"
ankle = [19, 20.9]
calf = [30, 35.9]

[[sizes]]
size = "M"
ankle = [21, 22.9]
calf = [36, 40]
"""


def opened(own: Path, chart_id: str = "neap", name: str = "neap") -> ChartGrid:
    """Write an own chart and open it as the list of charts does."""
    text = CHART.replace("{id}", chart_id)
    write_own_chart(own_chart_path(own, name), text, expected=None)
    file = chart_files(own)[chart_id]
    grid = grid_of_chart(file.values, RANGES)
    grid.opened = file.digest
    return grid


def planned(grid: ChartGrid, own: Path, edits: str = "neap") -> ChartSave:
    return plan_save(grid, read_grid_table(grid, RANGES, on=None), own, edits)


CHANGED = "It was changed since you opened it"


def test_a_file_nobody_touched_is_only_told_to_be_there(tmp_path: Path) -> None:
    grid = opened(tmp_path)
    assert "neap.toml is there already" in planned(grid, tmp_path).told[0]
    assert CHANGED not in " ".join(planned(grid, tmp_path).told)


def test_a_file_changed_outside_while_it_was_open_is_told_before_it_is_written_over(
    tmp_path: Path,
) -> None:
    grid = opened(tmp_path)
    path = own_chart_path(tmp_path, "neap")
    path.write_text(path.read_text().replace("22.9", "23.9"))
    assert CHANGED in " ".join(planned(grid, tmp_path).told)
    path.unlink()
    assert "was taken away since you opened it" in " ".join(planned(grid, tmp_path).told)


def test_a_draft_remembers_what_it_was_opened_from(tmp_path: Path) -> None:
    grid = opened(tmp_path)
    write_draft(tmp_path, "neap", draft_text(grid, "neap"))
    again, edits = grid_of_draft(draft_values(drafts(tmp_path)["neap"]), RANGES)
    assert (edits, again.opened) == (
        "neap",
        digest_of(own_chart_path(tmp_path, "neap").read_bytes()),
    )
    path = own_chart_path(tmp_path, "neap")
    path.write_text(path.read_text() + "# by somebody else\n")
    assert CHANGED in " ".join(planned(again, tmp_path).told)


def test_a_chart_saved_under_another_id_says_nothing_of_the_one_it_was_opened_from(
    tmp_path: Path,
) -> None:
    grid = opened(tmp_path)
    path = own_chart_path(tmp_path, "neap")
    path.write_text(path.read_text() + "# by somebody else\n")
    grid.head["id"] = "spring"
    assert planned(grid, tmp_path).told == ()


def test_a_chart_of_an_id_that_names_no_file_can_be_mended_where_it_lies(tmp_path: Path) -> None:
    grid = opened(tmp_path, chart_id="Mill One", name="mine")
    assert not is_file_name("Mill One")
    with pytest.raises(ProfileError):
        planned(grid, tmp_path, "Mill One")
    grid.head["id"] = "mill-nine-neap"
    save = planned(grid, tmp_path, "Mill One")
    assert save.path == own_chart_path(tmp_path, "mine")
    assert save.write(tmp_path, "new-1") == ""
    assert set(chart_files(tmp_path)) - set(chart_files(tmp_path / "none")) == {"mill-nine-neap"}


def test_a_draft_that_cannot_be_taken_away_is_no_failed_save(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    grid = opened(tmp_path)
    grid.head["line"] = "Spring"
    save = planned(grid, tmp_path)

    def refuse(_own: Path, name: str) -> None:
        own_chart_path(tmp_path, name.upper())  # raises the fault of a name that is none

    monkeypatch.setattr(chart_saving, "drop_draft", refuse)
    assert "cannot be the name of a file" in save.write(tmp_path, "neap")
    assert "Spring" in save.path.read_text()
    with pytest.raises(FileFault):
        save.write(tmp_path, "neap")  # what could not be written stays a fault
