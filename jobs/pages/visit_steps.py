"""The steps and calibrations of a visit, in words for its page."""

from __future__ import annotations

from typing import Any

from jobs.models import Step, Visit
from jobs.pages.moments import ShopWords, listed
from jobs.pages.visit_forms import WaitForm

CALIBRATION_TAGS = {
    "planned": "",
    "passed": "work",
    "verified": "ok",
    "failed": "stop",
    "stopped": "stop",
    "cancelled": "",
}


def step_facts(
    step: Step,
    following: Step | None,
    names: dict[str, str],
    words: ShopWords,
    waiting: WaitForm | None,
) -> dict[str, Any]:
    """When, where, by whom and with what; `waiting` is the form as it was refused."""
    starts_at, ends_at = step.started_at or step.starts_at, step.ended_at or step.ends_at
    when = "no time yet"
    if starts_at and ends_at:
        when = f"{words.moment(starts_at)}–{words.briefly(ends_at, words.day_of(starts_at))}"
    people = listed([p.name for p in (step.technician, step.second_person) if p])
    margin = (step.placement or {}).get("margin_mm")
    where = [step.placement_label or "outside", words.spare(margin) if margin is not None else ""]
    form = waiting or WaitForm(prefix=f"wait-{step.pk}", words=words)
    return {
        "step": step,
        "wait_form": form,
        "waits": _waits(step, words),
        "parked": _parked(step, following, words),
        "when": when,
        "who": people,
        "where": " · ".join(part for part in where if part),
        "units": ", ".join(names.get(code, code) for code in step.unit_codes),
        "state": step.get_state_display(),
        "kind": {"done": "ok", "doing": "tape", "cancelled": "stop"}.get(step.state, ""),
        "may_pin": step.state == Step.State.PLANNED and step.starts_at is not None,
    }


def with_the_next(found: Visit) -> list[tuple[Step, Step | None]]:
    steps = list(found.steps.all())
    return list(zip(steps, [*steps[1:], None], strict=True))


def _parked(step: Step, following: Step | None, words: ShopWords) -> str:
    """Where the plan has it wait outside, and until when somebody fetches it."""
    open_still = following is not None and following.state == Step.State.PLANNED
    if not step.park_after or step.ends_at is None or following is None or not open_still:
        return ""
    if following.starts_at is None:
        return "then parked outside"
    until = words.briefly(following.starts_at, words.day_of(step.ends_at))
    return f"then parked outside until {until}"


def _waits(step: Step, words: ShopWords) -> str:
    if step.not_before is None or step.state != Step.State.PLANNED:
        return ""
    return f"waits for {step.waits_for}, expected {words.moment(step.not_before)}"


def calibration_facts(calibration: Any) -> dict[str, Any]:
    attempts = list(calibration.attempts.all())
    return {
        "name": calibration.edition.procedure.name,
        "edition": calibration.edition.number,
        "state": calibration.state.replace("_", " "),
        "tag": CALIBRATION_TAGS.get(calibration.state, "work"),
        "reasons": calibration.reasons,
        "attempts": len(attempts),
        "cause": attempts[-1].cause if attempts else "",
        "dealt_with": calibration.dealt_with,
        "cancelled_reason": calibration.cancelled_reason,
    }
