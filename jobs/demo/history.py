"""Invented weeks behind the invented shop, so that its figures have something to tell.

Written straight into the tables: nobody lived these weeks, so they have no events of their own
beyond one that says so.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from bays.hours import Span
from bays.models import Hold, Resource, ResourceKind, Technician
from bays.selectors.calendar import opening_spans
from jobs.demo.visits import TODAY, Call
from jobs.intake.vin_form import check_digit
from jobs.models import Attempt, Calibration, ProcedureEdition, Step, Vehicle, Visit
from jobs.procedures import ProcedureContent
from jobs.selectors.procedures import content_of, current_editions
from jobs.selectors.vehicles import kind_for_vin
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.history.record import record_event

DAYS = 34
FIRST_RO_NUMBER = 2801
# Technician, floor, minutes after opening of each visit, and what is calibrated.
LANES = (
    ("osei", "bay-5", (10, 130, 300), ("surround_view_mats", "rear_camera", "front_camera_static")),
    (
        "lind",
        "bay-2",
        (20, 170, 330),
        ("front_camera_static", "rear_camera", "front_camera_static"),
    ),
    ("varga", "bay-7", (100, 280), ("front_radar_static", "rear_corner_radar")),
)
# One in so many first attempts fails, for one of these causes.
ONE_FAILS_IN = 7
ONE_LATE_IN = 6


@dataclass(frozen=True)
class _Lane:
    technician: Technician
    floor: Resource
    starts: tuple[int, ...]
    procedures: tuple[str, ...]


@transaction.atomic
def add_demo_history(*, shop: Shop, now: datetime) -> int:
    """Write the visits of the days before ``now``; returns how many."""
    today = now.astimezone(shop.zone).date()
    spans = opening_spans(
        shop.pk, shop.zone, today - timedelta(days=DAYS), today - timedelta(days=1)
    )
    editions = {edition.procedure.code: edition for edition in current_editions(shop.pk)}
    lanes = [
        _Lane(
            Technician.objects.for_shop(shop.pk).select_related("resource").get(code=technician),
            Resource.objects.for_shop(shop.pk).get(kind=ResourceKind.ZONE, code=floor),
            starts,
            procedures,
        )
        for technician, floor, starts, procedures in LANES
    ]
    writer = _Writer(shop, editions, random.Random(20))  # noqa: S311 - invented data
    for span in spans:
        for lane in lanes:
            writer.write_day(lane, span)
    record_event(
        by=Actor.system(shop.pk),
        kind="demo.history_invented",
        subject=f"shop:{shop.pk}",
        after={"visits": writer.written},
    )
    return writer.written


class _Writer:
    """Writes one visit after another, with repair order numbers that count up."""

    def __init__(
        self, shop: Shop, editions: dict[str, ProcedureEdition], chance: random.Random
    ) -> None:
        self.shop = shop
        self.editions = editions
        self.chance = chance
        self.written = 0

    def write_day(self, lane: _Lane, span: Span) -> None:
        """The lane's visits of one open day."""
        for minutes, code in zip(lane.starts, lane.procedures, strict=True):
            starts_at = span.starts_at + timedelta(minutes=minutes)
            if starts_at + timedelta(hours=2, minutes=30) <= span.ends_at:
                self._write_visit(lane, self.editions[code], starts_at)

    def _write_visit(self, lane: _Lane, edition: ProcedureEdition, starts_at: datetime) -> None:
        content = content_of(edition)
        fails = self.chance.randrange(ONE_FAILS_IN) == 0
        minutes = content.minutes.total + (content.minutes.run + 15 if fails else 0)
        minutes = min(100, minutes + self.chance.choice((-5, 0, 0, 5, 10)))
        ends_at = starts_at + timedelta(minutes=minutes)
        late = fails or self.chance.randrange(ONE_LATE_IN) == 0
        visit = self._visit(starts_at, ends_at, late=late)
        step = self._step(visit, lane, content, starts_at, ends_at)
        for resource in (lane.floor, lane.technician.resource):
            Hold.objects.create(
                shop=self.shop,
                resource=resource,
                starts_at=starts_at,
                ends_at=ends_at,
                step_id=step.pk,
            )
        calibration = Calibration.objects.create(
            shop=self.shop,
            visit=visit,
            step=step,
            edition=edition,
            system=content.system,
            state="verified",
            reasons=["invented history"],
        )
        self._attempts(
            calibration, lane.technician, starts_at, ends_at, content.causes, fails=fails
        )
        self.written += 1

    def _visit(self, starts_at: datetime, ends_at: datetime, *, late: bool) -> Visit:
        slack = timedelta(minutes=self.chance.choice((-25, -10)) if late else 15)
        ready_at = ends_at + timedelta(minutes=10)
        return Visit.objects.create(
            shop=self.shop,
            ro_number=str(FIRST_RO_NUMBER + self.written),
            vehicle=self._vehicle(),
            state="released",
            customer_name=self.chance.choice(TODAY).customer,
            arrives_at=starts_at - timedelta(minutes=20),
            promised_at=ready_at + slack,
            booked_at=starts_at - timedelta(days=1),
            booked_by="invented history",
            checked_in_at=starts_at - timedelta(minutes=15),
            ready_at=ready_at,
            released_at=ready_at + timedelta(minutes=20),
        )

    def _vehicle(self) -> Vehicle:
        call: Call = self.chance.choice(TODAY)
        serial = f"{call.serial[:2]}{800000 + self.written:06d}"
        vin = f"{call.vin_start}{check_digit(f'{call.vin_start}0{serial}')}{serial}"
        kind = kind_for_vin(self.shop.pk, vin)
        if kind is None:
            raise LookupError(f"the demo library has no vehicle for {vin}")
        return Vehicle.objects.create(
            shop=self.shop,
            vin=vin,
            model=kind,
            label=str(kind),
            systems=kind.systems,
            width_mm=kind.width_mm,
            wheelbase_mm=kind.wheelbase_mm,
            front_overhang_mm=kind.front_overhang_mm,
            rear_overhang_mm=kind.rear_overhang_mm,
            tyre_track_mm=kind.tyre_track_mm,
            turning_circle_mm=kind.turning_circle_mm,
        )

    def _step(
        self,
        visit: Visit,
        lane: _Lane,
        content: ProcedureContent,
        starts_at: datetime,
        ends_at: datetime,
    ) -> Step:
        return Step.objects.create(
            shop=self.shop,
            visit=visit,
            order=1,
            kind=Step.Kind.CALIBRATION,
            label=content.name,
            state=Step.State.DONE,
            minutes=round((ends_at - starts_at).total_seconds() / 60),
            skill_code=content.skills[0] if content.skills else "",
            equipment_codes=[item.type for item in content.equipment for _ in range(item.count)],
            second_person_minutes=content.second_person_minutes,
            starts_at=starts_at,
            ends_at=ends_at,
            started_at=starts_at,
            ended_at=ends_at,
            technician=lane.technician,
            placement_key="history",
            placement_label=lane.floor.name,
        )

    def _attempts(
        self,
        calibration: Calibration,
        technician: Technician,
        begun_at: datetime,
        ended_at: datetime,
        causes: tuple[str, ...],
        *,
        fails: bool,
    ) -> None:
        outcomes = ["failed", "passed"] if fails else ["passed"]
        for number, outcome in enumerate(outcomes, start=1):
            Attempt.objects.create(
                shop=self.shop,
                calibration=calibration,
                number=number,
                technician=technician,
                begun_at=begun_at,
                begun_by=technician.name,
                run_started_at=begun_at,
                ended_at=ended_at,
                outcome=outcome,
                cause=self.chance.choice(causes) if outcome == "failed" else "",
            )
