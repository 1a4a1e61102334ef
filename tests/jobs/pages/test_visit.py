"""The visit page: what it shows, which acts it offers to whom, and how it says no."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from jobs.models import Override, Scan, ScanCode, Step, Visit
from shopcal.accounts.models import Shop
from shopcal.history.models import Event
from tests.conftest import Person
from tests.jobs.pages import cast
from tests.jobs.pages.conftest import Clock

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(furnished: Shop, service_writer: Person) -> Visit:
    return cast.book(service_writer.actor, customer_phone="555 0101", customer_email="ida@m.test")


def text_of(client: Client, visit: Visit, status: int = 200) -> str:
    answer = client.get(f"/visits/{visit.pk}/")
    assert answer.status_code == status
    return answer.content.decode()


def act(client: Client, visit: Visit, name: str, **said: str) -> tuple[int, str]:
    answer = client.post(f"/visits/{visit.pk}/{name}/", said, follow=True)
    return answer.status_code, answer.content.decode()


def state_of(visit: Visit) -> str:
    return Visit.objects.get(pk=visit.pk).state


def test_stranger_is_sent_to_sign_in(client: Client, visit: Visit) -> None:
    assert client.get(f"/visits/{visit.pk}/").status_code == 302


def test_other_shops_visit_is_not_there(
    visit: Visit, other_manager: Person, client_for: Callable[[Person], Client]
) -> None:
    stranger = client_for(other_manager)
    for method, part in (
        ("get", ""),
        ("get", "panel/"),
        ("post", "check_in/"),
        ("post", "details/"),
        ("post", "confirm/"),
        ("post", "override/"),
        ("post", f"steps/{visit.steps.order_by('order')[0].pk}/pin/"),
    ):
        answer = getattr(stranger, method)(f"/visits/{visit.pk}/{part}")
        assert answer.status_code == 404, part
    assert state_of(visit) == "booked"


def test_page_shows_promise_plan_calibrations_customer_and_history(
    office: Client, visit: Visit
) -> None:
    page = text_of(office, visit)
    assert f"RO {visit.ro_number} · Heron Sedan" in page
    assert "promised" in page
    for step in visit.steps.select_related("technician"):
        assert step.label in page
        assert step.technician is not None
        assert step.technician.name in page
    assert "The camera looks through the windscreen" in page
    assert "555 0101" in page
    assert visit.vehicle.vin in page
    assert "Visit booked" in page
    assert "to spare" in page


def test_acts_are_those_of_the_state_and_the_role(
    office: Client, fitter: Client, visit: Visit
) -> None:
    page = text_of(office, visit)
    assert "Check in</button>" in page
    assert "Cancel the visit</button>" in page
    assert "Release</button>" not in page
    page = text_of(fitter, visit)
    assert "Check in</button>" in page
    assert "Cancel the visit" not in page
    assert "Change details" not in page


def test_check_in_moves_the_visit_and_is_told(office: Client, visit: Visit) -> None:
    status, page = act(office, visit, "check_in")
    assert status == 200
    assert state_of(visit) == "checked_in"
    assert "Check in: done." in page
    assert "checked in" in page


def test_vin_in_doubt_is_asked_for_from_the_plate(office: Client, visit: Visit) -> None:
    Visit.objects.filter(pk=visit.pk).update(vin_confirmed=False)
    assert "not yet compared with the plate" in text_of(office, visit)
    status, page = act(office, visit, "check_in")
    assert status == 422
    assert "Read it from the plate and type it." in page
    status, page = act(
        office, visit, "check_in", **{"check_in-vin_from_plate": cast.vin(serial=99)}
    )
    assert status == 422
    assert "is not the VIN that was booked" in page
    assert state_of(visit) == "booked"
    act(office, visit, "check_in", **{"check_in-vin_from_plate": visit.vehicle.vin})
    assert state_of(visit) == "checked_in"


def test_hold_needs_a_reason_and_resume_goes_on(office: Client, visit: Visit) -> None:
    Visit.objects.filter(pk=visit.pk).update(state="in_work")
    status, page = act(office, visit, "hold", **{"hold-reason": ""})
    assert status == 422
    assert "Write the reason." in page
    act(office, visit, "hold", **{"hold-reason": "waits for a bracket"})
    assert state_of(visit) == "on_hold"
    assert "waits for a bracket" in text_of(office, visit)
    act(office, visit, "resume")
    assert state_of(visit) == "in_work"


def test_cancel_gives_the_reason_and_frees_the_plan(office: Client, visit: Visit) -> None:
    status, page = act(office, visit, "cancel", **{"cancel-reason": "customer went elsewhere"})
    assert status == 200
    assert state_of(visit) == "cancelled"
    assert "customer went elsewhere" in page
    assert not visit.steps.filter(state=Step.State.PLANNED).exists()


def test_technician_may_not_cancel(fitter: Client, visit: Visit) -> None:
    status, page = act(fitter, visit, "cancel", **{"cancel-reason": "no"})
    assert status == 403
    assert "may not cancel a visit" in page
    assert state_of(visit) == "booked"


def test_refused_move_lists_every_guard_and_what_puts_it_right(boss: Client, visit: Visit) -> None:
    Visit.objects.filter(pk=visit.pk).update(state="in_work")
    status, page = act(boss, visit, "sign_off")
    assert status == 409
    assert "Sign off as ready: not possible yet" in page
    assert "Calibrations not verified" in page
    assert "finish and verify it" in page
    assert "There is no post-scan" in page
    assert "Set this aside, with the reason" in page


def test_only_a_manager_sets_a_guard_aside(boss: Client, fitter: Client, visit: Visit) -> None:
    Visit.objects.filter(pk=visit.pk).update(state="in_work")
    said = {"guard": "post_scan", "reason": "scan tool at the maker's; scanned by the dealer"}
    assert fitter.post(f"/visits/{visit.pk}/override/", said).status_code == 403
    page = boss.post(f"/visits/{visit.pk}/override/", said, follow=True).content.decode()
    assert Override.objects.get(visit=visit).reason == said["reason"]
    assert "Set aside by a manager" in page


def test_guard_nobody_may_set_aside_is_refused_in_words(boss: Client, visit: Visit) -> None:
    Visit.objects.filter(pk=visit.pk).update(state="in_work")
    said = {"guard": "calibrations_verified", "reason": "in a hurry"}
    answer = boss.post(f"/visits/{visit.pk}/override/", said)
    assert answer.status_code == 409
    assert "Nobody may set this aside." in answer.content.decode()


def test_systems_in_doubt_are_asked_and_answered(office: Client, visit: Visit) -> None:
    Visit.objects.filter(pk=visit.pk).update(systems_to_confirm=["surround_view"])
    assert "Does it have surround view?" in text_of(office, visit)
    office.post(f"/visits/{visit.pk}/confirm/", {"system_surround_view": "yes"})
    found = Visit.objects.select_related("vehicle").get(pk=visit.pk)
    assert found.systems_to_confirm == []
    assert "surround_view" in found.vehicle.systems


def test_details_are_changed_and_only_what_differs_is_told(office: Client, visit: Visit) -> None:
    said = {
        "version": str(visit.version),
        "customer_name": "Ida Marsh",
        "customer_phone": "555 0199",
        "customer_email": "ida@m.test",
        "notes": "",
    }
    office.post(f"/visits/{visit.pk}/details/", said)
    assert Visit.objects.get(pk=visit.pk).customer_phone == "555 0199"
    event = Event.objects.filter(kind="visit.changed").get()
    assert event.before == {"customer_phone": "555 0101"}


def test_details_changed_by_somebody_else_are_shown_and_nothing_is_lost(
    office: Client, visit: Visit
) -> None:
    said = {"version": str(visit.version), "customer_name": "Ida Marsh", "notes": "first"}
    assert office.post(f"/visits/{visit.pk}/details/", said).status_code == 302
    said["notes"] = "second, typed for a while"
    answer = office.post(f"/visits/{visit.pk}/details/", said)
    page = answer.content.decode()
    assert answer.status_code == 412
    assert "What changed meanwhile" in page
    assert "second, typed for a while" in page
    assert Visit.objects.get(pk=visit.pk).notes == "first"
    # The form carries the new version now: sending it again is a decision, not an accident.
    assert f'name="version" value="{Visit.objects.get(pk=visit.pk).version}"' in page


def test_faulty_details_stand_beside_their_fields(office: Client, visit: Visit) -> None:
    said = {"version": str(visit.version), "customer_name": "", "customer_email": "ida at m"}
    answer = office.post(f"/visits/{visit.pk}/details/", said)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'id="id_customer_name_error"' in page
    assert 'id="id_customer_email_error"' in page


def test_step_is_pinned_and_let_go(office: Client, visit: Visit) -> None:
    step = visit.steps.order_by("order")[1]
    url = f"/visits/{visit.pk}/steps/{step.pk}/pin/"
    office.post(url, {"pinned": "yes"})
    assert Step.objects.get(pk=step.pk).pinned
    assert "Let it move" in text_of(office, visit)
    office.post(url, {"pinned": "no"})
    assert not Step.objects.get(pk=step.pk).pinned


def test_scans_are_compared(office: Client, visit: Visit) -> None:
    for kind, codes in (("pre", ["C1A2B", "U0131"]), ("post", ["U0131", "B1008"])):
        scan = Scan.objects.create(
            shop=visit.shop,
            visit=visit,
            kind=kind,
            taken_at=timezone.now() + timedelta(minutes=kind == "post"),
            taken_by="R. Osei",
        )
        for code in codes:
            ScanCode.objects.create(shop=visit.shop, scan=scan, code=code, module="ADAS")
    page = text_of(office, visit)
    new = page.index("New since the pre-scan: 1")
    still = page.index("Still there: 1")
    cleared = page.index("Cleared: 1")
    assert new < page.index("B1008") < still < page.index("U0131") < cleared < page.index("C1A2B")


def test_visit_costs_the_same_queries_with_a_long_history(
    office: Client, visit: Visit, service_writer: Person
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            text_of(office, visit)
        return len(caught)

    text_of(office, visit)
    before = queries()
    step = visit.steps.order_by("order")[1]
    for turn in range(6):
        office.post(f"/visits/{visit.pk}/steps/{step.pk}/pin/", {"pinned": "yn"[turn % 2] + "es"})
    text_of(office, visit)
    assert queries() <= before
    assert before <= 40


def test_late_visit_says_by_how_much(office: Client, visit: Visit, clock: Clock) -> None:
    # Sessions end before the promise of a far day does; ask the same day.
    Visit.objects.filter(pk=visit.pk).update(promised_at=timezone.now() - timedelta(minutes=5))
    assert " late" in text_of(office, visit)


def test_a_step_waits_for_a_part_until_it_is_there(
    office: Client, fitter: Client, visit: Visit
) -> None:
    step = visit.steps.order_by("order").last()
    assert step is not None
    url, name = f"/visits/{visit.pk}/steps/{step.pk}/wait/", f"wait-{step.pk}"
    assert fitter.post(url, {"there": "yes"}).status_code == 403
    answer = office.post(url, {f"{name}-waits_for": "", f"{name}-expected_at": "soon"})
    assert answer.status_code == 422
    assert "Write the part or the approval" in answer.content.decode()
    wall = (timezone.now() + timedelta(hours=30)).astimezone(visit.shop.zone)
    said = {f"{name}-waits_for": "mirror glass", f"{name}-expected_at": f"{wall:%Y-%m-%dT%H:%M}"}
    assert office.post(url, said).status_code == 302
    assert "waits for mirror glass, expected" in text_of(office, visit)
    assert office.post(url, {"there": "yes"}).status_code == 302
    assert "waits for mirror glass" not in text_of(office, visit).split("History")[0]
