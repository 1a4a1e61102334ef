"""What is said on the phone, and the offers made for it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.floor_answers import FloorAnswerOut, answer_facts
from jobs.api.vehicles import SizesIn, SystemsField
from jobs.planning.request import BookingRequest, Sizes
from jobs.services.quotes import VisitOffer, VisitQuote, quote_visit
from shopcal.accounts.permissions import Action
from shopcal.api.views import ShopActs

MOST_OFFERS = 10


class RequestIn(serializers.Serializer[Any]):
    """Everything said on the phone; only `work` and a vehicle are needed for offers."""

    work = serializers.ListField(
        child=serializers.CharField(max_length=60),
        max_length=30,
        help_text="Codes from `work-codes/`.",
    )
    vin = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    vin_confirmed = serializers.BooleanField(
        default=False, help_text="Somebody compared it with the plate."
    )
    kind_code = serializers.CharField(
        max_length=60, required=False, allow_blank=True, default="", help_text="From the library."
    )
    sizes = SizesIn(required=False, allow_null=True, default=None)
    label = serializers.CharField(  # type: ignore[assignment]  # the metaclass takes it away
        max_length=120, required=False, allow_blank=True, default=""
    )
    plate = serializers.CharField(max_length=20, required=False, allow_blank=True, default="")
    systems = SystemsField(required=False, default=list, help_text="Seen on the vehicle.")
    absent_systems = SystemsField(required=False, default=list, help_text="Known not to be there.")
    arrives_at = serializers.DateTimeField(required=False, allow_null=True, default=None)
    wanted_by = serializers.DateTimeField(required=False, allow_null=True, default=None)
    wished_at = serializers.DateTimeField(
        required=False,
        allow_null=True,
        default=None,
        help_text="About when the work should begin: one offer is the nearest found.",
    )
    weight = serializers.IntegerField(
        min_value=1, max_value=100, default=1, help_text="Urgency: 1 is usual."
    )
    ro_number = serializers.CharField(max_length=40, required=False, allow_blank=True, default="")
    customer_name = serializers.CharField(
        max_length=120, required=False, allow_blank=True, default=""
    )
    customer_phone = serializers.CharField(
        max_length=40, required=False, allow_blank=True, default=""
    )
    customer_email = serializers.EmailField(
        max_length=254, required=False, allow_blank=True, default=""
    )
    notes = serializers.CharField(max_length=4000, required=False, allow_blank=True, default="")


class QuoteIn(RequestIn):
    count = serializers.IntegerField(
        min_value=1,
        max_value=MOST_OFFERS,
        required=False,
        allow_null=True,
        default=None,
        help_text="How many offers; the shop's own number where it is not given.",
    )


def booking_request(given: dict[str, Any]) -> BookingRequest:
    """The request of the services from validated content."""
    sizes = given.pop("sizes")
    for name in ("work", "systems", "absent_systems"):
        given[name] = tuple(given[name])
    return BookingRequest(**given, sizes=Sizes(**sizes) if sizes else None)


class NeedOut(serializers.Serializer[Any]):
    procedure = serializers.CharField()
    name = serializers.CharField(help_text="Of the procedure.")
    system = serializers.CharField()
    reasons = serializers.ListField(child=serializers.CharField())


class PlannedStepOut(serializers.Serializer[Any]):
    name = serializers.CharField(source="label")
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    place = serializers.CharField()
    technician = serializers.CharField()
    second_person = serializers.CharField(allow_blank=True)
    units = serializers.ListField(child=serializers.CharField())


class OfferOut(serializers.Serializer[Any]):
    token = serializers.CharField(help_text="Books exactly this; good for an hour.")
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    promised_at = serializers.DateTimeField(help_text="The time to tell the customer.")
    place = serializers.CharField()
    margin_mm = serializers.FloatField(allow_null=True)
    technicians = serializers.ListField(child=serializers.CharField())
    late_minutes = serializers.IntegerField(help_text="After `wanted_by`.")
    says = serializers.CharField()
    steps = PlannedStepOut(many=True)
    kind = serializers.CharField(help_text="`soonest`, `cheapest`, `wished` or `another`.")
    moves_others = serializers.BooleanField(help_text="Booking it moves other visits a little.")
    cost_to_others = serializers.CharField(help_text="What it means to the others, in words.")


class FaultOut(serializers.Serializer[Any]):
    path = serializers.CharField()
    says = serializers.CharField()
    right = serializers.CharField(allow_blank=True)


class SpaceOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    length_mm = serializers.FloatField()
    width_mm = serializers.FloatField()


class FloorAnswerForOut(FloorAnswerOut):
    """Where a calibration of the visit fits, or what would help."""

    name = serializers.CharField(help_text="Of the procedure.")
    at = serializers.DateTimeField(
        help_text="The moment asked of: the first at which the work could begin in opening hours."
    )


class QuoteOut(serializers.Serializer[Any]):
    vehicle = serializers.CharField(allow_blank=True)
    model_year = serializers.IntegerField(allow_null=True)
    needs = NeedOut(many=True)
    ask = serializers.ListField(
        child=serializers.CharField(), help_text="Systems somebody must look for on the vehicle."
    )
    total_minutes = serializers.IntegerField()
    space = SpaceOut(many=True, help_text="The clear floor each calibration needs.")
    offers = OfferOut(many=True)
    binding_says = serializers.CharField(
        allow_blank=True, help_text="What keeps the work from being done sooner."
    )
    binding_frees_at = serializers.DateTimeField(allow_null=True)
    floor = FloorAnswerForOut(many=True)
    no_floor = serializers.ListField(
        child=serializers.CharField(), help_text="Calibrations that fit nowhere here, and why."
    )
    faults = FaultOut(many=True, help_text="What is missing or wrong in the request so far.")


class Quotes(ShopActs):
    """Changes nothing: a quote may be asked for again while the customer is still talking."""

    actions = {"create": Action.BOOK_VISIT}

    @extend_schema(operation_id="quote", request=QuoteIn, responses=QuoteOut)
    def create(self, request: Request) -> Response:
        """The earliest offers for a request, and what is still missing in it."""
        given = self.read(QuoteIn)
        count = given.pop("count")
        quote = quote_visit(by=self.actor, request=booking_request(given), count=count)
        return Response(QuoteOut(_told(quote)).data)


def _told(quote: VisitQuote) -> dict[str, Any]:
    case = quote.case
    return {
        "vehicle": case.vehicle.label,
        "model_year": case.vehicle.vin.model_year if case.vehicle.vin else None,
        "needs": [
            {
                "procedure": need.content.code,
                "name": need.content.name,
                "system": need.content.system,
                "reasons": list(need.reasons),
            }
            for need in case.needed
        ],
        "ask": list(case.ask),
        "total_minutes": case.total_minutes,
        "space": [
            {"name": name, "length_mm": length, "width_mm": width}
            for name, length, width in quote.space
        ],
        "offers": [_offer(offer) for offer in quote.offers],
        "binding_says": quote.binding_says,
        "binding_frees_at": quote.binding_frees_at,
        "floor": [
            {"name": one.name, "at": one.at, **answer_facts(one.told)} for one in quote.floor
        ],
        "no_floor": list(quote.no_floor),
        "faults": [vars(fault) for fault in quote.faults],
    }


def _offer(offer: VisitOffer) -> dict[str, Any]:
    return {**vars(offer), "steps": [vars(step) for step in offer.steps]}
