"""Booking against a verified plan: offers, promises, holds, and what happens when time runs out."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
import time_machine

from bays.models import Hold
from bays.planner.holding import DRIVING
from jobs.intake.vin_form import check_digit
from jobs.models import Calibration, Step, Visit
from jobs.planning.request import BookingRequest, Sizes
from jobs.services.booking import book_visit
from jobs.services.quotes import quote_visit
from jobs.services.urgent import book_urgent, propose_urgent
from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership, Shop
from shopcal.errors import Conflict, Invalid, NotAllowed
from shopcal.history.models import Event
from tests.faults.small_shop import SLUG, make_shop

ZONE = ZoneInfo("America/Denver")
WEDNESDAY = datetime(2026, 11, 25, 10, 0, tzinfo=ZONE)

pytestmark = pytest.mark.django_db


@pytest.fixture
def at_ten():
    with time_machine.travel(WEDNESDAY, tick=False) as clock:
        yield clock


@pytest.fixture
def desk(at_ten) -> Actor:
    make_shop()
    return Actor.of(Membership.objects.select_related("user").get(shop__slug=SLUG, role="manager"))


def vin(serial: str) -> str:
    return f"5ZZCP5DF{check_digit(f'5ZZCP5DF0{serial}')}{serial}"


def asked(serial: str = "SB200001", **more) -> BookingRequest:
    return BookingRequest(
        work=("door_mirror_replaced",), vin=vin(serial), customer_name="N. Castellan", **more
    )


def booked(desk: Actor, serial: str) -> Visit:
    request = asked(serial)
    offer = quote_visit(by=desk, request=request).offers[0]
    return book_visit(by=desk, request=request, offer_token=offer.token)


def test_an_offer_tells_why_where_when_and_with_how_much_to_spare(desk: Actor) -> None:
    quote = quote_visit(by=desk, request=asked())
    assert [need.content.code for need in quote.case.needed] == ["surround_view_mats"]
    assert "mirror with a camera was replaced" in quote.case.needed[0].reasons[0]
    # Pickup 5,890 x 2,060 mm, tyres 1,930 mm; 2,400 mm beyond both bumpers and 1,829 mm (6 ft)
    # outside the tyres on both sides (common practice, no source).
    ((name, length, width),) = quote.space
    assert (name, length, width) == ("Surround view, floor mats", 10_690, 5_588)
    assert len(quote.offers) == 3
    first = quote.offers[0]
    assert first.starts_at == WEDNESDAY
    assert first.promised_at - first.ends_at >= timedelta(minutes=10)
    assert first.margin_mm is not None
    assert first.margin_mm > 0
    assert [step.label for step in first.steps] == [
        "Pre-scan",
        "Surround view, floor mats",
        "Post-scan",
    ]
    assert first.steps[1].second_person


def test_booking_an_offer_takes_every_hold_and_stores_the_promise(desk: Actor) -> None:
    offer = quote_visit(by=desk, request=asked()).offers[0]
    visit = book_visit(by=desk, request=asked(), offer_token=offer.token)
    assert visit.promised_at == offer.promised_at
    assert visit.state == "booked"
    steps = list(visit.steps.all())
    assert [step.kind for step in steps] == ["pre_scan", "calibration", "post_scan"]
    mats = steps[1]
    held = {
        (hold.resource.kind, hold.resource.code): (hold.starts_at, hold.ends_at)
        # Where the way in is known, the zones driven through are held besides.
        for hold in Hold.objects.filter(step_id=mats.pk)
        .exclude(note__in=DRIVING)
        .select_related("resource")
    }
    assert ("unit", "mats-a") in held or ("unit", "mats-b") in held
    people = [key for key in held if key[0] == "person"]
    assert len(people) == 2
    assert mats.placement is not None
    assert {code for kind, code in held if kind == "zone"} == set(mats.placement["zones"])
    assert Event.objects.filter(kind="visit.booked", visit_id=visit.pk).count() == 1


def test_an_offer_taken_by_somebody_else_books_nothing(desk: Actor) -> None:
    offers = quote_visit(by=desk, request=asked()).offers
    book_visit(by=desk, request=asked(), offer_token=offers[0].token)
    with pytest.raises(Conflict) as refused:
        book_visit(by=desk, request=asked("SB200002"), offer_token=offers[0].token)
    assert refused.value.code == "offer_gone"
    assert Visit.objects.count() == 1
    assert Step.objects.count() == 3
    assert Calibration.objects.count() == 1


def test_offers_keep_their_distance_from_what_is_booked(desk: Actor) -> None:
    for number in range(4):
        request = asked(f"SB20010{number}")
        offer = quote_visit(by=desk, request=request).offers[0]
        book_visit(by=desk, request=request, offer_token=offer.token)
    quote = quote_visit(by=desk, request=asked())
    # Two mat sets and, of those who can, three people: the fifth must wait and is told for what.
    assert quote.offers[0].starts_at > WEDNESDAY or quote.offers[0].ends_at > WEDNESDAY
    assert quote.binding_says


def test_an_offer_for_other_work_or_another_shop_is_refused(desk: Actor, shop: Shop) -> None:
    token = quote_visit(by=desk, request=asked()).offers[0].token
    smaller = Sizes(1800, 2500, 800, 700)
    with pytest.raises(Conflict) as refused:
        book_visit(by=desk, request=asked(sizes=smaller), offer_token=token)
    assert refused.value.code == "offer_gone"
    with pytest.raises(Conflict) as refused:
        book_visit(by=desk, request=asked(), offer_token=token + "x")
    assert refused.value.code == "offer_expired"
    assert Visit.objects.count() == 0


def test_an_offer_older_than_an_hour_is_refused(desk: Actor, at_ten) -> None:
    token = quote_visit(by=desk, request=asked()).offers[0].token
    at_ten.shift(timedelta(minutes=61))
    with pytest.raises(Conflict) as refused:
        book_visit(by=desk, request=asked(), offer_token=token)
    assert refused.value.code == "offer_expired"


def test_every_fault_of_a_request_is_told_at_its_field(desk: Actor) -> None:
    request = BookingRequest(work=("polished",), vin="5ZZCP5DF0SB20000", customer_name=" ")
    with pytest.raises(Invalid) as refused:
        book_visit(by=desk, request=request, offer_token="")
    assert {error.path for error in refused.value.errors} == {
        "vin",
        "work",
        "kind_code",
        "customer_name",
    }
    assert all(error.right for error in refused.value.errors)


def test_a_repair_order_number_is_used_once(desk: Actor) -> None:
    request = asked(ro_number="77")
    token = quote_visit(by=desk, request=request).offers[0].token
    book_visit(by=desk, request=request, offer_token=token)
    again = asked("SB200002", ro_number="77")
    token = quote_visit(by=desk, request=again).offers[0].token
    with pytest.raises(Conflict) as refused:
        book_visit(by=desk, request=again, offer_token=token)
    assert refused.value.code == "ro_number_taken"


def test_a_vehicle_too_wide_for_any_floor_is_told_so_in_words(desk: Actor) -> None:
    glider = Sizes(
        width_mm=18_000, wheelbase_mm=5000, front_overhang_mm=1000, rear_overhang_mm=1000
    )
    quote = quote_visit(by=desk, request=asked(sizes=glider))
    assert quote.offers == ()
    assert "Surround view" in quote.no_floor[0]
    assert "no floor of" in quote.no_floor[0]


def test_a_technician_may_not_book(desk: Actor) -> None:
    with pytest.raises(NotAllowed):
        quote_visit(by=replace(desk, role=Role.TECHNICIAN), request=asked())


def test_an_urgent_vehicle_moves_others_and_says_which(desk: Actor) -> None:
    for number in range(4):
        request = asked(f"SB20010{number}")
        offer = quote_visit(by=desk, request=request).offers[0]
        book_visit(by=desk, request=request, offer_token=offer.token)
    request = asked()
    soonest = quote_visit(by=desk, request=request).offers[0]
    proposal = propose_urgent(by=desk, request=request)
    assert Visit.objects.count() == 4
    assert proposal.ends_at <= soonest.ends_at
    visit, change = book_urgent(by=desk, request=request)
    assert visit.promised_at == proposal.promised_at
    assert change.changes == proposal.change.changes
    if proposal.ends_at < soonest.ends_at:
        assert change.changes
    for resource in Hold.objects.values_list("resource", flat=True).distinct():
        spans = sorted(Hold.objects.filter(resource=resource).values_list("starts_at", "ends_at"))
        assert all(first[1] <= second[0] for first, second in pairwise(spans))
