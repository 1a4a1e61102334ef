"""Where does a vehicle with its clear zone fit? Asked of the floor plan in force."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays import floor
from bays.selectors.floor import current_floor
from shopcal.accounts.permissions import Action
from shopcal.api.views import ShopActs
from shopcal.errors import FieldError, Invalid

MOST_HEADINGS = 36
LONGEST_MM = 30_000


class ShapeIn(serializers.Serializer[Any]):
    """A vehicle's outline on the ground, millimetres."""

    width_mm = serializers.FloatField(min_value=100, max_value=LONGEST_MM)
    wheelbase_mm = serializers.FloatField(min_value=100, max_value=LONGEST_MM)
    front_overhang_mm = serializers.FloatField(min_value=0, max_value=LONGEST_MM)
    rear_overhang_mm = serializers.FloatField(min_value=0, max_value=LONGEST_MM)
    tyre_track_outer_mm = serializers.FloatField(
        required=False,
        allow_null=True,
        default=None,
        min_value=100,
        max_value=LONGEST_MM,
        help_text="Across the outer tread blocks; the body's width where it is not given.",
    )


@extend_schema_field(OpenApiTypes.OBJECT)
class ClearZoneField(serializers.JSONField):
    """Rectangles and sectors against named datums, as in a procedure's `clear_zone`."""


class PlacementsIn(serializers.Serializer[Any]):
    vehicle = ShapeIn()
    clear_zone = ClearZoneField(
        required=False,
        allow_null=True,
        default=None,
        help_text="As in a procedure; without it the vehicle's body alone must be clear.",
    )
    headings_deg = serializers.ListField(
        child=serializers.FloatField(min_value=-360, max_value=360),
        required=False,
        allow_null=True,
        default=None,
        min_length=1,
        max_length=MOST_HEADINGS,
        help_text="Counter-clockwise from +x; each bay's own heading and its reverse if not given.",
    )
    occupied_zones = serializers.ListField(
        child=serializers.CharField(max_length=80),
        required=False,
        default=list,
        max_length=500,
        help_text="Codes of zones that are not free.",
    )


class PoseOut(serializers.Serializer[Any]):
    """The middle of the rear axle on the floor, and the heading."""

    x_mm = serializers.FloatField()
    y_mm = serializers.FloatField()
    heading_deg = serializers.FloatField()


class OutlineField(serializers.ListField):
    child = serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2)


class PlacementOut(serializers.Serializer[Any]):
    key = serializers.CharField()
    label = serializers.CharField(  # type: ignore[assignment]  # the metaclass takes it away
        help_text="As people say it, such as “Bays 1 + 2”."
    )
    zones = serializers.ListField(child=serializers.CharField())
    bay_ids = serializers.ListField(child=serializers.CharField())
    pose = PoseOut()
    margin_mm = serializers.FloatField(help_text="How far the clear zone could grow all round.")
    polygon = OutlineField(help_text="Outline of the clear zone on the floor, millimetres.")
    body = OutlineField(help_text="Outline of the vehicle on the floor, millimetres.")


class ShortfallOut(serializers.Serializer[Any]):
    side = serializers.CharField()
    by_mm = serializers.FloatField()
    against = serializers.ListField(child=serializers.CharField())


class WhyNotOut(serializers.Serializer[Any]):
    says = serializers.CharField()
    shortfalls = ShortfallOut(many=True)
    zones_to_empty = serializers.ListField(
        child=serializers.ListField(child=serializers.CharField()),
        help_text="The smallest sets of zones that would have to become free.",
    )
    proven = serializers.BooleanField(help_text="False where it was only not found.")


class PlacementsOut(serializers.Serializer[Any]):
    floor_plan = serializers.IntegerField(help_text="The edition that was asked.")
    fits = serializers.BooleanField()
    placements = PlacementOut(many=True)
    why_not = WhyNotOut(allow_null=True, help_text="Null where it fits.")


class Placements(ShopActs):
    """Changes nothing: asking twice is harmless."""

    actions = {"ask": Action.SEE_DAY_BOARD}

    @extend_schema(operation_id="placements_query", request=PlacementsIn, responses=PlacementsOut)
    @action(detail=False, methods=["post"], url_path="query")
    def ask(self, request: Request) -> Response:
        """Every smallest set of free zones in which the vehicle fits; if none, why not."""
        given = self.read(PlacementsIn)
        parts = _parts(given["vehicle"], given["clear_zone"])
        edition, plan, _ = current_floor(self.actor.shop_id)
        occupied = _zones(plan, given["occupied_zones"])
        headings: Sequence[float] | None = given["headings_deg"]
        found = floor.options(floor.placements(plan, parts, headings), occupied)
        answer = {
            "floor_plan": edition.pk,
            "fits": bool(found),
            "placements": [_placement(one) for one in found],
            "why_not": None if found else _why_not(plan, parts, headings, occupied),
        }
        return Response(PlacementsOut(answer).data)


def _parts(vehicle: dict[str, Any], clear_zone: Any) -> tuple[floor.Part, ...]:
    """Raises Invalid with paths that lead from the request's root."""
    try:
        shape = floor.VehicleShape(**vehicle)
    except floor.VehicleFaults as refused:
        raise _below("vehicle", refused) from refused
    try:
        zone = floor.ClearZone.from_content({"parts": []} if clear_zone is None else clear_zone)
        return floor.resolve(zone, shape)
    except floor.ClearZoneFaults as refused:
        raise _below("clear_zone", refused) from refused


def _below(path: str, refused: Invalid) -> Invalid:
    errors = [replace(e, path=f"{path}.{e.path}" if e.path else path) for e in refused.errors]
    return Invalid(refused.code, refused.title, errors=errors)


def _zones(plan: floor.FloorPlan, codes: Sequence[str]) -> frozenset[floor.ZoneId]:
    known = {str(zone): zone for zone in plan.zones}
    errors = [
        FieldError(f"occupied_zones[{i}]", f"“{code}” is no zone of the floor plan in force.")
        for i, code in enumerate(codes)
        if code not in known
    ]
    if errors:
        raise Invalid("invalid", "Some of what was given is wrong.", errors=errors)
    return frozenset(known[code] for code in codes)


def _placement(one: floor.Placement) -> dict[str, Any]:
    return {
        "key": one.key,
        "label": one.label,
        "zones": sorted(one.zones),
        "bay_ids": list(one.bay_ids),
        "pose": one.pose._asdict(),
        "margin_mm": one.margin_mm,
        "polygon": one.polygon,
        "body": one.body,
    }


def _why_not(
    plan: floor.FloorPlan,
    parts: tuple[floor.Part, ...],
    headings: Sequence[float] | None,
    occupied: frozenset[floor.ZoneId],
) -> dict[str, Any]:
    told = floor.why_not(plan, parts, headings, occupied)
    return {
        "says": told.says,
        "shortfalls": [asdict(short) for short in told.shortfalls],
        "zones_to_empty": [sorted(zones) for zones in told.zones_to_empty],
        "proven": told.proven,
    }
