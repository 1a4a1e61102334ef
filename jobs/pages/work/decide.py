"""Which form the page shows for the one act that comes next."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from jobs.models import Calibration, Visit
from jobs.pages.work.strip import Place
from jobs.selectors import acts
from jobs.selectors.acts import ActKind, Block
from jobs.selectors.facts import AttemptState, attempt_state
from jobs.selectors.next_act import next_act
from shopcal.accounts.actor import Actor


class Form(StrEnum):
    """The forms of the page. One may ask several things at once: what is measured on the
    set-out is judged together, and what is confirmed before a run is looked at together."""

    CHECK_IN = "check_in"
    SYSTEMS = "systems"
    RESUME = "resume"
    PRE_SCAN = "pre_scan"
    BEGIN = "begin"
    BLOCKED = "blocked"
    PRECONDITION = "precondition"
    EQUIPMENT = "equipment"
    MEASURE = "measure"
    LAY = "lay"
    CHECK = "check"
    CONFIRM = "confirm"
    RUN = "run"
    AFTER = "after"
    REJECT = "reject"
    VERIFY = "verify"
    AGAIN = "again"
    POST_SCAN = "post_scan"
    COMPARE = "compare"
    SIGN_OFF = "sign_off"
    READY = "ready"
    CLOSED = "closed"


FORMS = {
    ActKind.CHECK_IN: Form.CHECK_IN,
    ActKind.CONFIRM_SYSTEMS: Form.SYSTEMS,
    ActKind.RESUME: Form.RESUME,
    ActKind.PRE_SCAN: Form.PRE_SCAN,
    ActKind.BEGIN: Form.BEGIN,
    ActKind.BLOCKED: Form.BLOCKED,
    ActKind.PRECONDITION: Form.PRECONDITION,
    ActKind.USE_EQUIPMENT: Form.EQUIPMENT,
    ActKind.WORKSHEET_INPUT: Form.CHECK,
    ActKind.RECHECK: Form.CHECK,
    ActKind.SET_OUT: Form.LAY,
    ActKind.BEFORE_RUN: Form.CONFIRM,
    ActKind.RUN: Form.CONFIRM,
    ActKind.DURING_RUN: Form.RUN,
    ActKind.OUTCOME: Form.RUN,
    ActKind.AFTER_CHECK: Form.AFTER,
    ActKind.REJECT: Form.REJECT,
    ActKind.VERIFY: Form.VERIFY,
    ActKind.ATTEMPT_AGAIN: Form.AGAIN,
    ActKind.POST_SCAN: Form.POST_SCAN,
    ActKind.COMPARE: Form.COMPARE,
    ActKind.SIGN_OFF: Form.SIGN_OFF,
    ActKind.HAND_OVER: Form.READY,
    ActKind.NOTHING: Form.CLOSED,
}

PLACES = {
    **dict.fromkeys((Form.CHECK_IN, Form.SYSTEMS, Form.PRE_SCAN), Place.PRE_SCAN),
    **dict.fromkeys((Form.BEGIN, Form.BLOCKED, Form.PRECONDITION, Form.EQUIPMENT), Place.BEFORE),
    **dict.fromkeys((Form.MEASURE, Form.LAY, Form.CHECK), Place.SET_OUT),
    **dict.fromkeys(
        (Form.CONFIRM, Form.RUN, Form.AFTER, Form.REJECT, Form.VERIFY, Form.AGAIN), Place.RUN
    ),
    **dict.fromkeys((Form.POST_SCAN, Form.COMPARE), Place.POST_SCAN),
    **dict.fromkeys((Form.SIGN_OFF, Form.READY), Place.HAND_OVER),
}
# What the form itself asks for is not told a second time as something still open, except to
# somebody who may set it aside.
ASKED_BY_FORM = {
    Form.CHECK_IN: ("vehicle_identified",),
    Form.SYSTEMS: ("systems_confirmed",),
    Form.PRE_SCAN: ("pre_scan",),
    Form.PRECONDITION: ("preconditions_unanswered", "preconditions"),
    Form.EQUIPMENT: ("equipment_missing",),
    Form.CHECK: ("checks_open",),
    Form.CONFIRM: ("confirmations", "area_clear"),
    Form.POST_SCAN: ("post_scan",),
    Form.COMPARE: ("post_scan_compared", "codes_explained"),
}


@dataclass(frozen=True)
class Next:
    """The form, the act behind it, and the calibration it belongs to as it stands."""

    form: Form
    act: acts.Act
    state: AttemptState | None = None

    @property
    def calibration(self) -> Calibration | None:
        return self.state.calibration if self.state else None

    @property
    def place(self) -> Place | None:
        return PLACES.get(self.form)

    def open_guards(self, *, may_override: bool) -> tuple[Block, ...]:
        """What stands in the way besides what the form asks for."""
        asked = ASKED_BY_FORM.get(self.form, ())
        return tuple(
            one
            for one in self.act.blocked
            if one.guard not in asked or (may_override and one.can_override)
        )


def next_of(by: Actor, visit: Visit, calibrations: list[Calibration]) -> Next:
    """The form that comes next."""
    act = next_act(visit, by)
    calibration = next((c for c in calibrations if c.pk == act.calibration_id), None)
    if calibration is None:
        return Next(FORMS[act.kind], act)
    state = attempt_state(calibration)
    return Next(_form(act, state), act, state)


def _form(act: acts.Act, state: AttemptState) -> Form:
    form = FORMS[act.kind]
    if form != Form.CHECK:
        return form
    # Before setting out only what the set-out follows from is measured.
    stage = {wanted.name: wanted.stage for wanted in state.content.worksheet.inputs}
    asked = stage.get(act.name)
    if asked is None:
        asked = "measure" if state.calibration.state == "preparing" else "check_set_out"
    return Form.MEASURE if asked == "measure" else Form.CHECK
