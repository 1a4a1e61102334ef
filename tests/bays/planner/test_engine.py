"""The compiled engine: whatever it makes stands up to the verifier, and is never dearer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from bays.planner import Plan, Problem, dispatch, plan_of, verify
from bays.planner.calendar import starts_of
from bays.planner.engine.bits import first_taken, is_free, runs, set_free
from bays.planner.engine.chance import below, share, stream
from bays.planner.engine.rounds import Budget
from bays.planner.engine.search import (
    better_rows,
    first_plan,
    rows_as_table,
    table_as_rows,
)
from bays.planner.engine.tables import compile_problem
from bays.planner.improve import improve, quick_plan

from .shop import camera, drive, scan, shop, shops, surround, vehicle

WORDS = 5
CELLS = 64 * (WORDS - 3)

shops_tried = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def planned(problem: Problem) -> Plan:
    plan = dispatch(problem)
    assume(isinstance(plan, Plan))
    assert isinstance(plan, Plan)
    return plan


def improved(problem: Problem, plan: Plan, turns: int = 150, seed: int = 0) -> Plan:
    """What the engine makes of a plan, without the verifier that `improve` ends with."""
    compiled = compile_problem(problem)
    table = rows_as_table(compiled, plan.rows)
    rows = better_rows(compiled, table, Budget(turns=turns), seed, workers=1)
    return plan_of(problem, table_as_rows(compiled, rows))


@given(st.one_of(shops(), shops(with_all=True)), st.integers(0, 2**31))
@shops_tried
def test_every_improved_plan_passes_the_verifier_and_costs_no_more(
    problem: Problem, seed: int
) -> None:
    plan = planned(problem)
    better = improved(problem, plan, seed=seed)
    assert verify(problem, better) == []
    assert better.cost <= plan.cost


@given(st.one_of(shops(), shops(with_all=True)))
@shops_tried
def test_every_first_plan_passes_the_verifier(problem: Problem) -> None:
    planned(problem)
    compiled = compile_problem(problem)
    rows = first_plan(compiled)
    if rows is not None:
        assert verify(problem, plan_of(problem, table_as_rows(compiled, rows))) == []


@given(st.one_of(shops(), shops(with_all=True)), st.data())
@shops_tried
def test_pinned_rows_stay_and_the_rest_is_improved_around_them(
    problem: Problem, data: st.DataObject
) -> None:
    plan = planned(problem)
    pins = tuple(data.draw(st.sets(st.sampled_from(plan.rows))))
    pinned = replace(problem, pins=pins, previous=plan.rows)
    paid = plan_of(pinned, plan.rows)
    better = improved(pinned, paid)
    assert verify(pinned, better) == []
    assert better.cost <= paid.cost


def crowded() -> Problem:
    """Ten vehicles that want the same two bays and the same two people on one morning."""
    kinds = (camera, surround, drive)
    return shop(
        *(
            vehicle(
                f"v{n}",
                scan("in"),
                kinds[n % 3](),
                scan("out"),
                release=480 + 15 * (n % 4),
                due=700 + 60 * ((7 * n) % 5),
                weight=1 + n % 3,
            )
            for n in range(10)
        )
    )


def test_the_same_seed_and_turns_give_the_same_plan_with_two_workers() -> None:
    problem = crowded()
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    one, two = (improve(problem, plan, seed=5, turns=2_000) for _ in range(2))
    assert one == two


def test_a_crowded_morning_gets_cheaper() -> None:
    problem = crowded()
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    assert improve(problem, plan, seed=1, turns=4_000).cost < plan.cost


def test_a_plan_that_lacks_an_operation_is_given_back() -> None:
    problem = crowded()
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    part = plan_of(problem, plan.rows[:-3])
    assert improve(problem, part, turns=10) is part


def test_an_empty_shop_has_an_empty_plan() -> None:
    problem = shop()
    first = quick_plan(problem)
    assert first is not None
    assert improve(problem, first, turns=10).rows == ()


def test_somebody_without_room_before_the_horizon_leaves_no_first_plan() -> None:
    nobody = vehicle("v", scan(skill="welding"))
    assert quick_plan(shop(nobody)) is None


@given(
    st.integers(0, (1 << CELLS) - 1),
    st.integers(0, CELLS - 1),
    st.integers(1, 100),
)
@settings(max_examples=300, deadline=None)
def test_words_answer_as_whole_numbers_do(mask: int, cell: int, cells: int) -> None:
    """Against Python's own integers of any length."""
    free = as_words(mask)
    starts = starts_of(mask, cells)
    word = cell // 64
    assert int(runs(free, 0, word, cells)) == (starts >> (64 * word)) & (2**64 - 1)
    stop = min(cell + cells, CELLS)
    span = ((1 << (stop - cell)) - 1) << cell
    assert is_free(free, 0, cell, stop) == (mask & span == span)
    assert first_taken(free, 0, cell) == cell + trailing_ones(mask >> cell)
    set_free(free, 0, cell, stop, False)
    assert as_number(free) == mask & ~span
    set_free(free, 0, cell, stop, True)
    assert as_number(free) == mask | span


def as_words(mask: int) -> np.ndarray[tuple[int, int], np.dtype[np.uint64]]:
    return np.frombuffer(mask.to_bytes(8 * WORDS, "little"), "<u8").copy().reshape(1, WORDS)


def as_number(words: np.ndarray[tuple[int, int], np.dtype[np.uint64]]) -> int:
    return int.from_bytes(words.tobytes(), "little")


def trailing_ones(number: int) -> int:
    return ((number + 1) & ~number).bit_length() - 1


def test_chance_is_spread_evenly_and_differs_between_workers() -> None:
    """Counts of 20,000 draws over ten values, chi-squared below its 99.99 % point for 9 degrees
    of freedom, 33.7 (scipy.stats.chi2.ppf)."""
    state = stream(3, 0)
    counts = np.bincount([below(state, 10) for _ in range(20_000)], minlength=10)
    assert ((counts - 2_000) ** 2 / 2_000).sum() < 33.7
    assert 0.49 < np.mean([share(state) for _ in range(20_000)]) < 0.51
    assert stream(3, 0) != stream(3, 1)
