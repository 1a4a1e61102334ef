"""Figures read from a shop's rows, and why vehicles are late."""

from __future__ import annotations

from datetime import date, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from bays.models import FloorPlanEdition, Hold, OpeningHours, Resource, ShiftPattern
from jobs.models import Step
from reports.selectors.figures import Period, this_and_last_week, use_of_shop, work_of
from reports.selectors.late import late_visits
from shopcal.accounts.models import Shop
from tests.reports.conftest import MORNING, MakeVisit, technician_in

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 25)
NOW = MORNING + timedelta(hours=6)


def today(shop: Shop) -> Period:
    return Period(TODAY, TODAY, shop.zone)


def test_a_period_counts_what_was_done_in_it(shop: Shop, make_visit: MakeVisit) -> None:
    make_visit(shop, state="released", released_at=MORNING + timedelta(hours=4))
    work = work_of(shop.pk, today(shop), NOW)
    assert work.released_count == 1
    assert work.promises.says == "1 of 1 (100 %)"
    assert work.first_time.says == "0 of 1 (0 %)"
    assert [(c.cause, c.count, c.minutes) for c in work.causes] == [
        ("light behind the target", 1, 40)
    ]
    before = Period(TODAY - timedelta(days=1), TODAY - timedelta(days=1), shop.zone)
    assert work_of(shop.pk, before, NOW).is_empty


def test_another_shops_work_is_not_counted(
    shop: Shop, other_shop: Shop, make_visit: MakeVisit
) -> None:
    make_visit(other_shop, state="released", released_at=MORNING)
    assert work_of(shop.pk, today(shop), NOW).is_empty


def test_a_vehicle_back_for_the_same_system_is_not_right_first_time(
    shop: Shop, make_visit: MakeVisit
) -> None:
    for ro, days_ago in (("3107", 10), ("3150", 0)):
        visit = make_visit(shop, ro)
        calibration = visit.calibrations.get()
        calibration.attempts.filter(number=1).delete()
        ended_at = MORNING - timedelta(days=days_ago)
        calibration.attempts.update(ended_at=ended_at)
    assert work_of(shop.pk, today(shop), NOW).first_time.says == "0 of 1 (0 %)"
    earlier = Period(TODAY - timedelta(days=20), TODAY - timedelta(days=5), shop.zone)
    assert work_of(shop.pk, earlier, NOW).first_time.says == "1 of 1 (100 %)"


def test_last_week_ends_at_the_same_weekday_and_time(shop: Shop) -> None:
    this, last = this_and_last_week(shop.zone, NOW)
    assert (this.first_on, this.last_on) == (date(2026, 11, 23), TODAY)
    assert last.first_on == date(2026, 11, 16)
    assert last.ends_at == NOW - timedelta(days=7)


def test_bays_and_people_are_used_inside_their_hours(shop: Shop) -> None:
    square = [[0, 0], [8000, 0], [8000, 8000], [0, 8000]]
    FloorPlanEdition.objects.create(
        shop=shop,
        number=1,
        name="Hall",
        digest="use-test",
        published_at=MORNING,
        published_by="Maud Ellery",
        content={
            "name": "Hall",
            "outline": square,
            "obstacles": [],
            "doors": [],
            "zones": [{"id": "bay-1", "name": "Bay 1", "kind": "bay", "polygon": square}],
            "bays": [
                {
                    "id": "bay-1",
                    "name": "Bay 1",
                    "zones": ["bay-1"],
                    "centre": [4000, 4000],
                    "heading_deg": 0,
                }
            ],
        },
    )
    OpeningHours.objects.create(shop=shop, weekday=2, opens=time(8), closes=time(16))
    person = technician_in(shop)
    ShiftPattern.objects.create(
        shop=shop,
        technician=person,
        weekday=2,
        starts=time(8),
        ends=time(12),
        lunch_starts=time(10),
        lunch_ends=time(11),
    )
    zone = Resource.objects.create(shop=shop, kind="zone", code="bay-1", name="Bay 1")
    for resource in (zone, person.resource):
        Hold.objects.create(
            shop=shop,
            resource=resource,
            starts_at=MORNING,
            ends_at=MORNING + timedelta(hours=2),
        )
    # The next vehicle stays over night, which is no use of the bay beyond its hours.
    Hold.objects.create(
        shop=shop,
        resource=zone,
        starts_at=MORNING + timedelta(hours=7),
        ends_at=MORNING + timedelta(hours=20),
    )
    use = use_of_shop(shop, today(shop))
    assert [u.says for u in use.bays] == ["2 h 30 min of 8 h (31 %)"]
    # 08:30 to 10:30 less the lunch from 10 to 11.
    assert [u.says for u in use.technicians] == ["1 h 30 min of 3 h (50 %), 30 min outside"]


def test_late_visits_say_since_when_and_why(shop: Shop, make_visit: MakeVisit) -> None:
    late = make_visit(shop, state="on_hold", hold_reason="waiting for a bracket", ready_at=None)
    make_visit(shop, "3108", state="ready", done=False)
    fine = make_visit(
        shop, "3109", state="in_work", done=False, promised_at=NOW + timedelta(days=1)
    )
    Step.objects.create(
        shop=shop, visit=fine, order=1, kind="post_scan", label="Post-scan", minutes=15
    )
    (row,) = late_visits(shop.pk, shop.zone, NOW)
    assert row.visit == late
    assert row.says == "promised for 12:30, 2 h ago"
    assert row.why[0] == "on hold: waiting for a bracket"
    assert row.why[1].endswith("1 attempt did not pass, last for light behind the target")


def test_a_plan_that_ends_after_the_promise_is_told_before_it_is_late(
    shop: Shop, make_visit: MakeVisit
) -> None:
    visit = make_visit(
        shop, state="in_work", done=False, ready_at=None, promised_at=NOW + timedelta(hours=1)
    )
    Step.objects.create(
        shop=shop,
        visit=visit,
        order=1,
        kind="post_scan",
        label="Post-scan",
        minutes=15,
        starts_at=NOW + timedelta(minutes=50),
        ends_at=NOW + timedelta(minutes=85),
    )
    (row,) = late_visits(shop.pk, shop.zone, NOW)
    assert not row.is_late
    assert row.says == "promised for 15:30, planned to be 25 min late"
    assert row.why == ("the work still to do is planned until 15:55",)


def test_late_visits_take_the_same_queries_for_one_as_for_many(
    shop: Shop, make_visit: MakeVisit
) -> None:
    make_visit(shop, state="in_work")
    with CaptureQueriesContext(connection) as one:
        late_visits(shop.pk, shop.zone, NOW)
    for ro in ("3108", "3109", "3110"):
        make_visit(shop, ro, state="in_work")
    with CaptureQueriesContext(connection) as many:
        assert len(late_visits(shop.pk, shop.zone, NOW)) == 4
    assert len(many) == len(one)
