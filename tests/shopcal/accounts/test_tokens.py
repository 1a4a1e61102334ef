"""API tokens: made once, kept as a digest, revoked for good."""

import hashlib
from datetime import datetime, timedelta

import pytest
import time_machine
from django.utils import timezone

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import ApiToken, Membership, User
from shopcal.accounts.selectors.tokens import tokens_of
from shopcal.accounts.services.tokens import create_token, membership_for_token, revoke_token
from shopcal.errors import Invalid, NotFound
from shopcal.history.models import Event

pytestmark = pytest.mark.django_db
NOON = datetime.fromisoformat("2026-03-02T12:00:00+00:00")


@pytest.fixture
def new(technician):
    return create_token(name="parts system", by=technician.actor)


def test_token_stands_for_its_member(new, technician) -> None:
    assert membership_for_token(new.text) == technician.membership


def test_only_the_digest_is_kept(new) -> None:
    row = ApiToken.objects.values().get(pk=new.token.pk)
    assert row["digest"] == hashlib.sha256(new.text.encode()).hexdigest()
    assert new.text not in repr(row)
    assert new.text not in repr(list(Event.objects.values_list("after", flat=True)))


def test_token_has_256_random_bits_beyond_what_is_shown(new) -> None:
    secret = new.text.removeprefix("shopcal_")
    assert len(secret) == 43  # 32 bytes in base64url without padding, RFC 4648 section 5
    assert new.text.startswith(new.token.prefix)
    assert len(new.token.prefix.removeprefix("shopcal_")) == 4


@pytest.mark.parametrize("wrong", ["", "shopcal_", "shopcal_nonsense", "nonsense"])
def test_wrong_text_opens_nothing(new, wrong: str) -> None:
    assert membership_for_token(wrong) is None


def test_prefix_or_digest_alone_opens_nothing(new) -> None:
    assert membership_for_token(new.token.prefix) is None
    assert membership_for_token(new.token.digest) is None


def test_revoked_token_opens_nothing(new, technician) -> None:
    revoke_token(token_id=new.token.pk, by=technician.actor)
    assert membership_for_token(new.text) is None


def test_revoking_twice_keeps_the_first_time_and_tells_it_once(new, technician) -> None:
    first = revoke_token(token_id=new.token.pk, by=technician.actor).revoked_at
    assert revoke_token(token_id=new.token.pk, by=technician.actor).revoked_at == first
    assert Event.objects.filter(kind="token.revoked").count() == 1


def test_token_ends_at_its_time(technician) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        made = create_token(
            name="trial", expires_at=timezone.now() + timedelta(days=30), by=technician.actor
        )
        clock.shift(timedelta(days=29, hours=23))
        assert membership_for_token(made.text) is not None
        clock.shift(timedelta(hours=1))
        assert membership_for_token(made.text) is None


def test_token_of_one_who_left_opens_nothing(new, technician) -> None:
    Membership.objects.filter(pk=technician.membership.pk).update(active=False)
    assert membership_for_token(new.text) is None


def test_token_of_a_closed_account_opens_nothing(new, technician) -> None:
    User.objects.filter(pk=technician.user.pk).update(is_active=False)
    assert membership_for_token(new.text) is None


def test_use_is_noted_at_most_every_five_minutes(new, django_assert_num_queries) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        membership_for_token(new.text)
        clock.shift(timedelta(minutes=4))
        with django_assert_num_queries(1):
            membership_for_token(new.text)
        assert ApiToken.objects.get().last_used_at == NOON
        clock.shift(timedelta(minutes=1))
        membership_for_token(new.text)
        assert ApiToken.objects.get().last_used_at == NOON + timedelta(minutes=5)


@pytest.mark.parametrize("name", ["", "   ", "x" * 81])
def test_token_needs_a_name_people_can_read(technician, name: str) -> None:
    with pytest.raises(Invalid) as refused:
        create_token(name=name, by=technician.actor)
    assert refused.value.errors[0].path == "name"


def test_token_cannot_end_before_it_is_made(technician) -> None:
    with pytest.raises(Invalid) as refused:
        create_token(name="late", expires_at=timezone.now(), by=technician.actor)
    assert refused.value.errors[0].path == "expires_at"


def test_the_service_itself_gets_no_token(shop) -> None:
    with pytest.raises(NotFound):
        create_token(name="none", by=Actor.system(shop.pk))
    assert not tokens_of(Actor.system(shop.pk))


@pytest.mark.parametrize("who", ["manager", "other_manager"])
def test_nobody_else_can_revoke_a_token(new, request, who: str) -> None:
    with pytest.raises(NotFound):
        revoke_token(token_id=new.token.pk, by=request.getfixturevalue(who).actor)
    assert membership_for_token(new.text) is not None


def test_making_and_revoking_are_told_in_the_history(new, technician) -> None:
    revoke_token(token_id=new.token.pk, by=technician.actor)
    events = Event.objects.filter(subject=f"token:{new.token.pk}").order_by("seq")
    assert [e.kind for e in events] == ["token.created", "token.revoked"]
    assert {e.actor_name for e in events} == {"Tobin Ashgrove"}
