"""Receivers of what happens in the shop."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from reports.models import WebhookEndpoint
from reports.services.webhooks import PREFIXES, URL_LENGTH, add_endpoint, remove_endpoint
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ReadRow, ShopViewSet


class WebhookIn(serializers.Serializer[Any]):
    url = serializers.CharField(
        max_length=URL_LENGTH,
        help_text="http or https. An address in the shop's own network is allowed.",
    )
    kinds = serializers.ListField(
        child=serializers.ChoiceField(choices=PREFIXES),
        required=False,
        default=list,
        max_length=len(PREFIXES),
        help_text="Kinds of events by how they begin; none means all.",
    )


class WebhookOut(serializers.ModelSerializer[WebhookEndpoint]):
    class Meta:
        model = WebhookEndpoint
        fields: tuple[str, ...] = (
            "id",
            "url",
            "kinds",
            "active",
            "created_at",
            "last_status",
            "last_error",
            "last_delivered_at",
        )
        read_only_fields = fields


class NewWebhookOut(WebhookOut):
    secret = serializers.SerializerMethodField(
        help_text="Shown this once; null where an idempotency key is replayed."
    )

    class Meta(WebhookOut.Meta):
        fields = (*WebhookOut.Meta.fields, "secret")
        read_only_fields = fields

    def get_secret(self, endpoint: WebhookEndpoint) -> str | None:
        return self.context.get("secret")


class Webhooks(ListRows, ReadRow, ShopViewSet):
    """Receivers that are told, signed, that a visit, calibration, step, record or plan changed.

    The body has `kind`, `subject`, `visit_id`, `seq`, `at` and a `link` to read; not the data.
    `Shopcal-Signature` is `sha256=` and the HMAC-SHA256 of `Shopcal-Timestamp`, a full stop and the
    body under the secret. A delivery may come more than once: `Shopcal-Delivery` names it.
    """

    queryset = WebhookEndpoint.objects.all()
    serializer_class = WebhookOut
    detail_route = "api:webhook-detail"
    actions = dict.fromkeys(("list", "retrieve", "create", "destroy"), Action.MANAGE_WEBHOOKS)

    @extend_schema(request=WebhookIn, responses={201: NewWebhookOut})
    @idempotent(conceal=("secret",))
    def create(self, request: Request) -> Response:
        """Add a receiver, told of everything from now on."""
        new = add_endpoint(by=self.actor, **self.read(WebhookIn))
        data = NewWebhookOut(new.endpoint, context={"secret": new.secret}).data
        return Response(data, status=201, headers={"Location": self.address_of(new.endpoint)})

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, pk: str) -> Response:
        """Remove a receiver; what is still owed to it is dropped."""
        remove_endpoint(by=self.actor, endpoint_id=self.get_object().pk)
        return self.gone()
