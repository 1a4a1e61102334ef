"""Offers that others make room for, the one nearest a wished time, and the cheapest."""

from __future__ import annotations

from dataclasses import replace

from bays.planner import Offer, Plan, Problem, Quote, Row, Vehicle, dispatch, plan_of, quote, verify
from bays.planner.quote import problem_with

from .shop import at, vehicle
from .test_dispatch import crowded

FREEZE = 30


def answers(wished: int | None = None) -> list[tuple[Problem, Plan, Vehicle, Quote]]:
    problem = crowded(40)
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    found = []
    for number in range(8):
        work = problem.vehicles[number].operations
        new = vehicle("new", *work, release=at(8 + number), due=at(18))
        answer = quote(problem, plan, new, wished=wished, freeze_minutes=FREEZE)
        assert isinstance(answer, Quote)
        found.append((problem_with(problem, new), plan, new, answer))
    return found


def everyone(plan: Plan, offer: Offer) -> list[Row]:
    moved = {row.key for row in offer.moved}
    return [*(row for row in plan.rows if row.key not in moved), *offer.moved, *offer.rows]


def test_every_offer_has_a_whole_plan_behind_it_in_which_nobody_is_later() -> None:
    some_moved = False
    for problem, plan, _, answer in answers(wished=at(13)):
        for offer in answer.offers:
            whole = plan_of(problem, everyone(plan, offer))
            assert verify(problem, whole) == []
            late = {name: minutes for name, minutes in whole.late.items() if name != "new"}
            assert all(minutes <= plan.late.get(name, 0) for name, minutes in late.items())
            assert offer.added_cost == whole.cost - plan.cost
            some_moved |= bool(offer.moved)
    assert some_moved


def test_who_gives_way_moves_a_little_and_for_a_clearly_earlier_finish() -> None:
    for problem, plan, _, answer in answers():
        old = {row.key: row for row in plan.rows}
        calm = [offer.finish for offer in answer.offers if not offer.moved]
        assert calm
        for offer in answer.offers:
            assert all(abs(row.start - old[row.key].start) <= 60 for row in offer.moved)
            assert all(old[row.key].start >= problem.now + FREEZE for row in offer.moved)
            assert not offer.moved or min(calm) - offer.finish >= 15
            words = offer.cost_to_others
            assert words.startswith("moves ") if offer.moved else words == "nobody else moves"


def test_nobody_moves_without_a_freeze_or_within_it() -> None:
    problem, plan, new, _ = answers()[0]
    for freeze in (None, 100_000):
        answer = quote(problem, plan, new, freeze_minutes=freeze)
        assert isinstance(answer, Quote)
        assert not any(offer.moved for offer in answer.offers)


def test_nothing_offered_is_nearer_the_wished_time_than_the_one_called_so() -> None:
    for _, _, _, answer in answers(wished=at(13)):
        (near,) = [offer for offer in answer.offers if offer.kind == "wished"]
        assert all(abs(near.start - at(13)) <= abs(o.start - at(13)) for o in answer.offers)


def test_cheapest_is_what_adds_least_where_moving_others_has_its_price() -> None:
    found = []
    for problem, plan, new, _ in answers():
        priced = replace(
            problem, previous=plan.rows, costs=replace(problem.costs, changed_start=500)
        )
        answer = quote(priced, plan, new, freeze_minutes=FREEZE)
        assert isinstance(answer, Quote)
        assert answer.offers[0].kind == "soonest"
        least = min(offer.added_cost for offer in answer.offers)
        found += [(offer.added_cost, least) for offer in answer.offers if offer.kind == "cheapest"]
    assert found
    assert all(cost == least for cost, least in found)
