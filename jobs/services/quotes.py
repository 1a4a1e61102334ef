"""Offers for a vehicle while the customer is on the phone."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.core import signing
from django.utils import timezone

from bays.planner import ModelError, Offer, Quote, Row, quote
from bays.selectors.floor import current_floor
from jobs.planning.floor_answers import FloorAnswer, bay_answers, floor_answers
from jobs.planning.problem import ShopPlan, load_shop_plan
from jobs.planning.request import BookingCase, BookingRequest, planner_vehicle, resolve_request
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action, may, require
from shopcal.errors import Conflict, FieldError

OFFER_SALT = "jobs.offer"
OFFER_SECONDS = 60 * 60
# The time told to the customer: the plan's end with a little room, on the quarter hour
# (common practice, no source).
PROMISE_SLACK = timedelta(minutes=10)
PROMISE_GRID = timedelta(minutes=15)


@dataclass(frozen=True)
class OfferedStep:
    """One step of an offer in words and times."""

    label: str
    starts_at: datetime
    ends_at: datetime
    place: str
    technician: str
    second_person: str
    units: tuple[str, ...]


@dataclass(frozen=True)
class VisitOffer:
    """A time the customer can be given; ``token`` books exactly this."""

    token: str
    starts_at: datetime
    ends_at: datetime
    promised_at: datetime
    place: str
    margin_mm: float | None
    technicians: tuple[str, ...]
    late_minutes: int
    says: str
    steps: tuple[OfferedStep, ...]
    kind: str = "another"  # soonest, cheapest, wished or another
    moves_others: bool = False
    cost_to_others: str = "nobody else moves"


@dataclass(frozen=True)
class VisitQuote:
    """What the vehicle needs, the offers, and what binds where there are none or none sooner."""

    case: BookingCase
    offers: tuple[VisitOffer, ...]
    binding_says: str
    binding_frees_at: datetime | None
    space: tuple[tuple[str, float, float], ...] = field(default=())  # name, length, width in mm
    floor: tuple[FloorAnswer, ...] = field(default=())

    @property
    def no_floor(self) -> tuple[str, ...]:
        """For each calibration that fits nowhere, however long one waits: why, in words."""
        return tuple(f"{one.name}: {one.told.says}" for one in self.floor if one.nowhere)

    @property
    def faults(self) -> tuple[FieldError, ...]:
        return self.case.faults


def quote_visit(*, by: Actor, request: BookingRequest, count: int | None = None) -> VisitQuote:
    """The earliest offers for a request, and what is still missing in it. Changes nothing.

    Raises:
        NotAllowed: this person may not book.
        NotFound: the shop has no floor plan yet.
    """
    require(by, Action.BOOK_VISIT)
    shop = Shop.objects.get(pk=by.shop_id)
    case = resolve_request(shop.pk, request)
    if not case.steps or case.vehicle.shape is None:
        return VisitQuote(case, (), "", None, _space(case))
    now = timezone.now()
    shop_plan = load_shop_plan(shop, now)
    asked, answer = _ask(by, case, shop_plan, count or shop.offers_to_show)
    binding = answer.binding
    return VisitQuote(
        case=case,
        offers=tuple(_offer(asked, case, offer) for offer in answer.offers),
        binding_says=binding.says if binding else "",
        binding_frees_at=(
            asked.clock.moment(binding.frees_at)
            if binding and binding.frees_at is not None
            else None
        ),
        space=_space(case),
        floor=floor_answers(case, shop_plan.current, shop, now),
    )


def ask_each_bay(
    *, by: Actor, request: BookingRequest
) -> tuple[tuple[str, tuple[FloorAnswer, ...]], ...]:
    """For each calibration of a request: where it fits in every bay, or why not. Changes nothing.

    Raises:
        NotAllowed: this person may not book.
        NotFound: the shop has no floor plan yet.
    """
    require(by, Action.BOOK_VISIT)
    shop = Shop.objects.get(pk=by.shop_id)
    case = resolve_request(shop.pk, request)
    return bay_answers(case, current_floor(shop.pk), shop, timezone.now())


def _ask(by: Actor, case: BookingCase, shop_plan: ShopPlan, count: int) -> tuple[ShopPlan, Quote]:
    """The planner's offers; others move only for whoever may re-plan."""
    wished_at = case.request.wished_at
    wanted_by = case.request.wanted_by
    due = shop_plan.clock.up(wanted_by) if wanted_by else shop_plan.problem.horizon
    vehicle, places = planner_vehicle(case, shop_plan, due)
    asked = shop_plan.with_vehicle(vehicle, places)
    answer = quote(
        asked.problem,
        shop_plan.plan,
        vehicle,
        count,
        wished=shop_plan.clock.up(wished_at) if wished_at else None,
        freeze_minutes=(shop_plan.shop.booking_freeze_minutes if may(by, Action.REPLAN) else None),
    )
    if isinstance(answer, ModelError):
        raise Conflict("cannot_quote", "No offer can be computed.", detail=answer.says)
    return asked, answer


def promise_after(moment: datetime) -> datetime:
    """The time told to the customer for work that is planned to end at ``moment``."""
    wanted = moment + PROMISE_SLACK
    over = (wanted - datetime(2000, 1, 1, tzinfo=wanted.tzinfo)) % PROMISE_GRID
    return wanted + (PROMISE_GRID - over if over else timedelta(0))


def open_offer(token: str) -> dict[str, Any]:
    """The rows an offer stands for.

    Raises:
        Conflict: ``offer_expired``, it was made too long ago or is not one of ours.
    """
    try:
        found: dict[str, Any] = signing.loads(token, salt=OFFER_SALT, max_age=OFFER_SECONDS)
    except signing.BadSignature as error:
        raise Conflict(
            "offer_expired",
            "This offer is too old or was not made here.",
            detail="Ask for new offers and choose again.",
        ) from error
    return found


def _offer(asked: ShopPlan, case: BookingCase, offer: Offer) -> VisitOffer:
    clock = asked.clock
    placed = [asked.problem.placements[row.placement] for row in offer.rows]
    on_floor = [place for place in placed if place.kind == "floor"]
    margins = [place.margin_mm for place in on_floor if place.margin_mm is not None]
    people = [asked.problem.technician_by_id[row.technician].name for row in offer.rows]
    ends_at = clock.moment(offer.finish)
    labels = {step.order: step.label for step in case.steps}
    return VisitOffer(
        token=signing.dumps(
            _token_facts(asked, offer),
            salt=OFFER_SALT,
            compress=True,
        ),
        starts_at=clock.moment(offer.start),
        ends_at=ends_at,
        promised_at=promise_after(ends_at),
        place=", ".join(dict.fromkeys(place.label for place in on_floor or placed)),
        margin_mm=min(margins, default=None),
        technicians=tuple(dict.fromkeys(people)),
        late_minutes=offer.late,
        says=offer.says,
        steps=tuple(
            _offered_step(asked, row, labels[int(row.operation.split(":")[1])])
            for row in offer.rows
        ),
        kind=offer.kind,
        moves_others=bool(offer.moved),
        cost_to_others=offer.cost_to_others,
    )


def _token_facts(asked: ShopPlan, offer: Offer) -> dict[str, Any]:
    """What books the offer: its rows, and those of others with the versions seen."""
    facts: dict[str, Any] = {
        "shop": asked.shop.pk,
        "rows": [_row_out(asked, row) for row in offer.rows],
    }
    if offer.moved:
        facts["moved"] = [
            [row.vehicle, asked.steps[row.operation].version, _row_out(asked, row)]
            for row in offer.moved
        ]
    return facts


def _offered_step(asked: ShopPlan, row: Row, label: str) -> OfferedStep:
    people = asked.problem.technician_by_id
    return OfferedStep(
        label=label,
        starts_at=asked.clock.moment(row.start),
        ends_at=asked.clock.moment(row.end),
        place=asked.problem.placements[row.placement].label,
        technician=people[row.technician].name,
        second_person=people[row.second_person].name if row.second_person else "",
        units=tuple(asked.problem.unit_by_id[unit].label for unit in row.units),
    )


def _row_out(asked: ShopPlan, row: Row) -> list[Any]:
    """A row with times that mean the same whatever day the planner counts from."""
    return [
        row.operation,
        asked.clock.moment(row.start).isoformat(),
        asked.clock.moment(row.end).isoformat(),
        row.technician,
        row.second_person,
        list(row.units),
        row.placement,
        row.park_after,
    ]


def row_in(asked: ShopPlan, kept: list[Any], vehicle: str) -> Row:
    """A row of an offer, counted from today's origin."""
    operation, starts, ends, technician, second, units, placement, park = kept
    return Row(
        vehicle=vehicle,
        operation=operation,
        start=asked.clock.down(datetime.fromisoformat(starts)),
        end=asked.clock.down(datetime.fromisoformat(ends)),
        technician=technician,
        second_person=second,
        units=tuple(units),
        placement=placement,
        park_after=park,
    )


def _space(case: BookingCase) -> tuple[tuple[str, float, float], ...]:
    """Length and width of the clear floor each calibration needs, millimetres."""
    sizes = []
    for name, parts in case.parts():
        bounds = [part.polygon.bounds for part in parts]
        length = max(b[2] for b in bounds) - min(b[0] for b in bounds)
        width = max(b[3] for b in bounds) - min(b[1] for b in bounds)
        sizes.append((name, length, width))
    return tuple(sizes)
