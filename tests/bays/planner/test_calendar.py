"""Bit-mask arithmetic against counting cell by cell."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bays.planner.calendar import (
    at_least,
    cells_inside,
    cells_touched,
    first_cell,
    from_cell,
    starts_of,
)
from bays.planner.problem import Window

masks = st.integers(0, 2**40 - 1)


@given(masks, st.integers(1, 12))
def test_a_start_is_where_every_following_cell_is_free(mask: int, cells: int) -> None:
    expected = sum(1 << t for t in range(41) if all(mask >> (t + n) & 1 for n in range(cells)))
    assert starts_of(mask, cells) == expected


@given(st.lists(masks, max_size=5), st.integers(1, 4))
def test_at_least_counts_the_masks_that_have_a_cell(several: list[int], count: int) -> None:
    expected = sum(1 << t for t in range(41) if sum(m >> t & 1 for m in several) >= count)
    assert at_least(count, several) == expected


def test_free_windows_shrink_to_the_grid_and_taken_ones_grow() -> None:
    assert cells_inside([Window(3, 21)]) == 0b1110
    assert cells_touched(3, 21) == 0b11111


def test_windows_that_touch_off_the_grid_lose_no_cell() -> None:
    assert cells_inside([Window(12, 25), Window(0, 12)]) == 0b11111


def test_first_cell_of_nothing_is_nothing() -> None:
    assert first_cell(0) is None
    assert first_cell(from_cell(0b1011, 1)) == 1
