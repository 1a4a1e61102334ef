"""The shape of a procedure edition as JSON Schema (Draft 2020-12)."""

from __future__ import annotations

from typing import Any, Final

from jobs.metrology.schema import DRAFT, INSTRUMENT_SCHEMA, WORKSHEET_PROPERTIES
from jobs.procedures.codes import WORK_CODES

_WORDS = {"type": "string", "minLength": 1, "maxLength": 600}
_CODE = {
    "type": "string",
    "pattern": "^[a-z][a-z0-9_]{0,59}$",
    "description": "lower-case letters, digits and _, beginning with a letter",
}
_MINUTES = {"type": "integer", "minimum": 0, "maximum": 1440}
_AMOUNT = {"type": "number", "minimum": 0}
_LUX = {"type": "number", "exclusiveMinimum": 0, "maximum": 200000}
_SHARE = {"type": "number", "exclusiveMinimum": 0, "maximum": 1}


def _group(required: list[str], properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "additionalProperties": False,
        "required": required,
        "properties": properties,
    }


def _many(items: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"type": "array", "items": items, **more}


def _datum(*names: str) -> dict[str, Any]:
    return _group(
        ["datum", "offset_mm"], {"datum": {"enum": list(names)}, "offset_mm": {"type": "number"}}
    )


_ALONG = _datum("rear", "rear_axle", "front_axle", "front")
_ACROSS = _datum("right", "right_tyre", "centreline", "left_tyre", "left")
_RECT = _group(
    ["from_x", "to_x", "from_y", "to_y"],
    {"from_x": _ALONG, "to_x": _ALONG, "from_y": _ACROSS, "to_y": _ACROSS},
)
_SECTOR = _group(
    ["x", "y", "bearing_deg", "half_angle_deg", "range_mm"],
    {
        "x": _ALONG,
        "y": _ACROSS,
        "bearing_deg": {"type": "number", "minimum": -360, "maximum": 360},
        "half_angle_deg": {"type": "number", "exclusiveMinimum": 0, "maximum": 180},
        "range_mm": {"type": "number", "exclusiveMinimum": 0},
    },
)
_PART = {
    "type": "object",
    "additionalProperties": False,
    "minProperties": 1,
    "maxProperties": 1,
    "properties": {"rect": _RECT, "sector": _SECTOR},
}
_CLEAR_ZONE = {
    **_group(
        ["parts"],
        {
            "parts": _many(_PART, minItems=1),
            "position_tolerance_mm": _AMOUNT,
            "angle_tolerance_deg": _AMOUNT,
        },
    ),
    "type": ["object", "null"],
}
_QUESTION = _group(["name", "ask"], {"name": _CODE, "ask": _WORDS, "caution": _WORDS})
_PRECONDITION = _group(
    ["name", "ask", "kind"],
    {
        "name": _CODE,
        "ask": _WORDS,
        "kind": {"enum": ["yes_no", "quantity"]},
        "unit": {"type": "string"},
        "lower": {"type": ["number", "null"]},
        "upper": {"type": ["number", "null"]},
        "instrument": INSTRUMENT_SCHEMA,
        "caution": _WORDS,
        "remedy": _WORDS,
    },
)
_STEP = _group(
    ["order", "says"],
    {
        "order": {"type": "integer", "minimum": 1},
        "says": _WORDS,
        "uses": _many(_CODE),
        "caution": _WORDS,
    },
)

SCHEMA: Final[dict[str, Any]] = {
    "$schema": DRAFT,
    "title": "procedure edition",
    **_group(
        [
            "code",
            "name",
            "system",
            "method",
            "clear_zone",
            "skills",
            "minutes",
            "triggers",
            "preconditions",
            "worksheet",
            "run",
            "after_checks",
            "cautions",
            "source",
        ],
        {
            "code": _CODE,
            "name": {**_WORDS, "maxLength": 120},
            "system": _CODE,
            "method": {"enum": ["static", "dynamic", "both", "alignment"]},
            "clear_zone": _CLEAR_ZONE,
            "zone_kind": {"enum": ["rack"]},
            "floor": _group(
                ["slope_percent", "deviation_mm"],
                {"slope_percent": _AMOUNT, "deviation_mm": _AMOUNT},
            ),
            "light": {
                **_group([], {"min_lux": _LUX, "max_lux": _LUX, "uniformity": _SHARE}),
                "minProperties": 1,
                "description": "light on the floor of the clear zone; uniformity is least by mean",
            },
            "equipment": _many(
                _group(["type"], {"type": _CODE, "count": {"type": "integer", "minimum": 1}})
            ),
            "skills": _many(_CODE, minItems=1),
            "minutes": _group(
                ["set_up", "run", "clear_away"],
                {"set_up": _MINUTES, "run": {**_MINUTES, "minimum": 1}, "clear_away": _MINUTES},
            ),
            "second_person_minutes": _MINUTES,
            "shared_set_up": _group(
                ["name", "saves_minutes"],
                {"name": _CODE, "saves_minutes": {**_MINUTES, "minimum": 5}},
            ),
            "road": {"type": "boolean"},
            "lag_minutes": {"type": "integer", "minimum": 0, "maximum": 14400},
            "lag_after": _many({"enum": list(WORK_CODES)}),
            "lag_says": _WORDS,
            "triggers": {
                "type": "object",
                "minProperties": 1,
                "additionalProperties": False,
                "properties": dict.fromkeys(WORK_CODES, _WORDS),
            },
            "needs_first": _many(_CODE),
            "supersedes": _many(_CODE),
            "preconditions": _many(_PRECONDITION),
            "worksheet": _group([], WORKSHEET_PROPERTIES),
            "set_out": _many(_STEP),
            "run": _group(
                ["kind", "says"],
                {
                    "kind": {"enum": ["scan_tool", "drive", "rack"]},
                    "says": _many(_WORDS, minItems=1),
                    "wait_away": _WORDS,
                    "passes_when": _WORDS,
                },
            ),
            "during_run": _many(_QUESTION),
            "after_checks": _many(_QUESTION),
            "cautions": _many(_WORDS, minItems=1),
            "blocking_codes": _many(
                {
                    "type": "string",
                    "pattern": r"^[PCBU](\*|[0-3](\*|[0-9A-F]{1,2}\*|[0-9A-F]{3}))$",
                    "description": "a code such as C1A2B, or its beginning and a star: U0*",
                }
            ),
            "source": _group(
                ["document", "dated_on", "says"],
                {
                    "document": _WORDS,
                    "dated_on": {
                        "type": "string",
                        "pattern": r"^\d{4}-\d{2}-\d{2}$",
                        "description": "a date written 2026-03-31",
                    },
                    "says": _WORDS,
                },
            ),
            "invented": {"type": "boolean"},
            "causes": _many(_WORDS),
        },
    ),
}
