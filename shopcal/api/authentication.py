"""Who calls: a program with a bearer token, or a person who has signed in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from django.contrib.auth.base_user import AbstractBaseUser
from rest_framework.authentication import (
    BaseAuthentication,
    SessionAuthentication,
    get_authorization_header,
)
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.request import Request

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import User
from shopcal.accounts.requests import MemberRequest
from shopcal.accounts.services.tokens import digest_of, membership_for_token
from shopcal.api import kinds
from shopcal.errors import NotAllowed


@dataclass(frozen=True)
class Bearer:
    """``request.auth`` of a program; the digest tells tokens of one person apart."""

    digest: str


class TokenAuthentication(BaseAuthentication):
    """``Authorization: Bearer <token>``; the caller acts as the token's membership."""

    def authenticate(self, request: Request) -> tuple[User, Bearer] | None:
        parts = get_authorization_header(request).split()
        if not parts or parts[0].lower() != b"bearer":
            return None
        if len(parts) != 2:
            raise AuthenticationFailed("Write the header as “Authorization: Bearer <token>”.")
        text = parts[1].decode("latin-1")
        membership = membership_for_token(text)
        if membership is None:
            raise AuthenticationFailed("Make a new one and send that.")
        inner = cast(MemberRequest, request._request)
        inner.membership = membership
        inner.actor = Actor.of(membership)
        return membership.user, Bearer(digest_of(text))

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="shopcal"'


class SignedInAuthentication(SessionAuthentication):
    """A signed-in person's session; anything that changes something needs the CSRF token.

    ``ActorMiddleware`` has put the person's membership on the request.
    """

    def authenticate(self, request: Request) -> tuple[AbstractBaseUser, None] | None:
        if get_authorization_header(request):
            # A caller who sends credentials of another kind must not act by a cookie instead.
            return None
        return super().authenticate(request)

    def enforce_csrf(self, request: Request) -> None:
        try:
            super().enforce_csrf(request)
        except PermissionDenied as error:
            raise NotAllowed(kinds.CSRF.code, kinds.CSRF.title, detail=str(error.detail)) from error
