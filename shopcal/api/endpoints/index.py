"""The way in: what there is, and who is asking."""

from __future__ import annotations

from typing import cast

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.views import APIView

from shopcal.accounts.models import Role
from shopcal.accounts.permissions import Action, may
from shopcal.accounts.requests import MemberRequest
from shopcal.api import kinds
from shopcal.api.conf import PREFIX
from shopcal.api.permissions import MEMBER
from shopcal.api.routes import list_routes
from shopcal.api.views import ShopApiView
from shopcal.errors import NotFound

LINKS = {"type": "object", "additionalProperties": {"type": "string", "format": "uri"}}


class Index(APIView):
    """The addresses of everything that can be listed."""

    permission_classes = [AllowAny]

    @extend_schema(operation_id="index", tags=["start"], responses={200: LINKS})
    def get(self, request: Request) -> Response:
        links = {}
        for name in [*list_routes(), "api:me", "api:schema", "api:docs"]:
            path = reverse(name)
            links[path.removeprefix(PREFIX).strip("/")] = request.build_absolute_uri(path)
        return Response({**links, "problems": request.build_absolute_uri(reverse("api:problems"))})


class ShopOut(serializers.Serializer[object]):
    id = serializers.IntegerField()
    slug = serializers.CharField()
    name = serializers.CharField()
    time_zone = serializers.CharField(help_text="The shop's clock; the API itself speaks UTC.")
    units = serializers.CharField(
        help_text="What people read; the API itself speaks mm and degrees."
    )


class MeOut(serializers.Serializer[object]):
    name = serializers.CharField()
    role = serializers.ChoiceField(choices=Role.choices)
    membership_id = serializers.IntegerField()
    shop = ShopOut()
    may = serializers.ListField(
        child=serializers.CharField(), help_text="The codes of every action this role is allowed."
    )


class Me(ShopApiView):
    """Who is asking, in which shop, and what they may do."""

    actions = {"get": MEMBER}

    @extend_schema(operation_id="me", tags=["start"], responses=MeOut)
    def get(self, request: Request) -> Response:
        membership = cast(MemberRequest, request._request).membership
        answer = {
            "name": self.actor.name,
            "role": self.actor.role,
            "membership_id": membership.pk,
            "shop": membership.shop,
            "may": sorted(action.value for action in Action if may(self.actor, action)),
        }
        return Response(MeOut(answer).data)


class Nowhere(APIView):
    """Every address below ``/api/`` that there is not: programs get a problem, not a page."""

    schema = None
    permission_classes = [AllowAny]
    authentication_classes = []

    def initial(self, request: Request, *args: object, **kwargs: object) -> None:
        super().initial(request, *args, **kwargs)
        detail = "" if request.path.endswith("/") else "Addresses end in a slash."
        raise NotFound(kinds.MISSING.code, "There is no such address.", detail=detail)
