"""Routes of the physical world below ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from bays.api.due import UpkeepDue
from bays.api.equipment import EquipmentTypes, Units, UpkeepHistory, UpkeepRules
from bays.api.floor import FloorPlans, Zones
from bays.api.holds import Holds
from bays.api.hours import Closures, OpeningHoursView
from bays.api.people import Absences, Skills, Technicians
from bays.api.placements import Placements
from bays.api.poses import Poses
from bays.api.problems import describe_problems
from bays.api.shop_file import ShopFile
from bays.api.surveys import Ground, LightSurveys, Surveys
from shopcal.api.routes import ShopRouter

describe_problems()

router = ShopRouter()
router.register("floor-plans", FloorPlans, basename="floor-plan")
router.register("surveys", Surveys, basename="survey")
router.register("light-surveys", LightSurveys, basename="light-survey")
router.register("ground", Ground, basename="ground")
router.register("zones", Zones, basename="zone")
router.register("placements", Placements, basename="placement")
router.register("poses", Poses, basename="pose")
router.register("equipment-types", EquipmentTypes, basename="equipment-type")
router.register("units", Units, basename="unit")
router.register("upkeep-rules", UpkeepRules, basename="upkeep-rule")
router.register("upkeep", UpkeepHistory, basename="upkeep")
router.register("skills", Skills, basename="skill")
router.register("technicians", Technicians, basename="technician")
router.register("absences", Absences, basename="absence")
router.register("closures", Closures, basename="closure")
router.register("holds", Holds, basename="hold")

urlpatterns: list[URLPattern | URLResolver] = [
    path("upkeep-due/", UpkeepDue.as_view(), name="upkeep-due"),
    path("opening-hours/", OpeningHoursView.as_view(), name="opening-hours"),
    path("shop-file/", ShopFile.as_view(), name="shop-file"),
    *router.urls,
]
