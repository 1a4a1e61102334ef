"""What the problem codes of this app mean."""

from __future__ import annotations

from shopcal.api.kinds import describe

_EACH = (
    "Each entry of `errors` has the `path` of a field, what it `says`, and what would be `right`."
)


def _invalid(code: str, title: str, says: str = _EACH) -> None:
    describe(code, 422, title, says)


def describe_problems() -> None:
    """Add this app's codes to the list that ``/api/problems/`` serves."""
    _invalid("floor_plan_faults", "The floor plan has faults.")
    _invalid("clear_zone_faults", "The clear zone has faults.")
    _invalid("vehicle_shape_faults", "The vehicle's measurements have faults.")
    _invalid("survey_invalid", "The survey was not saved.")
    _invalid("light_survey_invalid", "The light survey was not saved.")
    _invalid("equipment_type_invalid", "The type was not saved.")
    _invalid("unit_invalid", "The unit was not saved.")
    _invalid("upkeep_rule_invalid", "The rule was not saved.")
    _invalid("upkeep_invalid", "The upkeep was not saved.")
    _invalid("downtime_invalid", "The unit was not taken out of service.")
    _invalid("skill_invalid", "The skill was not saved.")
    _invalid("technician_invalid", "The technician was not saved.")
    _invalid("skills_invalid", "The skills were not saved.")
    _invalid("shifts_invalid", "The shifts were not saved.")
    _invalid("absence_invalid", "The absence was not saved.")
    _invalid("hours_invalid", "The opening hours were not saved.")
    _invalid("closure_invalid", "The closure was not saved.")
    _invalid("code_taken", "This code is in use already.", "Take another code, or change that row.")
    _invalid(
        "document_faults",
        "The shop file has faults.",
        f"Nothing was changed. {_EACH} Paths lead through the document: `zones[2].polygon`.",
    )
    describe(
        "no_floor_plan", 404, "This shop has no floor plan yet.",
        "Publish one at `floor-plans/`, or bring in a shop file.",
    )  # fmt: skip
    describe(
        "zones_in_use", 409, "The new floor plan lacks zones that are booked.",
        "`facts.zones` names them. Keep them, or move what is booked there first.",
    )  # fmt: skip
    describe(
        "in_service", 409, "The unit is in service.", "There is nothing to return it from.",
    )  # fmt: skip
    describe(
        "out_of_service", 409, "The unit is out of service.",
        "Use another one, or have it returned to service first.",
    )  # fmt: skip
    describe(
        "not_fit", 409, "The unit was found not fit for use.",
        "`facts.rules` names the upkeep that found it so. Record that upkeep as fit first.",
    )  # fmt: skip
    describe(
        "double_booking", 409, "Somebody else has just taken what this needs.",
        "Nothing was changed. Look at what is free now and ask again.",
    )  # fmt: skip
    describe(
        "unknown_resource", 409, "The shop no longer has a resource.",
        "The floor, the equipment or the people changed meanwhile. Ask again.",
    )  # fmt: skip
    _drawing()
    _changed()


def _drawing() -> None:
    """Told on the drawing page; the codes are the same wherever a drawing is taken in."""
    _invalid("drawing_unreadable", "This is no drawing.")
    _invalid("drawing_too_large", "This drawing is too large to keep.")
    describe(
        "no_draft", 404, "There is no drawing.", "Begin one from an edition, a hall or a file.",
    )  # fmt: skip
    describe(
        "no_such_thing", 404, "This is not in the drawing any more.", "Read the drawing again.",
    )  # fmt: skip
    describe(
        "draft_there", 409, "There is a drawing already that has not been published.",
        "Go on with it, or discard it first; `facts.saved_by` says whose it is.",
    )  # fmt: skip


def _changed() -> None:
    describe(
        "draft_changed", 412, "Someone else saved the drawing meanwhile.",
        "`facts` says who and when. Read it again and choose which one to go on with.",
    )  # fmt: skip
    for what in ("unit", "technician"):
        describe(
            f"{what}_changed", 412, f"Someone else changed this {what} meanwhile.",
            "Read it again, apply the change to what is there now, and send that.",
        )  # fmt: skip
    for what in ("unit", "technician", "closure", "equipment_type", "upkeep_rule"):
        describe(
            f"no_{what}", 404, f"There is no such {what.replace('_', ' ')} in this shop.",
            "It is gone, or another shop's.",
        )  # fmt: skip
