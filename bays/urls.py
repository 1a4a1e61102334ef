"""Pages of the physical world."""

from django.urls import URLPattern, URLResolver, path, re_path

from bays.pages import equipment, setup

urlpatterns: list[URLPattern | URLResolver] = [
    path("equipment/", equipment.upkeep, name="upkeep"),
    path("equipment/<int:unit_id>/", equipment.equipment_unit, name="equipment-unit"),
    path("equipment/<int:unit_id>/upkeep/", equipment.upkeep_done, name="upkeep-done"),
    path("equipment/<int:unit_id>/out/", equipment.unit_out, name="unit-out"),
    path("equipment/<int:unit_id>/back/", equipment.unit_back, name="unit-back"),
    path("setup/", setup.shop_setup, name="shop-setup"),
    path("setup/import/", setup.setup_import, name="shop-import"),
    re_path(r"^setup/export\.(?P<form>yaml|json)$", setup.setup_export, name="shop-export"),
    path("setup/absences/", setup.add_absence, name="add-absence"),
    path("setup/closures/", setup.add_closure, name="add-closure"),
    path("setup/closures/<int:closure_id>/remove/", setup.drop_closure, name="drop-closure"),
]
