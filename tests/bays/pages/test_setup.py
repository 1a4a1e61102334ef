"""The setup page: the shop file in and out, absences, closures."""

from __future__ import annotations

import json
from typing import Any

import yaml
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bays.models import Absence, Closure, EquipmentUnit, Skill, Technician
from bays.transfer import load_document
from shopcal.accounts.models import Shop
from tests.bays.pages.conftest import DEMO


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def bring_in(client: Client, content: bytes, name: str = "shop.yaml", **more: Any) -> Any:
    file = SimpleUploadedFile(name, content)
    return client.post(reverse("shop-import"), {"file-file": file}, **more)


def test_an_empty_shop_shows_what_to_do_first(in_charge: Client) -> None:
    page = text(in_charge.get(reverse("shop-setup")))
    assert "Import a shop file that names the technicians" in page
    assert "Nothing can be booked without" in page


def test_the_demo_file_furnishes_an_empty_shop(shop: Shop, in_charge: Client) -> None:
    answer = bring_in(in_charge, DEMO.read_bytes(), follow=True)
    assert "equipment units: 20 added" in text(answer)
    assert EquipmentUnit.objects.for_shop(shop.pk).count() == 20
    assert "R. Osei" in text(answer)


def test_days_in_a_row_with_the_same_hours_are_said_together(shop: Shop, in_charge: Client) -> None:
    document = yaml.safe_load(DEMO.read_text())
    week = {"starts": "08:00", "ends": "16:30", "lunch": ["12:00", "12:30"]}
    document["people"]["technicians"][0]["shifts"] = [
        {"days": ["mon", "tue", "wed", "fri"], **week},
        {"days": ["sat"], "starts": "08:00", "ends": "13:00"},
    ]
    page = text(bring_in(in_charge, yaml.safe_dump(document).encode(), follow=True))
    assert "Mon–Wed, Fri 08:00–16:30, lunch 12:00–12:30" in page
    assert "Sat 08:00–13:00" in page


def test_every_fault_is_listed_with_its_place_and_nothing_is_changed(
    shop: Shop, in_charge: Client
) -> None:
    document = yaml.safe_load(DEMO.read_text())
    document["skills"][0]["name"] = ""
    document["people"]["technicians"][0]["skills"][0]["skill"] = "juggling"
    document["hours"]["opening"][0]["opens"] = "25:00"
    answer = bring_in(in_charge, yaml.safe_dump(document).encode())
    assert answer.status_code == 422
    page = text(answer)
    for place in (
        "skills[0].name", "people.technicians[0].skills[0].skill", "hours.opening[0].opens",
    ):  # fmt: skip
        assert f"<code>{place}</code>" in page
    assert not Skill.objects.for_shop(shop.pk).exists()


def test_a_file_that_is_no_text_or_no_yaml_is_refused_in_words(in_charge: Client) -> None:
    assert "not a text file" in text(bring_in(in_charge, b"\xff\xfe\x00x"))
    assert "cannot be read" in text(bring_in(in_charge, b"a: [1"))
    assert "Choose a file first" in text(in_charge.post(reverse("shop-import")))


def test_the_export_brings_in_again_without_a_change(furnished: Shop, in_charge: Client) -> None:
    for form in ("yaml", "json"):
        answer = in_charge.get(reverse("shop-export", args=[form]))
        assert f'.{form}"' in answer["Content-Disposition"]
        again = bring_in(in_charge, answer.content, f"shop.{form}", follow=True)
        assert again.status_code == 200, text(again)
        said = [str(message) for message in again.context["messages"]]
        assert not [says for says in said if " added" in says or " changed" in says]
    yaml_text = in_charge.get(reverse("shop-export", args=["yaml"])).content.decode()
    json_text = in_charge.get(reverse("shop-export", args=["json"])).content.decode()
    assert load_document(yaml_text) == json.loads(json_text)


def test_an_absence_is_recorded_on_the_shops_clock(furnished: Shop, in_charge: Client) -> None:
    person = Technician.objects.get(shop=furnished, code="lind")
    given = {
        "absence-technician": person.pk,
        "absence-starts_at": "2026-10-07T08:00",
        "absence-ends_at": "2026-10-07T12:00",
        "absence-reason": "dentist",
    }
    answer = in_charge.post(reverse("add-absence"), given, follow=True)
    absence = Absence.objects.get(technician=person)
    assert f"{absence.starts_at:%H:%M}" == "14:00"  # Denver is six hours behind in summer
    assert "Wed 7 Oct 2026, 08:00" in text(answer)


def test_an_absence_that_ends_before_it_starts_is_refused_beside_its_field(
    furnished: Shop, in_charge: Client
) -> None:
    given = {
        "absence-technician": Technician.objects.get(shop=furnished, code="lind").pk,
        "absence-starts_at": "2026-10-07T12:00",
        "absence-ends_at": "2026-10-07T08:00",
    }
    answer = in_charge.post(reverse("add-absence"), given)
    assert answer.status_code == 422
    assert "ends_at" in answer.context["absence_form"].errors


def test_another_shops_technician_is_not_offered(
    furnished: Shop, other_shop: Shop, in_charge: Client
) -> None:
    person = Technician.objects.get(shop=furnished, code="lind")
    Technician.objects.filter(pk=person.pk).update(shop=other_shop)
    given = {
        "absence-technician": person.pk,
        "absence-starts_at": "2026-10-07T08:00",
        "absence-ends_at": "2026-10-07T12:00",
    }
    assert in_charge.post(reverse("add-absence"), given).status_code == 422


def test_the_shop_is_shut_and_opened_again(furnished: Shop, in_charge: Client) -> None:
    given = {
        "closure-starts_on": "2026-11-26",
        "closure-ends_on": "2026-11-27",
        "closure-reason": "holiday",
    }
    assert "holiday" in text(in_charge.post(reverse("add-closure"), given, follow=True))
    closure = Closure.objects.get(shop=furnished, reason="holiday")
    in_charge.post(reverse("drop-closure", args=[closure.pk]))
    assert not Closure.objects.filter(pk=closure.pk).exists()


def test_a_closure_that_ends_before_it_starts_is_refused(
    furnished: Shop, in_charge: Client
) -> None:
    given = {
        "closure-starts_on": "2026-11-27",
        "closure-ends_on": "2026-11-26",
        "closure-reason": "holiday",
    }
    answer = in_charge.post(reverse("add-closure"), given)
    assert answer.status_code == 422
    assert answer.context["closure_form"].errors


def test_a_skill_that_ends_soon_or_has_ended_is_marked(furnished: Shop, in_charge: Client) -> None:
    person = Technician.objects.get(shop=furnished, code="osei")
    held = list(person.skills.order_by("pk"))
    held[0].valid_until, held[1].valid_until = "2026-10-01", "2026-10-20"
    held[0].save()
    held[1].save()
    page = text(in_charge.get(reverse("shop-setup")))
    assert "ended 1 Oct 2026" in page
    assert "until 20 Oct 2026" in page
