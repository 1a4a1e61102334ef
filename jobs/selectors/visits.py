"""Visits, as lists and one by one."""

from __future__ import annotations

from django.db.models import Prefetch, QuerySet

from jobs.models import Attempt, Calibration, Reading, Scan, Step, Visit
from shopcal.errors import NotFound

FIRST_RO_NUMBER = 3101
OPEN_STATES = ("booked", "checked_in", "in_work", "on_hold", "ready")


def next_ro_number(shop_id: int) -> str:
    """One above the highest plain number in use."""
    numbers = [
        int(number)
        for number in Visit.objects.for_shop(shop_id).values_list("ro_number", flat=True)
        if number.isascii() and number.isdigit()
    ]
    return str(max(numbers, default=FIRST_RO_NUMBER - 1) + 1)


def visit_detail(shop_id: int, visit_id: int) -> Visit:
    """A visit with vehicle, steps, calibrations, attempts, scans and overrides at hand.

    The number of queries does not grow with the visit.

    Raises:
        NotFound: there is none in this shop.
    """
    visit = _whole(Visit.objects.for_shop(shop_id)).filter(pk=visit_id).first()
    if visit is None:
        raise NotFound("no_visit", "There is no such visit in this shop.")
    return visit


def open_visits(shop_id: int) -> QuerySet[Visit]:
    """Visits not released or cancelled, by promise, with vehicle and steps at hand."""
    return (
        Visit.objects.for_shop(shop_id)
        .filter(state__in=OPEN_STATES)
        .select_related("vehicle", "shop")
        .prefetch_related("steps__technician", "steps__second_person")
        .order_by("promised_at", "id")
    )


def _whole(rows: QuerySet[Visit]) -> QuerySet[Visit]:
    attempts = Attempt.objects.select_related("technician").prefetch_related(
        "answers",
        "units__unit__type",
        "overrides",
        Prefetch("readings", Reading.objects.select_related("instrument")),
    )
    calibrations = (
        Calibration.objects.select_related("step", "edition__procedure")
        .prefetch_related(Prefetch("attempts", attempts))
        .order_by("step__order")
    )
    whole = rows.select_related("vehicle__model", "shop").prefetch_related("overrides")
    steps = Step.objects.select_related("technician", "second_person").order_by("order")
    scans = Scan.objects.select_related("tool").prefetch_related("codes")
    whole = whole.prefetch_related(Prefetch("steps", steps))
    whole = whole.prefetch_related(Prefetch("calibrations", calibrations))
    return whole.prefetch_related(Prefetch("scans", scans))
