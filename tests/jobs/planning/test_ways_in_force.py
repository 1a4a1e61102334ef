"""Known ways in at a whole shop: offers, holds in the database, the floor map, what people do."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import IntegrityError, transaction
from django.utils import timezone

from bays.convert.planner import zone_key
from bays.models import Hold, HoldReason, Resource, ResourceKind
from bays.overlap import is_overlap
from bays.planner.holding import DRIVES_IN, DRIVES_OUT, DRIVING
from bays.selectors.floor import current_floor
from bays.services.answers import keep_answer
from bays.services.holds import HoldWanted, take_holds
from jobs.intake.vin_form import check_digit
from jobs.models import Step, VehicleModel, Visit
from jobs.planning.kept_places import kept_placements
from jobs.planning.problem import load_shop_plan
from jobs.planning.request import BookingRequest
from jobs.planning.space import NO_WAY, clear_zone_of, places_for, shape_of
from jobs.planning.ways import Way, turning_circle_of, way_key, way_written
from jobs.selectors.floor_now import floor_now
from jobs.selectors.procedures import content_of, current_editions
from jobs.services.booking import book_visit
from jobs.services.quotes import quote_visit
from jobs.services.replans import repair_plan
from jobs.services.steps import finish_step, start_step
from jobs.warming import procedures_of
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Membership
from tests.faults.small_shop import SLUG, make_shop

WEDNESDAY = datetime(2026, 11, 25, 10, 0, tzinfo=ZoneInfo("America/Denver"))
# A way of ten minutes through the whole aisle that is not the place's own.
AISLES = frozenset({"aisle-west", "aisle-middle", "aisle-east"})
TEN_MINUTES = timedelta(minutes=10)

pytestmark = pytest.mark.django_db


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(WEDNESDAY, tick=False) as traveller:
        yield traveller


@pytest.fixture
def desk(clock: time_machine.Traveller) -> Actor:
    make_shop()
    return Actor.of(Membership.objects.select_related("user").get(shop__slug=SLUG, role="manager"))


def keep_ways(shop_id: int, verdict: str = "found") -> None:
    """As if the task had found a way to every place: ten minutes through every aisle."""
    plan = current_floor(shop_id).plan
    for kind in VehicleModel.objects.for_shop(shop_id):
        shape, circle = shape_of(kind), turning_circle_of(kind)
        for content in procedures_of(shop_id):
            for found in kept_placements(plan, shape, clear_zone_of(content)):
                way = Way(verdict, "as the test says")
                if verdict == "found":
                    crosses = AISLES - found.zones
                    way = Way(verdict, "through the west door", "west door", 10, crosses)
                keep_answer(way_key(plan, shape, circle, found), way, way_written)


def asked(serial: str) -> BookingRequest:
    vin = f"5ZZCP5DF{check_digit(f'5ZZCP5DF0{serial}')}{serial}"
    return BookingRequest(work=("door_mirror_replaced",), vin=vin, customer_name="N. Castellan")


def book(desk: Actor, serial: str = "SB200001") -> Visit:
    request = asked(serial)
    offer = quote_visit(by=desk, request=request).offers[0]
    return book_visit(by=desk, request=request, offer_token=offer.token)


def calibration_of(visit: Visit) -> Step:
    return visit.steps.get(kind=Step.Kind.CALIBRATION)


def moves_of(visit: Visit) -> list[tuple[str, str, datetime, datetime]]:
    rows = Hold.objects.filter(step_id__in=visit.steps.values("pk"), note__in=DRIVING)
    return sorted((h.note, h.resource.code, h.starts_at, h.ends_at) for h in rows)


def test_a_booking_holds_the_aisles_for_just_the_minutes_of_the_moves(desk: Actor) -> None:
    keep_ways(desk.shop_id)
    visit = book(desk)
    step = calibration_of(visit)
    assert step.starts_at is not None
    assert step.ends_at is not None
    crossed = sorted(AISLES - set((step.placement or {})["zones"]))
    post_scan = visit.steps.get(kind=Step.Kind.POST_SCAN)
    leaves = post_scan.ends_at if post_scan.placement_key == step.placement_key else step.ends_at
    assert leaves is not None
    assert crossed
    assert moves_of(visit) == [
        *((DRIVES_IN, zone, step.starts_at - TEN_MINUTES, step.starts_at) for zone in crossed),
        *((DRIVES_OUT, zone, leaves, leaves + TEN_MINUTES) for zone in crossed),
    ]
    assert (step.placement or {})["way"]["door"] == "west door"


def test_without_known_ways_nothing_but_the_place_itself_is_held(desk: Actor) -> None:
    visit = book(desk)
    assert moves_of(visit) == []
    assert (calibration_of(visit).placement or {})["way"] == {}


def test_the_database_itself_refuses_to_have_a_way_in_crossed(desk: Actor) -> None:
    keep_ways(desk.shop_id)
    note, zone, starts_at, ends_at = moves_of(book(desk))[0]
    assert note == DRIVES_IN
    resource = Resource.objects.get(shop=desk.shop_id, kind=ResourceKind.ZONE, code=zone)
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        Hold.objects.create(
            shop_id=desk.shop_id, resource=resource, starts_at=starts_at, ends_at=ends_at
        )
    assert is_overlap(refused.value)


def test_bookings_with_ways_never_share_floor_and_leave_the_plan_as_it_is(desk: Actor) -> None:
    keep_ways(desk.shop_id)
    visits = [book(desk, f"SB20000{number}") for number in range(4)]
    assert all(moves_of(visit) for visit in visits)
    assert repair_plan(by=desk, why="a look").unchanged


def test_a_vehicle_on_its_way_is_not_shown_standing_in_the_aisle(desk: Actor) -> None:
    keep_ways(desk.shop_id)
    visit = book(desk)
    step = calibration_of(visit)
    assert step.starts_at is not None
    now = floor_now(desk.shop_id, step.starts_at - timedelta(minutes=1))
    assert now.standing == ()
    assert [moving.step.pk for moving in now.moving] == [step.pk]


def test_an_aisle_closed_all_day_leaves_no_offer_through_it(desk: Actor) -> None:
    keep_ways(desk.shop_id)
    end = WEDNESDAY + timedelta(days=15)
    closed = [
        HoldWanted(ResourceKind.ZONE, zone, WEDNESDAY, end, reason=HoldReason.CLOSED)
        for zone in AISLES
    ]
    take_holds(by=desk, wanted=closed)
    quote = quote_visit(by=desk, request=asked("SB200001"))
    assert quote.offers == ()
    assert quote.binding_says


def test_a_closed_zone_that_no_vehicle_needs_keeps_nobody_from_booking(desk: Actor) -> None:
    end = WEDNESDAY + timedelta(days=1)
    wanted = HoldWanted(ResourceKind.ZONE, "rack", WEDNESDAY, end, reason=HoldReason.CLOSED)
    take_holds(by=desk, wanted=[wanted])
    assert quote_visit(by=desk, request=asked("SB200001")).offers


def test_a_place_proven_out_of_reach_is_not_offered(desk: Actor) -> None:
    keep_ways(desk.shop_id, "impossible")
    assert quote_visit(by=desk, request=asked("SB200001")).offers == ()


def test_a_place_to_which_no_way_was_found_says_so_and_can_be_used(desk: Actor) -> None:
    keep_ways(desk.shop_id, "not found")
    (offer, *_) = quote_visit(by=desk, request=asked("SB200001")).offers
    assert offer.place.endswith(f"({NO_WAY})")


def test_a_booking_keeps_the_way_it_was_made_with(desk: Actor) -> None:
    visit = book(desk)
    keep_ways(desk.shop_id)
    shop_plan = load_shop_plan(visit.shop, WEDNESDAY)
    place = shop_plan.problem.placements[calibration_of(visit).placement_key]
    assert (place.drive_minutes, place.crosses) == (None, frozenset())
    assert repair_plan(by=desk, why="a look").unchanged
    content = content_of(current_editions(desk.shop_id)[0])
    kind = VehicleModel.objects.for_shop(desk.shop_id).get()
    places = places_for(shop_plan.current, shape_of(kind), content, turning_circle_of(kind))
    assert all(p.planned.crosses <= {zone_key(z) for z in AISLES} for p in places.values())
    assert all(p.planned.drive_minutes == 10 for p in places.values())


def test_starting_early_gives_back_the_way_in_and_keeps_the_way_out(
    desk: Actor, clock: time_machine.Traveller
) -> None:
    keep_ways(desk.shop_id)
    visit = book(desk)
    first, step = visit.steps.order_by("order")[:2]
    clock.move_to(first.starts_at or WEDNESDAY)
    start_step(by=desk, step=first)
    clock.shift(timedelta(minutes=5))
    finish_step(by=desk, step=first)
    start_step(by=desk, step=step)
    assert {note for note, *_ in moves_of(visit)} == {DRIVES_OUT}


def test_a_vehicle_that_waits_where_it_was_calibrated_needs_no_way_in_for_its_last_scan(
    desk: Actor, clock: time_machine.Traveller
) -> None:
    keep_ways(desk.shop_id)
    visit = book(desk)
    first, step, last = visit.steps.order_by("order")
    for one in (first, step):
        clock.move_to(one.starts_at or WEDNESDAY)
        start_step(by=desk, step=one)
        clock.move_to(Step.objects.get(pk=one.pk).ends_at or WEDNESDAY)
        if one is first:
            finish_step(by=desk, step=one)
    clock.shift(timedelta(minutes=-10))
    finish_step(by=desk, step=step)
    last.refresh_from_db()
    assert last.placement_key == step.placement_key
    shop_plan = load_shop_plan(visit.shop, timezone.now())
    (vehicle,) = shop_plan.problem.vehicles
    assert vehicle.stands == step.placement_key
    assert repair_plan(by=desk, why="a look").unchanged
    start_step(by=desk, step=last)
    assert {note for note, *_ in moves_of(visit)} == {DRIVES_OUT}
    clock.shift(timedelta(minutes=5))
    finish_step(by=desk, step=last)
    now = timezone.now()
    assert {(start, end) for _, _, start, end in moves_of(visit)} == {(now, now + TEN_MINUTES)}
