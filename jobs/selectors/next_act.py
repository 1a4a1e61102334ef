"""The one thing to do next for a visit, from its state and the edition alone."""

from __future__ import annotations

from dataclasses import replace

from bays.models import Technician
from jobs.lifecycle import (
    VisitAct,
    VisitFacts,
    VisitState,
    visit_unmet,
)
from jobs.models import Calibration, Visit
from jobs.selectors.acts import ACTION_OF, Act, ActKind, Choice, blocks
from jobs.selectors.calibration_act import act_of_calibration
from jobs.selectors.facts import OPEN, visit_facts
from jobs.selectors.questions import plain
from jobs.selectors.scans import comparison_of, in_words
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import may


def next_act(visit: Visit, actor: Actor) -> Act:
    """What is to be done next, and whether this person may do it.

    No cursor is kept anywhere: what was answered, read and moved decides.
    """
    act = _act(visit, actor)
    return replace(act, allowed=may(actor, ACTION_OF[act.kind]))


def calibrations_in_order(visit: Visit) -> list[Calibration]:
    """Calibrations of a visit that were not cancelled, in plan order, ready for facts."""
    rows = (
        Calibration.objects.for_shop(visit.shop_id)
        .filter(visit=visit)
        .exclude(state="cancelled")
        .select_related("step__technician", "edition__procedure", "shop")
        .order_by("step__order")
    )
    found = list(rows)
    for row in found:
        row.visit = visit
    return found


def _act(visit: Visit, actor: Actor) -> Act:
    state = VisitState(visit.state)
    facts = visit_facts(visit)
    if state is VisitState.BOOKED:
        return Act(
            ActKind.CHECK_IN,
            "Check in",
            ask=f"Is {visit.vehicle.label}, VIN {visit.vehicle.vin}, here?",
            blocked=blocks(visit_unmet(state, VisitAct.CHECK_IN, facts)),
        )
    if state is VisitState.ON_HOLD:
        return Act(ActKind.RESUME, "On hold", ask="Can work go on?", hint=visit.hold_reason)
    if state is VisitState.READY:
        return _hand_over(visit, facts)
    if state in (VisitState.RELEASED, VisitState.CANCELLED):
        return Act(ActKind.NOTHING, "Nothing to do", hint=f"The visit is {state}.", of=0)
    if state is VisitState.CHECKED_IN:
        unmet = visit_unmet(state, VisitAct.START_WORK, facts)
        if unmet:
            return _confirm_systems(visit, facts)
    return _work(visit, actor, facts)


def _confirm_systems(visit: Visit, facts: VisitFacts) -> Act:
    return Act(
        ActKind.CONFIRM_SYSTEMS,
        "Which systems does it have?",
        ask="Look at the vehicle or its build data. Does it have these?",
        choices=tuple(Choice(system, plain(system)) for system in visit.systems_to_confirm),
        blocked=blocks(visit_unmet(VisitState.CHECKED_IN, VisitAct.START_WORK, facts)),
    )


def _work(visit: Visit, actor: Actor, facts: VisitFacts) -> Act:
    technician = _technician(actor)
    for calibration in calibrations_in_order(visit):
        failed = calibration.state in ("failed", "stopped") and not calibration.dealt_with
        if calibration.state in OPEN or failed:
            return act_of_calibration(calibration, technician)
    return _after_calibrating(visit, facts)


def _after_calibrating(visit: Visit, facts: VisitFacts) -> Act:
    unmet = {u.guard: u for u in visit_unmet(VisitState.IN_WORK, VisitAct.MARK_READY, facts)}
    if "post_scan" in unmet:
        return Act(
            ActKind.POST_SCAN,
            "Post-scan",
            ask="Scan all modules and enter the codes, or that there are none.",
            blocked=blocks([unmet["post_scan"]]),
        )
    scans = comparison_of(visit)
    if scans.post is not None and {"post_scan_compared", "codes_explained"} & set(unmet):
        left = [*scans.remaining, *scans.new]
        first = next(iter(scans.unexplained), None)
        return Act(
            ActKind.COMPARE,
            "Pre-scan and post-scan compared",
            ask="Look at what was cleared, stayed and came. Write why each code left is there.",
            hint=f"{len(scans.cleared)} cleared, {len(scans.remaining)} stayed, "
            f"{len(scans.new)} new",
            name=str(first.pk) if first else "",
            choices=tuple(Choice(str(row.pk), in_words(row), row.explanation) for row in left),
            done=len(left) - len(scans.unexplained),
            of=len(left) + 1,
            blocked=blocks(
                u for g, u in unmet.items() if g in ("post_scan_compared", "codes_explained")
            ),
        )
    return Act(
        ActKind.SIGN_OFF,
        "Sign off",
        ask="Is everything done, cleared away and as the record will say?",
        blocked=blocks(unmet.values()),
    )


def _hand_over(visit: Visit, facts: VisitFacts) -> Act:
    return Act(
        ActKind.HAND_OVER,
        "Hand over",
        ask="Issue the record, then give the vehicle and the record to the customer.",
        blocked=blocks(visit_unmet(VisitState.READY, VisitAct.RELEASE, facts)),
    )


def _technician(actor: Actor) -> Technician | None:
    if actor.membership_id is None:
        return None
    rows = Technician.objects.for_shop(actor.shop_id)
    return rows.filter(membership_id=actor.membership_id, active=True).first()
