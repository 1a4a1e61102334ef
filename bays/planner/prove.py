"""The cheapest plan there is, or how far from it a plan can be at most."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass

from bays.planner.answers import Plan, Proof
from bays.planner.bound import cost_step, rounded_up
from bays.planner.costs import plan_of
from bays.planner.faults import model_error
from bays.planner.model.builder import Builder, TooLargeError
from bays.planner.model.objective import cost_of
from bays.planner.model.reading import hint
from bays.planner.model.solving import Solved, solve
from bays.planner.narrowing import worth_trying
from bays.planner.problem import Problem
from bays.planner.relaxation.prices import Auction, Best
from bays.planner.verify import verify

PRICING = 0.2  # share of the time for prices
ROUNDS, MOST_ROUNDS = 200, 100_000  # of prices, by the second where work is counted; and at most
NEARER = 0.6  # a search begins again once this much of the plan's distance to the bound is left


def prove(
    problem: Problem,
    plan: Plan | None,
    seconds: float,
    seed: int = 0,
    workers: int = 8,
    *,
    repeatable: bool = False,
) -> Proof:
    """Look for a cheaper plan until there is proof that none exists, or the time is up.

    First prices give a bound; then CP-SAT searches the whole problem, narrowed to starts that a
    cheaper plan can have. The plan given is where it begins and the answer's plan is never
    dearer. With `repeatable` the search counts work instead of seconds, so that it answers alike
    on every run of the same version; otherwise the proved cost is the same again, but not the
    plan found by the way, nor what was found when the time was up.

    A plan given that breaks a rule is put aside. What CP-SAT finds is verified before it is
    answered.
    """
    case = _Case(problem, seconds, seed, workers, repeatable, time.monotonic())
    broken = model_error(problem)
    if broken is not None:
        return case.answer("nothing", None, -math.inf, broken.says)
    if plan is not None and verify(problem, plan):
        plan = None
    return case.search(plan)


@dataclass(frozen=True, slots=True)
class _Case:
    problem: Problem
    seconds: float
    seed: int
    workers: int
    repeatable: bool
    begun: float

    @property
    def left(self) -> float:
        return self.seconds - (time.monotonic() - self.begun)

    def answer(self, status: str, plan: Plan | None, bound: float, says: str) -> Proof:
        return Proof(status, plan, bound, time.monotonic() - self.begun, says)  # type: ignore[arg-type]

    def search(self, plan: Plan | None) -> Proof:
        auction = Auction(self.problem)
        best = auction.raise_bound(
            math.inf if self.repeatable else PRICING * self.seconds,
            plan.cost if plan else math.inf,
            rounds=int(ROUNDS * self.seconds) if self.repeatable else MOST_ROUNDS,
        )
        bound = rounded_up(self.problem, best)
        if math.isinf(bound):
            return self.answer("infeasible", None, bound, "a vehicle cannot be done even alone")
        while self.left > 0 and (plan is None or plan.cost > bound):
            try:
                found, proved, over = self._search_once(auction, best, plan, bound)
            except TooLargeError:
                says = "there are too many drives through each other's way to search"
                return self._bounded(plan, bound, says)
            if over and found is None:
                return self.answer("infeasible", None, math.inf, "every way was ruled out")
            plan, bound = found, max(bound, proved)
            if self.repeatable and over:
                break
        return self._bounded(plan, bound, "the time was up")

    def _bounded(self, plan: Plan | None, bound: float, says: str) -> Proof:
        if plan is None:
            return self.answer("nothing", None, bound, f"no plan was found: {says}")
        if plan.cost <= bound:
            return self.answer("optimal", plan, plan.cost, "no plan is cheaper")
        return self.answer("bounded", plan, bound, says)

    def _search_once(
        self, auction: Auction, best: Best, plan: Plan | None, bound: float
    ) -> tuple[Plan | None, float, bool]:
        """Plan and bound after a search for half the distance; and whether it was exhaustive.

        Every plan found rules out starts, so beginning again with fewer of them is worth it.
        """
        allowed = None if plan is None else worth_trying(auction, best, plan.cost)
        build = Builder(self.problem, allowed)
        build.build()
        if build.no_start is not None:
            return plan, -math.inf if plan is None else plan.cost, True
        cost = cost_of(build)
        build.model.minimize(cost)
        build.model.add(cost >= math.ceil(bound))
        enough = math.inf
        if plan is not None:
            build.model.add(cost <= plan.cost)
            hint(build, plan.rows)
            enough = min(plan.cost - 1, bound + NEARER * (plan.cost - bound))
        solved = solve(
            build,
            self.left,
            self.seed,
            self.workers,
            enough=-math.inf if self.repeatable else enough,
            repeatable=self.repeatable,
        )
        if solved.verdict == "none exists":
            return plan, -math.inf if plan is None else plan.cost, True
        found, step = self._better(plan, solved), cost_step(self.problem)
        proved = math.ceil(solved.bound / step - 1e-6) * step
        return found, float(proved), solved.verdict == "optimal" or self.repeatable

    def _better(self, plan: Plan | None, solved: Solved) -> Plan | None:
        if not solved.rows:
            return plan
        found = plan_of(self.problem, solved.rows)
        if verify(self.problem, found) or (plan is not None and found.cost >= plan.cost):
            return plan
        return found
