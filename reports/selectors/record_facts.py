"""Gathers what a record of a visit says, in a bounded number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Prefetch

from jobs.metrology import Units, format_quantity
from jobs.models import (
    Answer,
    Attempt,
    AttemptUnit,
    Calibration,
    Override,
    Reading,
    Visit,
)
from jobs.procedures import WORK_CODES, ProcedureContent
from jobs.selectors.procedures import content_of
from reports.records import content as facts
from reports.records.words import probability_in_words
from reports.selectors.scan_facts import before_and_after
from shopcal.accounts.models import Shop

_BEFORE_RUN = (Answer.Phase.BEFORE_RUN, Answer.Phase.DURING_RUN)


@dataclass(frozen=True)
class Asked:
    """Who issues which record of a visit, when, and instead of which."""

    number: int
    supersedes: int | None
    reason: str
    issued_at: datetime
    issued_by: str


def record_content(visit: Visit, asked: Asked) -> facts.RecordContent:
    """What a record of this visit would say now: about a dozen queries, however long the visit."""
    shop = visit.shop
    clock = Clock(shop.zone)
    calibrations = list(_calibrations(visit))
    told = tuple(_calibration(row, shop, clock) for row in calibrations)
    return facts.RecordContent(
        issue=facts.Issue(
            number=asked.number,
            supersedes=asked.supersedes,
            reason=asked.reason,
            issued_at=clock.at(asked.issued_at),
            issued_by=asked.issued_by,
        ),
        shop=_shop(shop),
        vehicle=_vehicle(visit),
        visit=_visit(visit, clock),
        scans=before_and_after(visit, clock.at),
        calibrations=told,
        overrides=tuple(_overrides(visit, clock)),
        people=_people(visit, told),
        cautions=_cautions(told),
    )


@dataclass(frozen=True)
class Clock:
    """The shop's clock: moments as ISO text with the offset of that day, "" for none."""

    zone: ZoneInfo

    def at(self, moment: datetime | None) -> str:
        return moment.astimezone(self.zone).isoformat(timespec="seconds") if moment else ""


def _calibrations(visit: Visit) -> Iterable[Calibration]:
    attempts = (
        Attempt.objects.select_related("technician")
        .prefetch_related("answers")
        .prefetch_related(Prefetch("readings", Reading.objects.select_related("instrument")))
        .prefetch_related(Prefetch("units", AttemptUnit.objects.select_related("unit")))
    )
    return (
        Calibration.objects.for_shop(visit.shop_id)
        .filter(visit=visit)
        .select_related("edition__procedure", "step")
        .prefetch_related(Prefetch("attempts", attempts))
        .order_by("step__order")
    )


def _shop(shop: Shop) -> facts.ShopFacts:
    return facts.ShopFacts(
        name=shop.name,
        address=shop.address,
        phone=shop.phone,
        email=shop.email,
        time_zone=shop.time_zone,
        units=shop.units,
    )


def _vehicle(visit: Visit) -> facts.VehicleFacts:
    vehicle = visit.vehicle
    return facts.VehicleFacts(
        label=vehicle.label, vin=vehicle.vin, model_year=vehicle.model_year, plate=vehicle.plate
    )


def _visit(visit: Visit, clock: Clock) -> facts.VisitFacts:
    return facts.VisitFacts(
        ro_number=visit.ro_number,
        customer=visit.customer_name,
        state=visit.state,
        work_done=tuple(WORK_CODES.get(code, code) for code in visit.work_done),
        checked_in_at=clock.at(visit.checked_in_at),
        ready_at=clock.at(visit.ready_at),
        signed_off_at=clock.at(visit.signed_off_at),
        signed_off_by=visit.signed_off_by,
        cancelled_reason=visit.cancelled_reason,
    )


def _calibration(row: Calibration, shop: Shop, clock: Clock) -> facts.CalibrationFacts:
    content = content_of(row.edition)
    units: Units = "us" if shop.units == "us" else "metric"
    return facts.CalibrationFacts(
        name=row.edition.procedure.name,
        system=row.system,
        method=content.method,
        state=row.state,
        reasons=tuple(str(reason) for reason in row.reasons),
        place=row.step.placement_label,
        procedure=_procedure(row, content),
        attempts=tuple(_attempt(a, content, units, clock) for a in row.attempts.all()),
        cancelled_reason=row.cancelled_reason,
        dealt_with=row.dealt_with,
        cautions=content.cautions,
    )


def _procedure(row: Calibration, content: ProcedureContent) -> facts.ProcedureFacts:
    edition = row.edition
    return facts.ProcedureFacts(
        code=edition.procedure.code,
        name=edition.procedure.name,
        edition=edition.number,
        digest=edition.digest,
        source_document=edition.source_document,
        source_dated_on=edition.source_dated_on.isoformat() if edition.source_dated_on else "",
        invented=content.invented,
    )


def _attempt(
    row: Attempt, content: ProcedureContent, units: Units, clock: Clock
) -> facts.AttemptFacts:
    answers = list(row.answers.all())
    evaluation: dict[str, Any] = row.evaluation or {}
    return facts.AttemptFacts(
        number=row.number,
        technician=row.technician.name if row.technician else row.begun_by,
        begun_at=clock.at(row.begun_at),
        run_started_at=clock.at(row.run_started_at),
        ended_at=clock.at(row.ended_at),
        outcome=row.outcome,
        cause=row.cause,
        note=row.note,
        method=str(evaluation.get("method", "")),
        preconditions=_answers(answers, (Answer.Phase.PRECONDITION,), units, clock),
        readings=tuple(_readings(row, content, units, clock)),
        checks=tuple(_checks(evaluation, content)),
        confirmations=_answers(answers, _BEFORE_RUN, units, clock),
        after_checks=_answers(answers, (Answer.Phase.AFTER_CHECK,), units, clock),
        units=tuple(
            facts.UnitLine(used.unit.name, used.serial, used.fitness, used.fitness_says)
            for used in row.units.all()
        ),
    )


def _answers(
    rows: Sequence[Answer], phases: Sequence[str], units: Units, clock: Clock
) -> tuple[facts.AnswerLine, ...]:
    return tuple(
        facts.AnswerLine(
            ask=row.ask,
            answer=_answer(row, units),
            met=row.met,
            says=row.says,
            answered_by=row.answered_by,
            answered_at=clock.at(row.answered_at),
        )
        for row in rows
        if row.phase in phases
    )


def _answer(row: Answer, units: Units) -> str:
    if row.value is None or not row.unit:
        return "yes" if row.met else "no"
    shown = format_quantity(row.value, row.unit, units)
    return shown if row.typed in ("", shown) else f"{shown} (typed {row.typed})"


def _readings(
    row: Attempt, content: ProcedureContent, units: Units, clock: Clock
) -> Iterable[facts.ReadingLine]:
    wanted = [wanted.name for wanted in content.worksheet.inputs]
    labels = {wanted.name: wanted.label for wanted in content.worksheet.inputs}
    order = {name: at for at, name in enumerate(wanted)}
    for reading in sorted(
        row.readings.all(), key=lambda r: (order.get(r.name, len(order)), r.repeat, r.pk)
    ):
        yield facts.ReadingLine(
            label=labels.get(reading.name, reading.name),
            typed=reading.typed,
            value=reading.value,
            unit=reading.unit,
            value_says=format_quantity(reading.value, reading.unit, units, finely=True),
            instrument=reading.instrument.name if reading.instrument else "",
            instrument_serial=reading.instrument.serial if reading.instrument else "",
            read_by=reading.read_by,
            read_at=clock.at(reading.read_at),
            struck=reading.struck_at is not None,
        )


def _checks(evaluation: dict[str, Any], content: ProcedureContent) -> Iterable[facts.CheckLine]:
    labels = {check.name: check.label for check in content.worksheet.checks}
    judged = evaluation.get("checks", {})
    # Kept as JSON, which forgets the order of the edition.
    for name in sorted(judged, key=lambda n: list(labels).index(n) if n in labels else len(labels)):
        check = judged[name]
        yield facts.CheckLine(
            label=labels.get(name, name),
            verdict=check["verdict"],
            probability=float(check["probability"]),
            says=check["says"],
            probability_says=probability_in_words(check["probability"]),
        )


def _overrides(visit: Visit, clock: Clock) -> Iterable[facts.OverrideLine]:
    rows = (
        Override.objects.for_shop(visit.shop_id)
        .filter(visit=visit)
        .select_related("attempt", "calibration__edition__procedure")
        .order_by("overridden_at", "pk")
    )
    for row in rows:
        yield facts.OverrideLine(
            applies_to=_applies_to(row),
            says=row.says,
            reason=row.reason,
            overridden_by=row.overridden_by,
            overridden_at=clock.at(row.overridden_at),
        )


def _applies_to(row: Override) -> str:
    if row.calibration is None:
        return "The visit"
    name = row.calibration.edition.procedure.name
    return f"{name}, attempt {row.attempt.number}" if row.attempt else name


def _people(visit: Visit, told: Iterable[facts.CalibrationFacts]) -> tuple[str, ...]:
    """Everyone whose hands or eyes the record vouches for, once each, in order of appearance."""
    names = [attempt.technician for row in told for attempt in row.attempts]
    if visit.signed_off_by:
        names.append(visit.signed_off_by)
    return tuple(dict.fromkeys(names))


def _cautions(told: Iterable[facts.CalibrationFacts]) -> tuple[str, ...]:
    rows = list(told)
    cautions = [facts.MAKER_FIRST]
    if any(row.procedure.invented for row in rows):
        cautions.append(facts.INVENTED)
    return tuple(cautions)
