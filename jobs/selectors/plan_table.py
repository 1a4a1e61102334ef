"""The plan as a list of steps in order of time."""

from __future__ import annotations

from datetime import datetime

from django.db.models import QuerySet

from jobs.models import Step


def steps_planned_after(shop_id: int, moment: datetime) -> QuerySet[Step]:
    """Steps being done or still to be done, soonest first."""
    return (
        Step.objects.for_shop(shop_id)
        .filter(state__in=[Step.State.PLANNED, Step.State.DOING], ends_at__gt=moment)
        .select_related("visit__vehicle__model", "technician")
        .order_by("starts_at", "visit__ro_number", "order")
    )
