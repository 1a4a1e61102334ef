"""Visits: booking, changing, and every move from check-in to release."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.quotes import booking_request
from jobs.api.visit_shapes import (
    LISTED,
    BookingIn,
    CheckInIn,
    OverrideIn,
    ReasonIn,
    SystemsIn,
    VisitChangeIn,
    VisitFilter,
    VisitOut,
    VisitRow,
)
from jobs.models import Visit
from jobs.services import overrides, scans, sign_off, visits
from jobs.services.booking import book_visit
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.permissions import MEMBER, Needed
from shopcal.api.versions import versioned
from shopcal.api.views import ListRows, ReadRow, ShopViewSet


class Visits(ListRows, ReadRow, ShopViewSet):
    """A vehicle's stay under one repair order."""

    queryset = Visit.objects.all()
    serializer_class = VisitOut
    filterset_class = VisitFilter
    ordering = ("promised_at", "id")
    detail_route = "api:visit-detail"
    # Of several actions that let an act pass, the services know which: they ask again.
    actions: ClassVar[dict[str, Needed]] = {
        "list": Action.SEE_VISIT,
        "retrieve": Action.SEE_VISIT,
        "create": Action.BOOK_VISIT,
        "partial_update": Action.CHANGE_VISIT,
        "check_in": Action.CHECK_IN,
        "confirm_systems": Action.CHECK_IN,
        "hold": MEMBER,
        "resume": MEMBER,
        "ready": Action.SIGN_OFF,
        "reopen": MEMBER,
        "release": Action.RELEASE_VISIT,
        "cancel": Action.CANCEL_VISIT,
        "confirm_comparison": Action.SIGN_OFF,
        "override": Action.OVERRIDE_GUARD,
    }

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        if self.action == "list":
            return rows.values(*LISTED, "vehicle__label", "vehicle__vin")
        return rows.select_related("vehicle__model").prefetch_related(
            "steps__technician", "calibrations__edition__procedure", "calibrations__step"
        )

    def summary_of(self, row: Visit) -> dict[str, Any]:
        return {"id": row.pk, "says": f"{row} is {row.state.replace('_', ' ')}", "state": row.state}

    @extend_schema(responses=VisitRow(many=True))
    def list(self, request: Request) -> Response:
        """Visits by the time promised."""
        self._refuse_unknown_names(request)
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response([_listed(row) for row in page or ()])

    def _fresh(self, visit: Visit) -> Visit:
        fresh: Visit = self.get_queryset().get(pk=visit.pk)
        return fresh

    @extend_schema(request=BookingIn, responses={201: VisitOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Book: take an offer of `quotes/`. Its holds are taken and the promise is stored."""
        given = self.read(BookingIn)
        token = given.pop("offer_token")
        visit = book_visit(by=self.actor, request=booking_request(given), offer_token=token)
        return self.created(self._fresh(visit))

    @extend_schema(request=VisitChangeIn, responses=VisitOut)
    @versioned
    def partial_update(self, request: Request, visit: Visit, version: int) -> Response:
        """Change the customer's details or the notes."""
        given = self.read(VisitChangeIn, partial=True)
        visits.change_details(visit=visit, version=version, **given, by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=CheckInIn, responses=VisitOut)
    @action(detail=True, methods=["post"], url_path="check-in")
    @idempotent
    @versioned
    def check_in(self, request: Request, visit: Visit, version: int) -> Response:
        """The vehicle is here."""
        given = self.read(CheckInIn)
        visits.check_in(visit=visit, version=version, **given, by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=SystemsIn, responses=VisitOut)
    @action(detail=True, methods=["post"], url_path="confirm-systems")
    @idempotent
    @versioned
    def confirm_systems(self, request: Request, visit: Visit, version: int) -> Response:
        """Say of systems in doubt whether the vehicle has them."""
        given = self.read(SystemsIn)
        visits.confirm_systems(visit=visit, version=version, **given, by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=ReasonIn, responses=VisitOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def hold(self, request: Request, visit: Visit, version: int) -> Response:
        """Stop work for now."""
        visits.hold(visit=visit, version=version, **self.read(ReasonIn), by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=None, responses=VisitOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def resume(self, request: Request, visit: Visit, version: int) -> Response:
        """Go on with a visit on hold."""
        visits.resume(visit=visit, version=version, by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=None, responses=VisitOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def ready(self, request: Request, visit: Visit, version: int) -> Response:
        """Sign the work off: the vehicle may be handed over once the record is issued."""
        sign_off.sign_off(visit=visit, version=version, by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=ReasonIn, responses=VisitOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def reopen(self, request: Request, visit: Visit, version: int) -> Response:
        """Take a ready visit back into work."""
        visits.reopen(visit=visit, version=version, **self.read(ReasonIn), by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=None, responses=VisitOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def release(self, request: Request, visit: Visit, version: int) -> Response:
        """Hand the vehicle over."""
        visits.release(visit=visit, version=version, by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=ReasonIn, responses=VisitOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def cancel(self, request: Request, visit: Visit, version: int) -> Response:
        """Call the visit off; everything it holds is free."""
        visits.cancel(visit=visit, version=version, **self.read(ReasonIn), by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=None, responses=VisitOut)
    @action(detail=True, methods=["post"], url_path="confirm-comparison")
    @idempotent
    @versioned
    def confirm_comparison(self, request: Request, visit: Visit, version: int) -> Response:
        """Say that a person looked at pre-scan and post-scan side by side."""
        scans.confirm_comparison(visit=visit, version=version, by=self.actor)
        return self.shown(self._fresh(visit))

    @extend_schema(request=OverrideIn, responses=VisitOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def override(self, request: Request, visit: Visit, version: int) -> Response:
        """Set a guard of the visit's own moves aside, with the reason."""
        given = self.read(OverrideIn)
        overrides.override_guard(visit=visit, version=version, **given, by=self.actor)
        return self.shown(self._fresh(visit))


def _listed(row: dict[str, Any]) -> dict[str, Any]:
    return {
        **{name: row[name] for name in LISTED},
        "vehicle": row["vehicle__label"],
        "vin": row["vehicle__vin"],
    }
