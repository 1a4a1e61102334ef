"""One calibration by a program at the vehicle, from the first attempt to verified."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bays.models import EquipmentUnit
from jobs.models import Calibration
from jobs.selectors.procedures import content_of
from tests.jobs.api.world import World

pytestmark = pytest.mark.django_db

# Inside every limit of the demo's procedure: four metres ahead, square, centred, at its height.
READINGS = [
    ("left_distance", "4000 mm", 1),
    ("right_distance", "400 cm", 1),
    ("left_of_centreline", "600", 1),
    ("right_of_centreline", "600", 1),
    ("target_height", "1350", 1),
    ("target_height", "1350", 2),
]


class AtVehicle:
    """Acts on one calibration with the newest tag, as a program that reads every answer does."""

    def __init__(self, client: Client, calibration: Calibration) -> None:
        self.client, self.calibration = client, calibration
        self.content = content_of(calibration.edition)
        self.read()

    def read(self) -> dict[str, Any]:
        answer = self.client.get(reverse("api:calibration-detail", args=[self.calibration.pk]))
        self.tag, self.now = answer["ETag"], answer.json()
        return self.now

    def act(self, act: str, body: dict[str, Any] | None = None, **headers: str) -> Any:
        answer = self.client.post(
            reverse(f"api:calibration-{act}", args=[self.calibration.pk]),
            body or {},
            content_type="application/json",
            headers={"If-Match": self.tag, **headers},
        )
        if answer.status_code == 200:
            self.tag, self.now = answer["ETag"], answer.json()
        return answer

    def done(self, act: str, body: dict[str, Any] | None = None) -> None:
        answer = self.act(act, body)
        assert answer.status_code == 200, (act, body, answer.content)

    def answer(self, phase: str, name: str, **given: Any) -> None:
        self.done("answer", {"phase": phase, "name": name, **given})

    def set_up(self) -> None:
        """Preconditions answered, units taken, the target measured."""
        for condition in self.content.preconditions:
            given = {"yes": True} if condition.kind == "yes_no" else {"typed": "12.6 V"}
            self.answer("precondition", condition.name, **given)
        for item in self.content.equipment:
            unit = EquipmentUnit.objects.filter(
                shop=self.calibration.shop_id, type__code=item.type, state="in_service"
            )[0]
            self.done("unit", {"unit": unit.pk})
        for name, typed, repeat in READINGS:
            self.done("reading", {"name": name, "typed": typed, "repeat": repeat})

    def confirm(self) -> None:
        for name in ("cautions_heeded", "area_clear"):
            self.answer("before_run", name, yes=True)


@pytest.fixture
def camera(world: World) -> AtVehicle:
    calibration = Calibration.objects.get(
        visit=world.here.in_work, edition__procedure__code="front_camera_static"
    )
    return AtVehicle(world.technician, calibration)


def test_it_is_calibrated_from_the_first_attempt_to_verified(camera: AtVehicle) -> None:
    camera.done("prepare")
    assert camera.now["state"] == "preparing"
    camera.set_up()
    assert {check["verdict"] for check in _checks(camera)} == {"pass"}
    camera.done("set-out")
    camera.confirm()
    camera.done("start-run")
    for question in camera.content.during_run:
        camera.answer("during_run", question.name, yes=True)
    camera.done("outcome", {"outcome": "passed"})
    for question in camera.content.after_checks:
        camera.answer("after_check", question.name, yes=True)
    camera.done("verify")
    assert camera.now["state"] == "verified"
    attempt = camera.now["attempts"][0]
    assert (attempt["number"], attempt["outcome"]) == (1, "passed")
    assert len(attempt["readings"]) == len(READINGS)
    assert attempt["evaluation"]["edition"] == 1
    assert {unit["fitness"] for unit in attempt["units"]} <= {"fit", "due soon"}


def test_what_is_lacking_is_listed_with_every_act(camera: AtVehicle) -> None:
    camera.done("prepare")
    acts = {act["act"]: act["unmet"] for act in camera.now["acts"]}
    lacking = {unmet["guard"] for unmet in acts["set_out"]}
    assert {"preconditions_unanswered", "equipment_missing"} <= lacking
    refused = camera.act("set-out")
    assert (refused.status_code, refused.json()["code"]) == (409, "move_refused")
    assert {u["guard"] for u in refused.json()["facts"]["unmet"]} == lacking
    assert camera.now["facts"]["pre_scan_taken"] is True


def test_a_reading_sent_again_with_its_key_is_taken_once(camera: AtVehicle) -> None:
    camera.done("prepare")
    tape = EquipmentUnit.objects.filter(shop=camera.calibration.shop_id, type__code="tape_measure")[
        0
    ]
    body = {"name": "left_distance", "typed": "4001", "instrument": tape.pk}
    headers = {"Idempotency-Key": "reading-1", "If-Match": camera.tag}
    for _ in range(2):
        assert camera.act("reading", body, **headers).status_code == 200
    assert len(camera.read()["attempts"][0]["readings"]) == 1


def test_a_reading_is_struck_out_and_stays(camera: AtVehicle) -> None:
    camera.done("prepare")
    tape = EquipmentUnit.objects.filter(shop=camera.calibration.shop_id, type__code="tape_measure")[
        0
    ]
    camera.done("reading", {"name": "left_distance", "typed": "4001", "instrument": tape.pk})
    reading = camera.now["attempts"][0]["readings"][0]
    camera.done("strike", {"reading": reading["id"]})
    struck = camera.now["attempts"][0]["readings"]
    assert [row["id"] for row in struck] == [reading["id"]]
    assert struck[0]["struck_at"]
    assert camera.act("strike", {"reading": reading["id"] + 1}).status_code == 422


def test_a_reading_that_cannot_be_says_why_beside_its_field(camera: AtVehicle) -> None:
    camera.done("prepare")
    refused = camera.act("reading", {"name": "left_distance", "typed": "four metres"})
    assert (refused.status_code, refused.json()["code"]) == (422, "reading")
    assert refused.json()["errors"][0]["path"] == "typed"


def test_a_failed_run_needs_a_cause_and_is_attempted_again(camera: AtVehicle) -> None:
    camera.done("prepare")
    camera.set_up()
    camera.done("set-out")
    camera.confirm()
    camera.done("start-run")
    assert camera.act("outcome", {"outcome": "failed"}).status_code == 422
    camera.done("outcome", {"outcome": "failed", "cause": "light from a window"})
    camera.done("give-up", {"dealt_with": "Customer told, comes back on Friday"})
    camera.done("attempt-again")
    assert [attempt["number"] for attempt in camera.now["attempts"]] == [1, 2]
    assert camera.now["dealt_with"] == ""


def test_a_guard_is_set_aside_by_a_manager_with_a_reason(world: World, camera: AtVehicle) -> None:
    camera.done("prepare")
    name = camera.content.preconditions[0].name
    camera.answer("precondition", name, yes=False)
    body = {"guard": "preconditions", "reason": "the maker allows it for this trim"}
    assert camera.act("override", body).status_code == 403
    camera.client = world.manager
    camera.done("override", body)
    assert camera.now["facts"]["overridden"] == ["preconditions"]
    assert camera.now["attempts"][0]["overrides"][0]["reason"] == body["reason"]
    never = camera.act("override", {"guard": "checks_failed", "reason": "no"})
    assert (never.status_code, never.json()["code"]) == (409, "never_overridden")


def test_one_that_has_not_run_is_cancelled_by_the_desk(world: World, camera: AtVehicle) -> None:
    camera.client = world.writer
    camera.done("cancel", {"reason": "the customer declines in writing"})
    assert camera.now["state"] == "cancelled"


def test_a_question_after_the_run_wants_yes_or_no(camera: AtVehicle) -> None:
    refused = camera.act("answer", {"phase": "after_check", "name": "x", "typed": "5 mm"})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["path"] == "yes"


def _checks(camera: AtVehicle) -> list[dict[str, Any]]:
    checks = camera.now["worksheet"]["checks"]
    return list(checks.values()) if isinstance(checks, dict) else list(checks)
