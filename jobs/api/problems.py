"""What the problem codes of this app mean."""

from __future__ import annotations

from shopcal.api.kinds import describe

_EACH = "Each entry of `errors` has the `path` of a field, what it `says` and what is `right`."

_INVALID = {
    "what_if": "This cannot be asked.",
    "vehicle_model_invalid": "The vehicle was not saved.",
    "waiting_invalid": "What the step waits for was not saved.",
    "procedure_faults": "The procedure has faults.",
    "booking_incomplete": "This booking is not complete.",
    "visit_details": "The visit was not changed.",
    "other_vehicle": "This is not the vehicle that was booked.",
    "systems": "These answers cannot be taken.",
    "scan": "The scan was not entered.",
    "answer": "This answer cannot be taken.",
    "reading": "This reading was not taken in.",
    "unit": "This unit was not taken.",
    "guard": "There is no such guard.",
    "text": "Something is missing.",
    "backwards": "This time ends before it starts.",
}

_CONFLICTS = {
    "not_planned": (
        "There is nothing to help with.",
        "No step of the visit is left in the plan. Have the day planned again first.",
    ),
    "study_over": (
        "It is over already.",
        "Only a question that waits or is being worked out can be stopped.",
    ),
    "too_many_studies": (
        "Too many questions are being worked out.",
        "Wait until one is answered, or stop one.",
    ),
    "needed_first": (
        "Another procedure must be done after this one.",
        "`facts.procedures` names them. Publish these without it, or retire them first.",
    ),
    "offer_expired": (
        "This offer is too old or was not made here.",
        "Ask `quotes/` for new offers and choose again.",
    ),
    "offer_gone": (
        "This time has just been taken.",
        "Nothing was booked. Ask `quotes/` for new offers and choose again.",
    ),
    "ro_number_taken": (
        "There is already a visit with this repair order.",
        "Give this one another number, or open that visit.",
    ),
    "plan_not_verified": (
        "The plan did not pass its check.",
        "Nothing was changed. Ask again for what is free now.",
    ),
    "cannot_quote": ("No offer can be computed.", "`detail` says what contradicts itself."),
    "no_plan": ("There is no plan for this.", "`detail` says which resource binds. Nothing moved."),
    "plan_broken": ("The plan contradicts itself.", "`detail` says where. Nothing was changed."),
    "cannot_move": (
        "It cannot go there.",
        "`detail` says what stands in the way. Ask the step's `places/` for where it can go.",
    ),
    "moves_more": (
        "Other steps would move as well, or a promise would not be kept.",
        "Nothing has moved. `facts.changes` and `facts.promises` say what would; send it again "
        "with `also_moves` to accept that.",
    ),
    "nothing_to_undo": (
        "You have moved nothing that could be taken back.",
        "Only one's own moves of the last twelve hours are taken back, each once.",
    ),
    "proposal_over": (
        "Somebody has decided about this proposal already.",
        "Nothing was changed. `GET proposals/` lists those that still wait.",
    ),
    "cannot_undo": (
        "The move cannot be taken back.",
        "`detail` says why: it was moved again, or what it left is taken. Move it by hand.",
    ),
    "move_refused": (
        "This cannot be done yet.",
        "`facts.unmet` lists every guard that is not met: what it `says`, what puts it `right`, "
        "and whether a manager `can_override` it. `facts.move` is `no_such_move` where the state "
        "does not know the act at all.",
    ),
    "not_in_work": ("The visit is not in work.", "`detail` says what must happen first."),
    "not_now": ("This belongs to another state of the calibration.", "`detail` says which it is."),
    "run_going": (
        "A calibration is running.",
        "Record its outcome first, or stop it.",
    ),
    "no_attempt": ("The calibration has not been begun.", "Begin it with `prepare/` first."),
    "not_failed": (
        "The calibration neither failed nor was stopped.",
        "Only one that did can be given up.",
    ),
    "not_in_post_scan": (
        "The code is not in the post-scan that counts.",
        "Explain codes of the latest post-scan.",
    ),
    "no_post_scan": (
        "There is no post-scan since the last calibration ended.",
        "Enter the post-scan first, or that no code was found.",
    ),
    "struck_already": ("The reading was struck out already.", "There is nothing left to strike."),
    "readings_taken": (
        "Readings that stand were read from this unit.",
        "Strike them out first, or keep the unit.",
    ),
    "never_overridden": ("Nobody may set this aside.", "`detail` says what puts it right."),
    "guard_met": (
        "There is nothing to set aside now.",
        "`facts.unmet` lists what is unmet now.",
    ),
    "closed": ("The visit is over.", "Book a new visit."),
    "step_pinned": (
        "The step is pinned to a time before that.",
        "Let it move first, then say what it waits for.",
    ),
    "step_not_planned": (
        "The step is not waiting to be done.",
        "It is being done, done, cancelled, or has no time yet; `title` says which. Plan the day "
        "again where it needs a time.",
    ),
    "technician_busy": (
        "The technician is still doing another step.",
        "Finish that first, or let somebody else start this.",
    ),
    "cannot_start": (
        "Something the step needs is in use.",
        "Finish the work that uses it first, or have the day planned again.",
    ),
}


def describe_problems() -> None:
    """Add this app's codes to the list that ``/api/problems/`` serves."""
    for code, title in _INVALID.items():
        describe(code, 422, title, _EACH)
    describe(
        "vin_refused", 422, "This is not a VIN that can be taken as it stands.",
        "`facts.reason` says why, `facts.position` where, and `facts.candidates` are readings that "
        "fit and must be compared with the plate.",
    )  # fmt: skip
    for code, (title, says) in _CONFLICTS.items():
        describe(code, 409, title, says)
    describe(
        "unit_not_used", 404, "This unit is not in use here.", "The attempt did not take it.",
    )  # fmt: skip
    for what in ("visit", "calibration", "step"):
        describe(
            f"{what}_changed", 412, f"Someone changed this {what} meanwhile.",
            "`facts.changes` tells who changed what. Read it again, then do it again.",
        )  # fmt: skip
    describe(
        "plan_changed", 412, "The plan was changed meanwhile.",
        "Nothing was changed. Ask again.",
    )  # fmt: skip
    describe(
        "proposal_stale", 412, "This proposal is out of date.",
        "Nothing was changed. `detail` says why; have the day planned again.",
    )  # fmt: skip
    describe(
        "no_demand", 404, "No vehicle came in the last four weeks.",
        "There is nothing to plan again. Ask once visits have been done.",
    )  # fmt: skip
    for what in (
        "visit",
        "calibration",
        "procedure",
        "code",
        "step",
        "reading",
        "proposal",
        "study",
    ):
        describe(
            f"no_{what}", 404, f"There is no such {what} in this shop.",
            "It is gone, or another shop's.",
        )  # fmt: skip
