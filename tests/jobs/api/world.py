"""Two furnished shops with their people, vehicles booked in, and programs that call the API."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import time_machine
import yaml
from django.core.cache import cache
from django.db import transaction
from django.test import Client

from bays.models import Technician
from bays.services.people import record_absence
from bays.services.surveys import record_light_survey, record_survey
from bays.services.transfer import import_shop
from jobs.models import Proposal, Visit
from jobs.planning.request import BookingRequest
from jobs.procedures import load_yaml
from jobs.services.booking import book_visit
from jobs.services.procedures import publish_edition
from jobs.services.quotes import quote_visit
from jobs.services.scans import record_scan
from jobs.services.studies import ask_what_helps, ask_what_if
from jobs.services.visits import check_in
from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership, Shop, User
from shopcal.accounts.services.tokens import create_token
from tests.jobs.pages.cast import vin

DEMO = Path(__file__).parents[3] / "jobs" / "demo"
# A Tuesday; the shop has just opened.
NOW = datetime(2026, 10, 6, 8, 15, tzinfo=ZoneInfo("America/Denver"))


@dataclass(frozen=True)
class Yard:
    """One shop as the API sees it."""

    shop: Shop
    actors: dict[Role, Actor]
    callers: dict[Role, Client]
    booked: Visit
    in_work: Visit


@dataclass(frozen=True)
class World:
    here: Yard
    there: Yard
    stranger: Client

    @property
    def manager(self) -> Client:
        return self.here.callers[Role.MANAGER]

    @property
    def technician(self) -> Client:
        return self.here.callers[Role.TECHNICIAN]

    @property
    def writer(self) -> Client:
        return self.here.callers[Role.SERVICE_WRITER]


@contextmanager
def furnished(blocker: Any) -> Iterator[World]:
    """The world for the tests of one module; taken down after the last of them."""
    with blocker.unblock(), time_machine.travel(NOW, tick=False), transaction.atomic():
        cache.clear()
        yield World(_yard("fennhollow"), _yard("oxbridge"), Client())
        transaction.set_rollback(True)


def _yard(slug: str) -> Yard:
    shop = Shop.objects.create(slug=slug, name=slug.title(), time_zone="America/Denver")
    people = {role: _member(shop, role) for role in Role}
    actors = {role: Actor.of(member) for role, member in people.items()}
    manager = actors[Role.MANAGER]
    import_shop(by=manager, document=yaml.safe_load((DEMO / "shop.yaml").read_text()))
    contents = [load_yaml(p.read_text()) for p in sorted((DEMO / "procedures").glob("*.yaml"))]
    for content in contents:
        publish_edition(by=manager, content=content, beside=[c["code"] for c in contents])
    _people(shop, people[Role.TECHNICIAN], manager)
    record_survey(
        by=manager,
        points=[[0, 0, 0], [4000, 0, 1], [0, 11000, 2]],
        surveyed_on=date(2026, 10, 5),
        instrument="Rotating level",
    )
    record_light_survey(
        by=manager,
        points=[[0, 0, 510], [4000, 0, 540], [0, 11000, 620]],
        surveyed_on=date(2026, 10, 5),
        instrument="Light meter",
    )
    booked = book(manager, serial=1)
    in_work = book(manager, serial=2)
    in_work = check_in(by=manager, visit=in_work)
    record_scan(by=actors[Role.TECHNICIAN], visit=in_work, kind="pre", text="B1234 P0420")
    Proposal.objects.create(
        shop=shop,
        why="a frame was out",
        plan_mark="of an earlier plan",
        state=Proposal.State.DECLINED,
        made_by="somebody",
        made_at=NOW - timedelta(days=1),
    )
    ask_what_helps(by=manager, visit=booked)
    ask_what_if(by=manager, question={"change": "add_unit:mat_set"})
    return Yard(
        shop=shop,
        actors=actors,
        callers={role: _caller(actor) for role, actor in actors.items()},
        booked=booked,
        in_work=in_work,
    )


def _member(shop: Shop, role: Role) -> Membership:
    user = User.objects.create_user(f"{role.value}@{shop.slug}.test", f"Any {role.label}")
    return Membership.objects.create(user=user, shop=shop, role=role)


def _people(shop: Shop, member: Membership, by: Actor) -> None:
    Technician.objects.filter(shop=shop, code="osei").update(membership=member)
    record_absence(
        by=by,
        technician=Technician.objects.get(shop=shop, code="varga"),
        starts_at=NOW + timedelta(days=20),
        ends_at=NOW + timedelta(days=21),
        reason="training",
    )


def _caller(actor: Actor) -> Client:
    token = create_token(name="test", by=actor)
    return Client(headers={"Authorization": f"Bearer {token.text}"}, raise_request_exception=False)


def book(by: Actor, *, serial: int, work: tuple[str, ...] = ("windscreen_replaced",)) -> Visit:
    """Book a vehicle through the services, taking the first offer."""
    request = BookingRequest(work=work, vin=vin("heron", serial), customer_name="Ida Marsh")
    offer = quote_visit(by=by, request=request).offers[0]
    return book_visit(by=by, request=request, offer_token=offer.token)
