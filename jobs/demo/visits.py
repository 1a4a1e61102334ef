"""Bookings of the invented shop, made through the same services as any booking."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from bays.selectors.calendar import opening_spans
from jobs.intake.vin_form import check_digit
from jobs.models import Visit
from jobs.planning.request import BookingRequest
from jobs.services.booking import book_visit
from jobs.services.quotes import quote_visit
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop


@dataclass(frozen=True)
class Call:
    """One telephone call: who, what vehicle, what was done, hours after opening it comes in."""

    customer: str
    vin_start: str  # first eight characters
    serial: str  # last eight: model year, plant, sequence
    work: tuple[str, ...]
    hours: float
    mail: str = ""


TODAY = (
    Call(
        "Mill Street Glass",
        "5ZZTK4AC",
        "RB104417",
        ("windscreen_replaced",),
        0,
        "glass@mill.example",
    ),
    Call("N. Castellan", "5ZZCP5DF", "SB200311", ("door_mirror_replaced",), 0, "nc@post.example"),
    Call("Harrow Body Shop", "5ZZHR2BD", "PA551207", ("bumper_rear_removed",), 0.5),
    Call("Harrow Body Shop", "5ZZMW3CE", "RC330518", ("bumper_front_removed",), 1),
    Call("E. Lindqvist", "5ZZHR2BD", "NA550016", ("wheel_alignment_done",), 1.5),
    Call("Mill Street Glass", "5ZZMW3CE", "PC330102", ("windscreen_replaced",), 2),
    Call("Fell & Daughters Fleet", "5ZZTK4AC", "SB105990", ("tailgate_replaced",), 2.5),
    Call("O. Brandt", "5ZZHR2BD", "RA552044", ("steering_repaired",), 3),
    Call("Harrow Body Shop", "5ZZCP5DF", "RB200087", ("suspension_repaired",), 4),
    Call("R. Achterberg", "5ZZMW3CE", "SC330977", ("camera_bracket_moved",), 5),
)
TOMORROW = (
    Call("Fell & Daughters Fleet", "5ZZTK4AC", "SB105991", ("door_mirror_replaced",), 0),
    Call("P. Nowak", "5ZZHR2BD", "PA551300", ("windscreen_replaced",), 1),
    Call("Harrow Body Shop", "5ZZMW3CE", "RC330600", ("collision_structural",), 2),
)


def vin_of(call: Call) -> str:
    """The invented VIN with a right check digit."""
    blank = f"{call.vin_start}0{call.serial}"
    return f"{call.vin_start}{check_digit(blank)}{call.serial}"


def request_of(call: Call, arrives_at: datetime) -> BookingRequest:
    return BookingRequest(
        work=call.work,
        vin=vin_of(call),
        arrives_at=arrives_at,
        customer_name=call.customer,
        customer_email=call.mail,
    )


def book_demo_visits(*, by: Actor, shop: Shop, now: datetime) -> list[Visit]:
    """Book each call at the soonest offer, today and on the next open day."""
    visits = []
    for call, arrives_at in _arrivals(shop, now):
        request = request_of(call, arrives_at)
        quote = quote_visit(by=by, request=request)
        if quote.offers:
            known = replace(request, systems=tuple(quote.case.vehicle.systems))
            calm = [one for one in quote.offers if not one.moves_others]
            visits.append(book_visit(by=by, request=known, offer_token=calm[0].token))
    return visits


def _arrivals(shop: Shop, now: datetime) -> Iterator[tuple[Call, datetime]]:
    today = now.astimezone(shop.zone).date()
    spans = opening_spans(shop.pk, shop.zone, today, today + timedelta(days=10))
    open_days = [span for span in spans if span.ends_at - timedelta(hours=3) > now]
    for calls, span in zip((TODAY, TOMORROW), open_days, strict=False):
        for call in calls:
            arrives_at = max(span.starts_at + timedelta(hours=call.hours), now)
            yield call, arrives_at
