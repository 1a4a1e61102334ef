"""The base classes of every endpoint: who acts, in which shop, and what they may do."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from typing import Any, ClassVar, cast

from django.db.models import Model, QuerySet
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone
from rest_framework import serializers, status
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet, ViewSet

from shopcal.accounts.actor import Actor
from shopcal.api import kinds
from shopcal.api.conf import MAX_PAGE_SIZE
from shopcal.api.etags import etag_for, is_unchanged
from shopcal.api.permissions import Needed, actor_of
from shopcal.errors import FieldError, Invalid, NotFound

LONGEST_ID = 18  # digits; any number that long fits the database's 64-bit integers
_PAGE_SIZE = re.compile(r"[1-9][0-9]{0,8}")


class _OfAMember(APIView):
    """What both base classes share. ``actions`` says who may call what; see ``permissions``."""

    actions: ClassVar[Mapping[str, Needed]] = {}

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        # Programs read UTC, whatever the shop's clock says; pages may have another zone active.
        with timezone.override(datetime.UTC):
            return super().dispatch(request, *args, **kwargs)

    @property
    def actor(self) -> Actor:
        """Who acts; ``ActionAllowed`` has made sure that there is someone."""
        return cast(Actor, actor_of(self.request))

    def read(
        self,
        serializer_class: type[serializers.BaseSerializer[Any]],
        *,
        partial: bool = False,
        **context: Any,
    ) -> dict[str, Any]:
        """The validated content of the request.

        Raises:
            ValidationError: answered as 422 ``invalid`` with the path of every fault.
        """
        given = serializer_class(
            data=self.request.data,
            partial=partial,
            context={"request": self.request, "view": self, **context},
        )
        given.is_valid(raise_exception=True)
        return cast(dict[str, Any], given.validated_data)


class ShopApiView(_OfAMember):
    """A single address. ``actions`` is keyed by method: ``{"get": Action.SEE_FIGURES}``."""


class ShopActs(_OfAMember, ViewSet):
    """A view set without rows of its own."""


class ShopViewSet(_OfAMember, GenericViewSet[Any]):
    """Rows of the actor's shop. ``actions`` is keyed by action: ``{"list": Action.SEE_VISIT}``.

    ``shop_path`` leads from the row to its shop's id. ``ordering`` is the order of lists, and
    ``detail_route`` the name of the route that shows one row (``api:visit-detail``).
    """

    shop_path: ClassVar[str] = "shop_id"
    ordering: ClassVar[tuple[str, ...]] = ("-id",)
    detail_route: ClassVar[str] = ""
    # Identifiers are numbers, so any other address is refused before the database is asked.
    lookup_value_regex = "[0-9]+"

    def get_queryset(self) -> QuerySet[Any]:
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows.none()
        return rows.filter(**{self.shop_path: self.actor.shop_id})

    def get_object(self) -> Any:
        wanted = self.kwargs[self.lookup_url_kwarg or self.lookup_field]
        if len(wanted) > LONGEST_ID:
            raise NotFound(kinds.MISSING.code, kinds.MISSING.title)
        return super().get_object()

    def address_of(self, row: Model) -> str:
        """The absolute address of a row."""
        return reverse(self.detail_route, kwargs={"pk": row.pk}, request=self.request)

    def summary_of(self, row: Any) -> dict[str, Any]:
        """What a caller with an old version is told about the current one."""
        return {"id": row.pk, "says": str(row)}

    def shown(self, row: Any, *, status_code: int = status.HTTP_200_OK) -> Response:
        """A row as it is represented, with its ``ETag`` where it has a version."""
        serializer = self.get_serializer(row)
        return Response(serializer.data, status=status_code, headers=self._tag(row))

    def created(self, row: Any) -> Response:
        """201 with ``Location``, ``ETag`` and the row."""
        response = self.shown(row, status_code=status.HTTP_201_CREATED)
        if self.detail_route:
            response["Location"] = self.address_of(row)
        return response

    def gone(self) -> Response:
        return Response(status=status.HTTP_204_NO_CONTENT)

    @staticmethod
    def _tag(row: Any) -> dict[str, str]:
        version = getattr(row, "version", None)
        return {} if version is None else {"ETag": etag_for(version)}


class ListRows(GenericAPIView[Any]):
    """``GET`` of a page of rows, filtered by the view's ``filterset_class``."""

    def list(self, request: Request) -> Response:
        self._refuse_unknown_names(request)
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        serializer = self.get_serializer(page, many=True)
        return self.get_paginated_response(serializer.data)

    def _refuse_unknown_names(self, request: Request) -> None:
        """A misspelt filter must not silently answer with everything."""
        filterset = getattr(self, "filterset_class", None)
        known = {"cursor", "page_size", *(filterset.base_filters if filterset else ())}
        right = "one of " + ", ".join(sorted(known))
        faults = [
            FieldError(name, "There is no such filter.", right)
            for name in request.query_params
            if name not in known
        ]
        size = request.query_params.get("page_size", "1")
        if not _PAGE_SIZE.fullmatch(size):
            right = f"a whole number from 1 to {MAX_PAGE_SIZE}"
            faults.append(FieldError("page_size", "This is not a size.", right))
        if faults:
            raise Invalid(kinds.INVALID.code, kinds.INVALID.title, errors=faults)


class ReadRow(GenericAPIView[Any]):
    """``GET`` of one row: its ``ETag``, and 304 where ``If-None-Match`` names it."""

    def retrieve(self, request: Request, pk: str) -> Response:
        view = cast(ShopViewSet, self)
        row = view.get_object()
        tag = view._tag(row).get("ETag")
        if tag is not None and is_unchanged(request, tag):
            return Response(status=status.HTTP_304_NOT_MODIFIED, headers={"ETag": tag})
        return view.shown(row)


__all__ = ["ListRows", "ReadRow", "ShopActs", "ShopApiView", "ShopViewSet"]
