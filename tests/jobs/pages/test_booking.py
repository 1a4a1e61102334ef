"""Booking on the phone: offers while typing, one click to book, faults beside the fields."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client

from bays.models import FloorPlanEdition, Hold, Resource
from jobs.models import Visit
from jobs.services.quotes import VisitQuote, quote_visit
from shopcal.accounts.models import Shop
from shopcal.history.models import Event
from tests.conftest import Person
from tests.jobs.pages import cast
from tests.jobs.pages.conftest import Clock

pytestmark = pytest.mark.django_db

TOKEN = re.compile(r'name="offer" value="([^"]+)"')


def said(**more: object) -> dict[str, object]:
    return {
        "vin": cast.vin(),
        "work": ["windscreen_replaced"],
        "customer_name": "Ida Marsh",
        "ro_number": "3129",
        **more,
    }


def page_of(answer: HttpResponse, status: int = 200) -> str:
    page = answer.content.decode()
    assert answer.status_code == status, page
    return page


def offers_for(office: Client, **more: object) -> str:
    return page_of(office.post("/book/offers/", said(**more), headers={"hx-request": "true"}))


def test_stranger_is_sent_to_sign_in(client: Client, db: None) -> None:
    assert client.get("/book/").status_code == 302


def test_technician_is_refused_in_words(fitter: Client) -> None:
    page = page_of(fitter.get("/book/"), 403)
    assert "technician may not book a visit" in page.lower()


def test_empty_form_suggests_the_next_repair_order_and_says_what_to_do(office: Client) -> None:
    page = page_of(office.get("/book/"))
    assert 'value="3101"' in page
    assert "Type or scan the VIN" in page
    assert "autofocus" in page


def test_enter_presses_the_button_that_books_nothing(office: Client) -> None:
    # HTML, 4.10.21.2 implicit submission: Enter presses the form's first submit button.
    page = page_of(office.post("/book/", said()))
    form = page[page.index('<form id="booking"') :]
    first = re.search(r'<button type="submit"[^>]*>', form)
    assert first is not None
    assert "offer" not in first[0].replace("offers", "")
    assert TOKEN.search(form) is not None
    assert not Visit.objects.exists()


def test_offers_say_what_is_needed_why_and_what_can_be_promised(office: Client) -> None:
    part = offers_for(office)
    assert "Needs two calibrations" in part
    assert "of clear floor" in part
    assert "windscreen" in part
    assert len(TOKEN.findall(part)) >= 3
    assert part.count("Promise ") >= 3
    assert "to spare" in part
    assert "today " in part


def test_vin_facts_stand_beside_the_field(office: Client) -> None:
    part = offers_for(office)
    assert "check digit right · model year 2024 · Heron Sedan · 4.80 × 1.85 m" in part
    assert 'id="vin-words"' in part
    assert "hx-swap-oob" in part


def test_vin_still_being_typed_is_counted_and_not_scolded(office: Client) -> None:
    part = offers_for(office, vin=cast.vin()[:9])
    assert "9 of 17 characters" in part
    assert "faults" not in part


def test_wrong_check_digit_asks_for_a_look_at_the_plate(office: Client) -> None:
    right = cast.vin()
    wrong = right[:8] + ("0" if right[8] != "0" else "1") + right[9:]
    part = offers_for(office, vin=wrong)
    assert "at least one character is wrong" in part
    assert 'name="vin_confirmed"' in part
    confirmed = offers_for(office, vin=wrong, vin_confirmed="on")
    assert "check digit not right" in confirmed
    assert len(TOKEN.findall(confirmed)) >= 3


def test_missing_work_is_asked_for_before_an_offer(office: Client) -> None:
    part = offers_for(office, work=[])
    assert "No work is chosen" in part
    assert TOKEN.search(part) is None


def test_unknown_vehicle_can_be_booked_by_its_sizes(office: Client) -> None:
    sizes = {
        "vin": "11111111111111111",  # the classic test VIN: its check digit is right
        "kind_code": "",
        "label": "Somebody's conversion",
        "width_mm": "1.85 m",
        "wheelbase_mm": "2790",
        "front_overhang_mm": "93 cm",
        "rear_overhang_mm": "1080",
        "system_front_camera": "yes",
    }
    part = offers_for(office, **sizes)
    assert "4.80 × 1.85 m" in part
    assert len(TOKEN.findall(part)) >= 3


def test_half_a_set_of_sizes_is_told_beside_what_is_missing(office: Client) -> None:
    page = page_of(office.post("/book/", said(width_mm="1.85 m", wheelbase_mm="a lot")))
    assert "Still missing." in page
    assert "is not a number" in page


def test_vehicle_too_large_for_the_shop_is_told_why(office: Client, furnished: Shop) -> None:
    edition = FloorPlanEdition.objects.get(shop=furnished)
    content = dict(edition.content)
    content |= {
        "outline": [[0, 0], [9000, 0], [9000, 6000], [0, 6000]],
        "obstacles": [],
        "doors": [],
        "zones": [
            {
                "id": "bay-1",
                "name": "Bay 1",
                "kind": "bay",
                "polygon": [[0, 0], [9000, 0], [9000, 6000], [0, 6000]],
            }
        ],
        "bays": [
            {
                "id": "bay-1",
                "name": "Bay 1",
                "zones": ["bay-1"],
                "centre": [4500, 3000],
                "heading_deg": 0,
            }
        ],
    }
    FloorPlanEdition.objects.create(
        shop=furnished,
        number=2,
        name="Small",
        content=content,
        digest="small",
        published_at=edition.published_at,
        published_by="test",
    )
    part = offers_for(office)
    assert "This shop has no floor for it" in part
    # 8600 + 2850 needed; the shop is 9 m long
    assert "Front camera, target ahead: The shop has no floor of" in part
    assert "Nearest, in Bay 1: short by" in part
    assert part.count("short by") == 1
    assert TOKEN.search(part) is None


def test_each_calibration_says_where_it_fits_and_how_much_room_is_left(office: Client) -> None:
    part = offers_for(office)
    said = re.search(r'<p class="aloud">(It fits in [^<]+ with \d+ cm to spare\.)</p>', part)
    assert said is not None
    assert "fits now" in part


def take_the_bays(shop: Shop, until: datetime) -> None:
    """Every bay in which a camera could be aimed is held until then."""
    bays = Resource.objects.filter(shop=shop, kind="zone", code__regex="^(bay-[1-6]|prep-|rack)")
    for bay in bays:
        Hold.objects.create(
            shop=shop, resource=bay, starts_at=until - timedelta(hours=9), ends_at=until
        )


def test_it_is_said_from_when_the_floor_is_empty(office: Client, furnished: Shop) -> None:
    until = datetime(2026, 3, 3, 20, 10, tzinfo=UTC)  # 14:10 in Chicago
    take_the_bays(furnished, until)
    part = offers_for(office)
    assert re.search(
        r'class="aloud">It fits if [^<]+ (is|are) empty \(from 14:10 (it is|they are)\)', part
    )
    assert "not free now" in part


def test_it_is_asked_of_the_day_the_vehicle_arrives(office: Client, furnished: Shop) -> None:
    until = datetime(2026, 3, 3, 20, 10, tzinfo=UTC)
    take_the_bays(furnished, until)
    part = offers_for(office, arrives_at="2026-03-04T08:30")
    assert "fits tomorrow 08:30" in part


def test_every_bay_can_be_asked_about(office: Client) -> None:
    part = page_of(office.post("/book/bays/", said(), headers={"hx-request": "true"}))
    assert "Front camera, target ahead, bay by bay" in part
    for bay in ("Bay 1", "Bay 7", "Prep 3"):
        assert f"<b>{bay}</b>" in part
    assert "<b>Bays 1 + 2</b>" not in part
    assert "It fits in Bay 1 with" in part


def test_asking_about_bays_needs_the_right_to_book_and_a_post(
    fitter: Client, client: Client, office: Client
) -> None:
    assert fitter.post("/book/bays/", said()).status_code == 403
    assert client.post("/book/bays/", said()).status_code == 302
    assert office.get("/book/bays/").status_code == 405


def test_without_a_calibration_no_bay_is_needed(office: Client) -> None:
    part = page_of(office.post("/book/bays/", said(work=[])))
    assert "Nothing here needs a bay" in part


def test_one_click_books_and_leads_to_the_visit(office: Client, furnished: Shop) -> None:
    token = TOKEN.findall(offers_for(office))[0]
    answer = office.post("/book/", said(offer=token, customer_phone="555 0101"))
    visit = Visit.objects.get()
    assert answer.status_code == 302
    assert answer["Location"] == f"/visits/{visit.pk}/"
    assert (visit.ro_number, visit.customer_name) == ("3129", "Ida Marsh")
    assert Hold.objects.filter(step_id__in=visit.steps.values("pk")).exists()
    assert Event.objects.filter(kind="visit.booked", visit_id=visit.pk).count() == 1
    page = page_of(office.get(answer["Location"]))
    assert "Tell the customer: ready by today" in page


def test_second_click_books_nothing_more(office: Client, furnished: Shop) -> None:
    token = TOKEN.findall(offers_for(office))[0]
    office.post("/book/", said(offer=token))
    page_of(office.post("/book/", said(offer=token)), 409)
    assert Visit.objects.count() == 1


def test_offer_that_was_taken_gives_fresh_ones_and_keeps_the_form(office: Client) -> None:
    mine = TOKEN.findall(offers_for(office))[0]
    others = TOKEN.findall(offers_for(office))[0]
    first = said(offer=others, vin=cast.vin(serial=2), ro_number="3130", customer_name="Quill")
    assert office.post("/book/", first).status_code == 302
    page = page_of(office.post("/book/", said(offer=mine, notes="blue tape")), 409)
    assert "This time has just been taken." in page
    assert "blue tape" in page
    assert 'value="Ida Marsh"' in page
    fresh = TOKEN.findall(page)
    assert len(fresh) >= 3
    assert office.post("/book/", said(offer=fresh[0])).status_code == 302


def test_offer_too_old_is_told_and_made_anew(office: Client, clock: Clock) -> None:
    token = TOKEN.findall(offers_for(office))[0]
    clock.shift(timedelta(minutes=61))
    page = page_of(office.post("/book/", said(offer=token)), 409)
    assert "This offer is too old" in page
    assert TOKEN.search(page) is not None


def test_faults_stand_beside_their_fields_and_nothing_is_booked(office: Client) -> None:
    token = TOKEN.findall(offers_for(office))[0]
    wrong = {"customer_email": "ida at marsh", "wanted_by": "2020-01-01T08:00"}
    form = said(offer=token, customer_name="", **wrong)
    page = page_of(office.post("/book/", form), 422)
    assert 'id="id_customer_email_error"' in page
    assert "already past" in page
    page = page_of(office.post("/book/", said(offer=token, customer_name="")), 422)
    assert 'id="id_customer_name_error"' in page
    assert "Nobody is named: enter the customer&#x27;s name." in page
    assert TOKEN.search(page) is not None
    assert not Visit.objects.exists()


def test_repair_order_in_use_is_told_beside_it(office: Client, service_writer: Person) -> None:
    cast.book(service_writer.actor, ro_number="3129", serial=9)
    token = TOKEN.findall(offers_for(office))[0]
    page = page_of(office.post("/book/", said(offer=token)), 409)
    assert 'id="id_ro_number_error"' in page
    assert "already a visit with repair order 3129" in page


def test_offer_of_another_shop_books_nothing(
    office: Client,
    other_manager: Person,
    client_for: Callable[[Person], Client],
    other_shop: Shop,
) -> None:
    cast.furnish(other_shop)
    theirs = TOKEN.findall(offers_for(client_for(other_manager)))[0]
    page_of(office.post("/book/", said(offer=theirs)), 409)
    assert not Visit.objects.exists()


def test_system_nobody_has_seen_is_asked_about_and_the_answer_kept(office: Client) -> None:
    sizes = {
        "vin": "11111111111111111",
        "width_mm": "1850",
        "wheelbase_mm": "2790",
        "front_overhang_mm": "930",
        "rear_overhang_mm": "1080",
    }
    part = offers_for(office, **sizes)
    assert "Does it have front camera?" in part
    answered = offers_for(office, **sizes, system_front_camera="no")
    chosen = re.search(r'id="sys-front_camera-no"[^>]*checked', answered)
    assert chosen is not None


def test_shop_without_a_floor_plan_is_told_so(
    clock: Clock, service_writer: Person, client_for: Callable[[Person], Client]
) -> None:
    office = client_for(service_writer)
    kind = cast.only_a_vehicle_and_a_procedure(service_writer.membership.shop)
    assert "no floor plan yet" in offers_for(office, vin="", kind_code=kind)


def test_time_asked_for_gets_the_offer_nearest_to_it(office: Client) -> None:
    assert "nearest the time asked for" not in offers_for(office)
    part = offers_for(office, wished_at="2026-03-04T13:00")
    assert part.count("nearest the time asked for") == 1
    assert "nobody else moves" in part


def test_time_asked_for_that_is_past_is_told_beside_the_field(office: Client) -> None:
    page = page_of(office.post("/book/", said(wished_at="2020-01-01T10:00")))
    assert "Around" in page
    assert "This is already past: choose a later time." in page


def test_offer_that_moves_others_says_so_with_the_tag_of_a_caution(
    office: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def moving(**asked: Any) -> VisitQuote:
        found = quote_visit(**asked)
        words = "moves two visits by up to 15 min, none late"
        first = replace(found.offers[0], moves_others=True, cost_to_others=words)
        return replace(found, offers=(first, *found.offers[1:]))

    monkeypatch.setattr("jobs.pages.booking.quote_visit", moving)
    part = offers_for(office)
    assert '<span class="tag tape">moves two visits by up to 15 min, none late</span>' in part
    assert part.count('<span class="tag ok">nobody else moves</span>') == 2


def test_urgent_booking_says_first_what_would_move_and_changes_nothing(
    office: Client, service_writer: Person
) -> None:
    for serial in range(2, 6):
        cast.book(service_writer.actor, serial=serial)
    before = list(Hold.objects.order_by("pk").values_list("pk", "starts_at", "ends_at"))
    part = page_of(office.post("/book/urgent/", said(), headers={"hx-request": "true"}))
    assert "As urgent: today" in part
    assert "Book as urgent, promise today" in part
    assert list(Hold.objects.order_by("pk").values_list("pk", "starts_at", "ends_at")) == before


def test_urgent_vehicle_is_booked_and_what_moved_is_told(
    office: Client, service_writer: Person
) -> None:
    for serial in range(2, 6):
        cast.book(service_writer.actor, serial=serial)
    answer = office.post("/book/", said(urgent="book"), follow=True)
    page = page_of(answer)
    assert "Booked as urgent." in page
    assert Visit.objects.get(ro_number="3129").weight >= 1


def test_urgent_booking_without_a_customer_is_told_what_lacks(office: Client) -> None:
    part = page_of(office.post("/book/urgent/", said(customer_name="")))
    assert "nobody is named" in part
    page = page_of(office.post("/book/", said(urgent="book", customer_name="")), 422)
    assert 'id="id_customer_name_error"' in page
