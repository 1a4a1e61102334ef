"""The steps a visit is made of, from the procedures it needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from bays.planner import GRID_MINUTES
from jobs.models import ProcedureEdition, Step
from jobs.planning.durations import History
from jobs.procedures import ProcedureContent

# Common practice, no source: a scan of all modules with paperwork; shops may time their own later.
SCAN_MINUTES = 15
SCAN_SKILL = "scan"
SCAN_EQUIPMENT = "scan_tool"


@dataclass(frozen=True)
class NeededCalibration:
    """One calibration a visit needs: by which edition, and why in words."""

    edition: ProcedureEdition
    content: ProcedureContent
    reasons: tuple[str, ...]
    work: tuple[str, ...] = ()  # the work codes that triggered it


@dataclass(frozen=True)
class StepDraft:
    """A step not yet saved; ``needed`` is there for calibrations only."""

    order: int
    kind: Step.Kind
    label: str
    minutes: int
    lag_minutes: int
    second_person_minutes: int
    skill_code: str
    equipment_codes: tuple[str, ...]
    needed: NeededCalibration | None = None
    set_up: str = ""
    shared_minutes: int = 0
    minutes_say: str = ""  # where the minutes come from, when it is the shop's own history


def draft_steps(
    calibrations: Sequence[NeededCalibration], history: History | None = None
) -> tuple[StepDraft, ...]:
    """Pre-scan, the calibrations in the order given, post-scan.

    With a history, at as many minutes as the shop's own past work says; see ``planned_minutes``.
    """
    middle = [
        _calibration_step(order, needed) for order, needed in enumerate(calibrations, start=2)
    ]
    steps = (
        _scan_step(1, Step.Kind.PRE_SCAN),
        *middle,
        _scan_step(len(middle) + 2, Step.Kind.POST_SCAN),
    )
    return steps if history is None else tuple(_by_history(step, history) for step in steps)


def _by_history(step: StepDraft, history: History) -> StepDraft:
    code = step.needed.content.code if step.needed is not None else ""
    least = max(step.second_person_minutes, GRID_MINUTES) + step.shared_minutes
    known = history.planned(str(step.kind), code, step.minutes, least)
    return step if known is None else replace(step, minutes=known.minutes, minutes_say=known.says)


def _scan_step(order: int, kind: Step.Kind) -> StepDraft:
    return StepDraft(
        order=order,
        kind=kind,
        label=str(kind.label),
        minutes=SCAN_MINUTES,
        lag_minutes=0,
        second_person_minutes=0,
        skill_code=SCAN_SKILL,
        equipment_codes=(SCAN_EQUIPMENT,),
    )


def _calibration_step(order: int, needed: NeededCalibration) -> StepDraft:
    content = needed.content
    shared = content.shared_set_up
    return StepDraft(
        order=order,
        kind=Step.Kind.ROAD_DRIVE if content.road else Step.Kind.CALIBRATION,
        label=content.name,
        minutes=on_grid(content.minutes.total),
        lag_minutes=on_grid(content.lag_after_work(needed.work)),
        second_person_minutes=on_grid(content.second_person_minutes),
        skill_code=content.skills[0] if content.skills else "",
        equipment_codes=tuple(item.type for item in content.equipment for _ in range(item.count)),
        needed=needed,
        set_up=shared.name if shared else "",
        shared_minutes=shared.saves_minutes // GRID_MINUTES * GRID_MINUTES if shared else 0,
    )


def on_grid(minutes: int) -> int:
    """Minutes rounded up to the planner's grid."""
    return -(-minutes // GRID_MINUTES) * GRID_MINUTES
