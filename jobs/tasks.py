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
from jobs.procedures import ProcedureContent
from jobs.services.replans import watch_plan
from jobs.warming import VehicleToWarm, procedures_of, vehicles_to_warm, warmed
from shopcal.accounts.models import Shop
from shopcal.errors import NotFound
from shopcal.outbox import Message, enqueue, handler, timer
from shopcal.outbox.registry import BACKGROUND

# One message works about this long and then owes the rest, so that shops take turns.
WARM_SECONDS = 5.0


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
