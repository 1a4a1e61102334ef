"""A shop file comes in whole or not at all, and goes out as it came."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.utils import timezone

from bays.models import (
    EquipmentUnit,
    FloorPlanEdition,
    OpeningHours,
    Resource,
    ShiftPattern,
    Skill,
    Technician,
    UpkeepDone,
)
from bays.services.equipment import take_out_of_service
from bays.services.transfer import export_shop, import_shop, load_document
from bays.transfer import DocumentFaults
from bays.transfer.document import dump_yaml
from jobs.models import Procedure, VehicleModel
from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership, Shop
from shopcal.errors import NotAllowed
from shopcal.history.models import Event
from tests.bays.services.shop_file import demo_document, small_document
from tests.conftest import Person

pytestmark = pytest.mark.django_db

Change = Callable[[dict[str, Any]], Any]


def _unit(d: dict[str, Any]) -> dict[str, Any]:
    return d["equipment"]["types"][0]["units"][0]


def _person(d: dict[str, Any]) -> dict[str, Any]:
    return d["people"]["technicians"][0]


def _shift(d: dict[str, Any]) -> dict[str, Any]:
    return _person(d)["shifts"][0]


def _set(place: Callable[[dict[str, Any]], dict[str, Any]], **values: Any) -> Change:
    return lambda d: place(d).update(values)


FAULTS: list[tuple[Change, str]] = [
    (_set(lambda d: d, format="shop/9"), "format"),
    (_set(lambda d: d, florr={}), "florr"),
    (_set(lambda d: d["shop"], time_zone="Mars/Base"), "shop.time_zone"),
    (_set(lambda d: d["shop"], units="furlongs"), "shop.units"),
    (_set(lambda d: d["shop"], colour="red"), "shop.colour"),
    (_set(lambda d: d["hours"]["opening"][0], closes="07:00"), "hours.opening[0].closes"),
    # 12:00 without quotes, as YAML reads it
    (_set(lambda d: d["hours"]["opening"][0], closes=720), "hours.opening[0].closes"),
    (_set(lambda d: d["hours"]["opening"][0], days=["monday"]), "hours.opening[0].days[0]"),
    (_set(lambda d: d["hours"]["closures"][0], to="2026-12-01"), "hours.closures[0].to"),
    (_set(lambda d: d["hours"]["closures"][0], to="2026-02-30"), "hours.closures[0].to"),
    (lambda d: d["skills"].append({"code": "scan", "name": "Again"}), "skills[2].code"),
    (_set(lambda d: d["skills"][0], code="no code"), "skills[0].code"),
    (_set(lambda d: d["equipment"]["types"][0], exclusive="no"), "equipment.types[0].exclusive"),
    (
        lambda d: d["equipment"]["types"][0]["upkeep"][0].pop("every_days"),
        "equipment.types[0].upkeep[0].every_days",
    ),
    (_set(_unit, accuracy_class="IV"), "equipment.types[0].units[0].accuracy_class"),
    (_set(_unit, resolution_mm=-1), "equipment.types[0].units[0].resolution_mm"),
    (_set(_unit, commissioned_on=20250203), "equipment.types[0].units[0].commissioned_on"),
    (_set(_unit, state="out_of_service"), "equipment.types[0].units[0].state_reason"),
    (
        _set(lambda d: _unit(d)["upkeep_done"][0], rule="polish"),
        "equipment.types[0].units[0].upkeep_done[0].rule",
    ),
    (
        _set(lambda d: _unit(d)["upkeep_done"][0], done_on="2024-01-01"),
        "equipment.types[0].units[0].upkeep_done[0].done_on",
    ),
    (
        _set(lambda d: _unit(d)["upkeep_done"][0], days_ago=3),
        "equipment.types[0].units[0].upkeep_done[0]",
    ),
    (_set(_person, email="nobody"), "people.technicians[0].email"),
    (_set(_person, skills=[{"skill": "welding"}]), "people.technicians[0].skills[0].skill"),
    (
        lambda d: d["people"]["technicians"].append({"code": "osei", "name": "Other"}),
        "people.technicians[1].code",
    ),
    (_set(_shift, ends="07:00"), "people.technicians[0].shifts[0].ends"),
    (_set(_shift, lunch=["12:00"]), "people.technicians[0].shifts[0].lunch"),
    (_set(_shift, lunch=["17:00", "17:30"]), "people.technicians[0].shifts[0].lunch"),
    (_set(lambda d: d["floor"]["zones"][0], polygon=[[0, 0]]), "floor.zones[0].polygon"),
    (_set(lambda d: d["floor"]["bays"][0], zones=["bay-9"]), "floor.bays[0].zones[0]"),
    (_set(lambda d: d["floor_surveys"][0], points=[[0, 0, 0]]), "floor_surveys[0].points"),
    (
        _set(lambda d: d["floor_surveys"][0], points=[[i, i, 0] for i in range(0, 4000, 500)]),
        "floor_surveys[0].points",
    ),
    (_set(lambda d: d["floor_surveys"][0], due_on="2025-01-01"), "floor_surveys[0].due_on"),
    (_set(lambda d: d["floor_surveys"][0], days_ago=3), "floor_surveys[0]"),
    (lambda d: d["floor_surveys"][0].pop("surveyed_on"), "floor_surveys[0].surveyed_on"),
    (_set(lambda d: d["light_surveys"][0], points=[[0, 0, 500]]), "light_surveys[0].points"),
    (
        lambda d: d["light_surveys"][0]["points"][1].__setitem__(2, -5),
        "light_surveys[0].points[1]",
    ),
    (
        _set(lambda d: d["light_surveys"][0], good_for_days=99_999_999),
        "light_surveys[0].good_for_days",
    ),
    (_set(lambda d: d["light_surveys"][0], colour="warm"), "light_surveys[0].colour"),
    (_set(lambda d: d["vehicle_models"][0], width_mm="2 m"), "vehicle_models[0].width_mm"),
    (_set(lambda d: d["vehicle_models"][0], wheelbase_mm=20), "vehicle_models[0].wheelbase_mm"),
    (_set(lambda d: d["vehicle_models"][0], vin_prefix="OIQ"), "vehicle_models[0].vin_prefix"),
    (_set(lambda d: d, procedures=[{"code": "x"}]), "procedures[0].name"),
    (_set(lambda d: d, people=[]), "people"),
]


@pytest.mark.parametrize(("spoil", "path"), FAULTS, ids=[path for _, path in FAULTS])
def test_a_fault_is_told_with_its_path(manager: Person, spoil: Change, path: str) -> None:
    document = small_document()
    spoil(document)
    with pytest.raises(DocumentFaults) as refused:
        import_shop(by=manager.actor, document=document)
    assert path in [error.path for error in refused.value.errors]


def test_every_fault_is_told_at_once_and_nothing_is_half_saved(manager: Person) -> None:
    document = small_document()
    spoilt = [FAULTS[i] for i in (2, 5, 9, 13, 14, 21, 22, 24, 27, 30)]
    for spoil, _ in spoilt:
        spoil(document)
    with pytest.raises(DocumentFaults) as refused:
        import_shop(by=manager.actor, document=document)
    assert {path for _, path in spoilt} <= {error.path for error in refused.value.errors}
    for model in (Skill, Technician, EquipmentUnit, FloorPlanEdition, Resource, VehicleModel):
        assert not model.objects.exists()
    assert not Event.objects.exists()


def test_what_only_the_stored_rows_tell_undoes_the_sections_before_it(manager: Person) -> None:
    document = small_document()
    document["floor_surveys"][0]["points"][1] = [90_000, 0, 2]
    with pytest.raises(DocumentFaults, match="outside the floor plan"):
        import_shop(by=manager.actor, document=document)
    assert not Skill.objects.exists()
    assert not FloorPlanEdition.objects.exists()


def test_an_unquoted_time_is_explained(manager: Person) -> None:
    text = "format: shopcal-shop/1\nhours: {opening: [{days: [mon], opens: 12:00, closes: 18:00}]}"
    with pytest.raises(DocumentFaults) as refused:
        import_shop(by=manager.actor, document=load_document(text))
    assert [(e.path, e.right) for e in refused.value.errors] == [
        ("hours.opening[0].opens", 'a time in quotes: "12:00"'),
        ("hours.opening[0].closes", 'a time in quotes: "18:00"'),
    ]


def test_the_demonstration_shop_comes_in_whole(manager: Person) -> None:
    summary = import_shop(by=manager.actor, document=demo_document())
    assert summary.counts["technicians"].added == 4
    assert summary.counts["procedures"].added == Procedure.objects.count() >= 8
    assert EquipmentUnit.objects.filter(type__code="tape_measure", type__exclusive=False).exists()
    assert ShiftPattern.objects.filter(technician__code="osei").count() == 6
    assert Shop.objects.get(pk=manager.shop_id).time_zone == "America/Denver"
    rest = Resource.objects.filter(kind="zone", code__startswith="rest-")
    assert rest.exists(), "floor that no zone covers must belong to one too"


def test_bringing_the_same_file_in_again_changes_nothing(manager: Person) -> None:
    import_shop(by=manager.actor, document=demo_document())
    events, before = Event.objects.count(), export_shop(manager.shop_id)
    summary = import_shop(by=manager.actor, document=demo_document())
    assert not summary.anything_changed
    assert Event.objects.count() == events
    assert export_shop(manager.shop_id) == before


@pytest.mark.parametrize("document", [small_document(), demo_document()], ids=["small", "demo"])
def test_export_into_an_empty_shop_and_export_again_is_the_same(
    manager: Person, other_manager: Person, document: dict[str, Any]
) -> None:
    import_shop(by=manager.actor, document=document)
    take_out_of_service(
        by=manager.actor,
        unit=EquipmentUnit.objects.filter(shop=manager.shop_id).first(),  # type: ignore[arg-type]
        reason="bent",
    )
    exported = export_shop(manager.shop_id)
    import_shop(by=other_manager.actor, document=load_document(dump_yaml(exported)))
    assert export_shop(other_manager.shop_id) == exported
    assert EquipmentUnit.objects.filter(shop=other_manager.shop_id, state="out_of_service").exists()


def test_what_the_file_does_not_name_is_left_alone(manager: Person) -> None:
    import_shop(by=manager.actor, document=small_document())
    document = {
        "format": "shopcal-shop/1",
        "skills": [{"code": "radar", "name": "Radars"}],
        "equipment": {
            "types": [
                {
                    "code": "tape",
                    "name": "Measuring tape",
                    "units": [
                        {"code": "tape-1", "name": "Tape one", "commissioned_on": "2025-02-03"}
                    ],
                }
            ]
        },
    }
    summary = import_shop(by=manager.actor, document=document)
    assert summary.counts["equipment units"].changed == 1
    unit = EquipmentUnit.objects.select_related("type").get()
    assert (unit.name, unit.serial, unit.accuracy_class) == ("Tape one", "T1", "II")
    assert (unit.type.name, unit.type.exclusive) == ("Measuring tape", False)
    assert Skill.objects.count() == 3
    assert OpeningHours.objects.count() == 2


def test_upkeep_days_ago_is_used_only_while_there_is_none(manager: Person) -> None:
    document = small_document()
    _unit(document)["upkeep_done"] = [{"rule": "tape_check", "days_ago": 40}]
    import_shop(by=manager.actor, document=document)
    _unit(document)["upkeep_done"] = [{"rule": "tape_check", "days_ago": 39}]
    import_shop(by=manager.actor, document=document)
    done = UpkeepDone.objects.get()
    shop_day = timezone.now().astimezone(Shop.objects.get(pk=manager.shop_id).zone).date()
    zone = Shop.objects.get(pk=manager.shop_id).zone
    assert done.done_at.astimezone(zone).date() == shop_day - timedelta(days=40)


def test_a_unit_found_fit_since_is_not_taken_out_by_its_history(manager: Person) -> None:
    document = small_document()
    _unit(document)["upkeep_done"] = [
        {"rule": "tape_check", "done_on": "2025-08-01", "result": "not_fit", "note": "hook bent"},
        {"rule": "tape_check", "done_on": "2025-08-02"},
    ]
    import_shop(by=manager.actor, document=document)
    assert EquipmentUnit.objects.get().state == "in_service"


def test_a_unit_last_found_not_fit_is_taken_out(manager: Person) -> None:
    document = small_document()
    _unit(document)["upkeep_done"] = [
        {"rule": "tape_check", "done_on": "2025-08-02"},
        {"rule": "tape_check", "done_on": "2025-08-03", "result": "not_fit", "note": "hook bent"},
    ]
    import_shop(by=manager.actor, document=document)
    unit = EquipmentUnit.objects.get()
    assert (unit.state, unit.state_reason) == (
        "out_of_service",
        "Tape check: not fit for use, hook bent",
    )


def test_an_email_joins_the_shop_as_technician_and_keeps_a_role_there_is(manager: Person) -> None:
    document = small_document()
    import_shop(by=manager.actor, document=document)
    joined = Membership.objects.get(user__email="osei@fennhollow.example")
    assert (joined.role, joined.technician.code) == (Role.TECHNICIAN, "osei")
    people = document["people"]["technicians"]
    people.append({"code": "maud", "name": "M. Ellery", "email": manager.user.email})
    import_shop(by=manager.actor, document=document)
    manager.membership.refresh_from_db()
    assert manager.membership.role == Role.MANAGER
    assert manager.membership.technician.code == "maud"


def test_an_address_of_another_technician_is_a_fault(manager: Person) -> None:
    document = small_document()
    import_shop(by=manager.actor, document=document)
    _person(document)["code"] = "osei-2"
    with pytest.raises(DocumentFaults) as refused:
        import_shop(by=manager.actor, document=document)
    assert [e.path for e in refused.value.errors] == ["people.technicians[0].email"]


def test_an_import_never_touches_another_shop(manager: Person, other_manager: Person) -> None:
    import_shop(by=other_manager.actor, document=small_document())
    before = export_shop(other_manager.shop_id)
    document = small_document()
    document["skills"][0]["name"] = "Renamed"
    _unit(document)["name"] = "Renamed"
    import_shop(by=manager.actor, document=document)
    assert export_shop(other_manager.shop_id) == before


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.SERVICE_WRITER])
def test_only_a_manager_may_import(shop: Shop, role: Role) -> None:
    with pytest.raises(NotAllowed):
        import_shop(by=Actor(shop.pk, role, "Any"), document=small_document())
    assert not Skill.objects.exists()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[1, 2]", "no group of fields"),
        ("a: [", "cannot be read"),
        ("a: 1\na: 2", "there twice"),
        ('{"a": 1, "a": 2}', "there twice"),
        ("a: &x [1]\nb: *x", "not used here"),
        ("", "no group of fields"),
    ],
)
def test_a_text_that_is_no_document_is_refused(text: str, says: str) -> None:
    with pytest.raises(DocumentFaults, match=says):
        load_document(text)


def test_yaml_json_and_date_objects_say_the_same(manager: Person, other_manager: Person) -> None:
    yaml_text = (
        "format: shopcal-shop/1\nhours: {closures: [{from: 2026-12-25, to: 2026-12-25, reason: x}]}"
    )
    document = load_document(yaml_text)
    json_text = '{"format": "shopcal-shop/1", "hours": {"closures":' + (
        ' [{"from": "2026-12-25", "to": "2026-12-25", "reason": "x"}]}}'
    )
    assert document == load_document(json_text)
    day = date(2026, 12, 25)
    with_dates = {
        "format": "shopcal-shop/1",
        "hours": {"closures": [{"from": day, "to": day, "reason": "x"}]},
    }
    import_shop(by=manager.actor, document=document)
    import_shop(by=other_manager.actor, document=with_dates)
    closures = [export_shop(p.shop_id)["hours"] for p in (manager, other_manager)]
    assert closures[0] == closures[1]


def test_days_counted_from_today_become_days_of_the_calendar(manager: Person) -> None:
    document = small_document()
    for key in ("floor_surveys", "light_surveys"):
        row = document[key][0]
        for name in ("surveyed_on", "due_on"):
            row.pop(name, None)
        row |= {"days_ago": 40, "good_for_days": 365}
    import_shop(by=manager.actor, document=document)
    today = timezone.now().astimezone(Shop.objects.get(pk=manager.shop_id).zone).date()
    read = (today - timedelta(days=40)).isoformat()
    due = (today + timedelta(days=325)).isoformat()
    exported = export_shop(manager.shop_id)
    for key in ("floor_surveys", "light_surveys"):
        assert (exported[key][0]["surveyed_on"], exported[key][0]["due_on"]) == (read, due)
