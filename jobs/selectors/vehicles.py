"""The shop's library of vehicles, and the vehicles it knows by their VIN."""

from __future__ import annotations

from django.db.models import QuerySet

from jobs.models import Vehicle, VehicleModel


def vehicle_kinds(shop_id: int) -> QuerySet[VehicleModel]:
    """The library, by make and name."""
    return VehicleModel.objects.for_shop(shop_id).order_by("make", "name")


def kind_of_code(shop_id: int, code: str) -> VehicleModel | None:
    return VehicleModel.objects.for_shop(shop_id).filter(code=code).first()


def kind_for_vin(shop_id: int, vin: str) -> VehicleModel | None:
    """The library entry whose VIN prefix fits, the longest one if several do."""
    fitting = [
        kind
        for kind in VehicleModel.objects.for_shop(shop_id).exclude(vin_prefix="")
        if vin.startswith(kind.vin_prefix)
    ]
    return max(fitting, key=lambda kind: len(kind.vin_prefix), default=None)


def known_vehicle(shop_id: int, vin: str) -> Vehicle | None:
    """A vehicle that was here before, or is here now."""
    return Vehicle.objects.for_shop(shop_id).filter(vin=vin).first()
