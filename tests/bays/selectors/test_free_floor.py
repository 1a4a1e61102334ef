"""When floor is free, worked out by hand on one day that is open from 8 to 17."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import pytest
import time_machine
from hypothesis import given, settings
from hypothesis import strategies as st

from bays.floor import ZoneId
from bays.hours import Span
from bays.models import Hold, OpeningHours, Resource
from bays.selectors.free_floor import FreeFloor, free_floor
from shopcal.accounts.models import Shop

B1, B2 = ZoneId("B1"), ZoneId("B2")
MORNING = datetime(2026, 3, 3, tzinfo=UTC)


def at(hour: int, minute: int = 0, day: int = 0) -> datetime:
    return MORNING + timedelta(days=day, hours=hour, minutes=minute)


def span(starts: datetime, ends: datetime) -> Span:
    return Span(starts, ends)


def floor_of(**held: list[Span]) -> FreeFloor:
    return FreeFloor(
        held={ZoneId(zone): spans for zone, spans in held.items()},
        open=[span(at(8), at(17)), span(at(8, day=1), at(17, day=1))],
        until=at(0, day=7),
    )


def test_a_zone_held_now_is_free_when_its_hold_ends() -> None:
    times = floor_of(B1=[span(at(9), at(14, 10))])
    assert times.occupied(at(10), 60) == {B1}
    assert times.free_from({B1}, at(10), 60) == at(14, 10)
    assert times.free_from({B2}, at(10), 60) == at(10)


def test_a_gap_too_short_for_the_work_is_no_gap() -> None:
    times = floor_of(B1=[span(at(9), at(11)), span(at(11, 30), at(15))])
    assert times.free_from({B1}, at(10), 30) == at(11)
    assert times.free_from({B1}, at(10), 45) == at(15)


def test_two_zones_are_free_when_both_are() -> None:
    times = floor_of(B1=[span(at(9), at(11))], B2=[span(at(11), at(12))])
    assert times.free_from({B1, B2}, at(9), 30) == at(12)
    assert times.free_from({B1}, at(9), 30) == at(11)


def test_work_that_would_run_past_closing_waits_for_the_next_day() -> None:
    times = floor_of(B1=[span(at(9), at(16, 30))])
    assert times.free_from({B1}, at(10), 30) == at(16, 30)
    assert times.free_from({B1}, at(10), 31) == at(8, day=1)
    assert times.begins(at(16, 45), 30) == at(8, day=1)


def test_before_opening_the_work_begins_when_the_shop_opens() -> None:
    assert floor_of().begins(at(6), 60) == at(8)
    assert floor_of().begins(at(9, 7), 60) == at(9, 7)


def test_work_longer_than_any_day_begins_when_it_can() -> None:
    assert floor_of().begins(at(9), 24 * 60) == at(9)


def test_a_zone_taken_for_all_the_days_looked_at_has_no_time() -> None:
    times = floor_of(B1=[span(at(0), at(0, day=9))])
    assert times.free_from({B1}, at(10), 30) is None


def test_a_shop_that_never_opens_is_asked_as_of_the_moment_itself() -> None:
    times = FreeFloor({}, [], at(0, day=7))
    assert times.begins(at(10), 30) == at(10)
    assert times.free_from({B1}, at(10), 30) is None


HOLDS = st.lists(st.tuples(st.integers(0, 40), st.integers(1, 8)), max_size=8)


@settings(max_examples=300, deadline=None)
@given(HOLDS, st.integers(1, 24), st.integers(0, 40))
def test_no_quarter_of_an_hour_is_free_sooner(
    holds: list[tuple[int, int]], quarters: int, begin: int
) -> None:
    spans = sorted(
        span(at(8) + timedelta(minutes=15 * a), at(8) + timedelta(minutes=15 * (a + n)))
        for a, n in holds
    )
    times = floor_of(B1=spans)
    asked = at(8) + timedelta(minutes=15 * begin)
    found = times.free_from({B1}, asked, 15 * quarters)
    stay = timedelta(minutes=15 * quarters)
    good = [
        moment
        for quarter in range(200)
        for moment in [asked + timedelta(minutes=15 * quarter)]
        if any(o.starts_at <= moment and moment + stay <= o.ends_at for o in times.open)
        and not any(s.starts_at < moment + stay and s.ends_at > moment for s in spans)
    ]
    assert found == min(good, default=None)


@pytest.mark.django_db
def test_holds_and_hours_of_the_shop_alone_are_read(shop: Shop, other_shop: Shop) -> None:
    now = datetime(2026, 3, 3, 16, 0, tzinfo=UTC)  # 10:00 in Chicago
    for one in (shop, other_shop):
        for weekday in range(7):
            OpeningHours.objects.create(shop=one, weekday=weekday, opens=time(8), closes=time(17))
    mine = Resource.objects.create(shop=shop, kind="zone", code="B1", name="Bay 1")
    person = Resource.objects.create(shop=shop, kind="person", code="osei", name="R. Osei")
    theirs = Resource.objects.create(shop=other_shop, kind="zone", code="B2", name="Bay 2")
    for resource in (mine, person, theirs):
        Hold.objects.create(
            shop=resource.shop,
            resource=resource,
            starts_at=now - timedelta(hours=1),
            ends_at=now + timedelta(hours=4, minutes=10),
        )
    with time_machine.travel(now, tick=False):
        times = free_floor(shop, now)
    assert set(times.held) == {B1}
    assert times.free_from({B1, B2}, now, 60) == now + timedelta(hours=4, minutes=10)
    # 14:10 to 17:00 is too short for three hours; the shop opens at 8 the next day
    assert times.free_from({B1}, now, 180) == datetime(2026, 3, 4, 14, 0, tzinfo=UTC)
