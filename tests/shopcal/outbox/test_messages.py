"""Owing, claiming, finishing, failing: the rules of one message."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from shopcal.accounts.models import Shop
from shopcal.outbox import GiveUp, Message, UnknownKind, drain, enqueue, handler
from shopcal.outbox.models import OutboxMessage, SentMail
from shopcal.outbox.registry import registry
from shopcal.outbox.selectors import dead_messages, owed_messages, seconds_behind
from shopcal.outbox.services import prune_messages, renew_lease, revive_message, run_message
from shopcal.outbox.services.lease import LeaseLost, claim_one, finish, give_back, wait_after

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_kinds() -> Iterator[None]:
    before = dict(registry.handlers)
    yield
    registry.handlers.clear()
    registry.handlers.update(before)


@pytest.fixture
def seen() -> list[Message]:
    seen: list[Message] = []

    @handler("test.note", queue="planning", max_attempts=3)
    def note(message: Message) -> None:
        seen.append(message)

    return seen


def owe(key: str = "a", kind: str = "test.note", **more: Any) -> OutboxMessage:
    enqueue(kind=kind, payload={"visit": 12}, key=key, shop_id=None, **more)
    return OutboxMessage.objects.get(key=key)


def let_lease_run_out(message: Message) -> None:
    past = timezone.now() - timedelta(seconds=1)
    OutboxMessage.objects.filter(pk=message.id).update(lease_until=past)


def test_what_is_owed_is_handled_once_with_its_payload(seen: list[Message], shop: Shop) -> None:
    enqueue(kind="test.note", payload={"visit": 12}, key="a", shop_id=shop.pk)
    assert drain().handled == 1
    assert drain().handled == 0
    assert [(m.payload, m.shop_id, m.attempt) for m in seen] == [({"visit": 12}, shop.pk, 1)]
    assert OutboxMessage.objects.get(key="a").done_at is not None


def test_owing_the_same_key_twice_owes_it_once(seen: list[Message]) -> None:
    owe("a")
    drain()
    owe("a")
    assert OutboxMessage.objects.count() == 1
    assert drain().handled == 0


def test_nothing_is_owed_when_the_callers_transaction_rolls_back(seen: list[Message]) -> None:
    @transaction.atomic
    def book_and_fail() -> None:
        owe("a")
        Shop.objects.create(slug="twice", name="One")
        Shop.objects.create(slug="twice", name="Two")

    with pytest.raises(IntegrityError):
        book_and_fail()
    assert not OutboxMessage.objects.exists()


def test_an_unknown_kind_is_refused_where_it_is_owed() -> None:
    with pytest.raises(UnknownKind, match=r"test\.mistyped"):
        owe(kind="test.mistyped")


def test_a_message_takes_its_handlers_queue_unless_another_is_given(seen: list[Message]) -> None:
    assert owe("a").queue == "planning"
    assert owe("b", queue="records").queue == "records"
    assert drain(10).handled == 2


def test_a_queue_no_worker_listens_to_is_refused(seen: list[Message]) -> None:
    with pytest.raises(ValueError, match="no queue 'plannning'"):
        owe(queue="plannning")
    with pytest.raises(ValueError, match="no queue"):
        handler("test.astray", queue="plannning")(registry.handlers["test.note"].handle)


def test_a_message_for_later_waits(seen: list[Message]) -> None:
    owe("a", run_at=timezone.now() + timedelta(minutes=5))
    assert drain().handled == 0
    OutboxMessage.objects.update(run_at=timezone.now())
    assert drain().handled == 1


def test_the_longest_due_message_comes_first(seen: list[Message]) -> None:
    now = timezone.now()
    owe("young", run_at=now - timedelta(minutes=1))
    owe("old", run_at=now - timedelta(minutes=9))
    drain()
    assert [m.key for m in seen] == ["old", "young"]


def test_a_claimed_message_is_nobody_elses(seen: list[Message]) -> None:
    row = owe("a")
    assert claim_one() is not None
    assert claim_one() is None
    assert claim_one(only=row.pk) is None
    assert not run_message(row.pk)
    assert not seen


def test_a_lease_that_ran_out_redelivers_the_message(seen: list[Message]) -> None:
    owe("a")
    lost = claim_one()
    assert lost is not None
    let_lease_run_out(lost)
    assert drain().handled == 1
    assert [m.attempt for m in seen] == [2]


def test_of_two_owners_only_the_present_one_finishes(seen: list[Message]) -> None:
    owe("a")
    overtaken = claim_one()
    assert overtaken is not None
    let_lease_run_out(overtaken)
    present = claim_one()
    assert present is not None
    assert present.owner != overtaken.owner

    def result(by: str) -> Any:
        return lambda: SentMail.objects.create(message_id=by, subject="result")

    with pytest.raises(LeaseLost):
        finish(overtaken, result("overtaken, before"))
    finish(present, result("present"))
    with pytest.raises(LeaseLost):
        finish(overtaken, result("overtaken, after"))
    with pytest.raises(LeaseLost):
        finish(present, result("present, twice"))
    assert [mail.message_id for mail in SentMail.objects.all()] == ["present"]


def test_an_overtaken_worker_cannot_give_the_message_back(seen: list[Message]) -> None:
    owe("a")
    overtaken = claim_one()
    assert overtaken is not None
    let_lease_run_out(overtaken)
    present = claim_one()
    assert present is not None
    give_back(overtaken, error="late", for_good=True)
    row = OutboxMessage.objects.get()
    assert (row.lease_owner, row.dead_at, row.last_error) == (present.owner, None, "")


def test_a_renewed_lease_keeps_others_out_and_a_lost_one_cannot_be_renewed(
    seen: list[Message],
) -> None:
    owe("a")
    first = claim_one()
    assert first is not None
    let_lease_run_out(first)
    renew_lease(first, seconds=60)
    assert claim_one() is None
    let_lease_run_out(first)
    assert claim_one() is not None
    with pytest.raises(LeaseLost):
        renew_lease(first, seconds=60)


def test_a_result_that_fails_is_undone_and_tried_again() -> None:
    @handler("test.result")
    def work(message: Message) -> Any:
        def result() -> None:
            SentMail.objects.create(message_id="half", subject="half")
            if message.attempt == 1:
                raise RuntimeError("in the middle of the result")

        return result

    owe("a", "test.result")
    assert drain().failed == 1
    assert not SentMail.objects.exists()
    OutboxMessage.objects.update(run_at=timezone.now())
    assert drain().failed == 0
    assert SentMail.objects.count() == 1


def test_a_failed_attempt_waits_longer_each_time_and_keeps_what_went_wrong() -> None:
    @handler("test.fails", max_attempts=3)
    def fails(message: Message) -> None:
        raise RuntimeError("no such printer")

    owe("a", "test.fails")
    waits = []
    for _ in range(3):
        OutboxMessage.objects.update(run_at=timezone.now())
        drain()
        row = OutboxMessage.objects.get()
        waits.append(round((row.run_at - timezone.now()).total_seconds()))
        assert "no such printer" in row.last_error
    assert waits == [5, 10, 20]
    assert row.dead_at is not None
    assert [m.key for m in dead_messages()] == ["a"]
    assert drain().handled == 0


def test_waits_double_up_to_half_an_hour() -> None:
    assert [wait_after(n).total_seconds() for n in (1, 2, 3, 9, 10, 5000)] == [
        5,
        10,
        20,
        1280,
        1800,
        1800,
    ]


def test_a_handler_that_gives_up_is_not_asked_again() -> None:
    @handler("test.hopeless")
    def hopeless(message: Message) -> None:
        raise GiveUp("the record was withdrawn")

    owe("a", "test.hopeless")
    assert drain().failed == 1
    assert dead_messages().get().last_error == "the record was withdrawn"


def test_a_message_that_kills_its_worker_every_time_is_set_aside(seen: list[Message]) -> None:
    owe("a")
    for _ in range(3):
        killed = claim_one()
        assert killed is not None
        let_lease_run_out(killed)
    drain()
    assert not seen
    assert "worker was lost" in dead_messages().get().last_error


def test_a_message_set_aside_can_be_revived_in_its_own_shop_only(
    seen: list[Message], shop: Shop, other_shop: Shop
) -> None:
    enqueue(kind="test.note", payload={}, key="a", shop_id=shop.pk)
    OutboxMessage.objects.update(dead_at=timezone.now(), attempts=3)
    row = dead_messages(shop_id=shop.pk).get()
    assert not dead_messages(shop_id=other_shop.pk).exists()
    assert not revive_message(message_id=row.pk, shop_id=other_shop.pk)
    assert revive_message(message_id=row.pk, shop_id=shop.pk)
    assert not revive_message(message_id=row.pk, shop_id=shop.pk)
    assert drain().handled == 1


def test_a_kind_nobody_here_knows_is_left_for_others_and_shows_as_late(seen: list[Message]) -> None:
    OutboxMessage.objects.create(
        kind="test.newer", key="a", run_at=timezone.now() - timedelta(seconds=90)
    )
    assert drain().handled == 0
    assert seconds_behind() == pytest.approx(90, abs=5)
    assert [m.key for m in owed_messages()] == ["a"]


def test_pruning_forgets_only_what_was_done_long_ago(seen: list[Message]) -> None:
    for key in ("old", "recent", "owed", "dead"):
        owe(key)
    now = timezone.now()
    OutboxMessage.objects.filter(key="old").update(done_at=now - timedelta(days=91))
    OutboxMessage.objects.filter(key="recent").update(done_at=now - timedelta(days=89))
    OutboxMessage.objects.filter(key="owed").update(created_at=now - timedelta(days=400))
    OutboxMessage.objects.filter(key="dead").update(dead_at=now - timedelta(days=400))
    assert prune_messages() == 1
    assert {m.key for m in OutboxMessage.objects.all()} == {"recent", "owed", "dead"}


@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="row locks are the server's")
@pytest.mark.django_db(transaction=True)
def test_a_message_asked_for_by_name_is_waited_for(seen: list[Message]) -> None:
    # The relay writes down that it told the broker after it did: a quick worker meets that lock.
    row = owe()
    handled: list[bool] = []

    def quick_worker() -> None:
        handled.append(run_message(row.pk))
        connection.close()

    worker = threading.Thread(target=quick_worker)
    with transaction.atomic():
        OutboxMessage.objects.filter(pk=row.pk).update(published_at=timezone.now())
        worker.start()
        worker.join(0.5)
        assert worker.is_alive(), "the worker did not wait for the relay"
    worker.join(10)
    assert handled == [True]
    assert len(seen) == 1
