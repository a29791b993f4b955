"""A place to work in, for every test of the store."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from disk.places import Place

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def place(tmp_path: Path) -> Place:
    """Give a data folder that does not exist yet, and its surroundings."""
    return Place(tmp_path)
