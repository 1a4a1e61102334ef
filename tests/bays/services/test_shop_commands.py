"""The two commands at the command line."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from bays.models import Technician
from bays.services.transfer import load_document
from jobs.models import Procedure
from shopcal.accounts.models import Shop
from tests.bays.services.shop_file import DEMO, small_document

pytestmark = pytest.mark.django_db


def _run(*args: str, **options: object) -> str:
    out = io.StringIO()
    call_command(*args, stdout=out, **options)
    return out.getvalue()


def test_a_file_makes_a_shop_with_its_procedures() -> None:
    says = _run(
        "import_shop",
        str(DEMO / "shop.yaml"),
        shop="fenn",
        create=True,
        procedures=str(DEMO / "procedures"),
    )
    assert "technicians: 4 added" in says
    assert Shop.objects.get(slug="fenn").name == "Fennhollow Sensor Works"
    assert Procedure.objects.count() >= 8


def test_a_faulty_file_makes_no_shop_and_names_every_place(tmp_path: Path) -> None:
    document = small_document()
    document["skills"][0]["code"] = "no code"
    document["shop"]["time_zone"] = "Mars/Base"
    file = tmp_path / "shop.json"
    file.write_text(json.dumps(document))
    with pytest.raises(CommandError) as refused:
        _run("import_shop", str(file), shop="fenn", create=True)
    assert "skills[0].code" in str(refused.value)
    assert "shop.time_zone" in str(refused.value)
    assert not Shop.objects.exists()


def test_without_create_an_unknown_shop_is_refused() -> None:
    with pytest.raises(CommandError, match="--create"):
        _run("import_shop", str(DEMO / "shop.yaml"), shop="fenn")
    assert not Technician.objects.exists()


@pytest.mark.parametrize("as_json", [True, False])
def test_export_is_read_back_the_same(tmp_path: Path, as_json: bool) -> None:
    file = tmp_path / "shop.json"
    file.write_text(json.dumps(small_document()))
    _run("import_shop", str(file), shop="fenn", create=True)
    text = _run("export_shop", shop="fenn", json=as_json)
    copy = tmp_path / "copy.yaml"
    copy.write_text(text)
    _run("import_shop", str(copy), shop="copy", create=True)
    assert load_document(_run("export_shop", shop="copy")) == load_document(text)
