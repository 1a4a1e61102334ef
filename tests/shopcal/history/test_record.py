"""Adding to the history and reading it."""

from datetime import UTC, datetime

import pytest
from django.db import transaction

from shopcal.accounts.actor import Actor
from shopcal.history.chain import FIRST_PREVIOUS
from shopcal.history.models import Event, ShopChain
from shopcal.history.record import record_event
from shopcal.history.selectors import (
    events_after,
    events_of_subject,
    events_of_visit,
    latest_seqs,
)

pytestmark = pytest.mark.django_db


def book(by: Actor, number: int = 12, **values) -> Event:
    return record_event(
        by=by, kind="visit.booked", subject=f"visit:{number}", visit_id=number, after=values or None
    )


def test_event_tells_who_did_what_when(technician) -> None:
    started_at = datetime.now(UTC)
    event = book(technician.actor, bay="Bay 1")
    assert event.actor_name == "Tobin Ashgrove"
    assert event.actor_role == "technician"
    assert event.actor_user_id == technician.user.pk
    assert event.actor_membership_id == technician.membership.pk
    assert event.after == {"bay": "Bay 1"}
    assert started_at <= event.at <= datetime.now(UTC)


def test_the_service_itself_is_told_apart_from_people(shop) -> None:
    event = book(Actor.system(shop.pk))
    assert (event.actor_name, event.actor_role, event.actor_user_id) == ("the service", "", None)


def test_events_continue_from_each_other(technician) -> None:
    first, second = book(technician.actor, 1), book(technician.actor, 2)
    assert (first.seq, first.previous_hash) == (1, FIRST_PREVIOUS)
    assert (second.seq, second.previous_hash) == (2, first.hash)
    chain = ShopChain.objects.get(shop_id=technician.shop_id)
    assert (chain.seq, chain.head) == (2, second.hash)


def test_each_shop_has_its_own_chain(technician, other_manager) -> None:
    book(technician.actor)
    assert book(other_manager.actor).seq == 1
    assert latest_seqs() == {technician.shop_id: 1, other_manager.shop_id: 1}


@pytest.mark.parametrize("number", [1e22, 0.1, 1e-7, -0.0, 2.0, 2**70, 1.7976931348623157e308])
def test_hash_still_matches_after_the_database_has_kept_it(technician, number) -> None:
    event = book(technician.actor, reading=number, words="Ø – “ü” \x00 \ud800")
    kept = Event.objects.get(pk=event.pk)
    assert kept.after["reading"] == number
    assert type(kept.after["reading"]) is type(number)
    assert kept.expected_hash() == event.hash


def test_an_event_of_a_change_that_was_undone_is_undone_too(technician) -> None:
    book(technician.actor, 1)
    with transaction.atomic():
        book(technician.actor, 2)
        transaction.set_rollback(True)
    assert book(technician.actor, 3).seq == 2


@pytest.mark.django_db(transaction=True)
def test_recording_outside_a_transaction_is_refused(technician) -> None:
    with pytest.raises(transaction.TransactionManagementError):
        book(technician.actor)
    assert not Event.objects.exists()


def test_events_of_a_visit_leave_out_other_visits_and_other_shops(
    technician, other_manager
) -> None:
    mine = [book(technician.actor, 12), book(technician.actor, 12)]
    book(technician.actor, 13)
    book(other_manager.actor, 12)
    assert events_of_visit(technician.shop_id, 12) == mine
    assert events_of_subject(technician.shop_id, "visit:12") == mine
    assert events_of_visit(other_manager.shop_id, 13) == []


def test_events_after_a_number_come_in_order_and_stay_in_the_shop(
    technician, other_manager
) -> None:
    for number in range(1, 6):
        book(technician.actor, number)
    book(other_manager.actor)
    assert [e.seq for e in events_after(technician.shop_id, 2)] == [3, 4, 5]
    assert [e.seq for e in events_after(technician.shop_id, 2, limit=2)] == [3, 4]
    assert events_after(technician.shop_id, 5) == []


def test_recording_costs_five_queries_at_most(technician, django_assert_max_num_queries) -> None:
    book(technician.actor)
    with django_assert_max_num_queries(5):
        book(technician.actor)
