"""Canonical JSON and the hash of an event."""

import json
from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcal.history.chain import FIRST_PREVIOUS, canonical, event_hash

CONTENT = {
    "shop": 7,
    "seq": 1,
    "at": "2026-03-02T12:00:00.000000+00:00",
    "actor": {"name": "the service", "role": "", "user": None, "membership": None},
    "kind": "visit.booked",
    "subject": "visit:12",
    "visit": 12,
    "before": None,
    "after": {"margin_mm": 340.5, "bay": "Bay 1"},
}
# The canonical text of this event, written out by hand and hashed with GNU coreutils' sha256sum.
SHA256SUM = "2d2571cc1505900cf3df8ce7d94c08e81fb507624e95ad9c21f96e1d29913315"


def test_hash_of_a_known_event_is_what_sha256sum_gives() -> None:
    assert event_hash(CONTENT, FIRST_PREVIOUS) == SHA256SUM


@pytest.mark.parametrize("field", sorted(CONTENT))
def test_hash_covers_every_field(field: str) -> None:
    assert event_hash({**CONTENT, field: "other"}, FIRST_PREVIOUS) != SHA256SUM


def test_hash_covers_the_hash_before_it() -> None:
    assert event_hash(CONTENT, "1" * 64) != SHA256SUM


JSON_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text() | st.integers(), inner),
)


@given(JSON_VALUES)
def test_reading_canonical_text_and_writing_it_again_changes_nothing(value: object) -> None:
    text = canonical(value)
    assert canonical(json.loads(text)) == text
    assert text.isascii()


def test_order_of_keys_does_not_matter() -> None:
    assert canonical({"b": 1, "a": {"d": 2, "c": 3}}) == '{"a":{"c":3,"d":2},"b":1}'
    assert canonical({10: "x", 9: "y"}) == canonical({9: "y", 10: "x"})


def test_dates_decimals_and_sets_become_plain_text() -> None:
    given_values = {
        "at": datetime(2026, 3, 2, 12, tzinfo=UTC),
        "on": date(2026, 3, 2),
        "price": Decimal("1.10"),
        "key": UUID(int=1),
        "zones": frozenset({"z2", "z1"}),
    }
    assert json.loads(canonical(given_values)) == {
        "at": "2026-03-02T12:00:00+00:00",
        "on": "2026-03-02",
        "price": "1.10",
        "key": "00000000-0000-0000-0000-000000000001",
        "zones": ["z1", "z2"],
    }


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_what_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="Out of range"):
        canonical({"toe_deg": value})


def test_what_json_cannot_hold_is_refused() -> None:
    with pytest.raises(TypeError, match="give plain values"):
        canonical({"row": object()})
