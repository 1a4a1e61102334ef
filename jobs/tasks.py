"""What the clock does: keeps the plan in step with what really happens; and what is owed to the
floor: places and ways in, worked out before anybody asks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from datetime import timedelta
from functools import partial
from typing import Any

from django.utils import timezone

from bays import floor
from bays.selectors.floor import CurrentFloor, current_floor
from bays.services.answers import answer_key, prune_answers
from bays.services.warming import WARM_FLOOR, WARM_VEHICLE
from jobs.planning.study_answers import answer_help, answer_what_if
from jobs.procedures import ProcedureContent
from jobs.services.replans import watch_plan
from jobs.services.studies import WORK, answer_study, begin_study, fail_study, tell_progress
from jobs.warming import VehicleToWarm, procedures_of, vehicles_to_warm, warmed
from shopcal.accounts.models import Shop
from shopcal.errors import NotFound, Refusal
from shopcal.outbox import Message, enqueue, handler, timer
from shopcal.outbox.registry import BACKGROUND
from shopcal.outbox.services import renew_lease

# One message works about this long and then owes the rest, so that shops take turns.
WARM_SECONDS = 5.0
# Longer than the planner works between two words about how far it is.
STUDY_LEASE_SECONDS, STUDY_ATTEMPTS = 300, 3


@timer("plan.watch", every_seconds=60, queue="planning")
def keep_plans_current(message: Message) -> None:
    """Give running work more time and late starts a new one, in every shop.

    Safe to run twice: a plan that is in step already is left as it is.
    """
    for shop_id in Shop.objects.values_list("pk", flat=True):
        watch_plan(shop_id=shop_id, now=timezone.now())


@timer("floor.prune", every_seconds=24 * 3600)
def prune_floor_answers(message: Message) -> None:
    """Forget answers about floors that nobody has asked for in a long time."""
    prune_answers()


@handler(WARM_FLOOR, queue=BACKGROUND)
def warm_floor(message: Message) -> Callable[[], None] | None:
    """Owe one message for every shape of vehicle; the same work owed twice is done once a day."""
    assert message.shop_id is not None
    try:
        current = current_floor(message.shop_id)
    except NotFound:
        return None
    contents = procedures_of(message.shop_id)
    vehicles = vehicles_to_warm(message.shop_id)
    return partial(_owe_vehicles, message.shop_id, current, contents, vehicles)


def _owe_vehicles(
    shop_id: int,
    current: CurrentFloor,
    contents: list[ProcedureContent],
    vehicles: list[VehicleToWarm],
) -> None:
    today = timezone.now().date().isoformat()
    for vehicle in vehicles:
        facts = (today, current.plan.digest, vehicle, [content.clear_zone for content in contents])
        enqueue(
            kind=WARM_VEHICLE,
            payload={"shape": asdict(vehicle.shape), "turning": vehicle.turning_circle_mm},
            key=f"{shop_id}:{answer_key('warm', 1, *facts)}",
            shop_id=shop_id,
        )


@handler(WARM_VEHICLE, queue=BACKGROUND, lease_seconds=300, max_attempts=5)
def warm_vehicle(message: Message) -> Callable[[], None] | None:
    """Find the places of one vehicle in every procedure, and the ways in, a portion at a time."""
    assert message.shop_id is not None
    try:
        current = current_floor(message.shop_id)
    except NotFound:
        return None
    told: Any = message.payload
    vehicle = VehicleToWarm(floor.VehicleShape(**told["shape"]), told["turning"])
    if warmed(current, procedures_of(message.shop_id), vehicle, WARM_SECONDS):
        return None
    return partial(_owe_rest, message)


def _owe_rest(message: Message) -> None:
    key, _, part = message.key.partition("#")
    enqueue(
        kind=WARM_VEHICLE,
        payload=message.payload,
        key=f"{key}#{int(part or 1) + 1}",
        run_at=timezone.now() + timedelta(seconds=WARM_SECONDS),  # a machine is never busy with it
        shop_id=message.shop_id,
    )


@handler(WORK, queue=BACKGROUND, lease_seconds=STUDY_LEASE_SECONDS, max_attempts=STUDY_ATTEMPTS)
def work_study(message: Message) -> Callable[[], None] | None:
    """Work a question of the planner out, telling how far it is; end it when it is stopped.

    Safe to run twice: it begins anew, and what is answered or stopped is left alone.
    """
    study_id = int(message.payload["study_id"])
    found = begin_study(study_id=study_id)
    if found is None:
        return None

    def tell(done: int, of: int) -> None:
        renew_lease(message, seconds=STUDY_LEASE_SECONDS)
        if not tell_progress(study_id=study_id, done=done, of=of):
            raise _Stopped

    work = answer_help if found.kind == found.Kind.HELP else answer_what_if
    try:
        says, answer = work(found, timezone.now(), tell)
    except _Stopped:
        return None
    except Refusal as refusal:
        return partial(fail_study, study_id=study_id, says=refusal.title)
    except Exception:  # tried again; given up, whoever asked is told rather than left waiting
        if message.attempt >= STUDY_ATTEMPTS:
            return partial(fail_study, study_id=study_id, says="It could not be worked out.")
        raise
    return partial(answer_study, study_id=study_id, says=says, answer=answer)


class _Stopped(Exception):
    """Somebody stopped the question that is being worked on."""
