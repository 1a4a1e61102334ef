"""The pages of surveys: what they say, adding one, and faults beside the field."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bays.models import FloorSurvey, LightSurvey
from bays.services.surveys import record_survey
from shopcal.accounts.models import Shop
from tests.conftest import Person

GRID = [(x, y) for x in range(0, 40, 2) for y in range(0, 14, 2)]
TABLE = "x;y;height\n" + "\n".join(f"{x};{y};{0.2 * x:.1f}".replace(".", ",") for x, y in GRID)


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def given(**fields: Any) -> dict[str, Any]:
    today = timezone.now().date()
    return {
        "table": TABLE,
        "places_in": "m",
        "heights_in": "mm",
        "light_in": "lux",
        "instrument": "Rotating laser 7",
        "reading_error": "0.5",
        "surveyed_on": today.isoformat(),
        "due_on": (today + timedelta(days=365)).isoformat(),
        "notes": "",
        **fields,
    }


def add(client: Client, kind: str = "floor", **fields: Any) -> Any:
    return client.post(reverse("survey-add", args=[kind]), given(**fields))


def test_the_list_says_what_is_overdue_and_what_is_due_soon(
    furnished: Shop, in_charge: Client
) -> None:
    page = text(in_charge.get(reverse("surveys")))
    assert "Light survey 1</a> is overdue since" in page
    for word in ("overdue", "due soon", "in date"):
        assert word in page
    assert 'class="drawing survey-map"' in page


def test_a_shop_without_surveys_is_told_what_to_do(in_charge: Client, at_vehicle: Client) -> None:
    assert "Read heights all over the floor" in text(in_charge.get(reverse("surveys")))
    assert "A manager can add" in text(at_vehicle.get(reverse("surveys")))


def test_setup_and_equipment_lead_to_the_surveys(furnished: Shop, in_charge: Client) -> None:
    for name in ("shop-setup", "upkeep"):
        assert reverse("surveys") in text(in_charge.get(reverse(name)))
    assert "read the floor again" in text(in_charge.get(reverse("upkeep")))


def test_one_survey_says_what_it_says_of_every_bay(furnished: Shop, at_desk: Client) -> None:
    survey = FloorSurvey.objects.get(shop=furnished, number=1)
    page = text(at_desk.get(reverse("survey", args=["floor", survey.pk])))
    assert "Slopes 0.15 % (± 0.01 %)" in page
    assert "The survey leaves out" in page  # bay 7 reaches farther than the first survey
    light = LightSurvey.objects.get(shop=furnished, number=1)
    page = text(at_desk.get(reverse("survey", args=["light", light.pk])))
    assert "lux at its darkest" in page
    assert "No bay is said to be fit by it" in page


def test_a_pasted_table_is_kept_in_millimetres(furnished: Shop, in_charge: Client) -> None:
    answer = add(in_charge)
    survey = FloorSurvey.objects.for_shop(furnished.pk).order_by("-number")[0]
    assert answer.status_code == 302
    assert answer["Location"] == reverse("survey", args=["floor", survey.pk])
    assert [2000, 0, 0.4] in survey.points
    assert len(survey.points) == len(GRID)
    assert survey.reading_uncertainty_mm == 0.5


def test_a_file_is_as_good_as_a_paste(furnished: Shop, in_charge: Client) -> None:
    file = SimpleUploadedFile("heights.csv", TABLE.encode("latin-1"), "text/csv")
    assert add(in_charge, table="", file=file).status_code == 302


def test_a_us_shop_types_feet_inches_and_footcandles(furnished: Shop, in_charge: Client) -> None:
    Shop.objects.filter(pk=furnished.pk).update(units="us")
    form = in_charge.get(reverse("survey-new", args=["floor"])).context["form"]
    assert (form["places_in"].value(), form["heights_in"].value()) == ("ft", "in")
    table = "\n".join(f"{x},{y},{x / 100}" for x in range(0, 100, 10) for y in range(0, 30, 10))
    assert add(in_charge, table=table, places_in="ft", heights_in="in").status_code == 302
    survey = FloorSurvey.objects.for_shop(furnished.pk).order_by("-number")[0]
    assert survey.points[-1] == pytest.approx([90 * 304.8, 20 * 304.8, 0.9 * 25.4])
    assert survey.reading_uncertainty_mm == pytest.approx(0.5 * 25.4)
    lit = "\n".join(f"{x},{y},50" for x in range(0, 100, 5) for y in range(0, 50, 5))
    answer = add(in_charge, "light", table=lit, places_in="ft", light_in="fc")
    assert answer.status_code == 302
    light = LightSurvey.objects.for_shop(furnished.pk).order_by("-number")[0]
    assert light.points[0][2] == pytest.approx(538.1955)
    assert "fc at its darkest" in text(in_charge.get(answer["Location"]))


def test_wrong_lines_are_told_beside_the_table(furnished: Shop, in_charge: Client) -> None:
    answer = add(in_charge, table="x;y;h\n1;2;3\n2;abc;4\n3;4")
    assert answer.status_code == 422
    faults = answer.context["form"].errors["table"]
    assert faults == ["Line 3 “abc” is no number.", "Line 4 has 2 columns, not three."]
    assert "1;2;3" in text(answer)  # nothing typed is lost


def test_a_place_off_the_floor_is_told_by_its_line_and_crossed_out(
    furnished: Shop, in_charge: Client
) -> None:
    answer = add(in_charge, table="x;y;h\n1;2;3\n5;9;4\n\n90;4;1\n20;3;2")
    assert answer.status_code == 422
    assert answer.context["form"].errors["table"] == ["Line 5 is outside the floor plan."]
    page = text(answer)
    assert page.count('class="mark wrong"') == 1
    assert page.count('class="mark"') == 3


@pytest.mark.parametrize("kind", ["floor", "light"])
def test_readings_all_on_a_line_are_refused_with_a_picture_and_words(
    furnished: Shop, in_charge: Client, kind: str
) -> None:
    model: Any = FloorSurvey if kind == "floor" else LightSurvey
    before = model.objects.count()
    answer = add(in_charge, kind, table="\n".join(f"{i} {i / 2} {i}" for i in range(1, 12)))
    assert answer.status_code == 422
    (says,) = answer.context["form"].errors["table"]
    assert says.startswith("The readings all lie on one line")
    assert 'class="through"' in text(answer)
    assert "All readings lie on the line drawn" in text(answer)
    assert model.objects.count() == before


@pytest.mark.parametrize(
    ("fields", "field", "word"),
    [
        ({"table": ""}, "table", "Paste or type"),
        ({"table": "x;y;h"}, "table", "no reading"),
        ({"instrument": ""}, "instrument", "what it was read with"),
        ({"reading_error": "0"}, "reading_error", "not above 0"),
        ({"reading_error": ""}, "reading_error", "how far"),
        ({"due_on": "2001-01-01"}, "due_on", "before the day"),
        ({"surveyed_on": "2999-01-01", "due_on": ""}, "surveyed_on", "not come yet"),
    ],
)
def test_each_fault_stands_beside_its_field(
    furnished: Shop, in_charge: Client, fields: dict[str, str], field: str, word: str
) -> None:
    answer = add(in_charge, **fields)
    assert answer.status_code == 422
    assert word in str(answer.context["form"].errors[field])


def test_many_wrong_lines_are_counted_not_listed(furnished: Shop, in_charge: Client) -> None:
    answer = add(in_charge, table="1;2;3\n" + "a;b;c\n" * 30)
    faults = answer.context["form"].errors["table"]
    assert len(faults) == 9
    assert faults[-1] == "And 22 lines more."


def test_what_people_write_is_shown_as_text_not_as_markup(
    furnished: Shop, manager: Person, in_charge: Client
) -> None:
    survey = record_survey(
        by=manager.actor,
        points=[[0, 0, 0], [9000, 0, 1], [0, 7000, 1]],
        surveyed_on=timezone.now().date(),
        instrument="<script>x</script>",
        notes="<b>bold</b>",
    )
    for name, args in (("surveys", []), ("survey", ["floor", survey.pk])):
        page = text(in_charge.get(reverse(name, args=args)))
        assert "<script>x" not in page
        assert "<b>bold" not in page
