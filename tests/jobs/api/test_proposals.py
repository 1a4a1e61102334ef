"""Proposals over the API: looked at, accepted, left; strangers, wrong roles, other shops."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from jobs.models import Proposal, Step
from jobs.services.replans import runs_long
from jobs.services.steps import start_step
from shopcal.accounts.actor import Role
from tests.jobs.api.world import NOW, World, Yard

pytestmark = pytest.mark.django_db
ACTS = ("accept", "decline", "take-back")


def waiting_in(yard: Yard) -> Proposal:
    step = Step.objects.filter(visit=yard.in_work, state__in=("planned", "doing")).order_by(
        "order"
    )[0]
    by = yard.actors[Role.MANAGER]
    if step.state == "planned":
        step = start_step(by=by, step=step)
    change = runs_long(by=by, step=step, ends_at=NOW + timedelta(hours=9))
    assert change.waits
    return Proposal.objects.get(pk=change.proposal_id)


@pytest.fixture
def proposal(world: World) -> Proposal:
    return waiting_in(world.here)


def send(caller: Any, act: str, proposal: Proposal, body: dict[str, Any] | None = None) -> Any:
    url = reverse(f"api:proposal-{act}", args=[proposal.pk])
    return caller.post(url, body or {}, content_type="application/json")


def test_what_waits_is_listed_and_taken_apart(world: World, proposal: Proposal) -> None:
    listed = world.manager.get(reverse("api:proposal-list"), {"state": "open"}).json()
    assert [one["id"] for one in listed["results"]] == [proposal.pk]
    shown = world.manager.get(reverse("api:proposal-detail", args=[proposal.pk])).json()
    assert shown["promises"] == proposal.promises
    changes = [says for part in shown["parts"] for says in part["changes"]]
    assert sorted(changes) == sorted(proposal.changes)
    assert any(part["must_move"] for part in shown["parts"])


def test_accepted_it_is_the_plan(world: World, proposal: Proposal) -> None:
    answer = send(world.manager, "accept", proposal)
    assert answer.status_code == 200, answer.content
    assert answer.json()["changes"] == proposal.changes
    assert send(world.manager, "accept", proposal).status_code == 409


def test_a_part_brings_what_it_needs(world: World, proposal: Proposal) -> None:
    answer = send(world.manager, "accept", proposal, {"visits": []})
    assert answer.status_code == 200, answer.content
    assert answer.json()["changes"]


def test_left_it_is_no_longer_listed(world: World, proposal: Proposal) -> None:
    assert send(world.manager, "decline", proposal).json()["state"] == "declined"
    assert (
        world.manager.get(reverse("api:proposal-list"), {"state": "open"}).json()["results"] == []
    )


def test_a_stale_one_is_refused(world: World, proposal: Proposal) -> None:
    step = Step.objects.filter(visit=world.here.booked, state="planned")[0]
    Step.objects.filter(pk=step.pk).update(version=step.version + 1)
    answer = send(world.manager, "accept", proposal)
    assert (answer.status_code, answer.json()["code"]) == (412, "proposal_stale")


@pytest.mark.parametrize("act", ACTS)
def test_who_may_not_decide(world: World, proposal: Proposal, act: str) -> None:
    assert send(world.stranger, act, proposal).status_code in (401, 403)
    assert send(world.here.callers[Role.TECHNICIAN], act, proposal).status_code == 403
    assert send(world.there.callers[Role.MANAGER], act, proposal).status_code == 404
    url = reverse(f"api:proposal-{act}", args=[proposal.pk])
    assert world.manager.get(url).status_code == 405
    proposal.refresh_from_db()
    assert proposal.state == "open"


def test_visits_must_be_numbers(world: World, proposal: Proposal) -> None:
    assert send(world.manager, "accept", proposal, {"visits": ["x"]}).status_code == 422
