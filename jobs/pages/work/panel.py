"""The panel of a visit: its strip, the one act that comes next, and what stands beside it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.utils.safestring import SafeString

from jobs.models import Visit
from jobs.pages.work.bodies import TEMPLATES, body_of
from jobs.pages.work.decide import Form, Next, next_of
from jobs.pages.work.done import DoneView, done_views
from jobs.pages.work.here import Here, Refused, calibrations_of, here_of, name_of
from jobs.pages.work.scan_view import CodeView, pre_scan_rows
from jobs.pages.work.sheet import draw_sheet
from jobs.pages.work.strip import StripStep, strip
from jobs.planning.space import shape_of
from jobs.selectors.acts import ACTION_OF, Block
from jobs.selectors.scans import latest_pre_scan
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, in_words, may
from shopcal.errors import Refusal

TITLES = {
    Form.CHECK_IN: "Check the vehicle in",
    Form.SYSTEMS: "What does this vehicle have?",
    Form.PRE_SCAN: "Scan all modules",
    Form.PRECONDITION: "Before you start",
    Form.EQUIPMENT: "What you use",
    Form.MEASURE: "Measure first",
    Form.LAY: "Set out",
    Form.CHECK: "Measure the set-out",
    Form.CONFIRM: "Start the run",
    Form.RUN: "Running",
    Form.AFTER: "After the run",
    Form.REJECT: "It is not right yet",
    Form.VERIFY: "Every after-check is well",
    Form.POST_SCAN: "Scan all modules again",
    Form.COMPARE: "Before and after",
    Form.SIGN_OFF: "Sign the work off",
    Form.RESUME: "On hold",
    Form.READY: "Ready to hand over",
    Form.BLOCKED: "This cannot go on yet",
}
WITH_SHEET = (Form.MEASURE, Form.LAY, Form.CHECK, Form.CONFIRM)
WITH_SCAN = (
    Form.PRE_SCAN,
    Form.BEGIN,
    Form.BLOCKED,
    Form.PRECONDITION,
    Form.EQUIPMENT,
    Form.CONFIRM,
)


@dataclass(frozen=True)
class Panel:
    """Everything the panel's template shows."""

    visit: Visit
    form: Form
    title: str
    under: tuple[str, ...]
    strip: list[StripStep]
    template: str
    body: dict[str, Any]
    may_act: bool
    may_scan: bool
    may_override: bool
    may_hold: bool
    may_not: str
    subjects: tuple[str, ...]
    calibration_id: int | None = None
    unmet: tuple[Block, ...] = ()
    refusal: Refusal | None = None
    refused_elsewhere: tuple[str, ...] = ()
    done_already: bool = False
    drawing: SafeString | None = None
    scan_title: str = ""
    scan_rows: list[CodeView] = field(default_factory=list)
    may_rescan: bool = False
    facts: tuple[tuple[str, str], ...] = ()
    done: list[DoneView] = field(default_factory=list)

    @property
    def refused_title(self) -> str:
        """One line; a move's own title repeats every guard, which are listed below it."""
        if self.refusal is None:
            return ""
        return "This cannot be done yet" if self.unmet else self.refusal.title

    @property
    def overridable(self) -> list[Block]:
        return [one for one in self.unmet if one.can_override] if self.may_override else []


def build_panel(
    by: Actor,
    visit: Visit,
    refused: Refused | None = None,
    *,
    done_already: bool = False,
    ask: str = "",
) -> Panel:
    """The panel as it stands now, with what a refused act brought back."""
    calibrations = calibrations_of(visit)
    then = next_of(by, visit, calibrations)
    here = here_of(by, visit, calibrations, state=then.state, refused=refused, ask=ask)
    needs = ACTION_OF[then.act.kind]
    may_act = then.act.allowed
    may_override = may(by, Action.OVERRIDE_GUARD)
    title, rows = pre_scan_rows(here) if then.form in WITH_SCAN else ("", [])
    body = body_of(here, then)
    body.setdefault("allowed", may_act)
    return Panel(
        visit=visit,
        form=then.form,
        title=_title(then, visit),
        under=_under(here, then),
        strip=strip(then.place, stopped=then.form in (Form.AGAIN, Form.REJECT)),
        template=f"jobs/work/_act_{TEMPLATES.get(then.form, 'plain')}.html",
        body=body,
        may_act=may_act,
        may_scan=may(by, Action.RECORD_SCAN),
        may_override=may_override,
        may_hold=visit.state == "in_work" and then.form != Form.RUN and may(by, needs),
        may_not="" if may_act else _may_not(needs),
        subjects=_subjects(here),
        calibration_id=then.calibration.pk if then.calibration else None,
        unmet=_unmet(then, refused, may_override=may_override),
        refusal=refused.refusal if refused else None,
        refused_elsewhere=_elsewhere(refused),
        done_already=done_already,
        drawing=_drawing(here, then),
        scan_title=title,
        scan_rows=rows,
        may_rescan=bool(title) and then.form != Form.PRE_SCAN and may(by, Action.RECORD_SCAN),
        facts=_facts(here, then),
        done=done_views(here),
    )


def _title(then: Next, visit: Visit) -> str:
    if then.form == Form.BEGIN and then.calibration is not None:
        return f"Begin: {name_of(then.calibration)}"
    if then.form == Form.AGAIN and then.calibration is not None:
        return f"{name_of(then.calibration)}: {then.calibration.state}"
    if then.form == Form.PRE_SCAN and latest_pre_scan(visit) is not None:
        return "Clear the codes and scan again"
    if then.form == Form.CLOSED:
        return f"RO {visit.ro_number} is {visit.state}"
    return TITLES[then.form]


def _under(here: Here, then: Next) -> tuple[str, ...]:
    """Vehicle, repair order, place, and which calibration of how many."""
    words = [str(here.visit.vehicle), f"RO {here.visit.ro_number}"]
    if then.calibration is None:
        return tuple(words)
    step = then.calibration.step
    if step.placement_label:
        words.append(step.placement_label)
    words.append(name_of(then.calibration))
    ids = [one.pk for one in here.calibrations]
    if len(ids) > 1:
        words.append(f"{ids.index(then.calibration.pk) + 1} of {len(ids)}")
    attempt = here.state.attempt if here.state else None
    if attempt is not None and attempt.number > 1:
        words.append(f"attempt {attempt.number}")
    return tuple(words)


def _may_not(needs: Action) -> str:
    return f"your role may not {in_words(needs)}. A technician or a manager does this."


def _subjects(here: Here) -> tuple[str, ...]:
    return (
        f"visit:{here.visit.pk}",
        *(f"calibration:{one.pk}" for one in here.calibrations),
        *(f"step:{one.step_id}" for one in here.calibrations),
    )


def _unmet(then: Next, refused: Refused | None, *, may_override: bool) -> tuple[Block, ...]:
    """What the refused act lacked, else what the next one lacks."""
    if refused is None:
        return then.open_guards(may_override=may_override)
    # Faults beside their fields say enough; a move says every guard it lacks.
    found = [
        Block(item["guard"], item["says"], item["right"], item["can_override"])
        for item in refused.refusal.facts.get("unmet", ())
        if isinstance(item, dict)
    ]
    return tuple(found)


# Faults shown beside their field; any other is listed with the refusal itself.
BESIDE = {
    "scan": ("text", "line ", "file", "csv", "json", "modules"),
    "answer": ("typed",),
    "readings": ("reading-",),
    "units": ("unit-",),
    "outcome": ("cause", "confirm-"),
    "reject": ("cause",),
    "compare": ("explain-",),
    "check-in": ("vin_from_plate",),
    "systems": ("systems",),
    "deal": ("dealt_with",),
}


def _elsewhere(refused: Refused | None) -> tuple[str, ...]:
    if refused is None:
        return ()
    beside = BESIDE.get(refused.act, ())
    return tuple(
        word
        for path, words in refused.faults.items()
        if not path.startswith(tuple(beside))
        for word in words
    )


def _drawing(here: Here, then: Next) -> SafeString | None:
    if then.form not in WITH_SHEET or then.state is None:
        return None
    missing = {*then.state.results.missing}
    done = [one.name for one in then.state.content.worksheet.inputs if one.name not in missing]
    return draw_sheet(
        then.state.content,
        shape_of(here.visit.vehicle),
        then.state.results,
        checking=then.form in (Form.CHECK, Form.CONFIRM),
        units=here.units,
        done_inputs=done,
    )


def _facts(here: Here, then: Next) -> tuple[tuple[str, str], ...]:
    visit, words = here.visit, here.words
    facts = [("Promised", words.moment(visit.promised_at)), ("Customer", visit.customer_name)]
    if then.calibration is not None:
        step = then.calibration.step
        people = [p.name for p in (step.technician, step.second_person) if p]
        if people:
            facts.append(("People", " with ".join(people)))
        if step.placement_label:
            facts.append(("Place", step.placement_label))
        edition = then.calibration.edition
        source = edition.source_document
        dated = f", {edition.source_dated_on:%d %b %Y}" if edition.source_dated_on else ""
        facts.append(("By", f"{source}{dated}, edition {edition.number}"))
    if visit.notes:
        facts.append(("Note", visit.notes))
    return tuple(facts)


__all__ = ["Panel", "build_panel"]
