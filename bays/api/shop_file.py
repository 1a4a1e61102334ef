"""A whole shop's setting-up as one document, out and in."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from bays.services.transfer import export_shop, import_shop
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ShopApiView
from shopcal.errors import FieldError, Invalid


class ImportOut(serializers.Serializer[Any]):
    changed = serializers.BooleanField(help_text="False where the shop was so already.")
    says = serializers.ListField(child=serializers.CharField())


class ShopFile(ShopApiView):
    actions = {"get": Action.IMPORT_EXPORT, "post": Action.IMPORT_EXPORT}

    @extend_schema(operation_id="export_shop", responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> Response:
        """The shop file, as the import takes it."""
        return Response(export_shop(self.actor.shop_id))

    @extend_schema(operation_id="import_shop", request=OpenApiTypes.OBJECT, responses=ImportOut)
    @idempotent
    def post(self, request: Request) -> Response:
        """Bring a shop file in. With any fault nothing is changed and all are listed."""
        document = request.data
        if not isinstance(document, dict):
            fault = FieldError("", "This is no shop file.", "a JSON object")
            raise Invalid("document_faults", "The shop file has faults.", errors=[fault])
        summary = import_shop(by=self.actor, document=document)
        answer = {"changed": summary.anything_changed, "says": list(summary.says())}
        return Response(ImportOut(answer).data)
