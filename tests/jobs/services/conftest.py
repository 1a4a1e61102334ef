"""A pickup booked at the small shop, and the people who work on it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import transaction
from pytest_django import DjangoDbBlocker

from bays.models import Technician
from jobs.intake.vin_form import check_digit
from jobs.planning.request import BookingRequest
from jobs.services.booking import book_visit
from jobs.services.quotes import quote_visit
from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership, Shop, User
from tests.faults.small_shop import make_shop
from tests.jobs.services.at_work import Job

WEDNESDAY = datetime(2026, 11, 25, 10, 0, tzinfo=ZoneInfo("America/Denver"))


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(WEDNESDAY, tick=False) as traveller:
        yield traveller


@pytest.fixture(scope="module")
def booked(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Job]:
    """Made once a module, since reading a shop file takes a second, and rolled back after it.

    Each test's own transaction is a savepoint inside this one.
    """
    with (
        django_db_blocker.unblock(),
        time_machine.travel(WEDNESDAY, tick=False),
        transaction.atomic(),
    ):
        job = _book()
        yield job
        transaction.set_rollback(True)


@pytest.fixture
def job(booked: Job, clock: time_machine.Traveller, db: None) -> Job:
    """Booked, not yet checked in."""
    return booked


def _book() -> Job:
    shop = Shop.objects.get(pk=make_shop())
    manager = Actor.of(Membership.objects.select_related("user").get(shop=shop, role="manager"))
    writer = _join(shop, Role.SERVICE_WRITER, "Sela Wren")
    osei = Technician.objects.get(shop=shop, code="osei")
    osei.membership_id = _join(shop, Role.TECHNICIAN, "Rosa Osei").membership_id
    osei.save()
    asked = BookingRequest(
        work=("door_mirror_replaced",),
        vin=f"5ZZCP5DF{check_digit('5ZZCP5DF0SB200001')}SB200001",
        customer_name="N. Castellan",
    )
    offer = quote_visit(by=writer, request=asked).offers[0]
    visit = book_visit(by=writer, request=asked, offer_token=offer.token)
    technician = Actor.of(osei.membership)
    return Job(visit.pk, visit.calibrations.get().pk, technician, writer, manager)


def _join(shop: Shop, role: Role, name: str) -> Actor:
    user = User.objects.create_user(f"{name.lower().replace(' ', '.')}@example.test", name)
    return Actor.of(Membership.objects.create(user=user, shop=shop, role=role))
