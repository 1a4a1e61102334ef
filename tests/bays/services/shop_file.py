"""A small invented shop as a document, made afresh for each test so that it may be spoiled."""

from __future__ import annotations

from copy import deepcopy
from pathlib import Path
from typing import Any

import jobs.demo
from bays.transfer import load_document

DEMO = Path(jobs.demo.__file__).parent

FLOOR: dict[str, Any] = {
    "name": "Small hall",
    "outline": [[0, 0], [10000, 0], [10000, 8000], [0, 8000]],
    "obstacles": [],
    "doors": [{"id": "door", "from": [0, 1000], "to": [0, 4000], "height_mm": 3000}],
    "zones": [
        {
            "id": "bay-1",
            "name": "Bay 1",
            "kind": "bay",
            "polygon": [[0, 0], [5000, 0], [5000, 8000], [0, 8000]],
        }
    ],
    "bays": [
        {
            "id": "bay-1",
            "name": "Bay 1",
            "zones": ["bay-1"],
            "centre": [2500, 4000],
            "heading_deg": 90,
        }
    ],
}

_DOCUMENT: dict[str, Any] = {
    "format": "shopcal-shop/1",
    "shop": {"name": "Small Shop", "time_zone": "America/Denver", "units": "us"},
    "hours": {
        "opening": [{"days": ["mon", "tue"], "opens": "08:00", "closes": "17:00"}],
        "closures": [{"from": "2026-12-25", "to": "2026-12-26", "reason": "Winter holiday"}],
    },
    "skills": [{"code": "camera", "name": "Cameras"}, {"code": "scan", "name": "Scans"}],
    "equipment": {
        "types": [
            {
                "code": "tape",
                "name": "Tape",
                "exclusive": False,
                "upkeep": [{"code": "tape_check", "name": "Tape check", "every_days": 180}],
                "units": [
                    {
                        "code": "tape-1",
                        "name": "Tape 1",
                        "serial": "T1",
                        "commissioned_on": "2025-02-03",
                        "accuracy_class": "II",
                        "resolution_mm": 1,
                        "upkeep_done": [{"rule": "tape_check", "done_on": "2025-08-01"}],
                    }
                ],
            }
        ]
    },
    "people": {
        "technicians": [
            {
                "code": "osei",
                "name": "R. Osei",
                "email": "osei@fennhollow.example",
                "skills": [{"skill": "scan"}, {"skill": "camera", "valid_until": "2027-06-30"}],
                "shifts": [
                    {
                        "days": ["mon", "tue"],
                        "starts": "08:00",
                        "ends": "16:30",
                        "lunch": ["12:00", "12:30"],
                    }
                ],
            }
        ]
    },
    "floor": FLOOR,
    "floor_surveys": [
        {
            "surveyed_on": "2026-01-05",
            "instrument": "rotating laser",
            "points": [[0, 0, 0], [5000, 0, 2], [0, 8000, 1]],
        }
    ],
    "light_surveys": [
        {
            "surveyed_on": "2026-01-05",
            "due_on": "2027-01-05",
            "instrument": "light meter",
            "reading_uncertainty_percent": 4,
            "conditions": "all lamps on",
            "points": [[0, 0, 520], [5000, 0, 610], [0, 8000, 480]],
        }
    ],
    "vehicle_models": [
        {
            "code": "tern-van",
            "make": "Tern",
            "name": "Van",
            "width_mm": 2030,
            "wheelbase_mm": 3280,
            "front_overhang_mm": 960,
            "rear_overhang_mm": 1120,
            "tyre_track_mm": 1900,
            "systems": ["front_camera"],
        }
    ],
}


def small_document() -> dict[str, Any]:
    return deepcopy(_DOCUMENT)


def demo_document() -> dict[str, Any]:
    """The demonstration shop with its procedures."""
    document = load_document((DEMO / "shop.yaml").read_text())
    document["procedures"] = [
        load_document(path.read_text()) for path in sorted((DEMO / "procedures").glob("*.yaml"))
    ]
    return document
