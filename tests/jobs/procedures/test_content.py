"""Procedure editions: what is accepted, and every fault with its path."""

import copy
from pathlib import Path

import pytest

import jobs
from jobs.metrology import ReadingRefused, Verdict
from jobs.procedures import ProcedureContent, ProcedureFaults, content_digest, load_yaml

FOLDER = Path(jobs.__file__).parent / "demo" / "procedures"
MATS = load_yaml((FOLDER / "surround_view_mats.yaml").read_text(encoding="utf-8"))
ROAD = load_yaml((FOLDER / "front_camera_dynamic.yaml").read_text(encoding="utf-8"))
GONE = object()


def changed(base, path, value):
    content = copy.deepcopy(base)
    *way, last = path
    place = content
    for step in way:
        place = place[step]
    if value is GONE:
        del place[last]
    else:
        place[last] = value
    return content


def faults(content):
    with pytest.raises(ProcedureFaults) as refused:
        ProcedureContent.from_content(content)
    return {fault.path: fault.says for fault in refused.value.errors}


BATTERY = 5
RECT = ["clear_zone", "parts", 0, "rect"]
INPUT = ["worksheet", "inputs", 0]


@pytest.mark.parametrize(
    ("path", "value", "where", "reason"),
    [
        (["name"], GONE, "name", "is missing"),
        (["colour"], "red", "colour", "is no field here"),
        (["method"], "magic", "method", "is not a choice here"),
        (["code"], "Mats!", "code", "not written as it should be"),
        (["minutes", "run"], 0, "minutes.run", "must be 1 or more"),
        (["minutes", "run"], "15", "minutes.run", "must be a whole number"),
        (["skills"], [], "skills", "must not be empty"),
        (["cautions"], [], "cautions", "must not be empty"),
        (["triggers", "rust"], "x", "triggers.rust", "is no field here"),
        (["triggers"], {}, "triggers", "must not be empty"),
        (["blocking_codes", 0], "X9", "blocking_codes[0]", "not written as it should be"),
        (["source", "dated_on"], "soon", "source.dated_on", "not written as it should be"),
        (["source", "dated_on"], "2026-02-30", "source.dated_on", "no date of the calendar"),
        (["clear_zone"], None, "clear_zone", "is missing for a procedure in the shop"),
        (["light"], {}, "light", "must not be empty"),
        (["light", "min_lux"], 0, "light.min_lux", "must be more than 0"),
        (["light", "uniformity"], 1.2, "light.uniformity", "must be 1 or less"),
        (["light", "max_lux"], 300, "light.max_lux", "can never be right"),
        (["clear_zone", "parts"], [], "clear_zone.parts", "must not be empty"),
        ([*RECT, "to_x", "datum"], "bumper", "clear_zone.parts[0].rect.to_x.datum", "not a choice"),
        ([*RECT, "to_y"], {"datum": "right", "offset_mm": -2000}, None, "does not lie beyond"),
        ([*RECT, "to_x", "offset_mm"], float("inf"), None, "not a finite number"),
        (["floor"], GONE, "floor", "is missing"),
        (["floor", "slope_percent"], -1, "floor.slope_percent", "must be 0 or more"),
        (["run", "kind"], "drive", "run.kind", "only a drive"),
        (["road"], True, "clear_zone", "takes no floor"),
        (["zone_kind"], "lift", "zone_kind", "is not a choice here"),
        (["second_person_minutes"], 61, "second_person_minutes", "longer than the whole work"),
        (
            ["shared_set_up"],
            {"name": "mats", "saves_minutes": 46},
            "shared_set_up.saves_minutes",
            "more than setting out and clearing away take (45 min)",
        ),
        (
            ["shared_set_up"],
            {"name": "mats", "saves_minutes": 30},
            "shared_set_up.saves_minutes",
            "less than the second person's minutes",
        ),
        (["needs_first"], ["surround_view_mats"], "needs_first", "names the procedure itself"),
        (["lag_minutes"], 60, "lag_says", "is missing"),
        (["lag_after"], ["windscreen_replaced"], "lag_after[0]", "not among the triggers"),
        (["skills"], ["scan", "scan"], "skills[1]", "there twice"),
        (["equipment", 1, "type"], "mat_set", "equipment[1].type", "there twice"),
        (["preconditions", 1, "name"], "battery", "preconditions[5].name", "there twice"),
        (["preconditions", 1, "lower"], 3, "preconditions[1].lower", "belongs to a quantity"),
        (["preconditions", BATTERY, "unit"], "volt", "preconditions[5].unit", "needs a unit"),
        (["preconditions", BATTERY, "unit"], GONE, "preconditions[5].unit", "needs a unit"),
        (["preconditions", BATTERY, "lower"], 15, "preconditions[5]", "can never pass"),
        ([*INPUT, "ask"], GONE, "worksheet.inputs[0].ask", "is missing"),
        ([*INPUT, "instrument"], GONE, "worksheet.inputs[0].instrument", "is missing"),
        ([*INPUT, "instrument", "equipment"], "laser", None, "not in the equipment list"),
        ([*INPUT, "unit"], "V", None, "tape class belongs to a length"),
        (["worksheet", "computed", 0, "expr"], "nowhere / 2", None, "not a name here"),
        (["worksheet", "checks", 1, "lower"], GONE, "worksheet.checks[1]", "can never fail"),
        (["set_out", 1, "says"], "Mark {offset}", "set_out[1].says", "not listed under uses"),
        (["set_out", 1, "uses"], ["offset"], "set_out[1].uses", "not a name of the worksheet"),
    ],
)
def test_a_fault_is_told_with_its_path(path, value, where, reason):
    found = faults(changed(MATS, path, value))
    places = [place for place, says in found.items() if reason in says]
    assert places, found
    assert where is None or where in places


def test_every_fault_of_meaning_is_told_at_once():
    content = changed(MATS, ["source", "dated_on"], "2026-02-30")
    content = changed(content, ["second_person_minutes"], 900)
    content = changed(content, ["set_out", 1, "uses"], ["offset"])
    assert {"source.dated_on", "second_person_minutes", "set_out[1].uses"} <= set(faults(content))


def test_a_road_procedure_takes_no_floor():
    assert ProcedureContent.from_content(ROAD).clear_zone is None
    assert "floor" in " ".join(faults({**ROAD, "floor": MATS["floor"]}).values())


def test_a_procedure_may_ask_for_light_and_need_not():
    asked = ProcedureContent.from_content(MATS).light
    assert (asked.min_lux, asked.max_lux, asked.uniformity) == (300, None, 0.6)
    # editions from before light could be asked for are read as ever
    assert ProcedureContent.from_content(changed(MATS, ["light"], GONE)).light is None
    assert "light" in " ".join(faults({**ROAD, "light": {"min_lux": 300}}).values())


def test_what_is_no_group_of_fields_is_refused():
    assert faults(["not", "a", "procedure"]) == {"": "must be a group of fields"}


def test_cure_lag_follows_glass_work_only():
    road = ProcedureContent.from_content(ROAD)
    assert road.lag_after_work(["windscreen_replaced", "module_replaced"]) == 60
    assert road.lag_after_work(["module_replaced"]) == 0


def test_a_precondition_is_judged_as_typed():
    mats = ProcedureContent.from_content(MATS)
    battery = mats.preconditions[BATTERY]
    assert battery.judge("12,6").verdict is Verdict.PASS
    low = battery.judge("10.9 V")
    assert low.verdict is Verdict.FAIL
    assert low.says.endswith("Connect the battery support unit and read again.")
    with pytest.raises(ReadingRefused):
        battery.judge("12 cm")


def test_a_digest_ignores_the_order_of_fields_and_sees_every_change():
    turned = dict(reversed(list(MATS.items())))
    assert content_digest(turned) == content_digest(MATS)
    assert content_digest(changed(MATS, ["minutes", "run"], 16)) != content_digest(MATS)
