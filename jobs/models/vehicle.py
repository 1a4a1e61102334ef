"""Vehicles and the shop's own library of their sizes and systems."""

from __future__ import annotations

from django.db import models

from shopcal.accounts.scoping import ShopOwned


class Dimensions(models.Model):
    """Outer sizes in millimetres; the tyre track is across the outer tread blocks.

    The turning circle is the diameter from kerb to kerb, as makers quote it.
    """

    width_mm = models.PositiveIntegerField()
    wheelbase_mm = models.PositiveIntegerField()
    front_overhang_mm = models.PositiveIntegerField()
    rear_overhang_mm = models.PositiveIntegerField()
    tyre_track_mm = models.PositiveIntegerField(null=True, blank=True)
    turning_circle_mm = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        abstract = True

    @property
    def length_mm(self) -> int:
        return self.wheelbase_mm + self.front_overhang_mm + self.rear_overhang_mm


class VehicleModel(ShopOwned, Dimensions):
    """A kind of vehicle the shop has measured or looked up, found by how its VIN begins."""

    code = models.SlugField(max_length=60)
    make = models.CharField(max_length=60)
    name = models.CharField(max_length=80)
    vin_prefix = models.CharField(max_length=11, blank=True)
    years = models.CharField(max_length=20, blank=True)
    systems = models.JSONField(default=list)  # system codes this kind of vehicle has
    source = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["make", "name"]
        constraints = [models.UniqueConstraint(fields=["shop", "code"], name="vehicle_model_once")]

    def __str__(self) -> str:
        return f"{self.make} {self.name}"


class Vehicle(ShopOwned, Dimensions):
    """One vehicle by its VIN; keeps its own sizes, since a lift kit or a tow bar changes them."""

    vin = models.CharField(max_length=17)
    model = models.ForeignKey(VehicleModel, null=True, blank=True, on_delete=models.SET_NULL)
    label = models.CharField(max_length=120)
    model_year = models.PositiveSmallIntegerField(null=True, blank=True)
    plate = models.CharField(max_length=20, blank=True)
    systems = models.JSONField(default=list)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["label"]
        constraints = [models.UniqueConstraint(fields=["shop", "vin"], name="vehicle_vin_once")]

    def __str__(self) -> str:
        return self.label
