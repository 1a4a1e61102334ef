"""What holds are for, for the app below that keeps them without knowing steps."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from jobs.models import Step


def names_of_steps(shop_id: int, step_ids: Iterable[int]) -> Mapping[int, str]:
    """``RO 3121, front camera`` by the id of the step."""
    steps = Step.objects.for_shop(shop_id).filter(pk__in=list(step_ids)).select_related("visit")
    return {step.pk: f"{step.visit}, {step.label}" for step in steps}
