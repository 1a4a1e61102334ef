"""Every operation of the apps' routes, read from the routers themselves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, reverse

from bays.api import urls as bays_urls
from jobs.api import urls as jobs_urls
from shopcal.accounts.models import Shop
from tests.jobs.pages.cast import vin

METHODS = ("get", "post", "put", "patch", "delete")
NOBODY = 999_999_999


@dataclass(frozen=True)
class Operation:
    route: str
    method: str
    handler: str
    view: Any
    names: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.method} {self.route}"

    @property
    def function(self) -> Any:
        return getattr(self.view, self.handler)

    @property
    def has_row(self) -> bool:
        return "pk" in self.names

    @property
    def needed(self) -> Any:
        return self.view.actions.get(self.handler)

    @property
    def needs_if_match(self) -> bool:
        return getattr(self.function, "needs_if_match", False)

    def sample(self, shop: Shop) -> int:
        """The id of a row of the shop."""
        rows = self.view.queryset.filter(**{self.view.shop_path: shop.pk})
        return rows.order_by("pk").values_list("pk", flat=True)[0]

    def address(self, shop: Shop, pk: Any = None) -> str:
        kwargs: dict[str, Any] = {}
        if self.has_row:
            kwargs["pk"] = pk or self.sample(shop)
        if "vin" in self.names:
            kwargs["vin"] = vin()
        return reverse(f"api:{self.route}", kwargs=kwargs)


def every_operation() -> list[Operation]:
    return [
        Operation(pattern.name or "", method, handler, pattern.callback.cls, _names(pattern))
        for pattern in (*bays_urls.urlpatterns, *jobs_urls.urlpatterns)
        if isinstance(pattern, URLPattern)
        for method, handler in _handlers(pattern).items()
    ]


def _handlers(pattern: URLPattern) -> dict[str, str]:
    mapped = getattr(pattern.callback, "actions", None)
    if mapped:
        return dict(mapped)
    view = pattern.callback.cls
    return {method: method for method in METHODS if hasattr(view, method)}


def _names(pattern: URLPattern) -> tuple[str, ...]:
    return (*pattern.pattern.regex.groupindex, *pattern.pattern.converters)


OPERATIONS = every_operation()
