"""What each button does: one service, or a few that belong to one form."""

from __future__ import annotations

from collections.abc import Callable

from bays.models import EquipmentUnit
from jobs.models import Answer, Calibration, Reading, ScanCode, Visit
from jobs.pages.work.reading_acts import keep_readings
from jobs.pages.work.scan_acts import enter_scan
from jobs.pages.work.unit_acts import choose_units
from jobs.selectors.facts import attempt_state
from jobs.selectors.questions import questions_at
from jobs.selectors.scans import comparison_of
from jobs.services import answers, calibrations, overrides, readings, scans, sign_off, visits
from jobs.services.equipment_used import put_unit_back
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import FieldError, Invalid, NotFound

Handler = Callable[[MemberRequest, Visit], None]


def calibration_in(request: MemberRequest, visit: Visit) -> Calibration:
    """The calibration the form names, if it belongs to this visit.

    Raises:
        NotFound: it does not.
    """
    found = (
        Calibration.objects.for_shop(visit.shop_id)
        .filter(visit=visit, pk=_number(request.POST.get("calibration", "")))
        .select_related("edition__procedure", "step", "shop", "visit")
        .first()
    )
    if found is None:
        raise NotFound("no_calibration", "There is no such calibration in this visit.")
    return found


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else 0


def check_in(request: MemberRequest, visit: Visit) -> None:
    vin = request.POST.get("vin_from_plate", "")
    visits.check_in(by=request.actor, visit=visit, vin_from_plate=vin)


def confirm_systems(request: MemberRequest, visit: Visit) -> None:
    given = {code: request.POST.get(f"system-{code}") for code in visit.systems_to_confirm}
    if None in given.values():
        fault = FieldError("systems", "One is not answered.", "Look, then answer each one.")
        raise Invalid("systems", "Some answers are missing.", errors=[fault])
    visits.confirm_systems(
        by=request.actor,
        visit=visit,
        has=[code for code, said in given.items() if said == "yes"],
        has_not=[code for code, said in given.items() if said != "yes"],
    )


def begin(request: MemberRequest, visit: Visit) -> None:
    calibration = calibration_in(request, visit)
    if calibration.state in ("failed", "stopped"):
        calibrations.attempt_again(by=request.actor, calibration=calibration)
    else:
        calibrations.prepare(by=request.actor, calibration=calibration)


def answer(request: MemberRequest, visit: Visit) -> None:
    calibration = calibration_in(request, visit)
    name, by = request.POST.get("question", ""), request.actor
    yes = {"yes": True, "no": False}.get(request.POST.get("answer", ""))
    if request.POST.get("phase") == Answer.Phase.AFTER_CHECK:
        answers.answer_after_check(by=by, calibration=calibration, name=name, yes=yes is True)
        return
    typed = request.POST.get("typed", "")
    answers.answer_precondition(by=by, calibration=calibration, name=name, yes=yes, typed=typed)


def mark_set_out(request: MemberRequest, visit: Visit) -> None:
    calibrations.mark_set_out(by=request.actor, calibration=calibration_in(request, visit))


def start_run(request: MemberRequest, visit: Visit) -> None:
    calibration = calibration_in(request, visit)
    _keep_ticks(request, calibration, Answer.Phase.BEFORE_RUN, answers.answer_before_run)
    calibrations.start_run(by=request.actor, calibration=calibration)


def record_outcome(request: MemberRequest, visit: Visit) -> None:
    calibration, by = calibration_in(request, visit), request.actor
    outcome, note = request.POST.get("outcome"), request.POST.get("note", "")
    if outcome == "passed":
        _keep_ticks(request, calibration, Answer.Phase.DURING_RUN, answers.answer_during_run)
        calibrations.record_passed(by=by, calibration=calibration)
    elif outcome == "failed":
        calibrations.record_failed(by=by, calibration=calibration, cause=_cause(request), note=note)
    else:
        calibrations.stop(by=by, calibration=calibration, cause=_cause(request), note=note)


def _cause(request: MemberRequest) -> str:
    """What was written goes before what was picked."""
    written = request.POST.get("cause_written", "").strip()
    return written or request.POST.get("cause", "")


def _keep_ticks(
    request: MemberRequest,
    calibration: Calibration,
    phase: Answer.Phase,
    keep: Callable[..., Answer],
) -> None:
    """Answer each question whose tick differs from what is kept."""
    ticked = set(request.POST.getlist("confirmed"))
    state = attempt_state(calibration)
    given = state.answers[phase]
    for question in questions_at(state.content, phase):
        yes = question.name in ticked
        known = given.get(question.name)
        if yes != (known is not None and known.met):
            keep(by=request.actor, calibration=calibration, name=question.name, yes=yes)


def reject(request: MemberRequest, visit: Visit) -> None:
    calibrations.reject_after_checks(
        by=request.actor,
        calibration=calibration_in(request, visit),
        cause=_cause(request),
        note=request.POST.get("note", ""),
    )


def verify(request: MemberRequest, visit: Visit) -> None:
    calibrations.verify(by=request.actor, calibration=calibration_in(request, visit))


def give_up(request: MemberRequest, visit: Visit) -> None:
    calibrations.give_up(
        by=request.actor,
        calibration=calibration_in(request, visit),
        dealt_with=request.POST.get("dealt_with", ""),
    )


def keep(request: MemberRequest, visit: Visit) -> None:
    keep_readings(request, calibration_in(request, visit))


def strike(request: MemberRequest, visit: Visit) -> None:
    pk = _number(request.POST.get("reading", ""))
    row = Reading.objects.for_shop(visit.shop_id).filter(pk=pk, attempt__calibration__visit=visit)
    found = row.first()
    if found is None:
        raise NotFound("no_reading", "There is no such reading in this visit.")
    readings.strike_reading(by=request.actor, reading=found)


def units(request: MemberRequest, visit: Visit) -> None:
    choose_units(request, calibration_in(request, visit))


def put_back(request: MemberRequest, visit: Visit) -> None:
    pk = _number(request.POST.get("unit", ""))
    unit = EquipmentUnit.objects.for_shop(visit.shop_id).filter(pk=pk).first()
    if unit is None:
        raise NotFound("no_unit", "There is no such unit in this shop.")
    put_unit_back(by=request.actor, calibration=calibration_in(request, visit), unit=unit)


def scan(request: MemberRequest, visit: Visit) -> None:
    enter_scan(request, visit)


def compare(request: MemberRequest, visit: Visit) -> None:
    """Keep a word on every code that is left, then the comparison itself."""
    found = comparison_of(visit)
    missing = []
    for row in (*found.new, *found.remaining):
        why = request.POST.get(f"explain-{row.pk}", "").strip()
        if why and why != row.explanation:
            _explain(request, row, why)
        elif not why and not _set_aside(visit):
            fault = FieldError(f"explain-{row.pk}", "Nothing is written.", "Write why it is there.")
            missing.append(fault)
    if missing:
        raise Invalid("compare", "A code has no word on why it is there.", errors=missing)
    scans.confirm_comparison(by=request.actor, visit=visit)


def _explain(request: MemberRequest, row: ScanCode, why: str) -> None:
    try:
        scans.explain_code(by=request.actor, code=row, why=why)
    except Invalid as refused:
        errors = [FieldError(f"explain-{row.pk}", e.says, e.right) for e in refused.errors]
        raise Invalid(refused.code, refused.title, errors=errors) from refused


def _set_aside(visit: Visit) -> bool:
    return visit.overrides.filter(guard="codes_explained", calibration__isnull=True).exists()


def sign(request: MemberRequest, visit: Visit) -> None:
    sign_off.sign_off(by=request.actor, visit=visit)


def hold(request: MemberRequest, visit: Visit) -> None:
    visits.hold(by=request.actor, visit=visit, reason=request.POST.get("reason", ""))


def resume(request: MemberRequest, visit: Visit) -> None:
    visits.resume(by=request.actor, visit=visit)


def override(request: MemberRequest, visit: Visit) -> None:
    guard, reason = request.POST.get("guard", ""), request.POST.get("reason", "")
    if request.POST.get("calibration"):
        calibration = calibration_in(request, visit)
        overrides.override_guard(
            by=request.actor, guard=guard, reason=reason, calibration=calibration
        )
    else:
        overrides.override_guard(by=request.actor, guard=guard, reason=reason, visit=visit)


HANDLERS: dict[str, Handler] = {
    "check-in": check_in,
    "systems": confirm_systems,
    "scan": scan,
    "begin": begin,
    "answer": answer,
    "units": units,
    "put-back": put_back,
    "readings": keep,
    "strike": strike,
    "set-out": mark_set_out,
    "start-run": start_run,
    "outcome": record_outcome,
    "reject": reject,
    "verify": verify,
    "deal": give_up,
    "compare": compare,
    "sign-off": sign,
    "hold": hold,
    "resume": resume,
    "override": override,
}
