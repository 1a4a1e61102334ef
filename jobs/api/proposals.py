"""New plans that wait: looked at, accepted whole or in part, left, or taken back."""

from __future__ import annotations

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.plan import PlanChangeOut
from jobs.models import Proposal
from jobs.services import proposals
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ShopViewSet


class ProposalOut(serializers.Serializer[Any]):
    id = serializers.IntegerField(source="pk")
    why = serializers.CharField()
    state = serializers.CharField()
    made_at = serializers.DateTimeField()
    changes = serializers.ListField(child=serializers.CharField())
    promises = serializers.ListField(child=serializers.CharField())


class PartOut(serializers.Serializer[Any]):
    """Visits that change together; those that `must_move` cannot stay as they were."""

    visits = serializers.ListField(child=serializers.IntegerField())
    changes = serializers.ListField(child=serializers.CharField())
    must_move = serializers.BooleanField()
    says = serializers.CharField()
    goes_with = serializers.ListField(
        child=serializers.IntegerField(), help_text="Visits that are accepted with it."
    )


class ProposalPartsOut(ProposalOut):
    parts = PartOut(many=True)


class AcceptIn(serializers.Serializer[Any]):
    visits = serializers.ListField(
        child=serializers.IntegerField(min_value=1),
        required=False,
        allow_null=True,
        default=None,
        max_length=1000,
        help_text="Only these, and what has to go with them; all if left out.",
    )


class ProposalFilter(django_filters.FilterSet):
    state = django_filters.MultipleChoiceFilter(choices=Proposal.State.choices)

    class Meta:
        model = Proposal
        fields = ("state",)


class Proposals(ListRows, ShopViewSet):
    """Repaired plans that moved a promise, and so waited for somebody's word, or were made at once.

    Those that still wait have the state `open`.
    """

    queryset = Proposal.objects.all()
    serializer_class = ProposalOut
    filterset_class = ProposalFilter
    ordering = ("-made_at", "-id")
    detail_route = "api:proposal-detail"
    actions = {
        "list": Action.REPLAN,
        "retrieve": Action.REPLAN,
        "accept": Action.REPLAN,
        "decline": Action.REPLAN,
        "take_back": Action.REPLAN,
    }

    @extend_schema(responses=ProposalPartsOut)
    def retrieve(self, request: Request, pk: str) -> Response:
        """What it moves, and what must go together; nothing does once it has been decided."""
        found = self.get_object()
        if found.state != Proposal.State.OPEN:
            return Response({**ProposalOut(found).data, "parts": []})
        shown = proposals.look_at(by=self.actor, proposal=found)
        parts = [
            {
                "visits": _visits([part]),
                "changes": [change.says for change in part.changes],
                "must_move": part.number in shown.apart.closed(()),
                "says": part.says,
                "goes_with": _visits(p for p in shown.apart.parts if p.number in part.needs),
            }
            for part in shown.apart.parts
        ]
        return Response({**ProposalOut(shown.proposal).data, "parts": parts})

    @extend_schema(request=AcceptIn, responses=PlanChangeOut)
    @action(detail=True, methods=["post"])
    @idempotent
    def accept(self, request: Request, pk: str) -> Response:
        """Make it the plan in force, whole or for some visits."""
        given = self.read(AcceptIn)
        change = proposals.accept(by=self.actor, proposal=self.get_object(), **given)
        return Response(PlanChangeOut(change).data)

    @extend_schema(request=None, responses=ProposalOut)
    @action(detail=True, methods=["post"])
    @idempotent
    def decline(self, request: Request, pk: str) -> Response:
        """Leave the plan as it is."""
        proposals.decline(by=self.actor, proposal=self.get_object())
        return Response(ProposalOut(self.get_object()).data)

    @extend_schema(request=None, responses=PlanChangeOut)
    @action(detail=True, methods=["post"], url_path="take-back")
    @idempotent
    def take_back(self, request: Request, pk: str) -> Response:
        """Put back what a plan made at once has moved, while that is still possible."""
        change = proposals.take_back(by=self.actor, proposal=self.get_object())
        return Response(PlanChangeOut(change).data)


def _visits(parts: Any) -> list[int]:
    return [int(name.removeprefix("visit:")) for part in parts for name in part.vehicles]
