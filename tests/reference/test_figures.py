"""Shares against published and general-purpose sources, use against another way to count."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from reports.figures import Span, share_of, use_of

START = datetime(2026, 11, 25, 8, tzinfo=UTC)


# scipy.stats.binomtest(...).proportion_ci(method="wilson"), SciPy's own implementation.
@given(st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_interval_is_the_one_scipy_gives(case: tuple[int, int]) -> None:
    hits, cases = case
    ours = share_of(hits, cases)
    theirs = binomtest(hits, cases).proportion_ci(confidence_level=0.95, method="wilson")
    assert ours.lower == pytest.approx(theirs.low, abs=1e-12)
    assert ours.upper == pytest.approx(theirs.high, abs=1e-12)


# R. G. Newcombe, Two-sided confidence intervals for the single proportion, Statistics in Medicine
# 17 (1998) 857-872, table I, method 3 (score, no continuity correction); values from memory.
@pytest.mark.parametrize(
    ("hits", "cases", "lower", "upper"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_the_interval_is_the_one_newcombe_tabulates(
    hits: int, cases: int, lower: float, upper: float
) -> None:
    share = share_of(hits, cases)
    assert share.lower == pytest.approx(lower, abs=5e-5)
    assert share.upper == pytest.approx(upper, abs=5e-5)


_minute = st.integers(0, 300)
_spans = st.lists(st.tuples(_minute, _minute).filter(lambda s: s[0] < s[1]), max_size=8)


# Counted minute by minute instead of by span arithmetic.
@given(_spans, _spans)
def test_use_is_what_counting_single_minutes_gives(
    held: list[tuple[int, int]], opened: list[tuple[int, int]]
) -> None:
    taken = {m for a, b in held for m in range(a, b)}
    free = {m for a, b in opened for m in range(a, b)}
    use = use_of("Bay 1", [_span(*s) for s in held], [_span(*s) for s in opened])
    assert use.held_minutes == len(taken & free)
    assert use.open_minutes == len(free)
    assert use.outside_minutes == len(taken - free)


def _span(start: int, end: int) -> Span:
    return Span(START + timedelta(minutes=start), START + timedelta(minutes=end))
