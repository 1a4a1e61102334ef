"""What each act's form shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.urls import reverse

from jobs.metrology import Input, Verdict
from jobs.models import Answer, AttemptUnit
from jobs.pages.work.decide import Form, Next
from jobs.pages.work.here import Here
from jobs.pages.work.questions import after_body, cautions_at, precondition_body, ticks
from jobs.pages.work.scan_view import comparison_rows, scan_form, to_explain
from jobs.pages.work.worksheet import (
    check_views,
    input_views,
    instrument_views,
    step_views,
    unit_option,
)
from jobs.selectors.facts import AttemptState
from jobs.selectors.questions import plain
from jobs.selectors.scans import comparison_of
from jobs.selectors.work_pages import UnitFitness, unit_fitness
from jobs.selectors.worksheets import standing_readings

Body = dict[str, Any]
TEMPLATES = {
    Form.CHECK_IN: "check_in",
    Form.SYSTEMS: "systems",
    Form.PRE_SCAN: "scan",
    Form.PRECONDITION: "question",
    Form.EQUIPMENT: "equipment",
    Form.MEASURE: "measure",
    Form.BLOCKED: "plain",
    Form.LAY: "lay",
    Form.CHECK: "measure",
    Form.CONFIRM: "confirm",
    Form.RUN: "run",
    Form.AFTER: "question",
    Form.REJECT: "reject",
    Form.AGAIN: "again",
    Form.POST_SCAN: "scan",
    Form.COMPARE: "compare",
}


def body_of(here: Here, then: Next) -> Body:
    """What the act's template needs."""
    without_state = {
        Form.CHECK_IN: _check_in,
        Form.SYSTEMS: _systems,
        Form.PRE_SCAN: lambda h: scan_form(h, "pre"),
        Form.POST_SCAN: lambda h: scan_form(h, "post"),
        Form.COMPARE: _compare,
        Form.SIGN_OFF: _sign_off,
        Form.RESUME: _resume,
        Form.READY: _ready,
        Form.CLOSED: _closed,
    }
    if then.form in without_state:
        return {**_scan_again(here), **without_state[then.form](here)}
    assert then.state is not None
    with_state = {
        Form.BEGIN: _begin,
        Form.BLOCKED: _blocked,
        Form.PRECONDITION: precondition_body,
        Form.EQUIPMENT: equipment_body,
        Form.MEASURE: measure_body,
        Form.LAY: _lay,
        Form.CHECK: check_body,
        Form.CONFIRM: _confirm,
        Form.RUN: _run,
        Form.AFTER: after_body,
        Form.REJECT: _reject,
        Form.VERIFY: _verify,
        Form.AGAIN: _again,
    }
    return {**_scan_again(here), **with_state[then.form](here, then.state)}


def _scan_again(here: Here) -> Body:
    """A refused second scan, entered beside the act at hand."""
    if here.refused is None or here.refused.act != "scan":
        return {}
    faults = [
        f"{path.capitalize()}: {word}" if path.startswith("line ") else word
        for path, words in here.refused.faults.items()
        for word in words
    ]
    return {"scan_faults": faults, "scan_typed": here.refused.post.get("codes", "")}


def _check_in(here: Here) -> Body:
    return {
        "vin": here.visit.vehicle.vin,
        "ask_vin": not here.visit.vin_confirmed,
        "typed": here.typed.values.get("vin_from_plate", ""),
        "faults": here.faults("check-in").get("vin_from_plate", ()),
    }


def _systems(here: Here) -> Body:
    return {
        "systems": [
            {"code": code, "name": plain(code), "chosen": here.typed.values.get(f"system-{code}")}
            for code in here.visit.systems_to_confirm
        ],
        "faults": here.faults("systems").get("systems", ()),
    }


def _begin(here: Here, state: AttemptState) -> Body:
    minutes = state.content.minutes
    reasons = list(state.calibration.reasons)
    people = state.content.second_person_minutes
    says = [f"Because: {' '.join(reasons)}"] if reasons else []
    says.append(
        f"About {minutes.set_up} min to set up, {minutes.run} min to run,"
        f" {minutes.clear_away} min to clear away."
    )
    if people:
        says.append(f"Two people for the first {people} min.")
    return {
        "says": says,
        "cautions": state.content.cautions,
        "post": "begin",
        "button": "Begin",
    }


def _blocked(here: Here, state: AttemptState) -> Body:
    return {"says": [f"{state.content.name} cannot go on yet."]}


def equipment_body(here: Here, state: AttemptState) -> Body:
    """A choice of units for every piece of equipment the edition asks for."""
    types = [item.type for item in state.content.equipment]
    tools = unit_fitness(here.by.shop_id, here.today, types=types)
    used = _used_by_type(state)
    slots = []
    for item in state.content.equipment:
        fitting = [one for one in tools if one.unit.type.code == item.type]
        for place in range(item.count):
            slots.append(_slot(here, state, item.type, place, fitting, used.get(item.type, [])))
    return {"slots": slots}


def _used_by_type(state: AttemptState) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    if state.attempt is not None:
        rows = AttemptUnit.objects.filter(attempt=state.attempt).select_related("unit__type")
        for row in rows.order_by("used_at", "id"):
            found.setdefault(row.unit.type.code, []).append(row.unit_id)
    return found


def _slot(
    here: Here,
    state: AttemptState,
    kind: str,
    place: int,
    fitting: Sequence[UnitFitness],
    used: Sequence[int],
) -> Body:
    key = f"unit-{kind}-{place}"
    planned = [one for one in fitting if one.unit.code in state.calibration.step.unit_codes]
    likely = [*planned, *(one for one in fitting if one not in planned)]
    likely = [one for one in likely if one.usable]
    chosen = likely[place].unit.pk if place < len(likely) else None
    if place < len(used):
        chosen = used[place]
    typed = here.typed.values.get(key)
    picked = typed if typed is not None else str(chosen or "")
    words = next((one.says for one in fitting if str(one.unit.pk) == picked), "")
    return {
        "key": key,
        "label": fitting[0].unit.type.name if fitting else plain(kind).capitalize(),
        "options": [unit_option(one, picked) for one in fitting],
        "faults": here.faults("units").get(key, ()),
        "says": words,
    }


def measure_body(here: Here, state: AttemptState) -> Body:
    """What is measured before setting out, and what follows from it at once."""
    inputs = state.content.worksheet.inputs_at("measure")
    found = check_views(state.content, state.results, here.units)
    return {
        **_fields(here, state, inputs),
        "stage": "measure",
        "answers": answers_of(here, state),
        "checks": [one for one in found if one.bar],
        "button": "Go on",
    }


def check_body(here: Here, state: AttemptState) -> Body:
    """What is measured on the set-out, and how it is judged."""
    inputs = state.content.worksheet.inputs_at("check_set_out")
    open_first = [
        *(
            one
            for one in state.content.worksheet.inputs_at("measure")
            if one.name in state.results.missing
        ),
        *inputs,
    ]
    checks = check_views(state.content, state.results, here.units)
    return {
        **_fields(here, state, open_first or state.content.worksheet.inputs),
        "stage": "check_set_out",
        "answers": [],
        "checks": checks,
        "button": "Go on",
    }


def _fields(here: Here, state: AttemptState, inputs: Sequence[Input]) -> Body:
    types = {one.instrument.equipment for one in inputs if one.instrument.equipment}
    tools = unit_fitness(here.by.shop_id, here.today, types=types) if types else []
    used = {one.unit.pk for one in state.fitness}
    readings = standing_readings(state.attempt) if state.attempt else []
    views = input_views(state.content, inputs, readings, here.typed)
    fields = [field for view in views for field in view.fields]
    wrong = next((field.key for field in fields if field.faults), "")
    empty = next((field.key for field in fields if not field.typed), "")
    return {
        "inputs": views,
        "instruments": instrument_views(inputs, tools, here.typed, used),
        "focus": wrong or empty,
    }


def answers_of(here: Here, state: AttemptState) -> list[Any]:
    """Setting-out sentences whose values are known and follow from a reading."""
    steps = step_views(state.content, state.results, here.units)
    return [step for step in steps if step.spread]


def _lay(here: Here, state: AttemptState) -> Body:
    found = check_views(state.content, state.results, here.units)
    not_well = [one for one in found if one.bar and one.verdict != Verdict.PASS]
    return {
        "steps": step_views(state.content, state.results, here.units),
        "checks": not_well,
        "two_people": state.content.second_person_minutes > 0,
        "button": "It is set out" if state.content.set_out else "Go on",
        "road": state.content.road,
    }


def _confirm(here: Here, state: AttemptState) -> Body:
    phase = Answer.Phase.BEFORE_RUN
    return {
        "questions": ticks(here, state, phase, "start-run"),
        "cautions": state.content.cautions,
        "wait_away": state.content.run.wait_away,
        "says": state.content.run.says,
    }


def _run(here: Here, state: AttemptState) -> Body:
    run = state.content.run
    started_at = state.attempt.run_started_at if state.attempt else None
    cautions = cautions_at(state, Answer.Phase.DURING_RUN)
    return {
        "since": here.words.clock(started_at) if started_at else "",
        "says": run.says,
        "wait_away": " ".join([run.wait_away, *cautions]).strip(),
        "passes_when": run.passes_when,
        "questions": ticks(here, state, Answer.Phase.DURING_RUN, "outcome"),
        **_causes(here, state, "outcome"),
    }


def _causes(here: Here, state: AttemptState, act: str) -> Body:
    typed = here.typed.values if here.refused and here.refused.act == act else {}
    return {
        "causes": state.content.causes,
        "cause": typed.get("cause", ""),
        "cause_written": typed.get("cause_written", ""),
        "note": typed.get("note", ""),
        "cause_faults": here.faults(act).get("cause", ()),
    }


def _reject(here: Here, state: AttemptState) -> Body:
    given = state.answers[Answer.Phase.AFTER_CHECK]
    return {
        "failed": [answer.ask for answer in given.values() if not answer.met],
        **_causes(here, state, "reject"),
    }


def _verify(here: Here, state: AttemptState) -> Body:
    return {
        "says": [f"{state.content.name} passed, and every after-check is well."],
        "post": "verify",
        "button": "Verified",
    }


def _again(here: Here, state: AttemptState) -> Body:
    attempt = state.attempt
    return {
        "outcome": attempt.outcome if attempt else "",
        "cause": attempt.cause if attempt else "",
        "note": attempt.note if attempt else "",
        "number": attempt.number if attempt else 1,
        "faults": here.faults("deal"),
        "typed": here.typed.values,
    }


def _compare(here: Here) -> Body:
    found = comparison_of(here.visit)
    return {
        "rows": comparison_rows(found),
        "to_explain": to_explain(here, found),
    }


def _sign_off(here: Here) -> Body:
    names = [calibration.edition.procedure.name for calibration in here.calibrations]
    return {
        "says": [
            f"Done: {', '.join(names)}." if names else "No calibration was left to do.",
            "With your name you say that the work is done as the procedures ask,"
            " and that the vehicle may be handed over.",
        ],
        "post": "sign-off",
        "button": f"Sign off as {here.by.name}",
    }


def _resume(here: Here) -> Body:
    return {
        "says": [f"Waiting: {here.visit.hold_reason}" if here.visit.hold_reason else "Waiting."],
        "post": "resume",
        "button": "Go on with it",
    }


def _ready(here: Here) -> Body:
    return {
        "says": [
            f"Signed off by {here.visit.signed_off_by}."
            if here.visit.signed_off_by
            else "The work is done.",
            "The office issues the record and hands the keys over.",
        ],
        "link": reverse("visit-detail", kwargs={"visit_id": here.visit.pk}),
        "link_says": "Open the visit",
    }


def _closed(here: Here) -> Body:
    return {
        "says": [f"This visit is {here.visit.state}. Nothing is left to do."],
        "link": reverse("my-work"),
        "link_says": "Back to my work",
    }
