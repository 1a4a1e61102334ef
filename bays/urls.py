"""Pages of the physical world."""

from django.urls import URLPattern, URLResolver, path, re_path

from bays.pages import draw, draw_begin, draw_layers, equipment, setup, surveys

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
    path("setup/surveys/", surveys.surveys, name="surveys"),
    re_path(r"^setup/surveys/(?P<kind>floor|light)/new/$", surveys.survey_new, name="survey-new"),
    re_path(r"^setup/surveys/(?P<kind>floor|light)/add/$", surveys.survey_add, name="survey-add"),
    re_path(
        r"^setup/surveys/(?P<kind>floor|light)/(?P<survey_id>\d+)/$",
        surveys.survey_detail,
        name="survey",
    ),
    path("setup/floor/", draw.draw_floor, name="draw-floor"),
    path("setup/floor/begin/", draw_begin.draw_begin, name="draw-begin"),
    path("setup/floor/begin/hall/", draw_begin.draw_hall, name="draw-hall"),
    path("setup/floor/begin/file/", draw_begin.draw_file, name="draw-file"),
    path("setup/floor/begin/dxf/", draw_begin.draw_dxf, name="draw-dxf"),
    path("setup/floor/layers/", draw_layers.draw_layers, name="draw-layers"),
    path("setup/floor/layers/told/", draw_layers.draw_layers_told, name="draw-layers-told"),
    path("setup/floor/save/", draw.draw_save, name="draw-save"),
    path("setup/floor/thing/", draw.draw_thing, name="draw-thing"),
    path("setup/floor/publish/", draw.draw_publish, name="draw-publish"),
    path("setup/floor/discard/", draw.draw_discard, name="draw-discard"),
    path("setup/floor/editions/<int:number>/", draw_begin.floor_edition, name="floor-edition"),
    path(
        "setup/floor/editions/<int:number>/draw/",
        draw_begin.draw_from_edition,
        name="draw-from-edition",
    ),
]
