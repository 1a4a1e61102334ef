"""What would help, on the visit's page and beside the reasons of the day board."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import timezone

from jobs.models import Study, Visit
from jobs.selectors.studies import plan_mark
from shopcal.accounts.models import Shop
from tests.conftest import Person
from tests.jobs.pages import cast

pytestmark = pytest.mark.django_db

ANSWER = {
    "in_force": {}, "again": {}, "noise_minutes": 5, "runs": 3,
    "helps": [
        {"kind": "unit", "what": "one more mat set", "says": "one more mat set: 3101 done 14:05",
         "fewer_minutes_late": 190, "fewer_others_late": 2, "minutes_sooner": 45, "after": {}},
        {"kind": "order", "what": "it first", "says": "it first: 3101 done 14:00",
         "fewer_minutes_late": -30, "fewer_others_late": -1, "minutes_sooner": 50, "after": {}},
    ],
    "helps_not": ["one more frame"],
}  # fmt: skip


@pytest.fixture
def visit(furnished: Shop, service_writer: Person) -> Visit:
    return cast.book(service_writer.actor)


def answered(visit: Visit, mark: str | None = None) -> Study:
    return Study.objects.create(
        shop_id=visit.shop_id, kind="help", visit=visit, asks="What would help?", state="done",
        plan_mark=plan_mark(visit.shop_id) if mark is None else mark, says="Most of all: mats.",
        answer=ANSWER, asked_by="Sela", asked_at=timezone.now(), ended_at=timezone.now(),
    )  # fmt: skip


def part(client: Client, visit: Visit) -> str:
    answer = client.get(f"/visits/{visit.pk}/help/")
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_visit_page_fetches_it_for_the_office_only(
    office: Client, fitter: Client, visit: Visit
) -> None:
    address = f"/visits/{visit.pk}/help/"
    assert address in office.get(f"/visits/{visit.pk}/").content.decode()
    assert address not in fitter.get(f"/visits/{visit.pk}/").content.decode()
    assert fitter.get(address).status_code == 403
    assert fitter.post(f"{address}ask/").status_code == 403


def test_asking_shows_that_it_is_being_worked_out(office: Client, visit: Visit) -> None:
    assert "What would help?" in part(office, visit)
    shown = office.post(f"/visits/{visit.pk}/help/ask/", headers={"HX-Request": "true"})
    assert "<progress" in shown.content.decode()
    assert 'hx-trigger="every 2s"' in part(office, visit)
    study = Study.objects.get()
    Study.objects.update(state="working", done=3, of=12)
    assert "3 of 12" in part(office, visit)
    office.post(f"/visits/{visit.pk}/help/{study.pk}/stop/")
    assert "<progress" not in part(office, visit)


def test_an_answer_is_ranked_and_says_what_it_costs_others(office: Client, visit: Visit) -> None:
    answered(visit)
    shown = part(office, visit)
    assert "Most of all: mats." in shown
    assert shown.index("One more mat set") < shown.index("It first")
    assert shown.count("at the cost of others") == 1
    assert "One more frame" in shown
    assert "Out of date" not in shown
    assert "Ask again" not in shown


def test_an_answer_about_another_plan_says_so_and_can_be_asked_again(
    office: Client, visit: Visit
) -> None:
    answered(visit, mark="another plan")
    shown = part(office, visit)
    assert "Out of date" in shown
    assert "Ask again" in shown


def test_a_visit_with_nothing_planned_is_refused_in_words(office: Client, visit: Visit) -> None:
    visit.steps.update(state="done")
    shown = office.post(f"/visits/{visit.pk}/help/ask/")
    assert shown.status_code == 409
    assert "no step left in the plan" in shown.content.decode()


def test_another_shops_visit_is_not_there(
    visit: Visit, other_manager: Person, client_for: Callable[[Person], Client]
) -> None:
    stranger = client_for(other_manager)
    assert stranger.get(f"/visits/{visit.pk}/help/").status_code == 404
    assert stranger.post(f"/visits/{visit.pk}/help/ask/").status_code == 404
