"""The page that asks what if: who may, what can be chosen, and how an answer reads."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import timezone

from jobs.models import Study
from shopcal.accounts.models import Shop
from tests.conftest import Person

pytestmark = pytest.mark.django_db


def shop_of(name: str, kept: list[int]) -> dict[str, object]:
    return {
        "name": name, "kept": kept, "visits": 214, "late_minutes": [90, 100, 120],
        "not_planned": [0, 0, 0], "done_a_day": [8.9, 9.0, 9.1], "hours_here": [1.2, 1.2, 1.2],
        "use": {"floor": [0.31, 0.31, 0.31]},
    }  # fmt: skip


def answered(shop: Shop) -> Study:
    return Study.objects.create(
        shop=shop, kind="what_if", asks="What if there were one more mat set?", state="done",
        says="One more mat set would have kept 9 more promises of 214.",
        answer={
            "first_on": "2026-02-02", "last_on": "2026-03-02", "runs": 3, "visits": 214,
            "shops": [shop_of("as it was", [189, 190, 192]), shop_of("one more", [199, 199, 199])],
        },
        asked_by="Ada", asked_at=timezone.now(), ended_at=timezone.now(),
    )  # fmt: skip


def test_only_a_manager_may_ask(office: Client, fitter: Client, boss: Client) -> None:
    for client, status in ((office, 403), (fitter, 403), (boss, 200)):
        assert client.get("/what-if/").status_code == status
    assert office.post("/what-if/", {"change": "add_unit:mat_set"}).status_code == 403
    assert not Study.objects.exists()


def test_everything_of_the_shop_can_be_chosen(boss: Client) -> None:
    shown = boss.get("/what-if/").content.decode()
    for code in ("add_unit:mat_set", "add_person:osei", "add_bay:bay-2", "remove_bay:bay-2"):
        assert f'value="{code}"' in shown
    assert "add_unit:tape_measure" not in shown  # lies about in number, never short


def test_asking_is_kept_and_followed_until_it_is_answered(boss: Client) -> None:
    shown = boss.post("/what-if/", {"change": "add_bay:bay-2"}, follow=True).content.decode()
    study = Study.objects.get()
    assert study.asks in shown
    assert f"/what-if/{study.pk}/" in shown
    Study.objects.update(state="working", done=4, of=30)
    assert "4 of 30 weeks" in boss.get(f"/what-if/{study.pk}/").content.decode()
    boss.post(f"/what-if/{study.pk}/stop/")
    study.refresh_from_db()
    assert study.state == "stopped"


def test_other_hours_are_asked_in_minutes(boss: Client) -> None:
    boss.post("/what-if/", {"change": "hours", "later_minutes": "60", "saturday": "yes"})
    asks = Study.objects.get().asks
    assert asks == "What if closing 60 minutes later and opening on Saturdays?"


def test_nonsense_is_refused_beside_the_form(boss: Client) -> None:
    for said in ({"change": "add_unit:lathe"}, {"change": "hours", "later_minutes": "soon"}):
        answer = boss.post("/what-if/", said)
        assert answer.status_code == 422
        assert "This cannot be asked." in answer.content.decode()


def test_an_answer_begins_with_its_sentence_then_drawing_and_table(
    boss: Client, furnished: Shop
) -> None:
    found = answered(furnished)
    shown = boss.get(f"/what-if/{found.pk}/").content.decode()
    order = [
        shown.index("kept 9 more promises of 214"),
        shown.index("<svg"),
        shown.index("<table"),
    ]
    assert order == sorted(order)
    assert "190 (189–192)" in shown
    assert "31 %" in shown


def test_another_shops_answer_is_not_there(
    furnished: Shop, other_manager: Person, client_for: Callable[[Person], Client]
) -> None:
    found = answered(furnished)
    stranger = client_for(other_manager)
    assert stranger.get(f"/what-if/{found.pk}/").status_code == 404
    assert found.says not in stranger.get("/what-if/").content.decode()
