"""Which action of ``shopcal.accounts.permissions`` each handler needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, cast

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.accounts.requests import MemberRequest
from shopcal.api import kinds
from shopcal.errors import NotAllowed

if TYPE_CHECKING:
    # The framework reads this module while it is importing its views.
    from rest_framework.views import APIView


class Anyone:
    """Stands in a view's ``actions`` for “every member of the shop, whatever their role”."""

    def __repr__(self) -> str:
        return "MEMBER"


MEMBER: Final = Anyone()
Needed = Action | Anyone


class ActionAllowed(BasePermission):
    """Strangers are refused (401), people without a shop too (403), then ``actions`` is asked.

    A view set's ``actions`` is keyed by its action's name, a plain view's by method in lower case.
    A handler that is not in it is refused to everybody: forgetting one must not open it.
    """

    def has_permission(self, request: Request, view: APIView) -> bool:
        if not request.user.is_authenticated:
            return False
        actor = actor_of(request)
        if actor is None:
            raise NotAllowed(kinds.NO_SHOP.code, kinds.NO_SHOP.title, detail=kinds.NO_SHOP.says)
        name = handler_name(view, request)
        if name is None:
            return True  # no such method here: the answer is 405
        needed = getattr(view, "actions", {}).get(name)
        if needed is None:
            return False
        if isinstance(needed, Action):
            require(actor, needed)
        return True


def actor_of(request: Request) -> Actor | None:
    """Who acts: put on Django's request by ``ActorMiddleware`` or by the token."""
    return cast(MemberRequest, request._request).actor


def handler_name(view: Any, request: Request) -> str | None:
    """The key in ``actions`` for what is being asked; None where nothing answers that method."""
    method = (request.method or "").lower()
    if hasattr(view, "action_map"):
        action: str | None = view.action_map.get("get" if method == "head" else method)
        return action
    if method == "head" and hasattr(view, "get"):
        return "get"
    return method if method != "options" and hasattr(view, method) else None
