"""Small view sets over the accounts, only for these tests."""

from __future__ import annotations

import threading

import django_filters
from django.db.models import F
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.response import Response

from shopcal.accounts.models import Membership, Role, Shop, User
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.permissions import MEMBER
from shopcal.api.versions import versioned
from shopcal.api.views import ListRows, ReadRow, ShopApiView, ShopViewSet
from shopcal.errors import Conflict, FieldError, Invalid, Stale


class ShopRow(serializers.ModelSerializer):
    class Meta:
        model = Shop
        fields = ("id", "name", "version")


class NameIn(serializers.Serializer):
    name = serializers.CharField(max_length=120)


def rename_shop(*, shop: Shop, version: int, name: str) -> Shop:
    """What a service does: compares the version again while it writes."""
    changed = Shop.objects.filter(pk=shop.pk, version=version)
    if not changed.update(name=name, version=F("version") + 1):
        raise Stale("changed_meanwhile", "This was changed meanwhile.")
    shop.refresh_from_db()
    return shop


class Shops(ListRows, ReadRow, ShopViewSet):
    queryset = Shop.objects.all()
    serializer_class = ShopRow
    shop_path = "id"
    detail_route = "shop-detail"
    actions = {
        "list": MEMBER,
        "retrieve": Action.SEE_DAY_BOARD,
        "partial_update": Action.EDIT_SHOP,
        "shout": Action.EDIT_SHOP,
    }

    @extend_schema(request=NameIn, responses=ShopRow)
    @versioned
    def partial_update(self, request, shop, version):
        return self.shown(rename_shop(shop=shop, version=version, **self.read(NameIn)))

    @extend_schema(request=None, responses=ShopRow)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def shout(self, request, shop, version):
        return self.shown(rename_shop(shop=shop, version=version, name=shop.name.upper()))

    @extend_schema(request=None, responses=ShopRow)
    @action(detail=True, methods=["post"])
    def forgotten(self, request, pk):
        """Is not in ``actions``."""
        return self.shown(self.get_object())


class MemberRow(serializers.ModelSerializer):
    name = serializers.CharField(source="user.name")
    joined_at = serializers.DateTimeField(source="user.joined_at")

    class Meta:
        model = Membership
        fields = ("id", "name", "role", "joined_at")


class PersonIn(serializers.Serializer):
    name = serializers.CharField(max_length=20)
    email = serializers.EmailField()


class MembersIn(serializers.Serializer):
    people = PersonIn(many=True, allow_empty=False)
    role = serializers.ChoiceField(choices=Role.choices, default=Role.TECHNICIAN)


class MemberFilter(django_filters.FilterSet):
    class Meta:
        model = Membership
        fields = ("role",)


class Gate:
    """Lets a test hold a request in the middle of its work."""

    reached = threading.Event()
    go_on = threading.Event()
    closed = False

    @classmethod
    def close(cls) -> None:
        cls.reached.clear()
        cls.go_on.clear()
        cls.closed = True

    @classmethod
    def open(cls) -> None:
        cls.closed = False
        cls.go_on.set()

    @classmethod
    def pass_through(cls) -> None:
        if cls.closed:
            cls.reached.set()
            cls.go_on.wait(10)


class Members(ListRows, ReadRow, ShopViewSet):
    queryset = Membership.objects.select_related("user")
    serializer_class = MemberRow
    filterset_class = MemberFilter
    detail_route = "member-detail"
    ordering = ("role", "id")
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.MANAGE_MEMBERS,
    }

    @extend_schema(request=MembersIn, responses={201: MemberRow})
    @idempotent
    def create(self, request):
        given = self.read(MembersIn)
        made = None
        for person in given["people"]:
            user = User.objects.create_user(person["email"], person["name"])
            made = Membership.objects.create(
                user=user, shop_id=self.actor.shop_id, role=given["role"]
            )
        Gate.pass_through()
        if given["people"][-1]["name"] == "Nobody":
            raise Conflict("nobody", "Nobody cannot be a member.")
        return self.created(made)


class Refusing(ShopApiView):
    """Refuses as a service would."""

    actions = {"get": MEMBER}

    @extend_schema(exclude=True)
    def get(self, request):
        if "clash" in request.query_params:
            raise Conflict(
                "no_room",
                "There is no room.",
                detail="Bay 2 is short by 140 mm.",
                facts={"short_mm": 140},
            )
        if "broken" in request.query_params:
            raise RuntimeError("a mistake of ours")
        raise Invalid(
            "plan_faults",
            "The plan cannot be used.",
            errors=[FieldError("zones[2].polygon", "It crosses itself.", "a simple polygon")],
        )


class Answering(ShopApiView):
    """Declares nothing, so nobody may call it."""

    @extend_schema(exclude=True)
    def get(self, request):
        return Response({})
