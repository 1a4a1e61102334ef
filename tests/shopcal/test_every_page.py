"""Every page address of the service, walked by a stranger, by another shop and by each role.

A new address with an id in it fails here until it is given a sample.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from django.utils import timezone

from bays.models import Closure, EquipmentUnit, FloorSurvey
from jobs.models import Proposal, Step, Study, Visit
from jobs.services.booking import book_visit
from jobs.services.quotes import quote_visit
from reports.models import Record, WebhookEndpoint
from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership, Shop
from shopcal.accounts.services.tokens import create_token
from tests.conftest import JoinShop
from tests.faults.small_shop import SLUG, make_shop
from tests.jobs.services.test_booking import asked

OPEN_TO_ALL = {"healthz", "metrics", "sign-in", "sign-out", "choose-shop"}
FIXED = {"form": "json", "kind": "unit-out", "act": "hold", "seq": 0, "number": 1}
# Where the same name means something else than elsewhere.
FIXED_FOR = {name: {"kind": "floor"} for name in ("survey-new", "survey-add", "survey")}
FIXED_FOR["proposal-act"] = {"act": "decline"}

pytestmark = pytest.mark.django_db


def patterns() -> list[URLPattern]:
    def walk(found: list) -> Iterator[URLPattern]:
        for one in found:
            if isinstance(one, URLPattern):
                yield one
            elif not str(one.pattern).startswith("api"):
                yield from walk(one.url_patterns)

    return [p for p in walk(get_resolver().url_patterns) if p.name not in OPEN_TO_ALL]


def name_of(pattern: URLPattern) -> str:
    return f"live:{pattern.name}" if pattern.name in {"ticket", "since"} else str(pattern.name)


@pytest.fixture
def samples() -> Iterator[dict[str, object]]:
    """One row of everything that an address may name, all in one shop."""
    with time_machine.travel(datetime(2026, 11, 25, 10, 0, tzinfo=ZoneInfo("America/Denver"))):
        shop_id = make_shop()
        by = Actor.of(Membership.objects.get(shop__slug=SLUG, role=Role.MANAGER))
        offer = quote_visit(by=by, request=asked()).offers[0]
        visit = book_visit(by=by, request=asked(), offer_token=offer.token)
        closure = Closure.objects.create(
            shop_id=shop_id, starts_on="2026-12-30", ends_on="2026-12-30", reason="stock"
        )
        record = Record.objects.create(
            shop_id=shop_id, visit=visit, number=1, content={}, content_digest="0",
            pdf=b"%PDF", pdf_digest="0", issued_at=timezone.now(), issued_by="somebody",
        )  # fmt: skip
        endpoint = WebhookEndpoint.objects.create(
            shop_id=shop_id, url="https://receiver.example/", secret="s" * 64
        )
        survey = FloorSurvey.objects.create(
            shop_id=shop_id, surveyed_on="2026-11-01", instrument="level", recorded_by="somebody",
            points=[[0, 0, 0], [1000, 0, 0], [0, 1000, 0]],
        )  # fmt: skip
        study = Study.objects.create(
            shop_id=shop_id, kind="what_if", asks="What if?", asked_by="somebody",
            asked_at=timezone.now(),
        )  # fmt: skip
        proposal = Proposal.objects.create(
            shop_id=shop_id, why="a frame was out", plan_mark="of an earlier plan",
            made_by="somebody", made_at=timezone.now(),
        )  # fmt: skip
        yield {
            **FIXED,
            "proposal_id": proposal.pk,
            "study_id": study.pk,
            "survey_id": survey.pk,
            "visit_id": visit.pk,
            "step_id": Step.objects.filter(visit=visit).first().pk,  # type: ignore[union-attr]
            "unit_id": EquipmentUnit.objects.for_shop(shop_id).first().pk,  # type: ignore[union-attr]
            "closure_id": closure.pk,
            "record_id": record.pk,
            "endpoint_id": endpoint.pk,
            "token_id": create_token(name="mine", by=by).token.pk,
        }


def address(pattern: URLPattern, samples: dict[str, object]) -> tuple[str, bool]:
    """The address with sample ids, and whether it names a row."""
    wanted = list(pattern.pattern.regex.groupindex)  # type: ignore[union-attr]
    samples = {**samples, **FIXED_FOR.get(str(pattern.name), {})}
    missing = [name for name in wanted if name not in samples]
    assert not missing, f"{pattern.name} needs a sample for {missing}"
    url = reverse(name_of(pattern), kwargs={name: samples[name] for name in wanted})
    return url, any(name not in FIXED for name in wanted)


def test_a_stranger_is_sent_to_sign_in_or_told_nothing(samples: dict[str, object]) -> None:
    for pattern in patterns():
        url, _ = address(pattern, samples)
        for answer in (Client().get(url), Client().post(url)):
            assert answer.status_code in {302, 401, 403, 404, 405}, url
            if answer.status_code == 302:
                assert "/sign-in" in answer["Location"], url


@pytest.mark.parametrize("role", list(Role))
def test_another_shops_rows_are_not_there(
    samples: dict[str, object], other_shop: Shop, join_shop: JoinShop, client_for, role: Role
) -> None:
    browser = client_for(join_shop(other_shop, role))
    ro_number = Visit.objects.get(pk=samples["visit_id"]).ro_number
    named = 0
    for pattern in patterns():
        url, names_a_row = address(pattern, samples)
        for answer in (browser.get(url), browser.post(url)):
            assert answer.status_code < 500, url
            if names_a_row:
                assert answer.status_code in {403, 404, 405}, (url, answer.status_code)
                named += 1
            body = b"".join(answer) if answer.streaming else answer.content
            assert f"RO {ro_number}".encode() not in body, url
            assert b"5ZZCP5DF" not in body, url
    assert named > 30
    assert Visit.objects.get(pk=samples["visit_id"]).state == "booked"


@pytest.mark.parametrize("role", list(Role))
def test_no_page_breaks_for_its_own_people(
    samples: dict[str, object], join_shop: JoinShop, client_for, role: Role
) -> None:
    browser = client_for(join_shop(Shop.objects.get(slug=SLUG), role))
    for pattern in patterns():
        url, _ = address(pattern, samples)
        answer = browser.get(url)
        assert answer.status_code in {200, 302, 403, 404, 405}, (url, answer.status_code)
