"""Vehicles by VIN, the shop's library of kinds of vehicle, and what a VIN says."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import django_filters
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.intake import vin
from jobs.models import Vehicle, VehicleModel
from jobs.selectors.vehicles import kind_for_vin, known_vehicle
from jobs.services.vehicles import add_vehicle_model
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ReadRow, ShopApiView, ShopViewSet
from shopcal.errors import FieldError, Invalid

SIZES = (
    "width_mm", "wheelbase_mm", "front_overhang_mm", "rear_overhang_mm", "tyre_track_mm",
    "turning_circle_mm",
)  # fmt: skip
LONGEST_MM = 30_000


class SizeField(serializers.IntegerField):
    """A size of a vehicle in whole millimetres."""

    def __init__(self, *, min_value: int = 100, **kwargs: Any) -> None:
        super().__init__(min_value=min_value, max_value=LONGEST_MM, **kwargs)


class SizesIn(serializers.Serializer[Any]):
    """Outer sizes; the tyre track is across the outer tread blocks, the turning circle from kerb
    to kerb.
    """

    width_mm = SizeField()
    wheelbase_mm = SizeField()
    front_overhang_mm = SizeField(min_value=0)
    rear_overhang_mm = SizeField(min_value=0)
    tyre_track_mm = SizeField(required=False, allow_null=True, default=None)
    turning_circle_mm = SizeField(
        required=False,
        allow_null=True,
        default=None,
        help_text="Diameter from kerb to kerb; without it a usual one is taken for driving in.",
    )


class SystemsField(serializers.ListField):
    child = serializers.CharField(max_length=60)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=100, **kwargs)


class VehicleKindOut(serializers.ModelSerializer[VehicleModel]):
    systems = SystemsField()

    class Meta:
        model = VehicleModel
        fields = (
            "id", "code", "make", "name", "vin_prefix", "years", "systems", "source", *SIZES,
        )  # fmt: skip
        read_only_fields = fields


class VehicleKindIn(SizesIn):
    code = serializers.CharField(max_length=60)
    make = serializers.CharField(max_length=60)
    name = serializers.CharField(max_length=80)
    vin_prefix = serializers.CharField(
        max_length=11, required=False, allow_blank=True, default="", help_text="How its VINs begin."
    )
    years = serializers.CharField(max_length=20, required=False, allow_blank=True, default="")
    systems = SystemsField(required=False, default=list, help_text="Codes of the systems it has.")
    source = serializers.CharField(  # type: ignore[assignment]  # the metaclass takes it away
        max_length=200, required=False, allow_blank=True, default="", help_text="Of the sizes."
    )


class VehicleKindFilter(django_filters.FilterSet):
    class Meta:
        model = VehicleModel
        fields = ("code", "make")


class VehicleKinds(ListRows, ReadRow, ShopViewSet):
    """The shop's own library of sizes and systems."""

    queryset = VehicleModel.objects.all()
    serializer_class = VehicleKindOut
    filterset_class = VehicleKindFilter
    ordering = ("code", "id")
    detail_route = "api:vehicle-kind-detail"
    actions = {
        "list": Action.SEE_VISIT,
        "retrieve": Action.SEE_VISIT,
        "create": Action.BOOK_VISIT,
    }

    @extend_schema(request=VehicleKindIn, responses={201: VehicleKindOut})
    @idempotent
    def create(self, request: Request) -> Response:
        return self.created(add_vehicle_model(**self.read(VehicleKindIn), by=self.actor))


class VehicleOut(serializers.ModelSerializer[Vehicle]):
    kind = serializers.CharField(source="model.code", default=None, allow_null=True)
    systems = SystemsField()

    class Meta:
        model = Vehicle
        fields = (
            "id", "vin", "label", "kind", "model_year", "plate", "systems", *SIZES, "version",
        )  # fmt: skip
        read_only_fields = fields


class VehicleFilter(django_filters.FilterSet):
    class Meta:
        model = Vehicle
        fields = ("vin", "plate")


class Vehicles(ListRows, ReadRow, ShopViewSet):
    """Vehicles that were here or are booked; booking adds them and brings them up to date."""

    queryset = Vehicle.objects.select_related("model")
    serializer_class = VehicleOut
    filterset_class = VehicleFilter
    ordering = ("-id",)
    detail_route = "api:vehicle-detail"
    actions = dict.fromkeys(("list", "retrieve"), Action.SEE_VISIT)


class PositionOut(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    char = serializers.CharField()
    means = serializers.CharField()


class VinOut(serializers.Serializer[Any]):
    """A VIN taken apart as far as 49 CFR Part 565 allows; the rest only its maker can read."""

    text = serializers.CharField()
    wmi = serializers.CharField()
    vds = serializers.CharField()
    vis = serializers.CharField()
    region = serializers.CharField()
    check_digit_right = serializers.BooleanField()
    expected_check_digit = serializers.CharField()
    model_years = serializers.ListField(child=serializers.IntegerField())
    model_year = serializers.IntegerField(allow_null=True)
    plant = serializers.CharField()
    serial = serializers.CharField()
    positions = PositionOut(many=True)
    notes = serializers.ListField(child=serializers.CharField())
    warnings = serializers.ListField(child=serializers.CharField())
    kind = serializers.CharField(
        allow_null=True, help_text="Code of the library's entry whose VINs begin so."
    )
    vehicle = serializers.IntegerField(
        allow_null=True, help_text="The vehicle, where the shop knows it."
    )


class VinCheck(ShopApiView):
    actions = {"get": Action.SEE_VISIT}

    @extend_schema(
        operation_id="check_vin",
        parameters=[
            OpenApiParameter("vin", str, OpenApiParameter.PATH, description="As typed or scanned.")
        ],
        responses=VinOut,
    )
    def get(self, request: Request, vin: str) -> Response:
        """Check and read a VIN. One whose check digit is wrong is refused with likely readings."""
        found = _checked(vin)
        kind = kind_for_vin(self.actor.shop_id, found.text)
        known = known_vehicle(self.actor.shop_id, found.text)
        answer = {
            **asdict(found),
            "kind": kind.code if kind else None,
            "vehicle": known.pk if known else None,
        }
        return Response(VinOut(answer).data)


def _checked(text: str) -> vin.Vin:
    try:
        return vin.check(text)
    except vin.VinRefused as refused:
        raise Invalid(
            "vin_refused",
            "This is not a VIN that can be taken as it stands.",
            errors=[FieldError("vin", refused.says, refused.right)],
            facts={
                "reason": refused.code,
                "position": refused.position,
                "candidates": list(refused.candidates),
            },
        ) from refused
