"""Everything below ``/api/``. An app's own routes come from the modules in ``API_ROUTERS``."""

from __future__ import annotations

from django.urls import include, path, re_path

from shopcal.api.endpoints.docs import Schema, show_docs
from shopcal.api.endpoints.index import Index, Me, Nowhere
from shopcal.api.endpoints.problems import list_problems, show_problem
from shopcal.api.endpoints.tokens import Tokens
from shopcal.api.routes import Routes, ShopRouter, app_routes

app_name = "api"

router = ShopRouter()
router.register("tokens", Tokens, basename="token")

routes: Routes = [
    path("", Index.as_view(), name="index"),
    path("me/", Me.as_view(), name="me"),
    path("schema/", Schema.as_view(), name="schema"),
    path("docs/", show_docs, name="docs"),
    *router.urls,
    *app_routes(),
]

urlpatterns: Routes = [
    path("v1/", include(routes)),
    path("problems/", list_problems, name="problems"),
    path("problems/<str:code>", show_problem, name="problem"),
    re_path("", Nowhere.as_view(), name="nowhere"),
]
