"""Who sees the technician's pages, who acts on them, and who sets a guard aside."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from bays.models import Technician, UnitUse, UpkeepDone
from jobs.models import Override, Reading
from jobs.pages.work.acts import HANDLERS
from jobs.services import visits
from tests.conftest import Person
from tests.jobs.pages.work.at_vehicle import Job, Page, page_for

pytestmark = pytest.mark.django_db
EVERY_ACT = sorted({*HANDLERS, "reading"})


@pytest.mark.parametrize("path", ["/work/", "/work/{visit}/"])
def test_a_stranger_is_sent_to_sign_in(client: Client, job: Job, path: str) -> None:
    answer = client.get(path.format(visit=job.visit_id))
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in")


@pytest.mark.parametrize("act", EVERY_ACT)
def test_a_strangers_act_does_nothing(client: Client, job: Job, act: str) -> None:
    assert client.post(f"/work/{job.visit_id}/{act}/").status_code == 302
    assert job.visit.state == "booked"


@pytest.mark.parametrize("act", ["", *EVERY_ACT])
def test_another_shops_visit_is_not_there(
    job: Job, other_manager: Person, client_for: Callable[[Person], Client], act: str
) -> None:
    stranger = client_for(other_manager)
    path = f"/work/{job.visit_id}/{act}/" if act else f"/work/{job.visit_id}/"
    answer = stranger.post(path) if act else stranger.get(path)
    assert answer.status_code == 404
    assert job.visit.state == "booked"


@pytest.mark.parametrize("act", EVERY_ACT)
def test_an_act_is_not_done_by_following_a_link(osei: Page, job: Job, act: str) -> None:
    assert osei.client.get(f"/work/{job.visit_id}/{act}/").status_code == 405


def test_an_act_nobody_knows_is_not_there(osei: Page) -> None:
    assert osei.act("polish", htmx=True).status == 404


def test_a_calibration_of_another_visit_is_not_there(osei: Page) -> None:
    assert osei.act("begin", htmx=True, calibration="999999").status == 404
    assert osei.act("begin", htmx=True, calibration="x").status == 404


@pytest.mark.parametrize(
    ("until", "act", "said"),
    [
        ("pre_scan", "begin", {}),
        ("prepared", "answer", {"phase": "precondition", "question": "battery", "typed": "12.4"}),
        ("prepared", "units", {}),
        ("until_set_out", "readings", {"reading-left_gap_front-1": "17"}),
        ("until_ready_to_run", "start-run", {"confirmed": ["cautions_heeded", "area_clear"]}),
        ("until_running", "outcome", {"outcome": "passed"}),
        ("until_passed", "verify", {}),
        ("until_verified", "sign-off", {}),
    ],
)
def test_a_service_writer_looks_on_but_does_not_act(
    job: Job, until: str, act: str, said: dict[str, object]
) -> None:
    if until in ("pre_scan", "prepared"):
        job.check_in()
        job.pre_scan()
        if until == "prepared":
            job.prepare()
    else:
        getattr(job, until)()
    desk = page_for(job, job.writer)
    version = job.calibration.version
    assert desk.look().status == 200
    if act != "sign-off":
        assert "You are looking on" in desk.text
    assert desk.act(act, htmx=True, **said).status in (403, 422)
    assert job.calibration.version == version
    assert job.visit.state == "in_work"


def test_a_service_writers_reading_is_not_taken(job: Job) -> None:
    job.until_set_out()
    desk = page_for(job, job.writer)
    said = {"reading-left_gap_front-1": "17"}
    assert desk.act("reading", htmx=True, **said).status == 403
    rows = Reading.objects.filter(attempt__calibration_id=job.calibration_id)
    assert not rows.filter(name="left_gap_front").exists()


def overdue_mats(job: Job) -> None:
    """The mats' inspection was due long ago."""
    unit = job.unit("mats-a")
    UpkeepDone.objects.filter(unit=unit).delete()
    UnitUse.objects.filter(unit=unit).delete()
    unit.commissioned_on = unit.commissioned_on.replace(year=2020)
    unit.save()


def until_overdue(job: Job) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    job.answer_all()
    overdue_mats(job)
    job.use_all()


def test_overdue_equipment_is_marked_and_keeps_the_set_out_from_going_on(
    job: Job, osei: Page
) -> None:
    until_overdue(job)
    osei.look()
    assert osei.title == "What you use"
    assert "◆ Mat set A, overdue" in osei.text
    assert "Equipment with upkeep overdue" in osei.text
    assert "A manager may set this aside, with a reason." in osei.text
    assert osei.act("set-out", htmx=True).status == 409


def test_a_manager_sets_a_guard_aside_with_a_reason(job: Job) -> None:
    until_overdue(job)
    boss = page_for(job, job.manager)
    boss.look()
    assert 'id="override-equipment_overdue"' in boss.text
    boss.act("override", guard="equipment_overdue", reason="Inspected this morning, entry follows")
    assert boss.title == "Measure first"
    assert "Inspected this morning" in boss.text
    assert Override.objects.get(visit_id=job.visit_id).guard == "equipment_overdue"


def test_an_override_needs_a_reason(job: Job) -> None:
    until_overdue(job)
    boss = page_for(job, job.manager)
    assert boss.act("override", htmx=True, guard="equipment_overdue", reason=" ").status == 422
    assert not Override.objects.filter(visit_id=job.visit_id).exists()


def test_what_can_hurt_is_set_aside_by_nobody(job: Job) -> None:
    job.until_set_out()
    boss = page_for(job, job.manager)
    boss.act("override", htmx=True, guard="area_clear", reason="in a hurry")
    assert boss.status == 409
    assert "Nobody may set this aside." in boss.text


@pytest.mark.parametrize("who", ["technician", "writer"])
def test_only_a_manager_sets_a_guard_aside(job: Job, who: str) -> None:
    until_overdue(job)
    page = page_for(job, getattr(job, who))
    page.look()
    assert 'id="override-' not in page.text
    assert page.act("override", htmx=True, guard="equipment_overdue", reason="now").status == 403
    assert not Override.objects.filter(visit_id=job.visit_id).exists()


def test_my_work_leads_with_the_vehicle_to_go_to_and_what_to_fetch(job: Job, osei: Page) -> None:
    visit = job.visit
    visit.steps.update(
        technician=Technician.objects.get(membership_id=job.technician.membership_id)
    )
    text = osei.client.get("/work/").content.decode()
    assert f"Next: {visit.vehicle.label}" in text
    assert visit.ro_number in text
    assert ">Check in</button>" in text
    job.check_in()
    job.pre_scan()
    text = osei.client.get("/work/", headers={"HX-Request": "true"}).content.decode()
    assert "Surround view, floor mats" in text
    assert visit.steps.get(kind="calibration").placement_label in text
    assert "Mat set A" in text
    assert "any tape measure" in text
    assert ">Go on</a>" in text


def test_a_vehicle_of_somebody_else_is_not_my_work(job: Job, osei: Page) -> None:
    others = Technician.objects.exclude(membership_id=job.technician.membership_id)
    job.visit.steps.update(technician=others.first(), second_person=None)
    text = osei.client.get("/work/").content.decode()
    assert "No vehicle waits for you" in text


def test_check_in_from_my_work_goes_on_at_the_vehicle(job: Job, osei: Page) -> None:
    answer = osei.client.post(f"/work/{job.visit_id}/check-in/", follow=True)
    assert answer.redirect_chain == [(f"/work/{job.visit_id}/", 302)]
    assert job.visit.state == "checked_in"


def test_a_technician_without_work_is_told_so(
    job: Job, join_shop: Callable[..., Person], client_for: Callable[[Person], Client]
) -> None:
    from shopcal.accounts.actor import Role

    nobody = join_shop(job.visit.shop, Role.TECHNICIAN, "New Hand")
    text = client_for(nobody).get("/work/").content.decode()
    assert "You are not among the technicians yet" in text
    assert job.visit.vehicle.label not in text


@pytest.mark.parametrize("who", ["manager", "writer"])
def test_the_manager_and_the_desk_see_everybodys_work(job: Job, who: str) -> None:
    text = page_for(job, getattr(job, who)).client.get("/work/").content.decode()
    assert f"First: {job.visit.vehicle.label}" in text
    technician = job.visit.steps.order_by("order").first().technician
    assert technician.name in text


def test_a_visit_called_off_asks_for_nothing(job: Job, osei: Page) -> None:
    visits.cancel(by=job.writer, visit=job.visit, reason="Customer rang off")
    osei.look()
    assert osei.title.endswith("is cancelled")
    assert "Nothing is left to do." in osei.text
