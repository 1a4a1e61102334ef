"""What would help a visit, and what if the shop were another: asked, worked out, read later."""

from __future__ import annotations

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.rows import IdField, IdFilter, named_row
from jobs.models import Study, Visit
from jobs.selectors.studies import is_stale, plan_mark
from jobs.services.studies import ask_what_helps, ask_what_if, stop_study
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ReadRow, ShopViewSet


class StudyOut(serializers.ModelSerializer[Study]):
    """`says` is the answer in a sentence, or why there is none; `answer` has its figures."""

    _known_mark: str | None = None
    stale = serializers.SerializerMethodField(
        help_text="True where the plan has moved on since it was asked."
    )

    class Meta:
        model = Study
        fields = (
            "id", "visit", "asks", "state", "done", "of", "says", "answer", "stale",
            "asked_by", "asked_at", "ended_at",
        )  # fmt: skip

    def get_stale(self, row: Study) -> bool:
        if row.kind != Study.Kind.HELP:
            return False
        return is_stale(row, self._mark(row.shop_id))

    def _mark(self, shop_id: int) -> str:
        """Read once for a whole list: all its rows are of one shop."""
        if self._known_mark is None:
            self._known_mark = plan_mark(shop_id)
        return self._known_mark


class HelpIn(serializers.Serializer[Any]):
    visit = IdField()


class WhatIfIn(serializers.Serializer[Any]):
    change = serializers.CharField(
        max_length=120,
        help_text="`hours`, or one of add_unit, add_person, add_bay, remove_unit, remove_person, "
        "remove_bay with a colon and the code of a type, technician, bay or unit.",
    )
    earlier_minutes = serializers.IntegerField(default=0)
    later_minutes = serializers.IntegerField(default=0)
    saturday = serializers.BooleanField(default=False)


class HelpFilter(django_filters.FilterSet):
    visit = IdFilter(field_name="visit_id")

    class Meta:
        model = Study
        fields = ("visit", "state")


class WhatIfFilter(django_filters.FilterSet):
    class Meta:
        model = Study
        fields = ("state",)


class _Studies(ListRows, ReadRow, ShopViewSet):
    serializer_class = StudyOut
    ordering = ("-id",)

    @extend_schema(request=None, responses=StudyOut)
    @action(detail=True, methods=["post"])
    @idempotent
    def stop(self, request: Request, pk: str) -> Response:
        """Stop working on it."""
        return self.shown(stop_study(by=self.actor, study=self.get_object()))


class Helps(_Studies):
    queryset = Study.objects.filter(kind=Study.Kind.HELP)
    filterset_class = HelpFilter
    detail_route = "api:help-detail"
    actions = {
        "list": Action.REPLAN,
        "retrieve": Action.REPLAN,
        "create": Action.REPLAN,
        "stop": Action.REPLAN,
    }

    @extend_schema(request=HelpIn, responses={201: StudyOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Ask what would help a visit most. Read it again until its state is `done`."""
        visits = Visit.objects.for_shop(self.actor.shop_id)
        visit = named_row(visits, "visit", pk=self.read(HelpIn)["visit"])
        return self.created(ask_what_helps(by=self.actor, visit=visit))


class WhatIfs(_Studies):
    queryset = Study.objects.filter(kind=Study.Kind.WHAT_IF)
    filterset_class = WhatIfFilter
    detail_route = "api:what-if-detail"
    actions = {
        "list": Action.SEE_FIGURES,
        "retrieve": Action.SEE_FIGURES,
        "create": Action.SEE_FIGURES,
        "stop": Action.SEE_FIGURES,
    }

    @extend_schema(request=WhatIfIn, responses={201: StudyOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Plan last month's demand again in another shop. Read it until its state is `done`."""
        return self.created(ask_what_if(by=self.actor, question=dict(self.read(WhatIfIn))))
