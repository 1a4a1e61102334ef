"""Every code that a service of these apps refuses with is explained to programmers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bays.api import urls as _bays
from jobs.api import urls as _jobs
from shopcal.api.kinds import kind_of

ROOT = Path(__file__).parents[3]
# A refusal's code is the first text given to it.
REFUSALS = re.compile(
    r"(?:Conflict|Invalid|NotFound|Stale|refuse_faults)\(\s*\"([a-z_]+)\"", re.MULTILINE
)
PLACES = [
    path
    for app in ("bays", "jobs")
    for folder in ("services", "selectors", "planning", "procedures", "transfer", "api", "floor")
    for path in sorted((ROOT / app / folder).rglob("*.py"))
]
CODES = sorted({code for path in PLACES for code in REFUSALS.findall(path.read_text())})


def test_codes_are_found_in_the_source() -> None:
    assert {"double_booking", "offer_gone", "zones_in_use"} <= set(CODES)
    assert _bays.urlpatterns
    assert _jobs.urlpatterns


@pytest.mark.parametrize("code", CODES)
def test_the_code_is_described(code: str) -> None:
    assert kind_of(code) is not None
