"""New plans that wait: looked at, accepted whole or in part, left, or taken back."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.plan import PlanChangeOut
from jobs.models import Proposal
from jobs.selectors.proposals import open_proposals, proposal_of
from jobs.services import proposals
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ShopActs


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


class Proposals(ShopActs):
    """Repaired plans that move a promise, and so wait for somebody's word."""

    lookup_value_regex = "[0-9]{1,18}"
    actions = {
        "list": Action.REPLAN,
        "retrieve": Action.REPLAN,
        "accept": Action.REPLAN,
        "decline": Action.REPLAN,
        "take_back": Action.REPLAN,
    }

    def _found(self, pk: str) -> Proposal:
        return proposal_of(self.actor.shop_id, int(pk))

    @extend_schema(responses=ProposalOut(many=True))
    def list(self, request: Request) -> Response:
        """Those that wait, the latest first."""
        return Response(ProposalOut(open_proposals(self.actor.shop_id), many=True).data)

    @extend_schema(responses=ProposalPartsOut)
    def retrieve(self, request: Request, pk: str) -> Response:
        """What it moves, and what must go together."""
        shown = proposals.look_at(by=self.actor, proposal=self._found(pk))
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
        change = proposals.accept(by=self.actor, proposal=self._found(pk), **given)
        return Response(PlanChangeOut(change).data)

    @extend_schema(request=None, responses=ProposalOut)
    @action(detail=True, methods=["post"])
    @idempotent
    def decline(self, request: Request, pk: str) -> Response:
        """Leave the plan as it is."""
        proposals.decline(by=self.actor, proposal=self._found(pk))
        return Response(ProposalOut(self._found(pk)).data)

    @extend_schema(request=None, responses=PlanChangeOut)
    @action(detail=True, methods=["post"], url_path="take-back")
    @idempotent
    def take_back(self, request: Request, pk: str) -> Response:
        """Put back what a plan made at once has moved, while that is still possible."""
        change = proposals.take_back(by=self.actor, proposal=self._found(pk))
        return Response(PlanChangeOut(change).data)


def _visits(parts: Any) -> list[int]:
    return [int(name.removeprefix("visit:")) for part in parts for name in part.vehicles]
