"""Moves of a calibration, from the first attempt to verified, each guarded by the table."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from jobs.lifecycle import (
    CalibrationAct,
    CalibrationFacts,
    CalibrationState,
    MoveRefused,
    calibration_move,
)
from jobs.models import Attempt, Calibration, Override, Step
from jobs.selectors.facts import AttemptState, attempt_state, calibration_facts
from jobs.selectors.fitness import fitness_of
from jobs.services.rows import (
    locked_calibration,
    move_conflict,
    needed_text,
    one_transaction,
    open_attempt,
    technician_of,
    told_calibration,
)
from jobs.services.step_changes import call_off, cancel_step, plan_step_again
from jobs.services.steps import finish_step, start_step
from jobs.services.visits import begin_work
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict

CAUSE_LENGTH, DEALT_WITH_LENGTH, CANCEL_LENGTH = 200, 400, 300


def taken_up(by: Actor, calibration: Calibration, version: int | None) -> Calibration:
    """A locked calibration of a visit in work, its step being done again where it was paused.

    Raises:
        NotFound, Stale. Conflict: ``not_in_work``, ``move_refused``, or as ``steps.start_step``.
    """
    found = locked_calibration(by, calibration, version)
    begin_work(by=by, visit=found.visit)
    if found.state != CalibrationState.PLANNED and found.step.state == Step.State.PLANNED:
        _start_step(by, found)
    return found


@one_transaction
def prepare(*, by: Actor, calibration: Calibration, version: int | None = None) -> Attempt:
    """Begin the first attempt: the step starts, and takes its floor, people and equipment.

    The attempt is the technician's who acts, else of the one the step is planned with.

    Raises:
        NotAllowed, NotFound, Stale.
        Conflict: ``move_refused``, ``not_in_work``, or as ``steps.start_step``.
    """
    require(by, Action.RUN_CALIBRATION)
    found = taken_up(by, calibration, version)
    return _begin(by, found, CalibrationAct.PREPARE)


@one_transaction
def attempt_again(*, by: Actor, calibration: Calibration, version: int | None = None) -> Attempt:
    """Begin another attempt after one failed or was stopped; everything is asked anew.

    One that was given up is taken up again by it.

    Raises:
        NotAllowed, NotFound, Stale.
        Conflict: ``move_refused``, ``not_in_work``, or as ``steps.start_step``.
    """
    require(by, Action.RUN_CALIBRATION)
    found = taken_up(by, calibration, version)
    plan_step_again(step=found.step)
    found.dealt_with = ""
    return _begin(by, found, CalibrationAct.ATTEMPT_AGAIN)


@one_transaction
def mark_set_out(*, by: Actor, calibration: Calibration, version: int | None = None) -> Calibration:
    """Targets, mats or stands stand where the edition says.

    Raises:
        NotAllowed, NotFound, Stale. Conflict: ``move_refused`` with every unmet guard.
    """
    require(by, Action.RUN_CALIBRATION)
    found = taken_up(by, calibration, version)
    before = _moved(found, CalibrationAct.SET_OUT, _facts(by, found))
    return told_calibration(by, found, "calibration.set_out", before, state=found.state)


@one_transaction
def start_run(*, by: Actor, calibration: Calibration, version: int | None = None) -> Attempt:
    """Start the calibration itself, once every guard is met or set aside by a manager.

    The worksheet as evaluated now is kept with the attempt: unrounded values, verdicts, method
    and edition; so is each unit's fitness.

    Raises:
        NotAllowed, NotFound, Stale. Conflict: ``move_refused`` with every unmet guard.
    """
    require(by, Action.RUN_CALIBRATION)
    found = taken_up(by, calibration, version)
    known = attempt_state(found)
    before = _moved(found, CalibrationAct.START_RUN, _facts(by, found, known=known))
    attempt = open_attempt(found)
    attempt.run_started_at = timezone.now()
    attempt.technician = technician_of(by) or attempt.technician
    attempt.evaluation = {
        **known.results.as_content(),
        "edition": found.edition.number,
        "edition_digest": found.edition.digest,
    }
    attempt.save()
    _keep_fitness(attempt, found)
    told_calibration(
        by,
        found,
        "calibration.run_started",
        before,
        state=found.state,
        attempt=attempt.number,
        evaluation=attempt.evaluation,
        overridden=sorted(attempt.overrides.values_list("guard", flat=True)),
    )
    return attempt


@one_transaction
def record_passed(*, by: Actor, calibration: Calibration, version: int | None = None) -> Attempt:
    """The run ended well. The calibration counts only once its after-checks are verified.

    Raises:
        NotAllowed, NotFound, Stale. Conflict: ``move_refused``.
    """
    return _ended(by, calibration, version, CalibrationAct.RECORD_PASSED, "", "")


@one_transaction
def record_failed(
    *, by: Actor, calibration: Calibration, cause: str, note: str = "", version: int | None = None
) -> Attempt:
    """The run ended badly.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no cause. Conflict: ``move_refused``.
    """
    cause = _cause(cause)
    return _ended(by, calibration, version, CalibrationAct.RECORD_FAILED, cause, note)


@one_transaction
def stop(
    *, by: Actor, calibration: Calibration, cause: str, note: str = "", version: int | None = None
) -> Attempt:
    """Somebody stopped the run before it ended.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no cause. Conflict: ``move_refused``.
    """
    return _ended(by, calibration, version, CalibrationAct.STOP, _cause(cause), note)


@one_transaction
def verify(*, by: Actor, calibration: Calibration, version: int | None = None) -> Calibration:
    """Every after-check is well: the calibration counts, and its step is done.

    Raises:
        NotAllowed, NotFound, Stale. Conflict: ``move_refused``.
    """
    require(by, Action.RECORD_OUTCOME)
    found = taken_up(by, calibration, version)
    before = _moved(found, CalibrationAct.VERIFY, _facts(by, found))
    _finish_step(by, found)
    return told_calibration(by, found, "calibration.verified", before, state=found.state)


@one_transaction
def reject_after_checks(
    *, by: Actor, calibration: Calibration, cause: str, note: str = "", version: int | None = None
) -> Attempt:
    """An after-check contradicts the pass: the attempt failed after all.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no cause. Conflict: ``move_refused``.
    """
    return _ended(by, calibration, version, CalibrationAct.REJECT_AFTER_CHECKS, _cause(cause), note)


@one_transaction
def give_up(
    *, by: Actor, calibration: Calibration, dealt_with: str, version: int | None = None
) -> Calibration:
    """Leave a failed or stopped calibration as it is, with how the vehicle leaves and who knows.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no words.
        Conflict: ``not_failed``, it neither failed nor was stopped.
    """
    require(by, Action.RECORD_OUTCOME)
    found = locked_calibration(by, calibration, version)
    begin_work(by=by, visit=found.visit)
    right = "write how the vehicle leaves and who was told"
    words = needed_text("dealt_with", dealt_with, DEALT_WITH_LENGTH, right)
    if found.state not in (CalibrationState.FAILED, CalibrationState.STOPPED):
        raise Conflict(
            "not_failed",
            f"{found.edition.procedure.name} is {found.state.replace('_', ' ')}.",
            detail="Only a calibration that failed or was stopped can be given up.",
        )
    before = {"dealt_with": found.dealt_with}
    found.dealt_with = words
    _finish_step(by, found)
    return told_calibration(by, found, "calibration.given_up", before, dealt_with=words)


@one_transaction
def cancel_calibration(
    *, by: Actor, calibration: Calibration, reason: str, version: int | None = None
) -> Calibration:
    """Take a calibration that has not run off the visit; its step gives back what it holds.

    Raises:
        NotAllowed: neither a service writer nor a manager. NotFound, Stale. Invalid: no reason.
        Conflict: ``move_refused``.
    """
    require(by, Action.CHANGE_VISIT)
    found = locked_calibration(by, calibration, version)
    why = needed_text("reason", reason, CANCEL_LENGTH, "write why it is not calibrated")
    state = found.state
    _moved(found, CalibrationAct.CANCEL, calibration_facts(found, cause=why))
    found.state = state
    now = timezone.now()
    cancel_step(by=by, step=found.step, now=now)
    call_off(by=by, row=found, why=why, now=now)
    return found


def _begin(by: Actor, found: Calibration, act: CalibrationAct) -> Attempt:
    before = _moved(found, act, _facts(by, found))
    skipped = _skip_pre_scan_step(by, found)
    if found.step.state != Step.State.DOING:
        _start_step(by, found)
    last = found.attempts.order_by("-number").first()
    attempt = Attempt.objects.create(
        shop_id=by.shop_id,
        calibration=found,
        number=last.number + 1 if last else 1,
        technician=technician_of(by) or found.step.technician,
        begun_at=timezone.now(),
        begun_by=by.name,
    )
    # What a manager set aside so that this attempt could begin belongs to it.
    Override.objects.filter(calibration=found, attempt__isnull=True).update(attempt=attempt)
    told_calibration(
        by,
        found,
        "calibration.begun",
        before,
        state=found.state,
        attempt=attempt.number,
        skipped_steps=skipped,
    )
    return attempt


def _skip_pre_scan_step(by: Actor, found: Calibration) -> list[str]:
    """Take a pre-scan that was not made in its time out of the plan, with what it holds.

    Its own technician and place would otherwise be taken by it. It can still be entered, and the
    guards ask for it.
    """
    late = list(
        found.visit.steps.select_for_update(of=("self",)).filter(
            kind=Step.Kind.PRE_SCAN, state=Step.State.PLANNED, order__lt=found.step.order
        )
    )
    for step in late:
        cancel_step(by=by, step=step, now=timezone.now())
    return [step.label for step in late]


def _ended(
    by: Actor,
    calibration: Calibration,
    version: int | None,
    act: CalibrationAct,
    cause: str,
    note: str,
) -> Attempt:
    require(by, Action.RECORD_OUTCOME)
    found = taken_up(by, calibration, version)
    before = _moved(found, act, _facts(by, found, cause=cause))
    attempt = open_attempt(found)
    attempt.outcome = found.state
    attempt.ended_at = timezone.now()
    attempt.cause = cause
    attempt.note = note.strip()
    attempt.save()
    told_calibration(
        by,
        found,
        f"calibration.{found.state}",
        before,
        state=found.state,
        attempt=attempt.number,
        cause=cause,
        act=act.value,
    )
    return attempt


def _facts(
    by: Actor, found: Calibration, *, cause: str = "", known: AttemptState | None = None
) -> CalibrationFacts:
    return calibration_facts(found, technician=technician_of(by), cause=cause, state=known)


def _moved(found: Calibration, act: CalibrationAct, facts: CalibrationFacts) -> dict[str, Any]:
    """Change the state by the table; returns what it was."""
    before = {"state": found.state}
    try:
        found.state = calibration_move(CalibrationState(found.state), act, facts)
    except MoveRefused as refused:
        raise move_conflict(refused) from refused
    return before


def _keep_fitness(attempt: Attempt, found: Calibration) -> None:
    """Bring the kept fitness of every unit to the moment of the run."""
    used = list(attempt.units.all())
    fitness = fitness_of(found.visit.shop, [row.unit_id for row in used], found.step_id)
    for row in used:
        row.fitness = fitness[row.unit_id].state.value
        row.fitness_says = fitness[row.unit_id].says
        row.save(update_fields=["fitness", "fitness_says"])


def _cause(cause: str) -> str:
    return needed_text("cause", cause, CAUSE_LENGTH, "pick or write the cause")


def _start_step(by: Actor, found: Calibration) -> None:
    found.step = start_step(by=by, step=found.step)


def _finish_step(by: Actor, found: Calibration) -> None:
    found.step = finish_step(by=by, step=found.step)
