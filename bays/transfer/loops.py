"""Closes loose lines and arcs into rings where their ends meet. Pure; lengths in millimetres."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from scipy.spatial import cKDTree
from shapely.geometry import LineString

from bays.transfer.curves import Path, backwards, chords

MEET_MM: Final = 2.0  # ends of lines drawn by hand meet no better


@dataclass(frozen=True)
class Loop:
    """A ring; ``members`` are the numbers of the paths it was made of. An ``exact`` one has kept
    its arcs."""

    ring: Path
    members: tuple[int, ...]
    exact: bool


def closed_loops(paths: Sequence[Path]) -> tuple[list[Loop], list[int]]:
    """Rings found, and the numbers of the paths that belong to none.

    Where just two ends meet everywhere along a loop, its arcs stay arcs. Where more meet, as with
    inner walls drawn up to outer ones, every smallest area that the lines enclose is a ring, by
    chords at most half a millimetre off.
    """
    ends = _places(paths)
    living = set(range(len(paths)))
    while True:
        degree = _degrees(ends, living)
        dangling = {i for i in living if degree[ends[i][0]] == 1 or degree[ends[i][1]] == 1}
        if not dangling:
            break
        living -= dangling
    loops: list[Loop] = []
    for group in _connected(ends, living):
        degree = _degrees(ends, group)
        simple = all(count == 2 for count in degree.values())
        members = tuple(sorted(group))
        if simple:
            loops.append(Loop(_walk(paths, ends, group), members, True))
        else:
            areas = _areas([paths[i] for i in members])
            loops += [Loop(area, members, False) for area in areas]
    return loops, [i for i in range(len(paths)) if i not in living]


def _places(paths: Sequence[Path]) -> list[tuple[int, int]]:
    """Both ends of each path as numbers of places; ends within reach are one place."""
    points = [(path[end][0], path[end][1]) for path in paths for end in (0, -1)]
    parent = list(range(len(points)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    if points:
        for a, b in cKDTree(points).query_pairs(MEET_MM):
            parent[root(a)] = root(b)
    return [(root(2 * i), root(2 * i + 1)) for i in range(len(paths))]


def _degrees(ends: Sequence[tuple[int, int]], living: set[int]) -> dict[int, int]:
    degree: dict[int, int] = defaultdict(int)
    for i in living:
        for place in ends[i]:
            degree[place] += 1
    return degree


def _connected(ends: Sequence[tuple[int, int]], living: set[int]) -> list[set[int]]:
    at: dict[int, set[int]] = defaultdict(set)
    for i in living:
        for place in ends[i]:
            at[place].add(i)
    groups: list[set[int]] = []
    waiting = set(living)
    while waiting:
        group, edge = set(), {min(waiting)}
        while edge:
            i = edge.pop()
            group.add(i)
            edge |= (at[ends[i][0]] | at[ends[i][1]]) - group
        groups.append(group)
        waiting -= group
    return groups


def _walk(paths: Sequence[Path], ends: Sequence[tuple[int, int]], group: set[int]) -> Path:
    """The ring of a group in which every place joins two ends."""
    left = set(group)
    current = min(left)
    ring: Path = []
    place = ends[current][0]
    while True:
        left.discard(current)
        forward = ends[current][0] == place
        ring += (paths[current] if forward else backwards(paths[current]))[:-1]
        place = ends[current][1] if forward else ends[current][0]
        following = [i for i in left if place in ends[i]]
        if not following:
            return ring
        current = following[0]


def _areas(paths: Sequence[Path]) -> list[Path]:
    lines = [LineString(chords(path)) for path in paths if len(path) > 1]
    found = shapely.get_parts(shapely.polygonize([shapely.unary_union(lines)]))
    return [[(x, y, 0.0) for x, y in area.exterior.coords[:-1]] for area in found.tolist()]
