"""Who may do what: one table, asked by every service."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from shopcal.accounts.actor import Actor, Role
from shopcal.errors import NotAllowed


class Action(StrEnum):
    """Everything a person may be allowed to do; the value is a stable code, the name is for us."""

    SEE_DAY_BOARD = "see_day_board"
    SEE_VISIT = "see_visit"
    BOOK_VISIT = "book_visit"
    CHANGE_VISIT = "change_visit"
    CANCEL_VISIT = "cancel_visit"
    CHECK_IN = "check_in"
    RELEASE_VISIT = "release_visit"
    RECORD_SCAN = "record_scan"
    ANSWER_PRECONDITION = "answer_precondition"
    RECORD_READING = "record_reading"
    USE_EQUIPMENT = "use_equipment"
    RUN_CALIBRATION = "run_calibration"
    RECORD_OUTCOME = "record_outcome"
    SIGN_OFF = "sign_off"
    OVERRIDE_GUARD = "override_guard"
    REPLAN = "replan"
    PIN_STEP = "pin_step"
    EDIT_FLOOR_PLAN = "edit_floor_plan"
    EDIT_EQUIPMENT = "edit_equipment"
    EDIT_PEOPLE = "edit_people"
    EDIT_HOURS = "edit_hours"
    PUBLISH_PROCEDURE = "publish_procedure"
    RECORD_UPKEEP = "record_upkeep"
    TAKE_UNIT_OUT = "take_unit_out"
    SEE_FIGURES = "see_figures"
    ISSUE_RECORD = "issue_record"
    SEE_RECORD = "see_record"
    MANAGE_OWN_TOKENS = "manage_own_tokens"
    MANAGE_MEMBERS = "manage_members"
    MANAGE_WEBHOOKS = "manage_webhooks"
    IMPORT_EXPORT = "import_export"
    EDIT_SHOP = "edit_shop"


_EVERYONE: Final = frozenset(Role)
_OFFICE: Final = frozenset({Role.SERVICE_WRITER, Role.MANAGER})
_FLOOR: Final = frozenset({Role.TECHNICIAN, Role.MANAGER})
_MANAGER: Final = frozenset({Role.MANAGER})

ALLOWED: Final[dict[Action, frozenset[Role]]] = {
    Action.SEE_DAY_BOARD: _EVERYONE,
    Action.SEE_VISIT: _EVERYONE,
    Action.BOOK_VISIT: _OFFICE,
    Action.CHANGE_VISIT: _OFFICE,
    Action.CANCEL_VISIT: _OFFICE,
    Action.CHECK_IN: _EVERYONE,
    Action.RELEASE_VISIT: _OFFICE,
    # A customer's or another shop's scan report may come in with the vehicle, at the desk.
    Action.RECORD_SCAN: _EVERYONE,
    Action.ANSWER_PRECONDITION: _FLOOR,
    Action.RECORD_READING: _FLOOR,
    Action.USE_EQUIPMENT: _FLOOR,
    Action.RUN_CALIBRATION: _FLOOR,
    Action.RECORD_OUTCOME: _FLOOR,
    Action.SIGN_OFF: _FLOOR,
    Action.OVERRIDE_GUARD: _MANAGER,
    Action.REPLAN: _OFFICE,
    Action.PIN_STEP: _OFFICE,
    Action.EDIT_FLOOR_PLAN: _MANAGER,
    Action.EDIT_EQUIPMENT: _MANAGER,
    Action.EDIT_PEOPLE: _MANAGER,
    Action.EDIT_HOURS: _MANAGER,
    Action.PUBLISH_PROCEDURE: _MANAGER,
    Action.RECORD_UPKEEP: _FLOOR,
    # Whoever sees that a unit is damaged must be able to keep it from being used.
    Action.TAKE_UNIT_OUT: _EVERYONE,
    Action.SEE_FIGURES: _MANAGER,
    Action.ISSUE_RECORD: _OFFICE,
    Action.SEE_RECORD: _EVERYONE,
    Action.MANAGE_OWN_TOKENS: _EVERYONE,
    Action.MANAGE_MEMBERS: _MANAGER,
    Action.MANAGE_WEBHOOKS: _MANAGER,
    Action.IMPORT_EXPORT: _MANAGER,
    Action.EDIT_SHOP: _MANAGER,
}

_IN_WORDS: Final[dict[Action, str]] = {
    Action.SEE_DAY_BOARD: "see the day board",
    Action.SEE_VISIT: "see a visit",
    Action.BOOK_VISIT: "book a visit",
    Action.CHANGE_VISIT: "change a visit",
    Action.CANCEL_VISIT: "cancel a visit",
    Action.CHECK_IN: "check a vehicle in",
    Action.RELEASE_VISIT: "release a vehicle",
    Action.RECORD_SCAN: "record a scan",
    Action.ANSWER_PRECONDITION: "answer a precondition",
    Action.RECORD_READING: "record a reading",
    Action.USE_EQUIPMENT: "record the use of equipment",
    Action.RUN_CALIBRATION: "run a calibration",
    Action.RECORD_OUTCOME: "record the outcome of a calibration",
    Action.SIGN_OFF: "sign work off",
    Action.OVERRIDE_GUARD: "set a guard aside",
    Action.REPLAN: "plan the day again",
    Action.PIN_STEP: "pin a step to a time",
    Action.EDIT_FLOOR_PLAN: "change the floor plan",
    Action.EDIT_EQUIPMENT: "change equipment",
    Action.EDIT_PEOPLE: "change people, skills and shifts",
    Action.EDIT_HOURS: "change opening hours",
    Action.PUBLISH_PROCEDURE: "publish a procedure",
    Action.RECORD_UPKEEP: "record upkeep",
    Action.TAKE_UNIT_OUT: "take a unit out of service",
    Action.SEE_FIGURES: "see the shop's figures",
    Action.ISSUE_RECORD: "issue a record",
    Action.SEE_RECORD: "see a record",
    Action.MANAGE_OWN_TOKENS: "make and revoke their own API tokens",
    Action.MANAGE_MEMBERS: "change who belongs to the shop",
    Action.MANAGE_WEBHOOKS: "change webhooks",
    Action.IMPORT_EXPORT: "import or export the shop",
    Action.EDIT_SHOP: "change the shop's settings",
}


def in_words(action: Action) -> str:
    """The action as it ends a sentence: “a technician may not *book a visit*”."""
    return _IN_WORDS[action]


def may(by: Actor, action: Action) -> bool:
    """True where the actor's role allows the action; the service itself may do everything."""
    return by.role is None or by.role in ALLOWED[action]


def require(by: Actor, action: Action) -> None:
    """Do nothing where the actor may do this.

    Raises:
        NotAllowed: ``not_allowed``, saying what was asked and which roles may do it.
    """
    if by.role is None or by.role in ALLOWED[action]:
        return
    roles = sorted(role.label for role in ALLOWED[action])
    raise NotAllowed(
        "not_allowed",
        f"A {by.role.label} may not {in_words(action)}.",
        detail=f"Ask a {' or a '.join(roles)}.",
        facts={"action": action.value, "roles": sorted(r.value for r in ALLOWED[action])},
    )
