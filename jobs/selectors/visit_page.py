"""One visit with everything its page shows."""

from __future__ import annotations

from django.db.models import Prefetch

from bays.models import EquipmentUnit
from jobs.models import Calibration, Step, Visit
from shopcal.errors import NotFound


def visit_with_everything(shop_id: int, visit_id: int) -> Visit:
    """The visit with vehicle, steps, calibrations, attempts and overrides at hand.

    Raises:
        NotFound: ``no_visit``, there is none in this shop.
    """
    steps = Step.objects.select_related("technician", "second_person").order_by("order")
    calibrations = Calibration.objects.select_related(
        "step", "edition__procedure"
    ).prefetch_related("attempts")
    visit = (
        Visit.objects.for_shop(shop_id)
        .filter(pk=visit_id)
        .select_related("vehicle")
        .prefetch_related(Prefetch("steps", steps), "overrides")
        .prefetch_related(Prefetch("calibrations", calibrations))
        .first()
    )
    if visit is None:
        raise NotFound("no_visit", "There is no such visit in this shop.")
    return visit


def unit_names(visit: Visit) -> dict[str, str]:
    """Names of the units its steps use, by code. Reads the visit's steps."""
    codes = {code for step in visit.steps.all() for code in step.unit_codes}
    units = EquipmentUnit.objects.for_shop(visit.shop_id).filter(code__in=codes)
    return dict(units.values_list("code", "name"))
