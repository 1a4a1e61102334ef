"""Works out places and ways in before anybody waits for them on the telephone."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection

from bays import floor
from bays.selectors.floor import CurrentFloor, current_floor
from jobs.models import Vehicle, VehicleModel
from jobs.models.vehicle import Dimensions
from jobs.planning.kept_places import kept_placements
from jobs.planning.space import clear_zone_of, places_for, shape_of
from jobs.planning.ways import find_way, known_way, turning_circle_of
from jobs.procedures import ProcedureContent
from jobs.selectors.procedures import content_of, current_editions
from shopcal.accounts.models import Shop
from shopcal.errors import NotFound


@dataclass(frozen=True)
class VehicleToWarm:
    """A vehicle or a kind of vehicle, by what answers about the floor depend on."""

    shape: floor.VehicleShape
    turning_circle_mm: int


def warm_floors() -> None:
    """Fill this process's memory: every procedure for every vehicle of every shop's library.

    What was worked out before is read; what was not is computed, but for the ways in, which a
    task finds.
    """
    try:
        for shop_id in list(Shop.objects.values_list("pk", flat=True)):
            try:
                current = current_floor(shop_id)
            except NotFound:
                continue
            _warm(shop_id, current)
    finally:
        connection.close()  # this runs in a thread of its own


def _warm(shop_id: int, current: CurrentFloor) -> None:
    contents = procedures_of(shop_id)
    for kind in VehicleModel.objects.for_shop(shop_id):
        for content in contents:
            places_for(current, shape_of(kind), content, turning_circle_of(kind))


def procedures_of(shop_id: int) -> list[ProcedureContent]:
    """Every procedure in force that needs floor."""
    contents = [content_of(edition) for edition in current_editions(shop_id)]
    return [content for content in contents if not content.road]


def warmed(
    current: CurrentFloor, contents: list[ProcedureContent], vehicle: VehicleToWarm, seconds: float
) -> bool:
    """Work out and keep what this vehicle needs; False when the time is over before the work.

    What is known already costs next to nothing, so that the rest can be done by calling again.
    """
    until = time.monotonic() + seconds
    for found in _places(current, contents, vehicle):
        asked = (current.plan, vehicle.shape, vehicle.turning_circle_mm)
        if known_way(*asked, found) is not None:
            continue
        if time.monotonic() > until:
            return False
        find_way(*asked, found)
    return True


def _places(
    current: CurrentFloor, contents: list[ProcedureContent], vehicle: VehicleToWarm
) -> Iterator[floor.Placement]:
    for content in contents:
        yield from kept_placements(current.plan, vehicle.shape, clear_zone_of(content))


def to_warm(row: Dimensions) -> VehicleToWarm:
    return VehicleToWarm(shape_of(row), turning_circle_of(row))


def vehicles_to_warm(shop_id: int) -> list[VehicleToWarm]:
    """Every different shape of the library and of the vehicles here or on their way."""
    kinds = VehicleModel.objects.for_shop(shop_id)
    here = Vehicle.objects.for_shop(shop_id).filter(
        visits__state__in=("booked", "checked_in", "in_work", "on_hold")
    )
    rows: list[Dimensions] = [*kinds, *here.distinct()]
    return list(dict.fromkeys(to_warm(row) for row in rows))
