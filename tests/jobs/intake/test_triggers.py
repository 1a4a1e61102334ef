"""From the work done to the calibrations needed."""

from dataclasses import replace
from graphlib import TopologicalSorter
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.intake.triggers import (
    ProcedureNeed,
    TriggersRefused,
    check_procedures,
    needed,
    unmatched_work,
)

ALIGNMENT = ProcedureNeed(
    "ALN", "wheel alignment", "wheels", {"suspension_repaired": ""}, every_vehicle=True
)
CAMERA = ProcedureNeed(
    "CAM",
    "front camera",
    "front_camera",
    {
        "windscreen_replaced": "the windscreen in front of the camera was replaced",
        "camera_bracket_moved": "the camera's bracket was moved",
    },
    needs_first=("ALN",),
)
MIRROR = ProcedureNeed(
    "MIR",
    "surround cameras",
    "surround_cameras",
    {"door_mirror_replaced": "a mirror with a camera was replaced"},
    needs_first=("CAM",),
)
RADAR = ProcedureNeed(
    "RAD", "front radar", "front_radar", {"bumper_removed": "the radar sits behind the bumper"}
)
ALL = (MIRROR, CAMERA, RADAR, ALIGNMENT)
FITTED = frozenset({"front_camera", "surround_cameras", "front_radar"})


def codes(needs):
    return [need.procedure.code for need in needs]


def test_work_needs_only_the_procedures_it_triggers():
    (need,) = needed(["bumper_removed"], FITTED, ALL)
    assert need.procedure is RADAR
    assert need.reasons == ("the radar sits behind the bumper",)
    assert (need.order, need.ask, need.after) == (1, False, ())


def test_prerequisites_come_first_each_with_its_reason():
    needs = needed(["door_mirror_replaced"], FITTED, ALL)
    assert codes(needs) == ["ALN", "CAM", "MIR"]
    assert [need.order for need in needs] == [1, 2, 3]
    assert needs[0].reasons == ("front camera needs wheel alignment first",)
    assert needs[1].reasons == ("surround cameras needs front camera first",)
    assert needs[2].reasons == ("a mirror with a camera was replaced",)
    assert needs[2].after == ("CAM",)


def test_every_reason_is_told_once():
    work = ["windscreen_replaced", "windscreen_replaced", "camera_bracket_moved"]
    camera = needed(work, FITTED, ALL)[-1]
    assert camera.reasons == tuple(CAMERA.triggers.values())


def test_trigger_without_a_reason_is_told_in_the_words_of_the_work():
    (need,) = needed(["suspension_repaired"], FITTED, ALL)
    assert need.reasons == ("suspension repaired",)


def test_system_nobody_knows_of_is_asked_for():
    needs = needed(["windscreen_replaced"], frozenset(), ALL)
    assert [(need.procedure.code, need.ask) for need in needs] == [("ALN", False), ("CAM", True)]


def test_system_known_to_be_absent_is_not_needed_even_as_a_prerequisite():
    absent = {"front_camera"}
    assert needed(["windscreen_replaced"], FITTED - absent, ALL, absent_systems=absent) == ()
    needs = needed(["door_mirror_replaced"], FITTED - absent, ALL, absent_systems=absent)
    assert codes(needs) == ["MIR"]
    assert needs[0].after == ()


def test_prerequisite_already_done_is_not_needed_again_unless_triggered_itself():
    assert codes(needed(["windscreen_replaced"], FITTED, ALL, done={"ALN"})) == ["CAM"]
    work = ["windscreen_replaced", "suspension_repaired"]
    assert codes(needed(work, FITTED, ALL, done={"ALN"})) == ["ALN", "CAM"]


def test_needs_free_of_each_other_keep_the_order_given():
    work = ["bumper_removed", "camera_bracket_moved"]
    assert codes(needed(work, FITTED, (RADAR, CAMERA, ALIGNMENT))) == ["RAD", "ALN", "CAM"]
    assert codes(needed(work, FITTED, (ALIGNMENT, CAMERA, RADAR))) == ["ALN", "CAM", "RAD"]


def test_work_no_procedure_knows_is_named():
    assert unmatched_work(["windscreen_replaced", "roof_painted"], ALL) == ("roof_painted",)


def test_circle_is_refused_with_its_path():
    circle = (replace(ALIGNMENT, needs_first=("MIR",)), CAMERA, MIRROR, RADAR)
    with pytest.raises(TriggersRefused) as caught:
        needed(["bumper_removed"], FITTED, circle)
    assert caught.value.code == "circle"
    assert caught.value.path == ("ALN", "MIR", "CAM", "ALN")
    assert "wheel alignment → surround cameras" in caught.value.says


def test_procedure_that_needs_itself_is_a_circle():
    with pytest.raises(TriggersRefused) as caught:
        check_procedures([replace(RADAR, needs_first=("RAD",))])
    assert caught.value.path == ("RAD", "RAD")


def test_prerequisite_that_does_not_exist_and_code_given_twice_are_refused():
    with pytest.raises(TriggersRefused) as caught:
        check_procedures([CAMERA])
    assert (caught.value.code, caught.value.path) == ("unknown_prerequisite", ("CAM", "ALN"))
    with pytest.raises(TriggersRefused) as caught:
        check_procedures([RADAR, RADAR])
    assert caught.value.code == "twice"


def test_long_chain_does_not_exhaust_the_stack():
    links = (
        ProcedureNeed(f"P{n}", f"p{n}", "s", {"w": "r"} if n == 0 else {}, (f"P{n + 1}",))
        for n in range(2000)
    )
    chain = (*links, ProcedureNeed("P2000", "last", "s", {}))
    assert needed(["w"], {"s"}, chain)[0].procedure.code == "P2000"


@st.composite
def networks(draw):
    count = draw(st.integers(1, 7))
    procedures = []
    for n in range(count):
        firsts = draw(st.lists(st.integers(0, count - 1), max_size=3, unique=True))
        triggers = {"w": "r"} if draw(st.booleans()) else {}
        needs_first = tuple(f"P{m}" for m in firsts)
        procedures.append(ProcedureNeed(f"P{n}", f"p{n}", f"s{n}", triggers, needs_first))
    return tuple(procedures)


@given(networks())
def test_order_and_circles_agree_with_the_standard_librarys_sorter(procedures):
    graph = {procedure.code: procedure.needs_first for procedure in procedures}
    try:
        TopologicalSorter(graph).prepare()
    except ValueError:
        with pytest.raises(TriggersRefused) as caught:
            needed(["w"], (), procedures)
        path = caught.value.path
        assert path[0] == path[-1]
        assert all(later in graph[code] for code, later in pairwise(path))
        return
    needs = needed(["w"], (), procedures)
    at = {need.procedure.code: need.order for need in needs}
    assert sorted(at.values()) == list(range(1, len(needs) + 1))
    for need in needs:
        assert need.reasons
        for first in need.procedure.needs_first:
            assert at[first] < need.order
