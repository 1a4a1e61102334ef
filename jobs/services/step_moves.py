"""Steps moved by hand on the day board, and moves taken back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from bays.convert.planner import person_key, unit_key
from bays.planner import Problem, Row
from bays.planner.step_move import CannotMove, Moved, moved, restored
from jobs.models import Step
from jobs.planning.moving import Moving, StepPlaces, loose, moving_of, places_on
from jobs.planning.problem import ShopPlan, load_shop_plan, operation_id, vehicle_id
from jobs.planning.space import OUTSIDE
from jobs.selectors.step_moves import MOVED, UNDONE, last_move_of
from jobs.services.plans import store_rows
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, Stale
from shopcal.history.models import Event
from shopcal.history.record import record_event
from shopcal.retrying import retried


@dataclass(frozen=True)
class StepMove:
    """A move that was made: every change in words, and promises that it does not keep."""

    step: Step
    changes: tuple[str, ...]
    promises: tuple[str, ...]
    along: bool


def places_of(*, by: Actor, step: Step, on: date | None = None) -> StepPlaces:
    """Where the step can go on a day (its own, or today), and why not elsewhere.

    Raises:
        NotAllowed: this person may not re-plan. Conflict: ``step_not_planned``.
    """
    require(by, Action.REPLAN)
    now = timezone.now()
    moving = moving_of(Shop.objects.get(pk=by.shop_id), step, now)
    day = (moving.step.starts_at or now).astimezone(moving.shop_plan.shop.zone).date()
    return places_on(moving, on or day)


def move_step(
    *,
    by: Actor,
    step: Step,
    version: int | None,
    starts_at: datetime,
    place: str,
    technician: str,
    also_moves: bool = False,
    keep: bool | None = None,
) -> StepMove:
    """Give a step another time, place or technician; nothing but its own visit changes.

    ``place`` and ``technician`` are as ``places_of`` names them. Where the rest of the visit has
    to move along, or its promise is passed, the answer says so first and ``also_moves`` accepts
    it. ``keep`` pins the step there, or unpins it; None leaves that as it is.

    Raises:
        NotAllowed. Stale: ``step_changed``. Conflict: ``cannot_move`` with the reason,
        ``moves_more`` with what else would move, ``step_not_planned``, ``double_booking``.
    """
    require(by, Action.REPLAN)
    if keep is not None or step.pinned:
        require(by, Action.PIN_STEP)

    def work() -> StepMove:
        # Looked for outside the transaction: nobody waits while places are worked out.
        moving = moving_of(Shop.objects.get(pk=by.shop_id), step, timezone.now())
        _refuse_changed(moving.step, version)
        start = moving.shop_plan.clock.down(starts_at)
        if start != moving.shop_plan.clock.up(starts_at):
            start = -1  # off the grid, which is no place
        answer = moved(
            moving.problem, moving.shop_plan.plan, moving.key, start, place, person_key(technician)
        )
        if isinstance(answer, CannotMove):
            raise Conflict("cannot_move", "It cannot go there.", detail=_sentence(answer.says))
        if not also_moves:
            _refuse_more(answer)
        return _store_move(by, moving, answer, keep)

    return retried(work)


def undo_move(*, by: Actor) -> StepMove:
    """Take back this person's last move, as a new change, while what it left is still free.

    Raises:
        NotAllowed. Conflict: ``nothing_to_undo``, or ``cannot_undo`` with the reason.
    """
    require(by, Action.REPLAN)
    return retried(lambda: _undo(by))


def _undo(by: Actor) -> StepMove:
    now = timezone.now()
    event = last_move_of(by.shop_id, by.membership_id, now)
    if event is None:
        raise Conflict("nothing_to_undo", "You have moved nothing that could be taken back.")
    shop_plan = load_shop_plan(Shop.objects.get(pk=by.shop_id), now)
    facts = [dict(fact) for fact in (event.before or {})["steps"]]
    steps = _steps_as_left(shop_plan, event)
    rows = [_row_of(shop_plan, step, fact) for step, fact in zip(steps, facts, strict=True)]
    problem = loose(shop_plan, [s for s in steps if s.state == Step.State.PLANNED])
    answer = restored(problem, shop_plan.plan, rows)
    if isinstance(answer, CannotMove):
        raise _cannot_undo(_sentence(answer.says))
    return _store_undo(by, shop_plan, problem, answer, event, steps, facts)


@transaction.atomic
def _store_move(by: Actor, moving: Moving, answer: Moved, keep: bool | None) -> StepMove:
    shop_plan, step = moving.shop_plan, moving.step
    _lock_and_compare(by, shop_plan, moving.key[0])
    changed = [shop_plan.steps[row.operation] for row in answer.rows]
    steps = changed if step in changed else [*changed, step]
    before = [_facts(one) for one in steps]
    if keep is not None:
        step.pinned = keep
        step.save(update_fields=["pinned"])
    store_rows(by=by, shop_plan=replace(shop_plan, problem=moving.problem), rows=answer.rows)
    made = _made(step, answer)
    _tell(by, MOVED, made, {"steps": before}, [_facts(one) for one in steps])
    return made


@transaction.atomic
def _store_undo(
    by: Actor,
    shop_plan: ShopPlan,
    problem: Problem,
    answer: Moved,
    event: Event,
    steps: Sequence[Step],
    facts: Sequence[Mapping[str, Any]],
) -> StepMove:
    _lock_and_compare(by, shop_plan, vehicle_id(steps[0].visit))
    before = [_facts(one) for one in steps]
    for step, fact in zip(steps, facts, strict=True):
        step.pinned = fact["pinned"]
        step.save(update_fields=["pinned"])
    store_rows(by=by, shop_plan=replace(shop_plan, problem=problem), rows=answer.rows)
    first = next(s for s in steps if event.subject == f"step:{s.pk}")
    made = _made(first, answer)
    _tell(by, UNDONE, made, {"steps": before}, [_facts(s) for s in steps], undoes=event.seq)
    return made


def _made(step: Step, answer: Moved) -> StepMove:
    changes = tuple(change.says for change in answer.changes)
    promises = tuple(move.says for move in answer.promise_moves)
    return StepMove(step, changes, promises, answer.along)


def _tell(
    by: Actor,
    kind: str,
    made: StepMove,
    before: dict[str, Any],
    steps: list[dict[str, Any]],
    **more: Any,
) -> None:
    after = {
        "label": made.step.label,
        "changes": list(made.changes),
        "promises": list(made.promises),
        "steps": steps,
        **more,
    }
    record_event(
        by=by,
        kind=kind,
        subject=f"step:{made.step.pk}",
        visit_id=made.step.visit_id,
        before=before,
        after=after,
    )


def _lock_and_compare(by: Actor, shop_plan: ShopPlan, vehicle: str) -> None:
    """The visit's steps as they were read, locked: a plan made for other ones is not stored."""
    mine = [s for s in shop_plan.steps.values() if vehicle_id(s.visit) == vehicle]
    rows = Step.objects.for_shop(by.shop_id).filter(pk__in=[s.pk for s in mine]).order_by("pk")
    now = {row.pk: (row.version, row.state) for row in rows.select_for_update(of=("self",))}
    for step in mine:
        if now.get(step.pk) != (step.version, step.state):
            raise _changed(step)


def _refuse_changed(step: Step, version: int | None) -> None:
    if version is not None and version != step.version:
        raise _changed(step)


def _changed(step: Step) -> Stale:
    return Stale(
        "step_changed",
        f"{step.label} was changed by somebody else meanwhile.",
        detail="Look where it stands now, then move it.",
        facts={"version": step.version},
    )


def _refuse_more(answer: Moved) -> None:
    """What else would move, or whose promise would not be kept, is shown before it is done."""
    if not answer.along and not answer.promise_moves:
        return
    title = "Other steps would move as well." if answer.along else "A promise would not be kept."
    raise Conflict(
        "moves_more",
        title,
        detail=" ".join(_sentence(move.says) for move in answer.promise_moves),
        facts={
            "along": answer.along,
            "changes": [change.says for change in answer.changes],
            "promises": [move.says for move in answer.promise_moves],
        },
    )


def _facts(step: Step) -> dict[str, Any]:
    """A step's place in the plan, as the history keeps it."""
    return {
        "step": step.pk,
        "label": step.label,
        "starts_at": step.starts_at.isoformat() if step.starts_at else None,
        "ends_at": step.ends_at.isoformat() if step.ends_at else None,
        "technician": step.technician.code if step.technician else None,
        "second_person": step.second_person.code if step.second_person else None,
        "units": list(step.unit_codes),
        "place": step.placement_key,
        "place_label": step.placement_label,
        "park_after": step.park_after,
        "pinned": step.pinned,
        "version": step.version,
    }


def _steps_as_left(shop_plan: ShopPlan, event: Event) -> list[Step]:
    """The steps a move changed, where they still stand as it left them."""
    found = []
    for fact in (event.after or {})["steps"]:
        step = shop_plan.steps.get(f"step:{fact['step']}")
        if step is None:
            raise _cannot_undo(f"{fact['label']} is over, or its visit is.")
        now = _facts(step)
        if any(now[name] != fact[name] for name in ("starts_at", "technician", "place", "units")):
            raise _cannot_undo(f"{step.label} of {step.visit} has been moved again since.")
        found.append(step)
    return found


def _row_of(shop_plan: ShopPlan, step: Step, fact: Mapping[str, Any]) -> Row:
    """The row that a step had."""
    if fact["starts_at"] is None or fact["technician"] is None:
        raise _cannot_undo(f"{step.label} had no time before that.")
    clock, place = shop_plan.clock, fact["place"] or "lot"
    known = shop_plan.places.get(place)
    if known is None or (known.found is None and place not in {*OUTSIDE, step.placement_key}):
        raise _cannot_undo(f"{fact['place_label']} is not a place for it any more.")
    return Row(
        vehicle=vehicle_id(step.visit),
        operation=operation_id(step),
        start=clock.down(datetime.fromisoformat(fact["starts_at"])),
        end=clock.up(datetime.fromisoformat(fact["ends_at"])),
        technician=person_key(fact["technician"]),
        second_person=person_key(fact["second_person"]) if fact["second_person"] else None,
        units=tuple(unit_key(code) for code in fact["units"]),
        placement=place,
        park_after=fact["park_after"],
    )


def _cannot_undo(says: str) -> Conflict:
    return Conflict("cannot_undo", "The move cannot be taken back.", detail=says)


def _sentence(says: str) -> str:
    return f"{says[:1].upper()}{says[1:]}."
