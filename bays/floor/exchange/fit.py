"""Answers a case of the kind "fit" with the same functions the service asks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from typing import Any

from bays.floor.check import Shortfall, check_pose
from bays.floor.exchange.case import FitCase
from bays.floor.exchange.near import nearest_shortfalls
from bays.floor.exchange.variants import with_solid, without
from bays.floor.headings import FitSearch, search_fit, search_placements
from bays.floor.placement import Fit, Placement, Pose, options, placements
from bays.floor.plan import FloorPlan, ZoneId

ZoneSets = Iterable[frozenset[ZoneId]]


def answer_fit(case: FitCase) -> dict[str, Any]:
    return _at_fixed_pose(case, case.pose) if case.pose else _anywhere(case)


def _at_fixed_pose(case: FitCase, pose: Pose) -> dict[str, Any]:
    """What holds at the one pose allowed; ``margin_at_pose_m`` is 0 where it does not fit."""

    def fits(plan: FloorPlan, occupied: Set[ZoneId]) -> bool:
        return check_pose(plan, case.parts, pose, occupied).ok

    found = check_pose(case.plan, case.parts, pose, case.occupied)
    empty = check_pose(case.plan, case.parts, pose)
    answer: dict[str, Any] = {"fits": found.ok, "proven": True, "pose": _pose(pose)}
    if found.ok:
        answer["margin_m"] = found.margin_mm / 1000
    answer["margin_at_pose_m"] = found.margin_mm / 1000
    if case.plan.zones:
        answer["min_blocked_sets"] = _sets([found.zones]) if found.ok else []
        answer["min_blocked_sets_shop_empty"] = _sets([empty.zones]) if empty.ok else []
    if not found.ok:
        answer["fits_if_emptied"] = _sets([empty.zones & case.occupied]) if empty.ok else []
        answer["fits_if_removed"] = _removable(case, fits)
        answer["short"] = _short(found.shortfalls)
    return answer


def _anywhere(case: FitCase) -> dict[str, Any]:
    found, by_heading = _search(case)
    # a pose at which it fits is proof enough
    proven = found.fit is not None or found.proven
    answer: dict[str, Any] = {"fits": found.fit is not None, "proven": proven}
    if found.fit:
        answer["margin_m"] = _margin_m(case, found.fit)
        answer["pose"] = _pose(_as_written(case, found.fit.pose))
        answer["margin_at_pose_m"] = answer["margin_m"]
    if by_heading is not None:
        answer["by_heading"] = by_heading
    answer |= _blocked(case)
    if not found.fit:
        answer["fits_if_removed"] = _removable(case, _fits_anywhere(case))
        answer["short"] = _short(_nearest(case))
    return answer


def _search(case: FitCase) -> tuple[FitSearch, dict[str, Any] | None]:
    """The roomiest pose of all, and each heading's own answer where headings are given."""
    if case.headings is None:
        return _search_all_headings(case), None
    each = {
        name: search_fit(case.plan, case.parts, case.occupied, [heading])
        for name, heading in case.headings.items()
    }
    by_heading = {name: _heading_answer(case, found) for name, found in each.items()}
    best = max(each.values(), key=lambda found: found.fit.margin_mm if found.fit else -1.0)
    return best, by_heading


def _search_all_headings(case: FitCase) -> FitSearch:
    """Two searches look for different things; what either comes upon fits."""
    found = search_fit(case.plan, case.parts, case.occupied)
    if found.fit is None and not found.proven and case.plan.zones:
        for placement in options(_placements(case), case.occupied):
            return FitSearch(Fit(placement.pose, placement.margin_mm), proven=False)
    return found


def _heading_answer(case: FitCase, found: FitSearch) -> dict[str, Any]:
    if found.fit is None:
        return {"fits": False}
    return {"fits": True, "margin_m": _margin_m(case, found.fit)}


def _margin_m(case: FitCase, fit: Fit) -> float:
    """Measured at the pose found: a distance that is there, so never too much."""
    return check_pose(case.plan, case.parts, fit.pose, case.occupied).margin_mm / 1000


def _blocked(case: FitCase) -> dict[str, Any]:
    """Minimal sets of zones, of those poses that the occupied zones leave and of all."""
    if not case.plan.zones:
        return {}
    found = _placements(case)
    now = options(found, case.occupied)
    answer: dict[str, Any] = {
        "min_blocked_sets": _sets(placement.zones for placement in now),
        "min_blocked_sets_shop_empty": _sets(placement.zones for placement in found),
    }
    if not now:
        answer["fits_if_emptied"] = _sets(
            _smallest(placement.zones & case.occupied for placement in found)
        )
    return answer


def _placements(case: FitCase) -> Sequence[Placement]:
    if case.headings is None:
        return search_placements(case.plan, case.parts, anywhere=True).placements
    return placements(case.plan, case.parts, list(case.headings.values()))


def _fits_anywhere(case: FitCase) -> Callable[[FloorPlan, Set[ZoneId]], bool]:
    if case.headings is None:
        return lambda plan, occupied: search_fit(plan, case.parts, occupied).fit is not None
    headings = list(case.headings.values())

    def fits(plan: FloorPlan, occupied: Set[ZoneId]) -> bool:
        # one heading that fits is enough
        return any(search_fit(plan, case.parts, occupied, [h]).fit for h in headings)

    return fits


def _removable(case: FitCase, fits: Callable[[FloorPlan, Set[ZoneId]], bool]) -> list[str]:
    """The obstacles each of which, removed alone, lets the step fit.

    Removing more never hurts, so a group that does not help when it is removed as a whole holds
    no single obstacle that does: groups are halved only while they help.
    """
    helpful: list[str] = []
    groups = [[obstacle.id for obstacle in case.plan.obstacles]]
    while groups:
        group = groups.pop(0)
        if not group or not fits(without(case.plan, set(group)), case.occupied):
            continue
        if len(group) == 1:
            helpful += group
        else:
            middle = len(group) // 2
            groups += [group[:middle], group[middle:]]
    order = [obstacle.id for obstacle in case.plan.obstacles]
    return sorted(helpful, key=order.index)


def _nearest(case: FitCase) -> Sequence[Shortfall]:
    plan = with_solid(case.plan, case.occupied)
    headings = None if case.headings is None else list(case.headings.values())
    return nearest_shortfalls(plan, case.parts, headings)


def _as_written(case: FitCase, pose: Pose) -> Pose:
    """With the heading as the case gives it (-90, say, for 270)."""
    for heading in (case.headings or {}).values():
        if heading % 360.0 == pose.heading_deg:
            return pose._replace(heading_deg=heading)
    return pose


def _smallest(sets: ZoneSets) -> list[frozenset[ZoneId]]:
    every = set(sets)
    return [held for held in every if not any(other < held for other in every)]


def _sets(sets: ZoneSets) -> list[list[str]]:
    return sorted((sorted(held) for held in set(sets)), key=lambda held: (len(held), held))


def _pose(pose: Pose) -> list[float]:
    return [pose.x_mm / 1000, pose.y_mm / 1000, pose.heading_deg]


def _short(shortfalls: Sequence[Shortfall]) -> list[Mapping[str, Any]]:
    return [
        {"by_m": short.by_mm / 1000, "side": short.side, "against": list(short.against)}
        for short in shortfalls
    ]
