"""The equipment pages: what is due, one unit, and what a person does to it."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bays.models import EquipmentUnit, UpkeepRule
from shopcal.accounts.models import Shop
from tests.conftest import Person


@pytest.fixture
def tape(furnished: Shop) -> EquipmentUnit:
    return EquipmentUnit.objects.get(shop=furnished, code="tape-1")


def rule_of(unit: EquipmentUnit) -> UpkeepRule:
    return UpkeepRule.objects.filter(equipment_type=unit.type_id)[0]


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def test_a_shop_without_equipment_is_told_what_to_do_first(in_charge: Client) -> None:
    assert "Import a shop file" in text(in_charge.get(reverse("upkeep")))


def test_the_answer_comes_first_and_counts_every_unit_once(
    furnished: Shop, at_desk: Client
) -> None:
    facts = at_desk.get(reverse("upkeep")).context["facts"]
    total = EquipmentUnit.objects.for_shop(furnished.pk).count()
    assert [fact["word"] for fact in facts][:3] == ["overdue", "due soon", "fit for use"]
    assert sum(fact["number"] for fact in facts) == total
    assert facts[0]["number"] >= 1


def test_what_is_overdue_is_said_in_words_before_what_is_due_soon(
    furnished: Shop, at_desk: Client
) -> None:
    due = at_desk.get(reverse("upkeep")).context["due"]
    states = [str(row.due.state) for row, _ in due]
    assert states == sorted(states, key=["overdue", "due soon"].index)
    assert "overdue since" in text(at_desk.get(reverse("upkeep")))


def test_the_list_costs_the_same_however_many_units_there_are(
    furnished: Shop, at_desk: Client, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(12):
        at_desk.get(reverse("upkeep"))


def test_a_service_writer_sees_no_form_for_upkeep(tape: EquipmentUnit, at_desk: Client) -> None:
    page = text(at_desk.get(reverse("equipment-unit", args=[tape.pk])))
    assert "Record upkeep" not in page
    assert "Take out of service" in page


def test_upkeep_is_recorded_and_the_unit_stays_in_service(
    tape: EquipmentUnit, at_vehicle: Client
) -> None:
    given = {
        "upkeep-rule": rule_of(tape).pk,
        "upkeep-result": "fit",
        "upkeep-note": "hook is tight",
    }
    answer = at_vehicle.post(reverse("upkeep-done", args=[tape.pk]), given, follow=True)
    assert "hook is tight" in text(answer)
    assert "fit for use" in text(answer)
    tape.refresh_from_db()
    assert tape.state == EquipmentUnit.State.IN_SERVICE


def test_upkeep_not_fit_takes_the_unit_out(tape: EquipmentUnit, at_vehicle: Client) -> None:
    given = {"upkeep-rule": rule_of(tape).pk, "upkeep-result": "not_fit"}
    answer = at_vehicle.post(reverse("upkeep-done", args=[tape.pk]), given, follow=True)
    assert "Do not use it" in text(answer)
    tape.refresh_from_db()
    assert tape.state == EquipmentUnit.State.OUT_OF_SERVICE


def test_upkeep_before_the_unit_was_bought_is_refused_beside_its_field(
    tape: EquipmentUnit, at_vehicle: Client
) -> None:
    given = {
        "upkeep-rule": rule_of(tape).pk,
        "upkeep-result": "fit",
        "upkeep-done_at": "2001-01-01T08:00",
    }
    answer = at_vehicle.post(reverse("upkeep-done", args=[tape.pk]), given)
    assert answer.status_code == 422
    assert "before the unit was commissioned" in str(answer.context["upkeep_form"].errors)


def test_a_rule_of_another_type_is_not_offered(tape: EquipmentUnit, at_vehicle: Client) -> None:
    foreign = UpkeepRule.objects.exclude(equipment_type=tape.type_id)[0]
    given = {"upkeep-rule": foreign.pk, "upkeep-result": "fit"}
    answer = at_vehicle.post(reverse("upkeep-done", args=[tape.pk]), given)
    assert answer.status_code == 422
    assert "rule" in answer.context["upkeep_form"].errors


def test_a_unit_is_taken_out_with_its_reason_and_returned(
    tape: EquipmentUnit, at_vehicle: Client
) -> None:
    given = {
        "out-reason": "hook bent",
        "out-until": "2026-10-09T12:00",
        "out-version": tape.version,
    }
    out = at_vehicle.post(reverse("unit-out", args=[tape.pk]), given, follow=True)
    assert "hook bent" in text(out)
    downtime = tape.downtimes.get()
    # Noon in Denver, in summer time: six hours behind UTC.
    assert downtime.ends_at is not None
    assert f"{downtime.ends_at:%Y-%m-%d %H:%M}" == "2026-10-09 18:00"
    tape.refresh_from_db()
    back = {"back-version": tape.version}
    returned = at_vehicle.post(reverse("unit-back", args=[tape.pk]), back, follow=True)
    assert "is in service again" in text(returned)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"out-reason": ""}, "reason"),
        ({"out-reason": "bent", "out-until": "soon"}, "until"),
        ({"out-reason": "bent", "out-until": "2001-01-01T08:00"}, "until"),
    ],
)
def test_a_fault_stands_beside_its_field(
    tape: EquipmentUnit, at_vehicle: Client, given: dict[str, str], field: str
) -> None:
    whole = {"out-version": str(tape.version), **given}
    answer = at_vehicle.post(reverse("unit-out", args=[tape.pk]), whole)
    assert answer.status_code == 422
    assert field in answer.context["out_form"].errors


def test_a_unit_changed_meanwhile_is_not_changed_unseen(
    tape: EquipmentUnit, at_vehicle: Client
) -> None:
    given = {"out-reason": "bent", "out-version": tape.version}
    at_vehicle.post(reverse("unit-out", args=[tape.pk]), given)
    answer = at_vehicle.post(reverse("unit-out", args=[tape.pk]), given)
    assert answer.status_code == 412
    assert "changed this unit meanwhile" in text(answer)


def test_one_found_not_fit_is_not_returned_before_it_is_fit(
    tape: EquipmentUnit, at_vehicle: Client
) -> None:
    given = {"upkeep-rule": rule_of(tape).pk, "upkeep-result": "not_fit"}
    at_vehicle.post(reverse("upkeep-done", args=[tape.pk]), given)
    tape.refresh_from_db()
    back = {"back-version": tape.version}
    answer = at_vehicle.post(reverse("unit-back", args=[tape.pk]), back)
    assert answer.status_code == 409
    assert "was found not fit for use" in text(answer)


def test_a_name_is_shown_as_it_is_and_never_run(
    tape: EquipmentUnit, at_vehicle: Client, manager: Person
) -> None:
    EquipmentUnit.objects.filter(pk=tape.pk).update(name="<script>alert(1)</script>")
    assert "<script>alert(1)" not in text(at_vehicle.get(reverse("upkeep")))
