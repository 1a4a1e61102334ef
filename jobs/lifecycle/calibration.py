"""The life of one calibration: states, acts, guards and the table of moves.

The guards are common practice of the trade, no source; what a procedure demands comes from
the vehicle maker's current service information and arrives here as facts.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from jobs.lifecycle.moves import (
    Guard,
    Row,
    Unmet,
    named,
    refuse_unmet,
    row_for,
    unless,
    unmet_guards,
)


class CalibrationState(StrEnum):
    PLANNED = "planned"
    PREPARING = "preparing"
    SET_OUT = "set_out"
    RUNNING = "running"
    PASSED = "passed"
    FAILED = "failed"
    STOPPED = "stopped"
    VERIFIED = "verified"
    CANCELLED = "cancelled"


class CalibrationAct(StrEnum):
    PREPARE = "prepare"
    SET_OUT = "set_out"
    START_RUN = "start_run"
    RECORD_PASSED = "record_passed"
    RECORD_FAILED = "record_failed"
    STOP = "stop"
    VERIFY = "verify"
    REJECT_AFTER_CHECKS = "reject_after_checks"
    ATTEMPT_AGAIN = "attempt_again"
    CANCEL = "cancel"


@dataclass(frozen=True, kw_only=True)
class CalibrationFacts:
    """What is known when a move is asked for. Tuples name what is open; empty means nothing.

    Nothing but `overridden` has a default: a fact forgotten must not count as met.
    `confirmations_open` are those due before a run (people clear of the area, ...),
    `during_run_open` those due while it runs. `outcome_cause` is why an attempt failed, was
    stopped or is cancelled. `post_scan_taken` is for people to see: no move of a calibration
    hangs on it, the post-scan belongs to the visit and guards its release.
    """

    pre_scan_taken: bool
    blocking_codes_open: tuple[str, ...]
    preconditions_unmet: tuple[str, ...]
    preconditions_unanswered: tuple[str, ...]
    checks_failed: tuple[str, ...]
    checks_open: tuple[str, ...]
    checks_too_close: tuple[str, ...]
    equipment_missing: tuple[str, ...]
    equipment_overdue: tuple[str, ...]
    confirmations_open: tuple[str, ...]
    area_clear_confirmed: bool
    during_run_open: tuple[str, ...]
    prerequisites_open: tuple[str, ...]
    technician_qualified: bool
    after_checks_open: tuple[str, ...]
    after_checks_failed: tuple[str, ...]
    outcome_cause: str
    post_scan_taken: bool
    overridden: frozenset[str] = frozenset()


CalibrationGuard = Guard[CalibrationFacts]
_ALL: Final = (
    CalibrationGuard(
        "technician_qualified",
        lambda f: unless(f.technician_qualified, "the technician lacks a skill this needs"),
        "a technician with every skill the procedure names",
        can_override=True,
    ),
    CalibrationGuard(
        "pre_scan",
        lambda f: unless(f.pre_scan_taken, "there is no pre-scan"),
        "take the pre-scan and enter its codes, or that there are none",
        can_override=True,
    ),
    CalibrationGuard(
        "prerequisites",
        lambda f: named(f.prerequisites_open, "must be finished first"),
        "finish and verify it first",
        can_override=True,
    ),
    CalibrationGuard(
        "blocking_codes",
        lambda f: named(f.blocking_codes_open, "trouble codes that forbid a run"),
        "repair the cause, clear the code and scan again",
        can_override=True,
    ),
    # An answer nobody gave is no judgement a manager could take over.
    CalibrationGuard(
        "preconditions_unanswered",
        lambda f: named(f.preconditions_unanswered, "preconditions without an answer"),
        "check it on the vehicle and answer",
        can_override=False,
    ),
    CalibrationGuard(
        "preconditions",
        lambda f: named(f.preconditions_unmet, "preconditions not met"),
        "put it right on the vehicle and answer again",
        can_override=True,
    ),
    CalibrationGuard(
        "equipment_missing",
        lambda f: named(f.equipment_missing, "equipment not assigned"),
        "assign a unit of that type",
        can_override=True,
    ),
    CalibrationGuard(
        "equipment_overdue",
        lambda f: named(f.equipment_overdue, "equipment with upkeep overdue"),
        "take another unit, or do the upkeep and enter it",
        can_override=True,
    ),
    CalibrationGuard(
        "checks_open",
        lambda f: named(f.checks_open, "checks without their readings"),
        "measure and enter the readings",
        can_override=False,
    ),
    # A sensor calibrated against a target out of place warns and brakes at the wrong place.
    CalibrationGuard(
        "checks_failed",
        lambda f: named(f.checks_failed, "checks that failed"),
        "set out again and measure again",
        can_override=False,
    ),
    CalibrationGuard(
        "checks_too_close",
        lambda f: named(f.checks_too_close, "checks too close to call"),
        "measure again, or with a finer instrument",
        can_override=True,
    ),
    CalibrationGuard(
        "confirmations",
        lambda f: named(f.confirmations_open, "not confirmed before the run"),
        "look, then confirm each one",
        can_override=False,
    ),
    CalibrationGuard(
        "area_clear",
        lambda f: unless(f.area_clear_confirmed, "the area is not confirmed clear"),
        "walk around, see that people and things are out of the clear zone, confirm",
        can_override=False,
    ),
    CalibrationGuard(
        "during_run",
        lambda f: named(f.during_run_open, "not confirmed during the run"),
        "confirm each one, or record the run as failed or stopped",
        can_override=False,
    ),
    CalibrationGuard(
        "outcome_cause",
        lambda f: unless(bool(f.outcome_cause.strip()), "there is no cause"),
        "pick or write the cause",
        can_override=False,
    ),
    CalibrationGuard(
        "after_checks_open",
        lambda f: named(f.after_checks_open, "after-checks without an answer"),
        "do the after-check and answer",
        can_override=False,
    ),
    CalibrationGuard(
        "after_checks",
        lambda f: named(f.after_checks_failed, "after-checks that failed"),
        "reject the result, find the cause and attempt again",
        can_override=False,
    ),
    CalibrationGuard(
        "after_checks_rejected",
        lambda f: unless(bool(f.after_checks_failed), "no after-check failed"),
        "answer the after-check that failed",
        can_override=False,
    ),
)
CALIBRATION_GUARDS: Final = {guard.key: guard for guard in _ALL}

TO_SET_OUT: Final = (
    "technician_qualified",
    "pre_scan",
    "prerequisites",
    "preconditions_unanswered",
    "preconditions",
    "equipment_missing",
    "equipment_overdue",
)
# Looked at again, since codes, people and equipment change between setting out and the run.
TO_RUN: Final = (
    *TO_SET_OUT,
    "blocking_codes",
    "checks_open",
    "checks_failed",
    "checks_too_close",
    "confirmations",
    "area_clear",
)

_S, _A = CalibrationState, CalibrationAct
CALIBRATION_TABLE: Final = (
    Row(_S.PLANNED, _A.PREPARE, _S.PREPARING, ("technician_qualified",)),
    Row(_S.PREPARING, _A.SET_OUT, _S.SET_OUT, TO_SET_OUT),
    Row(_S.SET_OUT, _A.START_RUN, _S.RUNNING, TO_RUN),
    Row(_S.RUNNING, _A.RECORD_PASSED, _S.PASSED, ("during_run",)),
    Row(_S.RUNNING, _A.RECORD_FAILED, _S.FAILED, ("outcome_cause",)),
    Row(_S.RUNNING, _A.STOP, _S.STOPPED, ("outcome_cause",)),
    Row(_S.PASSED, _A.VERIFY, _S.VERIFIED, ("after_checks_open", "after_checks")),
    # A pass the after-checks contradict would otherwise have no way on.
    Row(
        _S.PASSED,
        _A.REJECT_AFTER_CHECKS,
        _S.FAILED,
        ("after_checks_rejected", "outcome_cause"),
    ),
    Row(_S.FAILED, _A.ATTEMPT_AGAIN, _S.PREPARING, ("technician_qualified",)),
    Row(_S.STOPPED, _A.ATTEMPT_AGAIN, _S.PREPARING, ("technician_qualified",)),
    Row(_S.PLANNED, _A.CANCEL, _S.CANCELLED, ("outcome_cause",)),
    Row(_S.PREPARING, _A.CANCEL, _S.CANCELLED, ("outcome_cause",)),
    Row(_S.SET_OUT, _A.CANCEL, _S.CANCELLED, ("outcome_cause",)),
)


def calibration_acts(state: CalibrationState) -> tuple[CalibrationAct, ...]:
    """Acts the table knows from a state, met or not."""
    return tuple(row.act for row in CALIBRATION_TABLE if row.state == state)


def calibration_unmet(
    state: CalibrationState, act: CalibrationAct, facts: CalibrationFacts
) -> tuple[Unmet, ...]:
    """Guards that keep an act from happening now; empty when it may.

    Raises:
        MoveRefused: the table has no such move.
    """
    row = row_for(CALIBRATION_TABLE, state, act, "calibration")
    return unmet_guards(CALIBRATION_GUARDS, row.guards, facts)


def calibration_move(
    state: CalibrationState, act: CalibrationAct, facts: CalibrationFacts
) -> CalibrationState:
    """The state an act leads to.

    Raises:
        MoveRefused: no such move, or every unmet guard in words.
    """
    row = row_for(CALIBRATION_TABLE, state, act, "calibration")
    refuse_unmet(unmet_guards(CALIBRATION_GUARDS, row.guards, facts), act)
    return row.to
