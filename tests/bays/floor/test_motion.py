"""Lines, arcs and joins: they end where they should, and can be driven back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bays.floor.flood import after
from bays.floor.joins import MOST_WORDS, words
from bays.floor.motion import (
    Piece,
    Turning,
    direction_changes,
    drawn_out,
    end_of,
    length_of,
    merged,
    minutes_for,
    reversed_pieces,
)
from bays.floor.placement import Pose

places = st.floats(-20_000, 20_000)
angles = st.floats(-400, 400)
poses = st.builds(Pose, places, places, angles)
pieces = st.lists(
    st.builds(Piece, st.sampled_from([0.0, 1 / 5000, -1 / 7000]), st.floats(-9000, 9000)),
    min_size=1,
    max_size=5,
)


def test_quarter_circle_to_the_left() -> None:
    end = end_of(Pose(0, 0, 0), [Piece(1 / 5000, 5000 * math.pi / 2)])
    assert end == pytest.approx((5000, 5000, 90))


@given(poses, pieces)
def test_track_driven_back_ends_where_it_began(start: Pose, track: list[Piece]) -> None:
    back = end_of(end_of(start, track), reversed_pieces(track))
    assert back == pytest.approx(start, abs=1e-6)


@given(poses, pieces)
def test_drawn_path_ends_where_the_track_does_and_has_its_length(
    start: Pose, track: list[Piece]
) -> None:
    path = drawn_out(start, track)
    assert path[-1].pose == pytest.approx(end_of(start, track), abs=1e-3)
    xy = np.array([pose[:2] for pose in path])
    assert np.hypot(*np.diff(xy, axis=0).T).sum() == pytest.approx(
        length_of(track), rel=1e-5, abs=1e-3
    )


@given(poses, pieces)
def test_merging_changes_neither_end_nor_length(start: Pose, track: list[Piece]) -> None:
    kept = merged(track)
    assert end_of(start, kept) == pytest.approx(end_of(start, track), abs=1e-3)
    assert length_of(kept) == pytest.approx(length_of(track), abs=1e-3)


@settings(deadline=None)
@given(poses, poses)
def test_every_join_ends_at_its_goal(a: Pose, b: Pose) -> None:
    out = np.empty((MOST_WORDS, 6))
    ah, bh = math.radians(a.heading_deg), math.radians(b.heading_deg)
    count = words(a.x_mm, a.y_mm, ah, b.x_mm, b.y_mm, bh, 5000.0, out)
    assert 4 <= count <= MOST_WORDS
    for row in out[:count]:
        end = (a.x_mm, a.y_mm, ah)
        for k in range(3):
            end = after(*end, row[2 * k], row[2 * k + 1])
        # lines that meet at a very sharp angle do so far away
        far = 1 + np.abs(row).max()
        assert end[:2] == pytest.approx(b[:2], abs=1e-9 * far)
        assert math.remainder(end[2] - bh, 2 * math.pi) == pytest.approx(0, abs=1e-9)


def test_changes_of_direction_and_minutes() -> None:
    track = [Piece(0, 6000), Piece(1 / 5000, 6000), Piece(0, -12_000), Piece(0, 1200)]
    assert direction_changes(track) == 2
    assert minutes_for(length_of(track), 2) * 60 == pytest.approx(25.2 / 1.2 + 2 * 5)


def test_turning_circle_too_small_for_the_wheelbase_is_refused() -> None:
    with pytest.raises(ValueError, match="too small"):
        Turning.from_turning_circle(5000, 2800, 1500)
