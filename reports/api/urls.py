"""Routes of this app below ``/api/v1/``, and what its refusals mean."""

from __future__ import annotations

from django.urls import path

from reports.api.figures import Figures
from reports.api.records import Records
from reports.api.webhooks import Webhooks
from shopcal.api.kinds import describe
from shopcal.api.routes import Routes, ShopRouter

describe(
    "record_too_early", 409, "A record is issued when the visit is ready.",
    "`facts.state` is the state the visit is in. Finish its work and mark it ready first; a visit "
    "that was cancelled after its vehicle came may have a record too.",
)  # fmt: skip
describe(
    "too_many_webhooks", 409, "There are too many webhooks.",
    "Remove one that is no longer needed.",
)  # fmt: skip

router = ShopRouter()
router.register("records", Records, basename="record")
router.register("webhooks", Webhooks, basename="webhook")

urlpatterns: Routes = [path("figures/", Figures.as_view(), name="figures"), *router.urls]
