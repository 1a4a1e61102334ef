"""The life of a visit: states, acts, guards and the table of moves."""

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


class VisitState(StrEnum):
    BOOKED = "booked"
    CHECKED_IN = "checked_in"
    IN_WORK = "in_work"
    ON_HOLD = "on_hold"
    READY = "ready"
    RELEASED = "released"
    CANCELLED = "cancelled"


class VisitAct(StrEnum):
    CHECK_IN = "check_in"
    START_WORK = "start_work"
    HOLD = "hold"
    RESUME = "resume"
    MARK_READY = "mark_ready"
    REOPEN = "reopen"
    RELEASE = "release"
    CANCEL = "cancel"


@dataclass(frozen=True, kw_only=True)
class VisitFacts:
    """What is known when a move is asked for. Tuples name what is open; empty means nothing.

    Nothing but `overridden` has a default: a fact forgotten must not count as met.
    `vehicle_identified`: the VIN was checked, or confirmed from the plate.
    `systems_to_confirm`: systems the service writer must still say the vehicle has or not.
    `calibrations_open`: planned up to passed, not yet verified nor cancelled.
    `calibrations_not_dealt_with`: failed or stopped, without a new attempt and without a
    written decision on how the vehicle leaves.
    `codes_unexplained`: codes of the post-scan that are new or stayed, without a word on why.
    `reason`: why the visit is held, reopened or cancelled.
    """

    vehicle_identified: bool
    systems_to_confirm: tuple[str, ...]
    calibrations_running: tuple[str, ...]
    calibrations_open: tuple[str, ...]
    calibrations_not_dealt_with: tuple[str, ...]
    post_scan_taken: bool
    post_scan_compared: bool
    codes_unexplained: tuple[str, ...]
    record_issued: bool
    reason: str
    overridden: frozenset[str] = frozenset()


VisitGuard = Guard[VisitFacts]
_ALL: Final = (
    VisitGuard(
        "vehicle_identified",
        lambda f: unless(f.vehicle_identified, "the vehicle's VIN is not checked"),
        "read the VIN from the plate and enter or confirm it",
        can_override=True,
    ),
    VisitGuard(
        "systems_confirmed",
        lambda f: named(f.systems_to_confirm, "not known whether the vehicle has"),
        "look at the vehicle or its build data and answer yes or no",
        can_override=True,
    ),
    VisitGuard(
        "nothing_running",
        lambda f: named(f.calibrations_running, "a calibration is running"),
        "let it finish, or stop it",
        can_override=False,
    ),
    VisitGuard(
        "calibrations_verified",
        lambda f: named(f.calibrations_open, "calibrations not verified"),
        "finish and verify it, or cancel it with a reason",
        can_override=False,
    ),
    VisitGuard(
        "calibrations_dealt_with",
        lambda f: named(f.calibrations_not_dealt_with, "failed or stopped, not dealt with"),
        "attempt it again, or write down how the vehicle leaves and who was told",
        can_override=False,
    ),
    VisitGuard(
        "post_scan",
        lambda f: unless(f.post_scan_taken, "there is no post-scan"),
        "take the post-scan and enter its codes, or that there are none",
        can_override=True,
    ),
    VisitGuard(
        "post_scan_compared",
        lambda f: unless(
            f.post_scan_compared or not f.post_scan_taken,
            "the post-scan is not compared with the pre-scan",
        ),
        "look at what was cleared, stayed and came, and confirm",
        can_override=False,
    ),
    VisitGuard(
        "codes_explained",
        lambda f: named(f.codes_unexplained, "codes in the post-scan without a word on why"),
        "put the cause right and scan again, or write why the code stays",
        can_override=True,
    ),
    VisitGuard(
        "record_issued",
        lambda f: unless(f.record_issued, "the record is not issued"),
        "issue the record",
        can_override=False,
    ),
    VisitGuard(
        "reason",
        lambda f: unless(bool(f.reason.strip()), "there is no reason"),
        "write the reason",
        can_override=False,
    ),
)
VISIT_GUARDS: Final = {guard.key: guard for guard in _ALL}

TO_READY: Final = (
    "nothing_running",
    "calibrations_verified",
    "calibrations_dealt_with",
    "post_scan",
    "post_scan_compared",
    "codes_explained",
)
TO_STOP_WORK: Final = ("reason", "nothing_running")

_S, _A = VisitState, VisitAct
VISIT_TABLE: Final = (
    Row(_S.BOOKED, _A.CHECK_IN, _S.CHECKED_IN, ("vehicle_identified",)),
    Row(_S.CHECKED_IN, _A.START_WORK, _S.IN_WORK, ("systems_confirmed",)),
    Row(_S.IN_WORK, _A.HOLD, _S.ON_HOLD, TO_STOP_WORK),
    Row(_S.ON_HOLD, _A.RESUME, _S.IN_WORK),
    Row(_S.IN_WORK, _A.MARK_READY, _S.READY, TO_READY),
    # Something seen between the last step and the keys must have a way back into work.
    Row(_S.READY, _A.REOPEN, _S.IN_WORK, ("reason",)),
    # Looked at again: a calibration or a code may have come since the visit was made ready.
    Row(_S.READY, _A.RELEASE, _S.RELEASED, (*TO_READY, "record_issued")),
    Row(_S.BOOKED, _A.CANCEL, _S.CANCELLED, ("reason",)),
    Row(_S.CHECKED_IN, _A.CANCEL, _S.CANCELLED, TO_STOP_WORK),
    Row(_S.IN_WORK, _A.CANCEL, _S.CANCELLED, TO_STOP_WORK),
    Row(_S.ON_HOLD, _A.CANCEL, _S.CANCELLED, TO_STOP_WORK),
)


def visit_acts(state: VisitState) -> tuple[VisitAct, ...]:
    """Acts the table knows from a state, met or not."""
    return tuple(row.act for row in VISIT_TABLE if row.state == state)


def visit_unmet(state: VisitState, act: VisitAct, facts: VisitFacts) -> tuple[Unmet, ...]:
    """Guards that keep an act from happening now; empty when it may.

    Raises:
        MoveRefused: the table has no such move.
    """
    return unmet_guards(VISIT_GUARDS, row_for(VISIT_TABLE, state, act, "visit").guards, facts)


def visit_move(state: VisitState, act: VisitAct, facts: VisitFacts) -> VisitState:
    """The state an act leads to.

    Raises:
        MoveRefused: no such move, or every unmet guard in words.
    """
    row = row_for(VISIT_TABLE, state, act, "visit")
    refuse_unmet(unmet_guards(VISIT_GUARDS, row.guards, facts), act)
    return row.to
