"""A manager's decision to go on without a guard, with the reason, shown on the record."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from bays.models import Technician
from jobs.lifecycle import (
    CALIBRATION_GUARDS,
    VISIT_GUARDS,
    CalibrationAct,
    CalibrationState,
    Unmet,
    VisitState,
    calibration_acts,
    calibration_unmet,
    visit_acts,
    visit_unmet,
)
from jobs.models import Attempt, Calibration, Override, Visit
from jobs.selectors.facts import OVERRIDE_SAYS_LENGTH, calibration_facts, visit_facts
from jobs.selectors.procedures import content_of
from jobs.services.rows import (
    locked_calibration,
    locked_visit,
    needed_text,
    one_transaction,
    open_attempt,
    told_calibration,
    told_visit,
)
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid

REASON_LENGTH = 400
# They hang on the vehicle and the person, not on what an attempt has answered and measured.
KNOWN_BEFOREHAND = ("technician_qualified", "pre_scan", "prerequisites", "blocking_codes")
_RUN_OR_OVER = (
    CalibrationState.RUNNING,
    CalibrationState.PASSED,
    CalibrationState.VERIFIED,
    CalibrationState.CANCELLED,
)
_BEFORE_THE_FIRST = (CalibrationState.PLANNED,)
_BETWEEN_ATTEMPTS = (CalibrationState.FAILED, CalibrationState.STOPPED)


@one_transaction
def override_guard(
    *,
    by: Actor,
    guard: str,
    reason: str,
    calibration: Calibration | None = None,
    visit: Visit | None = None,
    technician: Technician | None = None,
    version: int | None = None,
) -> Override:
    """Set one guard of a calibration's attempt, or of the visit's own moves, aside.

    It holds for this attempt (or the one about to begin), or for the visit. ``technician`` is
    whose skills are in question; by default the attempt's, then the one planned.

    Raises:
        NotAllowed: not a manager. NotFound, Stale. Invalid: no such guard, or no reason.
        Conflict: ``never_overridden``, nobody may set this one aside; ``guard_met``, nothing is
            unmet that it guards now; ``closed``, the visit is over.
    """
    require(by, Action.OVERRIDE_GUARD)
    if (calibration is None) == (visit is None):
        raise TypeError("a guard is either a calibration's or a visit's")
    why = needed_text("reason", reason, REASON_LENGTH, "write why it is right to go on")
    if calibration is not None:
        return _of_calibration(by, calibration, guard, why, technician, version)
    assert visit is not None
    return _of_visit(by, visit, guard, why, version)


def unmet_of_calibration(
    calibration: Calibration, technician: Technician | None = None
) -> dict[str, Unmet]:
    """Guards unmet now for every act this state knows, and those of the run known beforehand.

    A blocking code is better decided on before an hour of setting out than after it.
    """
    state = CalibrationState(calibration.state)
    facts = calibration_facts(calibration, technician=technician)
    found = [
        item for act in calibration_acts(state) for item in calibration_unmet(state, act, facts)
    ]
    if state not in _RUN_OR_OVER:
        run = calibration_unmet(CalibrationState.SET_OUT, CalibrationAct.START_RUN, facts)
        begun = state is CalibrationState.PREPARING
        found += [item for item in run if begun or item.guard in KNOWN_BEFOREHAND]
    return {item.guard: item for item in found}


def unmet_of_visit(visit: Visit) -> dict[str, Unmet]:
    """Guards unmet now for every act the visit's state knows."""
    state, facts = VisitState(visit.state), visit_facts(visit)
    return {i.guard: i for act in visit_acts(state) for i in visit_unmet(state, act, facts)}


def _of_calibration(
    by: Actor,
    calibration: Calibration,
    guard: str,
    why: str,
    technician: Technician | None,
    version: int | None,
) -> Override:
    found = locked_calibration(by, calibration, version)
    _refuse_closed(found.visit)
    unmet = _overridable(guard, CALIBRATION_GUARDS, unmet_of_calibration(found, technician))
    begun = found.state not in (*_BEFORE_THE_FIRST, *_BETWEEN_ATTEMPTS)
    attempt = open_attempt(found) if begun else None
    override, before = _keep(by, unmet, why, visit=found.visit, calibration=found, attempt=attempt)
    told_calibration(
        by,
        found,
        "calibration.guard_overridden",
        before,
        guard=guard,
        says=unmet.says,
        reason=why,
        attempt=attempt.number if attempt else None,
        procedure=content_of(found.edition).code,
    )
    return override


def _of_visit(by: Actor, visit: Visit, guard: str, why: str, version: int | None) -> Override:
    found = locked_visit(by, visit, version)
    _refuse_closed(found)
    unmet = _overridable(guard, VISIT_GUARDS, unmet_of_visit(found))
    override, before = _keep(by, unmet, why, visit=found, calibration=None, attempt=None)
    told_visit(
        by, found, "visit.guard_overridden", before, guard=guard, says=unmet.says, reason=why
    )
    return override


def _keep(
    by: Actor, unmet: Unmet, why: str, **of: Visit | Calibration | Attempt | None
) -> tuple[Override, dict[str, Any]]:
    """One row a guard: one that no longer covers what is unmet is widened, with the new reason."""
    earlier = Override.objects.for_shop(by.shop_id).filter(guard=unmet.guard, **of).first()
    before = {"says": earlier.says, "reason": earlier.reason} if earlier else {}
    override = earlier or Override(shop_id=by.shop_id, guard=unmet.guard, **of)
    override.says = unmet.says[:OVERRIDE_SAYS_LENGTH]
    override.reason = why
    override.overridden_at = timezone.now()
    override.overridden_by = by.name
    override.save()
    return override, before


def _overridable(guard: str, known: Mapping[str, Any], unmet: dict[str, Unmet]) -> Unmet:
    if guard not in known:
        right = f"one of {', '.join(key for key, g in known.items() if g.can_override)}"
        fault = FieldError("guard", f"“{guard[:60]}” is no guard here", right)
        raise Invalid("guard", "There is no such guard.", errors=[fault])
    if not known[guard].can_override:
        raise Conflict(
            "never_overridden",
            "Nobody may set this aside.",
            detail=f"{known[guard].right[:1].upper()}{known[guard].right[1:]}.",
            facts={"guard": guard},
        )
    if guard not in unmet:
        raise Conflict(
            "guard_met",
            "There is nothing to set aside now.",
            detail="It is met, it was set aside before, or it is not asked at this point.",
            facts={"guard": guard, "unmet": sorted(unmet)},
        )
    return unmet[guard]


def _refuse_closed(visit: Visit) -> None:
    if visit.state in (VisitState.RELEASED, VisitState.CANCELLED):
        raise Conflict("closed", f"The visit is {visit.state}.", detail="Book a new visit.")
