"""Drawing the shop, typed: with no script every change is a plain form."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from copy import deepcopy
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bays.models import FloorDraft, FloorPlanEdition, Hold, Resource
from bays.selectors.drafts import Draft, draft_of
from bays.services.drafts import begin_draft, save_draft
from bays.services.floor import publish_floor_plan
from shopcal.accounts.models import Shop
from shopcal.accounts.roles import Role
from tests.bays.services.shop_file import FLOOR
from tests.conftest import JoinShop, Person

JSON = {"HTTP_ACCEPT": "application/json"}


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def kept(shop: Shop) -> Draft:
    draft = draft_of(shop.pk)
    assert draft is not None
    return draft


def act(client: Client, shop: Shop, **values: Any) -> Any:
    given = {"version": kept(shop).version, **values}
    return client.post(reverse("draw-thing"), given)


def box(ref: str, **values: str) -> dict[str, str]:
    usual = {"x": "0", "y": "0", "width": "5 m", "depth": "8 m", "turn_deg": "0"}
    return {"act": "box", "ref": ref, **{f"box-{k}": v for k, v in {**usual, **values}.items()}}


@pytest.fixture
def drawn(shop: Shop, manager: Person) -> Shop:
    begin_draft(by=manager.actor, drawing=FLOOR)
    return shop


def test_an_empty_shop_begins_with_a_hall_of_typed_size(shop: Shop, in_charge: Client) -> None:
    page = in_charge.get(reverse("draw-floor"), follow=True)
    assert "where to begin" in text(page)
    given = {"hall-name": "Hall", "hall-width": "20 m", "hall-depth": "39 ft 4 1/2 in"}
    page = in_charge.post(reverse("draw-hall"), given, follow=True)
    assert kept(shop).drawing["outline"] == [[0, 0], [20000, 0], [20000, 12002], [0, 12002]]
    assert "No faults: it can be published" in text(page)


def test_a_hall_without_sizes_is_refused_beside_the_field(in_charge: Client) -> None:
    given = {"hall-name": "Hall", "hall-width": "wide", "hall-depth": "20 cm"}
    page = in_charge.post(reverse("draw-hall"), given)
    assert page.status_code == 422
    assert "“wide” is no length. Write a length such as" in text(page)
    assert "At least 1000 mm" in text(page)


def test_the_plan_in_force_is_taken_up_changed_and_published(
    shop: Shop, manager: Person, in_charge: Client
) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    in_charge.post(reverse("draw-from-edition", args=[1]))
    act(in_charge, shop, **box("zones.0", width="4 m"))
    page = in_charge.post(reverse("draw-publish"), {"version": kept(shop).version}, follow=True)
    assert "Edition 2 of the floor plan is in force" in text(page)
    assert "<svg" in text(page)
    assert draft_of(shop.pk) is None
    newest = FloorPlanEdition.objects.get(number=2)
    assert newest.content["zones"][0]["polygon"] == [[0, 0], [4000, 0], [4000, 8000], [0, 8000]]
    old = in_charge.get(reverse("floor-edition", args=[1]))
    assert "superseded" in text(old)


@pytest.mark.parametrize(
    ("kind", "key"),
    [
        ("bay", "zones"), ("rack", "zones"), ("aisle", "zones"), ("column", "obstacles"),
        ("lift post", "obstacles"), ("equipment", "obstacles"), ("room", "obstacles"),
        ("door", "doors"), ("hole", "holes"),
    ],
)  # fmt: skip
def test_everything_can_be_added_without_a_mouse(
    drawn: Shop, in_charge: Client, kind: str, key: str
) -> None:
    before = len(kept(drawn).drawing[key])
    answer = act(in_charge, drawn, act="add", kind=kind)
    assert len(kept(drawn).drawing[key]) == before + 1
    assert answer["Location"].endswith(f"?ref={key}.{before}#thing")
    page = in_charge.get(answer["Location"])
    assert 'name="act" value="remove"' in text(page)
    act(in_charge, drawn, act="remove", ref=f"{key}.{before}")
    assert len(kept(drawn).drawing[key]) == before


def test_a_rectangle_is_typed_in_any_unit_and_turned(drawn: Shop, in_charge: Client) -> None:
    act(in_charge, drawn, act="add", kind="column")
    act(in_charge, drawn, **box("obstacles.0", x="8 m", y="10 ft", width="60 cm", depth="300"))
    assert kept(drawn).drawing["obstacles"][0]["polygon"][0] == [8000, 3048]
    act(in_charge, drawn, **box("obstacles.0", x="8 m", y="3 m", width="600", depth="300", turn_deg="90"))  # noqa: E501  # fmt: skip
    assert kept(drawn).drawing["obstacles"][0]["polygon"] == [
        [8000, 3000], [8000, 3600], [7700, 3600], [7700, 3000],
    ]  # fmt: skip


def test_corners_are_typed_line_by_line(drawn: Shop, in_charge: Client) -> None:
    lines = "0; 0\n10 m; 0\n10 m; 5 m\n\n6000, 5 m\n6 m\t8000\n0  8 m"
    act(in_charge, drawn, act="corners", ref="outline", **{"corners-corners": lines})
    assert kept(drawn).drawing["outline"] == [
        [0, 0], [10000, 0], [10000, 5000], [6000, 5000], [6000, 8000], [0, 8000],
    ]  # fmt: skip


def test_a_corner_that_is_none_is_told_with_its_line(drawn: Shop, in_charge: Client) -> None:
    lines = "0; 0\n10 m\nwide; 3 m"
    page = act(in_charge, drawn, act="corners", ref="outline", **{"corners-corners": lines})
    assert page.status_code == 422
    assert "Line 2: This is no corner." in text(page)
    assert "Line 3: “wide” is no length." in text(page)
    assert kept(drawn).version == 1


def test_a_us_shop_reads_and_types_feet_and_inches(drawn: Shop, in_charge: Client) -> None:
    Shop.objects.filter(pk=drawn.pk).update(units="us")
    act(in_charge, drawn, **box("zones.0", width="16", depth="25 ft"))
    ring = kept(drawn).drawing["zones"][0]["polygon"]
    assert ring[2] == [406, 7620]  # sixteen alone is inches
    page = text(in_charge.get(reverse("draw-floor") + "?ref=zones.0"))
    assert 'value="25 ft"' in page
    assert re.search(r"\d+ ft by \d+|\d+ ft [\d.]+ in by", page)


def test_name_code_kind_and_heading_go_on_to_the_bay(drawn: Shop, in_charge: Client) -> None:
    given = {
        "facts-name": "Glass bay", "facts-id": "glass", "facts-kind": "rack",
        "facts-stands": "on", "facts-heading_deg": "180",
    }  # fmt: skip
    act(in_charge, drawn, act="facts", ref="zones.0", **given)
    drawing = kept(drawn).drawing
    assert drawing["zones"][0]["name"] == "Glass bay"
    assert {key: drawing["bays"][0][key] for key in ("id", "name", "zones", "heading_deg")} == {
        "id": "glass", "name": "Glass bay", "zones": ["glass"], "heading_deg": 180,
    }  # fmt: skip
    del given["facts-stands"]
    act(in_charge, drawn, act="facts", ref="zones.0", **given)
    assert not kept(drawn).drawing["bays"]


def test_a_door_is_typed_by_its_ends(drawn: Shop, in_charge: Client) -> None:
    ends = {"from_x": "0", "from_y": "2 m", "to_x": "0", "to_y": "6 m", "height": "3.2 m"}
    given = {f"facts-{key}": value for key, value in ends.items()}
    act(in_charge, drawn, act="facts", ref="doors.0", **{**given, "facts-id": "West door"})
    door = {"id": "West door", "from": [0, 2000], "to": [0, 6000], "height_mm": 3200}
    assert kept(drawn).drawing["doors"][0] == door


def test_zones_are_joined_into_one_bay(drawn: Shop, in_charge: Client) -> None:
    act(in_charge, drawn, act="add", kind="bay")
    ids = [zone["id"] for zone in kept(drawn).drawing["zones"]]
    answer = act(in_charge, drawn, act="join", zones=ids)
    assert kept(drawn).drawing["bays"][-1]["zones"] == ids
    assert "Zones it takes" in text(in_charge.get(answer["Location"]))
    assert act(in_charge, drawn, act="join", zones=ids[:1]).status_code == 422


FAULTS: list[tuple[Callable[[dict[str, Any]], object], str, str]] = [
    (
        lambda d: d.update(outline=[[0, 0], [10000, 8000], [10000, 0], [0, 8000]]),
        "The outline crosses or touches itself near (5000 mm, 4000 mm).",
        "point",
    ),
    (
        lambda d: d["zones"][0].update(polygon=[[0, 0], [4000, 0], [4000, 9000], [0, 9000]]),
        "Bay 1 reaches outside the floor by 4 m².",
        "ring",
    ),
    (
        lambda d: d["zones"].append({**d["zones"][0], "id": "two", "name": "Bay 2"}),
        "Bay 2 overlaps Bay 1 by 40 m².",
        "ring",
    ),
    (
        lambda d: d["doors"][0].update({"from": [0, 1000], "to": [0, 1900]}),
        "Door is 900 mm wide, and no vehicle passes it.",
        "line",
    ),
    (
        lambda d: d["doors"][0].update({"from": [0, 1000], "to": [900, 4000]}),
        "The other end of door is 900 mm off the nearest wall.",
        "point",
    ),
]


@pytest.mark.parametrize(("spoil", "says", "mark"), FAULTS, ids=[says for _, says, _ in FAULTS])
def test_each_fault_is_said_in_words_and_marked_in_the_picture(
    drawn: Shop,
    manager: Person,
    in_charge: Client,
    spoil: Callable[[dict[str, Any]], object],
    says: str,
    mark: str,
) -> None:
    drawing = deepcopy(FLOOR)
    spoil(drawing)
    save_draft(by=manager.actor, version=1, drawing=drawing)
    page = text(in_charge.get(reverse("draw-floor")))
    assert says in page
    assert f'class="fault-mark {mark}"' in page
    refused = in_charge.post(reverse("draw-publish"), {"version": 2})
    assert refused.status_code == 422
    assert says in text(refused)
    assert not FloorPlanEdition.objects.exists()


def test_the_script_saves_the_whole_drawing_and_is_told_what_to_say(
    drawn: Shop, in_charge: Client
) -> None:
    drawing = deepcopy(FLOOR)
    drawing["zones"][0]["polygon"] = [[0, 0], [4000, 0], [4000, 9000], [0, 9000]]
    body = json.dumps({"version": 1, "drawing": drawing, "ref": "zones.0"})
    answer = in_charge.post(reverse("draw-save"), body, "application/json", **JSON)
    told = answer.json()
    assert told["version"] == 2
    assert told["marks"][0]["number"] == 1
    assert "reaches outside the floor" in told["parts"]["state"]
    assert "Bay 1" in told["parts"]["thing"]
    drawing["zones"][0]["polygon"] = FLOOR["zones"][0]["polygon"]
    body = json.dumps({"version": 2, "drawing": drawing})
    told = in_charge.post(reverse("draw-save"), body, "application/json", **JSON).json()
    assert told["marks"] == []
    assert len(told["rest"]) == 1  # the floor beside the bay


def test_two_people_drawing_at_once_are_told_of_each_other(
    drawn: Shop, join_shop: JoinShop, client_for: Callable[[Person], Client], in_charge: Client
) -> None:
    other = client_for(join_shop(drawn, Role.MANAGER, "Odo Park"))
    body = json.dumps({"version": 1, "drawing": FLOOR})
    assert other.post(reverse("draw-save"), body, "application/json", **JSON).status_code == 200
    refused = in_charge.post(reverse("draw-save"), body, "application/json", **JSON)
    assert refused.status_code == 412
    assert refused.json()["code"] == "draft_changed"
    assert refused.json()["title"] == "Odo Park saved this drawing meanwhile."
    assert refused.json()["facts"]["version"] == 2
    typed = in_charge.post(reverse("draw-thing"), {"version": 1, "act": "add", "kind": "bay"})
    assert typed.status_code == 412
    assert "Odo Park saved this drawing meanwhile" in text(typed)


@pytest.mark.parametrize(
    "body",
    ["", "[]", "{", '{"version": 1}', '{"version": "x", "drawing": {}}',
     '{"version": 1, "drawing": {"outline": "big"}}', '{"version": 1, "drawing": 7}',
     '{"version": 1, "drawing": {"zones": [{"polygon": [[NaN, 0]]}]}}'],
)  # fmt: skip
def test_what_is_no_drawing_is_refused_and_the_draft_left_alone(
    drawn: Shop, in_charge: Client, body: str
) -> None:
    refused = in_charge.post(reverse("draw-save"), body, "application/json", **JSON)
    assert refused.status_code == 422
    assert kept(drawn).version == 1


@pytest.mark.parametrize(
    "values",
    [
        {"act": "facts", "ref": "zones.99"}, {"act": "box", "ref": "walls"},
        {"act": "remove", "ref": "zones.-1"}, {"act": "turn", "ref": "doors.0"},
        {"act": "add", "kind": "swamp"}, {"act": "burn"}, {},
        {"act": "add", "kind": "bay", "shape": "[[1]]"},
        {"act": "add", "kind": "bay", "shape": "[[1e999, 0], [0, 0], [1, 1]]"},
        {"act": "add", "kind": "bay", "version": "soon"},
    ],
)  # fmt: skip
def test_an_act_on_nothing_is_refused_in_words(
    drawn: Shop, in_charge: Client, values: dict[str, str]
) -> None:
    refused = act(in_charge, drawn, **values)
    assert refused.status_code in {404, 422}
    assert 'role="alert"' in text(refused)
    assert kept(drawn).version == 1


def test_zones_that_are_booked_are_named_with_the_booking(
    shop: Shop, manager: Person, in_charge: Client
) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    now = timezone.now()
    Hold.objects.create(
        shop=shop, resource=Resource.objects.get(code="bay-1"), note="RO 3121",
        starts_at=now, ends_at=now + timedelta(hours=1),
    )  # fmt: skip
    in_charge.post(reverse("draw-from-edition", args=[1]))
    act(in_charge, shop, act="remove", ref="zones.0")
    page = in_charge.post(reverse("draw-publish"), {"version": kept(shop).version})
    assert page.status_code == 409
    assert "The new floor plan lacks zones that are booked: Bay 1" in text(page)
    assert "RO 3121 in Bay 1, Tue 6 Oct 09:15 to 10:15" in text(page)  # Chicago's clock


def test_a_drawing_is_discarded_after_a_question(drawn: Shop, in_charge: Client) -> None:
    assert "Discard this drawing?" in text(in_charge.get(reverse("draw-floor")))
    in_charge.post(reverse("draw-discard"), {"version": 1})
    assert not FloorDraft.objects.exists()


def test_the_names_of_things_are_never_taken_for_markup(
    drawn: Shop, manager: Person, in_charge: Client
) -> None:
    drawing = deepcopy(FLOOR)
    drawing["name"] = "</script><b>Hall</b>"
    drawing["zones"][0]["name"] = drawing["zones"][0]["id"] = "<img src=x onerror=alert(1)>"
    save_draft(by=manager.actor, version=1, drawing=drawing)
    page = in_charge.get(reverse("draw-floor") + "?ref=zones.0").content.decode()
    assert "<img" not in page
    assert "<b>Hall" not in page


def test_setup_leads_to_the_drawing_and_to_every_edition(
    shop: Shop, manager: Person, in_charge: Client
) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    page = text(in_charge.get(reverse("shop-setup")))
    assert reverse("draw-floor") in page
    assert reverse("floor-edition", args=[1]) in page
    assert in_charge.get(reverse("floor-edition", args=[2])).status_code == 404


def test_another_shops_drawing_is_not_to_be_seen(
    drawn: Shop, other_manager: Person, client_for: Callable[[Person], Client]
) -> None:
    stranger = client_for(other_manager)
    assert stranger.get(reverse("draw-floor"))["Location"] == reverse("draw-begin")
    body = json.dumps({"version": 1, "drawing": FLOOR})
    answer = stranger.post(reverse("draw-save"), body, "application/json", **JSON)
    assert answer.status_code == 404
