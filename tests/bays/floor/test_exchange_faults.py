"""Cases that cannot be read: each fault is told with its path, and nothing is answered."""

from __future__ import annotations

import json
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from bays.floor.__main__ import main
from bays.floor.exchange import CaseFaults, read_case
from tests.bays.floor.exchange_cases import around, column, fit_case, level_case, rect, zone

ROOM = rect(0, 0, 9, 4)
BOW_TIE = [[0, 0], [9, 4], [9, 0], [0, 4]]
ABSENT = object()


def _changed(case: dict[str, Any], path: list[Any], value: Any) -> dict[str, Any]:
    case = json.loads(json.dumps(case))
    at: Any = case
    for key in path[:-1]:
        at = at[key]
    if value is ABSENT:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    return case


FIT = fit_case(
    ROOM,
    around(0.5, 0.5, 0.3),
    {"shape": "sector", "apex": ["front", 0], "bearing_deg": 0, "half_angle_deg": 40, "range": 2},
    floor={
        "obstacles": [column("C1", 1, 1, 1.3, 1.3)],
        "zones": [zone("B1", 0, 0, 4, 4)],
        "doors": [{"id": "D1", "a": [0, 1], "b": [0, 3]}],
    },
    occupied=["B1"],
)
DRIVE = {
    "kind": "drive",
    "vehicle": FIT["vehicle"],
    "floor": {"outline": ROOM},
    "rear_axle_min_radius_m": 5,
    "start_pose": [2, 2, 0],
    "goal_pose_deg": [4, 2, 0],
}
PART = ["procedure", "parts", 0]
SECTOR = ["procedure", "parts", 1]
OBSTACLE = ["floor", "obstacles", 0]


@pytest.mark.parametrize(
    ("case", "path", "value", "told"),
    [
        # kinds and missing keys
        (FIT, ["kind"], "fits", "kind: is 'fits'"),
        (FIT, ["kind"], ABSENT, "kind: is missing"),
        (FIT, ["vehicle"], ABSENT, "vehicle: is missing"),
        (FIT, ["floor"], ABSENT, "floor: is missing"),
        (FIT, ["procedure"], ABSENT, "procedure: is missing"),
        (FIT, ["procedure"], [], "procedure: is a list"),
        # the vehicle
        (FIT, ["vehicle", "width"], "1.9", "vehicle.width: is a text"),
        (FIT, ["vehicle", "width"], -1.9, "vehicle.width: is -1.9"),
        (FIT, ["vehicle", "wheelbase"], 2850, "vehicle.wheelbase: is 2850"),
        (FIT, ["vehicle", "rear_overhang"], ABSENT, "vehicle.rear_overhang: is missing"),
        (FIT, ["vehicle", "length"], 4.3, "vehicle.length: is 4.3"),
        # the floor
        (FIT, ["floor", "outline"], ABSENT, "floor.outline: is missing"),
        (
            FIT,
            ["floor", "outline"],
            BOW_TIE,
            "floor.outline: crosses or touches itself near (4.5",
        ),
        (FIT, ["floor", "outline"], [[0, 0], [9, 0]], "floor.outline: has 2 corners"),
        (FIT, ["floor", "outline"], [], "floor.outline: has 0 corners"),
        (FIT, ["floor", "outline"], [[0, 0], [4, 0], [9, 0]], "floor.outline: encloses no floor"),
        (FIT, ["floor", "outline", 2], [9], "floor.outline[2]: is a list of 1"),
        (FIT, ["floor", "outline", 2, 0], True, "floor.outline[2][0]: is yes or no"),
        (FIT, ["floor", "outline", 2, 0], 9000, "floor.outline[2][0]: is 9000"),
        (FIT, ["floor", "outline", 2, 0], 10**400, "floor.outline[2][0]: is not a finite number"),
        (FIT, ["floor", "units"], "mm", "floor.units: is 'mm'"),
        (FIT, ["floor", "holes"], [ROOM], "floor.holes: is not known here"),
        (FIT, [*OBSTACLE, "poly"], BOW_TIE, "floor.obstacles[0].poly: crosses or touches itself"),
        (FIT, [*OBSTACLE, "poly"], ABSENT, "floor.obstacles[0].poly: is missing"),
        (FIT, [*OBSTACLE, "id"], 7, "floor.obstacles[0].id: is a number"),
        (FIT, [*OBSTACLE, "id"], "", "floor.obstacles[0].id: is empty"),
        (FIT, ["floor", "zones", 0, "id"], "C1", "as is floor.obstacles[0]"),
        (FIT, ["floor", "zones"], {}, "floor.zones: is an object"),
        (FIT, ["floor", "doors", 0, "a"], [0], "floor.doors[0].a: is a list of 1"),
        # what is occupied, headings, a fixed pose
        (FIT, ["occupied"], ["B9"], "occupied[0]: names 'B9', which is no zone, one of B1"),
        (FIT, ["occupied"], "B1", "occupied: is a text"),
        (FIT, ["headings_deg"], [], "headings_deg: is empty"),
        (FIT, ["headings_deg"], 0, "headings_deg: is a number"),
        (FIT, ["headings_deg"], [0, "north"], "headings_deg[1]: is a text"),
        (FIT, ["pose_fixed"], [1, 2], "pose_fixed: is a list of 2"),
        (FIT, ["pose_fixed"], [1, 2, None], "pose_fixed[2]: is missing"),
        (FIT, ["pose_fixed"], [4, 2, 30], "pose_fixed[2]: is 30, one of headings_deg: 0"),
        # the clear zone
        (
            FIT,
            [*PART, "x0"],
            ["bumper", 0],
            "procedure.parts[0].x0: is 'bumper', one of rear_axle, front_axle, front, rear",
        ),
        (FIT, [*PART, "y0"], ["rear", 0], "procedure.parts[0].y0: is 'rear', one of centreline"),
        (FIT, [*PART, "x0"], ["rear"], "procedure.parts[0].x0: is a list of 1"),
        (FIT, [*PART, "x0"], ["rear", "1 m"], "procedure.parts[0].x0[1]: is a text"),
        (FIT, [*PART, "x0"], ABSENT, "procedure.parts[0].x0: is missing"),
        (FIT, [*PART, "x0"], ["front", 0.6], "procedure.parts[0].x1: is at 4.3 m on this vehicle"),
        (FIT, [*PART, "shape"], "circle", "procedure.parts[0].shape: is 'circle'"),
        (FIT, [*PART, "clearance"], 0.3, "procedure.parts[0].clearance: is not known here"),
        (FIT, [*SECTOR, "apex"], ABSENT, "procedure.parts[1].apex: is missing"),
        (FIT, [*SECTOR, "apex"], ["left", 0], "procedure.parts[1].apex: is 'left'"),
        (FIT, [*SECTOR, "range"], 0, "procedure.parts[1].range: is 0"),
        (FIT, [*SECTOR, "half_angle_deg"], 200, "procedure.parts[1].half_angle_deg: is 200"),
        (FIT, [*SECTOR, "bearing_deg"], ABSENT, "procedure.parts[1].bearing_deg: is missing"),
        # driving
        (DRIVE, ["start_pose"], ABSENT, "start_pose: is missing"),
        (DRIVE, ["goal_pose_deg"], [1, 2, 3, 4], "goal_pose_deg: is a list of 4"),
        (DRIVE, ["rear_axle_min_radius_m"], -5, "rear_axle_min_radius_m: is -5"),
        (DRIVE, ["rear_axle_min_radius_m"], ABSENT, "rear_axle_min_radius_m: is missing"),
        # level
        (level_case(), ["survey_xyz_m"], ABSENT, "survey_xyz_m: is missing"),
        (level_case(), ["survey_xyz_m", 3], [1, 2], "survey_xyz_m[3]: is a list of 2"),
        (level_case(), ["survey_xyz_m", 3, 2], None, "survey_xyz_m[3][2]: is missing"),
        (level_case(), ["zone_polygon"], BOW_TIE, "zone_polygon: crosses or touches itself"),
        (level_case(), ["heading_deg"], ABSENT, "heading_deg: is missing"),
        (level_case(), ["tolerances"], {"slope_pct": "1"}, "tolerances.slope_pct: is a text"),
        (level_case(), ["tolerances"], {"slope_pct": -1}, "tolerances.slope_pct: is -1"),
        (level_case(), ["tolerances"], {"colour": 1}, "tolerances.colour: is not known here"),
        (level_case(), ["tolerances"], 3, "tolerances: is a number"),
    ],
)
def test_fault_is_told_with_its_path(
    case: dict[str, Any], path: list[Any], value: Any, told: str
) -> None:
    with pytest.raises(CaseFaults) as caught:
        read_case(_changed(case, path, value))
    lines = [f"{e.path}: {e.says}, {e.right}" for e in caught.value.errors]
    assert any(told in line for line in lines), lines


@pytest.mark.parametrize(
    ("path", "meant"),
    [
        (["floor", "obstacels"], "obstacles"),
        (["floor", "zone"], "zones"),
        (["ocupied"], "occupied"),
        (["heading_deg"], "headings_deg"),
        (["fixed_pose"], "pose_fixed"),
    ],
)
def test_slip_for_a_key_that_would_change_the_answer_is_a_fault(
    path: list[str], meant: str
) -> None:
    case = _changed(FIT, path, [])
    (case["floor"] if path[0] == "floor" else case).pop(meant, None)
    with pytest.raises(CaseFaults) as caught:
        read_case(case)
    assert [(e.path, e.right) for e in caught.value.errors][:1] == [(".".join(path), meant)]


def test_every_fault_is_told_at_once() -> None:
    case = _changed(FIT, ["vehicle", "width"], None)
    case = _changed(case, ["floor", "outline"], BOW_TIE)
    case = _changed(case, [*PART, "x0"], ["bumper", 0])
    with pytest.raises(CaseFaults) as caught:
        read_case(case)
    assert [e.path for e in caught.value.errors] == [
        "floor.outline",
        "vehicle.width",
        "procedure.parts[0].x0",
    ]


def test_faults_of_the_case_as_a_whole() -> None:
    for content in ([], None, "fit", 3):
        with pytest.raises(CaseFaults):
            read_case(content)


def test_keys_of_no_meaning_and_known_answers_are_left_alone() -> None:
    more = {"id": "x", "title": "t", "why": "w", "expect": {"fits": True}, "colour": "red"}
    read_case({**FIT, **more})
    read_case({**FIT, "occupied": None, "headings_deg": None, "pose_fixed": None})


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"", "is not JSON: Expecting value at line 1, column 1"),
        (b'{\n "kind": fit}', "is not JSON: Expecting value at line 2, column 10"),
        (b'{"kind": "fit", "kind": "level"}', "the key 'kind' is given twice"),
        (b'{"kind": "fit", "width": NaN}', "NaN is not a number"),
        (b'{"kind": "fit", "width": -Infinity}', "-Infinity is not a number"),
        (b"\xff\xfe{}", "is not UTF-8 text"),
        (b"[" * 100_000, "nested too deeply"),
        (b"[" + b"9" * 5000 + b"]", "is not JSON"),
    ],
)
def test_file_that_is_no_case_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: bytes, told: str
) -> None:
    path = tmp_path / "case.json"
    path.write_bytes(text)
    assert main([str(path)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert told in said.err
    assert str(path) in said.err


def test_file_that_is_not_there_and_a_folder_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(tmp_path / "none.json")]) == 2
    assert main([str(tmp_path)]) == 2
    said = capsys.readouterr().err
    assert "No such file" in said
    assert "Is a directory" in said


def test_command_prints_one_answer_and_imports_no_django(tmp_path: Path) -> None:
    path = tmp_path / "case.json"
    path.write_text("\ufeff" + json.dumps(FIT), encoding="utf-8")
    look = (
        "import sys; from bays.floor.__main__ import main; code = main(sys.argv[1:]);"
        "print(code, 'django' in sys.modules, file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", look, str(path)], capture_output=True, text=True, check=True
    )
    assert json.loads(done.stdout)["fits"] is False
    assert done.stderr.split() == ["0", "False"]


def test_command_refuses_with_exit_two(tmp_path: Path) -> None:
    path = tmp_path / "case.json"
    path.write_text(json.dumps(_changed(FIT, [*PART, "x0"], ["bumper", 0])))
    done = subprocess.run(
        [sys.executable, "-m", "bays.floor", str(path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == (
        "procedure.parts[0].x0: is 'bumper', one of rear_axle, front_axle, front, rear\n"
    )


JUNK = [None, True, -1, 0, 1e308, 10**400, "", "x", [], [[]], {}, {"a": 1}, [1, 2], [["rear", 0]]]


def _places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The path of every value inside."""
    if not isinstance(value, dict | list):
        return [path]
    entries = value.items() if isinstance(value, dict) else enumerate(value)
    inside = [found for key, entry in entries for found in _places(entry, (*path, key))]
    return [path, *inside] if path else inside


@pytest.mark.parametrize("case", [FIT, DRIVE, level_case(tolerances={"slope_pct": 1})])
def test_junk_anywhere_is_read_or_refused_but_never_breaks_the_reader(case: dict[str, Any]) -> None:
    case = {**case, "survey_xyz_m": case.get("survey_xyz_m", [])[:4]}
    refused = 0
    for path in _places(case):
        for junk in [*JUNK, ABSENT]:
            with suppress(CaseFaults):
                read_case(_changed(case, list(path), junk))
                continue
            refused += 1
    assert refused > 100
