"""A drawing that begins with a file: ours, or DXF with its layers told apart."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest
import yaml
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bays.floor import FloorPlan
from bays.selectors.drafts import Draft, draft_of
from shopcal.accounts.models import Shop
from tests.bays.pages.conftest import DEMO
from tests.bays.services.shop_file import FLOOR
from tests.bays.transfer.halls import as_bytes, hall


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def kept(shop: Shop) -> Draft:
    draft = draft_of(shop.pk)
    assert draft is not None
    return draft


def bring(client: Client, way: str, content: bytes, name: str) -> Any:
    field = {"draw-dxf": "dxf-file", "draw-file": "file-file"}[way]
    given = {field: SimpleUploadedFile(name, content)}
    return client.post(reverse(way), given, follow=True)


def test_the_floor_of_a_shop_file_is_taken_up(shop: Shop, in_charge: Client) -> None:
    page = bring(in_charge, "draw-file", DEMO.read_bytes(), "shop.yaml")
    assert "No faults: it can be published" in text(page)
    assert len(kept(shop).drawing["zones"]) == 14


def test_a_floor_alone_is_taken_up_with_its_faults(shop: Shop, in_charge: Client) -> None:
    floor = deepcopy(FLOOR)
    floor["zones"][0]["polygon"] = [[0, 0], [4000, 0], [4000, 9000], [0, 9000]]
    page = bring(in_charge, "draw-file", yaml.safe_dump(floor).encode(), "floor.yaml")
    assert "Bay 1 reaches outside the floor by 4 m²" in text(page)


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"\xff\xfe\x00x", "not a text file"),
        (b"a: [1", "cannot be read"),
        (b"obstacels: []", "obstacels"),
        (b"floor: {outline: big}", "outline"),
        (b"floor: 7", "is a number"),
        (b"a: &x 1\nb: *x", "not used here"),
    ],
)
def test_a_file_that_is_no_drawing_is_refused_in_words(
    shop: Shop, in_charge: Client, content: bytes, word: str
) -> None:
    page = bring(in_charge, "draw-file", content, "floor.yaml")
    assert page.status_code == 422
    assert word in text(page)
    assert draft_of(shop.pk) is None


def told(shop: Shop, **meanings: str) -> dict[str, Any]:
    imported = kept(shop).imported
    assert imported is not None
    numbers = {layer["name"].lower(): i for i, layer in enumerate(imported["layers"])}
    layers = {f"layer{i}": meanings.get(name, "ignore") for name, i in numbers.items()}
    return {"version": kept(shop).version, "unit": "6", "name": "Hall", **layers}


def test_a_dxf_files_layers_are_told_apart_and_become_a_drawing(
    shop: Shop, in_charge: Client
) -> None:
    page = text(bring(in_charge, "draw-dxf", as_bytes(hall()), "hall.dxf"))
    assert "What does each layer mean?" in page
    assert "4 lines" in page
    assert "3 closed shapes" in page
    assert "1 circle" in page
    assert '<option value="6" selected>metres' in page  # as the file says
    assert '<option value="column" selected>columns' in page  # guessed from the layer's name
    answers = told(shop, walls="outline", columns="column", bays="bay", doors="door")
    page = text(in_charge.post(reverse("draw-layers-told"), answers, follow=True))
    assert "No faults: it can be published" in page
    plan = FloorPlan.from_content(kept(shop).drawing)
    assert plan.summary()["width_mm"] == 20_000
    assert plan.doors[0].width_mm == 3000


def test_layers_can_be_told_apart_anew(shop: Shop, in_charge: Client) -> None:
    bring(in_charge, "draw-dxf", as_bytes(hall()), "hall.dxf")
    in_charge.post(reverse("draw-layers-told"), told(shop, walls="outline"))
    assert not kept(shop).drawing["zones"]
    assert "Layers of the file" in text(in_charge.get(reverse("draw-floor")))
    in_charge.post(reverse("draw-layers-told"), told(shop, walls="outline", bays="aisle"))
    assert [zone["kind"] for zone in kept(shop).drawing["zones"]] == ["aisle"] * 3


def test_a_file_that_does_not_say_its_unit_is_asked_about(shop: Shop, in_charge: Client) -> None:
    page = text(bring(in_charge, "draw-dxf", as_bytes(hall(0)), "hall.dxf"))
    assert "20000 mm by 12000 mm" in page  # how large it would be in metres
    answers = {**told(shop, walls="outline"), "unit": ""}
    refused = in_charge.post(reverse("draw-layers-told"), answers)
    assert refused.status_code == 422
    assert "Say which unit the file is drawn in." in text(refused)
    answers["unit"] = "99"
    assert in_charge.post(reverse("draw-layers-told"), answers).status_code == 422


def test_a_layer_that_means_nothing_we_know_is_refused(shop: Shop, in_charge: Client) -> None:
    bring(in_charge, "draw-dxf", as_bytes(hall()), "hall.dxf")
    answers = {**told(shop), "layer0": "swamp"}
    assert in_charge.post(reverse("draw-layers-told"), answers).status_code == 422


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"hello", "This is not a DXF file."),
        (b"AC1032\0\0", "This is a DWG file. Save the drawing as DXF and bring that in."),
        (b"0\nSECTION\n2\nENTITIES\n0\nENDSEC\n0\nEOF\n", "There are no lines or shapes"),
        (b"0\nSECTION ENTITIES" + b" " * 8_000_000, "This file is too large"),
    ],
)
def test_a_file_that_is_no_dxf_file_is_refused_in_words(
    shop: Shop, in_charge: Client, content: bytes, word: str
) -> None:
    page = bring(in_charge, "draw-dxf", content, "hall.dxf")
    assert page.status_code == 422
    assert word in text(page)
    assert draft_of(shop.pk) is None


def test_a_layers_name_is_never_taken_for_markup(in_charge: Client) -> None:
    data = as_bytes(hall()).replace(b"Bays", b"<b>x")
    page = bring(in_charge, "draw-dxf", data, "<b>hall</b>.dxf").content.decode()
    assert "&lt;b&gt;x" in page
    assert "<b>" not in page
