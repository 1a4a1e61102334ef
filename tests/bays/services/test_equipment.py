"""Units of equipment: adding, taking out, returning, counting uses, and their upkeep."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from bays.models import (
    EquipmentType,
    EquipmentUnit,
    Resource,
    UnitDowntime,
    UnitUse,
    UpkeepDone,
    UpkeepRule,
)
from bays.services.equipment import (
    add_equipment_type,
    add_unit,
    put_unit,
    record_use,
    return_to_service,
    take_out_of_service,
)
from bays.services.upkeep import add_rule, record_upkeep
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound, Stale
from shopcal.history.models import Event
from tests.conftest import Person

pytestmark = pytest.mark.django_db


@pytest.fixture
def mats(manager: Person) -> EquipmentType:
    return add_equipment_type(by=manager.actor, code="mat_set", name="Mat set")


@pytest.fixture
def unit(manager: Person, mats: EquipmentType) -> EquipmentUnit:
    return add_unit(
        by=manager.actor, type=mats, code="mats-a", name="Mats A", commissioned_on=date(2025, 1, 1)
    )


@pytest.fixture
def rule(manager: Person, mats: EquipmentType) -> UpkeepRule:
    return add_rule(by=manager.actor, type=mats, code="look", name="Inspection", every_uses=60)


def test_a_unit_gets_its_resource_and_its_event(unit: EquipmentUnit) -> None:
    assert Resource.objects.get(kind="unit", code="mats-a") == unit.resource
    assert Event.objects.filter(kind="unit.added", subject=f"unit:{unit.pk}").count() == 1


def test_a_taken_code_is_refused(
    manager: Person, mats: EquipmentType, unit: EquipmentUnit, rule: UpkeepRule
) -> None:
    by = manager.actor
    for add in (
        lambda: add_equipment_type(by=by, code="mat_set", name="Again"),
        lambda: add_unit(by=by, type=mats, code="mats-a", name="Again"),
        lambda: add_rule(by=by, type=mats, code="look", name="Again", every_days=1),
    ):
        with pytest.raises(Invalid) as refused:
            add()
        assert [e.path for e in refused.value.errors] == ["code"]


@pytest.mark.parametrize(
    ("facts", "path"),
    [
        ({"code": "no code"}, "code"),
        ({"name": " "}, "name"),
        ({"accuracy_class": "IV"}, "accuracy_class"),
        ({"resolution_mm": 0.0}, "resolution_mm"),
        ({"serial": "x" * 81}, "serial"),
    ],
)
def test_a_unit_that_cannot_be_is_refused(
    manager: Person, mats: EquipmentType, facts: dict[str, Any], path: str
) -> None:
    with pytest.raises(Invalid) as refused:
        add_unit(by=manager.actor, type=mats, **({"code": "a", "name": "A"} | facts))
    assert [e.path for e in refused.value.errors] == [path]
    assert not Resource.objects.exists()


def test_a_unit_cannot_become_one_of_another_type(manager: Person, unit: EquipmentUnit) -> None:
    other = add_equipment_type(by=manager.actor, code="tape", name="Tape")
    with pytest.raises(Invalid, match="another type"):
        put_unit(
            by=manager.actor, type=other, code="mats-a", name="X", commissioned_on=date(2025, 1, 1)
        )


def test_anyone_takes_a_unit_out_and_it_stays_out_past_the_day_expected(
    technician: Person, unit: EquipmentUnit
) -> None:
    until = timezone.now() + timedelta(hours=1)
    out = take_out_of_service(by=technician.actor, unit=unit, reason="creased", until=until)
    assert (out.state, out.state_reason, out.version) == ("out_of_service", "creased", 2)
    downtime = UnitDowntime.objects.get()
    assert (downtime.ends_at, downtime.reason) == (until, "creased")
    assert Event.objects.get(kind="unit.taken_out").before["state"] == "in_service"


def test_taken_out_again_there_is_one_downtime_running(
    manager: Person, unit: EquipmentUnit
) -> None:
    take_out_of_service(by=manager.actor, unit=unit, reason="creased")
    take_out_of_service(by=manager.actor, unit=unit, reason="torn")
    assert UnitDowntime.objects.filter(ends_at=None).get().reason == "torn"
    assert UnitDowntime.objects.count() == 2


def test_returned_the_downtime_ends(technician: Person, unit: EquipmentUnit) -> None:
    take_out_of_service(by=technician.actor, unit=unit, reason="creased")
    back = return_to_service(by=technician.actor, unit=unit)
    assert (back.state, back.state_reason) == ("in_service", "")
    assert UnitDowntime.objects.get().ends_at <= timezone.now()
    with pytest.raises(Conflict, match="in service"):
        return_to_service(by=technician.actor, unit=unit)


def test_a_version_that_is_not_the_newest_is_stale(manager: Person, unit: EquipmentUnit) -> None:
    take_out_of_service(by=manager.actor, unit=unit, reason="creased", version=1)
    for act in (
        lambda: take_out_of_service(by=manager.actor, unit=unit, reason="torn", version=1),
        lambda: return_to_service(by=manager.actor, unit=unit, version=1),
    ):
        with pytest.raises(Stale) as refused:
            act()
        assert (refused.value.code, refused.value.facts["version"]) == ("unit_changed", 2)
    assert EquipmentUnit.objects.get().state_reason == "creased"


@pytest.mark.parametrize(
    ("facts", "path"),
    [
        ({"reason": ""}, "reason"),
        ({"until": datetime(2020, 1, 1, tzinfo=timezone.get_default_timezone())}, "until"),
        ({"until": datetime(2099, 1, 1)}, "until"),
    ],
)
def test_a_downtime_that_cannot_be_is_refused(
    manager: Person, unit: EquipmentUnit, facts: dict[str, Any], path: str
) -> None:
    with pytest.raises(Invalid) as refused:
        take_out_of_service(by=manager.actor, unit=unit, **({"reason": "x"} | facts))
    assert [e.path for e in refused.value.errors] == [path]
    assert EquipmentUnit.objects.get().state == "in_service"


def test_a_step_counts_one_use_however_often_it_is_told(
    technician: Person, unit: EquipmentUnit
) -> None:
    for step in (7, 7, 8):
        record_use(by=technician.actor, unit=unit, step_id=step)
    assert UnitUse.objects.count() == 2
    assert Event.objects.filter(kind="unit.used").count() == 2


def test_a_unit_out_of_service_is_not_used(technician: Person, unit: EquipmentUnit) -> None:
    take_out_of_service(by=technician.actor, unit=unit, reason="creased")
    with pytest.raises(Conflict, match="creased"):
        record_use(by=technician.actor, unit=unit, step_id=7)
    assert not UnitUse.objects.exists()


def test_upkeep_keeps_the_count_of_uses_at_its_time(
    technician: Person, unit: EquipmentUnit, rule: UpkeepRule
) -> None:
    by = technician.actor
    record_use(by=by, unit=unit, step_id=1)
    between = timezone.now()
    record_use(by=by, unit=unit, step_id=2)
    assert record_upkeep(by=by, unit=unit, rule=rule, result="fit").uses_at == 2
    earlier = record_upkeep(by=by, unit=unit, rule=rule, result="fit", done_at=between)
    assert earlier.uses_at == 1


def test_not_fit_takes_the_unit_out_until_it_is_found_fit(
    technician: Person, unit: EquipmentUnit, rule: UpkeepRule
) -> None:
    by = technician.actor
    record_upkeep(by=by, unit=unit, rule=rule, result="not_fit", note="edge lifted")
    assert EquipmentUnit.objects.get().state == "out_of_service"
    with pytest.raises(Conflict) as refused:
        return_to_service(by=by, unit=unit)
    assert refused.value.code == "not_fit"
    record_upkeep(by=by, unit=unit, rule=rule, result="fit")
    assert EquipmentUnit.objects.get().state == "out_of_service"
    assert return_to_service(by=by, unit=unit).state == "in_service"


def test_upkeep_that_cannot_be_is_refused(
    manager: Person, unit: EquipmentUnit, rule: UpkeepRule
) -> None:
    other = add_equipment_type(by=manager.actor, code="tape", name="Tape")
    tape_rule = add_rule(by=manager.actor, type=other, code="t", name="Tape", every_days=9)
    now = timezone.now()
    for facts, path in (
        ({"result": "maybe"}, "result"),
        ({"rule": tape_rule}, "rule"),
        ({"done_at": now + timedelta(days=1)}, "done_at"),
        ({"done_at": datetime(2024, 6, 1, tzinfo=now.tzinfo)}, "done_at"),
    ):
        given: dict[str, Any] = {"rule": rule, "result": "not_fit"} | facts
        with pytest.raises(Invalid) as refused:
            record_upkeep(by=manager.actor, unit=unit, **given)
        assert [e.path for e in refused.value.errors] == [path]
    assert not UpkeepDone.objects.exists()
    assert EquipmentUnit.objects.get().state == "in_service"


def test_a_rule_that_is_never_due_is_refused(manager: Person, mats: EquipmentType) -> None:
    with pytest.raises(Invalid, match="never due"):
        add_rule(by=manager.actor, type=mats, code="x", name="X")
    with pytest.raises(Invalid, match="is 0"):
        add_rule(by=manager.actor, type=mats, code="x", name="X", every_days=0)


def test_another_shops_rows_are_not_found(
    manager: Person, other_manager: Person, mats: EquipmentType, unit: EquipmentUnit,
    rule: UpkeepRule,
) -> None:  # fmt: skip
    by = other_manager.actor
    for act in (
        lambda: take_out_of_service(by=by, unit=unit, reason="x"),
        lambda: return_to_service(by=by, unit=unit),
        lambda: record_use(by=by, unit=unit, step_id=1),
        lambda: record_upkeep(by=by, unit=unit, rule=rule, result="fit"),
        lambda: add_unit(by=by, type=mats, code="a", name="A"),
        lambda: add_rule(by=by, type=mats, code="a", name="A", every_days=1),
    ):
        with pytest.raises(NotFound):
            act()
    assert not Event.objects.filter(shop=other_manager.shop_id).exists()
    assert not Resource.objects.filter(shop=other_manager.shop_id).exists()


def test_roles_are_kept_apart(
    service_writer: Person, technician: Person, mats: EquipmentType, unit: EquipmentUnit,
    rule: UpkeepRule,
) -> None:  # fmt: skip
    desk, floor = service_writer.actor, technician.actor
    for act in (
        lambda: add_equipment_type(by=floor, code="x", name="X"),
        lambda: add_unit(by=floor, type=mats, code="x", name="X"),
        lambda: add_rule(by=floor, type=mats, code="x", name="X", every_days=1),
        lambda: record_upkeep(by=desk, unit=unit, rule=rule, result="fit"),
        lambda: record_use(by=desk, unit=unit, step_id=1),
        lambda: return_to_service(by=desk, unit=unit),
    ):
        with pytest.raises(NotAllowed):
            act()
