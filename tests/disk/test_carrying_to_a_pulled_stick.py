"""Carrying back to a stick that is not there: nothing is made anew on the hard disk."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from screens import build_app

from fitcore.disk import carrying_back
from fitcore.disk.carrying_back import carry_back
from fitcore.disk.data_folder import DataFolder
from fitcore.problems import FileFault
from fitcore.record.edits import draft_answer

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    data = tmp_path / "data"
    around = build_app(data).surroundings
    with DataFolder(data, around, label="curlew", measurer="C-02") as folder:
        session = folder.new_session()
        draft = draft_answer(session, "client", "SK-01", around.now())
        assert draft is not None
        folder.append(session, [draft])
    return data


def test_a_stick_whose_folder_is_gone_is_refused_and_not_made_anew(
    archive: Path, tmp_path: Path
) -> None:
    stick = tmp_path / "p2"
    with pytest.raises(FileFault, match="p2 is gone; nothing was written"):
        carry_back(archive, stick, build_app(archive).surroundings)
    assert not stick.exists()
    stick.write_text("a file is no stick either")
    with pytest.raises(FileFault, match="p2 is gone"):
        carry_back(archive, stick, build_app(archive).surroundings)


def test_a_stick_pulled_while_it_is_written_is_not_made_anew(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a pulled stick leaves behind is perhaps an empty folder of the hard disk."""
    stick = tmp_path / "p2"
    stick.mkdir()
    drives = iter([1, 2, 2])
    monkeypatch.setattr(carrying_back, "_drive", lambda _: next(drives))
    with pytest.raises(FileFault, match="p2 was pulled while it was written"):
        carry_back(archive, stick, build_app(archive).surroundings)
    assert not list(stick.rglob("*.toml"))
