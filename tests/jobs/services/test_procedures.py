"""Procedures are published as editions that nothing changes, and retired."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from bays.services.transfer import export_shop, import_shop
from bays.transfer import DocumentFaults
from jobs.models import Procedure, ProcedureEdition, VehicleModel
from jobs.procedures import ProcedureFaults
from jobs.services.procedures import publish_edition, retire_procedure
from jobs.services.vehicles import add_vehicle_model, put_vehicle_model
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound
from shopcal.history.models import Event
from tests.bays.services.shop_file import demo_document
from tests.conftest import Person

pytestmark = pytest.mark.django_db

VAN: dict[str, Any] = {
    "make": "Tern", "name": "Van", "width_mm": 2030, "wheelbase_mm": 3280,
    "front_overhang_mm": 960, "rear_overhang_mm": 1120,
}  # fmt: skip


@pytest.fixture(scope="module")
def contents() -> dict[str, dict[str, Any]]:
    return {content["code"]: content for content in demo_document()["procedures"]}


@pytest.fixture
def alignment(contents: dict[str, dict[str, Any]]) -> dict[str, Any]:
    return deepcopy(contents["wheel_alignment"])


def _document(*procedures: dict[str, Any]) -> dict[str, Any]:
    return {"format": "shopcal-shop/1", "procedures": list(procedures)}


def test_editions_count_up_and_the_same_content_makes_none(
    manager: Person, alignment: dict[str, Any]
) -> None:
    first = publish_edition(by=manager.actor, content=alignment)
    same = publish_edition(by=manager.actor, content=dict(reversed(alignment.items())))
    assert (first.number, same.pk) == (1, first.pk)
    alignment["name"] = "Alignment, second wording"
    second = publish_edition(by=manager.actor, content=alignment)
    assert (second.number, second.procedure.name) == (2, "Alignment, second wording")
    assert Event.objects.filter(kind="procedure.published").count() == 2
    assert second.source_dated_on.isoformat() == "2025-10-06"


def test_faults_are_told_with_their_path_and_nothing_saved(
    manager: Person, alignment: dict[str, Any]
) -> None:
    alignment["worksheet"]["checks"][0]["quantity"] = "nothing_measured"
    with pytest.raises(ProcedureFaults) as refused:
        publish_edition(by=manager.actor, content=alignment)
    assert refused.value.errors[0].path.startswith("worksheet.checks[0]")
    assert not Procedure.objects.exists()


def test_a_procedure_needed_first_must_be_there(manager: Person, alignment: dict[str, Any]) -> None:
    alignment["needs_first"] = ["polishing"]
    with pytest.raises(ProcedureFaults) as refused:
        publish_edition(by=manager.actor, content=alignment)
    assert [e.path for e in refused.value.errors] == ["needs_first[0]"]


def test_another_shops_procedure_does_not_count_as_there(
    manager: Person, other_manager: Person, alignment: dict[str, Any]
) -> None:
    publish_edition(by=other_manager.actor, content=alignment)
    later = {**deepcopy(alignment), "code": "later", "needs_first": ["wheel_alignment"]}
    with pytest.raises(ProcedureFaults):
        publish_edition(by=manager.actor, content=later)


def test_procedures_that_wait_for_each_other_are_refused(
    manager: Person, alignment: dict[str, Any]
) -> None:
    publish_edition(by=manager.actor, content=alignment)
    later = {**deepcopy(alignment), "code": "later", "needs_first": ["wheel_alignment"]}
    publish_edition(by=manager.actor, content=later)
    alignment["needs_first"] = ["later"]
    with pytest.raises(ProcedureFaults, match="circle"):
        publish_edition(by=manager.actor, content=alignment)


def test_an_import_may_name_what_it_brings_later_and_tells_a_circle(
    manager: Person, alignment: dict[str, Any]
) -> None:
    later = {**deepcopy(alignment), "code": "later", "needs_first": ["wheel_alignment"]}
    import_shop(by=manager.actor, document=_document(later, alignment))
    assert Procedure.objects.count() == 2
    circle = {**alignment, "needs_first": ["later"]}
    with pytest.raises(DocumentFaults) as refused:
        import_shop(by=manager.actor, document=_document(later, circle))
    assert [e.path for e in refused.value.errors] == ["procedures[0].needs_first"]


def test_an_import_tells_faults_of_every_procedure(
    manager: Person, alignment: dict[str, Any]
) -> None:
    unknown = {**deepcopy(alignment), "code": "a", "needs_first": ["polishing"]}
    late = {**deepcopy(alignment), "code": "b", "road": True}
    with pytest.raises(DocumentFaults) as refused:
        import_shop(by=manager.actor, document=_document(unknown, late, alignment, alignment))
    paths = [e.path for e in refused.value.errors]
    assert {"procedures[0].needs_first[0]", "procedures[3].code"} <= set(paths)
    assert any(path.startswith("procedures[1]") for path in paths)
    assert not Procedure.objects.exists()


@pytest.mark.parametrize("act", ["update", "delete"])
def test_the_database_refuses_to_change_an_edition(
    manager: Person, alignment: dict[str, Any], act: str
) -> None:
    publish_edition(by=manager.actor, content=alignment)
    rows = ProcedureEdition.objects.all()
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        rows.update(number=9) if act == "update" else rows.delete()
    assert ProcedureEdition.objects.get().number == 1


def test_a_retired_procedure_stays_retired_until_it_is_published_anew(
    manager: Person, alignment: dict[str, Any]
) -> None:
    edition = publish_edition(by=manager.actor, content=alignment)
    assert retire_procedure(by=manager.actor, procedure=edition.procedure).retired_at
    assert "procedures" not in export_shop(manager.shop_id)
    import_shop(by=manager.actor, document=_document(alignment))
    assert Procedure.objects.get().retired_at
    alignment["name"] = "Alignment again"
    publish_edition(by=manager.actor, content=alignment)
    assert Procedure.objects.get().retired_at is None


def test_a_procedure_others_need_first_is_not_retired(
    manager: Person, alignment: dict[str, Any]
) -> None:
    first = publish_edition(by=manager.actor, content=alignment)
    later = {**deepcopy(alignment), "code": "later", "needs_first": ["wheel_alignment"]}
    publish_edition(by=manager.actor, content=later)
    with pytest.raises(Conflict) as refused:
        retire_procedure(by=manager.actor, procedure=first.procedure)
    assert refused.value.facts["procedures"] == ["later"]


def test_only_a_manager_of_the_shop_publishes_and_retires(
    manager: Person, technician: Person, service_writer: Person, other_manager: Person,
    alignment: dict[str, Any],
) -> None:  # fmt: skip
    procedure = publish_edition(by=manager.actor, content=alignment).procedure
    for person in (technician, service_writer):
        with pytest.raises(NotAllowed):
            publish_edition(by=person.actor, content=alignment)
        with pytest.raises(NotAllowed):
            retire_procedure(by=person.actor, procedure=procedure)
    with pytest.raises(NotFound):
        retire_procedure(by=other_manager.actor, procedure=procedure)


def test_a_kind_of_vehicle_is_added_once_and_changed(service_writer: Person) -> None:
    by = service_writer.actor
    add_vehicle_model(by=by, code="tern-van", **VAN)
    with pytest.raises(Invalid, match="taken"):
        add_vehicle_model(by=by, code="tern-van", **VAN)
    put_vehicle_model(by=by, code="tern-van", **{**VAN, "width_mm": 2040})
    assert VehicleModel.objects.get().width_mm == 2040
    assert list(Event.objects.values_list("kind", flat=True).order_by("seq")) == [
        "vehicle_model.added",
        "vehicle_model.changed",
    ]


@pytest.mark.parametrize(
    ("facts", "path"),
    [
        ({"width_mm": 3}, "width_mm"),
        ({"tyre_track_mm": 3}, "tyre_track_mm"),
        ({"turning_circle_mm": 6000}, "turning_circle_mm"),
        ({"turning_circle_mm": 50_000}, "turning_circle_mm"),
        ({"vin_prefix": "5zz"}, "vin_prefix"),
        ({"systems": ["front camera"]}, "systems[0]"),
        ({"make": ""}, "make"),
    ],
)
def test_a_vehicle_that_cannot_be_is_refused(
    manager: Person, facts: dict[str, Any], path: str
) -> None:
    with pytest.raises(Invalid) as refused:
        add_vehicle_model(by=manager.actor, code="tern-van", **{**VAN, **facts})
    assert [e.path for e in refused.value.errors] == [path]
    assert not VehicleModel.objects.exists()


def test_a_technician_adds_no_vehicles(technician: Person) -> None:
    with pytest.raises(NotAllowed):
        add_vehicle_model(by=technician.actor, code="tern-van", **VAN)
