"""Whatever is said is checked at the pose it is said of, by the judge of single poses."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from bays.floor import FloorPlan, Part, Pose, WhyNot, ZoneId, check_pose, why_not
from bays.floor.nearest import drawn_in
from bays.floor.remedies import without
from tests.bays.floor.cases import bay, drawing, parts_of, rect, zone

# A search is content with this much; see why_not.
SEARCHED_MM = 0.5
MANY = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
NETS = settings(MANY, max_examples=8)


@dataclass(frozen=True)
class Case:
    """A hall of three bays side by side with things standing about, and a clear zone."""

    plan: FloorPlan
    parts: tuple[Part, ...]
    occupied: frozenset[ZoneId]


@st.composite
def cases(draw: Any, *, cramped: bool = False) -> Case:
    each = st.integers(2000, 2300) if cramped else st.integers(2400, 4200)
    widths = draw(st.lists(each, min_size=3, max_size=3))
    depth = draw(st.integers(5200, 6400 if cramped else 8200))
    edges = [0, *itertools.accumulate(widths)]
    things = [
        {
            "id": f"T{i}",
            "kind": draw(st.sampled_from(["column", "rack"])),
            "polygon": rect(x, y, x + 300, y + draw(st.integers(200, 900))),
        }
        for i, (x, y) in enumerate(
            draw(
                st.lists(
                    st.tuples(st.integers(0, edges[-1] - 300), st.integers(0, depth - 900)),
                    max_size=3,
                )
            )
        )
    ]
    plan = FloorPlan.from_content(
        drawing(
            rect(0, 0, edges[-1], depth),
            obstacles=things,
            zones=[zone(f"B{i}", edges[i - 1], 0, edges[i], depth) for i in (1, 2, 3)],
            bays=[
                bay(str(i), [f"B{i}"], [(edges[i - 1] + edges[i]) // 2, depth // 2])
                for i in (1, 2, 3)
            ],
        )
    )
    least = 700 if cramped else 0
    room = [draw(st.integers(least, most)) for most in (1500, 1500, 1600)]
    needs = {"position_tolerance_mm": draw(st.sampled_from([0, 40]))}
    occupied = draw(st.frozensets(st.sampled_from(["B1", "B2", "B3"])))
    return Case(plan, parts_of(*room, **needs), frozenset(ZoneId(zone) for zone in occupied))


def asked(case: Case, **more: Any) -> WhyNot:
    return why_not(case.plan, case.parts, None, case.occupied, **more)


def poses_about(case: Case) -> Iterator[Pose]:
    """Poses in the bays, along them and back: a coarse net that knows nothing of any search."""
    for one in case.plan.bays:
        west, south, east, north = one.area.bounds
        for heading, ahead in ((90.0, 1425.0), (270.0, -1425.0)):
            for across, up in itertools.product(range(1, 4), range(1, 6)):
                x = west + (east - west) * across / 4
                yield Pose(x, south + (north - south) * up / 6 - ahead, heading)


def holds(told: WhyNot, case: Case) -> None:
    """Every fact of an answer, checked."""
    plan, parts, occupied = case.plan, case.parts, case.occupied
    if told.fits is not None:
        report = check_pose(plan, parts, told.fits.pose, occupied)
        assert report.ok
        assert told.spare_mm is not None
        assert told.spare_mm <= report.margin_mm + 0.01
        assert said_spare(told) <= told.spare_mm + 0.03
    for way in told.emptying:
        pose = way.placement.pose
        assert check_pose(plan, parts, pose, occupied - way.zones).ok
        for zone_id in way.zones:
            assert not check_pose(plan, parts, pose, occupied - (way.zones - {zone_id})).ok
    for removal in told.removals:
        bare = without(plan, removal.obstacle)
        assert check_pose(bare, parts, removal.placement.pose).ok
    if told.shortfalls and told.pose is not None:
        give = {short.side: short.by_mm + 0.02 for short in told.shortfalls}
        assert check_pose(plan, drawn_in(parts, give), told.pose).ok
        for side, by_mm in give.items():
            less = {**give, side: by_mm - 1.0}
            assert by_mm <= 1 or not check_pose(plan, drawn_in(parts, less), told.pose).ok


def said_spare(told: WhyNot) -> float:
    """The room that the words promise, in millimetres."""
    found = re.search(r"with ([\d.]+) (mm|cm|m) to spare", told.says)
    return 0.0 if found is None else float(found[1]) * {"mm": 1, "cm": 10, "m": 1000}[found[2]]


@MANY
@given(cases())
def test_what_is_said_of_the_shop_holds_at_its_poses(case: Case) -> None:
    holds(asked(case), case)


@MANY
@given(cases(), st.sampled_from(["1", "2", "3"]), st.booleans())
def test_what_is_said_of_a_bay_holds_at_its_poses(case: Case, bay_id: str, square: bool) -> None:
    told = asked(case, at=bay_id, square=square)
    holds(told, case)
    if told.fits is not None:
        assert bay_id in told.fits.bay_ids


@MANY
@given(cases(), st.integers(0, 12000), st.integers(0, 8000), st.integers(0, 359))
def test_what_is_said_of_a_pose_holds_there(case: Case, x: int, y: int, heading: int) -> None:
    pose = Pose(x, y, heading)
    told = asked(case, at=pose)
    report = check_pose(case.plan, case.parts, pose, case.occupied)
    assert (told.outcome == "fits") == report.ok
    if told.turned_round:
        assert told.fits is not None
        assert check_pose(case.plan, case.parts, told.fits.pose, case.occupied).ok


@NETS
@given(cases())
def test_no_pose_contradicts_what_is_said(case: Case) -> None:
    told = asked(case)
    for pose in poses_about(case):
        if told.outcome != "fits":
            assert not check_pose(case.plan, case.parts, pose, case.occupied).ok
        report = check_pose(case.plan, case.parts, pose)
        if not report.ok:
            continue
        # whatever good pose there is, one of the ways asks for no more than that pose does
        held = report.zones & case.occupied
        assert told.outcome == "fits" or any(way <= held for way in told.zones_to_empty)


@NETS
@given(cases(cramped=True))
def test_no_thing_is_left_out_whose_removal_would_do(case: Case) -> None:
    told = asked(case)
    assume(told.outcome in ("too_small", "not_found"))
    named = {removal.obstacle for removal in told.removals}
    for obstacle in case.plan.obstacles:
        if obstacle.id not in named:
            bare = without(case.plan, obstacle.id)
            assert not any(check_pose(bare, case.parts, pose).ok for pose in poses_about(case))


@NETS
@given(cases(cramped=True))
def test_no_pose_along_the_bays_is_short_by_less_on_one_side(case: Case) -> None:
    told = asked(case)
    assume(len(told.shortfalls) == 1)
    least = told.shortfalls[0].by_mm - SEARCHED_MM - 1.0
    assume(least > 0)
    for side in ("front", "rear", "left", "right"):
        shrunk = drawn_in(case.parts, {side: least})
        assert not any(check_pose(case.plan, shrunk, pose).ok for pose in poses_about(case))


@NETS
@given(cases(cramped=True))
def test_words_never_say_a_shortfall_too_small(case: Case) -> None:
    told = asked(case)
    assume(told.shortfalls)
    said = re.findall(r"([\d.]+) (mm|cm|m) (?:in front|behind|on the)", told.says)
    assert len(said) == len(told.shortfalls)
    for (number, unit), short in zip(said, told.shortfalls, strict=True):
        mm = float(number) * {"mm": 1, "cm": 10, "m": 1000}[unit]
        assert short.by_mm - 0.25 <= mm <= short.by_mm + {"mm": 1, "cm": 10, "m": 100}[unit]
