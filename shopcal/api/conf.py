"""Settings of the API, imported by the project's settings; imports no Django."""

from __future__ import annotations

from typing import Any

PREFIX = "/api/v1/"
PROBLEMS_PREFIX = "/api/problems/"
PAGE_SIZE = 50
MAX_PAGE_SIZE = 200
KEPT_HOURS = 48  # how long the answer to an idempotency key is kept

# Modules whose ``urlpatterns`` are served below PREFIX when they exist. Named as text, so that the
# project package needs no import of the apps; ``API_ROUTERS`` in the settings takes precedence.
API_ROUTERS = ["bays.api.urls", "jobs.api.urls", "reports.api.urls"]

REST_FRAMEWORK: dict[str, Any] = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "shopcal.api.authentication.TokenAuthentication",
        "shopcal.api.authentication.SignedInAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["shopcal.api.permissions.ActionAllowed"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_METADATA_CLASS": None,
    "DEFAULT_PAGINATION_CLASS": "shopcal.api.paging.CursorPages",
    "PAGE_SIZE": PAGE_SIZE,
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_THROTTLE_CLASSES": ["shopcal.api.throttling.CallerThrottle"],
    "DEFAULT_THROTTLE_RATES": {"caller": "1200/min", "stranger": "120/min"},
    "DEFAULT_SCHEMA_CLASS": "shopcal.api.schema.ShopAutoSchema",
    "EXCEPTION_HANDLER": "shopcal.api.problems.answer_problem",
    "DATETIME_FORMAT": "iso-8601",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}

SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "shopcal",
    "DESCRIPTION": (
        "Scheduling, calibration workflow, measurement and records of a driver-assistance "
        "calibration shop. Lengths are millimetres, angles degrees, voltages volts, and times UTC. "
        "Refusals are problem details (RFC 9457). Nothing here replaces the vehicle maker's "
        "current service information."
    ),
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PUBLIC": True,
    "SERVE_AUTHENTICATION": [],
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    # Fields that share a name over different choices; named as text for the same reason as above.
    "ENUM_NAME_OVERRIDES": {
        "FloorOutcome": "bays.api.floor_answers.OUTCOMES",
        "DueState": "bays.api.equipment.DUE_STATES",
        "UnitState": "bays.models.equipment.EquipmentUnit.State",
        "ResourceKind": "bays.models.hold.ResourceKind",
        "VisitState": "jobs.api.visit_shapes.STATES",
        "CalibrationState": "jobs.api.visit_shapes.CALIBRATION_STATES",
        "StepState": "jobs.models.visit.Step.State",
        "StepKind": "jobs.models.visit.Step.Kind",
        "ScanKind": "jobs.models.scan.Scan.Kind",
    },
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "shopcal.api.schema.add_problem_responses",
    ],
}
