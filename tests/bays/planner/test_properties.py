"""Whatever the shop, nothing comes out that the verifier refuses."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from bays.planner import (
    Disruption,
    Infeasible,
    NotProved,
    Plan,
    Problem,
    Quote,
    Replan,
    RunsLong,
    TechnicianOut,
    UnitOut,
    Urgent,
    Vehicle,
    Window,
    ZoneClosed,
    dispatch,
    explain,
    plan_of,
    problem_with,
    quote,
    replan,
    verify,
)
from bays.planner.improve import improve

from .shop import shops, vehicles

shops_tried = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


everything = shops(with_all=True)


def planned(problem: Problem) -> Plan:
    plan = dispatch(problem)
    assume(isinstance(plan, Plan))
    assert isinstance(plan, Plan)
    return plan


@given(st.one_of(shops(), everything))
@shops_tried
def test_every_dispatched_plan_passes_the_verifier(problem: Problem) -> None:
    plan = dispatch(problem)
    if isinstance(plan, Plan):
        assert verify(problem, plan) == []
    else:
        assert isinstance(plan, NotProved | Infeasible)
        assert plan.binding.says


@given(st.one_of(shops(), everything), st.data())
@shops_tried
def test_rows_pinned_at_random_stay_and_the_rest_is_planned_around_them(
    problem: Problem, data: st.DataObject
) -> None:
    plan = planned(problem)
    chosen = data.draw(st.sets(st.sampled_from(plan.rows)))
    pinned = replace(problem, pins=tuple(chosen))
    again = planned(pinned)
    assert verify(pinned, again) == []


@given(st.one_of(shops(), everything), vehicles("new", with_all=True))
@shops_tried
def test_every_offer_is_verified_distinct_and_leaves_the_plan_alone(
    problem: Problem, new: Vehicle
) -> None:
    plan = planned(problem)
    asked = problem_with(problem, new)
    answer = quote(problem, plan, new)
    assert isinstance(answer, Quote)
    assert answer.binding is not None
    assert len({offer.start for offer in answer.offers}) == len(answer.offers)
    for offer in answer.offers:
        assert {row.operation for row in offer.rows} == {o.id for o in new.operations}
        assert verify(asked, plan_of(asked, (*plan.rows, *offer.rows))) == []


def disruptions(problem: Problem, plan: Plan, now: int) -> st.SearchStrategy[Disruption]:
    window = st.builds(
        lambda a, m: Window(now + a, now + a + m), st.integers(0, 120), st.integers(1, 600)
    )
    started = [row for row in plan.rows if row.start < now] or list(plan.rows)
    return st.one_of(
        st.builds(TechnicianOut, st.sampled_from([t.id for t in problem.technicians]), window),
        st.builds(UnitOut, st.sampled_from([u.id for u in problem.units]), window),
        st.builds(ZoneClosed, st.sampled_from(["z1", "z2"]), window),
        st.builds(
            lambda row, more: RunsLong(row.vehicle, row.operation, row.end + more),
            st.sampled_from(started),
            st.integers(1, 200),
        ),
        st.builds(
            lambda v: Urgent(replace(v, release=now, due=now + 120, weight=8)), vehicles("urgent")
        ),
    )


@given(st.one_of(shops(), everything), st.integers(8 * 60, 16 * 60), st.data())
@shops_tried
def test_every_replan_is_verified_and_keeps_what_has_started(
    problem: Problem, now: int, data: st.DataObject
) -> None:
    plan = planned(problem)
    now = max(now, problem.now)
    event = data.draw(disruptions(problem, plan, now))
    answer = replan(problem, plan, now, event)
    if not isinstance(answer, Replan):
        assert not isinstance(answer, Plan)
        return
    assert verify(answer.problem, answer.plan) == []
    after = {row.key: row for row in answer.plan.rows}
    for row in plan.rows:
        if row.start < now and not isinstance(event, RunsLong):
            assert replace(after[row.key], park_after=row.park_after) == row
    listed = {(change.vehicle, change.operation) for change in answer.changes}
    before = {row.key: row for row in plan.rows}
    assert listed == {k for k in before.keys() | after.keys() if before.get(k) != after.get(k)}


@given(st.one_of(shops(), everything), st.integers(0, 20 * 60))
@shops_tried
def test_replan_without_a_disruption_changes_nothing(problem: Problem, now: int) -> None:
    plan = planned(problem)
    answer = replan(problem, plan, max(now, problem.now), None)
    assert isinstance(answer, Replan)
    assert answer.changes == ()
    assert answer.promise_moves == ()
    assert answer.plan.rows == plan.rows


@given(everything, st.integers(0, 9))
@settings(shops_tried, max_examples=20)
def test_every_improved_plan_passes_the_verifier_and_is_no_dearer(
    problem: Problem, seed: int
) -> None:
    plan = planned(problem)
    better = improve(problem, plan, seconds=0.05, seed=seed, workers=1)
    assert verify(problem, better) == []
    assert better.cost <= plan.cost


@given(everything, st.data())
@shops_tried
def test_one_row_pinned_in_the_middle_still_leaves_its_vehicle_a_plan(
    problem: Problem, data: st.DataObject
) -> None:
    """Alone in the shop: the plan it had is one, so the words 'no room' would be wrong."""
    one = data.draw(st.sampled_from(problem.vehicles))
    alone = replace(problem, vehicles=(one,))
    plan = planned(alone)
    pin = data.draw(st.sampled_from(plan.rows))
    fixed = replace(alone, pins=(pin,))
    again = dispatch(fixed)
    assert isinstance(again, Plan), again
    assert verify(fixed, again) == []


@given(everything, st.data())
@shops_tried
def test_a_vehicle_taken_away_never_leaves_the_others_without_a_plan(
    problem: Problem, data: st.DataObject
) -> None:
    plan = planned(problem)
    gone = data.draw(st.sampled_from(problem.vehicles))
    fewer = replace(problem, vehicles=tuple(v for v in problem.vehicles if v.id != gone.id))
    rest = plan_of(fewer, [row for row in plan.rows if row.vehicle != gone.id])
    assert verify(fewer, rest) == []
    assert rest.cost <= plan.cost
    assert not isinstance(dispatch(fewer), Infeasible)


@given(shops())
@shops_tried
def test_every_vehicle_has_a_chain_of_reasons_that_ends(problem: Problem) -> None:
    plan = planned(problem)
    for one in problem.vehicles:
        reasons = explain(problem, plan, one.id)
        assert reasons.chain
        assert reasons.chain[0].vehicle == one.id
        starts = [link.start for link in reasons.chain]
        assert starts == sorted(starts, reverse=True)
