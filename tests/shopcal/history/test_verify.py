"""``manage.py verify_history`` finds what was done to the history past the database's guards."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from shopcal import database
from shopcal.accounts.actor import Actor
from shopcal.history.guards import GUARDS
from shopcal.history.models import Event, ShopChain
from shopcal.history.record import record_event
from shopcal.history.verify import Head, verify_history

pytestmark = pytest.mark.django_db


@pytest.fixture
def story(shop) -> int:
    """Six events of one shop, in a database whose guards an intruder has removed."""
    write(shop.pk, range(1, 7))
    database.remove(GUARDS, connection)
    return shop.pk


def write(shop_id: int, numbers) -> None:
    for number in numbers:
        record_event(
            by=Actor.system(shop_id), kind="reading.taken", subject=f"calibration:{number}",
            after={"height_mm": 1200 + number},
        )  # fmt: skip


def codes(shop_id: int, kept: Head | None = None) -> list[str]:
    return [fault.code for fault in verify_history(shop_id, kept=kept).faults]


def events(shop_id: int):
    return Event.objects.for_shop(shop_id)


def rebuild(shop_id: int) -> None:
    """Recompute every hash, as an intruder who knows the code would."""
    previous = "0" * 64
    for seq, event in enumerate(events(shop_id).order_by("seq"), start=1):
        event.seq, event.previous_hash = seq, previous
        event.hash = previous = event.expected_hash()
        event.save()
        ShopChain.objects.update(seq=seq, head=previous)


def test_history_as_written_has_no_faults(story: int) -> None:
    verdict = verify_history(story)
    assert (verdict.events, verdict.faults) == (6, ())
    assert verdict.head == Head(6, events(story).get(seq=6).hash)


@pytest.mark.parametrize(
    "change",
    [
        {"after": {"height_mm": 1199}},
        {"before": {}},
        {"actor_name": "Someone Else"},
        {"actor_role": "manager"},
        {"actor_user_id": 4},
        {"kind": "reading.kept"},
        {"subject": "calibration:9"},
        {"visit_id": 1},
        {"at": "2020-01-01T00:00:00+00:00"},
    ],
)
def test_a_changed_event_is_found(story: int, change: dict) -> None:
    events(story).filter(seq=3).update(**change)
    assert [(f.seq, f.code) for f in verify_history(story).faults] == [(3, "changed")]


def test_a_changed_event_with_a_fitting_hash_breaks_the_next(story: int) -> None:
    event = events(story).get(seq=3)
    event.actor_name = "Someone Else"
    event.hash = event.expected_hash()
    event.save()
    assert [(f.seq, f.code) for f in verify_history(story).faults] == [(4, "relinked")]


def test_a_removed_event_is_found(story: int) -> None:
    events(story).filter(seq=3).delete()
    assert codes(story) == ["removed"]


def test_two_events_in_each_others_place_are_found(story: int) -> None:
    for old, new in ((3, 99), (4, 3), (99, 4)):
        events(story).filter(seq=old).update(seq=new)
    assert "changed" in codes(story)


def test_an_event_moved_in_from_another_shop_is_found(story: int, other_shop) -> None:
    write(other_shop.pk, range(1, 4))
    Event.objects.filter(shop=other_shop, seq=3).update(shop=story, seq=7)
    assert codes(story) == ["relinked", "changed", "beyond_end"]
    assert codes(other_shop.pk) == ["cut_off"]


def test_events_cut_off_the_end_are_found_by_the_chains_own_end(story: int) -> None:
    events(story).filter(seq__gte=5).delete()
    assert codes(story) == ["cut_off"]


def test_a_cut_that_also_moves_the_chains_end_is_found_only_with_a_head_kept_elsewhere(
    story: int,
) -> None:
    kept = verify_history(story).head
    events(story).filter(seq__gte=5).delete()
    rebuild(story)
    assert codes(story) == []
    assert codes(story, kept) == ["cut_off"]


def test_a_chain_rebuilt_from_the_first_event_is_found_only_with_a_head_kept_elsewhere(
    story: int,
) -> None:
    kept = verify_history(story).head
    events(story).filter(seq=2).update(actor_name="Someone Else")
    rebuild(story)
    write(story, [7])
    assert codes(story) == []
    assert codes(story, kept) == ["head_differs"]


def test_a_head_kept_elsewhere_still_fits_after_more_was_written(story: int) -> None:
    kept = verify_history(story).head
    write(story, [7, 8])
    assert codes(story, kept) == []


def test_a_shop_without_history_is_as_written(shop) -> None:
    assert verify_history(shop.pk).faults == ()


def run(*arguments: str) -> str:
    out = StringIO()
    call_command("verify_history", *arguments, stdout=out)
    return out.getvalue()


def test_command_prints_a_head_that_it_accepts_again(story: int) -> None:
    printed = run()
    assert "fennhollow: 6 events, as written, head 6:" in printed
    head = printed.split("head ")[1].strip()
    assert "as written" in run("--shop", "fennhollow", "--kept", head)


def test_command_fails_and_says_where(story: int) -> None:
    events(story).filter(seq=3).update(actor_name="Someone Else")
    with pytest.raises(CommandError, match="fennhollow"):
        run()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--kept", "3:" + "0" * 64), "Name the shop"),
        (("--kept", "three", "--shop", "fennhollow"), "A head looks like"),
        (("--shop", "nowhere"), "There is no shop"),
    ],
)
def test_command_says_what_is_wrong_with_what_it_was_given(story: int, arguments, says) -> None:
    with pytest.raises(CommandError, match=says):
        run(*arguments)
