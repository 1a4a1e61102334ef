"""Steps moved by hand: stored with their holds, told to the history, and taken back."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from bays.models import Hold, Technician
from jobs.models import Step, Visit
from jobs.planning.moving import StartSpan, StepPlaces
from jobs.services.step_moves import StepMove, move_step, places_of, undo_move
from jobs.services.steps import pin_step, start_step
from jobs.services.visits import check_in
from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Shop
from shopcal.errors import Conflict, NotAllowed, Stale
from shopcal.history.models import Event
from tests.conftest import JoinShop
from tests.faults.small_shop import SLUG
from tests.jobs.services.test_booking import WEDNESDAY, at_ten, booked, desk

__all__ = ["at_ten", "desk"]

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(desk: Actor) -> Visit:
    return booked(desk, "SB200001")


def mats(visit: Visit) -> Step:
    return Step.objects.get(visit=visit, kind="calibration")


def last(visit: Visit) -> Step:
    return Step.objects.get(visit=visit, kind="post_scan")


def spans(found: StepPlaces, kind: str, row: str = "") -> list[StartSpan]:
    return [
        span
        for one in found.rows
        if one.id.startswith(row)
        for span in one.spans
        if span.kind == kind
    ]


def move(by: Actor, step: Step, span: StartSpan, at: datetime | None = None, **more) -> StepMove:
    assert span.place
    assert span.technician
    return move_step(
        by=by,
        step=step,
        version=step.version,
        starts_at=at or span.first,
        place=span.place,
        technician=span.technician,
        **more,
    )


def test_every_row_of_the_board_is_answered_for_the_whole_day(desk: Actor, visit: Visit) -> None:
    found = places_of(by=desk, step=mats(visit))
    kinds = {row.id.split(":")[0] for row in found.rows}
    assert kinds == {"zone", "person"}
    for row in found.rows:
        ends = [span.last for span in row.spans]
        starts = [span.first for span in row.spans]
        assert starts[1:] == [end + timedelta(minutes=5) for end in ends[:-1]]
    assert all(s.place in {p.id for p in found.places} for s in spans(found, "open"))


def test_another_visit_in_the_bay_is_named_by_its_number(desk: Actor, visit: Visit) -> None:
    other = booked(desk, "SB200002")
    says = {span.says for span in spans(places_of(by=desk, step=mats(other)), "shut")}
    assert any(f"is taken by {visit.ro_number} until" in one for one in says)


def test_a_moved_step_has_its_holds_moved_and_the_rest_is_left(desk: Actor, visit: Visit) -> None:
    other = booked(desk, "SB200002")
    before = list(Hold.objects.filter(step_id__in=other.steps.values("pk")).values_list("pk"))
    step = last(visit)
    starts = step.starts_at
    assert starts is not None
    found = places_of(by=desk, step=step)
    span = spans(found, "open", "person")[-1]
    at = span.last
    assert at != starts
    made = move(desk, step, span, at)
    assert not made.along
    assert len(made.changes) == 1
    step.refresh_from_db()
    assert step.starts_at == at
    holds = Hold.objects.filter(step_id=step.pk, resource__kind="person")
    assert [hold.starts_at for hold in holds] == [at]
    after = list(Hold.objects.filter(step_id__in=other.steps.values("pk")).values_list("pk"))
    assert after == before
    event = Event.objects.filter(kind="step.moved").get()
    assert event.subject == f"step:{step.pk}"
    assert event.before["steps"][-1]["starts_at"] == starts.isoformat()


def test_what_follows_is_shown_before_it_moves_along(desk: Actor, visit: Visit) -> None:
    step = mats(visit)
    span = spans(places_of(by=desk, step=step, on=WEDNESDAY.date()), "along")[-1]
    with pytest.raises(Conflict) as refused:
        move(desk, step, span)
    assert refused.value.code == "moves_more"
    assert any("Post-scan" in change for change in refused.value.facts["changes"])
    assert mats(visit).starts_at == step.starts_at  # nothing has moved yet
    made = move(desk, step, span, also_moves=True)
    assert made.along
    assert last(visit).starts_at >= mats(visit).ends_at


def test_a_passed_promise_is_shown_before_the_move(desk: Actor, visit: Visit) -> None:
    Visit.objects.filter(pk=visit.pk).update(promised_at=last(visit).ends_at)
    step = last(visit)
    late = spans(places_of(by=desk, step=step), "late", "person")[0]
    assert f"would push {visit.ro_number} past its promise" in late.says
    with pytest.raises(Conflict) as refused:
        move(desk, step, late)
    assert "after the promised" in refused.value.facts["promises"][0]
    assert move(desk, step, late, also_moves=True).promises


def test_what_is_taken_is_refused_with_the_reason(desk: Actor, visit: Visit) -> None:
    other = booked(desk, "SB200002")
    mine, taken = mats(other), mats(visit)
    with pytest.raises(Conflict) as refused:
        move_step(
            by=desk,
            step=mine,
            version=mine.version,
            starts_at=taken.starts_at,
            place=taken.placement_key,
            technician=mine.technician.code,
        )
    assert refused.value.code == "cannot_move"
    assert visit.ro_number in refused.value.detail


def test_somebody_elses_change_meanwhile_is_not_written_over(desk: Actor, visit: Visit) -> None:
    step = last(visit)
    span = spans(places_of(by=desk, step=step), "open", "person")[-1]
    pin_step(by=desk, step=step, pinned=True)
    with pytest.raises(Stale):
        move(desk, step, span)


def test_a_step_being_done_stays(desk: Actor, visit: Visit) -> None:
    check_in(by=desk, visit=visit)
    step = start_step(by=desk, step=Step.objects.get(visit=visit, kind="pre_scan"))
    with pytest.raises(Conflict) as refused:
        places_of(by=desk, step=step)
    assert refused.value.code == "step_not_planned"


def test_a_move_may_be_kept_and_a_kept_step_moved_again(desk: Actor, visit: Visit) -> None:
    step = last(visit)
    row = f"person:{step.technician.code}"
    span = spans(places_of(by=desk, step=step), "open", row)[-1]
    move(desk, step, span, span.last, keep=True)
    kept = last(visit)
    assert kept.pinned
    again = spans(places_of(by=desk, step=kept), "open", row)[-1]
    move(desk, kept, again, again.first)
    assert last(visit).pinned  # it stays kept unless told otherwise
    move(desk, last(visit), again, again.last, keep=False)
    assert not last(visit).pinned


def test_a_technician_may_look_at_the_board_but_not_move(
    desk: Actor, visit: Visit, join_shop: JoinShop
) -> None:
    fitter = join_shop(Shop.objects.get(slug=SLUG), Role.TECHNICIAN).actor
    with pytest.raises(NotAllowed):
        places_of(by=fitter, step=mats(visit))
    with pytest.raises(NotAllowed):
        undo_move(by=fitter)


def later(desk: Actor, visit: Visit) -> Step:
    """The post-scan moved as late as it can be."""
    step = last(visit)
    span = spans(places_of(by=desk, step=step), "open", "person")[-1]
    move(desk, step, span, span.last)
    return last(visit)


def test_moves_are_taken_back_one_after_the_other(desk: Actor, visit: Visit) -> None:
    first = last(visit)
    second = later(desk, visit)
    span = spans(places_of(by=desk, step=second), "open", "person")[0]
    move(desk, second, span, span.first)
    undo_move(by=desk)
    assert last(visit).starts_at == second.starts_at
    undo_move(by=desk)
    back = last(visit)
    assert (back.starts_at, back.technician, back.placement_key, back.placement) == (
        first.starts_at, first.technician, first.placement_key, first.placement,
    )  # fmt: skip
    with pytest.raises(Conflict) as refused:
        undo_move(by=desk)
    assert refused.value.code == "nothing_to_undo"
    assert Event.objects.filter(kind="step.move_undone").count() == 2


def test_a_whole_visit_that_moved_along_comes_back_whole(desk: Actor, visit: Visit) -> None:
    before = list(visit.steps.order_by("order").values_list("starts_at", "placement", "technician"))
    step = mats(visit)
    move(desk, step, spans(places_of(by=desk, step=step), "along")[-1], also_moves=True)
    undo_move(by=desk)
    after = visit.steps.order_by("order").values_list("starts_at", "placement", "technician")
    assert list(after) == before


def test_only_ones_own_moves_are_taken_back(desk: Actor, visit: Visit, join_shop: JoinShop) -> None:
    later(desk, visit)
    other = join_shop(Shop.objects.get(slug=SLUG), Role.SERVICE_WRITER).actor
    with pytest.raises(Conflict) as refused:
        undo_move(by=other)
    assert refused.value.code == "nothing_to_undo"


def test_a_move_is_not_taken_back_over_somebody_elses(
    desk: Actor, visit: Visit, join_shop: JoinShop
) -> None:
    step = later(desk, visit)
    other = join_shop(Shop.objects.get(slug=SLUG), Role.SERVICE_WRITER).actor
    span = spans(places_of(by=desk, step=step), "open", "person")[0]
    move(other, step, span, span.first)
    with pytest.raises(Conflict) as refused:
        undo_move(by=desk)
    assert refused.value.code == "cannot_undo"
    assert "moved again since" in refused.value.detail


def test_a_move_is_not_taken_back_when_its_old_time_is_past(
    desk: Actor, visit: Visit, at_ten
) -> None:
    first = last(visit)
    later(desk, visit)
    at_ten.move_to(first.starts_at + timedelta(minutes=10))
    with pytest.raises(Conflict) as refused:
        undo_move(by=desk)
    assert refused.value.code == "cannot_undo"
    assert refused.value.detail


def test_a_move_is_not_taken_back_where_its_technician_has_left(desk: Actor, visit: Visit) -> None:
    first = last(visit)
    later(desk, visit)
    Technician.objects.filter(pk=first.technician_id).update(active=False)
    with pytest.raises(Conflict):
        undo_move(by=desk)
