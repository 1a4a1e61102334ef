"""A request that is sent again has its effect once and gets the same answer.

The header, its quotes, and the statuses for reuse (422) and a request in progress (409) are those
of an IETF draft, “The Idempotency-Key HTTP Header Field”
(draft-ietf-httpapi-idempotency-key-header).
"""

from __future__ import annotations

import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.utils import timezone

from shopcal.accounts.models import ApiToken, Membership
from shopcal.api.models import IdempotencyKey
from shopcal.api.tasks import forget_old_keys
from shopcal.outbox import Message
from tests.shopcal.api.refusal import problem_in

ADDRESS = "/api/v1/members/"
KEY = "8e03978e-40d5-43dd-bc93-6894a57f9324"


def people(*names: str) -> dict:
    return {"people": [{"name": n, "email": f"{n.lower()}@example.test"} for n in names]}


def send(caller, given: dict | str, key: str | None = KEY, address: str = ADDRESS):
    headers = {} if key is None else {"Idempotency-Key": key}
    return caller.post(address, given, content_type="application/json", headers=headers)


def test_same_request_again_gets_the_same_answer_and_has_no_effect(as_manager):
    before = Membership.objects.count()
    first = send(as_manager, people("Ada"))
    again = send(as_manager, people("Ada"))
    assert first.status_code == again.status_code == 201
    assert first.content == again.content
    assert first["Location"] == again["Location"]
    assert "Idempotency-Replayed" not in first
    assert again["Idempotency-Replayed"] == "true"
    assert Membership.objects.count() == before + 1


def test_location_leads_to_what_was_made(as_manager):
    made = send(as_manager, people("Ada"))
    assert as_manager.get(made["Location"]).json() == made.json()


def test_without_a_key_a_request_is_made_each_time(as_manager):
    before = Membership.objects.count()
    assert send(as_manager, people("Ada"), None).status_code == 201
    assert send(as_manager, people("Bea"), None).status_code == 201
    assert Membership.objects.count() == before + 2
    assert not IdempotencyKey.objects.exists()


def test_key_is_the_same_with_and_without_quotes(as_manager):
    send(as_manager, people("Ada"))
    assert send(as_manager, people("Ada"), f'"{KEY}"')["Idempotency-Replayed"] == "true"


def test_same_content_written_otherwise_is_the_same_request(as_manager):
    send(as_manager, people("Ada"))
    spaced = json.dumps(people("Ada"), indent=3)
    assert send(as_manager, spaced)["Idempotency-Replayed"] == "true"


def test_other_content_under_the_same_key_is_refused(as_manager):
    before = Membership.objects.count()
    send(as_manager, people("Ada"))
    problem_in(send(as_manager, people("Bea")), 422, "idempotency_key_reused")
    problem_in(
        send(as_manager, people("Ada"), address=ADDRESS + "?x=1"), 422, "idempotency_key_reused"
    )
    assert Membership.objects.count() == before + 1


def test_key_of_one_caller_means_nothing_for_another(as_manager, caller_for, other_manager):
    before = Membership.objects.count()
    send(as_manager, people("Ada"))
    theirs = send(caller_for(other_manager), people("Bea"))
    assert theirs.status_code == 201
    assert "Idempotency-Replayed" not in theirs
    assert Membership.objects.count() == before + 2


def test_refused_request_leaves_nothing_and_may_be_sent_again(as_manager):
    before = Membership.objects.count()
    problem_in(send(as_manager, people("Ada", "Nobody")), 409, "nobody")
    assert Membership.objects.count() == before
    assert not IdempotencyKey.objects.exists()
    assert send(as_manager, people("Ada")).status_code == 201


def test_role_is_asked_before_an_answer_is_given_again(as_manager, manager):
    send(as_manager, people("Ada"))
    Membership.objects.filter(pk=manager.membership.pk).update(role="technician")
    problem_in(send(as_manager, people("Ada")), 403, "not_allowed")


@pytest.mark.parametrize("key", ["", " ", '""', "x" * 256, "schlüssel", "two\tparts"])
def test_unusable_key_is_refused_before_anything_is_done(as_manager, key):
    before = Membership.objects.count()
    problem = problem_in(send(as_manager, people("Ada"), key), 400, "unreadable")
    assert problem["errors"][0]["path"] == "Idempotency-Key"
    assert Membership.objects.count() == before


def test_secret_of_a_new_token_is_not_kept_with_the_answer(as_manager):
    first = send(as_manager, {"name": "board"}, address="/api/v1/tokens/")
    again = send(as_manager, {"name": "board"}, address="/api/v1/tokens/")
    secret = first.json()["token"]
    assert again.json() == {**first.json(), "token": None}
    assert secret not in IdempotencyKey.objects.get().body
    assert ApiToken.objects.filter(name="board").count() == 1


def test_answers_are_forgotten_after_two_days(as_manager):
    send(as_manager, people("Ada"), "old")
    send(as_manager, people("Bea"), "new")
    IdempotencyKey.objects.filter(key="old").update(
        created_at=timezone.now() - timedelta(hours=48, seconds=1)
    )
    told = Message(1, "timer:x", "x", {}, None, 1, "test", timezone.now())
    forget_old_keys(told)
    assert [kept.key for kept in IdempotencyKey.objects.all()] == ["new"]


def test_command_forgets_what_is_older_than_it_is_told(as_manager):
    send(as_manager, people("Ada"))
    said = StringIO()
    call_command("forget_idempotency_keys", hours=1, stdout=said)
    assert said.getvalue() == "0 forgotten\n"
    IdempotencyKey.objects.update(created_at=timezone.now() - timedelta(hours=2))
    call_command("forget_idempotency_keys", hours=1, stdout=said)
    assert not IdempotencyKey.objects.exists()
