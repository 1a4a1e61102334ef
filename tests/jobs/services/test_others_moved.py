"""Offers for which others move a little: what they cost, stored whole, refused when stale."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from jobs.models import Step, Visit
from jobs.services.booking import book_visit
from jobs.services.quotes import VisitOffer, quote_visit
from jobs.services.replans import repair_plan
from shopcal.accounts.actor import Actor
from shopcal.errors import Conflict
from shopcal.history.models import Event

from .test_booking import WEDNESDAY, asked, at_ten, desk  # noqa: F401

pytestmark = pytest.mark.django_db

LATER = timedelta(minutes=45)


@pytest.fixture
def full(desk: Actor) -> Actor:  # noqa: F811
    """Visits in three quarters of an hour that have all day; until then the shop is empty."""
    for number in range(4):
        request = asked(f"SB40000{number}", arrives_at=WEDNESDAY + LATER)
        offers = quote_visit(by=desk, request=request).offers
        calm = next(offer for offer in offers if not offer.moves_others)
        book_visit(by=desk, request=request, offer_token=calm.token)
    Visit.objects.update(arrives_at=WEDNESDAY, promised_at=WEDNESDAY + timedelta(days=1))
    return desk


def moving(by: Actor) -> VisitOffer:
    offers = quote_visit(by=by, request=asked("SB300001")).offers
    return next(offer for offer in offers if offer.moves_others)


def times() -> dict[int, tuple[object, object]]:
    return {step.pk: (step.starts_at, step.ends_at) for step in Step.objects.all()}


def test_an_offer_that_moves_others_is_sooner_and_says_what_it_costs_them(full: Actor) -> None:
    offers = quote_visit(by=full, request=asked("SB300001")).offers
    offer = moving(full)
    assert offer.kind == "soonest"
    assert offer.cost_to_others.startswith("moves ")
    assert offer.cost_to_others.endswith(", none late")
    calm = [one.ends_at for one in offers if not one.moves_others]
    assert calm
    assert min(calm) - offer.ends_at >= timedelta(minutes=15)


def test_booking_it_stores_the_rows_of_others_and_tells_the_history(full: Actor) -> None:
    before = times()
    visit = book_visit(by=full, request=asked("SB300001"), offer_token=moving(full).token)
    after = times()
    moved = [pk for pk in before if after[pk] != before[pk]]
    assert moved
    assert all(step.starts_at for step in visit.steps.all())
    told = Event.objects.get(kind="plan.changed")
    assert told.after is not None
    assert len(told.after["changes"]) >= len(moved)
    # Nothing stands in the way of anything: a repair finds nothing to repair.
    assert repair_plan(by=full, why="a look").unchanged


def test_it_is_gone_once_one_of_the_others_was_changed(full: Actor) -> None:
    token = moving(full).token
    before = times()
    for step in Step.objects.all():
        step.version += 1
        step.save()
    with pytest.raises(Conflict) as refused:
        book_visit(by=full, request=asked("SB300001"), offer_token=token)
    assert refused.value.code == "offer_gone"
    assert times() == before


def test_it_is_gone_once_somebody_promised_one_of_the_others_sooner(full: Actor) -> None:
    token = moving(full).token
    before = times()
    Visit.objects.update(promised_at=WEDNESDAY + LATER)
    with pytest.raises(Conflict) as refused:
        book_visit(by=full, request=asked("SB300001"), offer_token=token)
    assert refused.value.code == "offer_gone"
    assert times() == before


def test_a_wished_time_gets_the_offer_nearest_to_it(full: Actor) -> None:
    wished = WEDNESDAY + timedelta(days=1, hours=3)
    request = replace(asked("SB300001"), wished_at=wished)
    offers = quote_visit(by=full, request=request).offers
    (near,) = [offer for offer in offers if offer.kind == "wished"]
    distance = abs(near.starts_at - wished)
    assert distance <= timedelta(minutes=30)
    assert all(distance <= abs(offer.starts_at - wished) for offer in offers)
