"""From the telephone to the gate: quoting, booking, changing and moving a visit."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bays.models import Hold
from jobs.models import Step, Visit
from tests.jobs.api.world import World
from tests.jobs.pages.cast import vin

pytestmark = pytest.mark.django_db

SAID = {
    "work": ["windscreen_replaced"],
    "vin": vin("heron", 77),
    "customer_name": "Ida Marsh",
    "customer_email": "ida@example.test",
}


def post(client: Client, route: str, body: Any, *args: Any, **headers: str) -> Any:
    address = reverse(f"api:{route}", args=args)
    return client.post(address, data=body, content_type="application/json", headers=headers)


def offers(world: World, **said: Any) -> list[dict[str, Any]]:
    answer = post(world.writer, "quote-list", {**SAID, **said})
    assert answer.status_code == 200, answer.content
    found: list[dict[str, Any]] = answer.json()["offers"]
    return found


def test_a_quote_has_needs_with_reasons_and_three_offers(world: World) -> None:
    quote = post(world.writer, "quote-list", SAID).json()
    assert quote["faults"] == []
    assert {need["procedure"] for need in quote["needs"]} >= {"front_camera_static"}
    assert all(need["reasons"] for need in quote["needs"])
    assert len(quote["offers"]) == 3
    starts = [offer["starts_at"] for offer in quote["offers"]]
    assert starts == sorted(starts)
    assert all(offer["technicians"] and offer["place"] for offer in quote["offers"])


def test_a_quote_tells_why_each_time_is_offered_and_what_it_costs_the_others(world: World) -> None:
    first, *_ = calm = offers(world)
    assert first["kind"] == "soonest"
    assert not any(offer["moves_others"] for offer in calm)
    assert {offer["cost_to_others"] for offer in calm} == {"nobody else moves"}
    wished = calm[-1]["starts_at"]
    asked = offers(world, wished_at=wished)
    assert [offer["starts_at"] for offer in asked if offer["kind"] == "wished"] == [wished]


def test_a_quote_says_what_is_still_missing(world: World) -> None:
    quote = post(world.writer, "quote-list", {"work": []}).json()
    assert {fault["path"] for fault in quote["faults"]} == {"work", "kind_code"}
    assert quote["offers"] == []


def test_a_booking_takes_its_holds_and_keeps_the_promise(world: World) -> None:
    offer = offers(world)[1]
    answer = post(world.writer, "visit-list", {**SAID, "offer_token": offer["token"]})
    assert answer.status_code == 201, answer.content
    visit = answer.json()
    assert answer["Location"].endswith(reverse("api:visit-detail", args=[visit["id"]]))
    assert answer["ETag"] == f'"v{visit["version"]}"'
    assert visit["promised_at"] == offer["promised_at"]
    steps = Step.objects.filter(visit_id=visit["id"])
    assert Hold.objects.filter(step_id__in=steps.values("pk")).count() >= len(steps)


def test_a_booking_sent_again_with_its_key_is_made_once(world: World) -> None:
    body = {**SAID, "offer_token": offers(world)[0]["token"]}
    key = {"Idempotency-Key": "c0ffee-1"}
    first = post(world.writer, "visit-list", body, **key)
    count = Visit.objects.count()
    again = post(world.writer, "visit-list", body, **key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again["Idempotency-Replayed"] == "true"
    assert again.json() == first.json()
    assert again["Location"] == first["Location"]
    assert Visit.objects.count() == count


def test_a_key_with_other_content_is_refused(world: World) -> None:
    body = {**SAID, "offer_token": offers(world)[0]["token"]}
    key = {"Idempotency-Key": "c0ffee-2"}
    post(world.writer, "visit-list", body, **key)
    other = post(world.writer, "visit-list", {**body, "notes": "keys in the box"}, **key)
    assert (other.status_code, other.json()["code"]) == (422, "idempotency_key_reused")


def test_an_offer_cannot_be_booked_twice(world: World) -> None:
    token = offers(world)[0]["token"]
    assert post(world.writer, "visit-list", {**SAID, "offer_token": token}).status_code == 201
    second = {**SAID, "vin": vin("heron", 78), "offer_token": token}
    refused = post(world.writer, "visit-list", second)
    assert (refused.status_code, refused.json()["code"]) == (409, "offer_gone")


def test_another_shops_offer_cannot_be_booked(world: World) -> None:
    token = offers(world)[0]["token"]
    client = next(iter(world.there.callers.values()))
    refused = post(client, "visit-list", {**SAID, "offer_token": token})
    assert (refused.status_code, refused.json()["code"]) == (409, "offer_expired")


def test_a_token_made_up_is_refused(world: World) -> None:
    refused = post(world.writer, "visit-list", {**SAID, "offer_token": "made:up"})
    assert (refused.status_code, refused.json()["code"]) == (409, "offer_expired")


def test_a_booking_without_a_customer_says_so_by_field(world: World) -> None:
    body = {**SAID, "customer_name": "", "offer_token": offers(world)[0]["token"]}
    refused = post(world.writer, "visit-list", body)
    assert refused.status_code == 422
    assert [e["path"] for e in refused.json()["errors"]] == ["customer_name"]


def test_two_people_change_a_visit_and_the_second_is_told(world: World) -> None:
    address = reverse("api:visit-detail", args=[world.here.booked.pk])
    tag = world.writer.get(address)["ETag"]
    first = world.writer.patch(
        address, {"notes": "keys"}, content_type="application/json", headers={"If-Match": tag}
    )
    assert first.status_code == 200, first.content
    assert first.json()["notes"] == "keys"
    assert first["ETag"] != tag
    second = world.manager.patch(
        address, {"notes": "no keys"}, content_type="application/json", headers={"If-Match": tag}
    )
    assert second.status_code == 412
    assert second.json()["facts"]["current"]["etag"] == first["ETag"]
    assert world.writer.get(address, headers={"If-None-Match": first["ETag"]}).status_code == 304


def test_a_change_touches_only_what_is_given(world: World) -> None:
    address = reverse("api:visit-detail", args=[world.here.booked.pk])
    before = world.writer.get(address).json()
    world.writer.patch(
        address, {"notes": "x"}, content_type="application/json", headers={"If-Match": "*"}
    )
    after = world.writer.get(address).json()
    assert after["customer_name"] == before["customer_name"]


def test_checking_in_twice_with_one_key_is_one_move(world: World) -> None:
    pk = world.here.booked.pk
    tag = world.writer.get(reverse("api:visit-detail", args=[pk]))["ETag"]
    headers = {"If-Match": tag, "Idempotency-Key": "in-1"}
    first = post(world.writer, "visit-check-in", {}, pk, **headers)
    assert first.status_code == 200, first.content
    assert first.json()["state"] == "checked_in"
    again = post(world.writer, "visit-check-in", {}, pk, **headers)
    assert (again.status_code, again.json()) == (200, first.json())


def test_a_move_that_is_not_possible_lists_every_guard(world: World) -> None:
    refused = post(world.technician, "visit-ready", {}, world.here.in_work.pk, **{"If-Match": "*"})
    assert (refused.status_code, refused.json()["code"]) == (409, "move_refused")
    guards = {unmet["guard"] for unmet in refused.json()["facts"]["unmet"]}
    assert {"calibrations_verified", "post_scan"} <= guards


def test_a_visit_is_held_resumed_and_called_off(world: World) -> None:
    pk, go = world.here.in_work.pk, {"If-Match": "*"}
    held = post(world.writer, "visit-hold", {"reason": "waits for glass"}, pk, **go)
    assert (held.json()["state"], held.json()["hold_reason"]) == ("on_hold", "waits for glass")
    assert post(world.writer, "visit-resume", {}, pk, **go).json()["state"] == "in_work"
    gone = post(world.writer, "visit-cancel", {"reason": "customer came for it"}, pk, **go)
    assert gone.json()["state"] == "cancelled"
    assert {step["state"] for step in gone.json()["steps"]} <= {"cancelled", "done"}


def test_a_step_is_pinned_and_let_go(world: World) -> None:
    step = Step.objects.filter(visit=world.here.booked).order_by("order")[0]
    tag = world.writer.get(reverse("api:step-detail", args=[step.pk]))["ETag"]
    pinned = post(world.writer, "step-pin", {"pinned": True}, step.pk, **{"If-Match": tag})
    assert pinned.status_code == 200, pinned.content
    assert pinned.json()["pinned"] is True
    stale = post(world.writer, "step-pin", {"pinned": False}, step.pk, **{"If-Match": tag})
    assert stale.status_code == 412
    go = {"If-Match": pinned["ETag"]}
    let_go = post(world.writer, "step-pin", {"pinned": False}, step.pk, **go)
    assert let_go.json()["pinned"] is False


def test_a_vin_is_read_and_a_wrong_one_refused(world: World) -> None:
    # 49 CFR 565.15(d), Table V: the published sample, check digit 4.
    right = world.writer.get(reverse("api:check-vin", args=["1G4AH59H45G118341"])).json()
    assert (right["check_digit_right"], right["expected_check_digit"]) == (True, "4")
    wrong = world.writer.get(reverse("api:check-vin", args=["1G4AH59H"]))
    assert (wrong.status_code, wrong.json()["code"]) == (422, "vin_refused")
