"""Finds the routes that the apps add, without importing an app by name."""

from __future__ import annotations

import functools
from importlib import import_module

from django.conf import settings
from django.urls import URLPattern, URLResolver
from rest_framework.routers import SimpleRouter

from shopcal.api.conf import API_ROUTERS

Routes = list[URLPattern | URLResolver]


class ShopRouter(SimpleRouter):
    """Routes of view sets: ``router.register("visits", Visits, basename="visit")``."""


def routes_in(module_name: str) -> Routes:
    """The ``urlpatterns`` of a module; none where there is no such module.

    A module that is there but cannot be imported is a mistake, and is raised.
    """
    try:
        module = import_module(module_name)
    except ModuleNotFoundError as error:
        missing = error.name or ""
        if module_name == missing or module_name.startswith(f"{missing}."):
            return []
        raise
    routes: Routes = module.urlpatterns
    return routes


def app_routes() -> Routes:
    """The routes of every app named in ``API_ROUTERS``."""
    names = getattr(settings, "API_ROUTERS", API_ROUTERS)
    return [route for name in names for route in routes_in(name)]


@functools.cache
def list_routes() -> tuple[str, ...]:
    """The names of the routes that list something and need no argument."""
    from shopcal.api import urls

    names = [route.name for route in urls.routes if isinstance(route, URLPattern) and route.name]
    return tuple(f"api:{name}" for name in names if name.endswith("-list"))
