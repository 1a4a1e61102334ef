"""The day board: what it says first, whom it lets do what, and what it costs."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from jobs.models import Step, Visit
from jobs.selectors.day import Standing, day_of, standing_of
from shopcal.accounts.models import Shop
from tests.conftest import Person
from tests.jobs.pages import cast
from tests.jobs.pages.conftest import Clock

pytestmark = pytest.mark.django_db


def text_of(client: Client, url: str = "/") -> str:
    answer = client.get(url)
    assert answer.status_code == 200
    return answer.content.decode()


def test_stranger_is_sent_to_sign_in(client: Client, db: None) -> None:
    answer = client.get("/")
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in")


def test_empty_day_says_what_to_do_first(office: Client) -> None:
    page = text_of(office)
    assert "No visits this day" in page
    assert 'href="/book/"' in page


def test_shop_without_a_floor_plan_is_told_to_publish_one(
    clock: Clock, service_writer: Person, client_for: Callable[[Person], Client]
) -> None:
    assert "no floor plan yet" in text_of(client_for(service_writer))


def test_visit_of_the_day_stands_on_the_board_and_in_the_list(
    office: Client, service_writer: Person
) -> None:
    visit = cast.book(service_writer.actor)
    page = text_of(office)
    assert f'href="/visits/{visit.pk}/"' in page
    assert "RO</th>" in page
    assert "Heron Sedan" in page
    assert "on promise" in page
    assert "none late" in page  # the drawing's own summary


def test_technician_sees_the_day_but_may_not_replan(fitter: Client) -> None:
    page = text_of(fitter)
    assert "Plan again" not in page
    assert "Book a vehicle" not in page
    assert "A unit is out of service" in page
    refused = fitter.post("/day/plan-again/")
    assert refused.status_code == 403
    assert "may not plan the day again" in refused.content.decode()


def test_visit_past_its_promise_is_late_with_its_minutes(
    office: Client, service_writer: Person, clock: Clock
) -> None:
    visit = cast.book(service_writer.actor)
    clock.move_to(visit.promised_at + timedelta(minutes=25))
    page = text_of(office, f"/?on={visit.promised_at:%Y-%m-%d}")
    assert f"late: {visit.ro_number} by 25 min" in page
    assert "25 min late" in page
    assert "Looking why" in page


def test_late_visit_is_explained_by_the_plan(
    office: Client, service_writer: Person, clock: Clock
) -> None:
    visit = cast.book(service_writer.actor)
    Visit.objects.filter(pk=visit.pk).update(promised_at=timezone.now() + timedelta(minutes=30))
    says = text_of(office, "/day/reasons/")
    assert visit.ro_number in says
    assert "minutes late" in says


def test_fresh_promise_is_never_at_risk(service_writer: Person, furnished: Shop) -> None:
    for serial in range(4):
        visit = cast.book(service_writer.actor, serial=serial)
        assert standing_of(visit, timezone.now()).standing == Standing.ON_PROMISE


def test_visit_with_little_room_left_is_at_risk(service_writer: Person, furnished: Shop) -> None:
    visit = cast.book(service_writer.actor)
    last = visit.steps.order_by("order").last()
    assert last is not None
    assert last.ends_at is not None
    visit.promised_at = last.ends_at + timedelta(minutes=9)
    assert standing_of(visit, timezone.now()).standing == Standing.AT_RISK
    visit.promised_at = last.ends_at - timedelta(minutes=7)
    late = standing_of(visit, timezone.now())
    assert (late.standing, late.late_minutes) == (Standing.LATE, 7)


def test_step_that_runs_over_makes_the_visit_late_before_its_end_is_moved(
    service_writer: Person, furnished: Shop
) -> None:
    visit = cast.book(service_writer.actor)
    visit.steps.update(state=Step.State.DONE, ended_at=timezone.now())
    visit.steps.filter(kind=Step.Kind.POST_SCAN).update(state=Step.State.DOING, ended_at=None)
    visit = Visit.objects.get(pk=visit.pk)
    over = standing_of(visit, visit.promised_at + timedelta(minutes=12))
    assert (over.standing, over.late_minutes) == (Standing.LATE, 12)


def test_visit_without_a_time_is_told_apart_from_one_on_promise(
    service_writer: Person, furnished: Shop
) -> None:
    visit = cast.book(service_writer.actor)
    visit.steps.filter(order=1).update(starts_at=None, ends_at=None)
    visit = Visit.objects.get(pk=visit.pk)
    assert standing_of(visit, timezone.now()).standing == Standing.NOT_PLANNED


def test_cancelled_visit_is_not_on_the_board(office: Client, service_writer: Person) -> None:
    visit = cast.book(service_writer.actor)
    Visit.objects.filter(pk=visit.pk).update(state="cancelled")
    assert f"/visits/{visit.pk}/" not in text_of(office)


def test_other_shops_visits_are_not_on_the_board(
    service_writer: Person,
    furnished: Shop,
    other_manager: Person,
    client_for: Callable[[Person], Client],
) -> None:
    cast.book(service_writer.actor)
    assert "Heron" not in text_of(client_for(other_manager))


def test_days_are_linked_and_nonsense_shows_today(office: Client) -> None:
    page = text_of(office, "/?on=2026-03-05")
    assert "?on=2026-03-04" in page
    assert "?on=2026-03-06" in page
    assert "Tuesday, 3 March" in text_of(office, "/?on=someday")


def test_day_costs_the_same_queries_for_one_visit_and_for_many(
    office: Client, service_writer: Person
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            text_of(office)
        return len(caught)

    cast.book(service_writer.actor)
    text_of(office)
    one = queries()
    for serial in range(2, 9):
        cast.book(service_writer.actor, serial=serial, make=("heron", "tern")[serial % 2])
    assert queries() <= one
    assert one <= 30


def test_day_holds_its_shop_and_lunches(service_writer: Person, furnished: Shop) -> None:
    day = day_of(furnished.pk, furnished.zone, timezone.now().date(), timezone.now())
    osei = next(p for p in day.people if p.technician.code == "osei")
    assert len(osei.spans) == 2  # before and after lunch
    page_spans = [(s.starts_at.hour, s.ends_at.hour) for s in osei.spans]
    assert page_spans == [(14, 18), (18, 22)]  # 08:00-12:00 and 12:30-16:30 in Chicago


def test_technician_away_moves_their_work_and_says_so(
    office: Client, service_writer: Person
) -> None:
    visit = cast.book(service_writer.actor)
    step = visit.steps.select_related("technician").get(kind=Step.Kind.CALIBRATION)
    assert step.technician is not None
    form = {
        "technician-out-technician": step.technician_id,
        "technician-out-starts_at": "2026-03-03T08:30",
        "technician-out-ends_at": "2026-03-04T08:00",
        "technician-out-reason": "ill",
    }
    answer = office.post("/day/technician-out/", form)
    assert answer.status_code == 302
    page = text_of(office)
    assert f"{step.technician.name} is away: ill" in page
    moved = Step.objects.get(pk=step.pk)
    assert moved.technician_id != step.technician_id or moved.starts_at != step.starts_at
    assert visit.ro_number in page
    assert "Take it back" in page


def test_disruption_with_faults_keeps_the_form_and_says_them_beside_the_fields(
    office: Client, furnished: Shop
) -> None:
    form = {
        "technician-out-starts_at": "2026-03-03T12:00",
        "technician-out-ends_at": "2026-03-03T11:00",
        "technician-out-reason": "",
    }
    answer = office.post("/day/technician-out/", form)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Choose who is away." in page
    assert "not after its beginning" in page
    assert 'value="2026-03-03T11:00"' in page


def test_plan_again_without_need_moves_nothing_and_says_so(office: Client) -> None:
    answer = office.post("/day/plan-again/", follow=True)
    assert "No step had to move" in answer.content.decode()


def test_form_offers_only_this_shops_people(
    office: Client, other_shop: Shop, furnished: Shop
) -> None:
    cast.furnish(other_shop)
    from bays.models import Technician

    foreign = Technician.objects.for_shop(other_shop.pk).first()
    assert foreign is not None
    form = {
        "technician-out-technician": foreign.pk,
        "technician-out-starts_at": "2026-03-03T12:00",
        "technician-out-ends_at": "2026-03-03T13:00",
        "technician-out-reason": "ill",
    }
    assert office.post("/day/technician-out/", form).status_code == 422
