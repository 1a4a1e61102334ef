"""Booking on the phone: what the vehicle needs, which promises can be given, one click to book."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.intake import vin
from jobs.pages.booking_form import SIZES, BookingForm
from jobs.pages.day import keep_change
from jobs.pages.differences import shown_parts
from jobs.pages.moments import ShopWords, counted, duration, listed
from jobs.planning.floor_answers import FloorAnswer
from jobs.planning.request import BookingCase, BookingRequest
from jobs.selectors.visits import next_ro_number
from jobs.services.booking import book_visit
from jobs.services.quotes import VisitOffer, VisitQuote, ask_each_bay, quote_visit
from jobs.services.urgent import book_urgent, propose_urgent
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Conflict, Invalid, Refusal

VIN_LENGTH = 17
# Free within this, people say "now".
NOW_ENOUGH = timedelta(minutes=5)


@dataclass(frozen=True)
class VinWords:
    """What stands beside the VIN: facts, or what is wrong and how to put it right."""

    says: str = ""
    fault: str = ""
    right: str = ""
    candidates: tuple[str, ...] = field(default=())
    ask_confirmation: bool = False
    confirmed: bool = False


@dataclass(frozen=True)
class FloorLine:
    """Where one calibration fits, to be read aloud; ``word`` says it in two words."""

    name: str
    kind: str
    word: str
    says: str
    remarks: str
    nowhere: bool


_FLOOR_TAGS = {
    "fits": ("ok", "fits"),
    "turned": ("ok", "fits turned"),
    "occupied": ("tape", "not free now"),
    "floor_unfit": ("stop", "floor not fit"),
    "too_small": ("stop", "does not fit"),
    "not_found": ("stop", "no place found"),
    "no_bays": ("stop", "no bay"),
}


@dataclass(frozen=True)
class OfferLine:
    """One offer in the shop's words."""

    offer: VisitOffer
    start: str
    ready: str
    promise: str
    where: str
    late: str
    steps: tuple[tuple[str, str, str], ...]
    kind: str  # why it is offered; empty where there is nothing to say
    cost: str  # what it means to the others


_OFFER_KINDS = {
    "soonest": "soonest",
    "cheapest": "costs the shop least",
    "wished": "nearest the time asked for",
}


@require_http_methods(["GET", "POST"])
@allowed(Action.BOOK_VISIT)
def book(request: MemberRequest) -> HttpResponse:
    """Which promise can be given to this customer? POST with an offer gives it."""
    words = ShopWords.of(request.membership.shop)
    if request.method != "POST":
        initial = {"ro_number": next_ro_number(request.actor.shop_id)}
        form = BookingForm(shop_id=request.actor.shop_id, words=words, initial=initial)
        return _page(request, form, {"empty": True, "vin_words": VinWords()})
    form = _posted(request, words)
    if request.POST.get("urgent") == "book":
        return _book_urgent(request, form, words)
    token = request.POST.get("offer", "")
    if not token:
        return _page(request, form, _panel(request, form, words, beside=True))
    return _book(request, form, words, token)


@require_POST
@allowed(Action.BOOK_VISIT)
def offers(request: MemberRequest) -> HttpResponse:
    """Offers for what is typed so far, as a part of the page."""
    words = ShopWords.of(request.membership.shop)
    form = _posted(request, words)
    context = {"form": form, "part": True, **_panel(request, form, words)}
    return render(request, "jobs/_offers.html", context)


@require_POST
@allowed(Action.BOOK_VISIT)
def bays(request: MemberRequest) -> HttpResponse:
    """Every bay by name, and whether each calibration fits there, as a part of the page."""
    words = ShopWords.of(request.membership.shop)
    form = _posted(request, words)
    try:
        found = ask_each_bay(by=request.actor, request=form.request)
    except Refusal as refusal:
        return render(request, "_refusal.html", {"refusal": refusal})
    told = [(name, [_floor_line(one, words) for one in answers]) for name, answers in found]
    return render(request, "jobs/_bay_answers.html", {"told": told})


@require_POST
@allowed(Action.BOOK_VISIT)
def urgent(request: MemberRequest) -> HttpResponse:
    """What booking this vehicle as urgent would move, as a part of the page. Changes nothing."""
    words = ShopWords.of(request.membership.shop)
    form = _posted(request, words)
    try:
        found = propose_urgent(by=request.actor, request=form.request)
    except Refusal as refusal:
        return render(request, "_refusal.html", {"refusal": refusal})
    context = {
        "start": words.moment(found.starts_at),
        "promise": words.moment(found.promised_at),
        "place": found.place or "Outside",
        "change": found.change,
        "parts": [p for p in shown_parts(found.shop_plan, found.apart) if p.visits],
    }
    return render(request, "jobs/_urgent.html", context)


def _book_urgent(request: MemberRequest, form: BookingForm, words: ShopWords) -> HttpResponse:
    wanted = form.request
    if form.errors:
        return _page(request, form, _panel(request, form, words, beside=True), status=422)
    try:
        visit, change = book_urgent(by=request.actor, request=wanted)
    except Invalid as refusal:
        form.put_beside(refusal.errors)
        return _page(request, form, _panel(request, form, words), status=422)
    except Conflict as refusal:
        extra = {"refusal": refusal, **_panel(request, form, words)}
        return _page(request, form, extra, status=409)
    told = words.moment(visit.promised_at)
    messages.success(request, f"Booked as urgent. Tell the customer: ready by {told}.")
    if change.unchanged:
        return HttpResponseRedirect(reverse("visit-detail", args=[visit.pk]))
    keep_change(request, change)
    return HttpResponseRedirect(reverse("day"))


def _book(request: MemberRequest, form: BookingForm, words: ShopWords, token: str) -> HttpResponse:
    wanted = form.request
    if form.errors:
        return _page(request, form, _panel(request, form, words, beside=True), status=422)
    try:
        visit = book_visit(by=request.actor, request=wanted, offer_token=token)
    except Invalid as refusal:
        form.put_beside(refusal.errors)
        return _page(request, form, _panel(request, form, words), status=422)
    except Conflict as refusal:
        if refusal.code == "ro_number_taken":
            form.add_error("ro_number", f"{refusal.title} {refusal.detail}")
            return _page(request, form, _panel(request, form, words), status=409)
        extra = {"refusal": refusal, **_panel(request, form, words)}
        return _page(request, form, extra, status=409)
    told = words.moment(visit.promised_at)
    messages.success(request, f"Booked. Tell the customer: ready by {told}.")
    return HttpResponseRedirect(reverse("visit-detail", args=[visit.pk]))


def _posted(request: MemberRequest, words: ShopWords) -> BookingForm:
    return BookingForm(request.POST, shop_id=request.actor.shop_id, words=words)


def _page(
    request: MemberRequest, form: BookingForm, panel: dict[str, Any], status: int = 200
) -> HttpResponse:
    form.mark_needed()
    sizes = [form[name] for name in SIZES]
    context = {
        "form": form,
        "sizes": sizes,
        "sizes_open": any(size.errors or size.value() for size in sizes),
        "length_hint": "12 ft 4 in or 148 in" if form.words.units == "us" else "mm, or like 2.79 m",
        **panel,
    }
    return render(request, "jobs/book.html", context, status=status)


def _panel(
    request: MemberRequest, form: BookingForm, words: ShopWords, *, beside: bool = False
) -> dict[str, Any]:
    """The right side of the page for what the form says so far.

    ``beside`` puts faults beside the fields as well, once the person has asked for offers.
    """
    wanted = form.request
    if not wanted.vin.strip() and not wanted.work and not wanted.kind_code:
        return {"empty": True, "vin_words": VinWords()}
    try:
        quote = quote_visit(by=request.actor, request=wanted)
    except Refusal as refusal:
        return {"cannot_quote": refusal, "vin_words": _vin_words(wanted, None, words)}
    if beside:
        form.put_beside(quote.faults)
    return {
        "quote": quote,
        "vin_words": _vin_words(wanted, quote.case, words),
        "missing": [] if beside else _missing(quote, wanted),
        **_needs(quote, words),
        "offers": [_offer_line(offer, words) for offer in quote.offers],
        "binding": _binding(quote, words),
        "systems": _systems(form, quote.case),
    }


def _missing(quote: VisitQuote, wanted: BookingRequest) -> list[str]:
    """Faults in words; a VIN still being typed is told beside the field only."""
    return [
        f"{fault.says[:1].upper()}{fault.says[1:]}" + (f": {fault.right}." if fault.right else ".")
        for fault in quote.faults
        if fault.path != "vin"
    ]


def _needs(quote: VisitQuote, words: ShopWords) -> dict[str, Any]:
    """The answer first: what it needs, how long it takes, how much floor."""
    case = quote.case
    floors = {one.name: _floor_line(one, words) for one in quote.floor}
    sizes = {name: words.floor_size(length, width) for name, length, width in quote.space}
    largest = max(quote.space, key=lambda size: size[1] * size[2], default=None)
    parts = [counted(len(case.needed), "calibration", "calibrations")]
    parts.append(f"{duration(case.total_minutes)} of work")
    if largest is not None:
        parts.append(f"{words.floor_size(largest[1], largest[2])} of clear floor")
    return {
        "headline": f"Needs {', '.join(parts)}" if case.needed else "",
        "needs": [
            {
                "name": need.content.name,
                "reasons": "; ".join(reason.rstrip(".") for reason in need.reasons),
                "size": sizes.get(need.content.name, ""),
                "floor": floors.get(need.content.name),
            }
            for need in case.needed
        ],
    }


def _floor_line(answer: FloorAnswer, words: ShopWords) -> FloorLine:
    told = answer.told
    kind, word = _FLOOR_TAGS[told.outcome]
    if kind == "ok":
        wait = answer.at - words.now
        word = f"{word} now" if wait < NOW_ENOUGH else f"{word} {words.moment(answer.at)}"
    return FloorLine(
        name=answer.name,
        kind=kind,
        word=word,
        says=told.answer,
        remarks=" ".join(told.remarks),
        nowhere=answer.nowhere,
    )


def _offer_line(offer: VisitOffer, words: ShopWords) -> OfferLine:
    day = words.day_of(offer.starts_at)
    where = [offer.place]
    if offer.margin_mm is not None:
        where.append(words.spare(offer.margin_mm))
    where.append(listed(offer.technicians))
    return OfferLine(
        offer=offer,
        start=words.moment(offer.starts_at),
        ready=words.briefly(offer.ends_at, day),
        promise=words.briefly(offer.promised_at, day),
        where=" · ".join(where),
        late=f"{duration(offer.late_minutes)} after it is wanted" if offer.late_minutes else "",
        steps=tuple(
            (
                f"{words.briefly(step.starts_at, day)}–{words.clock(step.ends_at)}",
                step.label,
                ", ".join(
                    part
                    for part in (
                        step.place,
                        listed([p for p in (step.technician, step.second_person) if p]),
                        *step.units,
                    )
                    if part
                ),
            )
            for step in offer.steps
        ),
        kind=_OFFER_KINDS.get(offer.kind, ""),
        cost=offer.cost_to_others,
    )


def _binding(quote: VisitQuote, words: ShopWords) -> str:
    if not quote.binding_says:
        return ""
    says = quote.binding_says
    if not quote.offers:
        return f"No offer: {says}."
    if " not before " in says:
        return f"{says}."
    calm = [offer.starts_at for offer in quote.offers if not offer.moves_others]
    if not calm:
        return f"{says[:1].upper()}{says[1:]}."
    return f"Not before {words.moment(calm[0])}: {says}."


def _systems(form: BookingForm, case: BookingCase) -> list[dict[str, Any]]:
    """Systems to look for on the vehicle; an answer given stays on the page to be changed."""
    said = form.systems_said
    codes = dict.fromkeys([*case.ask, *said])
    return [
        {"code": code, "name": code.replace("_", " "), "there": said.get(code)} for code in codes
    ]


def _vin_words(wanted: BookingRequest, case: BookingCase | None, words: ShopWords) -> VinWords:
    text = wanted.vin.strip()
    if not text:
        return VinWords()
    try:
        found = vin.check(text, confirmed=wanted.vin_confirmed)
    except vin.VinRefused as refused:
        typed = len("".join(text.split()))
        if refused.code == "length" and typed < VIN_LENGTH:
            return VinWords(says=f"{typed} of {VIN_LENGTH} characters")
        return VinWords(
            fault=refused.says,
            right=refused.right,
            candidates=refused.candidates,
            ask_confirmation=refused.code in ("check_digit", "model_year"),
        )
    facts = ["check digit right" if found.check_digit_right else "check digit not right"]
    if found.model_year:
        facts.append(f"model year {found.model_year}")
    facts += _vehicle_facts(case, words)
    return VinWords(
        says=" · ".join([*facts, *found.notes, *found.warnings]),
        ask_confirmation=wanted.vin_confirmed,
        confirmed=wanted.vin_confirmed,
    )


def _vehicle_facts(case: BookingCase | None, words: ShopWords) -> list[str]:
    if case is None or case.vehicle.shape is None:
        return ["not in the library: choose the kind of vehicle, or enter its sizes"]
    shape = case.vehicle.shape
    facts = [case.vehicle.label] if case.vehicle.label else []
    facts.append(words.vehicle_size(shape.length_mm, shape.width_mm))
    if case.vehicle.known is not None:
        facts.append("was here before")
    return facts
