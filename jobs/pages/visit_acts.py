"""What may be done to a visit, in the words of its buttons, and what each act asks for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from jobs.lifecycle import VisitAct
from jobs.models import Visit
from jobs.pages.visit_forms import PlateForm, ReasonForm
from shopcal.accounts.permissions import Action


@dataclass(frozen=True)
class Act:
    """Something that may be done to a visit, in words.

    ``actions``: any one of them is enough. ``asks`` is the label of a reason.
    """

    name: str
    word: str
    actions: tuple[Action, ...]
    asks: str = ""
    says: str = ""
    danger: bool = False
    primary: bool = False


ACTS = {
    VisitAct.CHECK_IN: Act("check_in", "Check in", (Action.CHECK_IN,), primary=True),
    VisitAct.HOLD: Act(
        "hold",
        "Put on hold",
        (Action.CHANGE_VISIT, Action.RUN_CALIBRATION),
        "What does it wait for?",
        "A step being done is stopped and gives its floor, people and equipment back.",
    ),
    VisitAct.RESUME: Act(
        "resume", "Resume", (Action.CHANGE_VISIT, Action.RUN_CALIBRATION), primary=True
    ),
    VisitAct.MARK_READY: Act("sign_off", "Sign off as ready", (Action.SIGN_OFF,), primary=True),
    VisitAct.REOPEN: Act(
        "reopen",
        "Back into work",
        (Action.CHANGE_VISIT, Action.SIGN_OFF),
        "What was seen?",
        "It must be signed off and recorded anew then.",
    ),
    VisitAct.RELEASE: Act("release", "Release", (Action.RELEASE_VISIT,), primary=True),
    VisitAct.CANCEL: Act(
        "cancel",
        "Cancel the visit",
        (Action.CANCEL_VISIT,),
        "Why is it cancelled?",
        "Its floor, people and equipment are given back. This cannot be undone.",
        danger=True,
    ),
}
BY_NAME = {act.name: act for act in ACTS.values()}


def act_form(act: Act, found: Visit, given: Any = None) -> ReasonForm | PlateForm | None:
    """What the act asks for: a reason, or the VIN from the plate while it is in doubt."""
    if act.asks:
        return ReasonForm(given, asks=act.asks, prefix=act.name)
    if act.name == "check_in" and not found.vin_confirmed:
        return PlateForm(given, prefix=act.name)
    return None
