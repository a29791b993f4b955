"""Files another program laid out anew: asked about, and nothing in them lost."""

from __future__ import annotations

import tomllib
from decimal import Decimal

import pytest
from strategies import SESSION

from fitcore.record.codec import read_session, write_session

HEAD = f'format = 1\nsession = "{SESSION}"\n'

FOREIGN: dict[str, str] = {
    "date": "x = 2026-03-04",
    "time": "x = 09:12:40",
    "time without an offset": "at = 2026-03-04T09:12:40",
    "parts of a second": "at = 2026-03-04T09:12:40.25+01:00",
    "first day of all": "at = 0001-01-01T00:00:00+02:00",
    "last day of all": "at = 9999-12-31T23:59:59-02:00",
    "numbers in a list": "x = [1, 2.5, true]",
    "instants in a list": "x = [2026-03-04T09:12:40+01:00]",
    "empty list": "x = []",
    "key with a blank": '"odd key" = 1',
    "empty key": '"" = 1',
    "key with a quote": "'a\"b' = 1",
    "padded decimal": "x = 22.40",
    "literal text": "x = 'C:\\temp'",
    "hexadecimal": "x = 0xff",
}


LAID_OUT = [("entry", name) for name in FOREIGN] + [
    ("head", name)
    for name in FOREIGN
    if name != "empty list"  # there it is an array of nothing
]


@pytest.mark.parametrize(("place", "name"), LAID_OUT)
def test_a_file_laid_out_anew_keeps_every_value(place: str, name: str) -> None:
    """Blocks instead of lines: asked about, and what we then write says the same again."""
    head, entry = (FOREIGN[name], "") if place == "head" else ("", FOREIGN[name])
    text = f'{HEAD}{head}\n[[answers]]\nby = "tern-k7qd:1"\n{entry}\n'
    session, problems = read_session(text.encode())
    assert session is not None
    assert [problem.code for problem in problems] == ["seal_broken"]
    meant = tomllib.loads(text, parse_float=Decimal)
    written = tomllib.loads(write_session(session), parse_float=Decimal)
    assert {key: value for key, value in written.items() if key != "seal"} == meant
