"""What a page is told of the one thing to do next, and of how far the work has come."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from jobs.lifecycle import Unmet
from shopcal.accounts.permissions import Action


class ActKind(StrEnum):
    """What is asked of a person; the value is stable and the same in the API."""

    CHECK_IN = "check_in"
    CONFIRM_SYSTEMS = "confirm_systems"
    RESUME = "resume"
    PRE_SCAN = "pre_scan"
    BEGIN = "begin"
    BLOCKED = "blocked"
    PRECONDITION = "precondition"
    USE_EQUIPMENT = "use_equipment"
    WORKSHEET_INPUT = "worksheet_input"
    SET_OUT = "set_out"
    RECHECK = "recheck"
    BEFORE_RUN = "before_run"
    RUN = "run"
    DURING_RUN = "during_run"
    OUTCOME = "outcome"
    AFTER_CHECK = "after_check"
    VERIFY = "verify"
    REJECT = "reject"
    ATTEMPT_AGAIN = "attempt_again"
    POST_SCAN = "post_scan"
    COMPARE = "compare"
    SIGN_OFF = "sign_off"
    HAND_OVER = "hand_over"
    NOTHING = "nothing"


# Whose act it is: the permission its service asks for.
ACTION_OF: Final[dict[ActKind, Action]] = {
    ActKind.CHECK_IN: Action.CHECK_IN,
    ActKind.CONFIRM_SYSTEMS: Action.CHECK_IN,
    ActKind.RESUME: Action.RUN_CALIBRATION,
    ActKind.PRE_SCAN: Action.RECORD_SCAN,
    ActKind.BEGIN: Action.RUN_CALIBRATION,
    ActKind.BLOCKED: Action.RUN_CALIBRATION,
    ActKind.PRECONDITION: Action.ANSWER_PRECONDITION,
    ActKind.USE_EQUIPMENT: Action.USE_EQUIPMENT,
    ActKind.WORKSHEET_INPUT: Action.RECORD_READING,
    ActKind.SET_OUT: Action.RUN_CALIBRATION,
    ActKind.RECHECK: Action.RECORD_READING,
    ActKind.BEFORE_RUN: Action.RUN_CALIBRATION,
    ActKind.RUN: Action.RUN_CALIBRATION,
    ActKind.DURING_RUN: Action.RUN_CALIBRATION,
    ActKind.OUTCOME: Action.RECORD_OUTCOME,
    ActKind.AFTER_CHECK: Action.RECORD_OUTCOME,
    ActKind.VERIFY: Action.RECORD_OUTCOME,
    ActKind.REJECT: Action.RECORD_OUTCOME,
    ActKind.ATTEMPT_AGAIN: Action.RUN_CALIBRATION,
    ActKind.POST_SCAN: Action.RECORD_SCAN,
    ActKind.COMPARE: Action.SIGN_OFF,
    ActKind.SIGN_OFF: Action.SIGN_OFF,
    ActKind.HAND_OVER: Action.RELEASE_VISIT,
    ActKind.NOTHING: Action.SEE_VISIT,
}


@dataclass(frozen=True)
class Block:
    """A guard that is not met: what is missing, what puts it right, who may set it aside."""

    guard: str
    says: str
    right: str
    can_override: bool

    @property
    def who(self) -> str:
        return "a manager" if self.can_override else "nobody"


@dataclass(frozen=True)
class Choice:
    """One of the answers offered: a unit's code, a cause, a system."""

    value: str
    label: str
    says: str = ""


@dataclass(frozen=True)
class Act:
    """The one thing to do next. It follows from state and edition only, so that a reload, or
    another device, goes on at the same place.

    ``done`` of ``of`` counts within its kind (the third of eight preconditions: 2 of 8 done).
    ``unit`` is what a bare number is taken to be in. ``allowed`` tells whether this person may.
    """

    kind: ActKind
    title: str
    ask: str = ""
    caution: str = ""
    unit: str = ""
    limits: str = ""
    hint: str = ""
    name: str = ""
    repeat: int = 1
    says: tuple[str, ...] = ()  # set-out steps or run instructions, in order
    choices: tuple[Choice, ...] = ()
    calibration_id: int | None = None
    attempt_id: int | None = None
    done: int = 0
    of: int = 1
    blocked: tuple[Block, ...] = ()
    allowed: bool = True

    @property
    def number(self) -> int:
        """Which one of its kind this is, from 1."""
        return min(self.done + 1, self.of)


@dataclass(frozen=True)
class ActProgress:
    """One stage of a visit's work; ``state`` is done, now or to do."""

    kind: ActKind
    title: str
    calibration_id: int | None
    done: int
    of: int
    state: str = "to do"


def blocks(unmet: Iterable[Unmet]) -> tuple[Block, ...]:
    """Unmet guards as a page shows them."""
    return tuple(Block(u.guard, u.says, u.right, u.can_override) for u in unmet)
