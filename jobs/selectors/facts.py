"""What is known of a visit or a calibration, gathered for the tables of moves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TypedDict, TypeVar

from django.db.models import Q, QuerySet
from django.utils import timezone

from bays import upkeep
from bays.models import EquipmentType, Technician
from jobs.lifecycle import (
    CALIBRATION_GUARDS,
    VISIT_GUARDS,
    CalibrationFacts,
    CalibrationState,
    Guard,
    VisitFacts,
)
from jobs.metrology import Results, Verdict
from jobs.models import Answer, Attempt, Calibration, Override, Visit
from jobs.procedures import ProcedureContent
from jobs.selectors.fitness import Fitness, fitness_of
from jobs.selectors.procedures import content_of
from jobs.selectors.questions import (
    AREA_CLEAR,
    answers_at,
    before_run_questions,
    plain,
    questions_at,
)
from jobs.selectors.scans import (
    blocking_open,
    comparison_of,
    in_words,
    latest_post_scan,
    latest_pre_scan,
)
from jobs.selectors.worksheets import results_of, standing_readings, units_of
from shopcal.accounts.models import Shop
from shopcal.history.models import Event

OPEN = frozenset({"planned", "preparing", "set_out", "running", "passed"})
RECORD_ISSUED = "record.issued"
OVERRIDE_SAYS_LENGTH = 300

Asked = TypeVar("Asked", VisitFacts, CalibrationFacts)


def visit_facts(visit: Visit, *, reason: str = "") -> VisitFacts:
    """Everything the visit's guards ask."""
    rows = list(
        Calibration.objects.for_shop(visit.shop_id)
        .filter(visit=visit)
        .select_related("edition__procedure")
        .order_by("step__order")
    )
    scans = comparison_of(visit)
    facts = VisitFacts(
        vehicle_identified=visit.vin_confirmed,
        systems_to_confirm=tuple(plain(system) for system in visit.systems_to_confirm),
        calibrations_running=_names(row for row in rows if row.state == "running"),
        calibrations_open=_names(row for row in rows if row.state in OPEN),
        calibrations_not_dealt_with=_names(
            row for row in rows if row.state in ("failed", "stopped") and not row.dealt_with
        ),
        post_scan_taken=scans.post is not None,
        post_scan_compared=scans.post is not None and scans.post.compared_at is not None,
        codes_unexplained=tuple(in_words(row) for row in scans.unexplained),
        record_issued=_record_issued(visit),
        reason=reason,
    )
    overrides = Override.objects.for_shop(visit.shop_id).filter(
        visit=visit, attempt__isnull=True, calibration__isnull=True
    )
    return replace(facts, overridden=_standing(overrides, VISIT_GUARDS, facts))


@dataclass(frozen=True)
class AttemptState:
    """A calibration with its latest attempt read once: what facts and pages are made of."""

    calibration: Calibration
    content: ProcedureContent
    attempt: Attempt | None
    results: Results
    readings: dict[tuple[str, int], str]  # what is typed, by input and repeat
    answers: dict[Answer.Phase, dict[str, Answer]]
    fitness: tuple[Fitness, ...]


def attempt_state(calibration: Calibration) -> AttemptState:
    """Read a calibration's latest attempt, or how things stand before the first."""
    content = content_of(calibration.edition)
    attempt = calibration.attempts.select_related("technician", "shop").order_by("-number").first()
    standing = standing_readings(attempt) if attempt else []
    used = attempt.units.order_by("used_at", "id") if attempt else []
    fitness = fitness_of(calibration.shop, [row.unit_id for row in used], calibration.step_id)
    return AttemptState(
        calibration=calibration,
        content=content,
        attempt=attempt,
        results=results_of(content, standing, units_of(calibration.shop)),
        readings={(r.name, r.repeat): r.typed for r in standing},
        answers={phase: answers_at(attempt, phase) for phase in Answer.Phase},
        fitness=tuple(fitness[row.unit_id] for row in used),
    )


def calibration_facts(
    calibration: Calibration,
    *,
    technician: Technician | None = None,
    cause: str = "",
    state: AttemptState | None = None,
) -> CalibrationFacts:
    """Everything the calibration's guards ask.

    ``technician`` is whose skills count; without one the attempt's, then the step's.
    """
    known = state or attempt_state(calibration)
    content, answers = known.content, known.answers
    person = (
        technician or (known.attempt and known.attempt.technician) or calibration.step.technician
    )
    pre_scan = latest_pre_scan(calibration.visit)
    conditions = answers[Answer.Phase.PRECONDITION]
    before = answers[Answer.Phase.BEFORE_RUN]
    facts = CalibrationFacts(
        pre_scan_taken=pre_scan is not None,
        blocking_codes_open=tuple(
            in_words(row) for row in blocking_open(pre_scan, content.blocking_codes)
        ),
        preconditions_unmet=tuple(
            _condition(conditions[p.name])
            for p in content.preconditions
            if p.name in conditions and not conditions[p.name].met
        ),
        preconditions_unanswered=tuple(
            plain(p.name) for p in content.preconditions if p.name not in conditions
        ),
        **_checks(content, known.results),
        equipment_missing=equipment_missing(known),
        equipment_overdue=tuple(
            f"{f.unit.name} ({f.says})" for f in known.fitness if f.state is upkeep.DueState.OVERDUE
        ),
        confirmations_open=tuple(
            plain(q.name)
            for q in before_run_questions(content)
            if q.name != AREA_CLEAR and not _met(before, q.name)
        ),
        area_clear_confirmed=_met(before, AREA_CLEAR),
        during_run_open=_open(known, Answer.Phase.DURING_RUN),
        prerequisites_open=_prerequisites_open(calibration, content),
        technician_qualified=person is not None and _qualified(person, content, calibration.shop),
        after_checks_open=tuple(
            plain(q.name)
            for q in content.after_checks
            if q.name not in answers[Answer.Phase.AFTER_CHECK]
        ),
        after_checks_failed=tuple(
            plain(a.name) for a in answers[Answer.Phase.AFTER_CHECK].values() if not a.met
        ),
        outcome_cause=cause,
        post_scan_taken=latest_post_scan(calibration.visit) is not None,
    )
    overrides = _overrides(calibration, known.attempt)
    return replace(facts, overridden=_standing(overrides, CALIBRATION_GUARDS, facts))


def equipment_missing(known: AttemptState) -> tuple[str, ...]:
    """Types the edition asks for without a unit in service, by name, as often as one lacks."""
    codes = missing_types(known)
    names = dict(
        EquipmentType.objects.for_shop(known.calibration.shop_id)
        .filter(code__in=codes)
        .values_list("code", "name")
    )
    return tuple(names.get(code, plain(code)) for code in codes)


def missing_types(known: AttemptState) -> tuple[str, ...]:
    """Codes of the types that lack a unit, in the order of the edition."""
    there = Counter(f.unit.type.code for f in known.fitness if f.in_service)
    return tuple(
        item.type
        for item in known.content.equipment
        for _ in range(max(0, item.count - there[item.type]))
    )


class _Checks(TypedDict):
    checks_open: tuple[str, ...]
    checks_failed: tuple[str, ...]
    checks_too_close: tuple[str, ...]


def _checks(content: ProcedureContent, results: Results) -> _Checks:
    """Checks by verdict; an input without its reading is open though no check hangs on it."""
    by_verdict: dict[Verdict | None, list[str]] = {}
    for check in content.worksheet.checks:
        judged = results.checks.get(check.name)
        by_verdict.setdefault(judged.verdict if judged else None, []).append(check.label)
    opened = by_verdict.get(None, [])
    if not opened:
        labels = content.worksheet.labels()
        opened = [labels.get(name, name) for name in results.missing]
        opened += [f"{e.path}: {e.says}" for e in results.errors]
    return {
        "checks_open": tuple(opened),
        "checks_failed": tuple(by_verdict.get(Verdict.FAIL, ())),
        "checks_too_close": tuple(by_verdict.get(Verdict.TOO_CLOSE, ())),
    }


def _condition(answer: Answer) -> str:
    name = plain(answer.name)
    return f"{name} ({answer.says})" if answer.says else name


def _met(answers: dict[str, Answer], name: str) -> bool:
    return name in answers and answers[name].met


def _open(known: AttemptState, phase: Answer.Phase) -> tuple[str, ...]:
    given = known.answers[phase]
    return tuple(
        plain(q.name) for q in questions_at(known.content, phase) if not _met(given, q.name)
    )


def _prerequisites_open(calibration: Calibration, content: ProcedureContent) -> tuple[str, ...]:
    """Calibrations of this visit that must be verified first; a cancelled one never was."""
    rows = (
        Calibration.objects.for_shop(calibration.shop_id)
        .filter(visit_id=calibration.visit_id, edition__procedure__code__in=content.needs_first)
        .exclude(state=CalibrationState.VERIFIED)
        .select_related("edition__procedure")
        .order_by("step__order")
    )
    return tuple(f"{row.edition.procedure.name} ({plain(row.state)})" for row in rows)


def _qualified(person: Technician, content: ProcedureContent, shop: Shop) -> bool:
    today = timezone.now().astimezone(shop.zone).date()
    held = {
        skill.skill.code
        for skill in person.skills.select_related("skill")
        if (skill.valid_from is None or skill.valid_from <= today)
        and (skill.valid_until is None or today <= skill.valid_until)
    }
    return set(content.skills) <= held


def _overrides(calibration: Calibration, attempt: Attempt | None) -> QuerySet[Override]:
    """Guards set aside for the attempt being made, and for the one to come."""
    asked = Q(calibration=calibration, attempt__isnull=True)
    if attempt is not None:
        asked |= Q(attempt=attempt)
    return Override.objects.for_shop(calibration.shop_id).filter(asked)


def _standing(
    overrides: Iterable[Override], guards: Mapping[str, Guard[Asked]], facts: Asked
) -> frozenset[str]:
    """Guards set aside whose override still covers everything that is unmet now.

    A manager who let one low tyre pass has not let pass the trouble code that came later.
    """
    return frozenset(
        o.guard
        for o in overrides
        if o.guard in guards and _parts(guards[o.guard].missing(facts)) <= _parts(o.says)
    )


def _parts(says: str) -> set[str]:
    """The prefix and the items of a guard's words, as far as an override keeps them."""
    prefix, _, items = says[:OVERRIDE_SAYS_LENGTH].partition(": ")
    return {prefix, *items.split(", ")} if says else set()


def _record_issued(visit: Visit) -> bool:
    """Whether a record was issued since the visit was made ready, as the history tells.

    The record itself lives above this app. One issued before a visit was reopened does not tell
    what happened since.
    """
    if visit.ready_at is None:
        return False
    return (
        Event.objects.for_shop(visit.shop_id)
        .filter(visit_id=visit.pk, kind=RECORD_ISSUED, at__gte=visit.ready_at)
        .exists()
    )


def _names(rows: Iterable[Calibration]) -> tuple[str, ...]:
    return tuple(row.edition.procedure.name for row in rows)
