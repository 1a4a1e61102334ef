"""The demo shop as rows, and visits booked into it by the service that books them."""

from __future__ import annotations

import hashlib
import json
from datetime import date, time
from pathlib import Path
from typing import Any

import yaml
from django.utils import timezone

from bays.models import (
    EquipmentType,
    EquipmentUnit,
    FloorPlanEdition,
    OpeningHours,
    Resource,
    ShiftPattern,
    Skill,
    Technician,
    TechnicianSkill,
)
from jobs.intake.vin_form import check_digit
from jobs.models import Procedure, ProcedureEdition, VehicleModel, Visit
from jobs.planning.request import BookingRequest
from jobs.procedures import load_yaml
from jobs.services.booking import book_visit
from jobs.services.quotes import quote_visit
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop

DEMO = Path(__file__).parents[3] / "jobs" / "demo"
WEEKDAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
# Made up: prefixes of the invented makes, with check digits that are right.
VINS = {"heron": "5ZZHR2BD", "tern": "5ZZTK4AC"}


def furnish(shop: Shop) -> None:
    """Give a shop the demo's floor, hours, people, equipment, vehicles and procedures."""
    document = yaml.safe_load((DEMO / "shop.yaml").read_text())
    _floor(shop, document["floor"])
    for entry in document["hours"]["opening"]:
        for day in entry["days"]:
            OpeningHours.objects.create(
                shop=shop,
                weekday=WEEKDAYS.index(day),
                opens=time.fromisoformat(entry["opens"]),
                closes=time.fromisoformat(entry["closes"]),
            )
    _people(shop, document)
    _equipment(shop, document["equipment"]["types"])
    for kind in document["vehicle_models"]:
        VehicleModel.objects.create(shop=shop, **kind)
    _procedures(shop)


def only_a_vehicle_and_a_procedure(shop: Shop) -> str:
    """A shop that has begun to set up: no floor yet. Gives the code of its kind of vehicle."""
    document = yaml.safe_load((DEMO / "shop.yaml").read_text())
    _procedures(shop)
    return VehicleModel.objects.create(shop=shop, **document["vehicle_models"][1]).code


def _floor(shop: Shop, content: dict[str, Any]) -> None:
    digest = hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
    FloorPlanEdition.objects.create(
        shop=shop,
        number=1,
        name=content["name"],
        content=content,
        digest=digest,
        published_at=timezone.now(),
        published_by="test",
    )
    for zone in content["zones"]:
        Resource.objects.create(shop=shop, kind="zone", code=zone["id"], name=zone["name"])


def _people(shop: Shop, document: dict[str, Any]) -> None:
    skills = {s["code"]: Skill.objects.create(shop=shop, **s) for s in document["skills"]}
    for entry in document["people"]["technicians"]:
        resource = Resource.objects.create(
            shop=shop, kind="person", code=entry["code"], name=entry["name"]
        )
        person = Technician.objects.create(
            shop=shop, resource=resource, code=entry["code"], name=entry["name"]
        )
        for held in entry["skills"]:
            TechnicianSkill.objects.create(
                shop=shop, technician=person, skill=skills[held["skill"]]
            )
        for shift in entry["shifts"]:
            lunch = [time.fromisoformat(at) for at in shift.get("lunch", [])] or [None, None]
            for day in shift["days"]:
                ShiftPattern.objects.create(
                    shop=shop,
                    technician=person,
                    weekday=WEEKDAYS.index(day),
                    starts=time.fromisoformat(shift["starts"]),
                    ends=time.fromisoformat(shift["ends"]),
                    lunch_starts=lunch[0],
                    lunch_ends=lunch[1],
                )


def _equipment(shop: Shop, types: list[dict[str, Any]]) -> None:
    for entry in types:
        kind = EquipmentType.objects.create(
            shop=shop,
            code=entry["code"],
            name=entry["name"],
            exclusive=entry.get("exclusive", True),
        )
        for unit in entry["units"]:
            resource = Resource.objects.create(
                shop=shop, kind="unit", code=unit["code"], name=unit["name"]
            )
            EquipmentUnit.objects.create(
                shop=shop,
                type=kind,
                resource=resource,
                code=unit["code"],
                name=unit["name"],
                serial=unit["serial"],
                commissioned_on=date(2026, 1, 5),
            )


def _procedures(shop: Shop) -> None:
    for path in sorted((DEMO / "procedures").glob("*.yaml")):
        content = load_yaml(path.read_text())
        procedure = Procedure.objects.create(
            shop=shop,
            code=content["code"],
            name=content["name"],
            system=content["system"],
            method=content["method"],
        )
        digest = hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
        ProcedureEdition.objects.create(
            shop=shop,
            procedure=procedure,
            number=1,
            content=content,
            digest=digest,
            source_document="Invented",
            published_at=timezone.now(),
            published_by="test",
        )


def vin(make: str = "heron", serial: int = 1) -> str:
    """A VIN of one of the invented makes, with a right check digit (49 CFR 565.15)."""
    prefix = VINS[make]
    tail = f"RB{serial:06d}"
    digit = check_digit(f"{prefix}0{tail}")
    return f"{prefix}{digit}{tail}"


def book(
    by: Actor,
    *,
    work: tuple[str, ...] = ("windscreen_replaced",),
    make: str = "heron",
    serial: int = 1,
    offer: int = 0,
    **said: Any,
) -> Visit:
    """Book a visit through the services, taking one of the offers."""
    said.setdefault("customer_name", "Ida Marsh")
    request = BookingRequest(work=work, vin=vin(make, serial), **said)
    quote = quote_visit(by=by, request=request)
    return book_visit(by=by, request=request, offer_token=quote.offers[offer].token)
