"""A finished visit of the invented shop, with everything a record can tell of."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.cache import cache
from django.test import Client

import jobs
from bays.models import EquipmentType, EquipmentUnit, Resource, Technician
from jobs.metrology import evaluate
from jobs.models import (
    Answer,
    Attempt,
    AttemptUnit,
    Calibration,
    Override,
    Procedure,
    ProcedureEdition,
    Reading,
    Scan,
    ScanCode,
    Step,
    Vehicle,
    Visit,
)
from jobs.procedures import content_digest
from jobs.selectors.procedures import content_of
from shopcal.accounts.models import Shop
from shopcal.accounts.services.tokens import create_token
from tests.conftest import Person

MORNING = datetime(2026, 11, 25, 14, 30, tzinfo=UTC)  # 08:30 in the shop
PROCEDURE = Path(jobs.__file__).parent / "demo" / "procedures" / "front_camera_static.yaml"
READINGS = {
    "left_distance": ["4002"],
    "right_distance": ["400.4 cm"],
    "left_of_centreline": ["600"],
    "right_of_centreline": ["598"],
    "target_height": ["1351", "1352"],
}

MakeVisit = Callable[..., Visit]


@pytest.fixture(autouse=True)
def _fresh_allowance() -> None:
    cache.clear()


@pytest.fixture
def caller_for() -> Callable[[Person], Client]:
    """A program that sends the person's token."""

    def make(person: Person) -> Client:
        token = create_token(name="test", by=person.actor)
        return Client(headers={"Authorization": f"Bearer {token.text}"})

    return make


def edition_in(shop: Shop) -> ProcedureEdition:
    """The demo shop's front camera procedure, published in a shop."""
    content = yaml.safe_load(PROCEDURE.read_text())
    content["source"]["dated_on"] = str(content["source"]["dated_on"])
    procedure, _ = Procedure.objects.get_or_create(
        shop=shop,
        code=content["code"],
        defaults={"name": content["name"], "system": content["system"], "method": "static"},
    )
    edition, _ = ProcedureEdition.objects.get_or_create(
        shop=shop,
        procedure=procedure,
        number=1,
        defaults={
            "content": content,
            "digest": content_digest(content),
            "source_document": content["source"]["document"],
            "source_dated_on": date(2026, 1, 19),
            "published_at": MORNING - timedelta(days=30),
            "published_by": "Maud Ellery",
        },
    )
    return edition


def technician_in(shop: Shop, name: str = "Tobin Ashgrove") -> Technician:
    code = name.lower().replace(" ", "-")
    resource, _ = Resource.objects.get_or_create(
        shop=shop, kind="person", code=code, defaults={"name": name}
    )
    found, _ = Technician.objects.get_or_create(
        shop=shop, code=code, defaults={"name": name, "resource": resource}
    )
    return found


def unit_in(shop: Shop, code: str, name: str, serial: str) -> EquipmentUnit:
    kind, _ = EquipmentType.objects.get_or_create(
        shop=shop, code=f"{code}-type", defaults={"name": name}
    )
    resource, _ = Resource.objects.get_or_create(
        shop=shop, kind="unit", code=code, defaults={"name": name}
    )
    unit, _ = EquipmentUnit.objects.get_or_create(
        shop=shop,
        code=code,
        defaults={
            "type": kind,
            "resource": resource,
            "name": name,
            "serial": serial,
            "commissioned_on": date(2026, 1, 2),
        },
    )
    return unit


@pytest.fixture
def make_visit(db: None) -> MakeVisit:
    """A visit in a shop: bare, or with all that was done to the vehicle."""

    def make(shop: Shop, ro: str = "3107", *, done: bool = True, **given: Any) -> Visit:
        vehicle, _ = Vehicle.objects.get_or_create(
            shop=shop,
            vin="1G4AH59H45G118341",
            defaults={
                "label": "Tern Coastal estate",
                "model_year": 2005,
                "width_mm": 1800,
                "wheelbase_mm": 2700,
                "front_overhang_mm": 900,
                "rear_overhang_mm": 1000,
            },
        )
        facts: dict[str, Any] = {
            "state": "ready",
            "customer_name": "Hanna Birch",
            "customer_email": "hanna@example.test",
            "work_done": ["windscreen_replaced"],
            "arrives_at": MORNING,
            "promised_at": MORNING + timedelta(hours=4),
            "booked_at": MORNING - timedelta(days=2),
            "booked_by": "Sela Wren",
            "checked_in_at": MORNING,
            "ready_at": MORNING + timedelta(hours=3),
            "signed_off_by": "Tobin Ashgrove",
            "signed_off_at": MORNING + timedelta(hours=3),
            **given,
        }
        visit = Visit.objects.create(shop=shop, ro_number=ro, vehicle=vehicle, **facts)
        if done:
            scan_twice(visit)
            calibrate_twice(visit)
        return visit

    return make


def scan_twice(visit: Visit) -> None:
    tool = unit_in(visit.shop, "scan-1", "Scan tool 1", "ST-9")
    common = {"shop": visit.shop, "visit": visit, "tool": tool, "taken_by": "Tobin Ashgrove"}
    pre = Scan.objects.create(kind="pre", taken_at=MORNING, **common)
    post = Scan.objects.create(
        kind="post",
        taken_at=MORNING + timedelta(hours=3),
        compared_by="Tobin Ashgrove",
        compared_at=MORNING + timedelta(hours=3),
        **common,
    )
    for scan, code, failure_type, why in (
        (pre, "C1A2B", "16", ""),
        (pre, "B1342", "", ""),
        (post, "B1342", "", "Belongs to the tow bar; the customer knows."),
        (post, "U0123", "", ""),
    ):
        ScanCode.objects.create(
            shop=visit.shop,
            scan=scan,
            code=code,
            failure_type=failure_type,
            module="camera",
            status="stored",
            explanation=why,
        )


def calibrate_twice(visit: Visit) -> Calibration:
    """A first attempt that failed, a second that passed with an override, then verified."""
    step = Step.objects.create(
        shop=visit.shop,
        visit=visit,
        order=1,
        kind="calibration",
        label="Front camera",
        state="done",
        minutes=60,
        placement_label="Bays 1 + 2",
        starts_at=MORNING,
        ends_at=MORNING + timedelta(hours=1),
    )
    calibration = Calibration.objects.create(
        shop=visit.shop,
        visit=visit,
        step=step,
        edition=edition_in(visit.shop),
        system="front_camera",
        state="verified",
        reasons=["The camera looks through the windscreen; a new one bends its view."],
    )
    first = attempt(calibration, 1, MORNING + timedelta(minutes=30), "failed")
    first.cause = "light behind the target"
    first.save()
    second = attempt(calibration, 2, MORNING + timedelta(minutes=90), "passed")
    Override.objects.create(
        shop=visit.shop,
        visit=visit,
        calibration=calibration,
        attempt=second,
        guard="preconditions",
        says="preconditions not met: even light",
        reason="The roller door is shut now and the meter agrees.",
        overridden_at=MORNING + timedelta(minutes=95),
        overridden_by="Maud Ellery",
    )
    return calibration


def attempt(calibration: Calibration, number: int, begun_at: datetime, outcome: str) -> Attempt:
    shop = calibration.shop
    worksheet = content_of(calibration.edition).worksheet
    made = Attempt.objects.create(
        shop=shop,
        calibration=calibration,
        number=number,
        technician=technician_in(shop),
        begun_at=begun_at,
        begun_by="Tobin Ashgrove",
        run_started_at=begun_at + timedelta(minutes=20),
        ended_at=begun_at + timedelta(minutes=40),
        outcome=outcome,
        evaluation=evaluate(worksheet, READINGS).as_content(),
    )
    tape = unit_in(shop, "tape-1", "Tape 5 m", "TM-0417")
    for name, typed in READINGS.items():
        for repeat, text in enumerate(typed, start=1):
            value = float(text.split()[0]) * (10 if "cm" in text else 1)
            Reading.objects.create(
                shop=shop,
                attempt=made,
                name=name,
                repeat=repeat,
                typed=text,
                value=value,
                unit="mm",
                instrument=tape,
                read_at=begun_at,
                read_by="Tobin Ashgrove",
            )
    for phase, name, ask, met in (
        ("precondition", "background", "Is the light even?", False),
        ("during_run", "doors_closed", "Are all doors closed?", True),
        ("after_check", "no_warning_lamp", "Is no warning shown?", True),
    ):
        Answer.objects.create(
            shop=shop,
            attempt=made,
            phase=phase,
            name=name,
            ask=ask,
            met=met,
            answered_at=begun_at,
            answered_by="Tobin Ashgrove",
        )
    Answer.objects.create(
        shop=shop,
        attempt=made,
        phase="precondition",
        name="battery",
        ask="Battery voltage",
        met=True,
        typed="12.6",
        value=12.6,
        unit="V",
        says="12.6 V, between 12 V and 15 V: pass",
        answered_at=begun_at,
        answered_by="Tobin Ashgrove",
    )
    AttemptUnit.objects.create(
        shop=shop,
        attempt=made,
        unit=tape,
        serial=tape.serial,
        fitness="fit",
        fitness_says="fit, inspection due on 14 March 2027",
        used_at=begun_at,
    )
    return made
