"""Who is told what, without a database or a network."""

from __future__ import annotations

import pytest

from shopcal.live.hub import MOST_PENDING, Hint, Hub, News


def hint(seq: int, subject: str = "visit:1", kind: str = "visit.changed") -> Hint:
    return Hint(seq, kind, subject)


def test_a_listener_hears_of_its_own_shop_only() -> None:
    hub = Hub()
    ours = hub.join(1, last_seq=4, since=4)
    theirs = hub.join(2, last_seq=9, since=9)
    hub.publish({1: [hint(5)]})
    assert ours.take() == News(5, ("visit.changed",), ("visit:1",))
    assert theirs.take() is None
    assert hub.positions == {1: 5, 2: 9}


def test_what_piles_up_for_a_slow_listener_is_told_in_one_piece() -> None:
    hub = Hub()
    slow = hub.join(1, last_seq=0, since=0)
    hub.publish({1: [hint(1), hint(2, "visit:2")]})
    hub.publish({1: [hint(3), hint(4, "unit:7", "unit.taken_out")]})
    assert slow.take() == News(
        4, ("visit.changed", "unit.taken_out"), ("visit:1", "visit:2", "unit:7")
    )
    assert slow.take() is None


def test_a_listener_far_behind_is_told_that_anything_may_have_changed() -> None:
    hub = Hub()
    slow = hub.join(1, last_seq=0, since=0)
    hub.publish({1: [hint(n, f"visit:{n}") for n in range(1, MOST_PENDING + 2)]})
    assert slow.take() == News(MOST_PENDING + 1, ("*",), ("*",))
    hub.publish({1: [hint(900)]})
    assert slow.take() == News(900, ("visit.changed",), ("visit:1",))


def test_a_shop_nobody_listens_to_is_not_read_any_more() -> None:
    hub = Hub()
    first, second = (hub.join(1, last_seq=3, since=3) for _ in range(2))
    hub.leave(first)
    assert hub.positions == {1: 3}
    hub.leave(second)
    assert hub.positions == {}
    assert len(hub) == 0
    hub.publish({1: [hint(4)]})  # was being read when the last one left
    assert hub.positions == {}


@pytest.mark.parametrize("last_seq", [7, 5])
def test_a_later_listener_does_not_move_how_far_a_shop_was_read(last_seq: int) -> None:
    hub = Hub()
    hub.join(1, last_seq=5, since=5)
    hub.join(1, last_seq=last_seq, since=2)
    assert hub.positions == {1: 5}
