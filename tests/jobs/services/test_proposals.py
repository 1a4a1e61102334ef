"""A new plan that moves a promise waits; it is accepted whole or in part, left, or goes stale."""

from __future__ import annotations

from datetime import timedelta

import pytest

from bays.models import EquipmentUnit
from jobs.models import Proposal, Step, Visit
from jobs.services.proposals import accept, decline, look_at, take_back
from jobs.services.replans import runs_long, unit_out
from jobs.services.visits import cancel
from shopcal.accounts.actor import Actor, Role
from shopcal.errors import Conflict, NotAllowed, Stale
from shopcal.history.models import Event
from tests.jobs.services.test_booking import WEDNESDAY, at_ten, desk
from tests.jobs.services.test_replans import booked, mats_step, started

__all__ = ["at_ten", "desk"]

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(desk: Actor) -> Visit:
    return booked(desk, "SB200001")


@pytest.fixture
def waiting(desk: Actor, visit: Visit) -> Proposal:
    """A step that takes so long that a promise moves, with another visit behind it."""
    booked(desk, "SB200002")
    step = started(desk, visit)
    change = runs_long(by=desk, step=step, ends_at=WEDNESDAY + timedelta(hours=3))
    assert change.waits
    assert change.promises
    return Proposal.objects.get(pk=change.proposal_id)


def rows() -> list[tuple[object, ...]]:
    return list(Step.objects.order_by("pk").values_list("pk", "starts_at", "ends_at", "version"))


def kinds() -> set[str]:
    return set(Event.objects.values_list("kind", flat=True))


def test_nothing_moves_while_a_promise_is_at_stake(desk: Actor, visit: Visit) -> None:
    step = started(desk, visit)
    before = rows()
    assert runs_long(by=desk, step=step, ends_at=WEDNESDAY + timedelta(hours=3)).waits
    assert rows() == before
    assert "plan.proposed" in kinds()


def test_the_whole_proposal_becomes_the_plan(desk: Actor, waiting: Proposal) -> None:
    change = accept(by=desk, proposal=waiting)
    assert list(change.changes) == waiting.changes
    waiting.refresh_from_db()
    assert waiting.state == "accepted"
    assert "plan.accepted" in kinds()
    with pytest.raises(Conflict) as refused:
        accept(by=desk, proposal=waiting)
    assert refused.value.code == "proposal_over"


def test_a_part_takes_with_it_what_cannot_stay(desk: Actor, waiting: Proposal) -> None:
    shown = look_at(by=desk, proposal=waiting)
    required = shown.with_all_needed(())
    assert required
    change = accept(by=desk, proposal=waiting, visits=())
    assert len(change.changes) == sum(len(part.changes) for part in required)
    waiting.refresh_from_db()
    everything = len(required) == len(shown.apart.parts)
    assert waiting.state == ("accepted" if everything else "part")


def test_a_proposal_left_moves_nothing(desk: Actor, waiting: Proposal) -> None:
    before = rows()
    decline(by=desk, proposal=waiting)
    assert rows() == before
    with pytest.raises(Conflict):
        decline(by=desk, proposal=waiting)


def test_a_proposal_goes_stale_with_the_plan_it_was_made_for(
    desk: Actor, waiting: Proposal
) -> None:
    other = Visit.objects.get(vehicle__vin__contains="200002")
    cancel(by=desk, visit=other, reason="sold")
    with pytest.raises(Stale) as refused:
        accept(by=desk, proposal=waiting)
    assert refused.value.code == "proposal_stale"


def test_asking_again_about_the_same_thing_leaves_one_proposal(
    desk: Actor, waiting: Proposal
) -> None:
    step = Step.objects.get(state="doing")
    runs_long(by=desk, step=step, ends_at=WEDNESDAY + timedelta(hours=4))
    waiting.refresh_from_db()
    assert waiting.state == "stale"
    assert Proposal.objects.filter(state="open").count() == 1


def test_what_moves_nobodys_promise_is_made_at_once_and_cannot_return_to_what_is_broken(
    desk: Actor, visit: Visit
) -> None:

    unit = EquipmentUnit.objects.get(code=mats_step(visit).unit_codes[0])
    change = unit_out(by=desk, unit=unit, reason="torn")
    assert not change.waits
    assert unit.code not in mats_step(visit).unit_codes
    kept = Proposal.objects.get(pk=change.proposal_id)
    assert kept.state == "applied"
    with pytest.raises(Conflict) as refused:
        take_back(by=desk, proposal=kept)
    assert refused.value.code == "cannot_undo"
    assert refused.value.detail


def test_a_technician_decides_nothing(desk: Actor, waiting: Proposal) -> None:
    other = Actor(desk.shop_id, Role.TECHNICIAN, "T", desk.user_id, desk.membership_id)
    for act in (accept, decline, take_back):
        with pytest.raises(NotAllowed):
            act(by=other, proposal=waiting)
