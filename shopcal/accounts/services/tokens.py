"""Making, revoking and recognising API tokens."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import ApiToken, Membership
from shopcal.accounts.permissions import Action, require
from shopcal.accounts.selectors.tokens import tokens_of
from shopcal.errors import FieldError, Invalid, NotFound
from shopcal.history.record import record_event

MARK = "shopcal_"  # lets secret scanners and people recognise a leaked token
RANDOM_BYTES = 32
# A busy program would otherwise write this row at every request.
LAST_USED_EVERY = timedelta(minutes=5)
PREFIX_LENGTH = 12


@dataclass(frozen=True)
class NewToken:
    """A token just made; ``text`` is shown this once and kept nowhere."""

    token: ApiToken
    text: str


def digest_of(text: str) -> str:
    """SHA-256 of a token's text, as 64 hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def create_token(*, name: str, by: Actor, expires_at: datetime | None = None) -> NewToken:
    """Make a token that acts as this member, with 256 random bits.

    Raises:
        NotAllowed: the role may not, or the service itself asks.
        Invalid: no name, or an end that has passed.
    """
    require(by, Action.MANAGE_OWN_TOKENS)
    errors = []
    name = name.strip()
    if not name or len(name) > 80:
        errors.append(FieldError("name", "This names the token.", "1 to 80 characters"))
    if expires_at is not None and expires_at <= timezone.now():
        errors.append(FieldError("expires_at", "This has passed already.", "a later time, or none"))
    if errors:
        raise Invalid("token_invalid", "The token was not made.", errors=errors)
    if by.membership_id is None:
        raise NotFound("no_membership", "A token belongs to a person in a shop.")
    text = MARK + secrets.token_urlsafe(RANDOM_BYTES)
    with transaction.atomic():
        token = ApiToken.objects.create(
            membership_id=by.membership_id,
            name=name,
            prefix=text[: len(MARK) + 4],
            digest=digest_of(text),
            expires_at=expires_at,
        )
        _tell(by, "token.created", token)
    return NewToken(token, text)


def revoke_token(*, token_id: int, by: Actor) -> ApiToken:
    """End a token now. Revoking twice changes nothing.

    Raises:
        NotFound: not one of this member's own tokens.
    """
    require(by, Action.MANAGE_OWN_TOKENS)
    with transaction.atomic():
        own = tokens_of(by).filter(pk=token_id)
        # Conditional, so that of two revocations at once only one is told in the history.
        ended = own.filter(revoked_at=None).update(revoked_at=timezone.now())
        token = own.first()
        if token is None:
            raise NotFound("token_unknown", "There is no such token of yours.")
        if ended:
            _tell(by, "token.revoked", token)
    return token


def membership_for_token(text: str) -> Membership | None:
    """The active membership a token stands for, user and shop read; None where it opens nothing.

    Looking the digest up compares no secret character by character, so timing tells nothing.
    """
    if not text.startswith(MARK):
        return None
    now = timezone.now()
    token = (
        ApiToken.objects.filter(digest=digest_of(text), revoked_at=None)
        .filter(Q(expires_at=None) | Q(expires_at__gt=now))
        .filter(membership__active=True, membership__user__is_active=True)
        .select_related("membership__user", "membership__shop")
        .first()
    )
    if token is None:
        return None
    _note_use(token, now)
    return token.membership


def _note_use(token: ApiToken, now: datetime) -> None:
    if token.last_used_at is not None and now - token.last_used_at < LAST_USED_EVERY:
        return
    ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)


def _tell(by: Actor, kind: str, token: ApiToken) -> None:
    record_event(
        by=by,
        kind=kind,
        subject=f"token:{token.pk}",
        after={"name": token.name, "prefix": token.prefix, "expires_at": token.expires_at},
    )
