"""A member's own tokens: the text is answered once, when a token is made."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shopcal.accounts.models import ApiToken
from shopcal.accounts.permissions import Action
from shopcal.accounts.services.tokens import create_token, revoke_token
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ReadRow, ShopViewSet


class TokenIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80, help_text="What the token is for.")
    expires_at = serializers.DateTimeField(required=False, allow_null=True, default=None)


class TokenOut(serializers.ModelSerializer[ApiToken]):
    live = serializers.SerializerMethodField(help_text="False once it is revoked or out of date.")

    class Meta:
        model = ApiToken
        fields: tuple[str, ...] = (
            "id",
            "name",
            "prefix",
            "created_at",
            "expires_at",
            "last_used_at",
            "revoked_at",
            "live",
        )
        read_only_fields = fields

    def get_live(self, token: ApiToken) -> bool:
        ended = token.expires_at is not None and token.expires_at <= timezone.now()
        return token.revoked_at is None and not ended


class NewTokenOut(TokenOut):
    token = serializers.SerializerMethodField(
        help_text="Shown this once; null where an idempotency key is replayed."
    )

    class Meta(TokenOut.Meta):
        fields = (*TokenOut.Meta.fields, "token")
        read_only_fields = fields

    def get_token(self, token: ApiToken) -> str | None:
        return self.context.get("text")


class Tokens(ListRows, ReadRow, ShopViewSet):
    """The tokens of whoever is asking."""

    queryset = ApiToken.objects.all()
    serializer_class = TokenOut
    shop_path = "membership__shop_id"
    detail_route = "api:token-detail"
    actions = dict.fromkeys(("list", "retrieve", "create", "destroy"), Action.MANAGE_OWN_TOKENS)

    def get_queryset(self) -> QuerySet[ApiToken]:
        rows: QuerySet[ApiToken] = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        return rows.filter(membership=self.actor.membership_id)

    @extend_schema(request=TokenIn, responses={201: NewTokenOut})
    @idempotent(conceal=("token",))
    def create(self, request: Request) -> Response:
        """Make a token that acts in your name in this shop."""
        made = create_token(**self.read(TokenIn), by=self.actor)
        data = NewTokenOut(made.token, context={"text": made.text}).data
        return Response(data, status=201, headers={"Location": self.address_of(made.token)})

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, pk: str) -> Response:
        """Revoke a token. Doing it twice changes nothing."""
        revoke_token(token_id=self.get_object().pk, by=self.actor)
        return self.gone()
