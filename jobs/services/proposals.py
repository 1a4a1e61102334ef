"""Accepting a proposed plan whole or in part, leaving it, and taking back what was made at once."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from bays.planner import Part, Parts, Plan, Problem, Replan, Row, parts, plan_of, verify
from bays.planner.changes import list_changes, list_promise_moves
from bays.planner.disruption import Broken, after
from bays.planner.parts import words
from jobs.models import Proposal
from jobs.planning.causes import cause_of, mark_of, row_of
from jobs.planning.problem import ShopPlan, load_shop_plan
from jobs.services.plan_changes import PlanChange, apply_replan
from jobs.services.settling import close_floor, lock_and_compare
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, Stale
from shopcal.history.record import record_event
from shopcal.retrying import retried


@dataclass(frozen=True)
class Shown:
    """A proposal beside the plan in force, taken apart; it has been verified anew."""

    proposal: Proposal
    shop_plan: ShopPlan
    apart: Parts

    def numbers_of(self, visits: Collection[int]) -> frozenset[int]:
        names = {f"visit:{visit}" for visit in visits}
        return frozenset(p.number for p in self.apart.parts if names.intersection(p.vehicles))

    def with_all_needed(self, visits: Collection[int]) -> tuple[Part, ...]:
        """The parts that are accepted when these visits are."""
        taken = self.apart.closed(self.numbers_of(visits))
        return tuple(part for part in self.apart.parts if part.number in taken)


def look_at(*, by: Actor, proposal: Proposal) -> Shown:
    """The proposal as it stands now.

    Raises:
        Stale: ``proposal_stale``: the plan has changed, or the time has come and gone.
        Conflict: ``proposal_over``: it has been decided about.
    """
    require(by, Action.REPLAN)
    if proposal.state != Proposal.State.OPEN:
        raise Conflict("proposal_over", f"This proposal is {proposal.get_state_display()} already.")
    shop_plan = load_shop_plan(Shop.objects.get(pk=by.shop_id), timezone.now())
    if mark_of(shop_plan) != proposal.plan_mark:
        raise _stale("Another plan has come into force since.")
    broken = after(
        shop_plan.problem,
        shop_plan.plan,
        shop_plan.problem.now,
        cause_of(proposal.cause).disruption(shop_plan),
    )
    if not isinstance(broken, Broken):
        raise _stale(broken.says)
    rows = [row_of(shop_plan, facts) for facts in proposal.after]
    answer = _as_replan(broken.problem, shop_plan.plan, rows)
    return Shown(proposal, shop_plan, parts(answer, shop_plan.plan))


def accept(*, by: Actor, proposal: Proposal, visits: Collection[int] | None = None) -> PlanChange:
    """Make the proposed plan the one in force; with ``visits`` only for those.

    What these need goes with them, and so does what cannot stay as it was. What is stored has
    passed `verify`.

    Raises:
        NotAllowed. Stale: ``proposal_stale``, ``plan_changed``. Conflict: ``proposal_over``,
        ``double_booking``.
    """
    shown = look_at(by=by, proposal=proposal)
    every = {part.number for part in shown.apart.parts}
    chosen = every if visits is None else shown.apart.closed(shown.numbers_of(visits))
    plan = shown.apart.plan(chosen)
    problem = shown.apart.replan.problem
    if verify(problem, plan):
        raise _stale("It breaks a rule by now.")
    answer = _answer(problem, shown.shop_plan.plan, plan)
    state = Proposal.State.ACCEPTED if chosen >= every else Proposal.State.PART
    return retried(lambda: _store(by, shown, answer, state))


@transaction.atomic
def _store(by: Actor, shown: Shown, answer: Replan, state: str) -> PlanChange:
    proposal = shown.proposal
    _end(by, proposal, Proposal.State.OPEN, state)
    lock_and_compare(by, shown.shop_plan)
    change = apply_replan(by=by, shop_plan=shown.shop_plan, answer=answer, why=proposal.why)
    close_floor(by, cause_of(proposal.cause))
    _tell(by, "plan.accepted", proposal, change.changes)
    return replace(change, proposal_id=proposal.pk)


@transaction.atomic
def decline(*, by: Actor, proposal: Proposal) -> None:
    """Leave the plan as it is; what broke it stays recorded, and the board shows what is late.

    Raises:
        NotAllowed. Conflict: ``proposal_over``.
    """
    require(by, Action.REPLAN)
    _end(by, proposal, Proposal.State.OPEN, Proposal.State.DECLINED)
    _tell(by, "plan.declined", proposal, ())


def take_back(*, by: Actor, proposal: Proposal) -> PlanChange:
    """Put back what a plan made at once has moved, while that is still possible.

    Raises:
        NotAllowed. Conflict: ``proposal_over``, or ``cannot_undo`` with the reason.
    """
    require(by, Action.REPLAN)
    if proposal.state != Proposal.State.APPLIED:
        raise Conflict("proposal_over", "There is nothing to take back.")
    shop_plan = load_shop_plan(Shop.objects.get(pk=by.shop_id), timezone.now())
    if mark_of(shop_plan) != proposal.plan_mark:
        raise _cannot_undo("The plan has been changed again since.")
    broken = after(shop_plan.problem, shop_plan.plan, shop_plan.problem.now, None)
    assert isinstance(broken, Broken)
    rows = [row_of(shop_plan, facts) for facts in proposal.before]
    answer = _as_replan(broken.problem, shop_plan.plan, rows)
    broken_rules = verify(answer.problem, answer.plan)
    if broken_rules:
        raise _cannot_undo(f"{words(answer.problem, broken_rules[0])}.")
    return retried(lambda: _put_back(by, proposal, shop_plan, answer))


@transaction.atomic
def _put_back(by: Actor, proposal: Proposal, shop_plan: ShopPlan, answer: Replan) -> PlanChange:
    _end(by, proposal, Proposal.State.APPLIED, Proposal.State.UNDONE)
    lock_and_compare(by, shop_plan)
    why = f"Taken back: {proposal.why}"
    change = apply_replan(by=by, shop_plan=shop_plan, answer=answer, why=why)
    _tell(by, "plan.taken_back", proposal, change.changes)
    return change


def _as_replan(problem: Problem, before: Plan, rows: Sequence[Row]) -> Replan:
    """The plan in force with these visits' rows in the place of theirs."""
    vehicles = {row.vehicle for row in rows}
    kept = [row for row in before.rows if row.vehicle not in vehicles]
    return _answer(problem, before, plan_of(problem, [*kept, *rows]))


def _answer(problem: Problem, before: Plan, plan: Plan) -> Replan:
    changes = list_changes(problem, before.rows, plan.rows)
    return Replan(plan, changes, list_promise_moves(problem, before, plan), problem)


def _end(by: Actor, proposal: Proposal, state: str, becomes: str) -> None:
    """Two people may decide at the same time: the second one is told so."""
    now: datetime = timezone.now()
    mine = Proposal.objects.for_shop(by.shop_id).filter(pk=proposal.pk, state=state)
    if not mine.update(state=becomes, ended_by=by.name, ended_at=now):
        raise Conflict("proposal_over", "Somebody has decided about this proposal already.")


def _tell(by: Actor, kind: str, proposal: Proposal, changes: Sequence[str]) -> None:
    after_it = {"why": proposal.why, "changes": list(changes)}
    record_event(by=by, kind=kind, subject=f"proposal:{proposal.pk}", after=after_it)


def _stale(detail: str) -> Stale:
    return Stale("proposal_stale", "This proposal is out of date.", detail=detail)


def _cannot_undo(detail: str) -> Conflict:
    return Conflict("cannot_undo", "The change cannot be taken back.", detail=detail)
