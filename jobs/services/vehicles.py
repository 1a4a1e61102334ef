"""The shop's library of kinds of vehicle: their sizes, systems, and how their VINs begin."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, Final

from django.db import transaction

from bays.floor import VehicleFaults, VehicleShape
from bays.services.answers import answer_key
from bays.services.checks import code_faults, locked_shop, refuse_faults, text_faults
from bays.services.put import Put, put
from bays.services.warming import owe_warming
from jobs.models import VehicleModel
from jobs.planning.ways import turning_faults
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import FieldError

# A VIN has neither I, O nor Q (ISO 3779).
_PREFIX: Final = re.compile(r"[A-HJ-NPR-Z0-9]{0,11}\Z")


def vehicle_faults(
    *,
    code: str,
    make: str,
    name: str,
    width_mm: int,
    wheelbase_mm: int,
    front_overhang_mm: int,
    rear_overhang_mm: int,
    tyre_track_mm: int | None = None,
    turning_circle_mm: int | None = None,
    vin_prefix: str = "",
    years: str = "",
    systems: Sequence[str] = (),
    source: str = "",
) -> list[FieldError]:
    """Every fault of a kind of vehicle, by the field's name."""
    errors = code_faults("code", code)
    errors += text_faults("make", make, 60) + text_faults("name", name, 80)
    errors += text_faults("years", years, 20, needed=False)
    errors += text_faults("source", source, 200, needed=False)
    if not _PREFIX.match(vin_prefix):
        right = "up to 11 capital letters and digits, without I, O and Q"
        errors.append(FieldError("vin_prefix", f"“{vin_prefix[:40]}” begins no VIN", right))
    for index, system in enumerate(systems):
        errors += code_faults(f"systems[{index}]", system)
    try:
        shape = VehicleShape(
            width_mm, wheelbase_mm, front_overhang_mm, rear_overhang_mm, tyre_track_mm
        )
        errors += turning_faults(shape, turning_circle_mm)
    except VehicleFaults as refused:
        errors += [
            FieldError(e.path.replace("tyre_track_outer_mm", "tyre_track_mm"), e.says, e.right)
            for e in refused.errors
        ]
    return errors


def put_vehicle_model(*, by: Actor, **facts: Any) -> Put:
    """Add a kind of vehicle, or change the one with this code; ``facts`` as ``vehicle_faults``.

    Sizes are millimetres; ``tyre_track_mm`` is across the outer tread blocks and
    ``turning_circle_mm`` from kerb to kerb. Vehicles already known by their VIN keep the sizes
    they were booked with.

    Raises:
        NotAllowed: neither a service writer nor a manager. Invalid: every fault, by its field.
    """
    require(by, Action.BOOK_VISIT)
    refuse_faults("vehicle_model_invalid", "The vehicle was not saved.", vehicle_faults(**facts))
    values = {
        "tyre_track_mm": None, "turning_circle_mm": None, "vin_prefix": "", "years": "",
        "source": "", **facts, "systems": list(facts.get("systems", ())),
    }  # fmt: skip
    code = values.pop("code")
    with transaction.atomic():
        locked_shop(by)
        done = put(by, VehicleModel, "vehicle_model", where={"code": code}, values=values)
        if done.outcome != "unchanged":
            owe_warming(shop_id=by.shop_id, cause=f"kind:{answer_key(code, 1, values)}")
        return done


def add_vehicle_model(*, by: Actor, code: str, **facts: Any) -> VehicleModel:
    """Add a kind of vehicle with a code that is still free.

    Raises:
        NotAllowed, Invalid: as ``put_vehicle_model``, or the code is taken.
    """
    require(by, Action.BOOK_VISIT)
    with transaction.atomic():
        locked_shop(by)
        if VehicleModel.objects.for_shop(by.shop_id).filter(code=code).exists():
            taken = [FieldError("code", f"“{code}” is taken", "another code")]
            refuse_faults("code_taken", "This code is in use already.", taken)
        made: VehicleModel = put_vehicle_model(by=by, code=code, **facts).row
    return made
