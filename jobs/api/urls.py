"""Routes of the work on vehicles below ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from jobs.api.calibrations import Calibrations
from jobs.api.events import Events
from jobs.api.plan import Plan
from jobs.api.problems import describe_problems
from jobs.api.procedures import ProcedureEditions, Procedures, ProcedureSchema, WorkCodes
from jobs.api.proposals import Proposals
from jobs.api.quotes import Quotes
from jobs.api.scans import ScanCodes, Scans
from jobs.api.steps import Steps
from jobs.api.studies import Helps, WhatIfs
from jobs.api.vehicles import VehicleKinds, Vehicles, VinCheck
from jobs.api.visits import Visits
from shopcal.api.routes import ShopRouter

describe_problems()

router = ShopRouter()
router.register("vehicles", Vehicles, basename="vehicle")
router.register("vehicle-kinds", VehicleKinds, basename="vehicle-kind")
router.register("procedures", Procedures, basename="procedure")
router.register("procedure-editions", ProcedureEditions, basename="procedure-edition")
router.register("quotes", Quotes, basename="quote")
router.register("visits", Visits, basename="visit")
router.register("steps", Steps, basename="step")
router.register("plan", Plan, basename="plan")
router.register("proposals", Proposals, basename="proposal")
router.register("scans", Scans, basename="scan")
router.register("scan-codes", ScanCodes, basename="scan-code")
router.register("calibrations", Calibrations, basename="calibration")
router.register("helps", Helps, basename="help")
router.register("what-ifs", WhatIfs, basename="what-if")
router.register("events", Events, basename="event")

urlpatterns: list[URLPattern | URLResolver] = [
    path("vin/<str:vin>/", VinCheck.as_view(), name="check-vin"),
    path("work-codes/", WorkCodes.as_view(), name="work-codes"),
    path("procedure-schema/", ProcedureSchema.as_view(), name="procedure-schema"),
    *router.urls,
]
